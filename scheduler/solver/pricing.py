"""Pricing problem of one crew: cheapest paths through its time-expanded network.

Label-setting dynamic programming, backwards over (slot, job last done). A path may do a job more
than once but never goes i, j, i: non-elementary paths with 2-cycle elimination (Houck, Picard,
Queyranne and Vemuganti 1980, Opsearch 17, 93-109; from memory).
"""

# mypy: disable-error-code="no-untyped-def"

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numba import njit
from numpy.typing import NDArray

from scheduler.solver.tables import CutTables, Float

#: Cost of a state from which no path goes on, in units of the multipliers; above every cost.
UNREACHABLE = np.int64(2**60)


@njit(cache=True, nogil=True)
def insertion_sort(rank, size, key):
    """Sort the first `size` jobs of `rank` by `key`, in place; quick where they nearly are."""
    for p in range(1, size):
        j = rank[p]
        q = p
        while q > 0 and key[rank[q - 1]] > key[j]:
            rank[q] = rank[q - 1]
            q -= 1
        rank[q] = j


@njit(nogil=True)
def two_least(x, j, a, b, na, nb):
    """The two least of a, b and x, and what they are of."""
    if x < a:
        return x, a, j, na
    if x < b:
        return a, x, na, j
    return a, b, na, nb


@njit(nogil=True)
def first_least(values, size):
    """Where the least of the first `size` values is."""
    least = 0
    for z in range(1, size):
        if values[z] < values[least]:
            least = z
    return least


@njit(nogil=True)
def other_than(na, nb, before):
    """Of the best two jobs the best and the next best that are not `before`.

    And whether their costs are those of the best two; else the next best is not known.
    """
    if na == before and na >= 0:
        return nb, nb, False
    return na, nb, nb != na and (nb != before or nb < 0)


@njit(cache=True, nogil=True)
def _follow(finish, move, k, begin, stand, v1, v2, n1, n2, turn, order, regret):
    """The cheapest walk, or at step `turn` the second-best job and from there the cheapest.

    Into regret (step,) goes what the second-best step costs more, where the walk turns nowhere.
    """
    i, t, before = stand, begin, -1
    if turn < 0:
        regret[:] = UNREACHABLE
    for z in range(order.size):
        after, other, known = other_than(n1[t, i], n2[t, i], before)
        if turn < 0 and known:
            regret[z] = v2[t, i] - v1[t, i]
        if z == turn:
            after = other
        if after < 0:
            break
        order[z] = after
        t, before, i = finish[k, after, t + move[k, i, after]], i, after


@njit(cache=True, nogil=True)
def price_paths(finish, cost, move, ends, prize, banned, scale, k, begin, stand, order, value, v1,
                v2, w1, w2, least, key, near, rank, n1, n2, wn, regret):  # fmt: skip
    """Cheapest walk of one crew through time, each job paying its prize, and some that leave it.

    Each leaves the cheapest once and goes on from there as cheaply as can be; cheapest first. The
    jobs walked to go into order (walk, slots + jobs), -1 after the last, what the walks cost after
    prizes into value (walk,), `UNREACHABLE` where there are no more.

    ends (crew, slot + 1, job): the job can end at the slot. A walk never goes i, j, i; it may
    otherwise come back to a job. State (slot, job last done), backwards: v1, n1 cheapest rest
    and its next job, v2, n2 the cheapest with another next job.
    """
    jobs, slots = finish.shape[1], finish.shape[2]
    size = np.int64(0)  # not a constant, for which `insertion_sort` would be compiled once more
    for j in range(jobs):
        near[j] = 1 << 30
        if not banned[j]:
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
                w1[t, j] = cost[k, j, t] * scale - prize[j] + v1[end, j]
                w2[t, j] = cost[k, j, t] * scale - prize[j] + v2[end, j]
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
                if not ends[k, t, i]:
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
                    w1[t, j] = cost[k, j, t] * scale - prize[j] + v1[t, j]
                    w2[t, j] = cost[k, j, t] * scale - prize[j] + v2[t, j]
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
        _follow(finish, move, k, begin, stand, v1, v2, n1, n2, turn, order[n], regret)


def multiplier_scale(tables: CutTables, cost: Float) -> int:
    """Prizes are whole numbers of 1 / unit of the costs, so that sums stay exact in 64 bits."""
    most = float(min(tables.leave_cost.sum(), 4 * cost.max() + tables.leave_cost.max()))
    return int(np.clip(2.0**52 / max(1.0, most), 1, 1024))


def end_slots(finish: NDArray[np.int32], banned: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """(crew, slot + 1, job): the job, if not banned, can end at the slot."""
    crews, jobs, slots = finish.shape
    out = np.zeros((crews, slots + 1, jobs), np.bool_)
    k, j, s = np.nonzero(finish >= 0)
    out[k, finish[k, j, s], j] = True
    out[:, :, banned] = False
    return out


def pricing_workspace(jobs: int, slots: int) -> Iterator[NDArray[np.generic]]:
    """Working space of `price_paths`, in the order it takes it.

    Made here, as it compiles slowly.
    """
    yield from (np.zeros((slots + 1, jobs + 1), np.int64) for _ in range(2))
    yield from (np.zeros((slots + 1, jobs), np.int64) for _ in range(3))
    yield from (np.zeros(jobs, np.int64) for _ in range(3))
    yield from (np.zeros((slots + 1, jobs + 1), np.int16) for _ in range(2))
    yield np.zeros((slots + 1, jobs), np.int16)
    yield np.zeros(slots + jobs, np.int64)
