"""Slots of time: which are worked, open or forbidden.

Slots are UTC starts of equal steps, (slot,). Hours of a day and of a week are farm time.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from scheduler.farm.model import Crew, DailySpan, Interval, Week

BoolArray = NDArray[np.bool_]
#: Length of a planning slot, min.
SLOT_MIN = 30


def utc_hour(when: datetime) -> np.datetime64:
    """The UTC hour that an aware time falls into."""
    return np.datetime64(when.astimezone(UTC).replace(tzinfo=None), "h")


@lru_cache(maxsize=1 << 15)  # every crew and delivery point asks for the same stamps
def farm_time(stamp: np.datetime64, tz: ZoneInfo) -> datetime:
    """A UTC stamp as an aware farm time."""
    naive: datetime = stamp.astype("datetime64[s]").astype(datetime)
    return naive.replace(tzinfo=UTC).astimezone(tz)


def slot_times(now: datetime, days: int, minutes: int) -> NDArray[np.datetime64]:
    """Slot starts from the first whole slot at or after `now`; midnight UTC starts a slot."""
    step = np.timedelta64(minutes, "m")
    stamp = np.datetime64(now.astimezone(UTC).replace(tzinfo=None), "m")
    floor = stamp - (stamp - stamp.astype("datetime64[D]")) % step
    first = floor if floor == stamp else floor + step
    slots: NDArray[np.datetime64] = first + np.arange(days * 24 * 60 // minutes) * step
    return slots


def slot_in_span(span: DailySpan, a: datetime, b: datetime) -> bool:
    """Whether the slot [a, b), farm time, lies inside a daily span that may run past midnight."""
    first, last = span
    end = last if last != time(0) else time(23, 59, 59)
    if first <= end:
        return first <= a.time() and (b - timedelta(seconds=1)).time() <= end and _same_day(a, b)
    return a.time() >= first or (b - timedelta(seconds=1)).time() < last


def _same_day(a: datetime, b: datetime) -> bool:
    """Whether [a, b) lies within one date."""
    return a.date() == (b - timedelta(seconds=1)).date()


def open_slots(week: Week, slots: NDArray[np.datetime64], tz: ZoneInfo) -> BoolArray:
    """Slots wholly inside the hours of a week: openings round up, closings down, (slot,)."""
    step = slots[1] - slots[0]
    out = np.zeros(len(slots), dtype=np.bool_)
    for i, stamp in enumerate(slots):
        a, b = farm_time(stamp, tz), farm_time(stamp + step, tz)
        today, before = week[a.weekday()], week[(a.weekday() - 1) % 7]
        if today is not None and (
            today[0] <= today[1] or a.time() >= today[0] or today[1] == time(0)
        ):
            out[i] = slot_in_span(today, a, b)
        if not out[i] and before is not None and time(0) < before[1] < before[0]:
            out[i] = a.time() < before[1] and slot_in_span(before, a, b)
    return out


def crew_slots(crew: Crew, slots: NDArray[np.datetime64], tz: ZoneInfo) -> BoolArray:
    """Slots that a crew works, (slot,): its week less absences, at most `hours_max_day` a day.

    A longer day loses its first hours, because dew closes those anyway.
    """
    on = open_slots(crew.week, slots, tz)
    days = np.array([farm_time(s, tz).date() for s in slots])
    if crew.absent:
        on &= ~np.isin(days, np.array(crew.absent, dtype=object))
    max_slots = int(crew.hours_max_day * 60 / float((slots[1] - slots[0]) / np.timedelta64(1, "m")))
    for day in sorted(set(days)):
        worked = np.flatnonzero(on & (days == day))
        on[worked[: max(0, len(worked) - max_slots)]] = False
    return on


def forbidden_slots(
    spans: Sequence[DailySpan], slots: NDArray[np.datetime64], tz: ZoneInfo
) -> BoolArray:
    """Slots that any of the daily spans touches, (slot,)."""
    allowed = np.ones(len(slots), dtype=np.bool_)
    for first, last in spans:
        allowed &= open_slots(((last, first),) * 7, slots, tz)
    return ~allowed


def down_slots(intervals: Sequence[Interval], slots: NDArray[np.datetime64]) -> BoolArray:
    """Slots that any of the intervals touches, (slot,)."""
    step = slots[1] - slots[0]
    out = np.zeros(len(slots), dtype=np.bool_)
    for a, b in intervals:
        first, last = (np.datetime64(t.astimezone(UTC).replace(tzinfo=None), "s") for t in (a, b))
        out |= (slots + step > first) & (slots < last)
    return out


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
