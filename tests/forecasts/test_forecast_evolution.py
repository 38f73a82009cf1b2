"""Forecasts of successive mornings evolve as a martingale. Kinds of test: law and hand.

The laws are those of a Brownian bridge and of the martingale model of forecast evolution (Heath &
Jackson 1994, IIE Transactions 26(3):17-30). Wind stands for all variables where a continuous
amount is needed: a day's mean wind of a forecast has exactly the score that the model drew.
"""

from itertools import product
from types import SimpleNamespace

import numpy as np
import pytest
from past_weather import made_up
from rank_histogram import rank_histogram

from readiness.atmosphere.weather import HOUR, VARIABLES
from readiness.forecasts.analogues import ShortRecordError, analogue_weather, cut_days
from readiness.forecasts.dressing import CORRELATION, dress
from readiness.forecasts.forecast_evolution import ForecastEvolution, persistence
from readiness.forecasts.normal_scores import normal_score
from readiness.forecasts.rain_calibration import fit_correlation
from readiness.forecasts.reforecast import emulate_forecast, other_years
from readiness.forecasts.scores import brier
from readiness.sources.daily_to_hourly import daily_to_hourly, estimate_missing

RECORDS = daily_to_hourly(estimate_missing(made_up()))
YEARS = range(2002, 2008)
SEEDS, MORNINGS, DAYS = 3, 110, 10
R = {n: np.array(row) for n, row in CORRELATION.items()}


def season(year, mornings=MORNINGS):
    start = np.datetime64(f"{year}-05-20T12", "h")
    truth = RECORDS.between(start, start + 24 * (mornings + DAYS) * HOUR)
    return truth, other_years(RECORDS, year)


def ahead(truth, morning):
    start = truth.start + 24 * morning * HOUR
    return truth.between(start, start + 24 * DAYS * HOUR)


def daily(weather, name):
    return getattr(weather, name)[0, 0].reshape(-1, 24).mean(axis=1)


@pytest.fixture(scope="module")
def issued():
    """Daily amounts (run, morning, lead) of single forecasts and truth, and the drawn errors."""
    amounts = {kind: {"rain": [], "wind": []} for kind in ("evolving", "independent", "truth")}
    errors = {n: [] for n in CORRELATION}
    climates = []
    for year, seed in product(YEARS, range(SEEDS)):
        truth, climate = season(year)
        evolution = ForecastEvolution.of(truth, climate, days=DAYS, seed=10 * year + seed)
        for n in errors:
            errors[n].append([d.errors[n][0, 0] for d in evolution.draws[:MORNINGS]])
        days = cut_days(climate, truth.start)
        for morning in range(MORNINGS):
            target = ahead(truth, morning)
            made = {
                "evolving": evolution.single_forecast(morning),
                "independent": dress(
                    target, climate, members=1, seed=1000 * (10 * year + seed) + morning
                ),
                "truth": target,
            }
            for kind, weather in made.items():
                for n, rows in amounts[kind].items():
                    rows.append(daily(weather, n))
            past = analogue_weather(days, days.season_days(target.start)[None], target.start)
            climates.append(np.sort(daily(past, "wind")))
    shape = (-1, MORNINGS, DAYS)
    return SimpleNamespace(
        **{k: {n: np.reshape(v, shape) for n, v in a.items()} for k, a in amounts.items()},
        errors={n: np.array(e) for n, e in errors.items()},
        climates=climates,
    )


def wind_scores(issued, kind):
    """Normal scores of wind within the climate of each morning, (run, morning, lead)."""
    winds = getattr(issued, kind)["wind"]
    pairs = zip(winds.reshape(-1, DAYS), issued.climates, strict=True)
    scores = [normal_score(w, climate, np.full(DAYS, 0.5)) for w, climate in pairs]
    return np.reshape(scores, winds.shape)


def correlations(a, b):
    """Correlation of two arrays (run, morning, lead) by lead."""
    pairs = zip(np.moveaxis(a, -1, 0), np.moveaxis(b, -1, 0), strict=True)
    return np.array([np.corrcoef(x.ravel(), y.ravel())[0, 1] for x, y in pairs])


# law: one morning's forecast of a day is that of independent errors, so it correlates by r
@pytest.mark.slow
def test_forecast_and_truth_correlate_by_lead(issued):
    truth = wind_scores(issued, "truth")
    found = correlations(wind_scores(issued, "evolving"), truth)
    assert found == pytest.approx(R["wind"], abs=0.06)
    assert np.mean(found - R["wind"]) == pytest.approx(0.0, abs=0.03)


@pytest.mark.parametrize("lead", [0, 4])
@pytest.mark.slow
def test_rain_of_forecast_and_truth_correlate(issued, lead):
    forecast, truth = (k["rain"][..., lead].ravel() for k in (issued.evolving, issued.truth))
    assert fit_correlation(forecast, truth) == pytest.approx(R["rain"][lead], abs=0.06)


# law: variance of the bridge is v (1 - v), so e stays standard normal on every morning
@pytest.mark.parametrize("name", ["rain", "wind", "deficit"])
@pytest.mark.slow
def test_errors_stay_standard_normal(issued, name):
    errors = issued.errors[name]
    assert errors.mean(axis=(0, 1)) == pytest.approx(np.zeros(DAYS), abs=0.25)
    assert errors.std(axis=(0, 1)) == pytest.approx(np.ones(DAYS), abs=0.12)


# law: correlation of a Brownian bridge at two times, sqrt(v1 (1 - v2) / (v2 (1 - v1)))
@pytest.mark.parametrize("name", list(CORRELATION))
@pytest.mark.slow
def test_errors_of_successive_mornings_correlate_as_the_bridge(issued, name):
    errors = issued.errors[name]
    found = correlations(errors[:, :-1, 1:], errors[:, 1:, :-1])
    v1, v2 = R[name][1:] ** 2, R[name][:-1] ** 2
    expected = np.sqrt(v1 * (1 - v2) / (v2 * (1 - v1)))
    assert found == pytest.approx(expected, abs=0.1)
    assert np.mean(found - expected) == pytest.approx(0.0, abs=0.04)


def test_hand_persistence():
    # v 0.36 and 0.64: c² = 0.36 × 0.36 / (0.64 × 0.64), c = 0.5625; no skill before: 0; a perfect
    # forecast has no error that could persist: 0; no change of skill: 1
    c = persistence(np.array([0.6, 0.0, 0.9, 0.5, 0.0]), np.array([0.8, 0.5, 1.0, 0.5, 0.0]))
    assert c == pytest.approx([0.5625, 0.0, 0.0, 1.0, 0.0])


# law: what is new cannot be foreseen from the present forecast; independent errors fail this
@pytest.mark.slow
def test_updates_do_not_correlate_with_the_forecast(issued):
    def foreseen(kind):
        signal = R["wind"] * wind_scores(issued, kind)
        old, new = signal[:, :-1, 1:], signal[:, 1:, :-1]
        return correlations(new - old, old)

    assert foreseen("evolving") == pytest.approx(np.zeros(DAYS - 1), abs=0.08)
    assert np.mean(foreseen("evolving")) == pytest.approx(0.0, abs=0.04)
    assert max(foreseen("independent")) < -0.25


@pytest.mark.slow
def test_members_have_the_skill_of_independent_errors():
    chance, rained = {"evolving": [], "independent": []}, []
    for year, seed in product(YEARS, range(SEEDS)):
        truth, climate = season(year)
        evolution = ForecastEvolution.of(truth, climate, days=DAYS, seed=10 * year + seed)
        for morning in range(0, MORNINGS, 3):
            target = ahead(truth, morning)
            made = {
                "evolving": evolution.issue(morning, members=21),
                "independent": emulate_forecast(
                    target, climate, members=21, seed=1000 * (10 * year + seed) + morning
                ),
            }
            for kind, weather in made.items():
                days = weather.rain.reshape(21, DAYS, 24).sum(axis=2)
                chance[kind].append((days > 1.0).mean(axis=0))
            rained.append(target.rain.reshape(DAYS, 24).sum(axis=1) > 1.0)
    skill = {
        kind: [brier(np.array(p)[:, k], np.array(rained)[:, k]).skill for k in range(DAYS)]
        for kind, p in chance.items()
    }
    assert skill["evolving"] == pytest.approx(skill["independent"], abs=0.1)
    assert np.mean(skill["evolving"]) == pytest.approx(np.mean(skill["independent"]), abs=0.03)


# law: truth and members are exchangeable, so each fifth of the members' range holds the truth
# equally often; at midsummer days are warmer than the season that scores refer to
@pytest.mark.parametrize("kind", ["evolving", "independent"])
@pytest.mark.slow
def test_members_of_midsummer_are_calibrated(kind):
    members, counts = 19, np.zeros(20)
    rng = np.random.default_rng(0)
    for year, seed in product(YEARS, range(SEEDS)):
        truth, climate = season(year)
        truth = truth.between(truth.start + 51 * 24 * HOUR, truth.stop)  # from 10 July
        evolution = ForecastEvolution.of(truth, climate, days=DAYS, seed=10 * year + seed)
        for morning in range(0, 40, 4):
            target = ahead(truth, morning)
            if kind == "evolving":
                weather = evolution.issue(morning, members=members)
            else:
                weather = emulate_forecast(
                    target, climate, members=members, seed=1000 * (10 * year + seed) + morning
                )
            temp = weather.temp[:, 0].reshape(members, DAYS, 24).mean(axis=2)
            counts += rank_histogram(temp.T, daily(target, "temp"), rng=rng)
    fifths = counts.reshape(5, 4).sum(axis=1) / counts.sum()
    assert fifths == pytest.approx(np.full(5, 0.2), abs=0.05)


def test_a_morning_does_not_depend_on_the_mornings_issued_before():
    truth, climate = season(2004, mornings=8)
    one, same, other = (ForecastEvolution.of(truth, climate, days=DAYS, seed=s) for s in (3, 3, 4))
    for morning in range(5):
        one.issue(morning, members=3)
    for name in VARIABLES:
        a, b, c = (getattr(e.issue(5, members=5), name) for e in (one, same, other))
        np.testing.assert_array_equal(a, b)
        assert (a != c).any()


def test_forecasts_reach_the_end_of_the_truth():
    truth, climate = season(2004, mornings=2)
    evolution = ForecastEvolution.of(truth, climate, days=DAYS)
    assert len(evolution.draws) == 12
    assert evolution.issue(0, members=4).shape == (4, 1, 24 * DAYS)
    last = evolution.issue(11, members=4)
    assert last.shape == (4, 1, 24)
    assert last.start == truth.start + 24 * 11 * HOUR


def test_certain_forecasts_are_the_truth_every_morning():
    truth, climate = season(2004, mornings=5)
    certain = ForecastEvolution.of(
        truth, climate, days=DAYS, correlation=dict.fromkeys(CORRELATION, (1.0,) * DAYS)
    )
    for morning in range(5):
        out = certain.issue(morning, members=2).rain.reshape(2, DAYS, 24).sum(axis=2)
        expected = ahead(truth, morning).rain.reshape(DAYS, 24).sum(axis=1)
        assert out[0] == pytest.approx(expected, abs=0.3)


def test_skill_that_falls_as_a_day_draws_near_is_refused():
    truth, climate = season(2004, mornings=2)
    with pytest.raises(ValueError, match="must not rise with lead"):
        ForecastEvolution.of(truth, climate, days=DAYS, correlation={"rain": (0.5, 0.6)})


def test_short_records_are_refused():
    truth, climate = season(2004, mornings=2)
    few = climate.between(climate.stop - 20 * 24 * HOUR, climate.stop)
    with pytest.raises(ShortRecordError, match="30 needed"):
        ForecastEvolution.of(truth, few, days=DAYS)
