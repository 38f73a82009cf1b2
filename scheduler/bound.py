"""Lower bound: that each job is done once is priced instead of enforced.

In one member, each job is given a prize. Every crew then takes the walk through time that costs
least after prizes: from slot to slot by the tables, with the moves of each pair, any job any
number of times but never i, j, i. The walks' cost plus all prizes is below the cost of every
plan, whatever the prizes; the prizes are moved to raise it (Lagrangian relaxation, climbed by
deflected subgradients). Its best value is that of the time-indexed linear relaxation with
moves by pair, or better. All sums are of whole numbers, so the bound is exact.

Over members, no order does better in a member than orders made knowing it. So the mean, or the
mean of the worst fifth, of the members' bounds is below that of every fixed order. The gap to it
holds what the relaxation loses and the value of perfect foresight, which no plan can earn;
`common_order` takes most of that back.
"""

# mypy: disable-error-code="no-untyped-def"

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from scheduler.tables import CutTables, Float, Int

NEVER = np.int64(2**60)
#: Turns after which the bound hardly rises; assumed, from trial farms of 30 to 100 fields.
TURNS = 300
#: A member after the first begins from the first's prizes and needs so many times fewer turns;
#: assumed, as above.
LATER = 3


@dataclass(frozen=True, kw_only=True)
class Foresight:
    """What is proved of each member alone.

    Attributes
    ----------
    member_bound : (member,) no orders cost less in the member, even if it were known beforehand.
    walks : (member, turn, crew, job) walks met on the way up, -1 after the last job; near the
        end they are nearly plans, with some jobs twice and some not at all.
    prize : (member, job) the prizes that prove it.
    """

    member_bound: Float
    walks: NDArray[np.int64]
    prize: Float


@njit(cache=True, nogil=True)
def by_key(rank, size, key):
    """Sort the first `size` jobs of `rank` by `key`, in place; quick where they nearly are."""
    for p in range(1, size):
        j = rank[p]
        q = p
        while q > 0 and key[rank[q - 1]] > key[j]:
            rank[q] = rank[q - 1]
            q -= 1
        rank[q] = j


@njit(nogil=True)
def cheaper(x, j, a, b, na, nb):
    """The two least of a, b and x, and what they are of."""
    if x < a:
        return x, a, j, na
    if x < b:
        return a, x, na, j
    return a, b, na, nb


@njit(cache=True, nogil=True)
def walk(finish, cost, move, ends, prize, banned, scale, k, begin, stand, rows, turn, v1, v2, w1,
          w2, least, key, near, rank, n1, n2, wn, count):  # fmt: skip
    """Cheapest walk of one crew through time, each job paying its prize; adds visits to `count`.

    The jobs visited go into rows[turn, k], each once, -1 after the last.

    ends (crew, slot + 1, job): the job can end at the slot. A walk never goes i, j, i; it may
    otherwise come back to a job. State (slot, job last done), backwards: v1, n1 cheapest rest
    and its next job, v2, n2 the cheapest with another next job.
    """
    jobs, slots = finish.shape[1], finish.shape[2]
    size = np.int64(0)  # not a constant, for which `by_key` would be compiled once more
    for j in range(jobs):
        near[j] = 1 << 30
        if not banned[j]:
            rank[size] = j
            size += 1
            for i in range(jobs + 1):
                if i != j and move[k, i, j] < near[j]:
                    near[j] = move[k, i, j]
    for j in range(jobs):
        least[slots, j] = NEVER
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
                w1[t, j] = NEVER
                w2[t, j] = NEVER
                wn[t, j] = -1
                if end == t:
                    instant += 1
            least[t, j] = min(w1[t, j], least[t + 1, j])
        lap = 0
        while True:
            for p in range(size):
                j = rank[p]
                key[j] = least[t + near[j], j] if t + near[j] < slots else NEVER
            by_key(rank, size, key)
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
                    a, b, na, nb = cheaper(x, j, a, b, na, nb)
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
    best, nxt = np.int64(0), -1
    for p in range(size):
        j = rank[p]
        s = begin + move[k, stand, j]
        if s < slots and j != stand:
            x = w2[s, j] if wn[s, j] == stand else w1[s, j]
            if x < best:
                best, nxt = x, j
    i, t, steps = stand, begin, 0
    for p in range(jobs):
        rows[turn, k, p] = -1
    for _ in range(slots + jobs):
        if nxt < 0:
            break
        count[nxt] += 1
        new = True
        for p in range(steps):
            if rows[turn, k, p] == nxt:
                new = False
        if new:
            rows[turn, k, steps] = nxt
            steps += 1
        end = finish[k, nxt, t + move[k, i, nxt]]
        after = n1[end, nxt]
        if after == i:
            after = n2[end, nxt]
        i, nxt, t = nxt, after, end
    return best


@njit(cache=True, nogil=True)
def _ascend(finish, cost, move, leave, ends, banned, begin, stand, scale, prize, target, turns,
            rows, now, way, whole, v1, v2, w1, w2, least, key, near, rank, n1, n2, wn,
            count):  # fmt: skip
    """Raise the bound by moving the prizes; `prize` (job,) float64 is left at the best found.

    finish, cost (crew, job, slot) of one member. rows (turn, crew, job) takes the walks of the
    last turns, repeats left out, -1 after the last; what follows it is working space. The bound
    is a sum of whole numbers, so exact. Returns it, in units of cost / scale.
    """
    crews, jobs = finish.shape[0], finish.shape[1]
    for j in range(jobs):
        now[j] = prize[j]
        way[j] = 0.0
    best, step, stale = -NEVER, 1.0, 0
    for turn in range(turns):
        value = np.int64(0)
        for j in range(jobs):
            count[j] = 0
            if not banned[j]:
                whole[j] = min(np.int64(round(now[j] * scale)), leave[j] * scale)
                value += whole[j]
        for k in range(crews):
            value += walk(
                finish, cost, move, ends, whole, banned, scale, k, begin[k], stand[k], rows,
                turn % rows.shape[0], v1, v2, w1, w2, least, key, near, rank, n1, n2, wn, count,
            )  # fmt: skip
        if value > best:
            if value > best + abs(value) * 1e-5:
                stale = 0
            best = value
            for j in range(jobs):
                prize[j] = now[j]
        else:
            stale += 1
            if stale >= 10:
                step *= 0.8
                stale = 0
        room = target - value / scale
        if room <= 0.0:
            break
        norm = 0.0
        for j in range(jobs):
            if not banned[j]:
                pull = 1.0 - count[j]
                if pull > 0.0 and now[j] >= leave[j]:
                    pull = 0.0
                way[j] = pull + 0.9 * way[j]
                norm += way[j] * way[j]
        if norm < 1e-12:
            break
        for j in range(jobs):
            now[j] = min(now[j] + step * room / norm * way[j], float(leave[j]))
    return best


def after_locks(tables: CutTables, m: int) -> tuple[Int, Int, int]:
    """In member m, when and where each crew is done with its locked jobs, and what they cost."""
    _, crews, jobs, slots = tables.shape
    begin, stand, paid = tables.ready.astype(np.int64), np.full(crews, jobs), 0
    for k, first in enumerate(tables.prefixes):
        for j in first:
            s = int(begin[k] + tables.move[k, stand[k], j])
            end = int(tables.finish[m, k, j, s]) if s < slots else -1
            if end < 0:
                paid += int(tables.leave_cost[j])
            else:
                paid += int(tables.cost[m, k, j, s])
                begin[k], stand[k] = end, j
    return begin, stand, paid


def prize_unit(tables: CutTables, cost: Float) -> int:
    """Prizes are whole numbers of 1 / unit of the costs, so that sums stay exact in 64 bits."""
    most = float(min(tables.leave_cost.sum(), 4 * cost.max() + tables.leave_cost.max()))
    return int(np.clip(2.0**52 / max(1.0, most), 1, 1024))


def job_ends(finish: NDArray[np.int32], banned: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """(crew, slot + 1, job): the job, if not banned, can end at the slot."""
    crews, jobs, slots = finish.shape
    out = np.zeros((crews, slots + 1, jobs), np.bool_)
    k, j, s = np.nonzero(finish >= 0)
    out[k, finish[k, j, s], j] = True
    out[:, :, banned] = False
    return out


def room(jobs: int, slots: int) -> Iterator[NDArray[np.generic]]:
    """Working space of `_ascend`, in the order it takes it, and from the fourth on of `walk`.

    Made here, as it compiles slowly.
    """
    yield from (np.zeros(jobs), np.zeros(jobs), np.zeros(jobs, np.int64))
    yield from (np.zeros((slots + 1, jobs), np.int64) for _ in range(5))
    yield from (np.zeros(jobs, np.int64) for _ in range(3))
    yield from (np.zeros((slots + 1, jobs), np.int16) for _ in range(3))
    yield np.zeros(jobs, np.int64)


def foresight(tables: CutTables, cost: Float, *, turns: int = TURNS, keep: int = 1) -> Foresight:
    """Bound every member as if it were known beforehand.

    Parameters
    ----------
    cost : (member,) cost of a known plan in each member, the level each bound climbs towards.
    turns : most times the prizes are moved.
    keep : walks of how many last turns to keep.
    """
    members, crews, jobs, _ = tables.shape
    banned = np.zeros(jobs, np.bool_)
    banned[[j for first in tables.prefixes for j in first]] = True
    scale = prize_unit(tables, cost)

    def one(m: int, prize: Float, turns: int) -> tuple[float, NDArray[np.int64], Float]:
        begin, stand, paid = after_locks(tables, m)
        walks = np.full((keep, crews, jobs), -1, np.int64)
        never = (tables.finish[m, :, :, 0] < 0).all(
            axis=0
        )  # later is no better, by the tables' rule
        prize[never] = tables.leave_cost[never]
        value = _ascend(
            tables.finish[m], tables.cost[m], tables.move, tables.leave_cost,
            job_ends(tables.finish[m], banned), banned, begin, stand.astype(np.int64), scale, prize,
            float(cost[m] - paid), turns, walks, *room(jobs, tables.shape[3]),
        )  # fmt: skip
        # costs are whole numbers, so a bound between two of them is as good as the upper
        return paid + max(0, int(-(-value // scale))), walks, prize

    prize = np.minimum(np.full(jobs, cost[0] / jobs), tables.leave_cost).astype(np.float64)
    found = [one(0, prize, turns)]
    rest = range(1, members)
    with ThreadPoolExecutor(max_workers=2) as pool:
        found += pool.map(lambda m: one(m, prize.copy(), max(1, turns // LATER)), rest)
    return Foresight(
        member_bound=np.array([b for b, _, _ in found], np.float64),
        walks=np.array([w for _, w, _ in found]),
        prize=np.array([p for _, _, p in found]),
    )
