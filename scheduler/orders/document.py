"""The plan as `plan.json` and the season book keep it, and that document read back as orders.

`plan.json`, version 1: times are UTC ('2025-08-16T15:00:00Z'), quantities SI (ha, t, km, min,
percent wet basis), money in `currency`, unknown numbers null. Top level: `schema`, `version`,
`farm`, `time_zone`, `currency`, `made`, `until`, `seed`, `members`, `objective`, `forecast`
(source, issued, age_h, notes), `makeup` (chosen, priced), `crews`, `left_out`, `status`, `loss`,
`bound`, `gap`, `rules_of_thumb`, `member_loss`, `foresight_value`, `ignoring_cost`, `cautions`,
`changes`, `lessons`. A crew holds `crew`, its machines, `people`, `fallback`, `note` and `orders`,
each the attributes of `scheduler.orders.model.Order` and its `place` from 1. `us_grade` (1-5, 6 for
U.S. Sample grade) is what test weight and sprouted kernels alone leave open; the other factors of
a grade are not known. It is null but for wheat in a farm with US units.
"""

from __future__ import annotations

import math
import types
from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass
from dataclasses import fields as attributes
from datetime import UTC, date, datetime, time
from functools import cache
from typing import Any, TypeVar, Union, get_args, get_origin, get_type_hints

from scheduler.farm.model import Farm
from scheduler.orders.model import CrewOrders, LeftOut, Morning
from scheduler.windows.daily_hours import DayHours

T = TypeVar("T")


@dataclass(frozen=True, kw_only=True)
class HoursRow:
    """Hours ahead of one field or hollow by day."""

    title: str
    field: str
    days: tuple[DayHours, ...]


@dataclass(frozen=True, kw_only=True)
class IssuedPlan:
    """A plan as the page shows it; times are farm time. Names are those of `Morning`."""

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
    status: str
    loss: float
    bound: float | None
    gap: float | None
    rule_losses: dict[str, float]


def read_issued_plan(plan: Mapping[str, Any], farm: Farm) -> IssuedPlan:
    """A document back as orders, in farm time."""
    forecast = plan["forecast"]
    renamed = {
        **plan,
        "farm": farm,
        "now": plan["made"],
        "age_h": forecast["age_h"],
        "left_out": plan["left_out"],
        "notes": forecast["notes"],
        "source": forecast["source"],
        "issued": forecast["issued"],
        "makeup": plan["makeup"]["chosen"],
        "rule_losses": plan["rules_of_thumb"],
    }
    return _build(IssuedPlan, renamed, farm)


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


PLAN_VERSION = 1


def _plain_data(value: Any) -> Any:
    """Dataclasses, tuples and times as JSON takes them; NaN as None."""
    if isinstance(value, datetime):
        return value.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    if is_dataclass(value):
        return {a.name: _plain_data(getattr(value, a.name)) for a in attributes(value)}
    if isinstance(value, (tuple, list)):
        return [_plain_data(v) for v in value]
    if isinstance(value, dict):
        return {k: _plain_data(v) for k, v in value.items()}
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def plan_json(morning: Morning) -> dict[str, Any]:
    """The plan as the documented schema above: all that a replan or a review needs."""
    crews: list[dict[str, Any]] = _plain_data(morning.crews)
    for crew in crews:
        crew["orders"] = [{"place": n, **o} for n, o in enumerate(crew["orders"], 1)]
    same = ("until", "seed", "members", "status", "loss", "bound", "gap", "member_loss")
    lines = ("cautions", "changes", "lessons")
    return {
        "schema": "afterrain plan",
        "version": PLAN_VERSION,
        "farm": morning.farm.name,
        "time_zone": morning.farm.tz.key,
        "currency": morning.farm.currency,
        "made": _plain_data(morning.now),
        "objective": morning.farm.rules.objective,
        "forecast": {
            "source": morning.source,
            "issued": _plain_data(morning.issued),
            "age_h": _plain_data(morning.age_h),
            "notes": list(morning.weather_notes),
        },
        "makeup": {
            "chosen": morning.makeup,
            "priced": [{"makeup": m, "loss": _plain_data(c)} for m, c in morning.makeups],
        },
        "crews": crews,
        "left_out": _plain_data(morning.left_out),
        "rules_of_thumb": _plain_data(morning.rule_losses),
        **{name: _plain_data(getattr(morning, name)) for name in same},
        "foresight_value": _plain_data(morning.value_of_perfect_information),
        "ignoring_cost": _plain_data(morning.value_of_stochastic_solution),
        **{name: _plain_data(getattr(morning, name)) for name in lines},
    }
