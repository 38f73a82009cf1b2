"""The member whose clock an order shows."""

import numpy as np
import pytest

from scheduler.explanation.timing import Timing, member_shown
from scheduler.field_work.play import Cuts

NAN = np.nan
NONE = np.zeros(0, np.int64)
NO_CUTS = Cuts(member=NONE, crew=NONE, slot=NONE, job=NONE, point=NONE, area=np.zeros(0))


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
