"""Published scheduling sets as work tables."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
from small_tables import one_crew_work

from scheduler.field_work.policy import Policy, ranked_lists
from scheduler.field_work.tables import Int, WorkTables


def wt40(folder: Path):
    """OR-Library weighted tardiness, 40 jobs: (length, weight, due) of each, and the optima."""
    numbers = np.array((folder / "wt40.txt").read_text().split(), np.int64).reshape(-1, 3, 40)
    best = np.array((folder / "wtopt40.txt").read_text().split(), np.int64)
    return numbers, best


def tardiness_work(length: Int, weight: Int, due: Int) -> WorkTables:
    """Weighted tardiness on one machine, in slots of one minute.

    The move to a job takes all its minutes but the last, in which the whole job is cut and loses
    its weighted tardiness. All is open always, so that the list is the schedule.
    """
    jobs, slots = length.size, int(length.sum())
    end = np.arange(1, slots + 1)[:, None]
    one = one_crew_work(
        jobs=jobs, slots=slots, loss=(weight * np.maximum(end - due, 0))[None, :, :, None]
    )
    return replace(
        one,
        move=np.tile(length - 1.0, (1, jobs + 1, 1)),
        cut_rate=np.full((1, 1, jobs), 60.0),
        haul_rate=np.full((1, 1, jobs, 1), 6000.0),
        leave_cost=np.full(jobs, 1e8),
        slot_min=1.0,
    )


def tardiness_starts(length: Int, weight: Int, due: Int) -> list[Policy]:
    """Lists by due date, and by weight over length."""
    lists = (np.argsort(due, kind="stable"), np.argsort(-weight / length, kind="stable"))
    return [ranked_lists((tuple(row.tolist()),), due.size, start=15.0) for row in lists]
