"""Why nothing is cut, and when the first field may open, from seasons made by hand."""

from dataclasses import replace
from datetime import timedelta

import mornings
import numpy as np
import pytest

from readiness.season.codes import Reason
from scheduler.explanation.closed_hours import idle_note

NOW = mornings.NOW  # Saturday 06:00; crews work from 08:00 to 22:00
FIRST = mornings.HISTORY_DAYS * 24
MIDNIGHT = NOW.replace(hour=0) + timedelta(days=1)


@pytest.fixture
def morning():
    """Ten members in which all ground is soft and no rain falls."""
    made = mornings.morning(fields=2, days=3, members=10)
    soft = replace(made.season, reason=np.full_like(made.season.reason, Reason.GROUND))
    dry = replace(made.weather, rain=np.zeros_like(made.weather.rain))
    return replace(made, season=soft, weather=dry)


def note(morning, **changes):
    return idle_note(
        morning.farm, morning.season, morning.weather, now=NOW, until=MIDNIGHT, **changes
    )


# hand: 1.5 mm/h in the 18 hours to midnight on one of two fields, in all ten members, is 13.5 mm
def test_rain_is_the_mean_of_the_fields_until_the_end_of_the_day(morning):
    morning.weather.rain[:, 0, FIRST - 5 : FIRST + 30] = 1.5
    found = note(morning)
    assert found.closed_by is Reason.GROUND
    assert found.rain_mm == pytest.approx(13.5)
    assert found.opens is None
    assert (found.first_start, found.ordered) == (None, False)


# hand: hour 30 from 06:00 is noon on Sunday; one member of ten, on one field
def test_the_first_opening_is_that_of_one_member_in_ten(morning):
    morning.season.reason[3, 1, FIRST + 30 :] = Reason.OPEN
    assert note(morning).opens == NOW.replace(hour=12) + timedelta(days=1)
    morning.season.reason[4, 0, FIRST + 28 :] = Reason.OPEN  # the earlier one is the tenth part
    assert note(morning).opens == NOW.replace(hour=10) + timedelta(days=1)


def test_hours_in_which_no_crew_works_open_nothing(morning):
    morning.season.reason[:, :, FIRST + 17 : FIRST + 24] = Reason.OPEN  # 23:00 to 06:00
    found = note(morning)
    assert found.opens is None
    assert found.closed_by is Reason.GROUND


def test_where_most_members_open_a_field_today_no_cause_is_named(morning):
    morning.season.reason[:6, 0, FIRST + 8] = Reason.OPEN  # 14:00
    found = note(morning)
    assert found.closed_by is None
    assert found.opens == NOW.replace(hour=14)


def test_the_first_start_is_one_after_today(morning):
    later = (MIDNIGHT + timedelta(hours=9), MIDNIGHT + timedelta(hours=8))
    found = note(morning, starts=(NOW, *later))  # today's is in other forecasts than the one shown
    assert (found.first_start, found.ordered) == (later[1], True)
    only_today = note(morning, starts=(NOW,))
    assert (only_today.first_start, only_today.ordered) == (None, True)


def test_the_cause_of_most_hours_is_named(morning):
    morning.season.reason[:, :, FIRST + 5 : FIRST + 18] = Reason.GREEN
    assert note(morning).closed_by is Reason.GREEN
