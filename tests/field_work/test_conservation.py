"""What no policy changes: area, grain and money add up, members and ranges of slots are separate.

Simple work has a closed form: one crew in one field, Smith's rule, and ASABE EP496.
"""

from dataclasses import replace

import numpy as np
import pytest
from random_policies import random_farm, random_policy
from small_tables import one_crew_work

from scheduler.costs.timeliness import timeliness_cost
from scheduler.field_work.kernel import run_slots
from scheduler.field_work.play import empty_log, play, total_loss
from scheduler.field_work.policy import ranked_lists
from scheduler.field_work.state import first_state
from scheduler.solver.policy_search import search

SEEDS = range(40)


@pytest.mark.parametrize("seed", SEEDS)
def test_area_grain_and_money_add_up(seed):
    tables = random_farm(seed, members=3)
    outcome = play(tables, random_policy(tables, seed), log=True)
    log, state = outcome.log, outcome.state
    members, crews, jobs, points, _ = tables.shape
    area, lost = np.zeros((members, jobs)), np.zeros(members)
    grain = np.zeros((members, crews, points))
    room = np.repeat(tables.room[None], members, axis=0)
    for m, k, s, e in np.argwhere(log.job >= 0):
        j, q, ha = log.job[m, k, s, e], log.point[m, k, s, e], float(log.area[m, k, s, e])
        area[m, j] += ha
        grain[m, k, q] += ha * tables.yield_t[j]
        room[m, q] -= ha * tables.yield_t[j] * tables.room_factor[j]
        lost[m] += ha * tables.loss[m, s, j, q]
    np.testing.assert_allclose(area + state.left, np.repeat(tables.area[None], members, 0), 1e-6)
    assert (state.left >= 0.0).all()
    # grain is hauled or on board, and no more is on board than was cut for the point
    assert (state.held >= 0.0).all()
    assert (state.held <= grain * (1.0 + 1e-6)).all()
    np.testing.assert_allclose(state.room, room, rtol=1e-6, atol=1e-4)
    assert (state.room >= -1e-9).all()
    np.testing.assert_allclose(state.lost, lost, rtol=1e-6, atol=1e-4)
    leaving = state.left @ (tables.leave_cost / tables.area)
    np.testing.assert_allclose(outcome.loss, lost + leaving, rtol=1e-6, atol=1e-4)
    # a finished job is finished in the slot of its last cut
    finished = np.isfinite(state.ended)
    assert (finished == (state.left == 0.0)).all()
    for m, j in np.argwhere(finished):
        last = np.argwhere(log.job[m] == j)[:, 1].max()
        assert last <= state.ended[m, j] <= last + 1


@pytest.mark.parametrize("seed", SEEDS)
def test_members_do_not_act_on_each_other(seed):
    tables = random_farm(seed, members=3)
    policy = random_policy(tables, seed)
    together = play(tables, policy).state
    for picked in ([0], [1], [2], [2, 0]):
        alone = play(tables.of_members(picked), policy).state
        for name, part in alone._asdict().items():
            np.testing.assert_array_equal(part, getattr(together, name)[picked], err_msg=name)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_range_of_slots_and_the_next_one_are_the_whole(seed):
    tables = random_farm(seed)
    policy, slots = random_policy(tables, seed), tables.shape[4]
    whole = play(tables, policy)
    half = int(np.random.default_rng(seed).integers(1, slots))
    state = first_state(tables)
    for part in ((0, half), (half, slots)):
        run_slots(tables.arrays, state, policy.arrays, empty_log(), part, (0, 2))
    assert total_loss(tables, state).tolist() == whole.loss.tolist()
    for name, part in whole.state._asdict().items():
        np.testing.assert_array_equal(getattr(state, name), part, err_msg=name)


def test_one_crew_in_one_field_loses_the_closed_sum():
    # 4 ha at 0.5 ha a slot take 8 slots; each ha loses 3 money for each slot before it is cut
    loss = 3.0 * np.arange(10.0)[None, :, None, None]
    tables = replace(one_crew_work(slots=10, loss=loss), area=np.array([4.0]))
    policy = ranked_lists(((0,),), 1, start=16.0)
    assert play(tables, policy).loss[0] == pytest.approx(0.5 * 3.0 * sum(range(8)))


@pytest.mark.parametrize("seed", range(3))
def test_without_weather_the_search_follows_smiths_rule(seed):
    """Jobs in falling order of loss over time are best (Smith 1956, Nav. Res. Log. Q. 3, 59-66)."""
    rng = np.random.default_rng(seed)
    jobs = 8
    slots_of = rng.integers(1, 9, jobs)  # slots that each job takes
    by_slot = rng.integers(1, 100, jobs).astype(float)  # money lost by a ha in a slot
    slots = int(slots_of.sum())
    loss = by_slot * np.arange(float(slots))[:, None]
    tables = replace(
        one_crew_work(jobs=jobs, slots=slots, loss=loss[None, :, :, None]),
        area=0.5 * slots_of,
        leave_cost=np.full(jobs, 1e7),
    )
    # loss of a job, 0.5 ha a slot from slot S: 0.5 w p (S + (p - 1) / 2); the ratio is 0.5 w
    order = np.argsort(-by_slot, kind="stable")
    starts = np.concatenate([[0], np.cumsum(slots_of[order])[:-1]])
    weight = 0.5 * by_slot[order] * slots_of[order]
    least = float(weight @ (starts + (slots_of[order] - 1) / 2.0))
    backwards = ranked_lists((tuple(order[::-1].tolist()),), jobs, start=15.0)
    assert play(tables, backwards).loss[0] > 1.1 * least
    found = search(tables, [backwards], seed=seed)[0]
    assert found.loss[0] == pytest.approx(least)


def test_even_work_loses_what_the_closed_form_says():
    """ASABE EP496 (Srivastava et al. 2006, ch. 15): 400 ha, 4 ha/h, 0.5 % a day, 3 days in 5."""
    days, ha = 25, 400.0
    hour = np.arange(48 * days) / 2.0
    works = (hour % 24 >= 7) & (hour % 24 < 17) & np.isin(hour // 24 % 5, (0, 2, 4))
    loss = 0.005 * 4.0 * 200.0 * (hour + 0.25) / 24.0  # money per ha
    tables = replace(
        one_crew_work(slots=hour.size, loss=loss[None, :, None, None]),
        area=np.array([ha]),
        cut_rate=np.full((1, 1, 1), 4.0),
        works=works[None],
        day=(hour // 24).astype(np.int64),
    )
    lost = play(tables, ranked_lists(((0,),), 1, start=16.0)).loss[0]
    closed = timeliness_cost(
        ha, 4.0, loss_day=0.005, yield_=4.0, value=200.0, hours_day=10.0, working_share=0.6
    )
    assert lost == pytest.approx(closed, rel=0.01)
