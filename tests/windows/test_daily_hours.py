"""Workable hours ahead, counted by hand from a season."""

from dataclasses import replace
from datetime import date, datetime, time, timedelta

import mornings
import numpy as np
import pytest

from readiness.season.codes import Reason, Tier
from scheduler.report.phrases import lost_to_text
from scheduler.report.terminal.lines import WIDTH
from scheduler.report.terminal.ready_hours import ready_hours
from scheduler.windows.daily_hours import from_now, hours_by_day, some_field_hours
from scheduler.windows.model_inputs import season_for_work


@pytest.fixture
def morning():
    return mornings.morning(fields=2, days=3, members=4)


def shut(season):
    """The season with every hour lost to the ground."""
    return replace(
        season,
        reason=np.full_like(season.reason, Reason.GROUND),
        tier=np.full_like(season.tier, Tier.SOFT),
    )


# hand: in members 0-2 the first field is open today from 15:00 to 18:00 (3 h) and from 22:00, when
# no crew works, for 2 h, and tomorrow from 10:00 to 16:00 (6 h); member 3 stays closed. Hours of
# yesterday do not count.
def test_counts_of_today_start_now(morning):
    season = shut(morning.season)
    now = mornings.HISTORY_DAYS * 24
    season.reason[:, 0, :now] = Reason.OPEN
    for first, last in ((9, 12), (16, 18), (28, 34)):
        season.reason[:3, 0, now + first : now + last] = Reason.OPEN
        season.tier[:3, 0, now + first : now + last] = Tier.FIRM
    days = hours_by_day(morning.farm, season, now=morning.now)
    today, tomorrow = days[date(2025, 8, 16)][0], days[date(2025, 8, 17)][0]
    assert (today.cut, today.drive, today.chance) == (3.0, 5.0, 0.0)
    assert (tomorrow.cut, tomorrow.low, tomorrow.high) == (6.0, pytest.approx(1.8), 6.0)
    assert tomorrow.chance == 0.75
    assert today.first == time(15)
    assert tomorrow.first == time(10)
    assert tomorrow.lost_to is Reason.GROUND
    assert lost_to_text(tomorrow) == "ground too soft or rain falling"
    assert days[date(2025, 8, 16)][1].first is None
    text = ready_hours(morning.farm, season, now=morning.now, days=2)
    assert "Home quarter (F01)               6    6 (2-6)  10 am   75 %  ground too soft" in text
    assert max(map(len, text.splitlines())) <= WIDTH
    assert "Mon 18 Aug" not in text


# hand: in members 0-2 the first field is open today from 15:00 to 18:00 and the second from 17:00
# to 19:00, which are 4 h together, and both from 22:00, when no crew works; member 3 stays closed.
# The 10th percentile of 0, 4, 4, 4 is 0. Tomorrow member 3 alone opens, for 6 h.
def test_hours_of_some_field_are_the_union_of_the_fields(morning):
    season = shut(morning.season)
    now = mornings.HISTORY_DAYS * 24
    season.reason[:, 0, :now] = Reason.OPEN
    for field, first, last in ((0, 9, 12), (1, 11, 13), (0, 16, 18), (1, 16, 18)):
        season.reason[:3, field, now + first : now + last] = Reason.OPEN
    season.reason[3, 1, now + 28 : now + 34] = Reason.OPEN
    days = some_field_hours(morning.farm, season, now=morning.now)
    assert days[date(2025, 8, 16)] == (0, 4)
    assert days[date(2025, 8, 17)] == (0, 6)
    assert days[date(2025, 8, 18)] == (0, 0)
    # the last date holds the six hours to 06:00 only
    assert list(days) == [date(2025, 8, 16), date(2025, 8, 17), date(2025, 8, 18)]


# hand: wind of 5 m/s, over 10 mph, all day but from 10:00 to 15:00 on the first field and, in three
# of four members, to 13:00 on the second: the 10th percentile of 0, 3, 3, 3 h is 0.9
def test_hours_for_spraying_print_as_those_for_cutting(morning):
    now = mornings.HISTORY_DAYS * 24
    season = replace(morning.season, tier=np.full_like(morning.season.tier, Tier.FIRM))
    wind = np.full_like(morning.weather.wind, 5.0)
    wind[:, 0, now + 4 : now + 9] = wind[1:, 1, now + 4 : now + 7] = 4.0
    sky = replace(morning.weather, wind=wind, rain=np.zeros_like(wind))
    season = season_for_work(morning.farm, season, sky, work="spraying")
    text = ready_hours(morning.farm, season, now=morning.now, days=1, work="spraying")
    assert (
        text
        == """\
Invented Farm: hours ahead from Sat 16 Aug 6 am
===============================================
drive: hours the ground bears a combine, day and night. spray: hours wind and sun are fit
for spraying while a crew works, with the 10th to 90th percentile over forecasts. from: the
first. 4 h: chance of at least so many hours to spray.

Today, Sat 16 Aug
field                        drive      spray   from    4 h  lost to
Home quarter (F01)              18    5 (5-5)  10 am  100 %  wind too light or too strong
Slough eighty (F02)             18    3 (1-3)  10 am    0 %  wind too light or too strong

The product label and local law decide wind, temperature and buffers; these hours only show
usual wind limits and likely inversions.
"""
    )


@pytest.mark.parametrize(
    ("work", "water", "line"),
    [
        ("tillage", 0.15, "Home quarter (F01)              18 14 (14-14)   8 am  100 %  "),
        (
            "tillage",
            0.40,
            "Home quarter (F01)              18    0 (0-0)      -    0 %  topsoil too wet to work",
        ),
        (
            "planting",
            0.02,
            "Home quarter (F01)              18    0 (0-0)      -    0 %  seed zone too dry",
        ),
    ],
)
def test_hours_for_soil_work_depend_on_its_water(morning, work, water, line):
    season = replace(
        morning.season,
        tier=np.full_like(morning.season.tier, Tier.FIRM),
        water_top=np.full_like(morning.season.water_top, water),
    )
    season = season_for_work(morning.farm, season, morning.weather, work=work)
    text = ready_hours(morning.farm, season, now=morning.now, days=1, work=work)
    assert line in text.splitlines()
    assert "label" not in text


# hand: of 18 hours left 8 are dark, 4 of dew, 6 open
def test_night_is_a_cause_only_where_there_is_no_other(morning):
    season = shut(morning.season)
    now = mornings.HISTORY_DAYS * 24
    season.reason[:, :, now : now + 18] = Reason.OPEN
    season.reason[:, :, now + 10 : now + 18] = Reason.NIGHT
    season.reason[:, 1, now : now + 4] = Reason.GRAIN
    today = hours_by_day(morning.farm, season, now=morning.now)[date(2025, 8, 16)]
    assert [h.lost_to for h in today] == [Reason.NIGHT, Reason.GRAIN]
    assert [lost_to_text(h) for h in today] == ["dark", "dew on the ear or grain too wet"]


def test_unknown_hours_are_not_workable_and_are_named(morning):
    season = shut(morning.season)
    season.reason[:, 0] = Reason.UNKNOWN
    days = hours_by_day(morning.farm, season, now=morning.now)
    assert all(h[0].cut is None and h[1].cut == 0.0 for h in days.values())
    assert "weather unknown" in ready_hours(morning.farm, season, now=morning.now)


def test_a_last_day_cut_short_is_left_out(morning):
    days = hours_by_day(morning.farm, morning.season, now=morning.now)
    assert list(days) == [date(2025, 8, 16), date(2025, 8, 17), date(2025, 8, 18)]


def test_from_now_starts_at_the_hour_of_now(morning):
    cut = from_now(morning.season, datetime(2025, 8, 16, 7, 40, tzinfo=mornings.TZ))
    assert cut.start == np.datetime64("2025-08-16T12")
    assert cut.reason.shape[2] == morning.season.reason.shape[2] - mornings.HISTORY_DAYS * 24 - 1


# hand: open tomorrow from 10:00 to 16:00, but grain wetter than the 17 % that both points take
# until 13:00; the second field may not be cut before 14:00
def test_hours_count_only_where_grain_can_be_sold_and_dates_allow_cutting(morning):
    season = shut(morning.season)
    now = mornings.HISTORY_DAYS * 24
    for row in (0, 1):
        season.reason[:, row, now + 28 : now + 34] = Reason.OPEN
        season.tier[:, row, now + 28 : now + 34] = Tier.FIRM
    season.moisture[:] = 15.0
    season.moisture[:, 0, now + 28 : now + 31] = 17.2
    begin = morning.now + timedelta(hours=32)
    fields = (morning.farm.fields[0], replace(morning.farm.fields[1], not_before=begin))
    farm = replace(morning.farm, fields=fields)
    first, second = hours_by_day(farm, season, now=morning.now)[date(2025, 8, 17)]
    assert (first.cut, first.first) == (3.0, time(13))
    assert (second.cut, second.first) == (2.0, time(14))
