"""Lower bound: each job once is priced instead of enforced."""

# mypy: disable-error-code="no-untyped-def"

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from scheduler.tables import CutTables, Float, Int

NEVER = np.int64(2**60)
#: Turns after which the bound hardly rises; assumed, from trial farms of 30 to 100 fields.
TURNS = 300
#: A member after the first begins from the first's prizes and needs so many times fewer turns.
LATER = 4


@dataclass(frozen=True, kw_only=True)
class Foresight:
    """What is proved of each member alone.

    Attributes
    ----------
    member_bound : (member,) no orders cost less in the member, even if it were known beforehand.
    walks : (member, turn, crew, job) walks met on the way up, -1 after the last job; near the
        end they are nearly plans, with some jobs twice and some not at all.
    """

    member_bound: Float
    walks: NDArray[np.int64]


@njit(cache=True, nogil=True)
def _reachable(finish, banned):
    """(crew, slot, job): the job can end at the slot."""
    crews, jobs, slots = finish.shape
    out = np.zeros((crews, slots + 1, jobs), np.bool_)
    for k in range(crews):
        for j in range(jobs):
            if not banned[j]:
                for s in range(slots):
                    if finish[k, j, s] >= 0:
                        out[k, finish[k, j, s], j] = True
    return out


@njit(cache=True, nogil=True)
def _walk(finish, cost, move, ends, prize, banned, scale, begin, stand, v1, v2, n1, n2, w1, w2, wn,
          least, count, row):  # fmt: skip
    """Cheapest walk of one crew through time, each job paying its prize; adds visits to `count`.

    The jobs visited go into `row`, each once, -1 after the last.

    finish, cost (job, slot), move (job + 1, job), ends (slot + 1, job). A walk never goes
    i, j, i; it may otherwise come back to a job. State (slot, job last done), backwards:
    v1, n1 cheapest rest and its next job, v2, n2 the cheapest with another next job.
    """
    jobs, slots = finish.shape
    near = np.full(jobs, 1 << 30, np.int64)
    rank = np.empty(jobs, np.int64)
    key = np.full(jobs, NEVER, np.int64)
    size = 0
    for j in range(jobs):
        if not banned[j]:
            rank[size] = j
            size += 1
            for i in range(jobs + 1):
                if i != j and move[i, j] < near[j]:
                    near[j] = move[i, j]
    for s in range(slots, slots + 1):
        for j in range(jobs):
            least[s, j] = NEVER
            v1[s, j] = 0
            v2[s, j] = 0
            n1[s, j] = -1
            n2[s, j] = -1
    for t in range(slots - 1, begin - 1, -1):
        instant = 0
        for p in range(size):
            j = rank[p]
            end = finish[j, t]
            if end > t:
                w1[t, j] = cost[j, t] * scale - prize[j] + v1[end, j]
                w2[t, j] = cost[j, t] * scale - prize[j] + v2[end, j]
                wn[t, j] = n1[end, j]
            else:
                w1[t, j] = NEVER
                w2[t, j] = NEVER
                wn[t, j] = -1
                if end == t:
                    instant += 1
            least[t, j] = min(w1[t, j], least[t + 1, j])
        turn = 0
        while True:
            for p in range(size):
                j = rank[p]
                x = least[t + near[j], j] if t + near[j] < slots else NEVER
                key[j] = x
                q = p
                while q > 0 and key[rank[q - 1]] > x:
                    rank[q] = rank[q - 1]
                    q -= 1
                rank[q] = j
            for i in range(jobs):
                if not ends[t, i]:
                    continue
                a, b, na, nb = np.int64(0), np.int64(0), -1, -1
                for p in range(size):
                    j = rank[p]
                    if key[j] >= b:
                        break
                    s = t + move[i, j]
                    if j == i or s >= slots:
                        continue
                    x = w2[s, j] if wn[s, j] == i else w1[s, j]
                    if x < a:
                        b, nb, a, na = a, na, x, j
                    elif x < b:
                        b, nb = x, j
                v1[t, i], v2[t, i], n1[t, i], n2[t, i] = a, b, na, nb
            # jobs that take no time: as many rounds as there are of them reach every chain
            if turn == instant:
                break
            turn += 1
            for p in range(size):
                j = rank[p]
                if finish[j, t] == t:
                    w1[t, j] = cost[j, t] * scale - prize[j] + v1[t, j]
                    w2[t, j] = cost[j, t] * scale - prize[j] + v2[t, j]
                    wn[t, j] = n1[t, j]
                    least[t, j] = min(w1[t, j], least[t + 1, j])
    best, nxt = np.int64(0), -1
    for p in range(size):
        j = rank[p]
        s = begin + move[stand, j]
        if s < slots and j != stand:
            x = w2[s, j] if wn[s, j] == stand else w1[s, j]
            if x < best:
                best, nxt = x, j
    i, t, steps = stand, begin, 0
    row[:] = -1
    for _ in range(slots + jobs):
        if nxt < 0:
            break
        count[nxt] += 1
        new = True
        for p in range(steps):
            if row[p] == nxt:
                new = False
        if new:
            row[steps] = nxt
            steps += 1
        end = finish[nxt, t + move[i, nxt]]
        after = n1[end, nxt]
        if after == i:
            after = n2[end, nxt]
        i, nxt, t = nxt, after, end
    return best


@njit(cache=True, nogil=True)
def _ascend(finish, cost, move, leave, banned, begin, stand, scale, prize, target, turns, rows):
    """Raise the bound by moving the prizes; `prize` (job,) float64 is left at the best found.

    finish, cost (crew, job, slot) of one member. rows (turn, crew, job) takes the walks of the
    last turns, repeats left out, -1 after the last. The bound is an integer sum: exact. Returns it,
    in units of cost / scale.
    """
    crews, jobs, slots = finish.shape
    ends = _reachable(finish, banned)
    v1 = np.zeros((slots + 1, jobs), np.int64)
    v2 = np.zeros((slots + 1, jobs), np.int64)
    w1 = np.zeros((slots + 1, jobs), np.int64)
    w2 = np.zeros((slots + 1, jobs), np.int64)
    least = np.zeros((slots + 1, jobs), np.int64)
    n1 = np.zeros((slots + 1, jobs), np.int16)
    n2 = np.zeros((slots + 1, jobs), np.int16)
    wn = np.zeros((slots + 1, jobs), np.int16)
    count = np.zeros(jobs, np.int64)
    whole = np.zeros(jobs, np.int64)
    way = np.zeros(jobs, np.float64)
    now = prize.copy()
    best, step, stale = -NEVER, 1.0, 0
    for turn in range(turns):
        value = np.int64(0)
        for j in range(jobs):
            count[j] = 0
            if not banned[j]:
                whole[j] = min(np.int64(round(now[j] * scale)), leave[j] * scale)
                value += whole[j]
        for k in range(crews):
            value += _walk(
                finish[k], cost[k], move[k], ends[k], whole, banned, scale, begin[k], stand[k],
                v1, v2, n1, n2, w1, w2, wn, least, count, rows[turn % rows.shape[0], k],
            )  # fmt: skip
        if value > best:
            if value > best + abs(value) * 1e-5:
                stale = 0
            best = value
            prize[:] = now
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
    # prizes are whole numbers of 1 / scale: sums stay exact in 64 bits
    most = float(min(tables.leave_cost.sum(), 4 * cost.max() + tables.leave_cost.max()))
    scale = int(np.clip(2.0**52 / max(1.0, most), 1, 1024))

    def one(m: int, prize: Float, turns: int) -> tuple[float, NDArray[np.int64]]:
        begin, stand, paid = after_locks(tables, m)
        walks = np.full((keep, crews, jobs), -1, np.int64)
        never = (tables.finish[m, :, :, 0] < 0).all(
            axis=0
        )  # later is no better, by the tables' rule
        prize[never] = tables.leave_cost[never]
        value = _ascend(
            tables.finish[m], tables.cost[m], tables.move, tables.leave_cost, banned, begin,
            stand.astype(np.int64), scale, prize, float(cost[m] - paid), turns, walks,
        )  # fmt: skip
        # costs are whole numbers, so a bound between two of them is as good as the upper
        return paid + max(0, int(-(-value // scale))), walks

    prize = np.minimum(np.full(jobs, cost[0] / jobs), tables.leave_cost).astype(np.float64)
    found = [one(0, prize, turns)]
    rest = range(1, members)
    with ThreadPoolExecutor(max_workers=2) as pool:
        found += pool.map(lambda m: one(m, prize.copy(), max(1, turns // LATER)), rest)
    return Foresight(
        member_bound=np.array([b for b, _ in found], np.float64),
        walks=np.array([w for _, w in found]),
    )
