"""Pricing problem of one crew: the cheapest paths through its time-expanded network.

Label-setting dynamic programming, backwards over the states (slot, job last done). A path may do a
job more than once but never goes i, j, i: a non-elementary path with 2-cycle elimination.

References
----------
Houck, Picard, Queyranne and Vemuganti 1980, Opsearch 17, 93-109 (2-cycles; from memory).
Irnich and Desaulniers 2005, in Column Generation, Springer, 33-65 (labels).
"""

# mypy: disable-error-code="no-untyped-def"

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from scheduler.solver.tables import CutTables, Float, Int

#: Cost of a state from which no path goes on, in units of the multipliers; above every cost.
UNREACHABLE = np.int64(2**60)


class Network(NamedTuple):
    """Time-expanded network of all crews in one member.

    finish, cost (crew, job, slot), move (crew, job + 1, job): as in `CutTables`. ends (crew, slot
    + 1, job): whether the job can end at the slot. banned (job,): locked jobs, on no path.
    scale: units of the multipliers in a unit of cost.
    """

    finish: NDArray[np.int32]
    cost: Int
    move: NDArray[np.int32]
    ends: NDArray[np.bool_]
    banned: NDArray[np.bool_]
    scale: int


class Labels(NamedTuple):
    """Labels of one crew.

    rest, rest_2 (slot + 1, job last done): cost of the cheapest path from the state on, and of the
    cheapest with another next job; next, next_2: these jobs, -1 where the path ends.
    start, start_2 (slot + 1, job): the same for a path that starts the job at the slot, the job
    included; start_next: the job after it in `start`.
    """

    rest: Int
    rest_2: Int
    next: NDArray[np.int16]
    next_2: NDArray[np.int16]
    start: Int
    start_2: Int
    start_next: NDArray[np.int16]


class PricingWorkspace(NamedTuple):
    """Workspace of `price_paths`: least (slot + 1, job), key, near, rank (job,), regret (step,)."""

    least: Int
    key: Int
    near: Int
    rank: Int
    regret: Int


@njit(cache=True, nogil=True)
def insertion_sort(rank, size, key):
    """Sort the first `size` jobs of `rank` by `key`, in place; fast where nearly sorted."""
    for p in range(1, size):
        j = rank[p]
        q = p
        while q > 0 and key[rank[q - 1]] > key[j]:
            rank[q] = rank[q - 1]
            q -= 1
        rank[q] = j


@njit(nogil=True)
def two_least(x, j, a, b, na, nb):
    """The two least of the costs a <= b of jobs na, nb and the cost x of job j, with their jobs."""
    if x < a:
        return x, a, j, na
    if x < b:
        return a, x, na, j
    return a, b, na, nb


@njit(nogil=True)
def first_least(values, size):
    """Index of the first least of the first `size` values."""
    least = 0
    for z in range(1, size):
        if values[z] < values[least]:
            least = z
    return least


@njit(nogil=True)
def other_than(na, nb, before):
    """Best and next best of the two best jobs na, nb that are not `before`.

    Third value: whether their costs are the two labels' costs; otherwise the cost of the next best
    is unknown.
    """
    if na == before and na >= 0:
        return nb, nb, False
    return na, nb, nb != na and (nb != before or nb < 0)


@njit(cache=True, nogil=True)
def _trace(network, labels, k, begin, stand, turn, order, regret):
    """Trace the cheapest path, or the one that takes the second-best job at step `turn`.

    With `turn` below 0, regret (step,) takes the extra cost of the second-best job at each step.
    """
    i, t, before = stand, begin, -1
    if turn < 0:
        regret[:] = UNREACHABLE
    for z in range(order.size):
        after, other, exact = other_than(labels.next[t, i], labels.next_2[t, i], before)
        if turn < 0 and exact:
            regret[z] = labels.rest_2[t, i] - labels.rest[t, i]
        if z == turn:
            after = other
        if after < 0:
            break
        order[z] = after
        t, before, i = network.finish[k, after, t + network.move[k, i, after]], i, after


@njit(cache=True, nogil=True)
def price_paths(network, multiplier, k, begin, stand, order, value, labels, space):
    """Cheapest path of one crew after multipliers, then paths that deviate from it once.

    Parameters
    ----------
    network : Network. labels : Labels, filled here. space : PricingWorkspace.
    multiplier : int64 (job,), in units of 1 / network.scale, earned whenever the job is done.
    k, begin, stand : the crew, the slot at which it is free, and the job it did last.
    order : (path, slots + jobs), takes the jobs of the paths, -1 after the last, cheapest first.
        Each path but the first takes the second-best job at one step of the first path and goes on
        from there at least cost.
    value : int64 (path,), takes the costs after multipliers, `UNREACHABLE` where there are no more.
    """
    finish, cost, move, scale = network.finish, network.cost, network.move, network.scale
    v1, v2, n1, n2 = labels.rest, labels.rest_2, labels.next, labels.next_2
    w1, w2, wn = labels.start, labels.start_2, labels.start_next
    least, key, near, rank, regret = space.least, space.key, space.near, space.rank, space.regret
    jobs, slots = finish.shape[1], finish.shape[2]
    size = np.int64(0)  # not a literal, for which `insertion_sort` would be compiled once more
    for j in range(jobs):
        near[j] = 1 << 30
        if not network.banned[j]:
            rank[size] = j
            size += 1
            for i in range(jobs + 1):
                if i != j and move[k, i, j] < near[j]:
                    near[j] = move[k, i, j]
    for j in range(jobs):
        least[slots, j] = UNREACHABLE
        v1[slots, j] = 0
        v2[slots, j] = 0
        n1[slots, j] = -1
        n2[slots, j] = -1
    for t in range(slots - 1, begin - 1, -1):
        instant = 0
        for p in range(size):
            j = rank[p]
            end = finish[k, j, t]
            if end > t:
                w1[t, j] = cost[k, j, t] * scale - multiplier[j] + v1[end, j]
                w2[t, j] = cost[k, j, t] * scale - multiplier[j] + v2[end, j]
                wn[t, j] = n1[end, j]
            else:
                w1[t, j] = UNREACHABLE
                w2[t, j] = UNREACHABLE
                wn[t, j] = -1
                if end == t:
                    instant += 1
            least[t, j] = min(w1[t, j], least[t + 1, j])
        lap = 0
        while True:
            for p in range(size):
                j = rank[p]
                key[j] = least[t + near[j], j] if t + near[j] < slots else UNREACHABLE
            insertion_sort(rank, size, key)
            for i in range(jobs):
                if not network.ends[k, t, i]:
                    continue
                a, b, na, nb = np.int64(0), np.int64(0), -1, -1
                for p in range(size):
                    j = rank[p]
                    if key[j] >= b:
                        break
                    s = t + move[k, i, j]
                    if j == i or s >= slots:
                        continue
                    x = w2[s, j] if wn[s, j] == i else w1[s, j]
                    a, b, na, nb = two_least(x, j, a, b, na, nb)
                v1[t, i], v2[t, i], n1[t, i], n2[t, i] = a, b, na, nb
            # jobs that take no time: as many rounds as there are of them reach every chain
            if lap == instant:
                break
            lap += 1
            for p in range(size):
                j = rank[p]
                if finish[k, j, t] == t:
                    w1[t, j] = cost[k, j, t] * scale - multiplier[j] + v1[t, j]
                    w2[t, j] = cost[k, j, t] * scale - multiplier[j] + v2[t, j]
                    wn[t, j] = n1[t, j]
                    least[t, j] = min(w1[t, j], least[t + 1, j])
    a, b, na, nb = np.int64(0), np.int64(0), -1, -1
    for p in range(size):
        j = rank[p]
        s = begin + move[k, stand, j]
        if s < slots and j != stand:
            a, b, na, nb = two_least(w2[s, j] if wn[s, j] == stand else w1[s, j], j, a, b, na, nb)
    v1[begin, stand], v2[begin, stand], n1[begin, stand], n2[begin, stand] = a, b, na, nb
    order[:], value[:] = -1, UNREACHABLE
    value[0] = a
    for n in range(value.size):
        turn = -1
        if n > 0:
            turn = first_least(regret, regret.size)
            if regret[turn] == UNREACHABLE:
                break
            value[n] = a + regret[turn]
            regret[turn] = UNREACHABLE
        _trace(network, labels, k, begin, stand, turn, order[n], regret)


def locked_jobs(tables: CutTables) -> NDArray[np.bool_]:
    """(job,) whether the job is locked, so that no path may do it."""
    locked = np.zeros(tables.shape[2], np.bool_)
    locked[[j for first in tables.prefixes for j in first]] = True
    return locked


def network_of(tables: CutTables, m: int, scale: int) -> Network:
    """Time-expanded network of member m."""
    locked = locked_jobs(tables)
    return Network(
        finish=tables.finish[m],
        cost=tables.cost[m],
        move=tables.move,
        ends=_ends(tables.finish[m], locked),
        banned=locked,
        scale=scale,
    )


def _ends(finish: NDArray[np.int32], banned: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """(crew, slot + 1, job) whether the job, if not banned, can end at the slot."""
    crews, jobs, slots = finish.shape
    out = np.zeros((crews, slots + 1, jobs), np.bool_)
    k, j, s = np.nonzero(finish >= 0)
    out[k, finish[k, j, s], j] = True
    out[:, :, banned] = False
    return out


def multiplier_scale(tables: CutTables, cost: Float) -> int:
    """Units of the multipliers in a unit of cost, so that sums stay exact in 64 bits."""
    most = float(min(tables.leave_cost.sum(), 4 * cost.max() + tables.leave_cost.max()))
    return int(np.clip(2.0**52 / max(1.0, most), 1, 1024))


def whole_multiplier(tables: CutTables, network: Network, multiplier: Float) -> Int:
    """Multipliers (job,) in whole units, at most the cost of leaving, 0 for locked jobs."""
    whole = np.round(multiplier * network.scale).astype(np.int64)
    whole = np.minimum(whole, tables.leave_cost * network.scale)
    whole[network.banned] = 0
    return whole


def labels_of(jobs: int, slots: int) -> Labels:
    """Empty labels; made here, because array creation compiles slowly."""
    states, starts = (slots + 1, jobs + 1), (slots + 1, jobs)
    return Labels(
        rest=np.zeros(states, np.int64),
        rest_2=np.zeros(states, np.int64),
        next=np.zeros(states, np.int16),
        next_2=np.zeros(states, np.int16),
        start=np.zeros(starts, np.int64),
        start_2=np.zeros(starts, np.int64),
        start_next=np.zeros(starts, np.int16),
    )


def pricing_workspace(jobs: int, slots: int) -> PricingWorkspace:
    """Workspace of `price_paths`."""
    key, near, rank = (np.zeros(jobs, np.int64) for _ in range(3))
    return PricingWorkspace(
        least=np.zeros((slots + 1, jobs), np.int64),
        key=key,
        near=near,
        rank=rank,
        regret=np.zeros(slots + jobs, np.int64),
    )
