"""Reason codes: why an order stands where it does, why a field is left out, why a crew waits.

`scheduler.report.order_phrases` words them.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import Enum, auto

from readiness.season.codes import Reason


class Otherwise(Enum):
    """What could be done with an order instead."""

    LATER = auto()  # one place later with the same crew
    EARLIER = auto()
    OTHER_CREW = auto()
    LEAVE = auto()


@dataclass(frozen=True, kw_only=True)
class OrderReason:
    """Why an order stands where it does.

    Attributes
    ----------
    done : share of members in which the crew gets to the field.
    closed_by : cause that last closed the field on the starting day; None: none did.
    opens : when that cause ends, farm time.
    allowed_from : time from which the field may be cut, on the starting day; else None.
    waits_pct : start moisture for which the crew waits though the field can be cut; else None.
    cheapest : the change to the order that costs least; None: none was priced.
    swap_with : the other field of a swap.
    cost : money that `cheapest` costs; below zero where it saves.
    """

    done: float
    closed_by: Reason | None
    opens: datetime | None
    allowed_from: datetime | None = None
    waits_pct: float | None = None
    cheapest: Otherwise | None = None
    swap_with: str = ""
    cost: float = 0.0


class LeftOutKind(Enum):
    """What keeps a field out of all orders."""

    DATES = auto()  # the dates that the field may be cut on leave no hour
    NO_PICKUP = auto()  # it lies in swaths, and no crew has a combine with a pickup header
    NO_DELIVERY_POINT = auto()  # no truck of a crew hauls to one that takes it
    FULL = auto()  # those that buy it have no room
    CLOSED = auto()  # closed in all hours that the crews work
    QUALITY = auto()  # sprouted, light or otherwise beyond every point's limits, without feed price
    TURNED_AWAY = auto()  # too wet for every point whenever it is open
    FILLED = auto()  # other fields fill the points that take it
    LOSES_MORE_ELSEWHERE = auto()


@dataclass(frozen=True, kw_only=True)
class LeftOutReason:
    """Why a field is in nobody's orders; `closed_by` is the main cause where it is `CLOSED`."""

    kind: LeftOutKind
    closed_by: Reason | None = None


class Wait(Enum):
    """How long a crew waits at its first field."""

    THREE_HOURS = auto()
    TOMORROW = auto()


@dataclass(frozen=True, kw_only=True)
class FallbackAction:
    """Where a crew goes when its first field is not fit.

    The crew waits at `first_name`, or goes to the other field and comes back after it.
    """

    first_name: str
    wait: Wait
    other_name: str = ""  # "" where waiting is cheapest
    other_field: str = ""  # id
    other_parcel: str = ""


class Barred(Enum):
    """What keeps a crew from cutting though some field is open."""

    OFF = auto()  # it does not work that day
    NO_COMBINE = auto()  # none of its combines is up in its hours
    NO_POINT = auto()  # the points that take its grain are shut all day, or full


@dataclass(frozen=True, kw_only=True)
class IdleNote:
    """A crew cuts nothing today, or tomorrow.

    Attributes
    ----------
    first_start : its first start after today, None where it has none.
    ordered : whether it has orders.
    tomorrow : whether the note is on tomorrow; such a note has no start and no opening.
    closed_by : what closes most of the day's hours to it; None where some field is open.
    barred : what else keeps it from cutting; None where nothing does.
    waits_pct : start moisture that it waits for where a field of its own is open; else None.
    rain_mm : rain of the rest of the day, median over members of the mean of the fields.
    opens : time by which some field opens in one member of ten, farm time; None where none does.
    """

    first_start: datetime | None
    ordered: bool = False
    tomorrow: bool = False
    closed_by: Reason | None = None
    barred: Barred | None = None
    waits_pct: float | None = None
    rain_mm: float = 0.0
    opens: datetime | None = None
