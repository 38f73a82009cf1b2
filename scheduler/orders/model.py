"""The orders of the day: what the planner hands to every output. Times are farm time (aware).

Reasons, fallbacks and notes are codes in a planned morning. A plan read back from its document
holds their words instead, as `str`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime
from enum import Enum, auto
from math import nan
from typing import TYPE_CHECKING

from scheduler.farm.model import Farm
from scheduler.orders.cautions import DayCaution
from scheduler.orders.reasons import FallbackAction, IdleNote, LeftOutReason, OrderReason
from scheduler.weather.doubts import WeatherDoubts

if TYPE_CHECKING:  # the page reads orders and loads neither models nor solver
    from readiness.atmosphere.weather import Weather
    from readiness.season.simulate import Season
    from scheduler.orders.decision import Decision
    from scheduler.windows.lessons import Lesson
    from scheduler.work_tables.crew_makeup import MakeUp

#: Why grain does not go to the first choice of delivery point.
SHUT, TURNED_AWAY = "shut", "turned away"
#: Days of which clock times are printed; assumed: crews are sent out for today and tomorrow.
CLOCK_DAYS = 2


@dataclass(frozen=True, kw_only=True)
class Spread:
    """10th percentile, median and 90th percentile over members."""

    low: float
    mid: float
    high: float


@dataclass(frozen=True, kw_only=True)
class TimeSpread:
    """10th percentile, median and 90th percentile of a time over members."""

    low: datetime
    mid: datetime
    high: datetime


@dataclass(frozen=True, kw_only=True)
class Alternative:
    """Loss of each change to an order, money above the plan; None where it cannot be made."""

    earlier: float | None
    later: float | None
    other_crew: float | None
    leave: float | None
    earlier_with: str = ""  # name of the field whose place it takes
    later_with: str = ""


@dataclass(frozen=True, kw_only=True)
class Delivery:
    """Grain of an order for one delivery point: the mean of the members that cut the field."""

    point: str  # id
    tonnes: float
    loads: float
    why: str = ""  # main reason against the first choice: `SHUT`, `TURNED_AWAY`, or neither


@dataclass(frozen=True, kw_only=True)
class Order:
    """One line of a crew's orders."""

    field: str  # id
    name: str
    parcel: str  # "" for the whole field
    crop: str
    leave_at: datetime
    move_min: float
    move_km: float
    start: TimeSpread
    finish: TimeSpread
    area_ha: float
    tonnes: float
    moisture_pct: Spread
    test_weight_kg_hl: float = nan  # expected when cut, as are the next two
    sprouted_pct: float = nan
    us_grade: int | None = None  # of wheat in US units, by the two above alone; 6 is Sample grade
    start_pct: float = nan  # cut at or below this moisture today
    later_pct: float = nan  # and on later days
    cut_by: date | None = None  # first day by whose end half of the members finish it, or the last
    chance: float  # share of members in which it is finished by the end of `cut_by`
    done: float = 1.0  # share of members in which it is finished within the days planned
    shown: bool = True  # whether the crew cuts it in the member of which the other times are
    loads: float
    point: str  # id of the delivery point of first choice
    deliveries: tuple[Delivery, ...] = ()  # first choice first; none in plans of one point each
    rate_ha_h: float
    limited_by: str  # "combine" | "cart" | "haul" | "person"
    headland_only: bool
    loss: float  # expected money lost on this field as planned
    reason: OrderReason | str
    alternative: Alternative | None = None
    not_before: datetime | None = None  # dates of the field, farm time; see `Field`
    not_after: datetime | None = None
    locked: bool = False
    changed: str = ""  # a change in words; the planner leaves it empty, `Morning` lists changes


@dataclass(frozen=True, kw_only=True)
class Fallback:
    """What a crew does if its first field is not fit; solved beforehand."""

    if_tough: FallbackAction | str
    if_soft: FallbackAction | str


@dataclass(frozen=True, kw_only=True)
class Stint:
    """A crew's work in one field on one day, by the clock of the one member that is printed.

    Attributes
    ----------
    field, name, parcel, crop : as in `Order`.
    leave_at, start, until : in this order, and apart by at least `move_min`.
    move_min, move_km : from where the crew stands before; 0 where it stands there already.
    field_ha : area of the whole job.
    area_ha, tonnes : cut in the stint.
    moisture_pct : range of what is cut in it.
    start_pct : moisture at or below which the crew starts.
    finished : whether the job is finished at `until`.
    begun, done : shares of members in which a crew cuts there on that day, and in which the job is
        finished by its end.
    deliveries : points that the grain goes to in any member that day, first choice first; tonnes
        and loads are those of the stint.
    """

    field: str
    name: str
    parcel: str
    crop: str
    leave_at: datetime
    move_min: float
    move_km: float
    start: datetime
    until: datetime
    field_ha: float
    area_ha: float
    tonnes: float
    moisture_pct: Spread
    start_pct: float
    finished: bool
    begun: float
    done: float
    headland_only: bool
    deliveries: tuple[Delivery, ...]

    @property
    def point(self) -> str:
        """Id of the delivery point of first choice."""
        return self.deliveries[0].point


@dataclass(frozen=True, kw_only=True)
class CrewOrders:
    """A crew and its orders over the whole horizon, in order; `stints` of `CLOCK_DAYS` days."""

    crew: str
    combines: tuple[str, ...]
    carts: tuple[str, ...]
    trucks: tuple[str, ...]
    people: int
    drivers: tuple[tuple[str, str], ...] = ()  # machine and person with a name, on the first day
    joins: tuple[tuple[str, datetime], ...] = ()  # machine that is down or away now, and its return
    orders: tuple[Order, ...]
    fallback: Fallback | None
    note: IdleNote | str = ""  # why it cuts nothing today
    note_tomorrow: IdleNote | str = ""
    patience_min: float = 0.0  # wait at a shut field while the next can be cut
    leave_min: float = 0.0  # longest move to a better field that opens while the crew cuts
    stop_margin: float = 0.0  # points above the start moisture at which the crew stops
    move_weight: float = 0.0  # places in the order that a minute of move is worth
    moisture_weight: float = 0.0  # places in the order that a point of moisture is worth
    service_min: float = 0.0  # grease and fuel before the day's first move
    meal_min: float = 0.0  # meals a day while the crew could cut
    ranked: tuple[tuple[str, str], ...] = ()  # the policy's list: ids of fields, and parcels
    stints: tuple[Stint, ...] = ()

    def stints_on(self, day: date) -> list[Stint]:
        """What the crew does on a day, farm time."""
        return [s for s in self.stints if s.start.date() == day]


@dataclass(frozen=True, kw_only=True)
class PointTotal:
    """All grain that the plan brings to one delivery point: the mean over members.

    Attributes
    ----------
    point : id.
    tonnes, wheat_t : grain, and tonnes of wheat of the same volume, which room is measured in.
    loads : truck loads.
    full : share of members in which the point has no room left.
    overflow : ids of the points that take the same crops; bins kept for seed are not among them.
    """

    point: str
    tonnes: float
    wheat_t: float
    loads: float
    full: float
    overflow: tuple[str, ...]


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


class DecidingCause(Enum):
    """Changes of an assumption, or observations, that could change a crew's first field."""

    GRAIN_WETTER = auto()  # a point wetter than modelled
    GRAIN_DRIER = auto()
    UNCUT_WORTH_MORE = auto()  # leaving grain costs half
    UNCUT_WORTH_LESS = auto()  # leaving grain costs twice as much
    WETTER_WEATHER = auto()  # the wetter half of the members
    DRIER_WEATHER = auto()


@dataclass(frozen=True, kw_only=True)
class Deciding:
    """A change under which a crew would do better to begin with another field."""

    crew: str
    field_name: str  # the planned first field
    cause: DecidingCause
    other_name: str
    saving: float  # money
    error: float  # its standard error


@dataclass(frozen=True, kw_only=True)
class MachineMove:
    """A machine that works with another crew than before."""

    machine: str
    from_crew: str
    to_crew: str


@dataclass(frozen=True, kw_only=True)
class RuleComparison:
    """What a dispatching rule, with its best start moisture, loses more than the plan."""

    name: str
    start_pct: float
    loss: float
    more: float
    error: float  # standard error of `more`; infinite where it is unknown


@dataclass(frozen=True, kw_only=True)
class Leaving:
    """Grain of some crops that nobody cuts within the days planned is sold later, for less."""

    crops: tuple[str, ...]
    days: float  # after the days planned
    share: float  # less, 0-1


#: Name of the part of a loss that grain left uncut makes.
UNCUT = "uncut"


@dataclass(frozen=True, kw_only=True)
class MoneyAtStake:
    """The plan's money: what is lost, what can still be lost, and what other ways would lose.

    Attributes
    ----------
    already_lost : lost before the first hour planned, whatever is done.
    at_stake : expected loss of grain that nobody cuts, less what is lost already.
    loss : expected loss of the plan, what is lost already included; `loss_error` is its standard
        error over the members.
    member_loss : (member,) of the plan.
    rules : dispatching rules, played like the plan on members that neither was searched on.
    floor : expected loss of whoever knew the weather; no way of working loses less.
    held_cost, held_error : what the farmer's own orders cost, with its standard error; None where
        no order is held.
    searches_apart, searches_error : how far the plans of two separate searches lie apart, with its
        standard error; None where it is unknown.
    judged : number of members that rules and plan are compared on.
    unseen : whether these are members that the search did not use.
    stay_checked : whether these members settled if crews and orders stay as they were.
    leaving : what leaving a field assumes, by crops that share it.
    parts : the plan's loss by part: names of `scheduler.costs.loss_parts.LossPart` in small letters
        and `UNCUT`; sums to `loss`.
    """

    already_lost: float
    at_stake: float
    loss: float
    loss_error: float
    member_loss: tuple[float, ...]
    rules: tuple[RuleComparison, ...]
    floor: float | None
    held_cost: float | None
    held_error: float | None
    judged: int
    unseen: bool
    leaving: tuple[Leaving, ...] = ()
    parts: tuple[tuple[str, float], ...] = ()
    stay_checked: bool = False
    searches_apart: float | None = None
    searches_error: float | None = None


@dataclass(frozen=True, kw_only=True)
class Morning:
    """A planned morning: all that terminal, sheet, page and files show.

    `season` starts some days before `now` and runs to the horizon; its field axis follows
    `farm.fields`, then the wet hollows (`season_rows`). `forecast_until` is the end of the
    forecast; other weather stands in for the hours after it, see `doubts`; None where it reaches to
    the end of the days planned. `decision` prices a user's own orders; no output
    shows it.
    """

    farm: Farm
    now: datetime
    until: datetime
    seed: int
    source: str  # of the forecast
    issued: datetime | None
    age_h: float | None
    forecast_until: datetime | None
    weather_notes: tuple[str, ...]
    farm_notes: tuple[str, ...] = ()  # what the plan assumes for want of an entry
    members: int
    weather: Weather  # per field, same hours as season
    season: Season
    makeup: MakeUp
    makeups: tuple[tuple[MakeUp, float], ...]  # the best ones with their expected loss
    crews: tuple[CrewOrders, ...]
    left_out: tuple[LeftOut, ...]
    totals: tuple[PointTotal, ...] = ()
    money: MoneyAtStake
    deciding: tuple[Deciding, ...] = ()
    cautions: tuple[DayCaution, ...]
    changes: tuple[Change | str, ...] = ()  # against the previous orders; news of the book is text
    machine_moves: tuple[MachineMove, ...] = ()  # against the previous orders, else the farm file
    undriven: tuple[str, ...] = ()  # machines that are up and that nobody drives on the first day
    lessons: tuple[Lesson, ...] = ()  # what the book's readings taught
    doubts: WeatherDoubts = field(default_factory=WeatherDoubts)
    decision: Decision | None = field(default=None, repr=False, compare=False)
