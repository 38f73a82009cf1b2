"""Clock times of a crew's orders: from one member, and in order."""

from dataclasses import replace
from datetime import timedelta

import mornings
import numpy as np
import pytest

from scheduler.explanation.briefing import after
from scheduler.explanation.timing import Cuts, Timing, member_shown

NAN = np.nan
NO_CUTS = Cuts(
    member=np.zeros(0, np.int64),
    slot=np.zeros(0, np.int64),
    area=np.zeros(0),
    point=np.zeros(0, np.int64),
)


def timing(begin, end):
    unknown = np.full(len(begin), NAN)
    return Timing(
        begin=np.array(begin), end=np.array(end), moisture=unknown, edge=unknown, cuts=NO_CUTS
    )


# hand: of the members that begin and finish, the median (of 10, 20, 40 it is 20) is member 2
@pytest.mark.parametrize(
    ("usual", "shown"),
    [(0, 0), (1, 2)],
)
def test_times_are_of_the_usual_member_or_the_median_one(usual, shown):
    when = timing([10.0, NAN, 20.0, 40.0, 21.0], [15.0, NAN, 24.0, 47.0, NAN])
    assert member_shown(when, usual) == shown


def test_a_field_that_no_member_finishes_still_has_times():
    assert member_shown(timing([NAN, 30.0, 20.0, 25.0], [NAN] * 4), 0) == 3


@pytest.fixture
def orders():
    """Two orders of a crew: the second is left for when the first is finished."""
    first, second = mornings.crews(mornings.farm(fields=6))[0].orders[:2]
    leave_at = first.finish.mid
    start = mornings.spread(leave_at + timedelta(minutes=second.move_min), 1)
    return first, replace(second, leave_at=leave_at, start=start)


def test_a_crew_leaves_after_it_has_finished_and_starts_after_the_move(orders):
    # hand: finished at 15:00, moved by 15:40, although the slot of the start is 15:30
    first, second = orders
    three = first.finish.mid.replace(hour=15, minute=0)
    first = replace(first, finish=replace(first.finish, mid=three))
    start = replace(second.start, mid=three + timedelta(minutes=30))
    second = replace(second, leave_at=three - timedelta(minutes=10), start=start, move_min=40.0)
    moved = after(first, second)
    assert moved.leave_at == three
    assert moved.start.mid == three + timedelta(minutes=40)
    assert moved.finish == second.finish
    at_once = replace(second, finish=replace(second.finish, mid=start.mid, high=start.mid))
    assert after(first, at_once).finish.mid == moved.start.mid


def test_a_crew_that_comes_back_leaves_after_it_has_begun(orders):
    first, second = orders
    late = second.finish.mid + timedelta(hours=3)
    first = replace(first, finish=replace(first.finish, mid=late))
    early = replace(second, leave_at=first.start.mid - timedelta(hours=1))
    assert after(orders[0], second) == after(first, second) == second
    assert after(first, early).leave_at == first.start.mid


def test_times_of_another_member_stay(orders):
    first, second = orders
    other = replace(second, shown=False, leave_at=first.leave_at)
    assert after(first, other) == other
