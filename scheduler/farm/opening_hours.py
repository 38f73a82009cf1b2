"""Opening and closing hours in slots: elevators, crews and roads by the week, and closures.

Hours of a day and of a week are farm time. Slots are UTC starts of equal steps, (slot,).
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from scheduler.farm.model import DailySpan, Interval, Week
from scheduler.farm.slots import BoolArray, farm_time


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
