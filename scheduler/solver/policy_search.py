"""Search over policies: simulated annealing, every policy played on the same members.

All policies meet the same members (common random numbers), so that a difference between two of
them holds little noise. A policy that is clearly worse on the first members is given up there
(a race). The number of policies is fixed and the random numbers are seeded, so that a seed names
one result.

References
----------
Kirkpatrick, Gelatt and Vecchi 1983, Science 220, 671-680 (simulated annealing).
Glasserman and Yao 1992, Management Science 38(6), 884-908 (common random numbers; from memory).
Maron and Moore 1994, Advances in Neural Information Processing Systems 6, 59-66 (races; from
memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from scheduler.field_work.kernel import run_slots
from scheduler.field_work.play import empty_log
from scheduler.field_work.policy import Orders, Policy
from scheduler.field_work.state import first_state
from scheduler.field_work.tables import Float, Int, WorkTables
from scheduler.solver.objective import MEAN, objective_of
from scheduler.solver.settings import DEFAULTS, SearchSettings

#: Values that the search tries for patience and leave, min, and for the stop margin, points.
PATIENCE = (0.0, 30.0, 60.0, 120.0, 240.0, 480.0)
LEAVE = (0.0, 20.0, 40.0, 60.0)
STOP_MARGIN = (0.0, 0.5, 1.0)
#: Places in the list that a minute of move is worth.
MOVE_WEIGHT = (0.0, 0.03, 0.1, 0.3, 1.0, 3.0)
NO_LOG = empty_log()
#: Start moisture of a job that never opens, percent; it decides nothing.
DEFAULT_MOISTURE = 15.0
#: Steps of a start moisture, points.
START_STEPS = (-2.0, -1.0, -0.5, 0.5, 1.0, 2.0)


@dataclass(frozen=True, kw_only=True)
class Found:
    """A policy and its loss, (member,), on the members that it was searched on."""

    policy: Policy
    loss: Float


class Evaluator:
    """Plays policies on tables; a race gives up policies that are clearly worse."""

    def __init__(self, tables: WorkTables, settings: SearchSettings = DEFAULTS) -> None:
        self.tables, self.settings = tables, settings
        self._arrays, self._state = tables.arrays, first_state(tables)
        self._leave_ha = tables.leave_cost / tables.area
        members = tables.shape[0]
        ends = [*(b for b in settings.race_members if b < members), members]
        self._blocks = list(zip([0, *ends[:-1]], ends, strict=True))

    def loss(self, policy: Policy) -> Float:
        """Loss of a policy, (member,)."""
        loss = self.race(policy, np.zeros(0), math.inf)
        assert loss is not None
        return loss

    def value(self, policy: Policy, *, objective: str) -> float:
        """Objective of a policy, money."""
        return objective_of(self.loss(policy), self.tables.weight, objective=objective)

    def race(self, policy: Policy, best: Float, margin: float) -> Float | None:
        """Loss of a policy, (member,); None as soon as it is clearly worse than `best`.

        `margin` is the mean loss above that of `best` that is still of interest.
        """
        state, slots = self._state.copy(), (0, self.tables.shape[4])
        loss = np.empty(self.tables.shape[0])
        for a, b in self._blocks:
            run_slots(self._arrays, state, policy.arrays, NO_LOG, slots, (a, b))
            loss[a:b] = state.lost[a:b] + state.left[a:b] @ self._leave_ha
            if b < len(loss) and math.isfinite(margin):
                extra = loss[:b] - best[:b]
                error = float(extra.std()) / math.sqrt(b)
                if float(extra.mean()) - margin > self.settings.race_errors * error:
                    return None
        return loss


def search(
    tables: WorkTables,
    starts: Sequence[Policy],
    *,
    seed: int,
    locked: Orders | None = None,
    held: Sequence[int] = (),
    objective: str = MEAN,
    iterations: int | None = None,
    simplify: bool = True,
    settings: SearchSettings = DEFAULTS,
) -> list[Found]:
    """Policies of least loss that two independent searches find, the best first.

    Parameters
    ----------
    starts : policies to start from; each search starts from one of the best two.
    seed : the same tables, starts and seed give the same policies on any machine.
    locked : jobs with which the order of each crew must begin, as the starts already do.
    held : jobs whose start moistures stay as the starts have them.
    objective : 'mean' over members, or 'cautious': the mean of the worst fifth.
    iterations : policies that each search tries; by default `settings.iterations`.
    simplify : whether numbers that decide nothing are set to their plainest; one that only needs
        the loss leaves them.
    """
    evaluator = Evaluator(tables, settings)
    fixed = tuple(len(row) for row in locked) if locked else (0,) * tables.shape[1]

    def value(found: Found) -> float:
        return objective_of(found.loss, tables.weight, objective=objective)

    with ThreadPoolExecutor(max_workers=2) as pool:
        played = list(pool.map(lambda p: Found(policy=p, loss=evaluator.loss(p)), starts))
        best = sorted(played, key=value)
        chains = [
            _Chain(
                evaluator=evaluator,
                fixed=fixed,
                free=np.setdiff1d(np.arange(tables.shape[2]), held),
                objective=objective,
                rng=np.random.default_rng((seed, n)),
                iterations=settings.iterations if iterations is None else iterations,
                simplify=simplify,
            )
            for n in range(2)
        ]
        found = list(pool.map(_Chain.run, chains, [best[0], best[min(1, len(best) - 1)]]))
    return sorted(found, key=value)


@dataclass(frozen=True, kw_only=True)
class _Chain:
    """One simulated annealing.

    `fixed` first jobs of each crew stay where they are; start moistures of `free` jobs may change.
    """

    evaluator: Evaluator
    fixed: tuple[int, ...]
    free: Int
    objective: str
    rng: np.random.Generator
    iterations: int
    simplify: bool

    def run(self, start: Found) -> Found:
        """Anneal from a policy; returns the best policy met."""
        settings, tables = self.evaluator.settings, self.evaluator.tables
        current, best = start, start
        level = least = self._value(start.loss)
        cooling = settings.end_temperature / settings.start_temperature
        moves = _Moves(tables, self.fixed, self.free, self.rng)
        for step in range(self.iterations):
            heat = settings.start_temperature * cooling ** (step / self.iterations)
            margin = -heat * abs(level) * math.log(1.0 - self.rng.random())
            policy = moves.neighbour(current.policy)
            if self.objective == MEAN:
                loss = self.evaluator.race(policy, current.loss, margin)
            else:
                loss = self.evaluator.loss(policy)
            if loss is None or (new := self._value(loss)) > level + margin:
                continue
            current, level = Found(policy=policy, loss=loss), new
            if level < least:
                best, least = current, level
        return self._simplified(best) if self.simplify else best

    def _simplified(self, found: Found) -> Found:
        """The policy with every number that decides nothing at its plainest.

        An annealing lets such numbers wander. On weather that no member foresees they would
        decide at random.
        """
        settings = self.evaluator.settings
        limit = self._value(found.loss) * (1.0 + settings.simpler_share)
        crews = len(found.policy.orders)
        plainest: list[dict[str, Any]] = [
            {"stop_margin": 0.0},
            {"leave": np.zeros(crews)},
            {"patience": np.zeros(crews)},
            {"move_weight": 0.0},
        ]
        for numbers in plainest:
            found = self._if_as_good(found, replace(found.policy, **numbers), limit)
        today, later = 0, 1
        crop_of = self.evaluator.tables.crop[self.free]
        for crop in np.unique(crop_of):
            jobs = self.free[crop_of == crop]
            for j in jobs.tolist():
                common = round(2.0 * float(np.median(found.policy.start[later, jobs]))) / 2.0
                found = self._started(found, later, j, np.array(common), limit)
            found = self._started(found, today, jobs, found.policy.start[later, jobs], limit)
            for j in jobs.tolist():
                found = self._started(found, today, j, found.policy.start[later, j], limit)
        return found

    def _started(
        self, found: Found, row: int, jobs: Int | int, start: Float, limit: float
    ) -> Found:
        """The policy with another start moisture of some jobs, if as good."""
        if (found.policy.start[row, jobs] == start).all():
            return found
        changed = found.policy.start.copy()
        changed[row, jobs] = start
        return self._if_as_good(found, replace(found.policy, start=changed), limit)

    def _if_as_good(self, found: Found, policy: Policy, limit: float) -> Found:
        """The policy if its loss is within the limit, else what was found."""
        loss = (
            self.evaluator.race(policy, found.loss, 0.0)
            if self.objective == MEAN
            else (self.evaluator.loss(policy))
        )
        if loss is None or self._value(loss) > limit:
            return found
        return Found(policy=policy, loss=loss)

    def _value(self, loss: Float) -> float:
        """Objective of the search."""
        return objective_of(loss, self.evaluator.tables.weight, objective=self.objective)


class _Moves:
    """Random changes of a policy."""

    def __init__(
        self, tables: WorkTables, fixed: tuple[int, ...], free: Int, rng: np.random.Generator
    ) -> None:
        self.fixed, self.free, self.rng = fixed, free, rng
        self.jobs = tables.shape[2]
        crops = [free[tables.crop[free] == c] for c in np.unique(tables.crop[free])]
        self.groups = [*crops, free]
        self.driest, self.wettest = _moisture_range(tables)

    def neighbour(self, policy: Policy) -> Policy:
        """The policy with one change."""
        draw = self.rng.random()
        if draw < 0.5 or not self.free.size:
            return self._relocate(policy)
        if draw < 0.6:
            return self._swap(policy)
        if draw < 0.75:
            job = self.rng.choice(self.free, 1)
            return self._restart(policy, job, slice(int(self.rng.integers(2)), None))
        if draw < 0.92:
            group = self.groups[int(self.rng.integers(len(self.groups)))]
            row = int(self.rng.integers(3))
            return self._restart(policy, group, slice(None) if row == 2 else slice(row, row + 1))
        return self._rewait(policy)

    def _place(self, size: int) -> int:
        """A place in a list of `size`, in half of the draws near its head: today's work."""
        if self.rng.random() < 0.5:
            return min(int(self.rng.exponential(4.0)), size - 1)
        return int(self.rng.integers(size))

    def _relocate(self, policy: Policy) -> Policy:
        """Move a job to another place of a crew's list."""
        rows = [list(row) for row in policy.orders]
        free = [k for k, row in enumerate(rows) if len(row) > self.fixed[k]]
        if not free:
            return policy
        k = free[int(self.rng.integers(len(free)))]
        job = rows[k].pop(self.fixed[k] + self._place(len(rows[k]) - self.fixed[k]))
        to = k if self.rng.random() < 0.6 else int(self.rng.integers(len(rows)))
        if job in rows[to]:
            if rows[to].index(job) < self.fixed[to]:
                return policy
            rows[to].remove(job)
        rows[to].insert(self.fixed[to] + self._place(len(rows[to]) - self.fixed[to] + 1), job)
        return replace(policy, orders=tuple(tuple(row) for row in rows))

    def _swap(self, policy: Policy) -> Policy:
        """Swap two jobs of a crew's list."""
        k = int(self.rng.integers(len(policy.orders)))
        row, first = list(policy.orders[k]), self.fixed[k]
        if len(row) - first < 2:
            return policy
        a, b = (first + self._place(len(row) - first) for _ in range(2))
        row[a], row[b] = row[b], row[a]
        orders = (*policy.orders[:k], tuple(row), *policy.orders[k + 1 :])
        return replace(policy, orders=orders)

    def _restart(self, policy: Policy, jobs: Int, days: slice) -> Policy:
        """Change the start moisture of some jobs, today, later or both."""
        start = policy.start.copy()
        start[days, jobs] += START_STEPS[int(self.rng.integers(len(START_STEPS)))]
        return replace(policy, start=np.clip(start, self.driest, self.wettest))

    def _rewait(self, policy: Policy) -> Policy:
        """Change patience or leave of a crew, or the stop margin."""
        draw, k = self.rng.random(), int(self.rng.integers(len(policy.orders)))
        if draw < 0.15:
            return replace(policy, stop_margin=float(self.rng.choice(STOP_MARGIN)))
        if draw < 0.4:
            return replace(policy, move_weight=float(self.rng.choice(MOVE_WEIGHT)))
        patience, leave = policy.patience.copy(), policy.leave.copy()
        if draw < 0.7:
            patience[k] = self.rng.choice(PATIENCE)
        else:
            leave[k] = self.rng.choice(LEAVE)
        return replace(policy, patience=patience, leave=leave)


def _moisture_range(tables: WorkTables) -> tuple[Float, Float]:
    """Start moistures, (job,), from none to every open half-hour, on half points."""
    wet = np.where(np.isfinite(tables.wet), tables.wet, np.nan)
    known = np.isfinite(wet).any(axis=(0, 1))
    wet[:, 0, ~known] = DEFAULT_MOISTURE
    low, high = np.nanmin(wet, axis=(0, 1)), np.nanmax(wet, axis=(0, 1))
    return np.floor(2.0 * low) / 2.0, np.ceil(2.0 * high) / 2.0
