"""Road distances between base, fields and delivery points."""

from __future__ import annotations

import math

from scheduler.farm.model import Farm


def road_km(a: tuple[float, float], b: tuple[float, float]) -> float:
    """Distance by section roads: north-south plus east-west, km, on a sphere of 6371 km."""
    ns = abs(a[0] - b[0]) * math.pi / 180.0 * 6371.0
    ew = abs(a[1] - b[1]) * math.pi / 180.0 * 6371.0 * math.cos(math.radians((a[0] + b[0]) / 2))
    return ns + ew


def between_km(farm: Farm, a: str, b: str) -> float:
    """Road distance between two places by id ('base', a field or a delivery point), km.

    A distance given by the user wins, in either direction; then positions; then a delivery
    point's own distance from base plus the way to base.
    """
    given = farm.moves.distances_km
    if (a, b) in given or (b, a) in given:
        return given.get((a, b), given.get((b, a), 0.0))
    spot = {"base": (farm.base_lat, farm.base_lon)}
    spot |= {f.id: (f.lat, f.lon) for f in farm.fields}
    detour = 0.0
    for p in farm.points:
        if p.lat is not None and p.lon is not None:
            spot[p.id] = (p.lat, p.lon)
        else:
            spot[p.id] = spot["base"]
            detour += (p.distance_km or 0.0) if p.id in (a, b) else 0.0
    return road_km(spot[a], spot[b]) + detour
