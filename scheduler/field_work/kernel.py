"""The simulator: crews move, wait, cut and haul, slot by slot, as a policy tells them.

A crew knows what can be cut now and nothing of the rest of its day. It decides when it is free,
when its field shuts or opens, and each morning:

- a crew that is free goes to the job that ranks first among those that can be cut now;
- a crew whose job shuts waits there for its `patience` while another job can be cut, and goes at
  once to a job that ranks before it;
- each morning a crew goes to the job that ranks first among those that can be cut now; where none
  can, to the first that may open today, so that it is there when the grain is dry;
- a crew that cuts goes on until its job is finished or shut, or for one that ranks before it and
  takes a move of at most `leave` minutes.

A job can be cut by a crew if it is open, a point takes its grain at its moisture, the grain is at
or below the start moisture (the stop moisture for a crew that cuts), and there is room on carts,
trucks or at the point. Grain goes to the open point with the least loss, else to the point that
opens first. Grain on carts and trucks stays there when a crew moves, until its point is open.
"""

# mypy: disable-error-code="no-untyped-def"

from __future__ import annotations

import numpy as np
from numba import njit

#: Most points above its start moisture from which grain may be dry enough within the day;
#: assumed: after rain grain loses about four points on the first good day.
PROSPECT_POINTS = 5.0
#: Penalty of a closed point for each slot until it opens, money per ha: more than any grain is
#: worth, so that an open point always comes before a closed one.
CLOSED_PENALTY = 1e9
#: Time, area and grain below which nothing is left, min, ha and t.
TINY = 1e-9


@njit(nogil=True)
def best_point(tables, state, policy, m, k, j, s, board):
    """Delivery point of job j's grain in slot s; -1 where the crew cannot cut.

    `board` is the grain on the crew's carts and trucks, t.
    """
    if not tables.open[m, j, s] or state.left[m, j] <= TINY:
        return -1
    if tables.cut_rate[k, tables.machines[k, s], j] <= 0.0:
        return -1
    later = 0 if tables.day[s] == tables.day[0] else 1
    at_work = state.cutting[m, k] and state.job[m, k] == j
    limit = policy.stop[later, j] if at_work else policy.start[later, j]
    if not tables.moisture[m, j, s] <= limit:  # unknown moisture is not dry
        return -1
    full = board >= tables.buffer[k, j] - TINY
    best, found = np.inf, -1
    for q in range(tables.loss.shape[2]):
        if not tables.accepts[k, j, q] or state.room[m, q] <= TINY:
            continue
        if full and not tables.point_open[q, s]:
            continue
        value = (
            tables.loss[m, j, q, s]
            + tables.delay[k, j, q]
            + CLOSED_PENALTY * tables.slots_to_open[q, s]
        )
        if value < best:  # False where NaN
            best, found = value, q
    return found


@njit(nogil=True)
def _taken(tables, state, m, k, j):
    """Whether another crew works on job j, which is not shared."""
    if tables.shared[j]:
        return False
    for c in range(tables.works.shape[0]):
        if c != k and state.job[m, c] == j:
            return True
    return False


@njit(nogil=True)
def _key(tables, state, policy, m, k, j, s):
    """Rank of job j for crew k where it stands: the least goes first."""
    key = policy.rank[k, j]
    if policy.move_weight > 0.0:
        key += policy.move_weight * tables.move[k, state.place[m, k], j]
    if policy.moisture_weight > 0.0:
        key += policy.moisture_weight * tables.moisture[m, j, s]
    return key


@njit(nogil=True)
def _first_cuttable(tables, state, policy, m, k, s, board):
    """Job that ranks first among those that crew k can cut in slot s; -1 where there is none."""
    listed = policy.move_weight <= 0.0 and policy.moisture_weight <= 0.0
    least, found = np.inf, -1
    for p in range(policy.order.shape[1]):
        j = policy.order[k, p]
        if state.left[m, j] <= TINY or not tables.open[m, j, s]:
            continue
        if not listed and _key(tables, state, policy, m, k, j, s) >= least:
            continue
        if _taken(tables, state, m, k, j):
            continue
        if best_point(tables, state, policy, m, k, j, s, board) < 0:
            continue
        if listed:
            return j
        least, found = _key(tables, state, policy, m, k, j, s), j
    return found


@njit(nogil=True)
def _first_prospect(tables, state, policy, m, k, s):
    """Job that ranks first among those that may open today; -1 where there is none."""
    listed = policy.move_weight <= 0.0 and policy.moisture_weight <= 0.0
    later = 0 if tables.day[s] == tables.day[0] else 1
    least, found = np.inf, -1
    for p in range(policy.order.shape[1]):
        j = policy.order[k, p]
        if state.left[m, j] <= TINY or not tables.prospect[m, j, s]:
            continue
        if not tables.moisture[m, j, s] <= policy.start[later, j] + PROSPECT_POINTS:
            continue
        if tables.cut_rate[k, :, j].max() <= 0.0 or _taken(tables, state, m, k, j):
            continue
        if listed:
            return j
        key = _key(tables, state, policy, m, k, j, s)
        if key < least:
            least, found = key, j
    return found


@njit(nogil=True)
def _go(tables, state, m, k, j):
    """Send crew k to job j."""
    state.job[m, k] = j
    state.waited[m, k] = 0.0
    state.cutting[m, k] = False
    if state.place[m, k] != j:
        state.moving[m, k] = tables.move[k, state.place[m, k], j]
        state.place[m, k] = j


@njit(nogil=True)
def _decide(tables, state, policy, m, k, s, board):
    """Choose the job that crew k works on in slot s; returns whether it can be cut now."""
    j = state.job[m, k]
    morning = state.today[m, k] != tables.day[s]
    state.today[m, k] = tables.day[s]
    can = j >= 0 and best_point(tables, state, policy, m, k, j, s, board) >= 0
    if can and not morning and policy.leave[k] <= 0.0:
        return True
    best = _first_cuttable(tables, state, policy, m, k, s, board)
    if best < 0:
        if morning and not can:
            best = _first_prospect(tables, state, policy, m, k, s)
            if best >= 0 and best != j:
                _go(tables, state, m, k, best)
        return can
    if best == j or j < 0:
        if best != j:
            _go(tables, state, m, k, best)
        return True
    before = _key(tables, state, policy, m, k, best, s) < _key(tables, state, policy, m, k, j, s)
    if can:
        near = tables.move[k, state.place[m, k], best] <= policy.leave[k]
        if before and (morning or near):
            _go(tables, state, m, k, best)
        return True
    if before or morning or state.waited[m, k] >= policy.patience[k]:
        _go(tables, state, m, k, best)
        return True
    state.waited[m, k] += tables.slot_min
    return False


@njit(nogil=True)
def _haul(tables, state, m, k, s):
    """Haul the grain on board to the points that are open; returns the share of the slot left."""
    share = 1.0
    for q in range(tables.point_open.shape[0]):
        held = state.held[m, k, q]
        if held > 0.0 and tables.point_open[q, s] and share > 0.0:
            rate = state.held_rate[m, k, q] * tables.slot_min / 60.0
            if rate > 0.0:
                out = min(held, rate * share)
                state.held[m, k, q] = held - out
                share -= out / rate
    return max(0.0, share)


@njit(nogil=True)
def _cut(tables, state, policy, log, m, k, s, minutes, share, entry):
    """Cut the crew's job for at most `minutes`; returns the minutes and the truck share used."""
    j = state.job[m, k]
    board = state.held[m, k].sum()
    q = best_point(tables, state, policy, m, k, j, s, board)
    if q < 0:
        return 0.0, 0.0
    up = tables.machines[k, s]
    rate = tables.cut_rate[k, up, j] * (tables.edge_factor if tables.edge[m, j, s] else 1.0)
    per_ha = tables.yield_t[j]
    haul = tables.haul_rate[k, up, j, q] * tables.slot_min / 60.0
    direct = haul * share if tables.point_open[q, s] else 0.0
    standing = state.left[m, j] * per_ha
    most = min(rate * minutes / 60.0, max(0.0, tables.buffer[k, j] - board) + direct)
    tonnes = min(min(most, standing), state.room[m, q] / tables.room_factor[j])
    if tonnes <= TINY:
        return 0.0, 0.0
    area = state.left[m, j] if tonnes >= standing - TINY else tonnes / per_ha
    rut = tables.rut[j] if tables.edge[m, j, s] else 0.0
    state.lost[m] += area * (tables.loss[m, j, q, s] + rut)
    state.left[m, j] -= area
    state.room[m, q] -= tonnes * tables.room_factor[j]
    hauled = min(tonnes, direct)
    state.held[m, k, q] += tonnes - hauled
    state.held_rate[m, k, q] = tables.haul_rate[k, up, j, q]
    used = minutes if tonnes >= most - TINY else tonnes / rate * 60.0
    if log.job.shape[0] > 0:
        log.job[m, k, s, entry] = j
        log.area[m, k, s, entry] = area
        log.point[m, k, s, entry] = q
    if state.left[m, j] <= TINY:
        state.left[m, j] = 0.0
        used = min(minutes, tonnes / rate * 60.0)
        state.ended[m, j] = s + 1.0 - (minutes - used) / tables.slot_min
        state.job[m, k] = -1
    return used, hauled / haul if haul > 0.0 else 0.0


@njit(nogil=True)
def _crew_slot(tables, state, policy, log, m, k, s, share):
    """Crew k works through slot s."""
    minutes = tables.slot_min
    idle = 0.0
    for entry in range(log.entries):
        if state.moving[m, k] > 0.0:
            if not tables.road[s]:
                return
            done = min(minutes, state.moving[m, k])
            state.moving[m, k] -= done
            minutes -= done
            if state.moving[m, k] > TINY or minutes <= TINY:
                return
            state.moving[m, k] = 0.0
        if not _decide(tables, state, policy, m, k, s, state.held[m, k].sum()):
            state.cutting[m, k] = False
            return
        if state.moving[m, k] > 0.0:
            continue
        used, part = _cut(tables, state, policy, log, m, k, s, minutes, share, entry)
        state.cutting[m, k] = used > 0.0
        share = max(0.0, share - part)
        minutes -= used
        if minutes <= TINY or used <= 0.0 or state.job[m, k] >= 0:
            return


@njit(cache=True, nogil=True)
def run_slots(tables, state, policy, log, first, stop):
    """Play a policy from slot `first` to before slot `stop` in every member; changes `state`.

    Fills `log` where it has members.
    """
    members, crews = state.job.shape
    for m in range(members):
        for s in range(first, stop):
            for k in range(crews):
                share = _haul(tables, state, m, k, s)
                if tables.works[k, s]:
                    _crew_slot(tables, state, policy, log, m, k, s, share)
