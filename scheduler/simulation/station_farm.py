"""The farm of a past season: moved to a weather station, each wet hollow a field of its own."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from math import cos, radians
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from readiness.sources.daily_record import DailyRecord
from scheduler.costs.standing_loss import jobs_of
from scheduler.errors import FarmError
from scheduler.farm.model import DeliveryPoint, Farm, Field
from scheduler.windows.daily_hours import HOLLOW
from scheduler.windows.model_inputs import HOLLOW_CLAY

#: Days by which a crop heads and ripens later for each degree of latitude north (Hopkins 1918, from
#: memory: four days a degree in spring and early summer). Heading is alike in all years; assumed,
#: because the records hold no dates of sowing.
LATER_PER_DEGREE = 4.0
#: Time zone of a station by its hours from UTC.
ZONES = {
    -5: "America/New_York",
    -6: "America/Chicago",
    -7: "America/Denver",
    -8: "America/Los_Angeles",
}


def farm_at_station(farm: Farm, daily: DailyRecord, year: int) -> Farm:
    """Move a farm to a station in a year, with the same distances, soils and machines.

    Fields head and ripen as the latitude has it. Samples, cut fractions, gauges, absences,
    breakdowns and closures are dropped, and every machine is there.

    Raises
    ------
    FarmError
        If a field has neither a ripe nor a heading date.
    """
    north = daily.latitude - farm.base_lat
    stretch = cos(radians(farm.base_lat)) / cos(radians(daily.latitude))

    def position(lat: float, lon: float) -> tuple[float, float]:
        return lat + north, daily.longitude + (lon - farm.base_lon) * stretch

    def moved_field(f: Field) -> Field:
        if f.ripe is None and f.heading is None:
            raise FarmError(
                f'field "{f.id}": neither ripe nor heading is given, so past seasons cannot be '
                "replayed; fill one of these columns in fields.csv"
            )
        lat, lon = position(f.lat, f.lon)
        return replace(
            f,
            lat=lat,
            lon=lon,
            ripe=None if f.ripe is None else day_of_year(f.ripe, year, north),
            heading=None if f.heading is None else day_of_year(f.heading, year, north),
            sample_pct=None,
            sample_at=None,
            cut_fraction=0.0,
            boundary=(),
        )

    def moved_point(p: DeliveryPoint) -> DeliveryPoint:
        if p.lat is None or p.lon is None:
            return replace(p, closed=())
        lat, lon = position(p.lat, p.lon)
        return replace(p, lat=lat, lon=lon, closed=())

    there: dict[str, Any] = {"down": (), "joins": None, "leaves": None}
    return replace(
        farm,
        tz=ZoneInfo(ZONES.get(daily.utc_offset, farm.tz.key)),
        base_lat=daily.latitude,
        base_lon=daily.longitude,
        fields=tuple(moved_field(f) for f in farm.fields),
        points=tuple(moved_point(p) for p in farm.points),
        gauges={},
        crews=tuple(replace(c, absent=(), away=()) for c in farm.crews),
        combines=tuple(replace(c, **there) for c in farm.combines),
        carts=tuple(replace(c, **there) for c in farm.carts),
        trucks=tuple(replace(t, **there) for t in farm.trucks),
        elevation_m=farm.elevation_m if np.isnan(daily.elevation_m) else daily.elevation_m,
    )


def day_of_year(day: date, year: int, north: float) -> date:
    """The same stage of growth in another year, `north` degrees of latitude from home."""
    shift = timedelta(days=round(LATER_PER_DEGREE * north))
    return date(year, 1, 1) + timedelta(days=day.timetuple().tm_yday - 1) + shift


def hollows_as_fields(farm: Farm) -> Farm:
    """The farm with every job, a field or its upland or wet hollow, as a field of its own."""
    fields: list[Field] = []
    parts: dict[str, list[str]] = {}
    for job in jobs_of(farm):
        f = farm.fields[job.field]
        part = f.id if not job.parcel else f"{f.id}/{job.parcel}"
        soil: dict[str, Any] = {}
        if job.parcel == HOLLOW:
            clay = min(f.clay + HOLLOW_CLAY, 0.6)
            soil = {
                "clay": clay,
                "sand": min(f.sand, 1.0 - clay),
                "drainage": "poor",
                "slope_pct": 0.0,
            }
        fields.append(replace(f, id=part, area_ha=job.area_ha, wet_fraction=0.0, **soil))
        parts.setdefault(f.id, []).append(part)
    distances = {
        (x, y): km
        for (a, b), km in farm.moves.distances_km.items()
        for x in parts.get(a, [a])
        for y in parts.get(b, [b])
    }
    return replace(farm, fields=tuple(fields), moves=replace(farm.moves, distances_km=distances))
