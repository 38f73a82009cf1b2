"""The orders of the day: what the planner hands to every output. Times are farm time (aware)."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from enum import Enum, auto
from math import nan
from typing import TYPE_CHECKING

from readiness.atmosphere.weather import Weather
from readiness.season.simulate import Season
from scheduler.cut_tables.makeup import MakeUp
from scheduler.farm.model import Farm
from scheduler.orders.cautions import DayCaution
from scheduler.orders.reasons import FallbackAction, IdleNote, LeftOutReason, OrderReason
from scheduler.windows.lessons import Lesson

if TYPE_CHECKING:  # the page reads orders and does not load the solver
    from scheduler.orders.decision import Decision

SHUT, TURNED_AWAY = "shut", "turned away"


@dataclass(frozen=True, kw_only=True)
class Spread:
    """Median with the 10th and 90th percentile over members."""

    low: float
    mid: float
    high: float


@dataclass(frozen=True, kw_only=True)
class TimeSpread:
    """Median time with the 10th and 90th percentile over members."""

    low: datetime
    mid: datetime
    high: datetime


@dataclass(frozen=True, kw_only=True)
class Alternative:
    """What it would cost to do otherwise, money against the plan (None: cannot be done)."""

    earlier: float | None
    later: float | None
    other_crew: float | None
    leave: float | None


@dataclass(frozen=True, kw_only=True)
class Delivery:
    """What of a field goes to one delivery point, in the mean of the members that do it."""

    point: str  # id
    tonnes: float
    loads: float
    why: str = ""  # not the first choice: it is `SHUT`, the load `TURNED_AWAY`, or neither mostly


@dataclass(frozen=True, kw_only=True)
class Order:
    """One line of a crew's orders."""

    field: str  # id
    name: str
    parcel: str  # "" for the whole field
    crop: str
    leave_at: datetime  # median time to set off
    move_min: float
    move_km: float
    start: TimeSpread
    finish: TimeSpread
    area_ha: float
    tonnes: float
    moisture_pct: Spread
    test_weight_kg_hl: float = nan  # expected when cut, as the next two
    sprouted_pct: float = nan
    us_grade: int | None = None  # of wheat in US units, by these two alone; 6 is Sample grade
    chance: float  # share of members in which it starts and ends on the days said
    done: float = 1.0  # share of members in which it is done within the days planned
    loads: float
    point: str  # id of the delivery point of first choice
    deliveries: tuple[Delivery, ...] = ()  # first choice first; none in plans of one point each
    rate_ha_h: float
    limited_by: str  # "combine" | "cart" | "haul"
    headland_only: bool
    loss: float  # expected money lost on this field as planned
    reason: OrderReason | str
    alternative: Alternative | None = None
    locked: bool = False
    changed: str = ""  # against yesterday's orders: what and why


@dataclass(frozen=True, kw_only=True)
class Fallback:
    """What a crew does if its first field is not fit; solved beforehand."""

    if_tough: FallbackAction | str
    if_soft: FallbackAction | str


@dataclass(frozen=True, kw_only=True)
class CrewOrders:
    """A crew and its orders over the whole horizon, in order."""

    crew: str
    combines: tuple[str, ...]
    carts: tuple[str, ...]
    trucks: tuple[str, ...]
    people: int
    orders: tuple[Order, ...]
    fallback: Fallback | None
    note: IdleNote | str = ""


@dataclass(frozen=True, kw_only=True)
class LeftOut:
    """A field in nobody's orders."""

    field: str
    name: str
    why: LeftOutReason | str
    cost: float


class ChangeKind(Enum):
    """How an order differs from the previous orders."""

    NEW = auto()
    OTHER_CREW = auto()
    OTHER_TIME = auto()
    DROPPED = auto()


@dataclass(frozen=True, kw_only=True)
class Change:
    """An order that differs from the previous orders; of a dropped order, as it was."""

    kind: ChangeKind
    order: Order
    crew: str
    place: int  # in the crew's orders, from 1
    previous_crew: str = ""
    later_h: float = 0.0  # hours by which the median start moves; negative is sooner


@dataclass(frozen=True, kw_only=True)
class Morning:
    """Everything the sheet, the page, the files and the terminal show.

    `season` starts some days before `now` and runs to the horizon; its field axis follows
    `farm.fields`, then the wet hollows (`season_rows`). `rule_losses` maps each rule of
    thumb to its expected loss. `decision` holds what prices an order of one's own; no output
    shows it.
    """

    farm: Farm
    now: datetime
    until: datetime
    seed: int
    source: str  # of the forecast
    issued: datetime | None
    age_h: float | None
    weather_notes: tuple[str, ...]
    members: int
    weather: Weather  # per field, same hours as season
    season: Season
    makeup: MakeUp
    makeups: tuple[tuple[MakeUp, float], ...]  # every make-up priced
    crews: tuple[CrewOrders, ...]
    left_out: tuple[LeftOut, ...]
    status: str
    loss: float  # expected money lost by the plan
    bound: float | None
    gap: float | None
    rule_losses: dict[str, float]
    member_loss: tuple[float, ...]
    value_of_perfect_information: float | None  # money that knowing the weather would save
    value_of_stochastic_solution: float | None  # money lost by planning on the mean forecast only
    cautions: tuple[DayCaution, ...]
    changes: tuple[Change | str, ...] = ()  # since the previous orders; news of the book is text
    lessons: tuple[Lesson, ...] = ()  # what the book's readings taught, before and after
    decision: Decision | None = field(default=None, repr=False, compare=False)
