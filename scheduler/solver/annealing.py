"""Search over orders: compiled annealing, every order timed separately in every member.

A move changes the orders of one or two crews. Only the changed part is timed again, from the
first changed place on, and in each member only until the crew is back in step with what it did
before. The number of moves is fixed and the generator is our own, so a seed names one plan.
"""

# mypy: disable-error-code="no-untyped-def"

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from scheduler.solver.evaluation import evaluate
from scheduler.solver.tables import MEAN, WORST_SHARE, CutTables, Orders, Plan

#: Longest run of jobs moved at once; assumed, because longer ones hardly ever paid on trial farms.
BLOCK = 6
#: Start and end temperature as shares of the mean size of a move's worsening; assumed, tuned on
#: farms and single-machine sets made for the purpose, not on the published ones.
HOT, COLD = 0.05, 0.0006
#: A move is given up where, looked at after so many members each, its mean change is above what is
#: taken by so many standard errors; assumed: halved the time with thirty members, plans on the
#: whole as cheap.
LOOK, SURE = 4, 2.0
# A number written out in a call has a type of its own, for which the callee is compiled once more:
# hence `np.int64(1)` here and there. Parts carry no cache, because they are stored with `anneal`.


@njit(nogil=True)
def _draw(state):
    """Next of a xorshift64* stream, in [0, 1)."""
    x = state[0]
    x ^= x >> np.uint64(12)
    x ^= x << np.uint64(25)
    x ^= x >> np.uint64(27)
    state[0] = x
    return float((x * np.uint64(2685821657736338717)) >> np.uint64(11)) / 9007199254740992.0


@njit(nogil=True)
def _time(finish, cost, move, leave, k, m, row, size, first, same, old, time, at, paid):
    """Money of crew k in member m for the order `row`.

    It equals the crew's present order, of `old` jobs, up to place `first` and in its last
    `same` places.
    """
    slots = finish.shape[3]
    t, i, money = time[k, m, first], at[k, m, first], paid[k, m, first]
    for p in range(first, size):
        if size - p <= same:
            q = old - (size - p)
            if time[k, m, q] == t and at[k, m, q] == i:
                return money + paid[k, m, old] - paid[k, m, q]
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
def _take(finish, cost, move, leave, k, row, size, first, order, time, at, paid):
    """Make `row` the present order of crew k, with the states that go with it."""
    members, slots = finish.shape[0], finish.shape[3]
    for p in range(first, size):
        order[k, p] = row[p]
    for m in range(members):
        for p in range(first, size):
            t, i, j = time[k, m, p], at[k, m, p], row[p]
            s = t + move[k, i, j]
            end = finish[m, k, j, s] if s < slots else -1
            if end >= 0:
                time[k, m, p + 1] = end
                at[k, m, p + 1] = j
                paid[k, m, p + 1] = paid[k, m, p] + cost[m, k, j, s]
            else:
                time[k, m, p + 1] = t
                at[k, m, p + 1] = i
                paid[k, m, p + 1] = paid[k, m, p] + leave[j]


@njit(nogil=True)
def objective_in(member, weight, worst, used):
    """Weighted mean of the members, or of the worst share of them by weight where worst < 1.

    `used` (member,) bool is working space.
    """
    if worst >= 1.0:
        total = 0.0
        for m in range(member.size):
            total += weight[m] * member[m]
        return total
    for m in range(member.size):
        used[m] = False
    room, total = worst, 0.0
    while room > 1e-12:
        top = -1
        for m in range(member.size):
            if not used[m] and (top < 0 or member[m] > member[top]):
                top = m
        if top < 0:
            break
        used[top] = True
        part = weight[top] if weight[top] < room else room
        total += part * member[top]
        room -= part
    return total / (worst - room)


@njit(nogil=True)
def _put(row, size, block, width, to):
    """Insert a block of `width` jobs into a row at place `to`; returns the new size."""
    for p in range(size - 1, to - 1, -1):
        row[p + width] = row[p]
    for p in range(width):
        row[to + p] = block[p]
    return size + width


@njit(nogil=True)
def _cut(row, size, start, width, block):
    """Take `width` jobs out of a row from place `start` into `block`; returns the new size."""
    for p in range(width):
        block[p] = row[start + p]
    for p in range(start, size - width):
        row[p] = row[p + width]
    return size - width


@njit(nogil=True)
def _turn(row, start, width):
    """Turn round the `width` jobs of a row from place `start`."""
    for p in range(width // 2):
        a, b = start + p, start + width - 1 - p
        row[a], row[b] = row[b], row[a]


@njit(nogil=True)
def _fill(finish, cost, move, leave, weight, order, size, fixed, wish, time, at, paid, row,
          block):  # fmt: skip
    """Put each job of `wish` at its cheapest place by the mean; leave it where that is cheaper."""
    members, crews, one = finish.shape[0], finish.shape[1], np.int64(1)
    for w in range(wish.size):
        block[0] = wish[w]
        best, best_crew, best_place = float(leave[wish[w]]), crews, fixed[0]
        for k in range(crews):
            n, before = size[k], 0.0
            for m in range(members):
                before += weight[m] * paid[k, m, n]
            for place in range(fixed[k], n + 1):
                for p in range(n):
                    row[p] = order[k, p]
                _put(row, n, block, one, place)
                extra = -before
                for m in range(members):
                    extra += weight[m] * _time(
                        finish, cost, move, leave, k, m, row, n + 1, place, n - place, n, time,
                        at, paid,
                    )  # fmt: skip
                    if extra >= best:
                        break
                if extra < best:
                    best, best_crew, best_place = extra, k, place
        if best_crew < crews:
            k = best_crew
            for p in range(size[k]):
                row[p] = order[k, p]
            size[k] = _put(row, size[k], block, one, best_place)
            _take(finish, cost, move, leave, k, row, size[k], best_place, order, time, at, paid)


@njit(nogil=True)
def _propose(state, crew, size, fixed, order, rows, sizes, left, lefts, block, swap):
    """Draw a move into `rows`: the new orders of crew[0] and, if another, crew[1].

    Kinds: a left job comes in (alone or for another), a job is left, a run of jobs moves, two
    jobs change places, a run is turned round, two crews change their tails. Returns how many
    rows changed (0: nothing to do); swap[0] is the place in `left` that comes in, swap[1] the
    job that is left, -1 if none.
    """
    a, b = int(_draw(state) * size.size), int(_draw(state) * size.size)
    kind = _draw(state)
    crew[0], crew[1], swap[0], swap[1] = a, b, -1, -1
    room_a, room_b = size[a] - fixed[a], size[b] - fixed[b]
    count = 1 if a == b else 2
    for c in range(count):
        sizes[c] = size[crew[c]]
        for p in range(sizes[c]):
            rows[c, p] = order[crew[c], p]
    last, one = count - 1, np.int64(1)
    p = fixed[a] + int(_draw(state) * room_a)
    if lefts > 0 and kind < 0.08:
        swap[0] = int(_draw(state) * lefts)
        block[0] = left[swap[0]]
        if room_a > 0 and _draw(state) < 0.3:
            swap[1] = rows[0, p]
            rows[0, p] = block[0]
        else:
            p = fixed[a] + int(_draw(state) * (room_a + 1))
            sizes[0] = _put(rows[0], sizes[0], block, one, p)
        return 1
    if room_a == 0:
        return 0
    if kind < 0.10:
        swap[1] = rows[0, p]
        sizes[0] = _cut(rows[0], sizes[0], p, one, block)
        return 1
    if kind < 0.55:
        width = 1
        if _draw(state) < 0.4:
            width = 1 + int(_draw(state) * (BLOCK if room_a > BLOCK else room_a))
            p = fixed[a] + int(_draw(state) * (room_a - width + 1))
        sizes[0] = _cut(rows[0], sizes[0], p, width, block)
        to = fixed[b] + int(_draw(state) * (sizes[last] - fixed[b] + 1))
        sizes[last] = _put(rows[last], sizes[last], block, width, to)
        if width > 1 and _draw(state) < 0.3:
            _turn(rows[last], to, width)
    elif kind < 0.85 or (a == b and room_a < 3):
        if room_b == 0:
            return 0
        q = fixed[b] + int(_draw(state) * room_b)
        block[0] = rows[0, p]
        rows[0, p] = rows[last, q]
        rows[last, q] = block[0]
    elif a == b:
        width = 2 + int(_draw(state) * (6 if room_a > 6 else room_a - 1))
        p = fixed[a] + int(_draw(state) * (room_a - width + 1))
        _turn(rows[0], p, width)
    else:
        p = fixed[a] + int(_draw(state) * (room_a + 1))
        q = fixed[b] + int(_draw(state) * (room_b + 1))
        for d in range(size[b] - q):
            rows[0, p + d] = order[b, q + d]
        for d in range(size[a] - p):
            rows[1, q + d] = order[a, p + d]
        sizes[0], sizes[1] = p + size[b] - q, q + size[a] - p
    return count


@njit(nogil=True)
def _reprice(finish, cost, move, leave, count, crew, size, sizes, order, rows, first, same, time,
             at, paid, share, most, out):  # fmt: skip
    """Time the changed rows into out (row, member); whether they may cost at most `most` more.

    By `share`; given up where the members timed so far, were the others like them, make it
    unlikely. False too where nothing changed.
    """
    changed = False
    for c in range(count):
        k, n = crew[c], sizes[c]
        lead, tail = 0, 0
        while lead < n and lead < size[k] and rows[c, lead] == order[k, lead]:
            lead += 1
        if lead < n or n < size[k]:
            changed = True
        short = n if n < size[k] else size[k]
        while tail < short - lead and rows[c, n - 1 - tail] == order[k, size[k] - 1 - tail]:
            tail += 1
        first[c], same[c] = lead, tail
    if not changed:
        return False
    done, more, squares = 0.0, 0.0, 0.0
    for m in range(finish.shape[0]):
        change = 0.0
        for c in range(count):
            k = crew[c]
            out[c, m] = _time(
                finish, cost, move, leave, k, m, rows[c], sizes[c], first[c], same[c], size[k],
                time, at, paid,
            )  # fmt: skip
            change += out[c, m] - paid[k, m, size[k]]
        done += share[m]
        more += share[m] * change
        squares += share[m] * change * change
        if m % LOOK == LOOK - 1 and done > 0.0:
            mean = more / done
            error = np.sqrt(max(0.0, squares / done - mean * mean) * max(0.0, 1.0 - done) / (m + 1))
            if mean - SURE * error > most:
                return False
    return more <= most


@njit(cache=True, nogil=True)
def anneal(finish, cost, move, leave, weight, share, worst, moves, hot, cold, state, order, size,
           fixed, wish, best_order, best_size, time, at, paid, left, rows, block, places, out,
           member, trial, used):  # fmt: skip
    """Anneal orders; best_order (crew, job) and best_size (crew,) take the best met.

    order, size: where to start; `wish` the jobs to put in first. time, at, paid (crew, member,
    place): states after each place of each crew's present order, given at place 0. The others
    are working space. The scale of temperatures is the mean worsening by a move over a first
    stretch in which nothing is worsened.
    """
    members, crews, jobs = finish.shape[0], finish.shape[1], finish.shape[2]
    crew, sizes, first, same, swap = places[0], places[1], places[2], places[3], places[4]
    for _ in range(8):  # the first of near seeds are alike
        _draw(state)
    for k in range(crews):
        _take(
            finish, cost, move, leave, k, order[k], size[k], np.int64(0), order, time, at, paid
        )  # fmt: skip
    _fill(
        finish, cost, move, leave, weight, order, size, fixed, wish, time, at, paid, rows[0], block
    )  # fmt: skip
    for j in range(jobs):
        left[j] = 1
    for k in range(crews):
        for p in range(size[k]):
            left[order[k, p]] = 0
    lefts, out_cost = np.int64(0), 0.0
    for j in range(jobs):
        if left[j] == 1:
            left[lefts] = j
            lefts += 1
            out_cost += leave[j]
    for m in range(members):
        member[m] = out_cost
        for k in range(crews):
            member[m] += paid[k, m, size[k]]
    value = objective_in(member, weight, worst, used)
    best = np.inf
    stretch = moves // 50 if moves < 200_000 else 4000
    worse, worse_count, heat, cooling = 0.0, 0, 0.0, 1.0
    for step in range(moves + 1):
        if value < best - 1e-9:
            best = value
            for k in range(crews):
                best_size[k] = size[k]
                for p in range(size[k]):
                    best_order[k, p] = order[k, p]
        if step == stretch and worse_count > 0:
            heat = hot * worse / worse_count
            cooling = (cold / hot) ** (1.0 / (moves - stretch + 1))
        heat *= cooling
        count = _propose(
            state, crew, size, fixed, order, rows, sizes, left, lefts, block, swap
        )  # fmt: skip
        if count == 0:
            continue
        change = 0.0
        if swap[0] >= 0:
            change -= leave[left[swap[0]]]
        if swap[1] >= 0:
            change += leave[swap[1]]
        slack = 0.0 if heat <= 0.0 else -heat * np.log(1.0 - _draw(state))
        for m in range(members):
            trial[m] = member[m] + change
            for c in range(count):
                trial[m] -= paid[crew[c], m, size[crew[c]]]
        most = np.inf if step < stretch or worst < 1.0 else slack - change
        if not _reprice(
            finish, cost, move, leave, count, crew, size, sizes, order, rows, first, same, time,
            at, paid, share, most, out,
        ):  # fmt: skip
            continue
        for m in range(members):
            for c in range(count):
                trial[m] += out[c, m]
        new = objective_in(trial, weight, worst, used)
        if new > value + slack:
            if step < stretch and swap[1] < 0:
                worse += new - value
                worse_count += 1
            continue
        for c in range(count):
            _take(
                finish, cost, move, leave, crew[c], rows[c], sizes[c], first[c], order, time, at,
                paid,
            )  # fmt: skip
            size[crew[c]] = sizes[c]
        if swap[0] >= 0:
            lefts -= 1
            left[swap[0]] = left[lefts]
        if swap[1] >= 0:
            left[lefts] = swap[1]
            lefts += 1
        for m in range(members):
            member[m] = trial[m]
        value = new


def search(
    tables: CutTables, orders: Orders, *, moves: int, seed: int = 0, objective: str = MEAN,
    hot: float = HOT, cold: float = COLD,
) -> Orders:  # fmt: skip
    """Best orders met by annealing from `orders`, in a fixed number of moves.

    The jobs in no order are first put where they are cheapest, the dearest to leave first. Each
    of `orders` must begin with the crew's locked jobs.
    """
    members, crews, jobs, _ = tables.shape
    order, size = _arrays(tables, orders)
    best, best_size = order.copy(), size.copy()
    fixed = np.array([len(p) for p in tables.prefixes], np.int64)
    ordered = {j for o in orders for j in o}
    wish = [j for j in np.argsort(-tables.leave_cost, kind="stable") if int(j) not in ordered]
    time = np.zeros((crews, members, jobs + 1), np.int32)
    time[:, :, 0] = tables.ready[:, None]
    at = np.full_like(time, jobs)
    worst = 1.0 if objective == MEAN else WORST_SHARE
    anneal(
        tables.finish, tables.cost, tables.move, tables.leave_cost, tables.weight,
        tables.weight * (worst >= 1.0), worst, int(moves), hot, cold, _seeded(seed), order, size,
        fixed, np.array(wish, np.int64), best, best_size, time, at, np.zeros(time.shape),
        np.zeros(jobs, np.int64), np.zeros((2, jobs + 1), np.int64), np.zeros(jobs, np.int64),
        np.zeros((5, 2), np.int64), np.zeros((2, members)), np.zeros(members), np.zeros(members),
        np.zeros(members, np.bool_),
    )  # fmt: skip
    return tuple(tuple(best[k, : best_size[k]].tolist()) for k in range(crews))


def _seeded(seed: int) -> NDArray[np.uint64]:
    """State of the generator: a whole number spread over 64 bits, never 0."""
    return np.array([((2 * seed + 1) * 0x9E3779B97F4A7C15) % 2**64], np.uint64)


def _arrays(tables: CutTables, orders: Orders) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    _, crews, jobs, _ = tables.shape
    order = np.zeros((crews, jobs), np.int64)
    for k, row in enumerate(orders):
        order[k, : len(row)] = row
    return order, np.array([len(o) for o in orders], np.int64)


#: Moves of a short search; assumed.
SHORT_SEARCH_MOVES = 20_000


def short_search(
    tables: CutTables,
    *,
    seed: int,
    objective: str = "mean",
    moves: int = SHORT_SEARCH_MOVES,
    orders: Orders | None = None,
) -> Plan:
    """A good plan without a proof, from a short search."""
    first = tables.prefixes if orders is None else orders
    found = search(tables, first, moves=moves, seed=seed, objective=objective)
    return evaluate(tables, found, objective=objective)
