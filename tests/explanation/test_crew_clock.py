"""The clock of a crew obeys arithmetic: leave, move, start, done, and the next field after that."""

import numpy as np
import pytest
from random_policies import random_farm, random_policy

from scheduler.explanation.crew_clock import GRID_MIN, arrival, crew_runs, departure
from scheduler.field_work.play import play

SLOT = 30.0


def contradictions(seed):
    """What is wrong with the clocks of all crews of a random farm, and the number of runs."""
    tables = random_farm(seed, members=1)
    outcome = play(tables, random_policy(tables, seed), log=True)
    wrong, count = [], 0
    for k in range(tables.shape[1]):
        free = tables.works[k] & tables.road
        done = 0.0
        for run in crew_runs(tables, outcome, k, 0):
            first, last = int(run.cuts.slot[0]), int(run.cuts.slot[-1])
            holds = {
                "leaves after it is done": run.leave >= done,
                "has time to move": run.start - run.leave >= run.move - 1e-6,
                "moves in its hours": arrival(run.leave, run.move, free, SLOT) <= run.start + 1e-6,
                "starts in its hours": tables.works[k, first] and run.start >= first * SLOT,
                "cuts after it has started": run.until > run.start,
                # a crew that is on the road from the first minute of its hours cannot leave sooner
                "ends in its hours": run.until <= (last + 1) * SLOT
                or tables.works[k, last + 1 : last + 2].any()
                or (done == 0.0 and run.earliest > (last + 1) * SLOT - GRID_MIN),
                "is on the grid": all(x % GRID_MIN == 0 for x in (run.leave, run.start, run.until)),
                "cuts no more than there is": run.cuts.area.sum() <= tables.area[run.job] * 1.0001,
                "stays where it stands": run.origin != run.job or run.move == 0.0,
                "finishes what is finished": not run.finished
                or outcome.state.left[0, run.job] <= 1e-6,
            }
            wrong += [(seed, k, words) for words, true in holds.items() if not true]
            done = run.until
            count += 1
    return wrong, count


def test_no_clock_contradicts_itself_in_random_mornings():
    found = [contradictions(seed) for seed in range(300)]
    assert [wrong for wrong, _ in found if wrong] == []
    assert sum(count for _, count in found) > 1000


@pytest.mark.slow
def test_no_clock_contradicts_itself_in_ten_thousand_random_mornings():
    found = [contradictions(seed) for seed in range(300, 10_300)]
    runs = sum(count for _, count in found)
    print(f"{len(found)} random mornings, {runs} stays in a field")
    assert [wrong for wrong, _ in found if wrong] == []


# hand: the road is shut in the second half hour; 40 min from 0:00 end at 1:10
def test_moves_wait_for_the_road():
    free = np.array([True, False, True, True])
    assert arrival(0.0, 40.0, free, SLOT) == 70.0
    assert departure(70.0, 40.0, free, SLOT) == 0.0
    # hand: there at 2:00 after 40 min, without the shut half hour: 1:20
    assert departure(120.0, 40.0, free, SLOT) == 80.0
    assert arrival(80.0, 40.0, free, SLOT) == 120.0


def test_a_crew_that_stands_there_does_not_move():
    free = np.ones(4, bool)
    assert arrival(45.0, 0.0, free, SLOT) == departure(45.0, 0.0, free, SLOT) == 45.0
