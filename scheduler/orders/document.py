"""The one serialiser of orders, and the plan read back from the document that keeps it.

`plan.json`, version 2: times are UTC ('2025-08-16T15:00:00Z'), quantities SI (ha, t, km, min,
percent wet basis), money in `currency`, unknown numbers null. Top level: `schema`, `version`,
`farm`, `time_zone`, `currency`, `made`, `until`, `seed`, `members`, `objective`, `forecast`
(source, issued, age_h, until, notes, doubts), `makeup` (chosen, priced), `machine_moves`,
`undriven`, `crews`, `left_out`, `totals`, `money`, `deciding`, `cautions`, `changes`, `lessons`,
`farm_notes`.
`forecast.until` is null where the forecast reaches to the end of the days planned;
`forecast.doubts` holds the attributes of `scheduler.weather.doubts.WeatherDoubts`. `money` holds
the attributes of `scheduler.orders.model.MoneyAtStake`; a standard error that is unknown is null.
A crew holds the attributes of `CrewOrders`; each of its `orders` those of `Order`, and its `place`
from 1; each of its `stints` those of `Stint`, what the crew does today and tomorrow in the member
whose clock is printed. `chance` is the share of members in which the field is finished by the end
of `cut_by`, or of the day of `finish.mid` in plans without `cut_by`; `start_pct` and `later_pct`
are start moistures today and on later days. `us_grade` (1-5, 6 for U.S. Sample grade) follows from
test weight and sprouted kernels alone; the other grading factors are unknown. It is null for all
but wheat in a farm with US units.

A document of version 1 has neither start moistures nor `money`. Its expected loss is read; its
comparisons with other ways are not, because another simulator made them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo

from cattrs import Converter

from scheduler.farm.model import Farm
from scheduler.orders.model import CrewOrders, LeftOut, MachineMove, MoneyAtStake
from scheduler.orders.reasons import FallbackAction, IdleNote, LeftOutReason, OrderReason
from scheduler.weather.doubts import WeatherDoubts
from scheduler.windows.day_figures import DayFigures


@dataclass(frozen=True, kw_only=True)
class IssuedDay(DayFigures):
    """Hours of a day as issued, with the words for the cause of most lost hours."""

    lost_to: str


@dataclass(frozen=True, kw_only=True)
class HoursRow:
    """Workable hours of one field or wet hollow, by day."""

    title: str
    field: str
    days: tuple[IssuedDay, ...]


@dataclass(frozen=True, kw_only=True)
class IssuedPlan:
    """An issued plan read back from its document; times are farm time. Names as in `Morning`."""

    farm: Farm
    now: datetime
    until: datetime
    crews: tuple[CrewOrders, ...]
    left_out: tuple[LeftOut, ...]
    dates: tuple[date, ...]
    hours: tuple[HoursRow, ...]
    messages: tuple[str, ...]  # a text for each crew
    cautions: tuple[str, ...]
    changes: tuple[str, ...]
    lessons: tuple[str, ...]
    notes: tuple[str, ...]  # on the weather
    source: str
    issued: datetime | None
    makeup: str
    members: int
    age_h: float | None
    money: MoneyAtStake
    forecast_until: datetime | None = None
    doubts: WeatherDoubts = field(default_factory=WeatherDoubts)
    machine_moves: tuple[MachineMove, ...] = ()
    undriven: tuple[str, ...] = ()
    farm_notes: tuple[str, ...] = ()
    deciding: tuple[str, ...] = ()  # what would change a crew's first field


@cache
def converter(zone: ZoneInfo) -> Converter:
    """Orders to JSON data and back: UTC with a 'Z' out, farm time in; NaN is null."""
    made = Converter(detailed_validation=False, unstruct_collection_overrides={Sequence: list})
    made.register_unstructure_hook(datetime, _utc_text)
    made.register_structure_hook(
        datetime, lambda text, _: datetime.fromisoformat(text).astimezone(zone)
    )
    made.register_unstructure_hook(date, date.isoformat)
    made.register_structure_hook(date, lambda text, _: date.fromisoformat(text))
    made.register_unstructure_hook(time, time.isoformat)
    made.register_structure_hook(time, lambda text, _: time.fromisoformat(text))
    made.register_unstructure_hook(float, lambda x: x if math.isfinite(x) else None)
    made.register_structure_hook(float, lambda x, _: math.nan if x is None else x)
    for worded in (
        OrderReason | str,
        FallbackAction | str,
        IdleNote | str,
        LeftOutReason | str,
    ):
        made.register_structure_hook(worded, lambda text, _: text)
    made.register_structure_hook(Farm, lambda farm, _: farm)  # no document holds the farm itself
    return made


def _utc_text(when: datetime) -> str:
    """'2025-08-16T15:00:00Z'."""
    return when.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def read_issued_plan(document: Mapping[str, Any], farm: Farm) -> IssuedPlan:
    """Read a document back as orders, in farm time."""
    named = {
        **document,
        "farm": farm,
        "now": document["made"],
        "age_h": document["forecast"]["age_h"],
        "notes": document["forecast"]["notes"],
        "source": document["forecast"]["source"],
        "issued": document["forecast"]["issued"],
        "makeup": document["makeup"]["chosen"],
        "forecast_until": document["forecast"].get("until"),
        "doubts": document["forecast"].get("doubts", {}),
        "money": document.get("money") or _money_of_version_1(document),
    }
    return converter(farm.tz).structure(named, IssuedPlan)


def _money_of_version_1(document: Mapping[str, Any]) -> dict[str, Any]:
    """`money` of a document of version 1: the expected loss alone."""
    return {
        "already_lost": None,
        "at_stake": None,
        "loss": document["loss"],
        "loss_error": None,
        "member_loss": document.get("member_loss", []),
        "rules": [],
        "floor": None,
        "held_cost": None,
        "held_error": None,
        "judged": document["members"],
        "unseen": False,
    }
