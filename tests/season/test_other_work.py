"""Hours of tillage, planting and spraying."""

from dataclasses import replace
from typing import get_args

import numpy as np
import pytest
from small_fields import land, limits, stand, weather

from readiness.season.codes import OtherWork, OtherWorkReason, Reason, Tier
from readiness.season.other_work import (
    PLANTING_TEMP,
    other_work_reasons,
    seed_temperature,
    tillage_limit,
)
from readiness.season.simulate import simulate
from readiness.soil.properties import plastic_limit
from scheduler.report.phrases import OTHER_WORK_REASON_TEXT


def test_plastic_limit_and_tillage():
    # published: 20 % at 18 % clay, 28 % at 53 % clay (Mueller et al. 2003); tillage best at 0.9
    assert plastic_limit(np.array([0.18, 0.53])) == pytest.approx([20, 28])
    limit = tillage_limit(np.array([0.18]), density=np.array([1.4]), offset=np.zeros(1))
    assert limit == pytest.approx([0.9 * 0.20 * 1.4])


def test_corn_waits_for_50_fahrenheit():  # published: 50 °F at 4 in
    assert PLANTING_TEMP["corn"] == pytest.approx((50 - 32) / 1.8)


def test_seed_temperature_is_smoothed_and_lags_and_unknown_stays_unknown():
    air = 15.0 + 10.0 * np.sin(2 * np.pi * (np.arange(240) - 9) / 24.0)
    soil = seed_temperature(air)
    assert np.ptp(soil[120:]) < 0.5 * np.ptp(air)
    assert air[216:].argmax() < soil[216:].argmax()
    air[100] = np.nan
    gap = seed_temperature(air)
    assert np.isnan(gap[100])
    assert np.isfinite(gap[101])


def closed(frame, crop="corn"):
    """Season of one field, and the first cause that closes each hour to each kind of work."""
    where = land()
    season = simulate(frame, where, stand(), limits())
    return season, {
        work: other_work_reasons(season, frame, where, work=work, crop=(crop,))[0, 0]
        for work in get_args(OtherWork)
    }


def test_rain_closes_tillage_and_cold_closes_planting():
    dry, wet = weather(6), weather(6, showers=((30, 40.0),))
    before, after = closed(dry)[1]["tillage"], closed(wet)[1]["tillage"]
    assert before[40] == OtherWorkReason.OPEN
    assert after[40] != OtherWorkReason.OPEN
    assert not ((after == OtherWorkReason.OPEN) & (before != OtherWorkReason.OPEN)).any()
    cold = closed(weather(6, temp=(-2.0, 12.0), dew_point=-4.0))[1]["planting"]
    assert not (cold == OtherWorkReason.OPEN).any()


def test_each_crop_has_its_own_planting_temperature():
    # hand: soil at 5-9 °C is warm enough for wheat (4 °C), not for corn (10 °C)
    frame = weather(4, temp=(5.0, 9.0), dew_point=2.0)
    assert (closed(frame, "corn")[1]["planting"] == OtherWorkReason.COLD).all()
    assert not (closed(frame, "wheat_hard")[1]["planting"] == OtherWorkReason.COLD).any()


def test_spraying_needs_usual_wind_and_a_high_sun():
    # published: 3-10 mph; inversions until about an hour after sunrise
    frame = weather(4, wind=(4.0, 4.0))
    day = closed(frame)[1]["spraying"][72:]
    assert day[12] == OtherWorkReason.OPEN
    assert (day[:5] == OtherWorkReason.SUN).all()
    for wind in (1.0, 5.0):
        blown = closed(replace(frame, wind=np.full_like(frame.wind, wind)))[1]["spraying"]
        assert (blown == OtherWorkReason.WIND).all()


def test_ground_comes_before_rain_among_the_causes():
    # hand: ground, wind and sun are fit except in the hours changed below
    frame = weather(4, wind=(4.0, 4.0))
    season, before = closed(frame)
    noon = int(np.flatnonzero(before["spraying"] == OtherWorkReason.OPEN)[0])
    season.tier[:, :, noon] = Tier.SOFT
    frame.rain[:, :, noon : noon + 2] = 1.0
    after = other_work_reasons(season, frame, land(), work="spraying", crop=("corn",))[0, 0]
    assert list(after[noon : noon + 3]) == [
        OtherWorkReason.GROUND,
        OtherWorkReason.RAIN,
        before["spraying"][noon + 2],
    ]


def test_wet_topsoil_and_a_dry_seed_zone_are_different_causes():
    # hand: 0.40 is above every plastic limit, 0.02 below every wilting point
    frame = weather(4)
    season, _ = closed(frame)
    for water, tillage, planting in (
        (0.40, OtherWorkReason.WET, OtherWorkReason.WET),
        (0.02, OtherWorkReason.OPEN, OtherWorkReason.DRY),
    ):
        firm = np.full_like(season.tier, Tier.FIRM)
        changed = replace(season, tier=firm, water_top=np.full_like(season.water_top, water))
        for work, cause in (("tillage", tillage), ("planting", planting)):
            codes = other_work_reasons(changed, frame, land(), work=work, crop=("barley",))
            assert (codes == cause).all()


def test_unknown_is_never_fit():
    frame = weather(4, wind=(4.0, 4.0))
    frame.wind[:, :, 80:90] = np.nan
    season, reasons = closed(frame)
    assert (season.tier[:, :, 80:90] == Tier.UNKNOWN).all()
    for codes in reasons.values():
        assert (codes[80:90] == OtherWorkReason.UNKNOWN).all()


def test_codes_fit_beside_those_of_cutting_and_have_texts():
    assert max(OtherWorkReason) <= max(Reason)
    assert (OtherWorkReason.OPEN, OtherWorkReason.UNKNOWN, OtherWorkReason.SUN) == (
        Reason.OPEN,
        Reason.UNKNOWN,
        Reason.NIGHT,
    )
    assert set(OTHER_WORK_REASON_TEXT) == set(OtherWorkReason) - {OtherWorkReason.OPEN}
