"""Warm-up: a second process compiles the solver while the first reads the farm.

On a first run no compiled code is stored, and the planner would stand still before each stage of
`solve`. So a child process solves a small problem, which goes through the same stages, and prints
the stages it has finished. numba stores the code that the child compiles; the planner waits before
a stage until the child has finished it, then loads the stored code. Nothing else passes between
the processes: without a child, or after its failure, the planner compiles for itself, and the plan
is the same.
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
from scheduler.solver.stages import SolveStage, Stage
from scheduler.solver.tables import CutTables

#: `-P` keeps the working folder, which is the user's, off the child's module path.
COMMAND = (sys.executable, "-P", "-m", "scheduler.solver.warm_up")
#: Seconds after which the child is killed; assumed: compiling takes half a minute.
TIMEOUT_S = 180.0


def worth_starting() -> bool:
    """Whether a child helps: no compiled search is stored, and there is a second processor."""
    stored = Path(str(anneal.stats.cache_path)).glob("annealing.anneal-*.nbi")
    return (os.cpu_count() or 1) > 1 and not any(stored)


class WarmUp:
    """Context in which the child runs, where it is worth starting; the planner calls `wait`."""

    def __init__(self, command: Sequence[str] = COMMAND) -> None:
        self.command = command
        self.done: set[str] = set()
        self.child: subprocess.Popen[str] | None = None

    def __enter__(self) -> WarmUp:
        if worth_starting():
            with suppress(OSError):  # the planner then compiles for itself
                self.child = subprocess.Popen(
                    self.command,
                    stdin=subprocess.DEVNULL,
                    stdout=subprocess.PIPE,
                    stderr=subprocess.DEVNULL,
                    encoding="utf-8",
                )
                self.timer = Timer(TIMEOUT_S, self.child.kill)
                self.timer.daemon = True
                self.timer.start()
        return self

    def wait(self, stage: SolveStage) -> None:
        """Return once the child has finished the stage, or has ended."""
        while self.child and self.child.stdout and stage.value not in self.done:
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


def small_problem() -> CutTables:
    """Tables with too many jobs to enumerate, and with members that differ."""
    members, crews, jobs, slots = 3, 2, 12, 60
    rng, start = np.random.default_rng(0), np.arange(slots)
    finish = start + rng.integers(2, 9, (members, crews, jobs, 1))
    paid, later = rng.integers(0, 100, (jobs, 1)), rng.integers(1, 9, (members, 1, jobs, 1))
    return CutTables(
        finish=np.where(finish < slots, finish, -1).astype(np.int32),
        cost=np.broadcast_to(paid + later * start, finish.shape).copy(),
        move=rng.integers(0, 4, (crews, jobs + 1, jobs), dtype=np.int32),
        ready=np.zeros(crews, np.int32),
        leave_cost=np.full(jobs, 2000),
        weight=np.full(members, 1.0 / members),
    )


def main() -> None:
    """Compile; print a line for each stage finished."""
    stages: list[Stage] = []

    def print_finished(stage: Stage, share: float) -> None:
        if stages and stages[-1] != stage:
            print(stages[-1].value, flush=True)
        stages.append(stage)

    solve(small_problem(), effort=0.01, progress=print_finished)


if __name__ == "__main__":
    main()
