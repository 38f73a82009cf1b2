"""The map of the farm: fields, delivery points, and today's route of each crew."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from flask import Flask, render_template, request

from scheduler.farm.model import Farm, Field, Position
from scheduler.farm.wording import clock, crew_title, one_line, sentence, time_of_day
from scheduler.orders.document import IssuedPlan
from scheduler.orders.model import Stint
from scheduler.web.access.private_state import Person
from scheduler.web.context import app_context

DEGREE_KM = 111.32  # of latitude
#: Part of the width or height that stays free around what is shown, and least width shown, km.
MARGIN, LEAST_KM = 0.12, 1.5
#: Size of labels as a share of the width shown; assumed, 12 px on a phone 370 px wide.
LABEL = 1.0 / 31.0
WAY_STYLES = 4  # line styles of page.css; a fifth crew shares the first one's


@dataclass(frozen=True, kw_only=True)
class Projection:
    """Kilometres east and south of a place; true to a few metres over the 50 km of a farm."""

    lat: float
    lon: float

    @property
    def east_km(self) -> float:
        """Kilometres of a degree of longitude."""
        return DEGREE_KM * math.cos(math.radians(self.lat))

    def of(self, place: Position) -> tuple[float, float]:
        """Place of (lat, lon) on the map."""
        return (place[1] - self.lon) * self.east_km, (self.lat - place[0]) * DEGREE_KM


@dataclass(frozen=True, kw_only=True)
class MapField:
    """A field on the map.

    Attributes
    ----------
    path : its outline as an SVG path.
    x, y : a point inside, km east and south of the base.
    places : its places in today's orders, '1' or '1, 3'; "" where nobody cuts it today.
    today : texts of today's stays in it.
    hours : hours that it can be cut today, "" where unknown.
    cut : share of its area that is cut.
    """

    field: Field
    path: str
    x: float
    y: float
    places: str
    today: tuple[str, ...]
    hours: str
    cut: float


@dataclass(frozen=True, kw_only=True)
class Way:
    """Today's route of a crew, as the points of an SVG polyline; `style` numbers its line."""

    crew: str
    title: str
    points: str
    style: int


@dataclass(frozen=True, kw_only=True)
class FarmMap:
    """All that the map shows; `view` is the part shown, x, y, width and height in km."""

    fields: tuple[MapField, ...]
    ways: tuple[Way, ...]
    points: tuple[tuple[str, float, float], ...]
    base: tuple[float, float]
    view: tuple[float, float, float, float]
    label: float
    projection: Projection


def register(app: Flask) -> None:
    """Add the map to the app."""
    app.get("/map")(farm_map)


def farm_map() -> str:
    """Show the map: the whole farm, all routes of today, or that of one crew."""
    return map_page(request.args.get("show", ""))


def map_page(part: str, *, person: Person | None = None) -> str:
    """Render the map.

    Parameters
    ----------
    part : what fills the map: 'today', 'all', or a crew.
    person : driver whose page this is; the farmer's where there is none.
    """
    context = app_context()
    farm, now = context.farm(), context.clock()
    with context.book() as book:
        plan = context.issued(book)[1]
        cut = book.progress(farm, now)
    day = now.astimezone(farm.tz).date()
    stints = {c.crew: c.stints_on(day) for c in (plan.crews if plan else ())}
    stints = {crew: own for crew, own in stints.items() if own}
    if part not in (*stints, "all"):
        part = "today" if stints else "all"
    shown = list(stints) if part == "today" else [part]
    made = draw(farm, plan, stints, cut, shown=() if part == "all" else shown)
    return render_template(
        "map.html",
        map=made,
        part=part,
        crews=() if person else tuple(stints),
        person=person,
        north_km=DEGREE_KM,
    )


def draw(
    farm: Farm,
    plan: IssuedPlan | None,
    stints: dict[str, list[Stint]],
    cut: dict[str, float],
    *,
    shown: Sequence[str],
) -> FarmMap:
    """Lay the farm out.

    Parameters
    ----------
    stints : today's stays by crew.
    cut : share of each field that is cut.
    shown : crews whose routes fill the map; the whole farm where none is named.
    """
    projection = Projection(lat=farm.base_lat, lon=farm.base_lon)
    fields = tuple(_field(f, farm, plan, stints, cut, projection) for f in farm.fields)
    where = {f.field.id: (f.x, f.y) for f in fields}
    base = projection.of((farm.base_lat, farm.base_lon))
    ways = tuple(
        Way(
            crew=crew,
            title=sentence(crew_title(crew)),
            points=" ".join(f"{x:.3f},{y:.3f}" for x, y in _route(own, where, base)),
            style=n % WAY_STYLES,
        )
        for n, (crew, own) in enumerate(stints.items())
    )
    points = tuple(
        (one_line(p.id), *projection.of((p.lat, p.lon)))
        for p in farm.points
        if p.lat is not None and p.lon is not None
    )
    near = [xy for crew in shown for xy in _route(stints[crew], where, base)]
    view = _view(near or [*where.values(), base, *((x, y) for _, x, y in points)])
    return FarmMap(
        fields=fields,
        ways=tuple(w for w in ways if not shown or w.crew in shown),
        points=points,
        base=base,
        view=view,
        label=LABEL * view[2],
        projection=projection,
    )


def _route(
    stints: Sequence[Stint], where: dict[str, tuple[float, float]], base: tuple[float, float]
) -> list[tuple[float, float]]:
    """Straight lines through today's fields; from the base where the day begins with a move."""
    route = [where[s.field] for s in stints if s.field in where]
    return [base, *route] if stints and stints[0].move_min > 0.0 else route


def _field(
    field: Field,
    farm: Farm,
    plan: IssuedPlan | None,
    stints: dict[str, list[Stint]],
    cut: dict[str, float],
    projection: Projection,
) -> MapField:
    x, y = projection.of((field.lat, field.lon))
    here = [
        (place, crew, s)
        for crew, own in stints.items()
        for place, s in enumerate(own, 1)
        if s.field == field.id
    ]
    return MapField(
        field=field,
        path=_outline(field, projection),
        x=x,
        y=y,
        places=", ".join(str(place) for place, _crew, _s in here),
        today=tuple(
            f"{sentence(crew_title(crew))}: {time_of_day(s.start, farm.units)}"
            f"-{clock(s.until, s.start, farm.units)}"
            for _place, crew, s in here
        ),
        hours=_hours(field, plan, stints),
        cut=cut.get(field.id, 0.0),
    )


def _hours(field: Field, plan: IssuedPlan | None, stints: dict[str, list[Stint]]) -> str:
    """Hours that the field can be cut on the day of the map."""
    day = next((s.start.date() for own in stints.values() for s in own), None)
    if plan is None or day not in plan.dates:
        return ""
    at = plan.dates.index(day)
    rows = [row.days[at].cut for row in plan.hours if row.field == field.id]
    return "" if not rows or rows[0] is None else f"{rows[0]:.0f}"


def _outline(field: Field, projection: Projection) -> str:
    """The boundary as a path, or a circle of the field's area where it is unknown."""
    if field.boundary:
        ring = (projection.of((lat, lon)) for lon, lat in field.boundary)
        return "M" + " L".join(f"{x:.3f},{y:.3f}" for x, y in ring) + " Z"
    x, y = projection.of((field.lat, field.lon))
    r = math.sqrt(field.area_ha / 100.0 / math.pi)
    arc = f"a{r:.3f},{r:.3f} 0 1 0"
    return f"M{x - r:.3f},{y:.3f} {arc} {2 * r:.3f},0 {arc} {-2 * r:.3f},0 Z"


def _view(places: Iterable[tuple[float, float]]) -> tuple[float, float, float, float]:
    """The part of the map that holds all places, with a margin."""
    xs, ys = zip(*places, strict=True)
    width = max(LEAST_KM, max(xs) - min(xs)) * (1.0 + 2.0 * MARGIN) + 0.8
    height = max(LEAST_KM, max(ys) - min(ys)) * (1.0 + 2.0 * MARGIN) + 0.8
    x, y = (max(xs) + min(xs) - width) / 2.0, (max(ys) + min(ys) - height) / 2.0
    return x, y, width, height
