"""An issued plan: from the morning to the document the season book keeps, and back to orders."""

from __future__ import annotations

import types
from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass
from datetime import date, datetime, time
from functools import cache
from typing import Any, TypeVar, Union, get_args, get_origin, get_type_hints

from scheduler.farm import Farm
from scheduler.hours import DayHours, days_ahead, row_title
from scheduler.messages import message
from scheduler.orders import CrewOrders, LeftOut, Morning
from scheduler.outlets import plan_json

T = TypeVar("T")


@dataclass(frozen=True, kw_only=True)
class HoursRow:
    """Hours ahead of one field or hollow by day."""

    title: str
    field: str
    days: tuple[DayHours, ...]


@dataclass(frozen=True, kw_only=True)
class Issued:
    """A plan as the page shows it; times are farm time. Names are those of `Morning`."""

    farm: Farm
    now: datetime
    until: datetime
    crews: tuple[CrewOrders, ...]
    left: tuple[LeftOut, ...]
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
    status: str
    loss: float
    bound: float | None
    gap: float | None
    rules: dict[str, float]


def document(morning: Morning) -> dict[str, Any]:
    """`plan_json` and what a page adds to it: hours ahead and texts to crews."""
    ahead = days_ahead(morning.farm, morning.season, now=morning.now)
    rows = range(morning.season.reason.shape[1])
    return {
        **plan_json(morning),
        "hours": [
            {
                "title": row_title(morning.farm, row),
                "field": _field_of(morning.farm, row),
                "days": [_plain(day[row]) for day in ahead.values()],
            }
            for row in rows
        ],
        "dates": [d.isoformat() for d in ahead],
        "messages": [message(crew, morning) for crew in morning.crews],
    }


def _field_of(farm: Farm, row: int) -> str:
    hollows = [f.id for f in farm.fields if f.wet_fraction]
    return farm.fields[row].id if row < len(farm.fields) else hollows[row - len(farm.fields)]


def _plain(day: DayHours) -> dict[str, Any]:
    out = {f.name: getattr(day, f.name) for f in fields(day)}
    out["first"] = day.first.isoformat() if day.first else None
    return {k: None if v != v else v for k, v in out.items()}


def read_issued(plan: Mapping[str, Any], farm: Farm) -> Issued:
    """A document back as orders, in farm time."""
    forecast = plan["forecast"]
    renamed = {
        **plan,
        "farm": farm,
        "now": plan["made"],
        "age_h": forecast["age_h"],
        "left": plan["left_out"],
        "notes": forecast["notes"],
        "source": forecast["source"],
        "issued": forecast["issued"],
        "makeup": plan["makeup"]["chosen"],
        "rules": plan["rules_of_thumb"],
    }
    return _build(Issued, renamed, farm)


def _build(kind: type[T], data: Mapping[str, Any], farm: Farm) -> T:
    """A dataclass from its JSON, by the types of its attributes."""
    hints = _hints(kind)  # type: ignore[arg-type]
    names = [f.name for f in fields(kind) if f.name in data]  # type: ignore[arg-type]
    return kind(**{name: _value(hints[name], data[name], farm) for name in names})


@cache
def _hints(kind: type) -> dict[str, Any]:
    return get_type_hints(kind)


def _value(hint: Any, value: Any, farm: Farm) -> Any:
    origin, inner = get_origin(hint), get_args(hint)
    if origin in (Union, types.UnionType):
        known = [h for h in inner if h is not type(None)]
        return None if value is None else _value(known[0], value, farm)
    if value is None:
        return float("nan") if hint is float else None
    if hint is Farm:
        return farm
    if origin is tuple:
        return tuple(_value(inner[0], v, farm) for v in value)
    if hint is datetime:
        return datetime.fromisoformat(value).astimezone(farm.tz)
    if hint is date:
        return date.fromisoformat(value)
    if hint is time:
        return time.fromisoformat(value)
    return _build(hint, value, farm) if is_dataclass(hint) else value  # type: ignore[arg-type]
