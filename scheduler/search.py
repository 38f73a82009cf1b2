"""Search over orders: compiled annealing, every order timed separately in every member.

A move changes the orders of one or two crews. Only the changed part is timed again, from the
first changed place on, and in each member only until the crew is back in step with what it did
before. The number of moves is fixed and the generator is our own, so a seed names one plan.
"""

# mypy: disable-error-code="no-untyped-def"

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numba import njit
from numpy.typing import NDArray

from scheduler.tables import MEAN, UNPROVED, WORST, CutTables, Orders, Plan, objective_of

#: Longest run of jobs moved at once; assumed, because longer ones hardly ever paid on trial farms.
BLOCK = 3
#: Start and end temperature as shares of the mean size of a move's worsening; assumed, tuned on
#: farms and single-machine sets made for the purpose, not on the published ones.
HOT, COLD = 0.05, 0.0006


@njit(cache=True, nogil=True)
def _draw(state):
    """Next of a xorshift64* stream, in [0, 1)."""
    x = state[0]
    x ^= x >> np.uint64(12)
    x ^= x << np.uint64(25)
    x ^= x >> np.uint64(27)
    state[0] = x
    return float((x * np.uint64(2685821657736338717)) >> np.uint64(11)) / 9007199254740992.0


@njit(cache=True, nogil=True)
def _time(finish, cost, move, leave, k, row, size, first, same, old_size, time, at, paid, share,
          limit, out):  # fmt: skip
    """Money of crew k in each member for `row`, into `out`; returns the sum by `share`.

    `row` equals the crew's present order up to place `first` and in its last `same` places;
    time, at, paid [member, place] are its present states. Gives up beyond `limit`.
    """
    members, slots = finish.shape[0], finish.shape[3]
    total = 0.0
    for m in range(members):
        t, i, money = time[m, first], at[m, first], paid[m, first]
        for p in range(first, size):
            if size - p <= same:
                q = old_size - (size - p)
                if time[m, q] == t and at[m, q] == i:
                    money += paid[m, old_size] - paid[m, q]
                    break
            j = row[p]
            s = t + move[k, i, j]
            end = finish[m, k, j, s] if s < slots else -1
            if end >= 0:
                money += cost[m, k, j, s]
                t = end
                i = j
            else:
                money += leave[j]
        out[m] = money
        total += share[m] * money
        if total > limit:
            return total
    return total


@njit(cache=True, nogil=True)
def _take(finish, cost, move, leave, k, row, size, first, order, time, at, paid):
    """Make `row` the present order of crew k, with the states that go with it."""
    members, slots = finish.shape[0], finish.shape[3]
    for p in range(first, size):
        order[p] = row[p]
    for m in range(members):
        for p in range(first, size):
            t, i, j = time[m, p], at[m, p], row[p]
            s = t + move[k, i, j]
            end = finish[m, k, j, s] if s < slots else -1
            if end >= 0:
                time[m, p + 1] = end
                at[m, p + 1] = j
                paid[m, p + 1] = paid[m, p] + cost[m, k, j, s]
            else:
                time[m, p + 1] = t
                at[m, p + 1] = i
                paid[m, p + 1] = paid[m, p] + leave[j]


@njit(cache=True, nogil=True)
def objective_in(member, weight, worst):
    """Weighted mean of the members, or of the worst share of them by weight where worst < 1."""
    if worst >= 1.0:
        total = 0.0
        for m in range(member.size):
            total += weight[m] * member[m]
        return total
    used = np.zeros(member.size, np.bool_)
    room, total = worst, 0.0
    while room > 1e-12:
        top = -1
        for m in range(member.size):
            if not used[m] and (top < 0 or member[m] > member[top]):
                top = m
        if top < 0:
            break
        used[top] = True
        part = min(room, weight[top])
        total += part * member[top]
        room -= part
    return total / (worst - max(room, 0.0))


@njit(cache=True, nogil=True)
def _put(row, size, block, width, to, flip):
    """Insert a block into a row at place `to`; returns the new size."""
    for p in range(size - 1, to - 1, -1):
        row[p + width] = row[p]
    for p in range(width):
        row[to + p] = block[width - 1 - p] if flip else block[p]
    return size + width


@njit(cache=True, nogil=True)
def _cut(row, size, start, width, block):
    """Take `width` jobs out of a row from place `start` into `block`; returns the new size."""
    for p in range(width):
        block[p] = row[start + p]
    for p in range(start, size - width):
        row[p] = row[p + width]
    return size - width


@njit(cache=True, nogil=True)
def _anneal(finish, cost, move, ready, leave, weight, worst, order, size, fixed, moves, hot, cold,
            seed):  # fmt: skip
    """Anneal orders in place; order (crew, job), size (crew,), fixed (crew,) locked places.

    Returns (orders, sizes) of the best seen and its objective.
    """
    members, crews, jobs, _ = finish.shape
    time = np.zeros((crews, members, jobs + 1), np.int32)
    at = np.zeros((crews, members, jobs + 1), np.int32)
    paid = np.zeros((crews, members, jobs + 1), np.float64)
    left = np.zeros(jobs, np.int64)
    there = np.zeros(jobs, np.bool_)
    member = np.zeros(members, np.float64)
    share = weight if worst >= 1.0 else np.zeros(members, np.float64)
    for k in range(crews):
        time[k, :, 0] = ready[k]
        at[k, :, 0] = jobs
        _take(finish, cost, move, leave, k, order[k], size[k], 0, order[k], time[k], at[k], paid[k])
        for p in range(size[k]):
            there[order[k, p]] = True
        for m in range(members):
            member[m] += paid[k, m, size[k]]
    lefts, out_cost = 0, 0.0
    for j in range(jobs):
        if not there[j]:
            left[lefts] = j
            lefts += 1
            out_cost += leave[j]
    for m in range(members):
        member[m] += out_cost
    value = objective_in(member, weight, worst)
    best, best_order, best_size = value, order.copy(), size.copy()
    rows = np.zeros((2, jobs + 1), np.int64)
    sizes = np.zeros(2, np.int64)
    crew = np.zeros(2, np.int64)
    first = np.zeros(2, np.int64)
    money = np.zeros((2, members), np.float64)
    trial = np.zeros(members, np.float64)
    block = np.zeros(jobs, np.int64)
    state = np.zeros(1, np.uint64)
    state[0] = np.uint64(seed * 2 + 1) * np.uint64(0x9E3779B97F4A7C15)
    for _ in range(8):
        _draw(state)
    # the scale of temperatures: mean worsening over a first stretch in which nothing is worsened
    stretch = min(max(200, moves // 50), 4000)
    worse, worse_count = 0.0, 0
    heat, cooling = 0.0, 1.0
    for step in range(moves):
        if step == stretch:
            scale = worse / max(1, worse_count)
            heat = hot * scale
            cooling = (cold / hot) ** (1.0 / max(1, moves - stretch))
        heat *= cooling
        # ---- draw a move into rows[0..1]
        a = int(_draw(state) * crews)
        b = int(_draw(state) * crews)
        kind = _draw(state)
        free_a, free_b = size[a] - fixed[a], size[b] - fixed[b]
        change = 0.0  # in leave cost
        enter, leaver = -1, -1
        count = 1 if a == b else 2
        crew[0], crew[1] = a, b
        for c in range(count):
            sizes[c] = size[crew[c]]
            for p in range(sizes[c]):
                rows[c, p] = order[crew[c], p]
        if lefts > 0 and kind < 0.08:
            enter = int(_draw(state) * lefts)
            count = 1
            block[0] = left[enter]
            change -= leave[left[enter]]
            if free_a > 0 and _draw(state) < 0.3:
                p = fixed[a] + int(_draw(state) * free_a)
                leaver = rows[0, p]
                change += leave[leaver]
                rows[0, p] = block[0]
            else:
                p = fixed[a] + int(_draw(state) * (free_a + 1))
                sizes[0] = _put(rows[0], sizes[0], block, 1, p, False)
        elif kind < 0.10:
            if free_a == 0:
                continue
            count = 1
            p = fixed[a] + int(_draw(state) * free_a)
            leaver = rows[0, p]
            change += leave[leaver]
            sizes[0] = _cut(rows[0], sizes[0], p, 1, block)
        elif kind < 0.55:
            if free_a == 0:
                continue
            width = 1 + int(_draw(state) * min(BLOCK, free_a)) if _draw(state) < 0.4 else 1
            p = fixed[a] + int(_draw(state) * (free_a - width + 1))
            sizes[0] = _cut(rows[0], sizes[0], p, width, block)
            c = count - 1
            to = fixed[b] + int(_draw(state) * (sizes[c] - fixed[b] + 1))
            sizes[c] = _put(rows[c], sizes[c], block, width, to, width > 1 and _draw(state) < 0.3)
        elif kind < 0.85 or (a == b and free_a < 3):
            if free_a == 0 or free_b == 0:
                continue
            p = fixed[a] + int(_draw(state) * free_a)
            q = fixed[b] + int(_draw(state) * free_b)
            c = count - 1
            rows[0, p], rows[c, q] = rows[c, q], rows[0, p]
        elif a == b:
            width = 2 + int(_draw(state) * min(6, free_a - 1))
            p = fixed[a] + int(_draw(state) * (free_a - width + 1))
            for d in range(width // 2):
                rows[0, p + d], rows[0, p + width - 1 - d] = (
                    rows[0, p + width - 1 - d], rows[0, p + d],
                )  # fmt: skip
        else:
            p = fixed[a] + int(_draw(state) * (free_a + 1))
            q = fixed[b] + int(_draw(state) * (free_b + 1))
            tail_a, tail_b = size[a] - p, size[b] - q
            for d in range(tail_b):
                rows[0, p + d] = order[b, q + d]
            for d in range(tail_a):
                rows[1, q + d] = order[a, p + d]
            sizes[0], sizes[1] = p + tail_b, q + tail_a
        # ---- price it, giving up where it is already too dear
        slack = 0.0 if heat <= 0.0 else -heat * np.log(1.0 - _draw(state))
        before = 0.0
        for m in range(members):
            old = 0.0
            for c in range(count):
                old += paid[crew[c], m, size[crew[c]]]
            trial[m] = member[m] - old
            before += weight[m] * old
        limit = np.inf if worst < 1.0 else before + slack - change
        if step < stretch and worst >= 1.0:
            limit = np.inf
        total, changed = 0.0, False
        for c in range(count):
            k, n = crew[c], sizes[c]
            lead = 0
            while lead < n and lead < size[k] and rows[c, lead] == order[k, lead]:
                lead += 1
            first[c] = lead
            if lead == n and n == size[k]:
                for m in range(members):
                    money[c, m] = paid[k, m, n]
                    total += share[m] * money[c, m]
                continue
            changed = True
            same = 0
            while (
                same < n - lead and same < size[k] - lead
                and rows[c, n - 1 - same] == order[k, size[k] - 1 - same]
            ):  # fmt: skip
                same += 1
            total += _time(
                finish, cost, move, leave, k, rows[c], n, lead, same, size[k],
                time[k], at[k], paid[k], share, limit - total, money[c],
            )  # fmt: skip
            if total > limit:
                break
        if not changed or total > limit:
            continue
        for m in range(members):
            trial[m] += change
            for c in range(count):
                trial[m] += money[c, m]
        new = objective_in(trial, weight, worst)
        if step < stretch and leaver < 0 and new > value + 1e-9:
            worse += new - value
            worse_count += 1
        if new > value + slack:
            continue
        # ---- accept
        for c in range(count):
            k = crew[c]
            _take(
                finish, cost, move, leave, k, rows[c], sizes[c], first[c], order[k],
                time[k], at[k], paid[k],
            )  # fmt: skip
            size[k] = sizes[c]
        if enter >= 0:
            lefts -= 1
            left[enter] = left[lefts]
        if leaver >= 0:
            left[lefts] = leaver
            lefts += 1
        for m in range(members):
            member[m] = trial[m]
        value = new
        if value < best - 1e-9:
            best = value
            best_order[:] = order
            best_size[:] = size
    return best_order, best_size, best


@njit(cache=True, nogil=True)
def _fill(finish, cost, move, ready, leave, weight, order, size, fixed, wish):
    """Put each job of `wish` at its cheapest place by the mean; leave it where that is cheaper."""
    members, crews, jobs, _ = finish.shape
    time = np.zeros((crews, members, jobs + 1), np.int32)
    at = np.zeros((crews, members, jobs + 1), np.int32)
    paid = np.zeros((crews, members, jobs + 1), np.float64)
    row = np.zeros(jobs + 1, np.int64)
    block = np.zeros(1, np.int64)
    money = np.zeros(members, np.float64)
    for k in range(crews):
        time[k, :, 0] = ready[k]
        at[k, :, 0] = jobs
        _take(finish, cost, move, leave, k, order[k], size[k], 0, order[k], time[k], at[k], paid[k])
    for j in wish:
        block[0] = j
        best, best_crew, best_place = float(leave[j]), -1, -1
        for k in range(crews):
            n, before = size[k], 0.0
            for m in range(members):
                before += weight[m] * paid[k, m, n]
            for place in range(fixed[k], n + 1):
                row[:n] = order[k, :n]
                _put(row, n, block, 1, place, False)
                extra = _time(
                    finish, cost, move, leave, k, row, n + 1, place, n - place, n,
                    time[k], at[k], paid[k], weight, best + before, money,
                ) - before  # fmt: skip
                if extra < best:
                    best, best_crew, best_place = extra, k, place
        if best_crew >= 0:
            k = best_crew
            row[: size[k]] = order[k, : size[k]]
            size[k] = _put(row, size[k], block, 1, best_place, False)
            _take(
                finish, cost, move, leave, k, row, size[k], best_place, order[k],
                time[k], at[k], paid[k],
            )  # fmt: skip


def search(
    tables: CutTables, orders: Orders, *, moves: int, seed: int = 0, objective: str = MEAN,
    hot: float = HOT, cold: float = COLD,
) -> Orders:  # fmt: skip
    """Best orders met by annealing from `orders`, in a fixed number of moves.

    The jobs in no order are first put where they are cheapest, the dearest to leave first. Each
    of `orders` must begin with the crew's locked jobs.
    """
    order, size = _arrays(tables, orders)
    fixed = np.array([len(p) for p in tables.prefixes], np.int64)
    data = (tables.finish, tables.cost, tables.move, tables.ready, tables.leave_cost, tables.weight)
    ordered = {j for o in orders for j in o}
    wish = [j for j in np.argsort(-tables.leave_cost, kind="stable") if int(j) not in ordered]
    _fill(*data, order, size, fixed, np.array(wish, np.int64))
    worst = 1.0 if objective == MEAN else WORST
    order, size, _ = _anneal(
        *data, worst, order, size, fixed, int(moves), hot, cold, seed
    )  # fmt: skip
    return tuple(tuple(order[k, : size[k]].tolist()) for k in range(len(size)))


def _arrays(tables: CutTables, orders: Orders) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    _, crews, jobs, _ = tables.shape
    order = np.zeros((crews, jobs), np.int64)
    for k, row in enumerate(orders):
        order[k, : len(row)] = row
    return order, np.array([len(o) for o in orders], np.int64)


def price(tables: CutTables, orders: Sequence[Sequence[int]], *, objective: str = MEAN) -> Plan:
    """Plan of given orders, one sequence of jobs per crew, each timed in every member.

    Jobs in no order are left. Nothing is proved: bound None, status 'unproved'. Whether the
    orders keep to the locks is for `check` to say.

    Raises
    ------
    ValueError
        Where a job does not exist, is named twice, or there is not one order per crew.
    """
    members, crews, jobs, slots = tables.shape
    rows = tuple(tuple(int(j) for j in o) for o in orders)
    named = [j for o in rows for j in o]
    if len(rows) != crews or len(set(named)) < len(named) or not set(named) <= set(range(jobs)):
        raise ValueError(f"orders: want {crews} sequences of different jobs below {jobs}")
    start = np.full((members, jobs), -1, np.int32)
    finish = np.full((members, jobs), -1, np.int32)
    left = tuple(j for j in range(jobs) if j not in set(named))
    money = np.full(members, float(tables.leave_cost[list(left)].sum()))
    m = np.arange(members)
    for k, row in enumerate(rows):
        free, at = np.full(members, tables.ready[k]), np.full(members, jobs)
        for j in row:
            s = free + tables.move[k, at, j]
            end = np.where(s < slots, tables.finish[m, k, j, np.minimum(s, slots - 1)], -1)
            done = end >= 0
            paid = tables.cost[m, k, j, np.minimum(s, slots - 1)]
            money += np.where(done, paid, tables.leave_cost[j])
            start[done, j], finish[done, j] = s[done], end[done]
            free, at = np.where(done, end, free), np.where(done, j, at)
    return Plan(
        orders=rows, left=left, member_cost=money, bound=None, status=UNPROVED, start=start,
        finish=finish, cost=objective_of(money, tables.weight, objective=objective),
    )  # fmt: skip
