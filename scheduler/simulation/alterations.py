"""Alterations of a farm: one more machine, longer hours, a dryer, wetter grain, tile."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import time
from typing import Any

from readiness.grain.crops import CROPS
from scheduler.errors import FarmError
from scheduler.farm.model import Crew, DeliveryPoint, Farm, Week

#: Cost of drying with the new dryer, money per tonne and percentage point; assumed: 5 cents a
#: bushel and point of wheat (common practice, no source).
DRYING_T_POINT = 1.84
MINUTES_DAY = 24 * 60


@dataclass(frozen=True, kw_only=True)
class Alteration:
    """Changes to a farm, all made together.

    Attributes
    ----------
    combines, carts, trucks
        Ids of machines, each to be doubled in its crew, with one more person.
    hours
        Hours by which every working day ends later.
    dryer
        Whether the farm's own bins gain a dryer.
    moisture
        Percentage points by which the moisture to start cutting, and that taken by own bins, rise.
    tile
        Ids of fields to drain by tile.
    """

    combines: tuple[str, ...] = ()
    carts: tuple[str, ...] = ()
    trucks: tuple[str, ...] = ()
    hours: float = 0.0
    dryer: bool = False
    moisture: float = 0.0
    tile: tuple[str, ...] = ()


def apply_alteration(farm: Farm, change: Alteration) -> Farm:
    """Return the farm with an alteration.

    Raises
    ------
    FarmError
        If a machine or field does not exist, a machine is in no crew, the farm has no bins
        without a dryer, or a working day would last until the next.
    """
    for kind in ("combines", "carts", "trucks"):
        for name in getattr(change, kind):
            farm = _with_one_more(farm, kind, name)
    if change.hours:
        crews = tuple(_with_longer_days(c, change.hours) for c in farm.crews)
        farm = replace(farm, crews=crews)
    if change.dryer:
        farm = _with_dryer(farm)
    if change.moisture:
        farm = _cut_wetter(farm, change.moisture)
    return _with_tile(farm, change.tile)


def _with_one_more(farm: Farm, kind: str, name: str) -> Farm:
    """The farm with a machine doubled; `kind` is 'combines', 'carts' or 'trucks'."""
    machines = {m.id: m for m in getattr(farm, kind)}
    if name not in machines:
        raise FarmError(f'there is no {kind[:-1]} "{name}"; ids are {", ".join(machines)}')
    new = _unused_id(name, list(machines))
    owners = [c for c in farm.crews if name in getattr(c, kind)]
    if not owners:
        raise FarmError(f'{kind[:-1]} "{name}" is in no crew: name a {kind[:-1]} that is')
    crews = tuple(_with_machine(c, kind, new) if c in owners else c for c in farm.crews)
    fleet: dict[str, Any] = {kind: (*getattr(farm, kind), replace(machines[name], id=new))}
    return replace(farm, crews=crews, **fleet)


def _with_machine(crew: Crew, kind: str, machine: str) -> Crew:
    """The crew with one more machine and one more person to drive it."""
    machines: dict[str, Any] = {kind: (*getattr(crew, kind), machine)}
    return replace(crew, people=crew.people + 1, **machines)


def _unused_id(name: str, taken: Sequence[str]) -> str:
    """The id 'name (2)', or with the next free number."""
    n = 2
    while f"{name} ({n})" in taken:
        n += 1
    return f"{name} ({n})"


def _with_longer_days(crew: Crew, hours: float) -> Crew:
    """The crew with every working day ending later by some hours."""
    week: list[tuple[time, time] | None] = []
    for span in crew.week:
        if span is None:
            week.append(None)
            continue
        first, last = (t.hour * 60 + t.minute for t in span)
        end = (last if last > first else last + MINUTES_DAY) + round(60 * hours)
        if not first < end < first + MINUTES_DAY:
            raise FarmError(
                f'crew "{crew.id}": {hours:g} h longer days last until the next morning: '
                "ask for fewer hours"
            )
        week.append((span[0], time(end % MINUTES_DAY // 60, end % 60)))
    longer: Week = tuple(week)
    return replace(crew, week=longer, hours_max_day=crew.hours_max_day + hours)


def _with_dryer(farm: Farm) -> Farm:
    """The farm with a dryer at every own point that lacks one."""
    wet = [
        p
        for p in farm.points
        if p.own and any(m.drying_t_point is None for m in p.markets.values())
    ]
    if not wet:
        raise FarmError(
            "a dryer changes nothing: the farm has no bins of its own, or they have one already; "
            "give the bins as a [[point]] with own = true"
        )
    return replace(farm, points=tuple(_point_with_dryer(p) if p in wet else p for p in farm.points))


def _point_with_dryer(point: DeliveryPoint) -> DeliveryPoint:
    """The point with a dryer: it takes every crop at the moisture that can be threshed."""
    markets = {
        crop: m
        if m.drying_t_point is not None
        else replace(
            m,
            drying_t_point=DRYING_T_POINT,
            moisture_limit_pct=max(m.moisture_limit_pct, CROPS[crop].thresh_limit),
        )
        for crop, m in point.markets.items()
    }
    return replace(point, markets=markets)


def _cut_wetter(farm: Farm, points: float) -> Farm:
    """The farm that starts to cut at grain wetter by some points, which its own bins take."""
    limits = farm.rules.thresh_limit_pct
    grown = {f.crop for f in farm.fields}
    new = {c: limits.get(c, CROPS[c].thresh_limit) + points for c in sorted(grown)}
    delivery_points = tuple(
        replace(
            p,
            markets={
                crop: replace(m, moisture_limit_pct=m.moisture_limit_pct + points)
                for crop, m in p.markets.items()
            },
        )
        if p.own
        else p
        for p in farm.points
    )
    return replace(
        farm, points=delivery_points, rules=replace(farm.rules, thresh_limit_pct=limits | new)
    )


def _with_tile(farm: Farm, names: Sequence[str]) -> Farm:
    """The farm with tile in the named fields."""
    ids = {f.id for f in farm.fields}
    for name in names:
        if name not in ids:
            raise FarmError(f'there is no field "{name}" to tile; ids are {", ".join(sorted(ids))}')
    return replace(
        farm, fields=tuple(replace(f, tile=f.tile or f.id in names) for f in farm.fields)
    )
