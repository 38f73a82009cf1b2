"""Slots of time: which are worked, open or forbidden, in farm time."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from scheduler.farm.model import Crew, DailySpan, Week

BoolArray = NDArray[np.bool_]


def utc_hour(when: datetime) -> np.datetime64:
    """The UTC hour that holds an aware time."""
    return np.datetime64(when.astimezone(UTC).replace(tzinfo=None), "h")


@lru_cache(maxsize=1 << 15)  # the same stamps are asked for by every week and crew
def farm_time(stamp: np.datetime64, tz: ZoneInfo) -> datetime:
    """A UTC stamp as an aware farm time."""
    naive: datetime = stamp.astype("datetime64[s]").astype(datetime)
    return naive.replace(tzinfo=UTC).astimezone(tz)


def slot_times(now: datetime, days: int, minutes: int) -> NDArray[np.datetime64]:
    """Slot starts, UTC, from the first whole slot at or after `now`."""
    step = np.timedelta64(minutes, "m")
    stamp = np.datetime64(now.astimezone(UTC).replace(tzinfo=None), "m")
    floor = stamp - (stamp - stamp.astype("datetime64[D]")) % step
    first = floor if floor == stamp else floor + step
    slots: NDArray[np.datetime64] = first + np.arange(days * 24 * 60 // minutes) * step
    return slots


def slot_in_span(span: DailySpan, a: datetime, b: datetime) -> bool:
    """Whether the slot [a, b) lies inside a daily span; a span may run past midnight."""
    first, last = span
    end = last if last != time(0) else time(23, 59, 59)
    if first <= end:
        return first <= a.time() and (b - timedelta(seconds=1)).time() <= end and _same(a, b)
    return a.time() >= first or (b - timedelta(seconds=1)).time() < last


def _same(a: datetime, b: datetime) -> bool:
    return a.date() == (b - timedelta(seconds=1)).date()


def open_slots(week: Week, slots: NDArray[np.datetime64], tz: ZoneInfo) -> BoolArray:
    """Slots wholly inside the week's hours (starts rounded up, ends down)."""
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
    """Slots a crew works: its week less absences, and no more than `hours_max_day` a day.

    Of a longer day the last hours are kept, because dew closes the early ones.
    """
    on = open_slots(crew.week, slots, tz)
    days = np.array([farm_time(s, tz).date() for s in slots])
    if crew.absent:
        on &= ~np.isin(days, np.array(crew.absent, dtype=object))
    most = int(crew.hours_max_day * 60 / float((slots[1] - slots[0]) / np.timedelta64(1, "m")))
    for day in sorted(set(days)):
        worked = np.flatnonzero(on & (days == day))
        on[worked[: max(0, len(worked) - most)]] = False
    return on


def forbidden_slots(
    spans: Sequence[DailySpan], slots: NDArray[np.datetime64], tz: ZoneInfo
) -> BoolArray:
    """Slots touched by any daily span in which moves on the road are forbidden."""
    allowed = np.ones(len(slots), dtype=np.bool_)
    for first, last in spans:
        allowed &= open_slots(((last, first),) * 7, slots, tz)
    return ~allowed


def down_slots(
    spans: Sequence[tuple[datetime, datetime]], slots: NDArray[np.datetime64]
) -> BoolArray:
    """Slots touched by any of the aware spans."""
    step = slots[1] - slots[0]
    out = np.zeros(len(slots), dtype=np.bool_)
    for a, b in spans:
        first, last = (np.datetime64(t.astimezone(UTC).replace(tzinfo=None), "s") for t in (a, b))
        out |= (slots + step > first) & (slots < last)
    return out


def work_start_slots(shut: BoolArray, longest: int) -> NDArray[np.int32]:
    """Slot at which work can begin after arriving at each slot, (slot,).

    A move into a job takes up to `longest` slots and none of it may fall into `shut` slots: an
    arrival inside a shut run, or less than `longest` after it, counts as one that set off when
    the run ended. Non-decreasing; len(shut) means never.
    """
    n = len(shut)
    index = np.arange(n)
    # for each slot: the last shut one before it, and the first open one at or after it
    last = np.concatenate([[-1], np.maximum.accumulate(np.where(shut, index, -1))[:-1]])
    opens = np.minimum.accumulate(np.append(np.where(shut, n, index), n)[::-1])[::-1]
    touched = (last >= 0) & (last >= index - longest)
    later = np.minimum(n, opens[last + 1] + longest)
    return np.where(touched, later, index).astype(np.int32)


SLOT_MIN = 30
