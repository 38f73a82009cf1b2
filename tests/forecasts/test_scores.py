"""Scores against published cases and against a general scoring library."""

import numpy as np
import pytest
import scoringrules
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from rank_histogram import flatness, rank_histogram

from readiness.forecasts.scores import (
    brier,
    crps_ensemble,
    reliability,
    standard_error,
)


# hand: worked from the definitions of Murphy 1973 and of the ensemble CRPS
def test_brier_parts():
    f = [0.1, 0.1, 0.3, 0.3, 0.5, 0.7, 0.7, 0.9, 0.9, 0.9]
    o = [0, 0, 0, 1, 1, 1, 0, 1, 1, 1]
    score = brier(f, o)
    assert score.score == pytest.approx(0.146)
    assert score.reliability == pytest.approx(0.046)
    assert score.resolution == pytest.approx(0.140)
    assert score.uncertainty == pytest.approx(0.240)
    assert score.skill == pytest.approx(0.39167, abs=5e-6)


def test_crps_of_an_ensemble():
    x = [[0, 0, 1, 2, 5, 12]]
    assert crps_ensemble(x, [4])[0] == pytest.approx(1.55556, abs=5e-6)
    assert crps_ensemble(x, [4], fair=True)[0] == pytest.approx(1.13333, abs=5e-6)


# published: the library scoringrules computes the same scores independently
def test_same_as_the_library():
    rng = np.random.default_rng(3)
    x, y = rng.gamma(0.7, 5.0, (200, 31)), rng.gamma(0.7, 5.0, 200)
    np.testing.assert_allclose(
        crps_ensemble(x, y), scoringrules.crps_ensemble(y, x, estimator="nrg"), rtol=1e-9
    )
    np.testing.assert_allclose(
        crps_ensemble(x, y, fair=True),
        scoringrules.crps_ensemble(y, x, estimator="fair"),
        rtol=1e-9,
    )
    f, o = rng.random(200), rng.integers(0, 2, 200)
    assert brier(f, o).score == pytest.approx(float(np.mean(scoringrules.brier_score(o, f))))


@given(
    f=arrays(np.float64, 40, elements=st.sampled_from([0.0, 0.1, 0.25, 0.5, 0.8, 1.0])),
    o=arrays(np.int64, 40, elements=st.integers(0, 1)),
)
@settings(max_examples=50, deadline=None)
def test_parts_add_up(f, o):
    s = brier(f, o)
    assert s.score == pytest.approx(s.reliability - s.resolution + s.uncertainty, abs=1e-12)


# hand: rates 0/2 and 2/3; softened (0+1)/(2+2) = 1/4, error sqrt(1/4 × 3/4 / 4)
def test_reliability_bins():
    r = reliability([0.1, 0.1, 0.9, 0.9, 0.9], [0, 0, 1, 1, 0], bins=5)
    assert r.count.tolist() == [2, 3]
    assert r.rate == pytest.approx([0, 2 / 3])
    assert r.chance == pytest.approx([0.1, 0.9])
    assert r.error[0] == pytest.approx(np.sqrt(0.25 * 0.75 / 4))


def test_standard_error_equals_the_spread_over_samples():
    """The stated error is the standard deviation of the score over many samples of groups."""
    rng = np.random.default_rng(5)
    scores, stated = [], []
    for _ in range(400):
        day = rng.random(60)
        f = day.repeat(4)
        o = (rng.random(60) < day).repeat(4)  # four gauges that always agree
        s = (f - o) ** 2
        scores.append(s.mean())
        stated.append(standard_error(s, np.arange(60).repeat(4)))
    assert np.mean(stated) == pytest.approx(np.std(scores), rel=0.1)
    assert standard_error(s) < 0.6 * stated[-1]  # taken as independent: half the error
    assert np.isnan(standard_error([0.2, 0.3], [1, 1]))


def test_rank_histogram_shows_an_underdispersed_ensemble():
    rng = np.random.default_rng(8)
    truth = rng.normal(size=2000)
    good = rank_histogram(rng.normal(size=(2000, 9)), truth, rng=rng)
    narrow = rank_histogram(0.5 * rng.normal(size=(2000, 9)), truth, rng=rng)
    assert good.sum() == narrow.sum() == 2000
    assert flatness(good) > 0.05
    assert flatness(narrow) < 1e-6
    assert flatness(narrow, bins=5) < 1e-6


def test_ties_are_broken_at_random():
    rng = np.random.default_rng(1)
    dry = rank_histogram(np.zeros((3000, 4)), np.zeros(3000), rng=rng)
    assert flatness(dry) > 0.01


def test_flatness_of_dependent_cases():
    """Groups of equal ranks are rejected at the nominal rate; taken as independent, too often."""
    rng = np.random.default_rng(2)
    grouped, alone = [], []
    for _ in range(200):
        counts = np.zeros((60, 6))
        counts[np.arange(60), rng.integers(0, 6, 60)] = 8  # eight cases that always agree
        grouped.append(flatness(counts))
        alone.append(flatness(counts.sum(axis=0)))
    assert np.mean(np.array(grouped) < 0.05) == pytest.approx(0.05, abs=0.04)
    assert np.mean(np.array(alone) < 0.05) > 0.5
