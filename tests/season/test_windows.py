"""Hours grouped by farm date, and chances over members."""

from zoneinfo import ZoneInfo

import numpy as np
import pytest

from readiness.atmosphere.weather import HOUR
from readiness.season.codes import Reason, Tier
from readiness.season.simulate import Season
from readiness.season.windows import daily_windows, utc_offsets

CHICAGO = ZoneInfo("America/Chicago")


def season(start, reason, tier=None):
    """A season with these reasons and tiers, (member, field, hour); other arrays are filler."""
    reason = np.asarray(reason, dtype=np.uint8)
    blank = np.zeros(reason.shape)
    firm = np.full(reason.shape, Tier.FIRM, dtype=np.uint8)
    return Season(
        start=np.datetime64(start, "h"),
        water_top=blank,
        water_below=blank,
        moisture=blank,
        film=blank,
        tier=firm if tier is None else np.asarray(tier, dtype=np.uint8),
        approach=firm,
        reason=reason,
        wettings=blank,
        sprout=blank,
        straw=blank,
        end=None,
    )


def test_hours_belong_to_the_farm_date():
    # hand: 05 UTC is midnight in Chicago in August (UTC-5); 48 hours make two dates
    reason = np.full((1, 1, 48), Reason.GRAIN)
    reason[0, 0, 10:20] = Reason.OPEN
    reason[0, 0, 24 + 13] = Reason.OPEN
    days = daily_windows(season("2024-08-10T05", reason), tz=CHICAGO)
    assert list(days.dates.astype(str)) == ["2024-08-10", "2024-08-11"]
    assert list(days.hours) == [24, 24]
    assert days.harvestable[0, 0].tolist() == [10, 1]
    assert days.first_open[0, 0].tolist() == [10, 13]
    assert days.hours_by_reason[Reason.GRAIN, 0, 0].tolist() == [14, 23]


# published: U.S. clocks went forward on 10 March and back on 3 November 2024
@pytest.mark.parametrize(("date", "length"), [("2024-03-10", 23), ("2024-11-03", 25)])
def test_days_on_which_clocks_change_keep_their_hours(date, length):
    offset = 6 if date == "2024-03-10" else 5
    start = np.datetime64(date, "h") + offset * HOUR
    days = daily_windows(season(start, np.zeros((1, 1, length + 24))), tz=CHICAGO)
    assert list(days.hours) == [length, 24]
    assert days.harvestable[0, 0].tolist() == [length, 24]


def test_offsets_follow_the_clock_change():
    offsets = utc_offsets(np.datetime64("2024-11-03T05", "h"), 4, CHICAGO)
    assert (offsets / 3600).tolist() == [-5, -5, -6, -6]


def test_half_hour_zones_keep_their_clock():
    days = daily_windows(season("2024-01-01T13", np.zeros((1, 1, 24))), tz=ZoneInfo("Asia/Kolkata"))
    # hand: 13 UTC is 18:30 in India; the date changes before the hour that starts at 00:30
    assert list(days.hours) == [6, 18]
    assert days.first_open[0, 0].tolist() == [18.5, 0.5]


def test_chance_and_quantiles_over_members():
    reason = np.full((4, 1, 24), Reason.GRAIN)
    for m, hours in enumerate((0, 2, 4, 8)):
        reason[m, 0, 24 - hours :] = Reason.OPEN
    days = daily_windows(season("2024-08-10T05", reason), tz=CHICAGO)
    assert days.chance(4)[0, 0] == 0.5
    assert days.chance(1)[0, 0] == 0.75
    assert days.quantile(0.5)[0, 0] == 3
    assert days.first_hour(0.0)[0, 0] == 16
    assert days.first_hour(0.5)[0, 0] == 22  # two of four members have begun by then
    assert np.isnan(days.first_hour(1.0)[0, 0])  # a member never begins


def test_every_hour_has_one_reason():
    reason = np.full((1, 2, 24), Reason.GROUND)
    reason[0, :, 20:] = Reason.GRAIN
    reason[0, 1, 0] = Reason.UNKNOWN
    days = daily_windows(season("2024-08-10T05", reason), tz=CHICAGO)
    assert days.hours_by_reason.sum(axis=0).tolist() == [[[24], [24]]]
    assert days.hours_by_reason[Reason.GROUND, 0, :, 0].tolist() == [20, 19]
    assert days.unknown[0, :, 0].tolist() == [0, 1]


def test_trafficable_is_firm_or_headland_only():
    tier = [[[Tier.SOFT, Tier.HEADLAND_ONLY, Tier.FIRM, Tier.UNKNOWN]]]
    days = daily_windows(season("2024-08-10T05", np.ones((1, 1, 4)), tier), tz=CHICAGO)
    assert days.trafficable[0, 0].tolist() == [2]
