"""Pricing problem of one crew in one member, with payments by the place at which a job stands.

Label-setting dynamic programming over the states (level of work ordered before, slot, job last
done); see `common_walk` for places and payments, `pricing` for the problem without places.
"""

# mypy: disable-error-code="no-untyped-def"

from __future__ import annotations

from numba import njit

from scheduler.solver.bundle_model import NO_PATH
from scheduler.solver.pricing import first_least, insertion_sort, other_than, two_least


@njit(cache=True, nogil=True)
def reachable(finish, move, last, closing, level, begin, stand, row, who):
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
                if level[j] == 0:
                    continue
                u = min(w + level[j], row.shape[0] - 1)
                for i in range(jobs + 1):
                    if who[w, t, i] and i != j:
                        s = t + move[i, j]
                        if s <= last[j]:
                            who[u, finish[s, j], j] = True
                        else:
                            who[u, t, i] = True
    return count


@njit(cache=True, nogil=True)
def _follow(
    finish, move, near, last, done, level, row, begin, stand, v, nx, turn, job, at_level, regret
):
    """The cheapest walk, or at step `turn` the second-best job and from there the cheapest.

    Into regret (step,) goes what the second-best step costs more, where the walk turns nowhere.
    """
    i, t, w, z, before = stand, begin, 0, 0, -1
    r = row[0, begin]
    if turn < 0:
        regret[:] = NO_PATH
    while r >= 0 and z < job.size:
        after, other, known = other_than(nx[r, i, 0], nx[r, i, 1], before)
        if turn < 0 and known:
            regret[z] = v[r, i, 1] - v[r, i, 0]
        if z == turn:
            after = other
        if after < 0:
            break
        job[z], at_level[z] = after, w
        z += 1
        s = t + (move[i, after] if t <= done else near[after])
        w = min(w + level[after], row.shape[0] - 1)
        before = -1
        if s <= last[after]:
            t = finish[s, after]
            before = i if t <= done else -1
            i = after
        r = row[w, t]


@njit(nogil=True)
def _least(f, j, first, end, top, later, known):
    """The least of f (slot, job j, 0) from slot `first` to `end`, but not after `top`.

    `later` is that of a slot later, if `known`: mostly it need not be looked for again.
    """
    if known and first <= top and (end > top or f[end + 1, j, 0] > later or f[first, j, 0] < later):
        return min(later, f[first, j, 0])
    least = NO_PATH
    for s in range(first, min(end, top) + 1):
        least = min(least, f[s, j, 0])
    return least


@njit(cache=True, nogil=True)
def cheapest_walk(
    finish,
    cost,
    move,
    near,
    far,
    last,
    late,
    done,
    closing,
    level,
    row,
    who,
    begin,
    stand,
    leave,
    price,
    job,
    at_level,
    value,
    begins,
    at,
    v,
    nx,
    f,
    fn,
    need,
    key,
    rank,
    over,
    low,
    rest,
    regret,
):
    """Cheapest walk of one crew in one member, and walks that leave it once, cheapest first.

    Their jobs and the levels at which these come go into job and at_level (walk, step), -1 after
    the last, what they cost into value (walk,), `NO_PATH` where there are no more.

    finish, cost (slot, job); price (level, job) is what a job is paid for at a level; level (job,)
    of a job that may not be walked to is 0. The last level of `row` may be below that of all jobs:
    jobs no longer raise it, and must take time. v, nx (state, job last done, 2): cheapest rest and
    its next job, and the cheapest with another next job, so that no walk goes i, j, i.

    After slot `done`, when the plan is through, the last job is no longer told apart. What the rest
    of the order may gain by being passed over, where prices are above the cost of leaving, is
    `rest` (level,) at most: after slot `closing`, when no job can be begun, and at the last level.

    Into begins (row, job), row at[level] + slot, goes the cheapest walk from each level and slot
    that begins with the job, unless `at` is empty. From v on: working space.
    """
    jobs, top_level = finish.shape[1], row.shape[0] - 1
    reach, size, full = 0, 0, 0
    rest[:] = 0.0
    for j in range(jobs):
        if level[j] > 0:
            rank[size] = j
            size += 1
            full += level[j]
            reach = max(reach, far[j])
            gain = 0.0
            for w in range(top_level, -1, -1):
                gain = min(gain, leave[j] - price[w, j])
                rest[w] += gain
    for w in range(top_level, -1, -1):
        first, high = finish.shape[0] + 1, -1
        for t in range(finish.shape[0] + 1):
            if row[w, t] >= 0:
                first = min(first, t)
                high = t
        if high < 0:
            continue
        known = -1
        end = rest[w] if w == top_level else 0.0
        top = min(finish.shape[0] - 1, high + reach)
        need[first : top + 2] = False
        for t in range(first, high + 1):
            if row[w, t] >= 0:
                need[t : min(top, t + reach) + 1] = True
        for t in range(max(top, high), first - 1, -1):
            if t <= top and need[t]:
                for p in range(size):
                    j = rank[p]
                    f[t, j, 0] = NO_PATH
                    f[t, j, 1] = NO_PATH
                    u = min(w + level[j], top_level)
                    if t <= last[j] and w + level[j] <= full:
                        r = row[u, finish[t, j]]
                        paid = cost[t, j] - price[w, j]
                        if r >= 0:
                            f[t, j, 0] = paid + v[r, j, 0]
                            f[t, j, 1] = paid + v[r, j, 1]
                            fn[t, j] = nx[r, j, 0]
                        elif finish[t, j] > closing:
                            f[t, j, 0] = paid + rest[u]
                            f[t, j, 1] = paid + rest[u]
                            fn[t, j] = -1
            if at.size > 0 and t <= top:
                for j in range(jobs):
                    begins[at[w] + t, j] = f[t, j, 0] if need[t] else NO_PATH
            r = row[w, t]
            if r < 0:
                continue
            for p in range(size):
                j = rank[p]
                key[j] = _least(f, j, t + near[j], t + far[j], top, key[j], known == t + 1)
            known = t
            insertion_sort(rank, size, key)
            passed = 0  # jobs that would be passed over from here, and might gain by it
            for p in range(late.size):
                j = late[p]
                if t + reach <= last[j]:
                    break
                u = min(w + level[j], top_level)
                if level[j] == 0 or t + far[j] <= last[j] or u == w or w + level[j] > full:
                    continue
                if row[u, t] < 0:
                    continue
                if leave[j] - price[w, j] + low[row[u, t]] < 0.0:
                    over[passed] = j
                    passed += 1
            low[r] = end
            if t > done:
                na = -1
                if size > 0 and key[rank[0]] < end:
                    low[r], na = key[rank[0]], rank[0]
                for p in range(passed):
                    j = over[p]
                    x = leave[j] - price[w, j] + low[row[min(w + level[j], top_level), t]]
                    if x < low[r]:
                        low[r], na = x, j
                for i in range(jobs + 1):
                    v[r, i, 0], v[r, i, 1], nx[r, i, 0], nx[r, i, 1] = low[r], low[r], na, na
                continue
            for i in range(jobs + 1):
                if not who[w, t, i]:
                    continue
                a, b, na, nb = end, end, -1, -1
                for p in range(size):
                    j = rank[p]
                    if key[j] >= b:
                        break
                    s = t + move[i, j]
                    if j == i or s > top:
                        continue
                    x = f[s, j, 1] if fn[s, j] == i else f[s, j, 0]
                    a, b, na, nb = two_least(x, j, a, b, na, nb)
                for p in range(passed):
                    j = over[p]
                    if j == i or t + move[i, j] <= last[j]:
                        continue
                    x = leave[j] - price[w, j] + v[row[min(w + level[j], top_level), t], i, 0]
                    a, b, na, nb = two_least(x, j, a, b, na, nb)
                low[r] = min(low[r], a)
                v[r, i, 0], v[r, i, 1], nx[r, i, 0], nx[r, i, 1] = a, b, na, nb
    value[:], job[:] = NO_PATH, -1
    if row[0, begin] < 0:
        value[0] = rest[0]
        return
    value[0] = v[row[0, begin], stand, 0]
    for n in range(value.size):
        turn = -1
        if n > 0:
            turn = first_least(regret, job.shape[1])
            if regret[turn] == NO_PATH:
                break
            value[n] = value[0] + regret[turn]
            regret[turn] = NO_PATH
        _follow(
            finish,
            move,
            near,
            last,
            done,
            level,
            row,
            begin,
            stand,
            v,
            nx,
            turn,
            job[n],
            at_level[n],
            regret,
        )
