"""Partial sequences of one crew that all members share, timed in all members at once.

The cost of a partial sequence so far is known in every member. A completion costs at least what
each member pays on its own by the paths of `common_walk`. Sequences whose sum of both cannot be
below a threshold are pruned with all their extensions; the rest is mostly few enough to enumerate.
That proves the cost of the crew's cheapest order after prizes, or that none is below the threshold.
"""

# mypy: disable-error-code="no-untyped-def"

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numba import njit
from numpy.typing import NDArray

from scheduler.solver.bundle_model import NO_PATH
from scheduler.solver.common_order.common_walk import Crew, Rests
from scheduler.solver.pricing import first_least, other_than
from scheduler.solver.tables import CutTables, Float, Orders

#: Costs, in 1/100 of money, that are taken for equal: sums of some thousand terms in 53 bits.
ALIKE = 1e-6
#: Begun orders kept of each half of those gone through, at most, an even number; assumed: more say
#: little more.
SHOWN = 64


@njit(cache=True, nogil=True)
def _next(crew, rests, twins, w, time, last, rest, used, total, limit, found, least, from_job):
    """Jobs that may come next in an order that costs less than the limit; how many there are.

    They go into found (job,), what an order so begun costs at least into least (job,), and the
    least still to pay from there on into from_job (member, job). time, last, rest (member,): the
    clock, the job last done and the least still to pay; total: what the order costs at least.
    """
    _, _, move, latest, safe, level, leave, weight, row = crew
    begins, at, left, shut, pay, _ = rests
    before, after = twins
    size = 0
    for j in range(level.size):
        if level[j] == 0 or used[j]:
            continue
        if (before[j] >= 0 and not used[before[j]]) or (after[j] >= 0 and used[after[j]]):
            continue
        found[size] = j
        least[j] = total
        size += 1
    for m in range(time.size):
        t, i, kept = time[m], last[m], 0
        for p in range(size):
            j = found[p]
            s = t + move[i, j]
            if t <= safe[m] or s <= latest[m, j]:
                x = begins[m, at[m, w] + s, j]
            else:
                u = min(w + level[j], row.shape[1] - 1)
                r = row[m, u, t]
                x = leave[j] - pay[m, w, j] + (left[m, r, i] if r >= 0 else shut[m, u])
            from_job[m, j] = x
            least[j] += weight[m] * (x - rest[m])
            if least[j] < limit:
                found[kept] = j
                kept += 1
        size = kept
        if size == 0:
            break
    return size


@njit(cache=True, nogil=True)
def _add(crew, rests, w, j, time, last, from_job, time2, last2, rest2):
    """Put job j next in an order of level w; what it adds to the order's cost after prizes."""
    finish, cost, move, latest, _, _, leave, weight, _ = crew
    _, _, _, _, pay, prize = rests
    paid = -prize[j]
    for m in range(time.size):
        s = time[m] + move[last[m], j]
        if s <= latest[m, j]:
            time2[m], last2[m], money = finish[m, s, j], j, cost[m, s, j]
        else:
            time2[m], last2[m], money = time[m], last[m], float(leave[j])
        paid += weight[m] * money
        rest2[m] = from_job[m, j] - money + pay[m, w, j]
    return paid


@njit(cache=True, nogil=True)
def _begin(crew, rests, begin, stand, time, last, rest):
    """Put the state before the first job into time, last and rest (member,); what is to pay."""
    _, _, _, _, _, _, _, weight, row = crew
    _, _, left, shut, _, _ = rests
    total = 0.0
    for m in range(begin.size):
        time[m], last[m] = begin[m], stand[m]
        r = row[m, 0, begin[m]]
        rest[m] = left[m, r, stand[m]] if r >= 0 else shut[m, 0]
        total += weight[m] * rest[m]
    return total


@njit(cache=True, nogil=True)
def _better(crew, prize, g, h, j, time, last, end, stand, limit):
    """Whether g, h, j from one state ends in another, in every member, for less than the limit."""
    finish, cost, move, latest, _, _, leave, weight, _ = crew
    paid = -prize[g] - prize[h] - prize[j]
    for m in range(time.size):
        t, i = time[m], last[m]
        for x in (g, h, j):
            s = t + move[i, x]
            if s <= latest[m, x]:
                paid += weight[m] * cost[m, s, x]
                t, i = finish[m, s, x], x
            else:
                paid += weight[m] * leave[x]
        if t != end[m] or i != stand[m]:
            return False
    return paid < limit


@njit(cache=True, nogil=True)
def _dig(crew, rests, twins, begin, stand, half, limit, most, kept):
    """Go through orders that cost less than the limit; orders begun, and the cheapest's cost.

    Gives up after `most`. Of those with two jobs or more only every other beginning: `half` 0, 1.
    Some of those begun, evenly, go into kept (order, job), -1 after the last job and in rows left.
    """
    _, _, _, _, _, level, _, _, row = crew
    _, _, _, _, _, prize = rests
    members, jobs, top = begin.size, level.size, row.shape[1] - 1
    time = np.zeros((jobs + 1, members), np.int64)
    last, rest = np.zeros_like(time), np.zeros(time.shape)
    found, least = np.zeros((jobs + 1, jobs), np.int64), np.zeros((jobs + 1, jobs))
    size, tried = np.zeros(jobs + 1, np.int64), np.zeros(jobs + 1, np.int64)
    order, w = np.zeros(jobs + 1, np.int64), np.zeros(jobs + 1, np.int64)
    paid, used = np.zeros(jobs + 1), np.zeros(jobs, np.bool_)
    from_job = np.zeros((jobs + 1, members, jobs))
    total = _begin(crew, rests, begin, stand, time[0], last[0], rest[0])
    size[0] = _next(
        crew,
        rests,
        twins,
        w[0],
        time[0],
        last[0],
        rest[0],
        used,
        total,
        limit,
        found[0],
        least[0],
        from_job[0],
    )
    kept[:] = -1
    d, count, best, stride, rows = 0, 0, 0.0, 1, 0
    while d >= 0:
        if tried[d] == size[d]:
            if d > 0:
                used[order[d]] = False
            d -= 1
            continue
        j = found[d, tried[d]]
        tried[d] += 1
        if (d == 1 and (order[1] + j) % 2 != half) or least[d, j] >= limit:
            continue
        e = d + 1
        paid[e] = paid[d] + _add(
            crew, rests, w[d], j, time[d], last[d], from_job[d], time[e], last[e], rest[e]
        )
        if d >= 2:
            # where the two jobs before, in the other turn, lead to the same, one turn is enough
            g, h, a = order[d], order[d - 1], d - 2
            less = paid[e] - paid[a] + (ALIKE if g < h else -ALIKE)
            if _better(crew, prize, g, h, j, time[a], last[a], time[e], last[e], less):
                continue
        count += 1
        if count > most:
            break
        best = min(best, paid[e])
        limit = min(limit, best)
        order[e], w[e], tried[e], used[j] = j, min(w[d] + level[j], top), 0, True
        size[e] = _next(
            crew,
            rests,
            twins,
            w[e],
            time[e],
            last[e],
            rest[e],
            used,
            least[d, j],
            limit,
            found[e],
            least[e],
            from_job[e],
        )
        d = e
        if count % stride == 0:
            if rows == kept.shape[0]:
                # every other one is enough from here on, and this, an odd one, is not
                stride, rows = 2 * stride, _thin(kept)
            else:
                for z in range(d):
                    kept[rows, z] = order[z + 1]
                rows += 1
    return count, best


@njit(cache=True, nogil=True)
def _thin(kept):
    """Keep every second row of kept (order, job), -1 in the rows left; how many are kept."""
    rows = kept.shape[0] // 2
    for x in range(kept.shape[0]):
        for z in range(kept.shape[1]):
            kept[x, z] = kept[2 * x + 1, z] if x < rows else -1
    return rows


@njit(cache=True, nogil=True)
def _come_to(crew, ways, begin, stand, orders, visits):
    """Add to visits (member, level, job) where begun orders and the walks of their rests come to.

    orders (order, job), -1 after the last job and in rows left; how many rows are orders.
    """
    finish, _, move, latest, _, level, _, _, row = crew
    rows = 0
    for x in range(orders.shape[0]):
        if orders[x, 0] < 0:
            break
        rows += 1
        for m in range(begin.size):
            t, i, w, before, z = begin[m], stand[m], 0, -1, 0
            while True:
                j = orders[x, z] if z < orders.shape[1] else -1
                z += 1
                begun, r = j >= 0, row[m, w, t]
                if not begun and r >= 0:
                    j, _, _ = other_than(ways[m, r, i, 0], ways[m, r, i, 1], before)
                if j < 0:
                    break
                visits[m, w, j] += 1.0
                s, before = t + move[i, j], -1
                w = min(w + level[j], row.shape[1] - 1)
                if s <= latest[m, j]:
                    before = -1 if begun else i
                    t, i = finish[m, s, j], j
    return rows


@njit(cache=True, nogil=True)
def _sketch(crew, rests, twins, begin, stand, orders, costs):
    """Cheap orders after prizes, not surely the cheapest: the best beginnings of each length.

    As many as `orders` (order, job) has rows are gone on with, and the cheapest of all lengths
    are left there, -1 after the last job; costs (order,) are after prizes. How many there are.
    """
    # plain loops: sorting and slices take the compiler seconds
    _, _, _, _, _, level, _, _, row = crew
    members, jobs, top = begin.size, level.size, row.shape[1] - 1
    width = orders.shape[0]
    time = np.zeros((2, width, members), np.int64)
    last, rest = np.zeros_like(time), np.zeros(time.shape)
    order, used = np.zeros((2, width, jobs), np.int64), np.zeros((2, width, jobs), np.bool_)
    w, paid, total = np.zeros((2, width), np.int64), np.zeros((2, width)), np.zeros((2, width))
    from_job = np.zeros((width, members, jobs))
    found, least = np.zeros(jobs, np.int64), np.zeros(jobs)
    key, child = np.zeros(width * jobs), np.zeros(width * jobs, np.int64)
    total[0, 0] = _begin(crew, rests, begin, stand, time[0, 0], last[0, 0], rest[0, 0])
    now, size, kept = 0, 1, 0
    for d in range(jobs):
        children = 0
        for x in range(size):
            n = _next(
                crew,
                rests,
                twins,
                w[now, x],
                time[now, x],
                last[now, x],
                rest[now, x],
                used[now, x],
                total[now, x],
                0.0,
                found,
                least,
                from_job[x],
            )
            for p in range(n):
                key[children], child[children] = least[found[p]], x * jobs + found[p]
                children += 1
        new, to = 0, 1 - now
        for _ in range(children):
            if new == width:
                break
            y = first_least(key, children)
            total[to, new], key[y] = key[y], NO_PATH
            x, j = child[y] // jobs, child[y] % jobs
            money = paid[now, x] + _add(
                crew,
                rests,
                w[now, x],
                j,
                time[now, x],
                last[now, x],
                from_job[x],
                time[to, new],
                last[to, new],
                rest[to, new],
            )
            twice = False
            for z in range(new):
                twice |= order[to, z, d] == j and abs(paid[to, z] - money) < ALIKE
            if twice:
                continue
            for z in range(jobs):
                order[to, new, z] = order[now, x, z]
                used[to, new, z] = used[now, x, z]
            order[to, new, d], used[to, new, j] = j, True
            paid[to, new], w[to, new] = money, min(w[now, x] + level[j], top)
            slot = kept
            if kept == width:
                slot = 0
                for z in range(1, width):
                    if costs[z] > costs[slot]:
                        slot = z
            if kept < width or money < costs[slot]:
                costs[slot] = money
                for z in range(jobs):
                    orders[slot, z] = order[to, new, z] if z <= d else -1
                kept = min(width, kept + 1)
            new += 1
        if new == 0:
            break
        now, size = to, new
    return kept


class Routes:
    """Orders of one crew, by what is kept of the members' walks.

    Parameters
    ----------
    crew, rests : the crew's tables, and what its walks left; read anew at each call.
    leave : (job,) cost of leaving. weight : (member,) summing to 1.
    twins : (2, job) a job just like it that must come before or may not, -1 where there is none.
    """

    def __init__(
        self, crew: Crew, rests: Rests, leave: Float, weight: Float, twins: NDArray[np.int64]
    ) -> None:
        able = crew.level > 0
        safe = (crew.last - crew.far)[:, able].min(axis=1, initial=1 << 30)
        self._crew = (
            crew.finish,
            crew.cost,
            crew.move,
            crew.last,
            safe,
            crew.level,
            leave,
            weight,
            crew.row,
        )
        self._level, self._weight, self._none = crew.level, weight, np.zeros(crew.level.size)
        self._from = crew.begin.astype(np.int64), crew.stand.astype(np.int64)
        self._kept, self._twins = rests, (twins[0], twins[1])
        self._begun = np.full((2, SHOWN, crew.level.size), -1, np.int64)

    def _rests(self, prize: Float) -> tuple[NDArray[np.generic], ...]:
        k = self._kept
        return k.begins, k.at, k.rest, k.shut, k.pay, prize

    def least(self) -> float:
        """What no order costs less than, after the prizes of the walks, by these alone."""
        begin, stand = self._from
        time, last, rest = np.empty_like(begin), np.empty_like(stand), np.empty(begin.size)
        return float(_begin(self._crew, self._rests(self._none), begin, stand, time, last, rest))

    def sketch(self, prize: Float, width: int) -> list[tuple[tuple[int, ...], float]]:
        """Cheap orders after prizes, at most `width`, with their costs before prizes."""
        orders = np.full((width, prize.size), -1, np.int64)
        costs = np.zeros(width)
        n = _sketch(self._crew, self._rests(prize), self._twins, *self._from, orders, costs)
        rows = [tuple(int(j) for j in row if j >= 0) for row in orders[:n]]
        return [(row, float(costs[x] + prize[list(row)].sum())) for x, row in enumerate(rows)]

    def dig(self, prize: Float, limit: float, most: int) -> tuple[int, float | None]:
        """Go through all orders that may cost less than `limit`, 0 or less, after prizes.

        How many were begun, and what no order costs less than: the cheapest's own cost, or the
        limit; None where more than `most` would have to be begun.
        """
        begun = np.empty_like(self._begun)

        def run(half: int) -> tuple[int, float]:
            count, best = _dig(
                self._crew,
                self._rests(prize),
                self._twins,
                *self._from,
                half,
                limit,
                most // 2,
                begun[half],
            )
            return int(count), float(best)

        with ThreadPoolExecutor(max_workers=2) as pool:
            halves = list(pool.map(run, range(2)))
        count = sum(n for n, _ in halves)
        given_up = max(n for n, _ in halves) > most // 2
        if not given_up:
            self._begun = begun
        return count, None if given_up else min(limit, *(best for _, best in halves))

    def visits(self) -> Float:
        """(member, level, job) how often a job comes there, in the mean of some begun orders.

        Those that `dig` kept when it last did not give up, with their rests as the members' walks
        have them.
        """
        visits = np.zeros(self._kept.pay.shape)
        ways = self._kept.ways
        rows = sum(_come_to(self._crew, ways, *self._from, some, visits) for some in self._begun)
        visits /= max(rows, 1)
        return visits

    def cost(self, order: tuple[int, ...]) -> float:
        """What an order costs in the mean."""
        (time, last), w, paid = self._from, 0, 0.0
        none = np.zeros((time.size, self._level.size))
        for j in order:
            end, stand, rest = np.empty_like(time), np.empty_like(last), np.empty(time.size)
            paid += _add(
                self._crew, self._rests(self._none), w, j, time, last, none, end, stand, rest
            )
            time, last, w = end, stand, min(w + int(self._level[j]), self._kept.at.shape[1] - 1)
        return paid


def twins(tables: CutTables, orders: Orders) -> NDArray[np.int64]:
    """(crew, 2, job) of jobs just alike, which must come before and which may not; -1 for none.

    Two jobs just alike in all tables can change names. So the one with the lower number may come
    first where one crew does both; and one crew, here that with most such jobs in `orders`, may
    do the other only if it does both, for else they change names.
    """
    _, crews, jobs, _ = tables.shape
    out = np.full((crews, 2, jobs), -1, np.int64)
    for b in range(jobs):
        for a in range(b - 1, -1, -1):
            if _alike(tables, a, b):
                out[:, 0, b], out[:, 1, a] = a, b
                break
    named = out[0, 0] >= 0
    first = int(np.argmax([named[list(row)].sum() for row in orders]))
    out[np.arange(crews) != first, 0] = -1
    return out


def _alike(tables: CutTables, a: int, b: int) -> bool:
    """Whether nothing tells two jobs apart."""
    locked = {j for row in tables.prefixes for j in row}
    if tables.leave_cost[a] != tables.leave_cost[b] or {a, b} & locked:
        return False
    swap = np.arange(tables.shape[2] + 1)
    swap[[a, b]] = b, a
    move = tables.move[:, swap][:, :, swap[:-1]] == tables.move
    move[:, [a, b], [a, b]] = True  # never asked for
    return bool(
        move.all()
        and (tables.finish[:, :, a] == tables.finish[:, :, b]).all()
        and (tables.cost[:, :, a] == tables.cost[:, :, b]).all()
    )
