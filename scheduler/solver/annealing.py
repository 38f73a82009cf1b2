"""Simulated annealing over orders; every order is timed separately in every member.

Moves change the orders of one or two crews. Only the part of an order that changes is timed again,
and in each member only until the crew is back at a time and place of its present order. The number
of moves is fixed and the random numbers are our own, so a seed names one plan.

References
----------
Kirkpatrick, Gelatt and Vecchi 1983, Science 220, 671-680 (simulated annealing).
Vigna 2016, ACM Transactions on Mathematical Software 42(4), 30 (xorshift64* random numbers).
"""

# mypy: disable-error-code="no-untyped-def"

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from scheduler.solver.evaluation import evaluate, weighted_objective
from scheduler.solver.settings import DEFAULTS, Settings
from scheduler.solver.tables import (
    MEAN,
    WORST_SHARE,
    CutTables,
    Float,
    Int,
    Orders,
    Plan,
)

# numba compiles a callee once more for a literal number, which has a type of its own: hence
# `np.int64(1)` here and there. Only `anneal` is cached: its parts are stored with it.


class Schedule(NamedTuple):
    """Length and temperatures of a search; see `Settings`."""

    moves: int
    start_temperature: float
    end_temperature: float
    block_jobs: int
    test_members: int
    test_errors: float


class Goal(NamedTuple):
    """Objective of a search.

    worst_share: 1.0 for the mean over members. test_weight (member,): weights by which a move is
    given up early, all 0 where it never is. `used` (member,) is workspace.
    """

    worst_share: float
    test_weight: Float
    used: NDArray[np.bool_]


class CrewOrders(NamedTuple):
    """Orders of all crews: jobs (crew, job), size (crew,); the first `locked` (crew,) jobs stay."""

    jobs: Int
    size: Int
    locked: Int


class Timeline(NamedTuple):
    """State of each crew after each place of its order, in each member; (crew, member, place).

    time: slot; last: job last done; cost: cost so far. Place 0 is the state before the first job.
    """

    time: NDArray[np.int32]
    last: NDArray[np.int32]
    cost: Float


class Move(NamedTuple):
    """Proposed change of the orders of one crew or two.

    crew (2,): the crews. row (2, job + 1), size (2,): their new orders. head, tail (2,): number of
    first and last jobs that stay. swap (2,): place in the list of left jobs of the job that comes
    in, and the job that goes out; -1 for none. cost (2, member): cost of the new orders.
    """

    crew: Int
    row: Int
    size: Int
    head: Int
    tail: Int
    swap: Int
    cost: Float


class Workspace(NamedTuple):
    """Workspace of `anneal`: left, block (job,), member_cost, trial (member,)."""

    left: Int
    block: Int
    member_cost: Float
    trial: Float


@njit(nogil=True)
def _random(state):
    """Next of a xorshift64* stream, in [0, 1)."""
    x = state[0]
    x ^= x >> np.uint64(12)
    x ^= x << np.uint64(25)
    x ^= x >> np.uint64(27)
    state[0] = x
    return float((x * np.uint64(2685821657736338717)) >> np.uint64(11)) / 9007199254740992.0


@njit(nogil=True)
def _order_cost(tables, timeline, k, m, row, size, head, tail, old_size):
    """Cost of crew k in member m for the order `row`.

    The first `head` and the last `tail` jobs are those of the crew's present order, of `old_size`
    jobs.
    """
    finish, cost, move, leave = tables.finish, tables.cost, tables.move, tables.leave_cost
    time, last, paid = timeline.time, timeline.last, timeline.cost
    slots = finish.shape[3]
    t, i, money = time[k, m, head], last[k, m, head], paid[k, m, head]
    for p in range(head, size):
        if size - p <= tail:
            q = old_size - (size - p)
            if time[k, m, q] == t and last[k, m, q] == i:
                return money + paid[k, m, old_size] - paid[k, m, q]
        j = row[p]
        s = t + move[k, i, j]
        end = finish[m, k, j, s] if s < slots else -1
        if end >= 0:
            money += cost[m, k, j, s]
            t = end
            i = j
        else:
            money += leave[j]
    return money


@njit(nogil=True)
def _accept(tables, orders, timeline, k, row, size, head):
    """Make `row` the order of crew k, and bring the timeline up to date from place `head`."""
    finish, cost, move, leave = tables.finish, tables.cost, tables.move, tables.leave_cost
    time, last, paid = timeline.time, timeline.last, timeline.cost
    members, slots = finish.shape[0], finish.shape[3]
    for p in range(head, size):
        orders.jobs[k, p] = row[p]
    for m in range(members):
        for p in range(head, size):
            t, i, j = time[k, m, p], last[k, m, p], row[p]
            s = t + move[k, i, j]
            end = finish[m, k, j, s] if s < slots else -1
            if end >= 0:
                time[k, m, p + 1] = end
                last[k, m, p + 1] = j
                paid[k, m, p + 1] = paid[k, m, p] + cost[m, k, j, s]
            else:
                time[k, m, p + 1] = t
                last[k, m, p + 1] = i
                paid[k, m, p + 1] = paid[k, m, p] + leave[j]


@njit(nogil=True)
def _insert(row, size, block, width, place):
    """Insert a block of `width` jobs into a row at a place; returns the new size."""
    for p in range(size - 1, place - 1, -1):
        row[p + width] = row[p]
    for p in range(width):
        row[place + p] = block[p]
    return size + width


@njit(nogil=True)
def _remove(row, size, place, width, block):
    """Move `width` jobs of a row from a place into `block`; returns the new size."""
    for p in range(width):
        block[p] = row[place + p]
    for p in range(place, size - width):
        row[p] = row[p + width]
    return size - width


@njit(nogil=True)
def _reverse(row, place, width):
    """Reverse the `width` jobs of a row from a place on."""
    for p in range(width // 2):
        a, b = place + p, place + width - 1 - p
        row[a], row[b] = row[b], row[a]


@njit(nogil=True)
def _insert_cheapest(tables, orders, timeline, wish, row, block):
    """Put each job of `wish` at the place that costs least in the mean, or leave it if cheaper."""
    weight, leave, size, locked = tables.weight, tables.leave_cost, orders.size, orders.locked
    members, crews, one = tables.finish.shape[0], tables.finish.shape[1], np.int64(1)
    for w in range(wish.size):
        block[0] = wish[w]
        best, best_crew, best_place = float(leave[wish[w]]), crews, locked[0]
        for k in range(crews):
            n, before = size[k], 0.0
            for m in range(members):
                before += weight[m] * timeline.cost[k, m, n]
            for place in range(locked[k], n + 1):
                for p in range(n):
                    row[p] = orders.jobs[k, p]
                _insert(row, n, block, one, place)
                extra = -before
                for m in range(members):
                    extra += weight[m] * _order_cost(
                        tables, timeline, k, m, row, n + 1, place, n - place, n
                    )
                    if extra >= best:
                        break
                if extra < best:
                    best, best_crew, best_place = extra, k, place
        if best_crew < crews:
            k = best_crew
            for p in range(size[k]):
                row[p] = orders.jobs[k, p]
            size[k] = _insert(row, size[k], block, one, best_place)
            _accept(tables, orders, timeline, k, row, size[k], best_place)


@njit(nogil=True)
def _propose(state, orders, move, left, left_count, block, block_jobs):
    """Draw a move; returns how many orders it changes, 0 where there is nothing to change.

    Kinds: a left job comes in (alone or for another), a job is left, a block of jobs moves, two
    jobs change places, a block is reversed, two crews exchange the tails of their orders.
    """
    jobs, size, locked = orders.jobs, orders.size, orders.locked
    crew, rows, sizes, swap = move.crew, move.row, move.size, move.swap
    a, b = int(_random(state) * size.size), int(_random(state) * size.size)
    kind = _random(state)
    crew[0], crew[1], swap[0], swap[1] = a, b, -1, -1
    free_a, free_b = size[a] - locked[a], size[b] - locked[b]
    count = 1 if a == b else 2
    for c in range(count):
        sizes[c] = size[crew[c]]
        for p in range(sizes[c]):
            rows[c, p] = jobs[crew[c], p]
    last, one = count - 1, np.int64(1)
    p = locked[a] + int(_random(state) * free_a)
    if left_count > 0 and kind < 0.08:
        swap[0] = int(_random(state) * left_count)
        block[0] = left[swap[0]]
        if free_a > 0 and _random(state) < 0.3:
            swap[1] = rows[0, p]
            rows[0, p] = block[0]
        else:
            p = locked[a] + int(_random(state) * (free_a + 1))
            sizes[0] = _insert(rows[0], sizes[0], block, one, p)
        return 1
    if free_a == 0:
        return 0
    if kind < 0.10:
        swap[1] = rows[0, p]
        sizes[0] = _remove(rows[0], sizes[0], p, one, block)
        return 1
    if kind < 0.55:
        width = 1
        if _random(state) < 0.4:
            width = 1 + int(_random(state) * (block_jobs if free_a > block_jobs else free_a))
            p = locked[a] + int(_random(state) * (free_a - width + 1))
        sizes[0] = _remove(rows[0], sizes[0], p, width, block)
        to = locked[b] + int(_random(state) * (sizes[last] - locked[b] + 1))
        sizes[last] = _insert(rows[last], sizes[last], block, width, to)
        if width > 1 and _random(state) < 0.3:
            _reverse(rows[last], to, width)
    elif kind < 0.85 or (a == b and free_a < 3):
        if free_b == 0:
            return 0
        q = locked[b] + int(_random(state) * free_b)
        block[0] = rows[0, p]
        rows[0, p] = rows[last, q]
        rows[last, q] = block[0]
    elif a == b:
        width = 2 + int(_random(state) * (6 if free_a > 6 else free_a - 1))
        p = locked[a] + int(_random(state) * (free_a - width + 1))
        _reverse(rows[0], p, width)
    else:
        p = locked[a] + int(_random(state) * (free_a + 1))
        q = locked[b] + int(_random(state) * (free_b + 1))
        for d in range(size[b] - q):
            rows[0, p + d] = jobs[b, q + d]
        for d in range(size[a] - p):
            rows[1, q + d] = jobs[a, p + d]
        sizes[0], sizes[1] = p + size[b] - q, q + size[a] - p
    return count


@njit(nogil=True)
def _compare(orders, move, count):
    """Find how many first and last jobs of each new order stay; whether any order changes."""
    changed, jobs, row = False, orders.jobs, move.row
    for c in range(count):
        k, n = move.crew[c], move.size[c]
        old = orders.size[k]
        head, tail = 0, 0
        while head < n and head < old and row[c, head] == jobs[k, head]:
            head += 1
        if head < n or n < old:
            changed = True
        short = n if n < old else old
        while tail < short - head and row[c, n - 1 - tail] == jobs[k, old - 1 - tail]:
            tail += 1
        move.head[c], move.tail[c] = head, tail
    return changed


@njit(nogil=True)
def _evaluate_move(tables, orders, timeline, move, count, weight, most, schedule):
    """Cost the new orders in every member; whether they may add at most `most` to the mean.

    Sequential test: after every `test_members` members, a move whose mean change so far exceeds
    `most` by `test_errors` standard errors is given up.
    """
    crew, row, size, head, tail = move.crew, move.row, move.size, move.head, move.tail
    old_size, paid, out = orders.size, timeline.cost, move.cost
    done, total, squares, since = 0.0, 0.0, 0.0, 0
    for m in range(tables.finish.shape[0]):
        change = 0.0
        for c in range(count):
            k = crew[c]
            out[c, m] = _order_cost(
                tables, timeline, k, m, row[c], size[c], head[c], tail[c], old_size[k]
            )
            change += out[c, m] - paid[k, m, old_size[k]]
        done += weight[m]
        total += weight[m] * change
        squares += weight[m] * change * change
        since += 1
        if since == schedule.test_members:
            since = 0
            if done > 0.0:
                mean = total / done
                spread = max(0.0, squares / done - mean * mean)
                error = np.sqrt(spread * max(0.0, 1.0 - done) / (m + 1))
                if mean - schedule.test_errors * error > most:
                    return False
    return total <= most


@njit(cache=True, nogil=True)
def anneal(tables, schedule, goal, state, orders, wish, best, timeline, move, space):
    """Anneal `orders` in place; the orders `best` take the best orders met.

    Parameters
    ----------
    tables : TableArrays. schedule : Schedule. goal : Goal.
    state : (1,) of the random numbers.
    orders : CrewOrders to start from; `wish` (job,) names the jobs to insert first.
    best : CrewOrders. timeline : Timeline, given at place 0. move : Move. space : Workspace.

    The scale of temperatures is the mean worsening by a move over a first stretch of moves in
    which none is accepted that worsens the orders.
    """
    weight, leave = tables.weight, tables.leave_cost
    members, crews, jobs = tables.finish.shape[0], tables.finish.shape[1], tables.finish.shape[2]
    size, paid = orders.size, timeline.cost
    left, member_cost, trial = space.left, space.member_cost, space.trial
    moves, crew, swap = schedule.moves, move.crew, move.swap
    for _ in range(8):  # the first numbers of neighbouring seeds are alike
        _random(state)
    for k in range(crews):
        _accept(tables, orders, timeline, k, orders.jobs[k], size[k], np.int64(0))
    _insert_cheapest(tables, orders, timeline, wish, move.row[0], space.block)
    for j in range(jobs):
        left[j] = 1
    for k in range(crews):
        for p in range(size[k]):
            left[orders.jobs[k, p]] = 0
    left_count, left_cost = np.int64(0), 0.0
    for j in range(jobs):
        if left[j] == 1:
            left[left_count] = j
            left_count += 1
            left_cost += leave[j]
    for m in range(members):
        member_cost[m] = left_cost
        for k in range(crews):
            member_cost[m] += paid[k, m, size[k]]
    value = weighted_objective(member_cost, weight, goal.worst_share, goal.used)
    best_value = np.inf
    stretch = moves // 50 if moves < 200_000 else 4000
    worse, worse_count, heat, cooling = 0.0, 0, 0.0, 1.0
    for step in range(moves + 1):
        if value < best_value - 1e-9:
            best_value = value
            for k in range(crews):
                best.size[k] = size[k]
                for p in range(size[k]):
                    best.jobs[k, p] = orders.jobs[k, p]
        if step == stretch and worse_count > 0:
            heat = schedule.start_temperature * worse / worse_count
            ratio = schedule.end_temperature / schedule.start_temperature
            cooling = ratio ** (1.0 / (moves - stretch + 1))
        heat *= cooling
        count = _propose(state, orders, move, left, left_count, space.block, schedule.block_jobs)
        if count == 0:
            continue
        change = 0.0
        if swap[0] >= 0:
            change -= leave[left[swap[0]]]
        if swap[1] >= 0:
            change += leave[swap[1]]
        slack = 0.0 if heat <= 0.0 else -heat * np.log(1.0 - _random(state))
        for m in range(members):
            trial[m] = member_cost[m] + change
            for c in range(count):
                trial[m] -= paid[crew[c], m, size[crew[c]]]
        most = np.inf if step < stretch or goal.worst_share < 1.0 else slack - change
        if not _compare(orders, move, count) or not _evaluate_move(
            tables, orders, timeline, move, count, goal.test_weight, most, schedule
        ):
            continue
        for m in range(members):
            for c in range(count):
                trial[m] += move.cost[c, m]
        new = weighted_objective(trial, weight, goal.worst_share, goal.used)
        if new > value + slack:
            if step < stretch and swap[1] < 0:
                worse += new - value
                worse_count += 1
            continue
        for c in range(count):
            k = crew[c]
            _accept(tables, orders, timeline, k, move.row[c], move.size[c], move.head[c])
            size[k] = move.size[c]
        if swap[0] >= 0:
            left_count -= 1
            left[swap[0]] = left[left_count]
        if swap[1] >= 0:
            left[left_count] = swap[1]
            left_count += 1
        for m in range(members):
            member_cost[m] = trial[m]
        value = new


def search(
    tables: CutTables,
    orders: Orders,
    *,
    moves: int,
    seed: int = 0,
    objective: str = MEAN,
    settings: Settings = DEFAULTS,
) -> Orders:
    """Best orders met by simulated annealing in a fixed number of moves.

    Parameters
    ----------
    orders : where to start; each must begin with the crew's locked jobs. Jobs in no order are
        first inserted where they cost least, those that cost most to leave first.
    """
    members, crews, jobs, _ = tables.shape
    start = _crew_orders(tables, orders)
    best = CrewOrders(jobs=start.jobs.copy(), size=start.size.copy(), locked=start.locked)
    ordered = {j for o in orders for j in o}
    wish = [j for j in np.argsort(-tables.leave_cost, kind="stable") if int(j) not in ordered]
    time = np.zeros((crews, members, jobs + 1), np.int32)
    time[:, :, 0] = tables.ready[:, None]
    last = np.full_like(time, jobs)
    worst_share = 1.0 if objective == MEAN else WORST_SHARE
    anneal(
        tables.arrays,
        Schedule(
            moves=int(moves),
            start_temperature=settings.start_temperature,
            end_temperature=settings.end_temperature,
            block_jobs=settings.block_jobs,
            test_members=settings.test_members,
            test_errors=settings.test_errors,
        ),
        Goal(worst_share, tables.weight * (worst_share >= 1.0), np.zeros(members, np.bool_)),
        _seeded(seed),
        start,
        np.array(wish, np.int64),
        best,
        Timeline(time=time, last=last, cost=np.zeros(time.shape)),
        _empty_move(members, jobs),
        Workspace(
            left=np.zeros(jobs, np.int64),
            block=np.zeros(jobs, np.int64),
            member_cost=np.zeros(members),
            trial=np.zeros(members),
        ),
    )
    return tuple(tuple(best.jobs[k, : best.size[k]].tolist()) for k in range(crews))


def _seeded(seed: int) -> NDArray[np.uint64]:
    """State of the random numbers: a whole number spread over 64 bits, never 0."""
    return np.array([((2 * seed + 1) * 0x9E3779B97F4A7C15) % 2**64], np.uint64)


def _crew_orders(tables: CutTables, orders: Orders) -> CrewOrders:
    """Orders as compiled code takes them."""
    _, crews, jobs, _ = tables.shape
    rows = np.zeros((crews, jobs), np.int64)
    for k, row in enumerate(orders):
        rows[k, : len(row)] = row
    size = np.array([len(o) for o in orders], np.int64)
    return CrewOrders(rows, size, np.array([len(p) for p in tables.prefixes], np.int64))


def _empty_move(members: int, jobs: int) -> Move:
    """Room for a proposed change."""
    crew, size, head, tail, swap = (np.zeros(2, np.int64) for _ in range(5))
    return Move(
        crew=crew,
        row=np.zeros((2, jobs + 1), np.int64),
        size=size,
        head=head,
        tail=tail,
        swap=swap,
        cost=np.zeros((2, members)),
    )


def short_search(
    tables: CutTables,
    *,
    seed: int,
    objective: str = MEAN,
    moves: int = DEFAULTS.short_search_moves,
    orders: Orders | None = None,
) -> Plan:
    """Plan without a bound, from one short search; `orders` to start from, none by default."""
    start = tables.prefixes if orders is None else orders
    found = search(tables, start, moves=moves, seed=seed, objective=objective)
    return evaluate(tables, found, objective=objective)
