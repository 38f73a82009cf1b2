"""Slots of half an hour, and the times of the farm.

Slots are UTC starts of equal steps, (slot,).
"""

from __future__ import annotations

from datetime import UTC, datetime
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

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
