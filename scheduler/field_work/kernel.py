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

A crew can cut a job if the job is open, a point takes its grain at its moisture, the grain is at
or below the start moisture (the stop moisture for a crew that cuts), and there is room on carts,
trucks or at the point. Grain goes to the open point with the least loss, else to the point that
opens first. Grain on carts and trucks stays there when a crew moves, until its point is open.
"""

# mypy: disable-error-code="no-untyped-def"

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

#: Most points above its start moisture from which grain may be dry enough within the day;
#: assumed: after rain grain loses about four points on the first good day.
PROSPECT_POINTS = 5.0
#: Penalty of a closed point for each slot until it opens, money per ha: more than any grain is
#: worth, so that an open point always comes before a closed one.
CLOSED_PENALTY = 1e9
#: Share of the cutting rate left in the toughest crop that is cut at all; assumed, half.
LEAST_SHARE = 0.5
#: Fewest points of moisture that a dryer is charged with. Assumed, because augers and the warming
#: of grain limit its rate where little water is to go. It decides how much grain just above its
#: base a dryer takes.
LEAST_POINTS = 2.0
#: Area, grain and time below which nothing is left: ha, t, min.
TINY = 1e-9


class PointChoice(NamedTuple):
    """Arrays that decide where grain goes; shapes and units as in `WorkTables`."""

    loss: NDArray[np.float32]
    delay: NDArray[np.float64]
    accepts: NDArray[np.bool_]
    slots_to_open: NDArray[np.int64]


@njit(nogil=True)
def _room_for(room, queue, holding, wet, dry_limit):
    """Tonnes of wheat that a point takes of grain: its room, of wet grain that at the dryer.

    Only numbers are passed, because named tuples of arrays are slow to pass in compiled code.
    """
    return min(room, holding - queue) if wet > dry_limit else room


@njit(nogil=True, inline="always")
def _point_with_room(tables, state, k, m, s, j, room):
    """`_best_point` with the room that is left; `room` (point,) is scratch."""
    for q in range(room.size):
        room[q] = _room_for(
            state.room[m, q],
            state.queue[m, q],
            tables.holding[q],
            tables.wet[m, s, j],
            tables.dry_limit[j, q],
        )
    return _best_point(tables, room, k, m, s, j)


@njit(nogil=True, inline="always")
def _best_point(tables, room, k, m, s, j):
    """The open point with room and the least loss and time, else the one that opens first.

    `tables` hold the arrays of `PointChoice`. -1 where no point with room (point,) takes the grain.
    """
    best, found = np.inf, -1
    for q in range(room.size):
        if tables.accepts[k, j, q] and room[q] > TINY:
            value = tables.loss[m, s, j, q] + tables.delay[k, j, q]
            value += CLOSED_PENALTY * tables.slots_to_open[q, s]
            if value < best:  # False where NaN
                best, found = value, q
    return found


@njit(cache=True, nogil=True)
def fill_points(choice, room, point):
    """Fill `point` (crew, member, slot, job) with the best point at a room (point,)."""
    crews, members, slots, jobs = point.shape
    for k in range(crews):
        for m in range(members):
            for s in range(slots):
                for j in range(jobs):
                    point[k, m, s, j] = _best_point(choice, room, k, m, s, j)


@njit(nogil=True)
def tough_share(wet: Any, tough_from: Any, slower: float) -> Any:
    """Share of the cutting rate left at a moisture, percent; never below `LEAST_SHARE`.

    A number, or an array where called as `tough_share.py_func`.
    """
    return np.maximum(LEAST_SHARE, 1.0 - slower * np.maximum(0.0, wet - tough_from))


@njit(nogil=True)
def mean_haul(before, rate, more, more_rate):
    """t/h at which a mix of two amounts of grain, t, is hauled: their harmonic mean."""
    if before > 0.0 and rate > 0.0 and more_rate > 0.0:
        return (before + more) / (before / rate + more / more_rate)
    return more_rate


@njit(cache=True, nogil=True)
def run_slots(tables, state, policy, log, slots, of_members):
    """Play a policy in the members and slots of two ranges (first, stop); changes `state`.

    Fills `log` where it has members.
    """
    wet, prospect, edge, loss, point = (
        tables.wet,
        tables.prospect,
        tables.edge,
        tables.loss,
        tables.point,
    )
    works, machines, cut_rate, haul_rate = (
        tables.works,
        tables.machines,
        tables.cut_rate,
        tables.haul_rate,
    )
    left, place, job, moving, held = state.left, state.place, state.job, state.moving, state.held
    order, rank, day = policy.order, policy.rank, tables.day
    move, slot_min = tables.move, tables.slot_min
    slot_h = slot_min / 60.0
    crews, jobs, points = job.shape[1], left.shape[1], held.shape[2]
    room_left, queue = state.room, state.queue
    holding, dry_limit, dried = tables.holding, tables.dry_limit, tables.dried
    room = np.empty(points)  # scratch of `_point_with_room`
    listed = policy.move_weight <= 0.0 and policy.moisture_weight <= 0.0
    for m in range(of_members[0], of_members[1]):
        standing_jobs = (left[m] > TINY).sum()
        for s in range(slots[0], slots[1]):
            if standing_jobs == 0 and (held[m] <= 0.0).all():
                break  # all is cut and hauled
            later = 0 if day[s] == day[0] else 1
            for q in range(points):
                if queue[m, q] > 0.0:
                    rest = max(0.0, 1.0 - dried[q, s] / state.to_dry[m, q])
                    queue[m, q] *= rest
                    state.to_dry[m, q] *= rest
            for k in range(crews):
                up = machines[k, s]
                # haul what is on carts and trucks to the points that are open
                share, board = 1.0, 0.0
                for q in range(points):
                    if held[m, k, q] > 0.0:
                        rate = state.held_rate[m, k, q] * tables.trucks_up[k, up, q] * slot_h
                        if tables.point_open[q, s] and rate > 0.0 and share > 0.0:
                            out = min(held[m, k, q], rate * share)
                            held[m, k, q] -= out
                            share = max(0.0, share - out / rate)
                        board += held[m, k, q]
                if not works[k, s]:
                    state.cutting[m, k] = False
                    continue
                minutes = slot_min
                for entry in range(log.entries):
                    # move
                    if moving[m, k] > 0.0:
                        if not tables.road[s]:
                            break
                        gone = min(minutes, moving[m, k])
                        moving[m, k] -= gone
                        minutes -= gone
                        if moving[m, k] > TINY or minutes <= TINY:
                            break
                        moving[m, k] = 0.0
                    # decide: the job at hand first
                    if job[m, k] >= 0 and left[m, job[m, k]] <= TINY:
                        job[m, k] = -1  # another crew has finished it
                    here = job[m, k]
                    morning = state.today[m, k] != day[s]
                    state.today[m, k] = day[s]
                    can, here_q, best_q = False, -1, -1
                    if here >= 0:
                        level = policy.stop if state.cutting[m, k] else policy.start
                        if wet[m, s, here] <= level[later, here] and cut_rate[k, up, here] > 0.0:
                            here_q = point[k, m, s, here]
                            if here_q >= 0 and (
                                _room_for(
                                    room_left[m, here_q],
                                    queue[m, here_q],
                                    holding[here_q],
                                    wet[m, s, here],
                                    dry_limit[here, here_q],
                                )
                                <= TINY
                            ):
                                here_q = _point_with_room(tables, state, k, m, s, here, room)
                            can = here_q >= 0 and (
                                tables.point_open[here_q, s]
                                or board < tables.buffer[k, here] - TINY
                            )
                    if not (can and not morning and policy.leave[k] <= 0.0):
                        # the job that ranks first among those that can be cut, and, in the
                        # morning, among those that may open today
                        best, best_key, hope, hope_key = -1, np.inf, -1, np.inf
                        for p in range(jobs):
                            j = order[k, p]
                            if left[m, j] <= TINY:
                                continue
                            opens = wet[m, s, j] <= policy.start[later, j]
                            may = (
                                morning
                                and prospect[m, s, j] <= policy.start[later, j] + PROSPECT_POINTS
                                and tables.accepts[k, j].any()
                            )
                            if not opens and not may:
                                continue
                            if not tables.shared[j]:
                                taken = False
                                for c in range(crews):
                                    taken = taken or (c != k and job[m, c] == j)
                                if taken:
                                    continue
                            key = rank[k, j]
                            if not listed:
                                key += policy.move_weight * move[k, place[m, k], j]
                                key += policy.moisture_weight * prospect[m, s, j]
                            if opens and key < best_key and cut_rate[k, up, j] > 0.0:
                                q = point[k, m, s, j]
                                if (
                                    q >= 0
                                    and _room_for(
                                        room_left[m, q],
                                        queue[m, q],
                                        holding[q],
                                        wet[m, s, j],
                                        dry_limit[j, q],
                                    )
                                    <= TINY
                                ):
                                    q = _point_with_room(tables, state, k, m, s, j, room)
                                if q >= 0 and (
                                    tables.point_open[q, s] or board < tables.buffer[k, j] - TINY
                                ):
                                    best, best_key, best_q = j, key, q
                                    if listed:
                                        break
                            if may and key < hope_key:
                                hope, hope_key = j, key
                        to = here
                        if best < 0:
                            if morning and not can and hope >= 0:
                                to = hope
                        elif here < 0:
                            to = best
                        elif best != here:
                            here_key = rank[k, here]
                            if not listed:
                                here_key += policy.move_weight * move[k, place[m, k], here]
                                here_key += policy.moisture_weight * prospect[m, s, here]
                            if can:
                                near = move[k, place[m, k], best] <= policy.leave[k]
                                if best_key < here_key and (morning or near):
                                    to = best
                            elif (
                                best_key < here_key
                                or morning
                                or state.waited[m, k] >= policy.patience[k]
                            ):
                                to = best
                            else:
                                state.waited[m, k] += slot_min
                        if to != here:
                            job[m, k] = to
                            state.waited[m, k] = 0.0
                            state.cutting[m, k] = False
                            if place[m, k] != to:
                                moving[m, k] = move[k, place[m, k], to]
                                place[m, k] = to
                            if moving[m, k] > 0.0:
                                continue
                            can, here_q = to == best, best_q
                        if not can:
                            state.cutting[m, k] = False
                            break
                    # cut
                    j, q = job[m, k], here_q
                    rate = tables.edge_rate[k, up, j] if edge[m, s, j] else cut_rate[k, up, j]
                    rate *= tough_share(wet[m, s, j], tables.tough_from[j], tables.tough_slower)
                    haul = haul_rate[k, up, j, q] * slot_h
                    direct = haul * share if tables.point_open[q, s] else 0.0
                    by_rate = rate * minutes / 60.0
                    most = min(by_rate, max(0.0, tables.buffer[k, j] - board) + direct)
                    standing = left[m, j] * tables.yield_t[j]
                    takes = _room_for(
                        room_left[m, q], queue[m, q], holding[q], wet[m, s, j], dry_limit[j, q]
                    )
                    takes /= tables.room_factor[j]
                    tonnes = min(min(most, standing), takes)
                    state.cutting[m, k] = tonnes > TINY
                    if tonnes <= TINY:
                        break
                    state.waited[m, k] = 0.0
                    done = tonnes >= standing - TINY
                    area = left[m, j] if done else tonnes / tables.yield_t[j]
                    state.lost[m] += area * loss[m, s, j, q]
                    left[m, j] -= area
                    room_left[m, q] -= tonnes * tables.room_factor[j]
                    if wet[m, s, j] > dry_limit[j, q]:
                        volume = tonnes * tables.room_factor[j]
                        queue[m, q] += volume
                        points_out = max(wet[m, s, j] - dry_limit[j, q], LEAST_POINTS)
                        state.to_dry[m, q] += volume * points_out
                    hauled = min(tonnes, direct)
                    if tonnes > hauled:  # what is on board keeps the haul that it needs
                        kept = tonnes - hauled
                        state.held_rate[m, k, q] = mean_haul(
                            held[m, k, q], state.held_rate[m, k, q], kept, tables.full_haul[k, j, q]
                        )
                        held[m, k, q] += kept
                        board += kept
                    if haul > 0.0:
                        share = max(0.0, share - hauled / haul)
                    if log.job.shape[0] > 0:
                        log.job[m, k, s, entry] = j
                        log.area[m, k, s, entry] = area
                        log.point[m, k, s, entry] = q
                    if not done:
                        break
                    left[m, j] = 0.0
                    standing_jobs -= 1
                    minutes -= min(minutes, tonnes / rate * 60.0)
                    state.ended[m, j] = s + 1.0 - minutes / slot_min
                    job[m, k] = -1
                    if minutes <= TINY:
                        break
