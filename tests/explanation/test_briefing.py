"""Orders of a small farm worked by hand: what an idle crew is told."""

import numpy as np
import small_farm

from readiness.season.codes import Reason
from scheduler.explanation.briefing import crew_orders
from scheduler.field_work.policy import Policy


def notes(season, today_pct):
    """Notes of both crews, of which the first has all fields; tomorrow everything is cut."""
    work = small_farm.compiled(small_farm.farm(), season)
    jobs = len(work.jobs)
    policy = Policy(
        orders=(tuple(range(jobs)), ()),
        start=np.vstack([np.full(jobs, today_pct), np.full(jobs, 40.0)]),
        patience=np.zeros(2),
        leave=np.zeros(2),
    )
    decision = small_farm.decided(work, policy)
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
