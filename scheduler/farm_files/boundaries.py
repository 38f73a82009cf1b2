"""Boundaries of fields: fields.geojson (RFC 7946), and polygons in well-known text."""

from __future__ import annotations

import json
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from readiness.atmosphere.weather import Array
from scheduler.errors import Problem, UnreadableError
from scheduler.farm.model import Position
from scheduler.farm.units import normalized_name

FILE = "fields.geojson"
#: A value of a JSON file.
Json = str | bool | int | float | list["Json"] | dict[str, "Json"] | None
#: Authalic radius of the WGS 84 ellipsoid, km.
EARTH_RADIUS_KM = 6371.0072


@dataclass(frozen=True, kw_only=True)
class Boundary:
    """A boundary of a field.

    Attributes
    ----------
    ring : outer ring of (lon, lat), degrees; of several parts that of the largest.
    inside : a point inside.
    area_ha : area of all parts, ha.
    """

    ring: tuple[tuple[float, float], ...]
    inside: Position
    area_ha: float


def area_ha(geometry: BaseGeometry) -> float:
    """Area of a lon-lat geometry, ha, in the sinusoidal equal-area projection of the sphere."""
    lon0 = geometry.centroid.x

    def projected(lon_lat: Array) -> Array:
        km = np.radians(lon_lat) * EARTH_RADIUS_KM
        lon, lat = lon_lat.T
        km[:, 0] = np.radians(lon - lon0) * EARTH_RADIUS_KM * np.cos(np.radians(lat))
        return km

    return float(shapely.transform(geometry, projected).area) * 100.0


def from_geojson(geometry: Json) -> Boundary:
    """The boundary of a GeoJSON geometry.

    Raises
    ------
    UnreadableError
        Where it is no sound polygon in degrees.
    """
    try:
        return _boundary(shapely.from_geojson(json.dumps(geometry)))
    except (shapely.errors.ShapelyError, ValueError, TypeError):
        raise UnreadableError(
            "is not a polygon with closed rings", "draw its boundary as a polygon"
        ) from None


def from_wkt(text: str) -> Boundary:
    """The boundary in well-known text.

    Raises
    ------
    UnreadableError
        Where it is no sound polygon in degrees.
    """
    try:
        return _boundary(shapely.from_wkt(text))
    except (shapely.errors.ShapelyError, ValueError, TypeError):
        raise UnreadableError(
            "is not a POLYGON in well-known text", "correct it, or use fields.geojson"
        ) from None


def _boundary(geometry: BaseGeometry | None) -> Boundary:
    """The boundary of a sound polygon or multipolygon; TypeError for other geometries."""
    if geometry is None or geometry.geom_type not in ("Polygon", "MultiPolygon"):
        raise TypeError
    west, south, east, north = geometry.bounds  # NaN for an empty geometry
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
    """Boundaries of fields.geojson by normalised id or name.

    Problems are added to `problems`.
    """

    def note(where: str, message: str, remedy: str) -> None:
        problems.append(Problem(file=FILE, row=where, message=message, remedy=remedy))

    try:
        tree = json.loads(text)
    except json.JSONDecodeError as error:
        note(str(error.lineno), "is not valid JSON", "export it again as GeoJSON")
        return {}
    except (ValueError, RecursionError):
        note("", "is not valid JSON", "export it again as GeoJSON")
        return {}
    features = tree.get("features") if isinstance(tree, dict) else None
    if not isinstance(features, list):
        note("", "is not a FeatureCollection", "export it again as GeoJSON")
        return {}
    if "crs" in tree and "CRS84" not in str(tree["crs"]) and "4326" not in str(tree["crs"]):
        note("", "is not in longitude and latitude (WGS 84)", "export it in WGS 84, EPSG:4326")
        return {}
    found: dict[str, Boundary] = {}
    for n, feature in enumerate(features, start=1):
        where = f"feature {n}"
        name = _feature_id(feature)
        if name is None:
            note(where, "has no id", 'give it a property "id" as in fields.csv')
            continue
        where = f'{where} "{name}"'
        if normalized_name(name) in found:
            note(where, "has the id of an earlier feature", "give each its own id")
        try:
            found[normalized_name(name)] = from_geojson(feature.get("geometry"))
        except UnreadableError as error:
            note(where, error.message, error.remedy)
    return found


def _feature_id(feature: Json) -> str | None:
    """The property id, the feature's own id or the property name; None without any."""
    if not isinstance(feature, dict):
        return None
    properties = feature.get("properties")
    inner = properties if isinstance(properties, dict) else {}
    for value in (inner.get("id"), feature.get("id"), inner.get("name")):
        if isinstance(value, (str, int)) and str(value).strip():
            return str(value)
    return None
