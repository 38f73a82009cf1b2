"""What walks of the members met so far let other prizes and prices promise.

A walk met bounds, for one member and crew, how cheap the cheapest walk is at any prizes and prices
(see `common_walk`). All walks met together bound the bound itself. Where that promise is highest,
less a price for the way there, the next walks are looked for: a proximal bundle method, one
bundle for each member and crew. What decides the step are the shares of the walks met that agree
best: on how often a job comes at a place, and on each job being done once.
"""

# mypy: disable-error-code="no-untyped-def"

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from scheduler.solver.tables import Float, Int

#: Value in the bundle where it holds no path; above every cost.
NO_PATH = 1e300
#: Walks noted beside each cheapest, each leaving it at another step; assumed: more of them say
#: little more about what other prizes and prices could promise.
DEVIATIONS = 12
#: Walks kept for each member and crew, or so many times the jobs of a crew where that is more;
#: times that all shares are moved, and moves of one share, at most, whichever is more. Assumed:
#: more of them raised bounds no faster.
WALKS, TIMES, SWEEPS, STEPS = 60, 4, 20, 300
#: How far visits with one crew move the prices of every crew, as a share of its own; assumed:
#: crews are much alike, and bounds of trial farms rose as far in two thirds of the turns.
KIN = 0.5
#: First way per visit too many, as a share of the mean prize. It grows or falls by these factors
#: where more or less than these shares of a promise came true. Assumed: what raised the bounds of
#: the sample farm and of two trial farms fast.
FAR, FARTHER, NEARER, MUCH, LITTLE = 0.05, 1.3, 0.8, 0.2, 0.05


@njit(cache=True, nogil=True)
def _paid(job, level, low, part, prize, price):
    """What a walk is paid: prizes (job,) less prices (knot, job), between knots in proportion."""
    paid = 0.0
    for z in range(job.size):
        j = job[z]
        if j < 0:
            break
        a, p = low[level[z]], part[level[z]]
        paid += prize[j] - (1.0 - p) * price[a, j] - p * price[a + 1, j]
    return paid


@njit(cache=True, nogil=True)
def _visit(job, level, low, part, by, visits):
    """Add a walk's visits, `by` times, to visits (knot, job)."""
    for z in range(job.size):
        j = job[z]
        if j < 0:
            break
        a, p = low[level[z]], part[level[z]]
        visits[a, j] += (1.0 - p) * by
        visits[a + 1, j] += p * by


@njit(cache=True, nogil=True)
def _note(job, level, value, low, part, prize, price, kept, kept_level, cost, share, age):
    """Take the walks met of one member and crew in, each once, for those unused the longest."""
    for n in range(value.size):
        if value[n] == NO_PATH:
            break
        spot, known = 0, False
        for b in range(cost.size):
            if cost[b] < NO_PATH:
                known = True
                for z in range(job.shape[1]):
                    known &= kept[b, z] == job[n, z]
                    if not known or job[n, z] < 0:
                        break
                if known:
                    break
            if share[b] < share[spot] or (share[b] == share[spot] and age[b] > age[spot]):
                spot = b
        if known:
            continue
        most = 0
        for b in range(cost.size):
            if share[b] > share[most]:
                most = b
        lost, share[spot] = share[spot], 0.0
        share[most] += lost if share[most] > 0.0 else 1.0
        for z in range(job.shape[1]):
            kept[spot, z], kept_level[spot, z] = job[n, z], level[n, z]
            if job[n, z] < 0:
                break
        age[spot] = 0
        cost[spot] = value[n] + _paid(job[n], level[n], low, part, prize, price)


@njit(cache=True, nogil=True)
def _worth(job, level, cost, low, part, prize, price, worth):
    """Cost of all walks kept after prizes and prices into worth (member, crew, walk)."""
    for m in range(worth.shape[0]):
        for k in range(worth.shape[1]):
            for b in range(worth.shape[2]):
                worth[m, k, b] = cost[m, k, b]
                if cost[m, k, b] < NO_PATH:
                    worth[m, k, b] -= _paid(
                        job[m, k, b], level[m, k, b], low, part, prize, price[m, k]
                    )


@njit(cache=True, nogil=True)
def _lack(done, top, size, short):
    """How far less than once a job is done, by size, 0 where its prize must not move that way."""
    for j in range(done.size):
        short[j] = size[j] * (1.0 - done[j])
        if top[j] < 0 or (top[j] == 0 and short[j] > 0.0):
            short[j] = 0.0


@njit(cache=True, nogil=True)
def _beyond(visits, mean, every, every_mean, size, ways):
    """How far visits (knot, job) of one crew, and of every crew, are beyond the mean, by size."""
    for a in range(ways.shape[0]):
        for j in range(ways.shape[1]):
            own, all_own = visits[a, j] - mean[a, j], every[a, j] - every_mean[a, j]
            ways[a, j] = size[j] * ((1.0 - KIN) * own + KIN * all_own)


@njit(cache=True, nogil=True)
def _agree(job, level, low, part, worth, weight, far, top, size, share, visits, ways, short):
    """Shares of the walks kept that are cheap and agree, by `far`; visits follow from them.

    visits (member, crew, knot, job); ways (member, crew, knot, job) are how far they, with those of
    the other crews, are beyond the mean; short (job,) as by `_lack`, where prizes must not move up
    (top 0) or not at all (top -1); both by the size (job,) of the moves.
    """
    members, crews, walks = worth.shape
    knots, jobs = visits.shape[2:]
    # every: visits with all crews of each member, and their mean last
    mean, every = np.zeros((crews, knots, jobs)), np.zeros((members + 1, knots, jobs))
    visits[:] = 0.0
    done, slope, turn = np.zeros(jobs), np.zeros(walks), np.zeros((knots, jobs))
    for m in range(members):
        for k in range(crews):
            for b in range(walks):
                if share[m, k, b] > 0.0:
                    _visit(job[m, k, b], level[m, k, b], low, part, share[m, k, b], visits[m, k])
            for a in range(knots):
                for j in range(jobs):
                    mean[k, a, j] += weight[m] * visits[m, k, a, j]
                    every[m, a, j] += visits[m, k, a, j]
                    every[members, a, j] += weight[m] * visits[m, k, a, j]
                    done[j] += weight[m] * visits[m, k, a, j]
    for _ in range(max(SWEEPS, STEPS // (members * crews))):
        moved = 0.0
        for m in range(members):
            for k in range(crews):
                _lack(done, top, size, short)
                _beyond(visits[m, k], mean[k], every[m], every[members], size, turn)
                low_b, high_b = -1, -1
                for b in range(walks):
                    if worth[m, k, b] == NO_PATH:
                        continue
                    slope[b] = worth[m, k, b] - far * _paid(
                        job[m, k, b], level[m, k, b], low, part, short, turn
                    )
                    if low_b < 0 or slope[b] < slope[low_b]:
                        low_b = b
                    if share[m, k, b] > 0.0 and (high_b < 0 or slope[b] > slope[high_b]):
                        high_b = b
                if high_b < 0 or slope[high_b] - slope[low_b] <= 1e-9 * far:
                    continue
                turn[:] = 0.0
                _visit(job[m, k, low_b], level[m, k, low_b], low, part, 1.0, turn)
                _visit(job[m, k, high_b], level[m, k, high_b], low, part, -1.0, turn)
                bend = 0.0
                for j in range(jobs):
                    once = 0.0
                    for a in range(knots):
                        bend += size[j] * (1.0 - weight[m]) * turn[a, j] ** 2
                        once += turn[a, j]
                    if top[j] >= 0:
                        bend += size[j] * weight[m] * once**2
                by = share[m, k, high_b]
                if bend > 0.0:
                    by = min(by, (slope[high_b] - slope[low_b]) / (far * bend))
                share[m, k, low_b] += by
                share[m, k, high_b] -= by
                moved += by
                for j in range(jobs):
                    for a in range(knots):
                        visits[m, k, a, j] += by * turn[a, j]
                        mean[k, a, j] += weight[m] * by * turn[a, j]
                        every[m, a, j] += by * turn[a, j]
                        every[members, a, j] += weight[m] * by * turn[a, j]
                        done[j] += weight[m] * by * turn[a, j]
        if moved < 1e-4 * members * crews:
            break
    _lack(done, top, size, short)
    for m in range(members):
        for k in range(crews):
            _beyond(visits[m, k], mean[k], every[m], every[members], size, ways[m, k])


@dataclass(frozen=True, kw_only=True)
class PathsFound:
    """Walks of all members and crews: the cheapest, and some that leave it once, cheapest first.

    job, level (member, crew, walk, step): jobs, -1 after the last, and the levels at which they
    come; value (member, crew, walk): cost after prizes and prices, `NO_PATH` where there is none.
    """

    job: NDArray[np.int16]
    level: NDArray[np.int16]
    value: Float


class BundleModel:
    """Walks met, and where to move prizes and prices.

    Parameters
    ----------
    weight, paid : (member,) summing to 1; what each pays whatever the prizes.
    leave : (job,) cost of leaving, which no prize exceeds. banned : (job,) without a prize.
    share : (knot, level) shares of the knots in the price at a level.
    met : in the shape in which walks will be noted.
    prize : (job,) prizes to begin with, for the first move.
    size : (job,) how far a job's prize and prices go, beside those of others.

    Attributes
    ----------
    job, level : (member, crew, walk, step) jobs of the walks kept, -1 after the last, and the
        levels at which they come.
    cost : (member, crew, walk) before prizes and prices, but for what the order might still gain
        after closing as priced when met; `NO_PATH` where there is no walk.
    share : (member, crew, walk) summing to 1, by which they agreed last.
    far : how far prizes and prices go for each visit too many, times the job's size.
    """

    def __init__(
        self, *, weight: Float, paid: Float, leave: Float, banned: NDArray[np.bool_], share: Float,
        met: PathsFound, prize: Float, size: Float,
    ) -> None:  # fmt: skip
        self._weight, self._paid, self._leave, self._banned = weight, paid, leave, banned
        members, crews, _, steps = met.job.shape
        kept = (members, crews, max(WALKS, TIMES * leave.size // crews))
        self.job, self.level = (np.full((*kept, steps), -1, np.int16) for _ in range(2))
        self.cost, self.share, self._worth = np.full(kept, NO_PATH), np.zeros(kept), np.empty(kept)
        self._age = np.full(kept, 1 << 30)
        knots, levels = share.shape
        self._low = np.minimum((share > 0).argmax(axis=0), knots - 2)
        self._part = share[self._low + 1, np.arange(levels)]
        self.size = size
        self.far = FAR * max(1.0, float(np.abs(prize).mean()))
        self._value = self._promised = -np.inf

    def note(self, met: PathsFound, prize: Float, price: Float) -> None:
        """Take in walks met at prizes (job,) and prices (member, crew, knot, job)."""
        self._age += 1
        self._age[self.share > 0] = 0
        for m in range(self.cost.shape[0]):
            for k in range(self.cost.shape[1]):
                _note(
                    met.job[m, k], met.level[m, k], met.value[m, k], self._low, self._part, prize,
                    price[m, k], self.job[m, k], self.level[m, k], self.cost[m, k],
                    self.share[m, k], self._age[m, k],
                )  # fmt: skip

    def move(self, value: float, prize: Float, price: Float) -> tuple[Float, Float]:
        """Prizes and prices that promise more than these, at which the bound is `value`."""
        if self._promised > self._value:
            came = (value - self._value) / (self._promised - self._value)
            self.far *= FARTHER if came > MUCH else NEARER if came < LITTLE else 1.0
        top = np.where(self._banned, -1, np.where(prize < self._leave, 1, 0))
        short, ways = self._ways(prize, price, top)
        prize = np.minimum(prize + self.far * short, self._leave)
        price = price + self.far * ways
        self._value, self._promised = value, self.promise(prize, price)
        return prize, price

    def _ways(self, prize: Float, price: Float, top: Int) -> tuple[Float, Float]:
        """What jobs are short of being done once, and members' visits beyond the mean, by size."""
        visits, ways, short = np.zeros_like(price), np.zeros_like(price), np.zeros(prize.size)
        self._weigh(prize, price)
        _agree(
            self.job, self.level, self._low, self._part, self._worth, self._weight,
            self.far, top, self.size, self.share, visits, ways, short,
        )  # fmt: skip
        return short, ways

    def _weigh(self, prize: Float, price: Float) -> None:
        _worth(self.job, self.level, self.cost, self._low, self._part, prize, price, self._worth)

    def promise(self, prize: Float, price: Float) -> float:
        """The bound were there no walks but those met."""
        self._weigh(prize, price)
        cheapest = self._paid + self._worth.min(axis=2).sum(axis=1)
        return float(prize[~self._banned].sum() + self._weight @ cheapest)
