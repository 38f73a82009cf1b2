"""Bundle (cutting-plane) model of the Lagrangian bound, which says where to move the multipliers.

A path once found bounds, for one member and crew, the value of the pricing problem at any
multipliers. All paths together bound the Lagrangian bound from above: the cutting-plane model. The
next multipliers maximise the model less a quadratic penalty for their distance: a proximal bundle
method with one bundle for each member and crew. The dual of that quadratic program asks for convex
weights of the paths that make their visits agree: each job is done once, and members visit a job
at the same place of the order (`common_order`). Pairwise coordinate descent finds these weights.

References
----------
Hiriart-Urruty and Lemarechal 1993, Convex Analysis and Minimization Algorithms II, Springer
(bundle methods).
"""

# mypy: disable-error-code="no-untyped-def"

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from scheduler.solver.settings import DEFAULTS, Settings
from scheduler.solver.tables import Float, Int

#: Value in the bundle where it holds no path; above every cost.
NO_PATH = 1e300


class PathsFound(NamedTuple):
    """Paths of all members and crews: the cheapest, then some that deviate from it once.

    job, level (member, crew, path, step): jobs, -1 after the last, and the levels of the order at
    which they stand. value (member, crew, path): cost after multipliers, `NO_PATH` for none.
    """

    job: NDArray[np.int16]
    level: NDArray[np.int16]
    value: Float


class Knots(NamedTuple):
    """Interpolation of place multipliers: level w lies between the knots low[w] and low[w] + 1.

    part (level,): share of the upper knot.
    """

    low: Int
    part: Float


class Bundle(NamedTuple):
    """Paths kept, of each member and crew.

    job, level (member, crew, path, step): as in `PathsFound`. cost (member, crew, path): cost
    before multipliers, except for the gain that the order may still make after closing, which
    counts as priced when the path was found; `NO_PATH` for none. weight (member, crew, path):
    convex weights of the last step, which sum to 1 over the paths. age: iterations since a path
    was found or last had a weight.
    """

    job: NDArray[np.int16]
    level: NDArray[np.int16]
    cost: Float
    weight: Float
    age: Int


class Proximal(NamedTuple):
    """Quadratic program of one step.

    member_weight (member,); step: step size; direction (job,): 1 where the multiplier may move
    both ways, 0 where it may not rise, -1 where it must stay; scaling (job,): relative step
    sizes; crew_coupling: see `Settings`; sweeps: most rounds over all weights.
    """

    member_weight: Float
    step: float
    direction: Int
    scaling: Float
    crew_coupling: float
    sweeps: int


class Visits(NamedTuple):
    """Visits that follow from the weights.

    visits (member, crew, knot, job). deviation (member, crew, knot, job): scaled distance from the
    members' mean. shortage (job,): scaled distance from being done once.
    """

    visits: Float
    deviation: Float
    shortage: Float


@njit(cache=True, nogil=True)
def _collected(job, level, knots, multiplier, place_multiplier):
    """Multipliers (job,) less place multipliers (knot, job) that a path collects."""
    collected = 0.0
    for z in range(job.size):
        j = job[z]
        if j < 0:
            break
        a, p = knots.low[level[z]], knots.part[level[z]]
        collected += (
            multiplier[j] - (1.0 - p) * place_multiplier[a, j] - p * place_multiplier[a + 1, j]
        )
    return collected


@njit(cache=True, nogil=True)
def _visit(job, level, knots, by, visits):
    """Add a path's visits, `by` times, to visits (knot, job)."""
    for z in range(job.size):
        j = job[z]
        if j < 0:
            break
        a, p = knots.low[level[z]], knots.part[level[z]]
        visits[a, j] += (1.0 - p) * by
        visits[a + 1, j] += p * by


@njit(cache=True, nogil=True)
def _add(found, bundle, m, k, knots, multiplier, place_multiplier):
    """Take new paths of one member and crew into the bundle, for those longest without weight."""
    job, level, value = found.job[m, k], found.level[m, k], found.value[m, k]
    kept, kept_level, cost = bundle.job[m, k], bundle.level[m, k], bundle.cost[m, k]
    weight, age = bundle.weight[m, k], bundle.age[m, k]
    for n in range(value.size):
        if value[n] == NO_PATH:
            break
        spot, present = 0, False
        for b in range(cost.size):
            if cost[b] < NO_PATH:
                present = True
                for z in range(job.shape[1]):
                    present &= kept[b, z] == job[n, z]
                    if not present or job[n, z] < 0:
                        break
                if present:
                    break
            if weight[b] < weight[spot] or (weight[b] == weight[spot] and age[b] > age[spot]):
                spot = b
        if present:
            continue
        heaviest = 0
        for b in range(cost.size):
            if weight[b] > weight[heaviest]:
                heaviest = b
        lost, weight[spot] = weight[spot], 0.0
        weight[heaviest] += lost if weight[heaviest] > 0.0 else 1.0
        for z in range(job.shape[1]):
            kept[spot, z], kept_level[spot, z] = job[n, z], level[n, z]
            if job[n, z] < 0:
                break
        age[spot] = 0
        cost[spot] = value[n] + _collected(job[n], level[n], knots, multiplier, place_multiplier)


@njit(cache=True, nogil=True)
def _values(bundle, knots, multiplier, place_multiplier, values):
    """Costs of all paths kept after multipliers, into values (member, crew, path)."""
    job, level, cost = bundle.job, bundle.level, bundle.cost
    for m in range(values.shape[0]):
        for k in range(values.shape[1]):
            for b in range(values.shape[2]):
                values[m, k, b] = cost[m, k, b]
                if cost[m, k, b] < NO_PATH:
                    values[m, k, b] -= _collected(
                        job[m, k, b], level[m, k, b], knots, multiplier, place_multiplier[m, k]
                    )


@njit(cache=True, nogil=True)
def _shortage(done, direction, scaling, shortage):
    """Scaled shortage of visits (job,), 0 where the multiplier must not move that way."""
    for j in range(done.size):
        shortage[j] = scaling[j] * (1.0 - done[j])
        if direction[j] < 0 or (direction[j] == 0 and shortage[j] > 0.0):
            shortage[j] = 0.0


@njit(cache=True, nogil=True)
def _deviation(visits, mean, every, every_mean, problem, deviation):
    """Scaled deviation of one crew's visits (knot, job), and of all crews', from their means."""
    coupling = problem.crew_coupling
    for a in range(deviation.shape[0]):
        for j in range(deviation.shape[1]):
            own, all_own = visits[a, j] - mean[a, j], every[a, j] - every_mean[a, j]
            deviation[a, j] = problem.scaling[j] * ((1.0 - coupling) * own + coupling * all_own)


@njit(cache=True, nogil=True)
def _solve_weights(bundle, knots, values, problem, found):
    """Convex weights that solve the proximal problem, into bundle.weight; `found` takes visits.

    Each update moves weight from the dearest path that has any to the cheapest, as far as pays.
    """
    job, level, share = bundle.job, bundle.level, bundle.weight
    weight, step, scaling = problem.member_weight, problem.step, problem.scaling
    visits, shortage = found.visits, found.shortage
    members, crews, paths = values.shape
    knots_count, jobs = visits.shape[2:]
    # every: visits with all crews of each member, and their mean last
    mean = np.zeros((crews, knots_count, jobs))
    every = np.zeros((members + 1, knots_count, jobs))
    visits[:] = 0.0
    done, slope, turn = np.zeros(jobs), np.zeros(paths), np.zeros((knots_count, jobs))
    for m in range(members):
        for k in range(crews):
            for b in range(paths):
                if share[m, k, b] > 0.0:
                    _visit(job[m, k, b], level[m, k, b], knots, share[m, k, b], visits[m, k])
            for a in range(knots_count):
                for j in range(jobs):
                    mean[k, a, j] += weight[m] * visits[m, k, a, j]
                    every[m, a, j] += visits[m, k, a, j]
                    every[members, a, j] += weight[m] * visits[m, k, a, j]
                    done[j] += weight[m] * visits[m, k, a, j]
    for _ in range(problem.sweeps):
        moved = 0.0
        for m in range(members):
            for k in range(crews):
                _shortage(done, problem.direction, scaling, shortage)
                _deviation(visits[m, k], mean[k], every[m], every[members], problem, turn)
                low_b, high_b = -1, -1
                for b in range(paths):
                    if values[m, k, b] == NO_PATH:
                        continue
                    slope[b] = values[m, k, b] - step * _collected(
                        job[m, k, b], level[m, k, b], knots, shortage, turn
                    )
                    if low_b < 0 or slope[b] < slope[low_b]:
                        low_b = b
                    if share[m, k, b] > 0.0 and (high_b < 0 or slope[b] > slope[high_b]):
                        high_b = b
                if high_b < 0 or slope[high_b] - slope[low_b] <= 1e-9 * step:
                    continue
                turn[:] = 0.0
                _visit(job[m, k, low_b], level[m, k, low_b], knots, 1.0, turn)
                _visit(job[m, k, high_b], level[m, k, high_b], knots, -1.0, turn)
                curvature = 0.0
                for j in range(jobs):
                    once = 0.0
                    for a in range(knots_count):
                        curvature += scaling[j] * (1.0 - weight[m]) * turn[a, j] ** 2
                        once += turn[a, j]
                    if problem.direction[j] >= 0:
                        curvature += scaling[j] * weight[m] * once**2
                by = share[m, k, high_b]
                if curvature > 0.0:
                    by = min(by, (slope[high_b] - slope[low_b]) / (step * curvature))
                share[m, k, low_b] += by
                share[m, k, high_b] -= by
                moved += by
                for j in range(jobs):
                    for a in range(knots_count):
                        visits[m, k, a, j] += by * turn[a, j]
                        mean[k, a, j] += weight[m] * by * turn[a, j]
                        every[m, a, j] += by * turn[a, j]
                        every[members, a, j] += weight[m] * by * turn[a, j]
                        done[j] += weight[m] * by * turn[a, j]
        if moved < 1e-4 * members * crews:
            break
    _shortage(done, problem.direction, scaling, shortage)
    for m in range(members):
        for k in range(crews):
            _deviation(
                visits[m, k], mean[k], every[m], every[members], problem, found.deviation[m, k]
            )


class BundleModel:
    """Paths kept, and the step from given multipliers to better ones.

    Parameters
    ----------
    weight : (member,) summing to 1.
    fixed_cost : (member,) cost of the locked jobs.
    leave : (job,) cost of leaving, an upper bound of the multiplier.
    banned : (job,) locked jobs, without a multiplier.
    knot_share : (knot, level) shares of the knots in the place multiplier at a level.
    found : paths of the shape that will be added.
    multiplier : (job,) first multipliers, which set the first step size.
    scaling : (job,) relative step sizes of the jobs.

    Attributes
    ----------
    bundle : the paths kept, with their costs and convex weights.
    step_size : move of a multiplier for each visit too few, times the job's scaling.
    """

    def __init__(
        self,
        *,
        weight: Float,
        fixed_cost: Float,
        leave: Float,
        banned: NDArray[np.bool_],
        knot_share: Float,
        found: PathsFound,
        multiplier: Float,
        scaling: Float,
        settings: Settings = DEFAULTS,
    ) -> None:
        self._weight, self._fixed_cost = weight, fixed_cost
        self._leave, self._banned, self._settings = leave, banned, settings
        members, crews, _, steps = found.job.shape
        paths = max(settings.bundle_paths, settings.bundle_paths_per_job * leave.size // crews)
        kept = (members, crews, paths)
        self.bundle = Bundle(
            job=np.full((*kept, steps), -1, np.int16),
            level=np.full((*kept, steps), -1, np.int16),
            cost=np.full(kept, NO_PATH),
            weight=np.zeros(kept),
            age=np.full(kept, 1 << 30),
        )
        self._values = np.empty(kept)
        knots, levels = knot_share.shape
        low = np.minimum((knot_share > 0).argmax(axis=0), knots - 2)
        self._knots = Knots(low=low, part=knot_share[low + 1, np.arange(levels)])
        self._sweeps = max(settings.weight_sweeps, settings.weight_updates // (members * crews))
        self.scaling = scaling
        self.step_size = settings.first_step * max(1.0, float(np.abs(multiplier).mean()))
        self._bound = self._promised = -np.inf

    def add(self, found: PathsFound, multiplier: Float, place_multiplier: Float) -> None:
        """Add paths found at multipliers (job,) and place multipliers (member, crew, knot, job)."""
        bundle = self.bundle
        bundle.age[:] += 1
        bundle.age[bundle.weight > 0] = 0
        for m in range(bundle.cost.shape[0]):
            for k in range(bundle.cost.shape[1]):
                _add(found, bundle, m, k, self._knots, multiplier, place_multiplier[m, k])

    def step(self, bound: float, multiplier: Float, place_multiplier: Float) -> tuple[Float, Float]:
        """Next multipliers and place multipliers, from those at which the bound is `bound`.

        The step size grows or shrinks by the share of the last step's promised gain that came true.
        """
        settings = self._settings
        if self._promised > self._bound:
            kept = (bound - self._bound) / (self._promised - self._bound)
            if kept > settings.good_step:
                self.step_size *= settings.step_growth
            elif kept < settings.poor_step:
                self.step_size *= settings.step_shrink
        direction = np.where(self._banned, -1, np.where(multiplier < self._leave, 1, 0))
        shortage, deviation = self.solve_weights(multiplier, place_multiplier, direction)
        multiplier = np.minimum(multiplier + self.step_size * shortage, self._leave)
        place_multiplier = place_multiplier + self.step_size * deviation
        self._bound, self._promised = bound, self.model_value(multiplier, place_multiplier)
        return multiplier, place_multiplier

    def solve_weights(
        self, multiplier: Float, place_multiplier: Float, direction: Int
    ) -> tuple[Float, Float]:
        """Solve for the convex weights; shortage (job,) and deviation (member, crew, knot, job)."""
        visits = Visits(
            visits=np.zeros_like(place_multiplier),
            deviation=np.zeros_like(place_multiplier),
            shortage=np.zeros(multiplier.size),
        )
        _values(self.bundle, self._knots, multiplier, place_multiplier, self._values)
        problem = Proximal(
            member_weight=self._weight,
            step=self.step_size,
            direction=direction,
            scaling=self.scaling,
            crew_coupling=self._settings.crew_coupling,
            sweeps=self._sweeps,
        )
        _solve_weights(self.bundle, self._knots, self._values, problem, visits)
        return visits.shortage, visits.deviation

    def model_value(self, multiplier: Float, place_multiplier: Float) -> float:
        """Value of the cutting-plane model: the bound if no other paths existed."""
        _values(self.bundle, self._knots, multiplier, place_multiplier, self._values)
        cheapest = self._fixed_cost + self._values.min(axis=2).sum(axis=1)
        return float(multiplier[~self._banned].sum() + self._weight @ cheapest)
