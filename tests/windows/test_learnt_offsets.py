"""Learning is shared on one soil, robust for grain; a ground check counts at once."""

import re
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from mornings import NOW, farm, weather

from readiness.atmosphere.weather import HOUR
from readiness.season.codes import Reason, Tier
from readiness.season.inputs import Observation
from scheduler.farm.slots import utc_hour
from scheduler.report.lesson_phrases import lesson_lines
from scheduler.windows.learnt_offsets import (
    GRAIN,
    HUBER,
    INTO_TIER,
    Prior,
    grain_intervals,
    ground_intervals,
    learn,
    offsets,
    standardised_residual,
)
from scheduler.windows.lessons import Learnt, OffsetChange, Outlier
from scheduler.windows.model_inputs import (
    model_observations,
    open_loop,
    straw_limit,
    with_grain_offset,
)

P = Prior(soil_sd=0.5, own_sd=0.5, error_sd=1.0)
ONE = np.array([0])
SOIL = np.array([0, 0, 1])


def solve(field, value, *, soil=SOIL, prior=P, weight=None):
    field, value = np.array(field), np.array(value, dtype=float)
    weight = np.ones(len(field)) if weight is None else weight
    return offsets(field, value, value, weight=weight, soil=soil, prior=prior)


def test_hand_one_observation_is_shrunk_and_shared():
    # hand: the variance of b_0 is 0.25 + 0.25 and its gain 0.5 / (0.5 + 1) = 1/3; the neighbour's
    # covariance is 0.25, its gain 0.25 / 1.5 = 1/6; another soil learns nothing
    assert solve([0], [0.9]) == pytest.approx([0.3, 0.15, 0.0], abs=1e-6)


def test_hand_more_observations_count_for_more():
    # hand: the mean of n has error variance 1/n; gain 0.5 / (0.5 + 1/4) = 2/3
    assert solve([0] * 4, [0.9] * 4)[0] == pytest.approx(0.6, abs=1e-6)


def test_one_bad_reading_moves_no_further_than_its_bound():
    # hand: one reading pulls by at most HUBER / error_sd, so b moves by at most variance * HUBER
    wild = solve([0], [1000.0])
    assert wild[0] == pytest.approx(0.5 * HUBER, abs=1e-5)
    assert wild[1] == pytest.approx(0.25 * HUBER, abs=1e-5)
    good = [0.2, 0.3, 0.1, 0.2]
    moved = solve([0] * 5, [*good, 1000.0])[0] - solve([0] * 4, good)[0]
    assert moved < 0.3


def test_a_band_pulls_only_from_outside():
    low, high = np.array([-0.1]), np.array([0.4])
    assert offsets(ONE, low, high, weight=np.ones(1), soil=SOIL, prior=P) == pytest.approx(
        [0, 0, 0]
    )
    far = offsets(ONE, np.array([0.6]), np.array([np.inf]), weight=np.ones(1), soil=SOIL, prior=P)
    assert far[0] == pytest.approx(0.2, abs=1e-5)  # hand: as an observation of 0.6, a third


@given(
    st.lists(st.tuples(st.integers(0, 2), st.floats(-50, 50)), min_size=1, max_size=8),
    st.floats(0.01, 5),
)
def test_laws_of_offsets(seen, more):
    # laws: offsets are finite; a reading moved up never moves its field's offset down
    field, value = [f for f, _ in seen], [v for _, v in seen]
    one = solve(field, value)
    assert np.isfinite(one).all()
    two = solve(field, [value[0] + more, *value[1:]])
    assert two[field[0]] >= one[field[0]] - 1e-4
    away = standardised_residual(np.array(field), np.array(value), np.array(value), one, prior=P)
    assert np.isfinite(away).all()


def test_without_observations_nothing_is_learnt():
    empty = np.array([], dtype=np.int64)
    none = np.array([])
    assert offsets(empty, none, none, weight=none, soil=SOIL, prior=P) == pytest.approx([0, 0, 0])


# With the model


@pytest.fixture(scope="module")
def place():
    two = farm(fields=4)
    last = replace(two.fields[3], sand=0.1, clay=0.45, texture="silty clay")
    return replace(two, fields=(*two.fields[:3], last))


@pytest.fixture(scope="module")
def past(place):
    # a week of the fabricated weather, taken as the past up to NOW
    sky = weather(place, days=8, members=1, seed=5)
    end = utc_hour(NOW)
    return replace(sky, start=end - sky.shape[2] * HOUR)


@pytest.fixture(scope="module")
def run(place, past):
    return open_loop(place, past)


def sample(run, field, hours_ago, above):
    """A sample so many points above the simulated moisture."""
    at = run[0].moisture.shape[2] - hours_ago
    value = float(run[0].moisture[0, field, at]) + above
    return Observation(
        field=field, time=run[0].start + at * HOUR, kind="moisture", value=value, sd=0.5
    )


def test_samples_shift_their_field_and_its_neighbours(place, past, run):
    seen = [sample(run, 0, 30, 2.0), sample(run, 0, 5, 2.0)]
    taught = learn(place, seen, past, now=NOW)
    moved = [f.calibration.get("grain_offset", 0.0) for f in taught.farm.fields]
    assert 0.2 < moved[1] < moved[0] < 1.5  # slowly: two samples of 2 points move it by less
    assert moved[1] == moved[2]
    assert moved[3] == 0.0  # another soil
    own, shared = lesson_lines(taught.lessons, taught.farm)
    words = re.fullmatch(
        r"Home quarter \(F01\): grain ([\d.]+) points wetter than the weather tells, "
        r"from 2 samples; the day before: grain ([\d.]+) points wetter than the weather tells",
        own,
    )
    assert float(words[1]) == pytest.approx(moved[0], abs=0.05)
    assert 0 < float(words[2]) < float(words[1])  # one sample, then two
    assert shared.startswith("By the same soil, grain")
    assert shared.endswith(": F02, F03")


def test_one_wild_sample_is_an_outlier_and_barely_moves_the_farm(place, past, run):
    taught = learn(place, [sample(run, 0, 5, -9.0)], past, now=NOW)
    moved = [f.calibration.get("grain_offset", 0.0) for f in taught.farm.fields]
    most = (GRAIN.soil_sd**2 + GRAIN.own_sd**2) / GRAIN.error_sd * HUBER
    assert -most - 1e-6 <= moved[0] < 0
    assert abs(moved[1]) < 0.25
    assert any(
        "points below what the weather tells; it counts little" in x
        for x in lesson_lines(taught.lessons, place)
    )


def test_ripening_grain_is_no_offset(place, run):
    green = replace(sample(run, 0, 5, 0.0), value=33.0)
    assert grain_intervals(run[0], [green]) == []


def test_grain_found_wetter_bounds_the_offset_from_below(place, run):
    tough = replace(sample(run, 0, 5, 2.0), kind="wetter")
    (bound,) = grain_intervals(run[0], [tough])
    assert (bound.low, bound.high) == (pytest.approx(2.0, abs=1e-6), np.inf)


def check(run, field, tier, hours_ago=5):
    at = run[0].start + (run[0].moisture.shape[2] - hours_ago) * HOUR
    return Observation(field=field, time=at, kind="tier", value=float(tier), sd=0.5)


def test_ground_checks_bound_the_limits(run):
    season, limits = run
    h = season.moisture.shape[2] - 5
    top, below = season.water_top[0, 0, h], season.water_below[0, 0, h]
    firm = max(top - limits.firm_top[0], below - limits.firm_below[0])
    edge = max(top - limits.headland_top[0], below - limits.headland_below[0])
    bounds = {
        tier: (b.low, b.high)
        for tier in (Tier.FIRM, Tier.HEADLAND_ONLY, Tier.SOFT)
        for b in ground_intervals(season, limits, [check(run, 0, tier)])
    }
    # hand: firm needs both waters under the limits shifted by b, so b >= firm; soft b <= edge
    assert bounds[Tier.FIRM] == (pytest.approx(firm + INTO_TIER), np.inf)
    assert bounds[Tier.SOFT] == (-np.inf, pytest.approx(edge - INTO_TIER))
    low, high = bounds[Tier.HEADLAND_ONLY]
    assert edge < low <= high < firm
    assert (low - edge, firm - high) == (pytest.approx(INTO_TIER), pytest.approx(INTO_TIER))


def found_after(place, past, seen):
    """Tier of the open loop at each check after learning from them."""
    taught = learn(place, seen, past, now=NOW)
    season, _ = open_loop(taught.farm, past)
    at = [int((o.time - season.start).astype(int)) for o in seen]
    return taught, [Tier(int(season.tier[0, o.field, h])) for o, h in zip(seen, at, strict=True)]


def test_one_check_gives_its_field_the_tier_that_was_found(place, past, run):
    modelled = Tier(int(run[0].tier[0, 0, -5]))
    for tier in (Tier.SOFT, Tier.HEADLAND_ONLY, Tier.FIRM):
        taught, found = found_after(place, past, [check(run, 0, tier)])
        assert found == [tier]
        moved = [f.calibration.get("bearing_offset", 0.0) for f in taught.farm.fields]
        if tier != modelled:
            assert abs(moved[1]) < abs(moved[0])  # its neighbour on the same soil learns a part
            assert moved[3] == 0.0
            (line, *_) = lesson_lines(taught.lessons, taught.farm)
            assert line.startswith("Home quarter (F01): ground bears")


def test_other_checks_contradict_a_wrong_one(place, past, run):
    # soft where the ground is driest, firm on the wetter days before: both cannot hold
    wrong = check(run, 0, Tier.SOFT, 5)
    one = learn(place, [wrong], past, now=NOW).farm.fields[0].calibration["bearing_offset"]
    others = [check(run, 0, Tier.FIRM, ago) for ago in (30, 54, 78)]
    taught = learn(place, [wrong, *others], past, now=NOW)
    assert abs(taught.farm.fields[0].calibration["bearing_offset"]) < 0.8 * abs(one)
    assert any(isinstance(x, Outlier) and x.value == Tier.SOFT for x in taught.lessons)


def test_a_check_that_agrees_teaches_nothing(place, past, run):
    tier = Tier(int(run[0].tier[0, 0, -5]))
    taught = learn(place, [check(run, 0, tier)], past, now=NOW)
    assert taught.farm == replace(
        place, fields=tuple(replace(f, calibration={}) for f in place.fields)
    )
    assert taught.lessons == ()


def test_the_offset_is_applied_once(place, run):
    # hand: the model runs without the offset: it gets samples less 0.8 and its moisture is shown
    # with 0.8 more, so that a sample of 16.8 is shown as 16.8
    field = replace(place.fields[0], calibration={"grain_offset": 0.8})
    shifted = replace(place, fields=(field, *place.fields[1:]))
    one = sample(run, 0, 5, 1.0)
    (given,) = model_observations(shifted, [one, one])
    assert given.value == pytest.approx(one.value - 0.8)
    shown = with_grain_offset(shifted, run[0])
    assert shown.moisture[:, 0] == pytest.approx(run[0].moisture[:, 0] + 0.8)
    assert shown.moisture[:, 1] == pytest.approx(run[0].moisture[:, 1])


def test_lessons_in_words(place):
    change = {"learnt": Learnt.BEARING, "before": None}
    lessons = (
        OffsetChange(**change, field="F01", readings=1, after=-0.012),
        OffsetChange(**change, field="F02", readings=0, after=0.0041),
        Outlier(learnt=Learnt.BEARING, field="F03", time=NOW, value=1.0, low=0.11),
        Outlier(learnt=Learnt.GRAIN, field="F03", time=NOW, value=16.04, low=4.25),
    )
    assert lesson_lines(lessons, place) == (
        "Mail road north (F03), Sat 6 am: the sample of 16.0 % is 4.2 points above what the "
        "weather tells; it counts little, take another",
        "Home quarter (F01): ground bears 1.2 % less water than its texture tells, from 1 ground "
        "check; the day before: nothing",
        "Mail road north (F03), Sat 6 am: the ground check (headland-only) is far from what the "
        "weather tells; it counts little, take another",
        "By the same soil, ground bears 0.4 % more water than its texture tells: F02",
    )


def test_no_reading_no_lesson(place, past):
    assert learn(place, [], past, now=NOW + timedelta(hours=1)).farm is place


def begun(run, field, hour):
    """A start of cutting at an hour of the season."""
    time = run[0].start + hour * HOUR
    return Observation(field=field, time=time, kind="begun", value=0.0, sd=1.0)


def test_starts_of_cutting_move_the_limit_of_straw(place, past):
    # crews that begin only once straw is drier than the limit, day after day, lower it for all
    # fields of the crop; a crew that cuts in straw above the limit raises it
    season = open_loop(place, past)[0]
    straw, reason = season.straw[0, 0], season.reason[0, 0]
    limit = straw_limit(place, place.fields[0])
    fit = np.isin(reason, (Reason.OPEN, Reason.STRAW))
    late = [h for h in range(2, straw.size) if fit[h] and fit[h - 2] and straw[h - 2] < limit - 15]
    damp = [h for h in range(straw.size) if fit[h] and straw[h] > limit + 8]
    assert late
    assert damp

    def learnt(hours):
        seen = [begun((season, None), 0, h) for h in hours]
        taught = learn(place, seen, past, now=NOW)
        lines = lesson_lines(taught.lessons, taught.farm)
        return [f.calibration.get("straw_offset", 0.0) for f in taught.farm.fields], lines

    lower, lines = learnt(late[:4])
    assert lower[0] < -2.0
    assert any("you wait for straw" in line for line in lines)
    same = [f.crop == place.fields[0].crop for f in place.fields]
    assert all((offset < 0) == alike for offset, alike in zip(lower, same, strict=True))
    higher, _ = learnt(damp[:2])
    assert higher[0] > 1.0
