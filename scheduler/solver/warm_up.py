"""The solver compiled ahead: by a second process, while the first reads the farm and walks hours.

On a first run nothing compiled is stored yet, and the planner would stand still before each stage
of `solve`. So a child solves a small problem of its own, which goes through the same stages, and
tells what it is done with. numba stores what the child compiles; the planner waits with a stage
until the child is past it, and finds it stored. Nothing else passes between them: with no child,
or one that failed, the planner compiles for itself, and its plan is the same.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from threading import Timer

import numpy as np

from scheduler.solver.annealing import anneal
from scheduler.solver.solve import solve
from scheduler.solver.tables import CutTables

#: What the planner tells it begins -> the stage of `solve` that compiles what it needs.
NEEDS = {
    "pricing make-ups": "searching for orders",
    "proving how good they are": "proving how good they are",
    "proving how good one order can be": "proving how good one order can be",
}
#: `-P`: not from the folder that the planner was called in, where anything may lie.
COMMAND = (sys.executable, "-P", "-m", "scheduler.solver.warm_up")
#: Seconds after which a child is ended; assumed: compiling takes half a minute.
PATIENCE = 180.0


def wanted() -> bool:
    """Whether a child would help: no compiled search is stored, and there is a second processor."""
    stored = Path(str(anneal.stats.cache_path)).glob("annealing.anneal-*.nbi")
    return (os.cpu_count() or 1) > 1 and not any(stored)


class WarmUp:
    """The child, where one is wanted, as long as this is entered; `wait` is for the planner."""

    def __init__(self, command: Sequence[str] = COMMAND) -> None:
        self.command = command
        self.done: set[str] = set()
        self.child: subprocess.Popen[str] | None = None

    def __enter__(self) -> WarmUp:
        if wanted():
            with suppress(OSError):  # the planner then compiles for itself
                self.child = subprocess.Popen(
                    self.command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                    stderr=subprocess.DEVNULL, encoding="utf-8",
                )  # fmt: skip
                self.timer = Timer(PATIENCE, self.child.kill)
                self.timer.daemon = True
                self.timer.start()
        return self

    def wait(self, begun: str) -> None:
        """Return once the child has compiled what is needed for what is begun, or has ended."""
        need = NEEDS.get(begun)
        while need and self.child and self.child.stdout and need not in self.done:
            line = self.child.stdout.readline()
            if not line:
                return self._end()
            self.done.add(line.strip())

    def __exit__(self, *_: object) -> None:
        self._end()

    def _end(self) -> None:
        if self.child:
            self.timer.cancel()
            self.child.kill()
            self.child.communicate()
            self.child = None


def small() -> CutTables:
    """Tables of more jobs than are walked through one by one, and of members at odds."""
    members, crews, jobs, slots = 3, 2, 12, 60
    rng, start = np.random.default_rng(0), np.arange(slots)
    finish = start + rng.integers(2, 9, (members, crews, jobs, 1))
    paid, later = rng.integers(0, 100, (jobs, 1)), rng.integers(1, 9, (members, 1, jobs, 1))
    return CutTables(
        finish=np.where(finish < slots, finish, -1).astype(np.int32),
        cost=np.broadcast_to(paid + later * start, finish.shape).copy(),
        move=rng.integers(0, 4, (crews, jobs + 1, jobs), dtype=np.int32),
        ready=np.zeros(crews, np.int32), leave_cost=np.full(jobs, 2000),
        weight=np.full(members, 1.0 / members),
    )  # fmt: skip


def main() -> None:
    """Compile; a line for each stage that is done."""
    stages: list[str] = []

    def told(stage: str, share: float) -> None:
        if stages and stages[-1] != stage:
            print(stages[-1], flush=True)
        stages.append(stage)

    solve(small(), effort=0.01, progress=told)


if __name__ == "__main__":
    main()
