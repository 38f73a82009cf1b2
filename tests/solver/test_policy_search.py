"""The search over policies: against published optima, against all lists, and its own promises."""

from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest
from places import DATA
from published_schedules import tardiness_starts, tardiness_work, wt40
from random_policies import random_farm, random_policy
from small_tables import one_crew_work

from scheduler.field_work.play import play
from scheduler.field_work.policy import ranked_lists
from scheduler.solver.objective import CAUTIOUS, MEAN, objective_of
from scheduler.solver.policy_search import Evaluator, search
from scheduler.solver.settings import DEFAULTS

WT40 = DATA / "weighted_tardiness"
needs_wt40 = pytest.mark.skipif(not WT40.exists(), reason="needs the open data beside the project")


@needs_wt40
@pytest.mark.parametrize("number", [1, 30, 77, 125])
def test_a_list_on_the_tables_has_its_weighted_tardiness(number):
    length, weight, due = wt40(WT40)[0][number - 1]
    tables = tardiness_work(length, weight, due)
    for policy in tardiness_starts(length, weight, due):
        row = list(policy.orders[0])
        late = np.maximum(np.cumsum(length[row]) - due[row], 0)
        assert play(tables, policy).loss[0] == weight[row] @ late


@needs_wt40
@pytest.mark.parametrize(
    ("number", "iterations"),
    [
        *((n, 1500) for n in (27, 28, 29, 54, 82, 106)),
        *(pytest.param(n, 15000, marks=pytest.mark.slow) for n in (5, 7, 26)),
    ],
)
def test_published_optima_of_weighted_tardiness(number, iterations):
    """Some optima published with OR-Library's wt40; `bench_solver` runs all 125 instances."""
    numbers, best = wt40(WT40)
    length, weight, due = numbers[number - 1]
    starts = tardiness_starts(length, weight, due)
    tables = tardiness_work(length, weight, due)
    found = search(tables, starts, seed=0, iterations=iterations)
    assert found[0].loss[0] == best[number - 1]


@pytest.mark.parametrize("seed", range(3))
def test_the_best_list_of_a_small_farm_is_found(seed):
    """Against every list of five jobs, with moves and hours that open and shut."""
    rng = np.random.default_rng(seed)
    jobs, slots = 5, 30
    loss = rng.uniform(1.0, 9.0, jobs) * np.arange(float(slots))[:, None]
    tables = one_crew_work(jobs=jobs, slots=slots, loss=loss[None, :, :, None])
    wet = np.where(rng.random((1, slots, jobs)) < 0.7, 15.0, np.inf).astype(np.float32)
    move = rng.uniform(0.0, 40.0, (1, jobs + 1, jobs))
    tables = replace(tables, wet=wet, move=move, area=rng.uniform(0.5, 3.0, jobs))
    tables = replace(tables, leave_cost=500.0 * tables.area)
    lists = [ranked_lists((row,), jobs, start=15.0) for row in permutations(range(jobs))]
    best = min(play(tables, policy).loss[0] for policy in lists)
    found = search(tables, lists[:1], seed=seed)[0]
    assert found.loss[0] <= best + 1e-9


@pytest.mark.parametrize("objective", [MEAN, CAUTIOUS])
@pytest.mark.parametrize("seed", range(3))
def test_a_search_never_loses_more_than_its_best_start(seed, objective):
    tables = random_farm(seed, members=20)
    starts = [random_policy(tables, n) for n in range(4)]
    found = search(tables, starts, seed=seed, objective=objective, iterations=100)
    values = [objective_of(f.loss, tables.weight, objective=objective) for f in found]
    start = min(
        objective_of(play(tables, p).loss, tables.weight, objective=objective) for p in starts
    )
    assert values == sorted(values)
    assert values[0] <= start + 1e-9 * abs(start)
    for f in found:
        np.testing.assert_array_equal(play(tables, f.policy).loss, f.loss)


def test_a_search_for_the_loss_alone_tries_as_many_policies_and_loses_no_more():
    """Plainer numbers may cost a share `simpler_share` of the loss; without them nothing does."""
    tables = random_farm(8, members=10)
    starts = [random_policy(tables, n) for n in range(2)]
    plain, bare = (
        search(tables, starts, seed=1, iterations=60, simplify=simplify)[0]
        for simplify in (True, False)
    )
    share = 1.0 + DEFAULTS.simpler_share
    assert bare.loss.mean() <= plain.loss.mean() + 1e-9 * abs(plain.loss.mean())
    assert plain.loss.mean() <= bare.loss.mean() * share
    assert (plain.policy.start != bare.policy.start).any()


def test_a_seed_names_one_result():
    tables = random_farm(5, members=12)
    starts = [random_policy(tables, n) for n in range(3)]
    one, two, other = (search(tables, starts, seed=s, iterations=150) for s in (1, 1, 2))
    assert [f.policy.orders for f in one] == [f.policy.orders for f in two]
    assert [f.loss.tolist() for f in one] == [f.loss.tolist() for f in two]
    assert [f.loss.tolist() for f in one] != [f.loss.tolist() for f in other]


@pytest.mark.parametrize("seed", range(5))
def test_locked_jobs_stay_at_the_head(seed):
    tables = random_farm(seed + 10)
    crews, jobs = tables.shape[1:3]
    locked = ((0,), *((),) * (crews - 1))
    rows = [tuple(range(jobs)), *((),) * (crews - 1)]
    start = ranked_lists(tuple(rows), jobs, start=18.0)
    found = search(tables, [start], seed=seed, locked=locked, iterations=200)
    assert all(f.policy.orders[0][0] == 0 for f in found)


def test_a_race_gives_up_what_is_clearly_worse_and_nothing_else():
    tables = random_farm(3, members=30)
    evaluator = Evaluator(tables)
    policies = [random_policy(tables, n) for n in range(20)]
    losses = [evaluator.loss(p) for p in policies]
    best = min(losses, key=np.mean)
    given_up = []
    for policy, loss in zip(policies, losses, strict=True):
        raced = evaluator.race(policy, best, 0.0)
        if raced is None:
            given_up.append(loss.mean())
        else:
            np.testing.assert_array_equal(raced, loss)
    assert given_up
    assert min(given_up) > best.mean()
