"""The checker: a sound plan passes, and each rule broken alone is reported."""

from dataclasses import replace

import numpy as np
import pytest
from farms import small_tables

from scheduler.solver.check import check
from scheduler.solver.solve import solve
from scheduler.solver.tables import CAUTIOUS, FEASIBLE, INFEASIBLE, OPTIMAL, UNPROVED, CutTables

TABLES = small_tables(3, jobs=6, members=3, locked=True)
PLAN = solve(TABLES)
K = max(range(len(PLAN.orders)), key=lambda k: len(PLAN.orders[k]))


def orders_with(row):
    return (*PLAN.orders[:K], tuple(row), *PLAN.orders[K + 1 :])


def moved(array, index, by):
    out = array.copy()
    out[index] += by
    return out


def swapped():
    row = list(PLAN.orders[K])
    row[-1], row[-2] = row[-2], row[-1]
    return orders_with(row)


LAST = PLAN.orders[K][-1]
DONE = tuple(np.argwhere(PLAN.start >= 0)[0])
BROKEN = {
    "a job ordered twice": ({"orders": orders_with((*PLAN.orders[K], LAST))}, "ordered 2 times"),
    "a job in two states": ({"left": (*PLAN.left, LAST)}, "is ordered and left"),
    "a job left twice": ({"left": (*PLAN.left, LAST, LAST)}, "is left 2 times"),
    "a job forgotten": ({"orders": orders_with(PLAN.orders[K][:-1])}, "neither ordered nor left"),
    "no such job": ({"orders": orders_with((*PLAN.orders[K], 77))}, "there is no job 77"),
    "a crew too many": ({"orders": (*PLAN.orders, ())}, "orders are for"),
    "another order than timed": ({"orders": swapped()}, "the plan says"),
    "a start moved": ({"start": moved(PLAN.start, DONE, 1)}, "starts at"),
    "a finish moved": ({"finish": moved(PLAN.finish, DONE, -1)}, "finishes at"),
    "a member's cost": ({"member_cost": moved(PLAN.member_cost, 1, 5.0)}, "member 1 costs"),
    "the cost": (
        {"cost": PLAN.cost - 3.0, "bound": None, "status": UNPROVED},
        "the mean over members",
    ),
    "a bound above": ({"bound": PLAN.cost + 1.0}, "is above the cost"),
    "optimal unproved": ({"bound": PLAN.cost / 2.0}, "status 'optimal' with bound"),
    "feasible though met": ({"status": FEASIBLE}, "status 'feasible' with bound"),
    "a proof without a bound": ({"bound": None}, "needs a bound"),
    "a bound without a proof": ({"status": UNPROVED}, "comes with a bound"),
    "an unknown status": ({"status": "fine"}, "there is no status 'fine'"),
    "infeasible with orders": ({"status": INFEASIBLE}, "comes with orders"),
    "wrong shape of times": ({"start": PLAN.start[:1]}, "must have shape"),
    "wrong shape of costs": ({"member_cost": PLAN.member_cost[:1]}, "must have shape"),
}


def test_sound_plan_passes():
    assert PLAN.status == OPTIMAL
    assert check(TABLES, PLAN) == []


@pytest.mark.parametrize("name", BROKEN)
def test_each_rule_broken_is_reported(name):
    change, message = BROKEN[name]
    wrong = check(TABLES, replace(PLAN, **change))
    assert any(message in line for line in wrong), wrong


def test_broken_lock_is_reported():
    first = TABLES.prefixes[0]
    other = next(j for j in range(6) if j not in first)
    locked = replace(TABLES, locked=((0, (other,)),))
    if PLAN.orders[0][:1] != (other,):
        assert any("must begin with" in line for line in check(locked, PLAN))


def test_objective_is_part_of_the_check():
    assert check(TABLES, solve(TABLES, objective=CAUTIOUS), objective=CAUTIOUS) == []
    with pytest.raises(ValueError, match="objective: say 'mean' or 'cautious', not 'worst'"):
        check(TABLES, PLAN, objective="worst")


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"cost": TABLES.cost[:, :, :-1]}, r"cost: want shape"),
        ({"move": TABLES.move[:, :-1]}, r"move: want shape"),
        ({"weight": TABLES.weight * 2}, r"weight: must sum to 1"),
        ({"ready": TABLES.ready - 99}, r"ready: no number may be below 0"),
        ({"locked": ((9, (0,)),)}, r"there is no crew 9"),
        ({"finish": TABLES.finish[0]}, r"want \(member, crew, job, slot\)"),
    ],
)
def test_tables_out_of_range_are_refused(change, message):
    with pytest.raises(ValueError, match=message):
        replace(TABLES, **change)
    assert isinstance(TABLES, CutTables)
