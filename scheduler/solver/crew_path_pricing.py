"""Pricing problem of the floor: the path of one crew through the horizon that gains most.

Time goes in steps over the slots in which the crew works. A place is a group of jobs with moves of
less than a step between them. At a place the crew cuts the job that gains most after all prices,
slot by slot. From its arrival, or from the morning, it cuts no longer in a day than the jobs of the
place take whole at their slowest rates of the day, and one step more. A move takes its steps from
slots with an open road.

No path of the simulator is lost. Moves are rounded down to whole steps and shortened to the
quickest way. Rounding all departures and arrivals of a path at one random threshold gives paths on
the steps; their expected minutes at each place in each slot are those of the path, and none of them
cuts a whole step longer at a place than the path does.
"""

# mypy: disable-error-code="no-untyped-def"

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit

from scheduler.field_work.kernel import tough_share
from scheduler.field_work.tables import Bool, Float, Int, WorkTables

#: Least length of a step, min. Steps of 3 min raise the floor of the sample farm by 0.06 % and take
#: three quarters more time.
STEP_MIN = 5.0
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
    truck : (work slot, job, point), slots in which all trucks haul a ha; 0 for never.
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
    most : (day, place), most steps of cutting from an arrival, or the morning, on.
    """

    rate: Float
    loss: Float
    most: Int


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
    steps = max(1, int(tables.slot_min / STEP_MIN))
    whole = np.floor(tables.move[k] / (tables.slot_min / steps) + 1e-9)
    place, move = _places(whole, 1 + int(road.sum()) * steps)
    day_start = np.append(np.flatnonzero(np.diff(tables.day[slot], prepend=-1)), slot.size)
    haul = np.repeat(tables.full_haul[None, k], slot.size, axis=0) * (tables.slot_min / 60.0)
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


def _places(steps: Float, never: int) -> tuple[Int, Int]:
    """Place of each job, and steps of the quickest moves; `never` ends after the horizon.

    The move of a place to itself goes by way of another.
    """
    jobs = steps.shape[1]
    place = np.arange(jobs)
    for i, j in zip(*np.nonzero(np.minimum(steps[:-1], steps[:-1].T) == 0), strict=True):
        place[place == place[j]] = place[i]
    _, place = np.unique(place, return_inverse=True)
    places = int(place.max()) + 1
    move = np.full((places + 1, places), float(never))
    np.minimum.at(move, (np.append(place, places)[:, None], place[None, :]), steps)
    np.fill_diagonal(move, never)
    for via in range(places):
        np.minimum(move, move[:, via : via + 1] + move[via], out=move)
    return place.astype(np.int64), move.astype(np.int64)


def crew_weather(tables: WorkTables, network: CrewNetwork, k: int, m: int) -> CrewWeather:
    """Cutting of crew k in member m."""
    slot = network.slot
    loss = tables.loss[m, slot].astype(np.float64)
    loss[~(np.isfinite(loss) & tables.accepts[k])] = np.inf
    up = tables.machines[k, slot]
    rate = np.where(tables.edge[m, slot], tables.edge_rate[k][up], tables.cut_rate[k][up])
    rate = rate / tables.yield_t
    wet = np.nan_to_num(tables.wet[m, slot], posinf=0.0)  # where nothing can be cut
    rate = rate * tough_share.py_func(wet, tables.tough_from, tables.tough_slower)
    can = np.isfinite(tables.wet[m, slot]) & np.isfinite(loss).any(axis=2)
    rate = np.where(can, rate, 0.0) * (tables.slot_min / 60.0 / network.steps)
    group = network.place[:, None] == np.arange(network.move.shape[1])
    most = np.zeros((network.day_start.size - 1, group.shape[1]), np.int64)
    for day, (a, b) in enumerate(zip(network.day_start[:-1], network.day_start[1:], strict=True)):
        opens = rate[a:b] > 0.0
        slowest = np.where(opens, rate[a:b], np.inf).min(axis=0)
        whole = (np.ceil(tables.area / slowest) + 1.0) @ group
        most[day] = np.minimum(whole, (opens @ group).sum(axis=0) * network.steps)
    return CrewWeather(rate, loss, most)


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
def _fill_value(network, gain, most, value, leave, morning):
    """Fill what a crew still gains: at a place, on leaving a place, and as each day begins.

    value (road step, place) holds from arrival on; leave (work slot, step, place); morning
    (day + 1, place).
    """
    steps, move = network.steps, network.move
    slots, places = gain.shape
    flat = value.ravel()
    last = network.road_before[slots] * steps
    value[last] = 0.0
    value[last + 1 :] = NO_PATH
    days = network.day_start.size - 1
    morning[days] = 0.0
    offset = move[:places] * places + np.arange(places)
    size = network.longest_day * steps + 1
    old, new = np.zeros((places, size)), np.zeros((places, size))
    for day in range(days - 1, -1, -1):
        for i in range(places):
            old[i] = morning[day + 1, i]
        for w in range(network.day_start[day + 1] - 1, network.day_start[day] - 1, -1):
            for u in range(steps - 1, -1, -1):
                r = network.road_before[w] * steps + (u if network.road[w] else 0)
                for i in range(places):
                    go = NO_PATH
                    if network.road[w]:
                        for j in range(places):
                            go = max(go, flat[r * places + offset[i, j]])
                    leave[w, u, i] = go
                    g, top = gain[w, i], most[day, i]
                    new[i, 0] = max(go, old[i, 0])
                    if g > 0.0:
                        for n in range(1, top + 1):
                            new[i, n] = max(max(go, old[i, n]), g + old[i, n - 1])
                    else:
                        for n in range(1, top + 1):
                            new[i, n] = max(go, old[i, n])
                    value[r, i] = new[i, top]
                old, new = new, old
        for i in range(places):
            morning[day, i] = old[i, most[day, i]]


@njit(nogil=True)
def _next_place(network, value, r, i):
    """Best place to move to from place i at road step r."""
    best, found = NO_PATH, 0
    for j in range(value.shape[1]):
        at = value[r + network.move[i, j], j]
        if at > best:
            best, found = at, j
    return found


@njit(nogil=True)
def _arrival(network, r):
    """Work slot and step in it at which a move ends after `r` road steps."""
    u = r % network.steps
    if r == 0:
        return 0, u
    w = network.road_slot[(r - 1) // network.steps]
    return (w, u) if u > 0 else (w + 1, 0)


@njit(nogil=True)
def _visit(network, gain, most, leave, morning, day, w, u, i, present):
    """Fill the steps in which the crew cuts, from its arrival on; returns when it leaves."""
    steps, stop, top = network.steps, network.day_start[day + 1], most[day, i]
    first = w * steps + u
    count = stop * steps - first
    still = np.empty((count + 1, top + 1))
    still[count] = morning[day + 1, i]
    for t in range(count - 1, -1, -1):
        at, step = (first + t) // steps, (first + t) % steps
        for n in range(top + 1):
            best = max(leave[at, step, i], still[t + 1, n])
            if n > 0:
                best = max(best, gain[at, i] + still[t + 1, n - 1])
            still[t, n] = best
    n = top
    for t in range(count):
        at, step = (first + t) // steps, (first + t) % steps
        if n > 0 and gain[at, i] + still[t + 1, n - 1] >= still[t, n]:
            present[at - network.day_start[day], i] += 1
            n -= 1
        elif leave[at, step, i] >= still[t, n]:
            return at, step
    return stop, 0


@njit(nogil=True)
def _follow(network, gain, most, value, leave, morning, day, state, present):
    """Fill `present` (slot of the day, place), the steps of cutting; returns the end state."""
    steps, places = network.steps, gain.shape[1]
    w, u, i = network.day_start[day], 0, state
    stop = network.day_start[day + 1]
    if state >= places:
        i = state % places
        w, u = _arrival(network, state // places - 1)
    while w < stop:
        w, u = _visit(network, gain, most, leave, morning, day, w, u, i, present)
        if w < stop:
            r = network.road_before[w] * steps + u
            to = _next_place(network, value, r, i)
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
    most = weather.most
    leave = np.empty((slots, network.steps, places))
    morning = np.empty((network.day_start.size, places))
    _fill_value(network, gain, most, value, leave, morning)
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
        end[n] = _follow(network, gain, most, value, leave, morning, day[n], begin[n], present[n])
    return _day_paths(network, weather, room_use, best, choice, day, begin, end, present)
