"""Boundaries of fields: fields.geojson (RFC 7946) and polygons in well-known text."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from scheduler.errors import Problem, UnreadableError
from scheduler.farm.units import normalized_name

FILE = "fields.geojson"
#: Authalic radius of the WGS 84 ellipsoid, km.
EARTH_RADIUS_KM = 6371.0072


@dataclass(frozen=True, kw_only=True)
class Boundary:
    """A boundary: its outer ring (lon, lat), a point inside (lat, lon) and its area, ha."""

    ring: tuple[tuple[float, float], ...]
    inside: tuple[float, float]
    area_ha: float


def area_ha(geometry: BaseGeometry) -> float:
    """Area of a lon-lat geometry, ha, by the sinusoidal equal-area projection of the sphere."""
    lon0 = geometry.centroid.x

    def flat(xy: Any) -> Any:
        out = np.radians(xy) * EARTH_RADIUS_KM
        out[:, 0] = np.radians(xy[:, 0] - lon0) * EARTH_RADIUS_KM * np.cos(np.radians(xy[:, 1]))
        return out

    return float(shapely.transform(geometry, flat).area) * 100.0


def from_geojson(value: object) -> Boundary:
    """A boundary from a GeoJSON geometry; Unreadable if it is none."""
    try:
        return _shape(shapely.from_geojson(json.dumps(value)))
    except (shapely.errors.ShapelyError, ValueError, TypeError):
        raise UnreadableError(
            "is not a polygon with closed rings", "draw its boundary as a polygon"
        ) from None


def from_wkt(text: str) -> Boundary:
    """A boundary from well-known text; Unreadable if it is none."""
    try:
        return _shape(shapely.from_wkt(text))
    except (shapely.errors.ShapelyError, ValueError, TypeError):
        raise UnreadableError(
            "is no POLYGON in well-known text", "correct it, or use fields.geojson"
        ) from None


def _shape(geometry: BaseGeometry | None) -> Boundary:
    """The facts of a polygon that is sound; of several parts the largest gives the ring."""
    if geometry is None or geometry.geom_type not in ("Polygon", "MultiPolygon"):
        raise TypeError
    west, south, east, north = geometry.bounds  # NaN of an empty one
    if not (-180 <= west <= east <= 180 and -90 <= south <= north <= 90):
        raise UnreadableError(
            "is not in degrees of longitude and latitude", "export it in WGS 84, EPSG:4326"
        )
    if not geometry.is_valid:
        reason = shapely.is_valid_reason(geometry).split("[")[0].lower()
        raise UnreadableError(f"crosses or touches itself ({reason})", "draw the boundary again")
    parts = list(getattr(geometry, "geoms", [geometry]))
    largest = max(parts, key=lambda p: p.area)
    inside = largest.representative_point()
    return Boundary(
        ring=tuple((round(x, 7), round(y, 7)) for x, y, *_ in largest.exterior.coords),
        inside=(inside.y, inside.x),
        area_ha=area_ha(geometry),
    )


def read_boundaries(text: str, problems: list[Problem]) -> dict[str, Boundary]:
    """Boundaries of fields.geojson (RFC 7946) by spelled id or name; problems are added."""

    def fault(where: str, message: str, remedy: str) -> None:
        problems.append(Problem(file=FILE, row=where, column="", message=message, remedy=remedy))

    try:
        tree = json.loads(text)
    except (ValueError, RecursionError) as error:
        line = str(getattr(error, "lineno", ""))
        fault(line, "is not valid JSON", "export it again as GeoJSON")
        return {}
    features = tree.get("features") if isinstance(tree, dict) else None
    if not isinstance(features, list):
        fault("", "is not a FeatureCollection", "export it again as GeoJSON")
        return {}
    if "crs" in tree and "CRS84" not in str(tree["crs"]) and "4326" not in str(tree["crs"]):
        fault("", "is not in longitude and latitude (WGS 84)", "export it in WGS 84, EPSG:4326")
        return {}
    out: dict[str, Boundary] = {}
    for n, feature in enumerate(features, start=1):
        where = f"feature {n}"
        name = _feature_id(feature)
        if name is None:
            fault(where, "has no id", 'give it a property "id" as in fields.csv')
            continue
        where = f'{where} "{name}"'
        if normalized_name(name) in out:
            fault(where, "has the id of an earlier feature", "give each its own id")
        try:
            out[normalized_name(name)] = from_geojson(feature.get("geometry"))
        except UnreadableError as error:
            fault(where, error.message, error.remedy)
    return out


def _feature_id(feature: Any) -> str | None:
    if not isinstance(feature, dict):
        return None
    properties = feature.get("properties")
    inner = properties if isinstance(properties, dict) else {}
    for value in (inner.get("id"), feature.get("id"), inner.get("name")):
        if isinstance(value, (str, int)) and str(value).strip():
            return str(value)
    return None
