"""The public function: statuses, hints, locks, repeatability; published optima."""

from dataclasses import replace

import numpy as np
import pytest
from farms import farm_tables, small_tables, tardiness_tables, wt40
from places import DATA

from scheduler.solver.check import check
from scheduler.solver.evaluation import evaluate
from scheduler.solver.settings import DEFAULTS
from scheduler.solver.solve import solve
from scheduler.solver.stages import SolveStage
from scheduler.solver.tables import CAUTIOUS, FEASIBLE, INFEASIBLE, OPTIMAL, UNPROVED

RECORDS = DATA / "weighted_tardiness"
FARM = farm_tables(14, 2, members=3, seed=3)
LIGHT = 0.05


def same(a, b):
    return (a.orders, a.cost, a.bound) == (b.orders, b.cost, b.bound)


@pytest.mark.slow
def test_plan_has_a_bound_and_repeats():
    plan = solve(FARM, effort=LIGHT, seed=4)
    assert plan.status == FEASIBLE
    assert 0.0 < plan.gap < 0.3
    assert check(FARM, plan) == []
    assert same(plan, solve(FARM, effort=LIGHT, seed=4))


def test_one_member_is_proved_within_two_percent():
    tables = farm_tables(20, 2, seed=1)
    plan = solve(tables, effort=0.2)
    assert plan.gap <= 0.02
    assert solve(tables, effort=0.2, gap_target=0.5).gap <= 0.5


def test_cautious_plan_has_a_bound():
    plan = solve(FARM, effort=LIGHT, objective=CAUTIOUS)
    assert plan.bound <= plan.cost
    assert check(FARM, plan, objective=CAUTIOUS) == []
    assert plan.cost >= FARM.weight @ plan.member_cost


def test_no_effort_proves_nothing():
    plan = solve(FARM, effort=0.0)
    assert (plan.status, plan.bound, plan.gap) == (UNPROVED, None, None)


def test_fast_is_a_plan_too():
    assert check(FARM, solve(FARM, effort=LIGHT, fast=True)) == []


def test_hint_is_never_made_worse():
    good = solve(FARM, effort=LIGHT)
    assert solve(FARM, effort=0.0, hint=good).cost <= good.cost
    assert solve(FARM, effort=0.0, hint=good.orders).cost <= good.cost


def test_locks_are_kept():
    orders = solve(FARM, effort=0.0).orders
    locked = replace(FARM, locked=((1, orders[0][:2]),))
    plan = solve(locked, effort=LIGHT)
    assert plan.orders[1][:2] == orders[0][:2]
    assert check(locked, plan) == []
    with pytest.raises(ValueError, match="hint: crew 1 must begin with"):
        solve(locked, hint=orders)


def test_a_job_locked_twice_is_infeasible():
    plan = solve(replace(FARM, locked=((0, (3,)), (1, (3,)))))
    assert (plan.status, plan.cost, plan.bound) == (INFEASIBLE, np.inf, None)
    assert check(FARM, plan) == []


def test_nothing_can_be_done():
    tables = replace(FARM, finish=np.full_like(FARM.finish, -1))
    plan = solve(tables, effort=LIGHT)
    assert plan.cost == pytest.approx(float(FARM.leave_cost.sum()))
    assert plan.status == OPTIMAL


@pytest.mark.parametrize(
    ("name", "value", "message"),
    [("finish", 10**6, "ends after the last slot"), ("finish", 0, "ends before it starts")],
)
def test_tables_out_of_range_are_refused(name, value, message):
    array = getattr(FARM, name).copy()
    array[1, 1, 4, 30] = value
    with pytest.raises(ValueError, match=rf"{message}.*\(1, 1, 4, 30\)"):
        solve(replace(FARM, **{name: array}))


def test_progress_is_reported_and_may_stop():
    reported = []
    solve(FARM, effort=LIGHT, progress=lambda stage, share: reported.append((share, stage)))
    assert [s for s, _ in reported] == sorted(s for s, _ in reported)
    assert reported[-1] == (1.0, SolveStage.DONE)
    assert {stage for _, stage in reported} == set(SolveStage)

    def stop(stage, share):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        solve(FARM, progress=stop)


def test_jobs_without_length_and_many_slots():
    rng = np.random.default_rng(0)
    length = rng.integers(0, 200, 12)
    tables = tardiness_tables(
        length, rng.integers(1, 900, 12), rng.integers(0, 900, 12), machines=2
    )
    plan = solve(tables, effort=0.1)
    assert check(tables, plan) == []
    assert not plan.left


def test_set_up_times_by_hand():
    # hand: three jobs of length 1, set-ups 0 along 2, 0, 1 and 5 elsewhere, all due at 0, weight
    # 1: finishes 1, 2, 3 sum to 6; any other order meets a set-up of 5
    setup = np.full((1, 4, 3), 5, np.int32)
    setup[0, 3, 2] = setup[0, 2, 0] = setup[0, 0, 1] = 0
    plan = solve(tardiness_tables([1, 1, 1], [1, 1, 1], [0, 0, 0], setup=setup))
    assert (plan.orders, plan.cost, plan.status) == (((2, 0, 1),), 6.0, OPTIMAL)


@pytest.mark.slow
@pytest.mark.skipif(not RECORDS.is_dir(), reason="../shared/data/weighted_tardiness is not here")
@pytest.mark.parametrize("instance", [0, 11, 24, 47, 66, 99, 110, 124])
def test_published_weighted_tardiness(instance):
    # published: OR-Library wt40 and wtopt40, J. E. Beasley; all 125 are in bench_solver.py
    numbers, best = wt40(RECORDS)
    tables = tardiness_tables(*numbers[instance])
    plan = solve(tables, effort=0.25)
    assert plan.cost == best[instance]
    assert plan.bound <= plan.cost
    assert evaluate(tables, plan.orders).cost == plan.cost


def test_small_farm_is_optimal_under_both_objectives():
    tables = small_tables(12, members=3)
    assert solve(tables).status == solve(tables, objective=CAUTIOUS).status == OPTIMAL


@pytest.mark.parametrize("members", [1, 3])
@pytest.mark.parametrize("seed", range(40, 44))
def test_bound_without_enumeration_is_at_most_the_optimum(seed, members):
    tables = small_tables(seed, members=members)
    best = solve(tables).cost
    plan = solve(tables, effort=LIGHT, settings=replace(DEFAULTS, enumeration_jobs=-1))
    assert plan.bound <= best + 1e-6
    assert plan.cost >= best - 1e-6
