"""Another combine, longer hours, tile: the same farm with something altered."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import time
from typing import Any

from readiness.grain.crops import CROPS
from scheduler.errors import FarmError
from scheduler.farm.model import Crew, DeliveryPoint, Farm, Week

#: Money per tonne and point of drying where the farm gains a dryer; assumed: 5 cents a bushel and
#: point of wheat (common practice, no source).
DRYING_T_POINT = 1.84
MINUTES_DAY = 24 * 60


@dataclass(frozen=True, kw_only=True)
class Alteration:
    """What is altered, all together.

    `combines`, `carts`, `trucks` are ids of machines to have one more of, in the same crew;
    `hours` longer in the evening; `dryer` at the farm's own bins; `moisture` points more at which
    cutting may start (and own bins take it); `tile` ids of fields to drain.
    """

    combines: tuple[str, ...] = ()
    carts: tuple[str, ...] = ()
    trucks: tuple[str, ...] = ()
    hours: float = 0.0
    dryer: bool = False
    moisture: float = 0.0
    tile: tuple[str, ...] = ()

    def __str__(self) -> str:
        parts = [f"one more {kind} like {name}" for kind, names in (
            ("combine", self.combines), ("cart", self.carts), ("truck", self.trucks)
        ) for name in names]  # fmt: skip
        parts += [f"{self.hours:g} h longer days"] if self.hours else []
        parts += ["a dryer"] if self.dryer else []
        parts += [f"cutting from {self.moisture:+g} points moisture"] if self.moisture else []
        parts += [f"tile in {', '.join(self.tile)}"] if self.tile else []
        return ", ".join(parts) or "no change"


def apply_alteration(farm: Farm, change: Alteration) -> Farm:
    """The farm with a change.

    Raises
    ------
    FarmError
        Where a machine or field does not exist, there is nothing to dry in, or hours run into
        each other.
    """
    for kind in ("combines", "carts", "trucks"):
        for name in getattr(change, kind):
            farm = _with_one_more(farm, kind, name)
    if change.hours:
        crews = tuple(_longer(c, change.hours) for c in farm.crews)
        farm = replace(farm, crews=crews)
    if change.dryer:
        farm = _with_dryer(farm)
    if change.moisture:
        farm = _from_moisture(farm, change.moisture)
    return _tiled(farm, change.tile)


def _with_one_more(farm: Farm, kind: str, name: str) -> Farm:
    machines = {m.id: m for m in getattr(farm, kind)}
    if name not in machines:
        raise FarmError(f'there is no {kind[:-1]} "{name}"; ids are {", ".join(machines)}')
    new = _fresh_id(name, list(machines))
    owners = [c for c in farm.crews if name in getattr(c, kind)]
    if not owners:
        raise FarmError(f'{kind[:-1]} "{name}" is in no crew: name one that is')
    crews = tuple(_joined(c, kind, new) if c in owners else c for c in farm.crews)
    more: dict[str, Any] = {kind: (*getattr(farm, kind), replace(machines[name], id=new))}
    return replace(farm, crews=crews, **more)


def _joined(crew: Crew, kind: str, machine: str) -> Crew:
    """The crew with one more machine and one to drive it."""
    mine: dict[str, Any] = {kind: (*getattr(crew, kind), machine)}
    return replace(crew, people=crew.people + 1, **mine)


def _fresh_id(name: str, taken: Sequence[str]) -> str:
    n = 2
    while f"{name} ({n})" in taken:
        n += 1
    return f"{name} ({n})"


def _longer(crew: Crew, hours: float) -> Crew:
    """The crew with every working day ended later."""
    week: list[tuple[time, time] | None] = []
    for span in crew.week:
        if span is None:
            week.append(None)
            continue
        first, last = (t.hour * 60 + t.minute for t in span)
        end = (last if last > first else last + MINUTES_DAY) + round(60 * hours)
        if not first < end < first + MINUTES_DAY:
            raise FarmError(f'crew "{crew.id}": {hours:g} h more leave no night: ask for fewer')
        week.append((span[0], time(end % MINUTES_DAY // 60, end % 60)))
    longer: Week = tuple(week)
    return replace(crew, week=longer, hours_max_day=crew.hours_max_day + hours)


def _with_dryer(farm: Farm) -> Farm:
    wet = [p for p in farm.points if p.own and any(
        m.drying_t_point is None for m in p.markets.values())]  # fmt: skip
    if not wet:
        raise FarmError(
            "a dryer changes nothing: the farm has no bins of its own, or they have one already; "
            "give the bins as a [[point]] with own = true"
        )
    return replace(farm, points=tuple(_dried(p) if p in wet else p for p in farm.points))


def _dried(point: DeliveryPoint) -> DeliveryPoint:
    markets = {
        crop: m if m.drying_t_point is not None else replace(
            m, drying_t_point=DRYING_T_POINT,
            moisture_limit_pct=max(m.moisture_limit_pct, CROPS[crop].thresh_limit),
        )
        for crop, m in point.markets.items()
    }  # fmt: skip
    return replace(point, markets=markets)


def _from_moisture(farm: Farm, more: float) -> Farm:
    """Cutting from wetter grain, which the farm's own bins take."""
    limits = farm.rules.thresh_limit_pct
    grown = {f.crop for f in farm.fields}
    new = {c: limits.get(c, CROPS[c].thresh_limit) + more for c in sorted(grown)}
    points = tuple(
        replace(p, markets={
            crop: replace(m, moisture_limit_pct=m.moisture_limit_pct + more)
            for crop, m in p.markets.items()
        }) if p.own else p
        for p in farm.points
    )  # fmt: skip
    return replace(farm, points=points, rules=replace(farm.rules, thresh_limit_pct=limits | new))


def _tiled(farm: Farm, names: Sequence[str]) -> Farm:
    ids = {f.id for f in farm.fields}
    for name in names:
        if name not in ids:
            raise FarmError(f'there is no field "{name}" to tile; ids are {", ".join(sorted(ids))}')
    return replace(
        farm, fields=tuple(replace(f, tile=f.tile or f.id in names) for f in farm.fields)
    )
