"""Why a field is in nobody's orders: the first cause that holds, and no other."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
import small_farm

from readiness.season.codes import Reason
from scheduler.explanation.reasons import left_out_reason
from scheduler.field_work.policy import Policy
from scheduler.orders.reasons import LeftOutKind


def reason(the_farm, the_season=None, *, played=True):
    """Reason of the first field; without `played` nothing is cut and no point is filled."""
    the_season = the_season or small_farm.season(len(the_farm.fields))
    work = small_farm.compiled(the_farm, the_season)
    jobs = len(work.jobs)
    policy = Policy(
        orders=(tuple(range(1, jobs)), (0,)) if played else ((), ()),
        start=np.vstack([[-1e3, *[40.0] * (jobs - 1)]] * 2) if played else np.full((2, jobs), -1e3),
        patience=np.zeros(2),
        leave=np.zeros(2),
    )
    return left_out_reason(small_farm.decided(work, policy), the_season, 0)


def at_the_point(**changes):
    """The small farm with another delivery point or market."""
    made = small_farm.farm()
    (point,) = made.points
    market = point.markets["wheat_hard"]
    limit = changes.pop("moisture_limit_pct", market.moisture_limit_pct)
    changes.setdefault("markets", {"wheat_hard": replace(market, moisture_limit_pct=limit)})
    return replace(made, points=(replace(point, **changes),))


def test_no_crew_has_a_truck():
    made = small_farm.farm()
    made = replace(made, crews=tuple(replace(c, trucks=()) for c in made.crews))
    assert reason(made).kind is LeftOutKind.NO_DELIVERY_POINT


def test_a_swath_waits_for_a_combine_with_a_pickup_header():
    made = small_farm.farm()
    first, *others = made.fields
    swathed = replace(made, fields=(replace(first, swathed=date(2026, 8, 1)), *others))
    assert reason(swathed).kind is LeftOutKind.NO_PICKUP
    able = tuple(replace(c, pickup_m=9.0) if c.id == "C3" else c for c in made.combines)
    assert reason(replace(swathed, combines=able)).kind is not LeftOutKind.NO_PICKUP


def test_a_full_elevator_is_said_to_be_full():
    assert reason(at_the_point(capacity_t=0.0)).kind is LeftOutKind.FULL


def test_grain_over_the_limit_is_turned_away_though_the_field_is_open():
    # hand: grain at 13.5 %, the limit at 12.5 %
    assert reason(at_the_point(moisture_limit_pct=12.5)).kind is LeftOutKind.TURNED_AWAY


@pytest.mark.parametrize("cause", [Reason.GREEN, Reason.GROUND])
def test_a_field_that_stays_shut_names_its_cause(cause):
    season = small_farm.season(3)
    season.reason[:, 0] = cause
    found = reason(small_farm.farm(), season)
    assert (found.kind, found.closed_by) == (LeftOutKind.CLOSED, cause)


def test_other_fields_fill_the_bins():
    assert reason(at_the_point(capacity_t=30.0)).kind is LeftOutKind.FILLED


def test_other_work_pays_more():
    found = reason(small_farm.farm(), played=False)
    assert found.kind is LeftOutKind.LOSES_MORE_ELSEWHERE
