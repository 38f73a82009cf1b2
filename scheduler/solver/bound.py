"""Lower bound: that each job is done once is priced instead of enforced.

In one member, each job is given a prize. Every crew then takes the walk through time that costs
least after prizes: from slot to slot by the tables, with the moves of each pair, any job any
number of times but never i, j, i. The walks' cost plus all prizes is below the cost of every
plan, whatever the prizes; the prizes are moved to raise it (Lagrangian relaxation, climbed by
a bundle method: `walk_model`). Its best value is that of the time-indexed linear relaxation with
moves by pair, or better. All sums are of whole numbers, so the bound is exact.

Over members, no order does better in a member than orders made knowing it. So the mean, or the
mean of the worst fifth, of the members' bounds is below that of every fixed order. The gap to it
holds what the relaxation loses and the value of perfect foresight, which no plan can earn;
`common_order` takes most of that back.
"""

# mypy: disable-error-code="no-untyped-def"

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from scheduler.solver.search import price
from scheduler.solver.tables import CutTables, Float, Int, Plan
from scheduler.solver.walk_model import NEVER as NO_WALK
from scheduler.solver.walk_model import TURNED, Met, WalkModel

NEVER = np.int64(2**60)
#: Turns after which the bound of one member hardly rises, and for each of several, whose prices go
#: on from there in `common_order`; assumed, from trial farms of 30 to 100 fields.
TURNS, EACH = 400, 25
#: Prizes move by the root of their share in the mean, within these limits; assumed: walks come to
#: small jobs dozens of times, and their prizes must not leap.
LEAST, MOST = 0.1, 3.0
#: Turns that must take away so much of the gap still open, or no more follow; assumed, as above.
STALE, RISE = 50, 0.01


@dataclass(frozen=True, kw_only=True)
class Foresight:
    """What is proved of each member alone.

    Attributes
    ----------
    member_bound : (member,) no orders cost less in the member, even if it were known beforehand.
    walks : per member, (turn, crew, step) walks last met on the way up, -1 after the last job; at
        the end they are nearly plans, with some jobs twice and some not at all.
    cost : per member, (turn, crew) what these walks cost before prizes.
    prize : (member, job) the prizes that prove it.
    """

    member_bound: Float
    walks: tuple[NDArray[np.int16], ...]
    cost: tuple[Float, ...]
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


@njit(nogil=True)
def least_of(values, size):
    """Where the least of the first `size` values is."""
    least = 0
    for z in range(1, size):
        if values[z] < values[least]:
            least = z
    return least


@njit(nogil=True)
def fork(na, nb, before):
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
        regret[:] = NEVER
    for z in range(order.size):
        after, other, known = fork(n1[t, i], n2[t, i], before)
        if turn < 0 and known:
            regret[z] = v2[t, i] - v1[t, i]
        if z == turn:
            after = other
        if after < 0:
            break
        order[z] = after
        t, before, i = finish[k, after, t + move[k, i, after]], i, after


@njit(cache=True, nogil=True)
def walk(finish, cost, move, ends, prize, banned, scale, k, begin, stand, order, value, v1, v2, w1,
         w2, least, key, near, rank, n1, n2, wn, regret):  # fmt: skip
    """Cheapest walk of one crew through time, each job paying its prize, and some that leave it.

    Each leaves the cheapest once and goes on from there as cheaply as can be; cheapest first. The
    jobs walked to go into order (walk, slots + jobs), -1 after the last, what the walks cost after
    prizes into value (walk,), `NEVER` where there are no more.

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
    a, b, na, nb = np.int64(0), np.int64(0), -1, -1
    for p in range(size):
        j = rank[p]
        s = begin + move[k, stand, j]
        if s < slots and j != stand:
            a, b, na, nb = cheaper(w2[s, j] if wn[s, j] == stand else w1[s, j], j, a, b, na, nb)
    v1[begin, stand], v2[begin, stand], n1[begin, stand], n2[begin, stand] = a, b, na, nb
    order[:], value[:] = -1, NEVER
    value[0] = a
    for n in range(value.size):
        turn = -1
        if n > 0:
            turn = least_of(regret, regret.size)
            if regret[turn] == NEVER:
                break
            value[n] = a + regret[turn]
            regret[turn] = NEVER
        _follow(finish, move, k, begin, stand, v1, v2, n1, n2, turn, order[n], regret)


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
    """Working space of `walk`, in the order it takes it.

    Made here, as it compiles slowly.
    """
    yield from (np.zeros((slots + 1, jobs + 1), np.int64) for _ in range(2))
    yield from (np.zeros((slots + 1, jobs), np.int64) for _ in range(3))
    yield from (np.zeros(jobs, np.int64) for _ in range(3))
    yield from (np.zeros((slots + 1, jobs + 1), np.int16) for _ in range(2))
    yield np.zeros((slots + 1, jobs), np.int16)
    yield np.zeros(slots + jobs, np.int64)


def foresight(tables: CutTables, plan: Plan, *, turns: int = TURNS, keep: int = 1) -> Foresight:
    """Bound every member as if it were known beforehand.

    Parameters
    ----------
    plan : a good plan: prizes begin from what each job adds to its cost, and each bound may stop
        at it.
    turns : most times the prizes are moved.
    keep : walks of how many last turns to keep.
    """
    members, _, jobs, _ = tables.shape
    banned = np.zeros(jobs, np.bool_)
    banned[[j for first in tables.prefixes for j in first]] = True
    scale = prize_unit(tables, plan.member_cost)
    prize = added(tables, plan)

    def one(m: int) -> tuple[int, NDArray[np.int16], Float, Float]:
        return _climbed(tables, m, banned, scale, prize[m], float(plan.member_cost[m]), turns, keep)

    with ThreadPoolExecutor(max_workers=2) as pool:
        found = list(pool.map(one, range(members)))
    return Foresight(
        member_bound=np.array([b for b, *_ in found], np.float64),
        walks=tuple(w for _, w, _, _ in found),
        cost=tuple(c for _, _, c, _ in found),
        prize=np.array([p for *_, p in found]),
    )


def added(tables: CutTables, plan: Plan) -> Float:
    """(member, job) what each job adds to a plan's cost; leaving it where it cannot be done."""
    prize = np.empty((tables.shape[0], tables.shape[2]))
    for j, leave in enumerate(tables.leave_cost):
        without = price(tables, [[i for i in row if i != j] for row in plan.orders]).member_cost
        prize[:, j] = np.clip(plan.member_cost - without + leave, 0.0, leave)
    # by the tables' rule, what cannot be done from the first slot on cannot be done later
    never = (tables.finish[:, :, :, 0] < 0).all(axis=1)
    return np.where(never, tables.leave_cost, prize)


def _sizes(prize: Float) -> Float:
    mean = max(1.0, float(np.abs(prize).mean()))
    return np.clip(np.sqrt(np.abs(prize) / mean), LEAST, MOST)


def _climbed(
    tables: CutTables, m: int, banned: NDArray[np.bool_], scale: int, prize: Float, enough: float,
    turns: int, keep: int,
) -> tuple[int, NDArray[np.int16], Float, Float]:  # fmt: skip
    """One member's best bound, the walks of the last turns with their costs, and the best prizes.

    Prizes are whole numbers of 1 / scale, so the bound is a sum of whole numbers, and exact.
    """
    crews, jobs, slots = tables.shape[1:]
    begin, stand, paid = after_locks(tables, m)
    ends, space = job_ends(tables.finish[m], banned), tuple(room(jobs, slots))
    order = np.full((1, crews, 1 + TURNED, slots + jobs), -1, np.int16)
    met = Met(job=order, level=np.zeros_like(order), value=np.zeros((1, crews, 1 + TURNED)))
    money = np.zeros((crews, 1 + TURNED), np.int64)
    model = WalkModel(
        weight=np.ones(1), paid=np.array([float(paid)]), leave=tables.leave_cost.astype(np.float64),
        banned=banned, share=np.array([[1.0], [0.0]]), met=met, prize=prize, size=_sizes(prize),
    )  # fmt: skip
    none = np.zeros((1, crews, 2, jobs))
    best, kept = -1, prize
    walks, costs = deque[NDArray[np.int16]](maxlen=keep), deque[Float](maxlen=keep)
    mark, since = 0.0, 0
    for turn in range(turns):
        whole = np.minimum(np.round(prize * scale).astype(np.int64), tables.leave_cost * scale)
        whole[banned] = 0
        prize, total = whole / scale, int(whole.sum()) + paid * scale
        for k in range(crews):
            walk(
                tables.finish[m], tables.cost[m], tables.move, ends, whole, banned, scale, k,
                begin[k], stand[k], order[0, k], money[k], *space,
            )  # fmt: skip
        total += int(money[:, 0].sum())
        met.value[0] = np.where(money < NEVER, money / scale, NO_WALK)
        walks.append(order[0, :, 0].copy())
        earned = np.append(prize, 0.0)
        costs.append(money[:, 0] / scale + earned[walks[-1]].sum(axis=1))
        if total > best:
            best, kept = total, prize
        # costs are whole numbers, so a bound between two of them is as good as the upper
        if -(-best // scale) >= enough or turn - since >= STALE:
            break
        if turn == 0 or best / scale >= mark + RISE * (enough - mark):
            mark, since = best / scale, turn
        model.note(met, prize, none)
        prize, _ = model.move(total / scale, prize, none)
    return max(0, -(-best // scale)), np.array(walks), np.array(costs), kept
