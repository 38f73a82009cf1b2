"""Road distances between the base, fields and delivery points."""

from __future__ import annotations

import math

from scheduler.farm.model import Farm, Position


def road_km(a: Position, b: Position) -> float:
    """Distance by section roads: north-south plus east-west, km, on a sphere of 6371 km."""
    ns = abs(a[0] - b[0]) * math.pi / 180.0 * 6371.0
    ew = abs(a[1] - b[1]) * math.pi / 180.0 * 6371.0 * math.cos(math.radians((a[0] + b[0]) / 2))
    return ns + ew


def between_km(farm: Farm, a: str, b: str) -> float:
    """Road distance between two places, km.

    The user's own distance counts first, in either direction, then the positions. A delivery
    point without a position is reached by way of the base.

    Parameters
    ----------
    a, b : ids of fields or delivery points, or 'base'.
    """
    entered = farm.moves.distances_km
    for pair in ((a, b), (b, a)):
        if pair in entered:
            return entered[pair]
    detour = sum(farm.detours_km.get(place, 0.0) for place in {a, b})
    return road_km(farm.positions[a], farm.positions[b]) + detour
