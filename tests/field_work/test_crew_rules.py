"""Every rule that crews follow, in cases worked by hand: 1 t/h, half-hour slots, 1 ha of 1 t."""

from dataclasses import replace

import numpy as np
import pytest
from small_tables import one_crew_work

from scheduler.field_work.kernel import run_slots
from scheduler.field_work.play import empty_log, play
from scheduler.field_work.policy import DECISIVE, Policy, ranked_lists
from scheduler.field_work.state import first_state
from scheduler.field_work.tables import WorkTables
from scheduler.solver.check import violations

SHUT = np.inf


def work(wet, **changes) -> WorkTables:
    """Work of one crew; `wet` is one row of moistures, by slot, for each job."""
    wet = np.array(wet, np.float32)
    jobs, slots = wet.shape
    tables = one_crew_work(jobs=jobs, slots=slots)
    return replace(tables, wet=wet.T[None].copy(), prospect=wet.T[None].copy(), **changes)


def of_crews(tables: WorkTables, crews: int) -> WorkTables:
    """The same tables for several equal crews."""
    by_crew = (
        "works",
        "machines",
        "cut_rate",
        "edge_rate",
        "haul_rate",
        "accepts",
        "buffer",
        "delay",
        "move",
    )
    repeated = {name: np.repeat(getattr(tables, name), crews, axis=0) for name in by_crew}
    return replace(tables, **repeated)


def lists(*orders, start=15.5, jobs=2, **changes) -> Policy:
    return replace(ranked_lists(orders, jobs, start=start), **changes)


def times(tables: WorkTables, policy: Policy, crew: int = 0) -> str:
    """The job that a crew cuts first in each slot; a dot where it cuts nothing."""
    log = play(tables, policy, log=True).log.job[0, crew]
    first = [next((str(j) for j in slot if j >= 0), ".") for slot in log.tolist()]
    return "".join(first)


def areas(tables: WorkTables, policy: Policy) -> list[list[float]]:
    """Hectares cut by slot of each job."""
    log = play(tables, policy, log=True).log
    out = np.zeros((tables.area.size, log.job.shape[2]))
    for _, _, s, e in np.argwhere(log.job >= 0):
        out[log.job[0, 0, s, e], s] += log.area[0, 0, s, e]
    return [[round(float(x), 4) for x in row] for row in out]


DRY = [15.0] * 6


def test_a_free_crew_takes_the_first_of_its_list_that_can_be_cut():
    assert times(work([DRY, DRY]), lists((0, 1))) == "0011.."
    assert times(work([DRY, DRY]), lists((1, 0))) == "1100.."
    # job 0 opens in slot 1: the crew, which does not leave, has begun job 1
    assert times(work([[SHUT, *DRY[1:]], DRY]), lists((0, 1))) == "1100.."


@pytest.mark.parametrize(
    ("patience", "expected"), [(0.0, "0110.."), (30.0, "0.110."), (60.0, "0..011")]
)
def test_a_crew_waits_for_its_patience_at_a_job_that_shuts(patience, expected):
    shuts = [15.0, SHUT, SHUT, 15.0, 15.0, 15.0]
    policy = lists((0, 1), patience=np.array([patience]))
    assert times(work([shuts, DRY]), policy) == expected


def test_a_crew_goes_at_once_to_a_job_that_ranks_before_the_one_that_shuts():
    tables = work([[SHUT, 15.0, 15.0, 15.0], [15.0, SHUT, SHUT, 15.0]])
    assert times(tables, lists((0, 1), patience=np.array([480.0]))) == "1001"


def test_patience_counts_anew_after_the_crew_has_cut():
    # the job shuts in slots 1 and 3; the crew waits for one slot each time
    tables = work([[15.0, SHUT, 15.0, SHUT, 15.0, 15.0], DRY], area=np.array([1.5, 1.0]))
    assert times(tables, lists((0, 1), patience=np.array([30.0]))) == "0.0.01"


@pytest.mark.parametrize(("leave", "expected"), [(0.0, "1100"), (19.0, "1100"), (20.0, "1001")])
def test_a_crew_that_cuts_leaves_for_a_better_job_within_reach(leave, expected):
    # job 0 opens in slot 1 and is 20 minutes away: 10 minutes of slot 1 and slot 2 cut 0.6667 ha
    move = np.array([[[0.0, 20.0], [20.0, 0.0], [0.0, 0.0]]])
    tables = work([[SHUT, 15.0, 15.0, 15.0], [15.0] * 4], move=move, area=np.array([2 / 3, 1.0]))
    assert times(tables, lists((0, 1), leave=np.array([leave])))[:3] == expected[:3]


def test_the_stop_margin_holds_for_a_crew_that_cuts_and_for_no_other():
    wet = [15.0, 15.8, 15.8, 15.8]
    assert times(work([wet]), lists((0,), jobs=1)) == "0..."
    assert times(work([wet]), lists((0,), jobs=1, stop_margin=0.5)) == "00.."
    assert times(work([wet[1:]]), lists((0,), jobs=1, stop_margin=0.5)) == "..."


def test_a_crew_that_was_at_home_starts_again_at_the_start_moisture():
    works = np.array([[True, False, True, True]])
    tables = work([[15.0, 15.8, 15.8, 15.4]], works=works, day=np.array([0, 0, 1, 1]))
    assert times(tables, lists((0,), jobs=1, stop_margin=0.5)) == "0..0"


def test_two_crews_cut_a_shared_job_at_once_and_another_one_never():
    both = of_crews(work([DRY, DRY]), 2)
    policy = lists((0, 1), (0, 1))
    assert [times(both, policy, k) for k in (0, 1)] == ["01....", "01...."]
    alone = replace(both, shared=np.zeros(2, np.bool_))
    assert [times(alone, policy, k) for k in (0, 1)] == ["00....", "11...."]


def test_a_crew_that_has_finished_its_list_helps_with_the_last_job_of_the_others():
    tables = of_crews(work([DRY] * 4, shared=np.zeros(4, np.bool_)), 2)
    policy = lists((0,), (1, 2, 3), jobs=4)
    assert [times(tables, policy, k) for k in (0, 1)] == ["0033..", "1122.."]


def test_grain_stays_on_carts_and_trucks_when_the_crew_moves():
    # 0.5 t fill carts and trucks; the point opens in slot 3, and one slot hauls 50 t
    tables = work(
        [DRY, DRY],
        area=np.array([0.5, 1.0]),
        buffer=np.full((1, 2), 0.5),
        point_open=np.array([[False, False, False, True, True, True]]),
        slots_to_open=np.array([[3, 2, 1, 0, 0, 0]]),
    )
    assert areas(tables, lists((0, 1))) == [[0.5, 0, 0, 0, 0, 0], [0, 0, 0, 0.5, 0.5, 0]]
    held = play(tables.of_members([0]), lists((0, 1))).state.held
    assert held.sum() == 0.0


def test_full_carts_hold_the_crew_at_the_rate_of_the_haul():
    # trucks haul 0.2 t/h: after 0.3 t on board a slot cuts 0.1 t
    tables = work([DRY], buffer=np.full((1, 1), 0.3), haul_rate=np.full((1, 1, 1, 1), 0.2))
    assert areas(tables, lists((0,), jobs=1))[0] == [0.4, 0.1, 0.1, 0.1, 0.1, 0.1]


def test_trucks_that_come_back_haul_what_waits_on_board():
    # no truck runs in slots 0 to 2; then trucks haul 0.6 t/h, a slot 0.3 t
    tables = work(
        [[15.0, *[SHUT] * 5]],
        buffer=np.full((1, 1), 0.5),
        haul_rate=np.array([0.0, 0.6]).reshape(1, 2, 1, 1),
        cut_rate=np.ones((1, 2, 1)),
        edge_rate=np.ones((1, 2, 1)),
        machines=np.array([[0, 0, 0, 1, 1, 1]]),
    )
    policy = lists((0,), jobs=1)
    assert areas(tables, policy)[0] == [0.5, 0, 0, 0, 0, 0]
    first, state = (0, 4), first_state(tables)
    run_slots(tables.arrays, state, policy.arrays, empty_log(), first, (0, 1))
    assert state.held.sum() == pytest.approx(0.2)
    assert play(tables, policy).state.held.sum() == 0.0


def test_the_best_point_is_filled_before_the_rest_goes_to_the_next():
    tables = replace(
        work([DRY]),
        loss=np.broadcast_to(np.array([2.0, 1.0], np.float32), (1, 6, 1, 2)).copy(),
        point_open=np.ones((2, 6), np.bool_),
        slots_to_open=np.zeros((2, 6), np.int64),
        dry_limit=np.full((1, 2), np.inf),
        holding=np.full(2, np.inf),
        dried=np.zeros((2, 6)),
        haul_rate=np.full((1, 1, 1, 2), 100.0),
        accepts=np.ones((1, 1, 2), np.bool_),
        delay=np.zeros((1, 1, 2)),
        room=np.array([np.inf, 0.3]),
        room_factor=np.array([1.5]),  # a tonne takes the volume of 1.5 t of wheat
    )
    outcome = play(tables, lists((0,), jobs=1))
    assert outcome.loss[0] == pytest.approx(0.2 * 1.0 + 0.8 * 2.0)
    assert outcome.state.room[0].tolist() == [np.inf, 0.0]
    full = replace(tables, accepts=np.array([[[False, True]]]))
    assert play(full, lists((0,), jobs=1)).state.left[0, 0] == pytest.approx(0.8)


def test_hand_wet_grain_waits_for_the_dryer():
    # grain at 16 % is 2.5 points wet; 0.6 t can wait, and a slot dries 0.25 t times points, which
    # is 0.1 t; dry grain goes in as ever
    tables = work(
        [[16.0, 16.0, 16.0, 16.0, 16.0, 13.0]],
        area=np.array([3.0]),
        dry_limit=np.full((1, 1), 13.5),
        holding=np.array([0.6]),
        dried=np.full((1, 6), 0.25),
    )
    policy = lists((0,), jobs=1, start=18.0)
    cut = areas(tables, policy)[0]
    # 0.5 t, then 0.2 t fill what may wait; from then on a slot's drying
    assert cut == pytest.approx([0.5, 0.2, 0.1, 0.1, 0.1, 0.5])
    outcome = play(tables, policy, log=True)
    assert violations(tables, policy, outcome) == []
    smaller = replace(tables, holding=np.array([0.4]))
    assert "wait for the dryer of point 0, 0.40 fit" in violations(smaller, policy, outcome)[0]


@pytest.mark.parametrize(
    ("wet", "a_slot"), [(18.5, 0.05), (16.0, 0.1), (15.5, 0.125), (14.0, 0.125)]
)
def test_hand_a_dryer_takes_less_of_wetter_grain(wet, a_slot):
    # common practice: the rate falls with the points; 5, 2.5 and 2 points above 13.5 %, and no
    # more of grain with half a point than with two
    tables = work(
        [[wet] * 6],
        area=np.array([3.0]),
        dry_limit=np.full((1, 1), 13.5),
        holding=np.array([0.5]),
        dried=np.full((1, 6), 0.25),
    )
    cut = areas(tables, lists((0,), jobs=1, start=20.0))[0]
    assert cut == pytest.approx([0.5, *[a_slot] * 5])


def test_wet_grain_that_finds_no_room_at_the_dryer_goes_to_the_next_point():
    two = work(
        [[16.0] * 6],
        loss=np.broadcast_to(np.array([1.0, 2.0], np.float32), (1, 6, 1, 2)).copy(),
        point_open=np.ones((2, 6), np.bool_),
        slots_to_open=np.zeros((2, 6), np.int64),
        haul_rate=np.full((1, 1, 1, 2), 100.0),
        accepts=np.ones((1, 1, 2), np.bool_),
        delay=np.zeros((1, 1, 2)),
        room=np.full(2, np.inf),
        dry_limit=np.array([[13.5, np.inf]]),
        holding=np.array([0.5, np.inf]),
        dried=np.zeros((2, 6)),
        area=np.array([1.5]),
    )
    outcome = play(two, lists((0,), jobs=1, start=18.0), log=True)
    assert outcome.log.point[0, 0, :3, 0].tolist() == [0, 1, 1]


def test_grain_goes_to_an_open_point_before_a_better_closed_one():
    tables = replace(
        work([DRY]),
        loss=np.broadcast_to(np.array([2.0, 1.0], np.float32), (1, 6, 1, 2)).copy(),
        point_open=np.array([[True] * 6, [False, *[True] * 5]]),
        slots_to_open=np.array([[0] * 6, [1, *[0] * 5]]),
        dry_limit=np.full((1, 2), np.inf),
        holding=np.full(2, np.inf),
        dried=np.zeros((2, 6)),
        haul_rate=np.full((1, 1, 1, 2), 100.0),
        accepts=np.ones((1, 1, 2), np.bool_),
        delay=np.zeros((1, 1, 2)),
        room=np.full(2, np.inf),
    )
    assert play(tables, lists((0,), jobs=1)).loss[0] == pytest.approx(0.5 * 2.0 + 0.5 * 1.0)


def test_moves_take_minutes_within_a_slot_and_across_slots():
    def from_yard(minutes, between=0.0):
        return np.array([[[0.0, between], [between, 0.0], [minutes, minutes]]])

    near = work([DRY, DRY], move=from_yard(10.0))
    assert areas(near, lists((0, 1)))[0][:3] == [0.3333, 0.5, 0.1667]
    far = work([DRY, DRY], move=from_yard(45.0))
    assert areas(far, lists((0, 1)))[0][:4] == [0, 0.25, 0.5, 0.25]
    # 15 minutes cut 0.25 ha, 10 minutes on the road leave 5 minutes of slot 0 for job 1
    split = work([DRY, DRY], move=from_yard(0.0, 10.0), area=np.array([0.25, 1.0]))
    assert areas(split, lists((0, 1)))[1][:2] == [0.0833, 0.5]


def test_a_crew_stands_while_the_road_is_closed():
    road = np.array([True, False, False, True, True, True])
    tables = work([DRY], move=np.full((1, 2, 1), 45.0), road=road)
    assert areas(tables, lists((0,), jobs=1))[0] == [0, 0, 0, 0.25, 0.5, 0.25]


def test_machines_that_are_down_come_back():
    rates = np.array([[[0.0], [0.5], [1.0]]])
    tables = work(
        [DRY],
        cut_rate=rates,
        edge_rate=rates,
        haul_rate=np.full((1, 3, 1, 1), 100.0),
        machines=np.array([[0, 0, 1, 2, 2, 2]]),
    )
    assert areas(tables, lists((0,), jobs=1))[0] == [0, 0, 0.25, 0.5, 0.25, 0]


def test_a_crew_that_is_away_neither_moves_nor_cuts():
    works = np.array([[True, False, False, True, True, True]])
    tables = work([DRY], works=works, move=np.array([[[0.0], [60.0]]]))
    assert times(tables, lists((0,), jobs=1)) == "....00"


def test_carts_at_the_edge_slow_the_crew():
    edge = np.zeros((1, 6, 1), np.bool_)
    edge[0, :2] = True
    tables = work([DRY], edge=edge, edge_rate=np.full((1, 1, 1), 0.8))
    assert areas(tables, lists((0,), jobs=1))[0][:3] == [0.4, 0.4, 0.2]


def test_tough_grain_slows_the_crew():
    # 4 % of the rate for each point above 14 %: at 16.5 % nine tenths; at 40 % half, the least
    tables = work([[16.5, 16.5, 16.5, 14.0]], tough_slower=0.04)
    assert areas(tables, lists((0,), jobs=1, start=50.0))[0][:3] == [0.45, 0.45, 0.1]
    tables = work([[40.0] * 5], tough_slower=0.04)
    assert areas(tables, lists((0,), jobs=1, start=50.0))[0][:4] == [0.25] * 4


def test_each_morning_a_crew_goes_to_the_first_job_that_can_be_cut():
    tables = work([[SHUT, 15.0, 15.0, 15.0], [15.0] * 4], day=np.array([0, 0, 1, 1]))
    tables = replace(tables, area=np.array([1.0, 3.0]))
    assert times(tables, lists((0, 1))) == "1100"


def test_the_start_moisture_of_later_days_holds_from_the_second_day():
    start = np.array([[14.0], [16.0]])
    tables = work([[15.0] * 4], day=np.array([0, 0, 1, 1]))
    assert times(tables, lists((0,), jobs=1, start=15.5)) == "00.."
    assert times(tables, replace(lists((0,), jobs=1), start=start)) == "..00"


def morning_work(prospect, **changes):
    """Two jobs 30 minutes away that open in slot 2, with their prospects in the morning."""
    opens = [SHUT, SHUT, 15.0, 15.0]
    tables = work([opens, opens], move=np.full((1, 3, 2), 30.0), **changes)
    return replace(tables, prospect=np.tile(np.array(prospect, np.float32), (1, 4, 1)))


def test_in_the_morning_a_crew_goes_where_the_grain_may_be_dry_within_the_day():
    # at most 5 points above the start moisture of 15.5 %
    assert times(morning_work([20.5, SHUT]), lists((0, 1))) == "..00"
    assert times(morning_work([20.6, 20.5]), lists((0, 1))) == "..11"
    assert times(morning_work([20.6, SHUT]), lists((0, 1))) == "...0"


def test_a_crew_does_not_drive_to_grain_that_no_point_takes():
    accepts = np.array([[[False], [True]]])
    assert times(morning_work([16.0, 16.0], accepts=accepts), lists((0, 1))) == "..11"


def test_rules_rank_by_minutes_of_move_or_by_moisture():
    move = np.array([[[0.0, 9.0, 9.0], [9.0, 0.0, 9.0], [9.0, 9.0, 0.0], [3.0, 2.0, 1.0]]])
    three = work([[15.2] * 6, [15.1] * 6, [15.3] * 6], move=move)
    nearest = lists((0, 1, 2), jobs=3, move_weight=DECISIVE)
    assert times(three, nearest)[0] == "2"
    driest = lists((0, 1, 2), jobs=3, moisture_weight=DECISIVE)
    assert times(three, driest)[0] == "1"


def test_grain_that_is_left_costs_its_share():
    tables = work([[15.0, SHUT]])
    outcome = play(tables, lists((0,), jobs=1))
    assert outcome.loss[0] == pytest.approx(0.5 * 1.0 + 0.5 * 10.0)
