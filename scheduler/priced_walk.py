"""One crew's cheapest walk in one member, where jobs are paid for by the place at which they come.

A walk is a path through the states (level of work ordered before, slot, job last done); see
`common_walk` for what the places are and what the payments are for.
"""

# mypy: disable-error-code="no-untyped-def"

from __future__ import annotations

from numba import njit

from scheduler.bound import by_key, cheaper, fork, least_of
from scheduler.walk_model import NEVER


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
def _follow(finish, move, near, last, done, level, row, begin, stand, v1, v2, n1, n2, turn, job,
            at_level, regret):  # fmt: skip
    """The cheapest walk, or at step `turn` the second-best job and from there the cheapest.

    Into regret (step,) goes what the second-best step costs more, where the walk turns nowhere.
    """
    i, t, w, z, before = stand, begin, 0, 0, -1
    r = row[0, begin]
    if turn < 0:
        regret[:] = NEVER
    while r >= 0:
        after, other, known = fork(n1[r, i], n2[r, i], before)
        if turn < 0 and known:
            regret[z] = v2[r, i] - v1[r, i]
        if z == turn:
            after = other
        if after < 0:
            break
        job[z], at_level[z] = after, w
        z += 1
        s = t + (move[i, after] if t <= done else near[after])
        w += level[after]
        before = -1
        if s <= last[after]:
            t = finish[s, after]
            before = i if t <= done else -1
            i = after
        r = row[w, t]


@njit(cache=True, nogil=True)
def cheapest_walk(finish, cost, move, near, far, last, late, done, closing, level, row, who,
                  begin, stand, leave, price, job, at_level, value, begins, at, v1, v2, n1, n2,
                  f1, f2, fn, need, key, rank, over, low, rest, regret):  # fmt: skip
    """Cheapest walk of one crew in one member, and walks that leave it once, cheapest first.

    Their jobs and the levels at which these come go into job and at_level (walk, step), -1 after
    the last, what they cost into value (walk,), `NEVER` where there are no more.

    finish, cost (slot, job); price (level, job) is what a job is paid for at a level; level (job,)
    of a job that may not be walked to is 0. v1, n1 (state, job last done): cheapest rest and its
    next job, v2, n2 the cheapest with another next job, so that no walk goes i, j, i.

    After slot `done`, when the plan is through, the last job is no longer told apart. After slot
    `closing` no job can be begun: what the rest of the order may gain by being passed over,
    where prices are above the cost of leaving, is `rest` (level,) at most.

    Into begins (row, job), row at[level] + slot, goes the cheapest walk from each level and slot
    that begins with the job, for as many levels as `at` has. From v1 on: working space.
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
        for s in range(top, first - 1, -1):
            if not need[s]:
                continue
            for p in range(size):
                j = rank[p]
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
        if w < at.size:
            for s in range(first, top + 1):
                for j in range(jobs):
                    begins[at[w] + s, j] = f1[s, j] if need[s] else NEVER
        for t in range(high, first - 1, -1):
            r = row[w, t]
            if r < 0:
                continue
            for p in range(size):
                j = rank[p]
                key[j] = NEVER
                for s in range(t + near[j], min(t + far[j], top) + 1):
                    key[j] = min(key[j], f1[s, j])
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
                    a, b, na, nb = cheaper(x, j, a, b, na, nb)
                for p in range(passed):
                    j = over[p]
                    if j == i or t + move[i, j] <= last[j]:
                        continue
                    x = leave[j] - price[w, j] + v1[row[w + level[j], t], i]
                    a, b, na, nb = cheaper(x, j, a, b, na, nb)
                low[r] = min(low[r], a)
                v1[r, i], v2[r, i], n1[r, i], n2[r, i] = a, b, na, nb
    value[:], job[:] = NEVER, -1
    if row[0, begin] < 0:
        value[0] = rest[0]
        return
    value[0] = v1[row[0, begin], stand]
    for n in range(value.size):
        turn = -1
        if n > 0:
            turn = least_of(regret, job.shape[1])
            if regret[turn] == NEVER:
                break
            value[n] = value[0] + regret[turn]
            regret[turn] = NEVER
        _follow(finish, move, near, last, done, level, row, begin, stand, v1, v2, n1, n2, turn,
                job[n], at_level[n], regret)  # fmt: skip
