"""Random draws by key: the order of fields and observations changes no field's season."""

from dataclasses import replace

import numpy as np
import pytest
from small_fields import START, land, limits, stand, weather

from readiness.atmosphere.weather import HOUR
from readiness.season.codes import Tier
from readiness.season.inputs import Observation
from readiness.season.random_streams import Draws, keyed_normal
from readiness.season.simulate import simulate

HOURLY = ("water_top", "water_below", "moisture", "film", "tier", "reason", "wettings", "sprout")
FIELDS, MEMBERS = 5, 9
SEEN = [
    Observation(field=f, time=START + hour * HOUR, kind=kind, value=value, sd=sd)
    for f, hour, kind, value, sd in (
        (3, 100, "moisture", 15.0, 0.5),
        (3, 100, "moisture", 16.5, 0.5),
        (0, 110, "tier", float(Tier.SOFT), 0.5),
        (0, 110, "moisture", 14.0, 0.5),
        (4, 120, "water", 0.22, 0.02),
        (1, 98, "moisture", 17.0, 1.0),
    )
]


def run(stream, seen=SEEN, seed=3):
    """A past of one member, then the days ahead in nine, of fields with differing soils."""
    sand = 0.3 + 0.02 * (np.asarray(stream) % 17)
    where, standing = land(FIELDS, sand=sand), replace(stand(FIELDS), stream=np.asarray(stream))
    past = simulate(weather(4, showers=((60, 12.0),)), where, standing, limits(FIELDS))
    ahead = weather(4, members=MEMBERS, showers=((30, 8.0),), start=START + 96 * HOUR)
    return simulate(
        ahead, where, standing, limits(FIELDS), state=past.end, observations=seen, seed=seed
    )


def test_the_order_of_fields_changes_no_field():
    stream = np.array([7, 2, 9007199254740993, 11, 5])
    order = np.array([3, 0, 4, 2, 1])
    place = {int(f): i for i, f in enumerate(order)}
    given = run(stream)
    moved = run(stream[order], [replace(o, field=place[o.field]) for o in SEEN])
    for name in HOURLY:
        assert np.array_equal(getattr(moved, name), getattr(given, name)[:, order]), name
    assert moved.surprises == given.surprises


def test_the_order_of_observations_changes_nothing():
    stream = np.arange(FIELDS)
    given = run(stream)
    for order in ([5, 4, 3, 2, 1, 0], [1, 0, 3, 2, 5, 4]):
        other = run(stream, [SEEN[i] for i in order])
        for name in HOURLY:
            assert np.array_equal(getattr(other, name), getattr(given, name)), name


def test_a_field_more_leaves_the_others_as_they_are():
    stream = np.arange(FIELDS)
    other = run(np.array([0, 1, 2, 3, 17]))  # 17 % 17 has the sand of field 0
    for name in HOURLY:
        assert np.array_equal(getattr(run(stream), name)[:, :4], getattr(other, name)[:, :4]), name


def test_two_samples_of_one_hour_have_noise_of_their_own():
    frame, sd = weather(3, members=400), 0.5
    standing = stand(moisture=14.0, ripe="NaT")
    one = Observation(field=0, time=START + 48 * HOUR, kind="moisture", value=14.0, sd=sd)
    alone = simulate(frame, land(), standing, limits(), observations=[one])
    both = simulate(
        frame, land(), standing, limits(), observations=[one, replace(one, value=14.001)]
    )
    # the second sample's own noise averages out part of the first's
    assert both.moisture[:, 0, 48].std() < 0.85 * alone.moisture[:, 0, 48].std()


def test_draws_are_standard_normal_and_differ_by_key_purpose_and_seed():
    keys = np.arange(300)[:, None]
    z = keyed_normal(Draws.OWN_STATE, keys, 50, seed=1)
    # hand: 15 000 draws have a mean within 4 / sqrt(15 000) = 0.033 and a standard deviation
    # within 4 / sqrt(30 000) = 0.023 of one
    assert z.mean() == pytest.approx(0.0, abs=0.033)
    assert z.std() == pytest.approx(1.0, abs=0.023)
    between = np.corrcoef(z)[np.triu_indices(300, 1)]
    # hand: 44 850 correlations of 50 pairs have a standard deviation of 1 / 7; 5.5 of them, with
    # the heavier tail of so short series, are a bound
    assert abs(between).max() < 0.8
    assert not np.isin(z, keyed_normal(Draws.OBSERVATION, keys, 50, seed=1)).any()
    assert not np.isin(z, keyed_normal(Draws.OWN_STATE, keys, 50, seed=2)).any()
    assert keyed_normal(Draws.OWN_STATE, [], 50).shape == (0, 50)


@pytest.mark.parametrize("stream", [[0, 1], [0, 1, -2], [[0, 1, 2]]])
def test_streams_that_do_not_fit_are_refused(stream):
    standing = replace(stand(3), stream=np.array(stream))
    with pytest.raises(ValueError, match="stand stream must hold a key >= 0 for each of 3 fields"):
        simulate(weather(1), land(3), standing, limits(3))
