"""Orders of a small farm worked by hand: what an idle crew is told."""

import small_farm

from readiness.season.codes import Reason
from scheduler.explanation.briefing import crew_orders


def notes(season, today_pct):
    """Notes of both crews, of which the first has all fields; tomorrow everything is cut."""
    decision = small_farm.first_crew_has_all(small_farm.farm(), season, (today_pct, 40.0))
    return [crew.note for crew in crew_orders(decision, season, small_farm.sky(season), {})]


# hand: grain at 15 %, fields open all day; the crew starts at 14 % today and at any moisture later
def test_a_crew_that_waits_for_drier_grain_says_so():
    first, _ = notes(small_farm.season(3, moisture=15.0), 14.0)
    assert (first.waits_pct, first.closed_by) == (14.0, None)
    assert first.first_start.date() == small_farm.NOW.date().replace(day=13)


def test_a_crew_shut_out_by_the_ground_waits_for_no_moisture():
    season = small_farm.season(3, moisture=15.0)
    season.reason[:, :, :18] = Reason.GROUND  # until midnight
    first, _ = notes(season, 40.0)
    assert (first.waits_pct, first.closed_by) == (None, Reason.GROUND)
    assert first.rain_mm == 0.0


def test_a_crew_that_cuts_today_has_no_note():
    first, _ = notes(small_farm.season(3, moisture=13.5), 40.0)
    assert first == ""
