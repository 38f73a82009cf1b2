"""Slots that a crew works or a machine is up, and the slots in which its moves may begin work.

Service comes off the beginning of a crew's day, meals off its rate.
"""

from __future__ import annotations

import math
from datetime import timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from scheduler.farm.model import Crew, DailySpan, Machine
from scheduler.farm.opening_hours import down_slots, open_slots
from scheduler.farm.slots import BoolArray, farm_time

#: Hour from which work belongs to a new day; assumed: the latest evening's cutting ends by then.
DAY_BEGINS = 4
#: Hour of the farm's day at which a plan for a bare date is made; assumed, before crews leave.
MORNING_HOUR = 6


def crew_slots(crew: Crew, slots: NDArray[np.datetime64], tz: ZoneInfo) -> BoolArray:
    """Slots that a crew works, (slot,): its week less absences, at most `hours_max_day` a day.

    A slot that an absence touches is not worked.

    A longer day loses its first hours, because dew closes those anyway.
    """
    on = open_slots(crew.week, slots, tz)
    days = np.array([farm_time(s, tz).date() for s in slots])
    if crew.absent:
        on &= ~np.isin(days, np.array(crew.absent, dtype=object))
    on &= ~down_slots(crew.away, slots)
    max_slots = int(crew.hours_max_day * 60 / float((slots[1] - slots[0]) / np.timedelta64(1, "m")))
    for day in sorted(set(days)):
        worked = np.flatnonzero(on & (days == day))
        on[worked[: max(0, len(worked) - max_slots)]] = False
    return on


def service_slots(crew: Crew, slots: NDArray[np.datetime64], tz: ZoneInfo) -> BoolArray:
    """Slots in which a crew greases and refuels, (slot,): the first that it works from 4 h on.

    A day that has begun counts from its own beginning.
    """
    step = slots[1] - slots[0]
    first = farm_time(slots[0], tz)
    back = max(0, int(timedelta(hours=first.hour - DAY_BEGINS, minutes=first.minute) / step))
    whole = np.concatenate([slots[0] - step * np.arange(back, 0, -1), slots])
    works, stamps = crew_slots(crew, whole, tz), [farm_time(s, tz) for s in whole]
    out: BoolArray = np.zeros(len(whole), np.bool_)
    count = math.ceil(timedelta(minutes=crew.service_min) / step)
    days = np.array([t.toordinal() if t.hour >= DAY_BEGINS else -1 for t in stamps])
    for day in np.unique(days[days >= 0]):
        out[np.flatnonzero(works & (days == day))[:count]] = True
    return out[back:]


def meal_share(crew: Crew) -> float:
    """Share of a crew's working hours that meals take, 0-1; 0 for one that never works."""
    lengths = [min(_hours(span), crew.hours_max_day) for span in crew.week if span is not None]
    longest = max(lengths, default=0.0)
    return min(crew.meal_min / 60.0 / longest, 1.0) if longest > 0.0 else 0.0


def _hours(span: DailySpan) -> float:
    """Length of a span, h; one that ends where it begins lasts a day."""
    first, last = (t.hour + t.minute / 60.0 for t in span)
    return (last - first) % 24.0 or 24.0


def machine_slots(machine: Machine, slots: NDArray[np.datetime64]) -> BoolArray:
    """Slots in which a machine is on the farm and up, (slot,)."""
    return ~down_slots(machine.unavailable, slots)


def work_start_slots(shut: BoolArray, longest_move: int) -> NDArray[np.int32]:
    """First slot of work for an arrival in each slot, where roads are shut for a while.

    No part of a move may fall into a shut slot. An arrival within a shut run, or fewer than
    `longest_move` slots after it, therefore waits: its move starts when the run ends.

    Parameters
    ----------
    shut : (slot,) slots in which moves are forbidden.
    longest_move : slots that the longest move takes.

    Returns
    -------
    (slot,) non-decreasing; len(shut) is never.
    """
    n = len(shut)
    index = np.arange(n)
    # of each slot: the last shut slot before it, and the first open slot at or after it
    last = np.concatenate([[-1], np.maximum.accumulate(np.where(shut, index, -1))[:-1]])
    opens = np.minimum.accumulate(np.append(np.where(shut, n, index), n)[::-1])[::-1]
    touched = (last >= 0) & (last >= index - longest_move)
    later = np.minimum(n, opens[last + 1] + longest_move)
    return np.where(touched, later, index).astype(np.int32)
