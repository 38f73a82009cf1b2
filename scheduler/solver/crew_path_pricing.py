"""Pricing problem of the floor: the path of one crew through the horizon that gains most.

Time goes in steps of about a minute over the slots in which the crew works. A place is a group of
jobs with moves of less than a step between them. At a place the crew cuts the job that gains most
after all prices, slot by slot. A move takes its steps from slots with an open road.

Moves are rounded down to whole steps and shortened to the quickest way, so the simulator's crews
are no faster. The gain of a step is the same throughout a slot. A path that gains most therefore
leaves or arrives at the boundary of a slot on each of its moves, and the dynamic program looks at
no other moves.
"""

# mypy: disable-error-code="no-untyped-def"

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit

from scheduler.field_work.tables import Bool, Float, Int, WorkTables

#: Value of a path that does not exist.
NO_PATH = -1e300


class CrewNetwork(NamedTuple):
    """Time, places and moves of one crew, the same in every member.

    Attributes
    ----------
    slot : (work slot,), slots in which the crew works.
    day_start : (day + 1,), first work slot of each day, and the number of work slots.
    longest_day : most work slots in a day.
    steps : steps in a slot.
    road : (work slot,), moves are allowed.
    road_before : (work slot + 1,), work slots with an open road before this one.
    road_slot : (road slot,), work slots with an open road.
    place : (job,), place of each job.
    move : (place + 1, place), steps; the last row from where the crew stands at the first slot.
    truck : (work slot, job, point), slots of hauling for a ha.
    """

    slot: Int
    day_start: Int
    longest_day: int
    steps: int
    road: Bool
    road_before: Int
    road_slot: Int
    place: Int
    move: Int
    truck: Float


class CrewWeather(NamedTuple):
    """Cutting of one crew in one member.

    Attributes
    ----------
    rate : (work slot, job), ha in a step; 0 where the job cannot be cut.
    loss : (work slot, job, point), money per ha; infinite where the load is not taken.
    """

    rate: Float
    loss: Float


class Prices(NamedTuple):
    """Lagrange multipliers as one crew meets them.

    Attributes
    ----------
    area : (job,), value of a ha cut.
    room : (job, point), price of the room that a ha takes.
    truck : (work slot, point), price of a slot of hauling.
    """

    area: Float
    room: Float
    truck: Float


class DayPaths(NamedTuple):
    """Paths of a crew through single days; a path that goes on begins where another ends.

    Attributes
    ----------
    gain : gain of the path through all days that gains most.
    day : (path,), day of each path.
    begin, end : (path,), state of the crew as the day begins and ends: the place where it is; from
        the number of places on, a code of where and when the move under way ends.
    cost : (path,), loss on what is cut.
    cut : (path, job), ha.
    room : (path, point), room that the grain takes.
    hauling : (path, slot of the day, point), slots of hauling.
    """

    gain: float
    day: Int
    begin: Int
    end: Int
    cost: Float
    cut: Float
    room: Float
    hauling: Float


def crew_network(tables: WorkTables, k: int) -> CrewNetwork:
    """Time, places and moves of crew k."""
    slot = np.flatnonzero(tables.works[k])
    road = tables.road[slot]
    steps = max(1, int(tables.slot_min))
    whole = np.floor(tables.move[k] / (tables.slot_min / steps) + 1e-9)
    place, move = _places(np.minimum(whole, 1 + road.sum() * steps).astype(np.int64))
    day_start = np.append(np.flatnonzero(np.diff(tables.day[slot], prepend=-1)), slot.size)
    haul = tables.haul_rate[k][tables.machines[k, slot]] * (tables.slot_min / 60.0)
    return CrewNetwork(
        slot=slot,
        day_start=day_start,
        longest_day=int(np.diff(day_start).max(initial=0)),
        steps=steps,
        road=road,
        road_before=np.concatenate([[0], np.cumsum(road)]),
        road_slot=np.flatnonzero(road),
        place=place,
        move=move,
        truck=np.divide(tables.yield_t[:, None], haul, out=np.zeros_like(haul), where=haul > 0.0),
    )


def _places(steps: Int) -> tuple[Int, Int]:
    """Place of each job, and the quickest moves between places."""
    jobs = steps.shape[1]
    place = np.arange(jobs)
    for i, j in zip(*np.nonzero(np.minimum(steps[:-1], steps[:-1].T) == 0), strict=True):
        place[place == place[j]] = place[i]
    _, place = np.unique(place, return_inverse=True)
    places = int(place.max()) + 1
    move = np.full((places + 1, places), steps.max(), np.int64)
    np.minimum.at(move, (np.append(place, places)[:, None], place[None, :]), steps)
    for via in range(places):
        np.minimum(move, move[:, via : via + 1] + move[via], out=move)
    np.fill_diagonal(move, max(1, move.max()))  # nobody gains by a move to where they stand
    return place.astype(np.int64), move


def crew_weather(tables: WorkTables, network: CrewNetwork, k: int, m: int) -> CrewWeather:
    """Cutting of crew k in member m."""
    slot = network.slot
    loss = tables.loss[m, slot].astype(np.float64)
    loss[~(np.isfinite(loss) & tables.accepts[k])] = np.inf
    rate = tables.cut_rate[k][tables.machines[k, slot]] / tables.yield_t
    rate = rate * np.where(tables.edge[m, slot], tables.edge_factor, 1.0)
    can = np.isfinite(tables.wet[m, slot]) & np.isfinite(loss).any(axis=2)
    return CrewWeather(np.where(can, rate, 0.0) * (tables.slot_min / 60.0 / network.steps), loss)


@njit(nogil=True)
def _best_gain(network, weather, prices):
    """Gain of a step at each place, (work slot, place), and the job and point that give it."""
    slots, jobs, points = weather.loss.shape
    gain = np.zeros((slots, network.move.shape[1]))
    job, point = np.full(gain.shape, -1), np.zeros(gain.shape, np.int64)
    for w in range(slots):
        for j in range(jobs):
            if weather.rate[w, j] <= 0.0:
                continue
            best, found = 0.0, -1
            for q in range(points):
                price = prices.room[j, q] + network.truck[w, j, q] * prices.truck[w, q]
                value = prices.area[j] - weather.loss[w, j, q] - price
                if value > best:
                    best, found = value, q
            i = network.place[j]
            if found >= 0 and weather.rate[w, j] * best > gain[w, i]:
                gain[w, i] = weather.rate[w, j] * best
                job[w, i] = j
                point[w, i] = found
    return gain, (job, point)


@njit(nogil=True, fastmath={"nnan", "ninf", "nsz", "reassoc"})
def _fill_value(network, gain, value):
    """Fill `value` (road step, place): the most that a crew there still gains."""
    steps, move = network.steps, network.move
    slots, places = gain.shape
    flat = value.ravel()
    last = network.road_before[slots] * steps
    value[last] = 0.0
    value[last + 1 :] = NO_PATH
    late = np.empty((steps, places))
    early_end = move[:places] * places + np.arange(places)
    wait = -move[:places] % steps
    late_end = early_end + wait * places
    for w in range(slots - 1, -1, -1):
        r = network.road_before[w] * steps
        if not network.road[w]:
            for i in range(places):
                value[r, i] += steps * gain[w, i]
            continue
        late[:] = NO_PATH
        for i in range(places):
            for j in range(places):
                at = flat[r * places + late_end[i, j]]
                late[wait[i, j], i] = max(late[wait[i, j], i], at)
        for u in range(steps - 1, 0, -1):
            for i in range(places):
                value[r + u, i] = max(gain[w, i] + value[r + u + 1, i], late[u, i])
        for i in range(places):
            best = gain[w, i] + value[r + 1, i]
            for j in range(places):
                best = max(best, flat[r * places + early_end[i, j]])
            value[r, i] = best


@njit(nogil=True)
def _best_move(network, value, r, i):
    """Place to move to from place i at road step r, and what the crew then gains."""
    best, found = NO_PATH, 0
    for j in range(value.shape[1]):
        at = value[r + network.move[i, j], j]
        if at > best:
            best, found = at, j
    return best, found


@njit(nogil=True)
def _arrival(network, r):
    """Work slot and step in it at which a move ends after `r` road steps."""
    u = r % network.steps
    if r == 0:
        return 0, 0
    w = network.road_slot[(r - 1) // network.steps]
    return (w, u) if u > 0 else (w + 1, 0)


@njit(nogil=True)
def _follow(network, gain, value, day, state, present):
    """Fill `present` (slot of the day, place), the steps at each place; returns the end state."""
    steps, places = network.steps, gain.shape[1]
    start, stop = network.day_start[day], network.day_start[day + 1]
    w, u, i = start, 0, state
    if state >= places:
        i = state % places
        w, u = _arrival(network, state // places - 1)
    while w < stop:
        r = network.road_before[w] * steps + u
        if not network.road[w]:
            present[w - start, i] += steps
            w, u = w + 1, 0
            continue
        stay = gain[w, i] + value[r + 1, i]
        stays, to = stay >= value[r, i], i
        if u == 0 or not stays:  # from a boundary, `value` may hold an earlier slot without road
            best, to = _best_move(network, value, r, i)
            stays = stay >= best
        if stays:
            present[w - start, i] += 1
            u += 1
            if u == steps:
                w, u = w + 1, 0
        else:
            r += network.move[i, to]
            i = to
            w, u = _arrival(network, r)
            state = places * (1 + r) + i
    return i if w == stop and u == 0 else state


@njit(nogil=True)
def _day_paths(network, weather, room_use, best, choice, day, begin, end, present):
    """Loss, area, room and hauling of paths; `choice` is (job, point) by work slot and place."""
    job, point = choice
    count, length, places = present.shape
    jobs, points = weather.loss.shape[1:]
    cost, cut, room = np.zeros(count), np.zeros((count, jobs)), np.zeros((count, points))
    hauling = np.zeros((count, length, points))
    for n in range(count):
        for s in range(length):
            w = min(network.day_start[day[n]] + s, job.shape[0] - 1)  # none present after the day
            for i in range(places):
                if present[n, s, i] > 0 and job[w, i] >= 0:
                    j, q = job[w, i], point[w, i]
                    area = present[n, s, i] * weather.rate[w, j]
                    cut[n, j] += area
                    cost[n] += area * weather.loss[w, j, q]
                    room[n, q] += area * room_use[j]
                    hauling[n, s, q] += area * network.truck[w, j, q]
    return DayPaths(best, day, begin, end, cost, cut, room, hauling)


@njit(cache=True, nogil=True)
def best_paths(network, weather, prices, room_use, known):
    """Path of the crew that gains most at these prices, day by day, as `DayPaths`.

    `room_use` (job,) is the room that a ha takes. `known` (state, 2) holds days and states from
    which to follow the best path through the day as well.
    """
    gain, choice = _best_gain(network, weather, prices)
    slots, places = gain.shape
    road_steps = network.road_before[slots] * network.steps
    value = np.empty((road_steps + network.steps + network.move.max() + 1, places))
    _fill_value(network, gain, value)
    best, first = 0.0, 0
    for j in range(places):
        at = value[network.move[places, j], j]
        if at > best:
            best, first = at, places * (1 + network.move[places, j]) + j
    days = network.day_start.size - 1
    count = days + len(known) if best > 0.0 else 0
    day, begin = np.zeros(count, np.int64), np.zeros(count, np.int64)
    end = np.zeros(count, np.int64)
    present = np.zeros((count, network.longest_day, places), np.int16)
    for n in range(count):
        if n < days:
            day[n], begin[n] = n, end[n - 1] if n > 0 else first
        else:
            day[n], begin[n] = known[n - days, 0], known[n - days, 1]
        end[n] = _follow(network, gain, value, day[n], begin[n], present[n])
    return _day_paths(network, weather, room_use, best, choice, day, begin, end, present)
