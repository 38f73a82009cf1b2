"""The checker: sound plays pass, and each rule broken alone is reported."""

from dataclasses import replace

import numpy as np
import pytest
from random_policies import random_farm, random_policy
from small_tables import one_crew_work

from scheduler.field_work.play import Outcome, play
from scheduler.field_work.policy import Policy, ranked_lists
from scheduler.field_work.tables import WorkTables
from scheduler.solver.check import violations


@pytest.mark.parametrize(
    ("first", "last"), [(0, 100), pytest.param(100, 3434, marks=pytest.mark.slow)]
)
def test_random_policies_break_no_rule(first, last):
    """Three policies on each random farm."""
    cuts = 0
    for seed in range(first, last):
        tables = random_farm(seed)
        for draw in range(3):
            policy = random_policy(tables, 3 * seed + draw)
            outcome = play(tables, policy, log=True)
            assert violations(tables, policy, outcome) == [], (seed, draw)
            cuts += int((outcome.log.job >= 0).sum())
    assert cuts > 20 * (last - first)


def two_crews() -> WorkTables:
    """Two crews that cut 1 t/h in two jobs of 1 ha; each move takes 20 min, a crew holds 0.4 t."""
    one = one_crew_work(jobs=2)
    by_crew = ("works", "machines", "cut_rate", "edge_rate", "haul_rate", "accepts", "delay")
    return replace(
        one,
        **{name: np.repeat(getattr(one, name), 2, axis=0) for name in by_crew},
        move=np.tile(np.array([[0.0, 20.0], [20.0, 0.0], [20.0, 20.0]]), (2, 1, 1)),
        buffer=np.full((2, 2), 0.4),
        room=np.array([3.0]),
    )


TABLES = two_crews()
POLICY = ranked_lists(((0,), (1,)), 2, start=16.0)
OUTCOME = play(TABLES, POLICY, log=True)


def entries(*cuts: tuple[int, int, int, float]) -> Outcome:
    """Outcome of a log of cuts (crew, slot, job, area), with losses and standing areas to match."""
    log = play(TABLES, replace(POLICY, start=np.zeros((2, 2))), log=True).log
    left, lost = TABLES.area.copy(), 0.0
    used: dict[tuple[int, int], int] = {}
    for k, s, j, area in cuts:
        e = used[k, s] = used.get((k, s), -1) + 1
        log.job[0, k, s, e], log.area[0, k, s, e] = j, area
        left[j] -= area
        lost += area
    state = OUTCOME.state._replace(left=left[None])
    return Outcome(loss=np.array([lost + left.sum() * 10.0]), state=state, log=log)


def at(name: str, index: tuple[int, ...], value: object) -> WorkTables:
    array = getattr(TABLES, name).copy()
    array[index] = value
    return replace(TABLES, **{name: array})


def test_a_sound_play_and_a_sound_log_pass():
    assert violations(TABLES, POLICY, OUTCOME) == []
    assert violations(TABLES, POLICY, entries((0, 1, 0, 0.5), (1, 1, 1, 0.5))) == []
    assert violations(TABLES, POLICY, OUTCOME, locked=((0,), (1,))) == []


CLOSED = at("point_open", (0, 1), False)
BROKEN = {
    "beyond the area": (TABLES, entries(*((0, s, 0, 0.5) for s in (1, 2, 3))), "1.50 ha of job 0"),
    "no area": (TABLES, entries((0, 1, 0, 0.0)), "without an area"),
    "shut": (at("wet", (0, 1, 0), np.inf), entries((0, 1, 0, 0.5)), "while it is shut"),
    "start moisture": (
        at("wet", (0, 1, 0), 16.5),
        entries((0, 1, 0, 0.5)),
        "at 16.50 %, above the start moisture 16.00 %",
    ),
    "stop moisture": (
        at("wet", (0, 2, 0), 16.5),
        entries((0, 1, 0, 0.5), (0, 2, 0, 0.5)),
        "above the stop moisture 16.00 %",
    ),
    "working hours": (at("works", (0, 1), False), entries((0, 1, 0, 0.5)), "working hours"),
    "two crews": (
        at("shared", (0,), False),
        entries((0, 1, 0, 0.5), (1, 1, 0, 0.4)),
        "also cut by crew 0",
    ),
    "two places": (TABLES, entries((0, 1, 0, 0.5), (0, 2, 1, 0.5)), "20.0 min before"),
    "two places in a slot": (TABLES, entries((0, 1, 0, 0.2), (0, 1, 1, 0.1)), "8.0 min before"),
    "first move": (TABLES, entries((0, 0, 0, 0.5)), "20.0 min before"),
    "road": (at("road", (0,), False), entries((0, 1, 0, 0.5)), "20.0 min before"),
    "combines": (TABLES, entries((0, 1, 0, 0.6)), "gives 0.60 t, the machines cut 0.50 t a slot"),
    "combine down": (at("cut_rate", (0, 0, 0), 0.0), entries((0, 1, 0, 0.5)), "cut 0.00 t a slot"),
    "carts at the edge": (
        replace(at("edge", (0, 1, 0), True), edge_rate=0.8 * TABLES.cut_rate),
        entries((0, 1, 0, 0.5)),
        "the machines cut 0.40 t a slot",
    ),
    "buffer": (CLOSED, entries((0, 1, 0, 0.5)), "0.50 t on board, 0.40 fit; point 0 is closed"),
    "slow haul": (
        at("haul_rate", (0, 0, 0, 0), 0.1),
        entries((0, 1, 0, 0.5)),
        "0.45 t on board, 0.40 fit; point 0 is open",
    ),
    "refused": (at("loss", (0, 1, 0, 0), np.nan), entries((0, 1, 0, 0.5)), "refuses the grain"),
    "not accepted": (at("accepts", (0, 0, 0), False), entries((0, 1, 0, 0.5)), "refuses the grain"),
    "room": (at("room", (0,), 0.3), entries((0, 1, 0, 0.5)), "takes 0.50 t, its room is 0.30 t"),
    "loss": (TABLES, replace(OUTCOME, loss=OUTCOME.loss + 1.0), "the loss is 3.00"),
    "standing": (
        TABLES,
        replace(OUTCOME, state=OUTCOME.state._replace(left=np.full((1, 2), 0.5))),
        "0.50 ha of job 0 stand, the log leaves",
    ),
}


@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_rule_is_reported(name):
    tables, outcome, words = BROKEN[name]
    assert any(words in line for line in violations(tables, POLICY, outcome)), name


def test_grain_on_board_takes_up_carts_and_trucks_until_it_is_hauled():
    # point closed in slots 1 and 2: 0.3 t fit, 0.2 t more do not; they fit once the point is open
    cuts = entries((0, 1, 0, 0.3), (0, 2, 0, 0.2))
    closed = at("point_open", (0, slice(1, 3)), False)
    assert any("0.50 t on board" in line for line in violations(closed, POLICY, cuts))
    assert violations(CLOSED, POLICY, cuts) == []


def test_locked_jobs_head_the_order_of_their_crew():
    policy: Policy = ranked_lists(((1, 0), ()), 2, start=16.0)
    outcome = play(TABLES, policy, log=True)
    assert violations(TABLES, policy, outcome, locked=((1,), ())) == []
    found = violations(TABLES, policy, outcome, locked=((0,), ()))
    assert found == ["crew 0: the order does not begin with the locked jobs [0]"]
