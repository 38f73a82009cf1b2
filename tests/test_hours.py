"""Hours ahead, counted by hand from a season."""

from dataclasses import replace
from datetime import date, datetime, time

import mornings
import numpy as np
import pytest

from readiness.season import Reason, Tier
from scheduler.hours import ahead, days_ahead
from scheduler.terminal import WIDTH, terminal_ready


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


# hand: in members 0-2 the first field opens today 15:00 to 18:00 (3 h), from 22:00 on, when no
# crew works, for 2 h, and tomorrow 10:00 to 16:00 (6 h); member 3 stays shut. Hours of yesterday
# do not count.
def test_counts_of_today_start_now(morning):
    season = shut(morning.season)
    now = mornings.HISTORY_DAYS * 24
    season.reason[:, 0, :now] = Reason.OPEN
    for first, last in ((9, 12), (16, 18), (28, 34)):
        season.reason[:3, 0, now + first : now + last] = Reason.OPEN
        season.tier[:3, 0, now + first : now + last] = Tier.FIRM
    days = days_ahead(morning.farm, season, now=morning.now)
    today, tomorrow = days[date(2025, 8, 16)][0], days[date(2025, 8, 17)][0]
    assert (today.cut, today.drive, today.chance) == (3.0, 5.0, 0.0)
    assert (tomorrow.cut, tomorrow.low, tomorrow.high) == (6.0, pytest.approx(1.8), 6.0)
    assert tomorrow.chance == 0.75
    assert today.first == time(15)
    assert tomorrow.first == time(10)
    assert tomorrow.lost_to == "ground too soft or rain falling"
    assert days[date(2025, 8, 16)][1].first is None
    text = terminal_ready(morning.farm, season, now=morning.now, days=2)
    assert "Home quarter (F01)               6    6 (2-6)  10:00   75 %  ground too soft" in text
    assert max(map(len, text.splitlines())) <= WIDTH
    assert "Mon 18 Aug" not in text


def test_unknown_is_not_workable_and_is_said(morning):
    season = shut(morning.season)
    season.reason[:, 0] = Reason.UNKNOWN
    days = days_ahead(morning.farm, season, now=morning.now)
    assert all(h[0].cut is None and h[1].cut == 0.0 for h in days.values())
    assert "weather unknown" in terminal_ready(morning.farm, season, now=morning.now)


def test_the_stub_of_a_last_day_is_left_out(morning):
    days = days_ahead(morning.farm, morning.season, now=morning.now)
    assert list(days) == [date(2025, 8, 16), date(2025, 8, 17), date(2025, 8, 18)]


def test_ahead_starts_at_the_hour_of_now(morning):
    cut = ahead(morning.season, datetime(2025, 8, 16, 7, 40, tzinfo=mornings.TZ))
    assert cut.start == np.datetime64("2025-08-16T12")
    assert cut.reason.shape[2] == morning.season.reason.shape[2] - mornings.HISTORY_DAYS * 24 - 1
