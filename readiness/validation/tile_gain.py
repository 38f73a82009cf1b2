"""Days by which tile brings spring work forward on poorly drained ground, at stations.

The stations are those of states where tile is common. The ground is bare or in stubble, as before
planting. Where rain is scarce no water table stands in the model, and tile gains nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from readiness.soil.land import POOR, Land
from readiness.soil.water_balance import KCB_RIPE
from readiness.validation.days_suitable import headland_room
from readiness.validation.published_check import PublishedCheck
from readiness.validation.stations import Station

#: States in which tile is common (memory: Census of Agriculture 2017).
TILE_STATES = ("IA", "IL", "IN", "MI", "MN", "OH")
#: Sand and clay, fractions.
TEXTURES: Mapping[str, tuple[float, float]] = {
    "silty clay loam": (0.10, 0.35),
    "sand": (0.88, 0.05),
}
#: Days of work after which planting counts as done: 8.3 for 1,600 acres (Iowa State, A3-25).
PLANTING_DAYS = 8.3
#: First and last month that are looked at, and their days.
SPRING, SPRING_LENGTH = (4, 8), 153


@dataclass(frozen=True, kw_only=True)
class TileGain:
    """Days by which tile ends spring work earlier, the mean over the years of a station."""

    station: str
    texture: str
    days: float


def tile_gains(stations: Iterable[Station]) -> list[TileGain]:
    """Gains at the stations of `TILE_STATES`, by texture; springs with gaps are left out."""
    return [
        TileGain(station=s.daily.name, texture=texture, days=days)
        for s in stations
        if s.daily.name[:2] in TILE_STATES
        for texture, days in zip(TEXTURES, _station_gains(s), strict=True)
        if np.isfinite(days)
    ]


def _station_gains(station: Station) -> list[float]:
    """Mean days that tile gains on each of `TEXTURES`; NaN without a whole spring."""
    sand, clay = np.repeat(np.array(list(TEXTURES.values())).T, 2, axis=1)
    n = sand.size
    place = station.daily
    land = Land.of(
        n,
        sand=sand,
        clay=clay,
        drainage=POOR,
        tile=[False, True] * len(TEXTURES),
        latitude=place.latitude,
        longitude=place.longitude,
    )
    room = headland_room(station, land, kcb=KCB_RIPE)
    share = np.where(np.isfinite(room), room >= 0.0, np.nan).mean(axis=2)
    in_spring = (station.month >= SPRING[0]) & (station.month <= SPRING[1])
    gains = []
    for year in np.unique(station.year):
        worked = share[:, in_spring & (station.year == year)].cumsum(axis=1)
        if worked.shape[1] == SPRING_LENGTH and np.isfinite(worked).all():
            late = (worked < PLANTING_DAYS).sum(axis=1)
            gains.append(late[0::2] - late[1::2])
    return [float(x) for x in np.mean(gains, axis=0)] if gains else [np.nan] * len(TEXTURES)


def tile_checks(gains: Sequence[TileGain]) -> list[PublishedCheck]:
    """Statements about tile; none without stations where tile is common."""
    by_texture = {t: [g.days for g in gains if g.texture == t] for t in TEXTURES}
    if not all(by_texture.values()):
        return []
    return [
        PublishedCheck(
            name="planting done earlier by tile, poorly drained silty clay loam, median station",
            unit="d",
            low=7.0,
            high=15.0,
            value=float(np.median(by_texture["silty clay loam"])),
            source="Ohio State and USDA, as a contractor quotes them: planting begins 7 to 15 days "
            "earlier",
        ),
        PublishedCheck(
            name="the same on sand with poor drainage below, largest",
            unit="d",
            low=0.0,
            high=1.0,
            value=max(by_texture["sand"]),
            source="common practice, no source: sand that bears a day after rain needs no tile",
        ),
    ]
