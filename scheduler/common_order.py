"""Lower bound that knows there is one order: members agree, at a price, on each job's place.

Bounded one by one, every member has an order of its own. Here a member pays, beside the prizes of
`bound`, a price for each job by the place in the crew's order at which it comes. The prices of a
job at a place sum to 0 over the members, by weight, so one order for all pays nothing in the mean,
and the mean of the members' cheapest walks stays below the cost of every fixed order, whatever
the prices. They are moved until the members' walks differ less (Lagrangian decomposition over the
members, climbed by deflected subgradients from the members' own prizes).

A place is the work ordered before: the jobs' least times, in whole levels of about one job. So
the place is the same in all members whatever the weather does, and where the clock stands at a
place is the member's own. Prices run in straight lines between a few places.
"""

# mypy: disable-error-code="no-untyped-def"

from __future__ import annotations

import math
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from scheduler.bound import Foresight, after_locks, by_key
from scheduler.tables import CutTables, Float, Int, Plan

NEVER = 1e300
#: Levels of work in a crew's order, and places at which prices are set; assumed: finer ones
#: raised the bound of trial farms no further in the same time.
LEVELS, KNOTS = 14, 6
#: Times the prices are moved for the usual effort, at least and at most; in between, so many that
#: members x crews x jobs x jobs x slots x turns is `MOST`. Larger tables are left alone. Assumed,
#: because 30 members, 2 crews and 30 fields then take about two seconds.
FEWEST, TURNS, MOST = 10, 80, 400_000_000
#: First step as a share of the gap, what is left of a step when the bound has not risen for so
#: many turns, and of the way gone before; assumed, as above.
STEP, SHORTER, STALE, SWING = 0.2, 0.8, 8, 0.9


@njit(cache=True, nogil=True)
def _reach(finish, move, last, closing, level, begin, stand, row, who):
    """Number the states that an order can come to and go on from; how many there are.

    finish (slot, job). row (level, slot + 1): number of the state, -1 where there is none.
    who (level, slot + 1, job + 1): whether the job can be the last done there.
    """
    jobs = finish.shape[1]
    count = 0
    row[:, :] = -1
    who[:, :, :] = False
    who[0, begin, stand] = True
    for w in range(row.shape[0]):
        for t in range(closing + 1):
            any_last = False
            for i in range(jobs + 1):
                any_last |= who[w, t, i]
            if not any_last:
                continue
            row[w, t] = count
            count += 1
            for j in range(jobs):
                u = w + level[j]
                if level[j] == 0 or u >= row.shape[0]:
                    continue
                for i in range(jobs + 1):
                    if who[w, t, i] and i != j:
                        s = t + move[i, j]
                        if s <= last[j]:
                            who[u, finish[s, j], j] = True
                        else:
                            who[u, t, i] = True
    return count


@njit(cache=True, nogil=True)
def _cheapest(finish, cost, move, near, far, last, late, done, closing, level, row, who, begin,
              stand, leave, price, visits, share, v1, v2, n1, n2, f1, f2, fn, least, need, key,
              rank, over, low, rest):  # fmt: skip
    """Cheapest walk of one crew in one member; its visits go into visits (knot, job).

    finish, cost (slot, job); price (level, job) is what a job is paid for at a level; level (job,)
    of a job that may not be walked to is 0. v1, n1 (state, job last done): cheapest rest and its
    next job, v2, n2 the cheapest with another next job, so that no walk goes i, j, i.

    After slot `done`, when the plan is through, the last job is no longer told apart. After slot
    `closing` no job can be begun: what the rest of the order may gain by being passed over,
    where prices are above the cost of leaving, is `rest` (level,) at most. From v1 on: working
    space.
    """
    slots, jobs = finish.shape
    levels = row.shape[0]
    reach = 0
    size = 0
    rest[:] = 0.0
    for j in range(jobs):
        if level[j] > 0:
            rank[size] = j
            size += 1
            reach = max(reach, far[j])
            gain = 0.0
            for w in range(levels - 1, -1, -1):
                gain = min(gain, leave[j] - price[w, j])
                rest[w] += gain
    for w in range(levels - 1, -1, -1):
        first, high = slots + 1, -1
        for t in range(slots + 1):
            if row[w, t] >= 0:
                first = min(first, t)
                high = t
        if high < 0:
            continue
        top = min(slots - 1, high + reach)
        need[first : top + 2] = False
        for t in range(first, high + 1):
            if row[w, t] >= 0:
                need[t : min(top, t + reach) + 1] = True
        for j in range(jobs):
            least[top + 1, j] = NEVER
        for s in range(top, first - 1, -1):
            if not need[s]:
                for j in range(jobs):
                    least[s, j] = least[s + 1, j]
                continue
            for p in range(size):
                j = rank[p]
                x = NEVER
                u = w + level[j]
                f1[s, j] = NEVER
                f2[s, j] = NEVER
                if s <= last[j] and u < levels:
                    r = row[u, finish[s, j]]
                    paid = cost[s, j] - price[w, j]
                    if r >= 0:
                        x = paid + v1[r, j]
                        f1[s, j] = x
                        f2[s, j] = paid + v2[r, j]
                        fn[s, j] = n1[r, j]
                    elif finish[s, j] > closing:
                        x = paid + rest[u]
                        f1[s, j] = x
                        f2[s, j] = x
                        fn[s, j] = -1
                least[s, j] = min(x, least[s + 1, j])
        for t in range(high, first - 1, -1):
            r = row[w, t]
            if r < 0:
                continue
            for p in range(size):
                j = rank[p]
                key[j] = least[t + near[j], j] if t + near[j] <= top else NEVER
            by_key(rank, size, key)
            passed = 0  # jobs that would be passed over from here, and might gain by it
            for p in range(late.size):
                j = late[p]
                if t + reach <= last[j]:
                    break
                u = w + level[j]
                if level[j] == 0 or t + far[j] <= last[j] or u >= levels or row[u, t] < 0:
                    continue
                if leave[j] - price[w, j] + low[row[u, t]] < 0.0:
                    over[passed] = j
                    passed += 1
            low[r] = 0.0
            if t > done:
                na = -1
                if size > 0 and key[rank[0]] < 0.0:
                    low[r], na = key[rank[0]], rank[0]
                for p in range(passed):
                    j = over[p]
                    x = leave[j] - price[w, j] + low[row[w + level[j], t]]
                    if x < low[r]:
                        low[r], na = x, j
                for i in range(jobs + 1):
                    v1[r, i], v2[r, i], n1[r, i], n2[r, i] = low[r], low[r], na, na
                continue
            for i in range(jobs + 1):
                if not who[w, t, i]:
                    continue
                a, b, na, nb = 0.0, 0.0, -1, -1
                for p in range(size):
                    j = rank[p]
                    if key[j] >= b:
                        break
                    s = t + move[i, j]
                    if j == i or s > top:
                        continue
                    x = f2[s, j] if fn[s, j] == i else f1[s, j]
                    if x < a:
                        b, nb, a, na = a, na, x, j
                    elif x < b:
                        b, nb = x, j
                for p in range(passed):
                    j = over[p]
                    if j == i or t + move[i, j] <= last[j]:
                        continue
                    x = leave[j] - price[w, j] + v1[row[w + level[j], t], i]
                    if x < a:
                        b, nb, a, na = a, na, x, j
                    elif x < b:
                        b, nb = x, j
                low[r] = min(low[r], a)
                v1[r, i], v2[r, i], n1[r, i], n2[r, i] = a, b, na, nb
    i, t, w = stand, begin, 0
    if row[0, begin] < 0:
        return rest[0]
    best, j = v1[0, i], n1[0, i]
    while j >= 0:
        for knot in range(visits.shape[0]):
            visits[knot, j] += share[knot, w]
        s = t + (move[i, j] if t <= done else near[j])
        w += level[j]
        passing = s > last[j]
        r = row[w, t if passing else finish[s, j]]
        if r < 0:
            break
        if passing:
            j = n1[r, i]
            continue
        t = finish[s, j]
        after = n2[r, j] if n1[r, j] == i and t <= done else n1[r, j]
        i, j = j, after
    return best


@dataclass(frozen=True, kw_only=True)
class _Crew:
    """One crew in one member, as `_cheapest` takes it; see there."""

    finish: NDArray[np.int32]
    cost: Float
    last: Int
    late: Int
    done: int
    closing: int
    row: NDArray[np.int32]
    who: NDArray[np.bool_]
    begin: int
    stand: int


def _size(tables: CutTables) -> int:
    members, crews, jobs, slots = tables.shape
    return members * crews * jobs**2 * slots


def usual_turns(tables: CutTables, effort: float) -> int:
    """How many times to move the prices for a share of the usual work."""
    return math.ceil(effort * min(max(MOST / _size(tables), FEWEST), TURNS))


def common_bound(
    tables: CutTables, plan: Plan, known: Foresight, *, weight: Float, turns: int = TURNS,
    enough: float = np.inf, tell: Callable[[float], None] = lambda share: None,
) -> float:  # fmt: skip
    """Lower bound on the mean, by `weight`, of what any one order costs in the members.

    Minus infinity, which bounds nothing, where the tables are larger than `MOST`.

    Parameters
    ----------
    plan : a good plan: its order says how much work a level holds, its cost how far to climb.
    known : the members' own bounds and prizes, from which the climb begins.
    weight : (member,) summing to 1; members that weigh nothing are not looked at.
    turns : most times the prices are moved.
    enough : a bound at which to stop.
    tell : told the share done; may raise to stop.
    """
    if _size(tables) > MOST:
        return -np.inf
    members = np.flatnonzero(weight > 0)
    weight = weight[members]
    climb = _Climb(tables, plan, members, weight)
    prize = weight @ known.prize[members]
    price = np.repeat((prize - known.prize[members])[:, None, None, :], tables.shape[1], axis=1)
    price = np.repeat(price, KNOTS, axis=2)
    target = float(weight @ plan.member_cost[members])
    best, step, stale = -np.inf, STEP, 0
    way, ways = np.zeros_like(prize), np.zeros_like(price)
    for turn in range(turns):
        tell(turn / turns)
        value, visits = climb.walks(prize, price)
        stale = 0 if value > best + 1e-5 * abs(best) else stale + 1
        best = max(best, value)
        if best >= min(target, enough):
            break
        if stale == STALE:
            step, stale = step * SHORTER, 0
        mean = np.einsum("m,mkbj->kbj", weight, visits)
        pull = np.where(climb.banned, 0.0, 1.0 - mean.sum(axis=(0, 1)))
        pull[(pull > 0) & (prize >= tables.leave_cost)] = 0.0
        way, ways = pull + SWING * way, visits - mean + SWING * ways
        size = (way**2).sum() + weight @ (ways**2).sum(axis=(1, 2, 3))
        if size < 1e-12:
            break
        far = step * (target - value) / size
        prize, price = np.minimum(prize + far * way, tables.leave_cost), price + far * ways
    # sums of some thousand terms in 53 bits
    return best - 1e-9 * abs(target)


class _Climb:
    """The members' walks at given prizes and prices, two members at a time."""

    def __init__(
        self, tables: CutTables, plan: Plan, members: NDArray[np.intp], weight: Float
    ) -> None:
        _, crews, jobs, slots = tables.shape
        self.tables, self.weight = tables, weight
        self.banned = np.zeros(jobs, np.bool_)
        self.banned[[j for first in tables.prefixes for j in first]] = True
        other = tables.move + np.where(np.eye(jobs + 1, jobs), 1 << 20, 0).astype(np.int64)
        self.near = other.min(axis=1)
        self.far = tables.move.max(axis=1).astype(np.int64)
        self.level = self._levels(plan)
        self.share = _shares(int(self.level.sum(axis=1).max()) + 1)
        self.leave = tables.leave_cost.astype(np.float64)
        self.paid = np.zeros(members.size)
        self.crews: list[list[_Crew]] = []
        most = 0
        for n, m in enumerate(members):
            begin, stand, self.paid[n] = after_locks(tables, int(m))
            mine = []
            for k in range(crews):
                finish = np.ascontiguousarray(tables.finish[m, k].T)
                able = finish >= 0
                last = np.where(able.any(axis=0), slots - 1 - able[::-1].argmax(axis=0), -1)
                done = int(plan.finish[m, list(plan.orders[k])].max(initial=begin[k]))
                closing = int((last - self.near[k])[~self.banned].max(initial=-1))
                levels = int(self.level[k].sum()) + 1
                row = np.empty((levels, slots + 1), np.int32)
                who = np.empty((levels, slots + 1, jobs + 1), np.bool_)
                most = max(most, _reach(
                    finish, tables.move[k], last, closing, self.level[k],
                    int(begin[k]), int(stand[k]), row, who,
                ))  # fmt: skip
                mine.append(_Crew(
                    finish=finish, cost=tables.cost[m, k].T.astype(np.float64), last=last,
                    late=np.argsort(last, kind="stable"), done=done, closing=closing, row=row,
                    who=who, begin=int(begin[k]), stand=int(stand[k]),
                ))  # fmt: skip
            self.crews.append(mine)
        self.rooms = [_room(most, jobs, slots, self.share.shape[1]) for _ in range(2)]

    def _levels(self, plan: Plan) -> Int:
        """(crew, job) levels of each job, at least 1; 0 of a locked one.

        About `LEVELS` fill a crew's order.
        """
        tables = self.tables
        _, crews, _, slots = tables.shape
        took = np.where(tables.finish >= 0, tables.finish - np.arange(slots), 1 << 20)
        least = np.median(took.min(axis=3), axis=0)
        known = least < 1 << 19
        work = np.where(known, least, np.mean(least, where=known) if known.any() else 1) + self.near
        level = np.empty(work.shape, np.int64)
        for k in range(crews):
            mine = work[k, list(plan.orders[k])].sum() / LEVELS if plan.orders[k] else np.inf
            level[k] = np.maximum(1, np.rint(work[k] / (mine if mine > 0 else np.inf)))
        level[:, self.banned] = 0
        return level

    def walks(self, prize: Float, price: Float) -> tuple[float, Float]:
        """The bound at prizes (job,) and prices (member, crew, knot, job), and the visits."""
        visits = np.zeros_like(price)

        def run(part: int) -> list[float]:
            out = []
            for m in range(part, len(self.crews), 2):
                total = self.paid[m]
                for k, c in enumerate(self.crews[m]):
                    pay = prize - self.share.T @ price[m, k]
                    total += _cheapest(
                        c.finish, c.cost, self.tables.move[k], self.near[k], self.far[k], c.last,
                        c.late, c.done, c.closing, self.level[k], c.row, c.who, c.begin, c.stand,
                        self.leave, pay, visits[m, k], self.share, *self.rooms[part],
                    )  # fmt: skip
                out.append(total)
            return out

        with ThreadPoolExecutor(max_workers=2) as pool:
            halves = list(pool.map(run, range(2)))
        value = np.empty(len(self.crews))
        value[::2], value[1::2] = halves
        return float(prize[~self.banned].sum() + self.weight @ value), visits


def _shares(levels: int) -> Float:
    """(knot, level) shares of the knots in the price at a level; constant past the last knot."""
    at = np.minimum(np.arange(levels) / (1.2 * LEVELS) * (KNOTS - 1), KNOTS - 1)
    return np.maximum(0.0, 1.0 - np.abs(at - np.arange(KNOTS)[:, None]))


def _room(states: int, jobs: int, slots: int, levels: int) -> tuple[NDArray[np.generic], ...]:
    """Working space of `_cheapest`, in the order it takes it."""
    return (
        *(np.zeros((states, jobs + 1)) for _ in range(2)),
        *(np.zeros((states, jobs + 1), np.int16) for _ in range(2)),
        *(np.zeros((slots + 1, jobs)) for _ in range(2)),
        np.zeros((slots + 1, jobs), np.int16),
        np.zeros((slots + 2, jobs)), np.zeros(slots + 2, np.bool_), np.zeros(jobs),
        *(np.zeros(jobs, np.int64) for _ in range(2)), np.zeros(states), np.zeros(levels),
    )  # fmt: skip
