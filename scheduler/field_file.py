"""fields.csv and fields.geojson: the fields of the farm."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from scheduler.csv_file import CsvTable
from scheduler.dates import date_order
from scheduler.farm import Field
from scheduler.record import Custom, Problem, Record
from scheduler.units import show_area, spelled
from scheduler.vocabulary import (
    APPROACH_NAMES,
    CROP_NAMES,
    DRAINAGE_NAMES,
    PURPOSE_NAMES,
    TEXTURE_NAMES,
    columns,
    named,
)

FILE = "fields.csv"
SHAPES = "fields.geojson"
#: Most that a given area and a boundary may differ; assumed, because sloughs and yards inside a
#: boundary are seldom more.
AREA_TOLERANCE = 0.20
#: Largest field; assumed: 50 sections.
MOST_HA = 13_000.0
#: Authalic radius of the WGS 84 ellipsoid, km.
EARTH_KM = 6371.0072
KNOWN = ("id", "name", "lat", "lon", "area", "area_ac", "area_ha", "crop", "variety", "texture",
         "sand", "clay", "organic_matter", "drainage", "tile", "slope", "residue", "approach",
         "yield", "yield_bu_ac", "yield_t_ha", "ripe", "heading", "sample", "sampled",
         "test_weight", "purpose", "cut", "wet", "boundary")  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Shape:
    """A boundary: its outer ring (lon, lat), a point inside (lat, lon) and its area, ha."""

    ring: tuple[tuple[float, float], ...]
    inside: tuple[float, float]
    area_ha: float


def area_ha(geometry: BaseGeometry) -> float:
    """Area of a lon-lat geometry, ha, by the sinusoidal equal-area projection of the sphere."""
    lon0 = geometry.centroid.x

    def flat(xy: Any) -> Any:
        out = np.radians(xy) * EARTH_KM
        out[:, 0] = np.radians(xy[:, 0] - lon0) * EARTH_KM * np.cos(np.radians(xy[:, 1]))
        return out

    return float(shapely.transform(geometry, flat).area) * 100.0


def shape_of(geometry: BaseGeometry) -> Shape:
    """The facts of a polygon; of several parts the largest gives the ring."""
    parts = list(getattr(geometry, "geoms", [geometry]))
    largest = max(parts, key=lambda p: p.area)
    inside = largest.representative_point()
    return Shape(
        ring=tuple((round(x, 7), round(y, 7)) for x, y in largest.exterior.coords),
        inside=(inside.y, inside.x),
        area_ha=area_ha(geometry),
    )


def read_shapes(text: str, problems: list[Problem]) -> dict[str, Shape]:
    """Boundaries of fields.geojson (RFC 7946) by spelled id or name; problems are added."""

    def fault(where: str, message: str, remedy: str) -> None:
        problems.append(Problem(file=SHAPES, row=where, column="", message=message, remedy=remedy))

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
    out: dict[str, Shape] = {}
    for n, feature in enumerate(features, start=1):
        where = f"feature {n}"
        name = _feature_id(feature)
        if name is None:
            fault(where, "has no id", 'give it a property "id" as in fields.csv')
            continue
        geometry = _polygon(feature, f'{where} "{name}"', fault)
        if geometry is None:
            continue
        if spelled(name) in out:
            fault(f'{where} "{name}"', "has the id of an earlier feature", "give each its own id")
        out[spelled(name)] = shape_of(geometry)
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


def _polygon(feature: Any, where: str, fault: Any) -> BaseGeometry | None:
    """The polygon of a feature, or None with a problem noted."""
    try:
        geometry = shapely.from_geojson(json.dumps(feature.get("geometry")))
    except (shapely.errors.ShapelyError, ValueError, TypeError):
        geometry = None
    if geometry is None or geometry.geom_type not in ("Polygon", "MultiPolygon"):
        fault(where, "is not a polygon with closed rings", "draw its boundary as a polygon")
        return None
    return _sound(geometry, lambda message, remedy: fault(where, message, remedy))


def _sound(geometry: BaseGeometry, fault: Any) -> BaseGeometry | None:
    """The geometry if it is a sound area on the globe."""
    west, south, east, north = geometry.bounds if not geometry.is_empty else (math.nan,) * 4
    if not (-180 <= west <= east <= 180 and -90 <= south <= north <= 90):
        fault("is not in degrees of longitude and latitude", "export it in WGS 84, EPSG:4326")
        return None
    if not geometry.is_valid:
        reason = shapely.is_valid_reason(geometry).split("[")[0].lower()
        fault(f"crosses or touches itself ({reason})", "draw the boundary again")
        return None
    return geometry


def read_fields(
    table: CsvTable, shapes: Mapping[str, Shape], custom: Custom, problems: list[Problem]
) -> tuple[Field, ...]:
    """The fields of fields.csv that can be read; whatever is wrong is added to `problems`."""
    names = columns(table.columns)
    if "id" not in names:
        names = ["id" if n == "name" else n for n in names]
    if not _headed(table, names, problems):
        return ()
    orders = {
        n: date_order(cells[i] for _, cells in table.rows)
        for i, n in enumerate(names)
        if n in ("ripe", "heading", "sampled")
    }
    out: list[Field] = []
    seen: dict[str, str] = {}
    used: set[str] = set()
    for number, cells in table.rows:
        record = Record(
            dict(zip(names, cells, strict=True)),
            custom, problems, file=FILE, row=str(number), orders=orders,
        )  # fmt: skip
        record.written |= dict(zip(names, table.columns, strict=True))
        own = record.text("id", None)
        if own in seen:
            record.fault("id", f'field "{own}" is already in row {seen[own]}', "give its own id")
        seen.setdefault(own, str(number))
        shape = shapes.get(spelled(own)) or shapes.get(spelled(record.text("name")))
        used |= {spelled(own), spelled(record.text("name"))}
        field = _field(record, shape, custom)
        if field is not None:
            out.append(field)
    for extra in sorted(shapes.keys() - used):
        problems.append(
            Problem(file=SHAPES, row=f'"{extra}"', column="", message="is no field of fields.csv",
                    remedy="correct its id, or remove it")
        )  # fmt: skip
    if not table.rows:
        problems.append(
            Problem(file=FILE, row="", column="", message="has no fields",
                    remedy="give one row to each field")
        )  # fmt: skip
    return tuple(out)


def _headed(table: CsvTable, names: list[str], problems: list[Problem]) -> bool:
    """Whether the heading has the columns that are needed, each once."""

    def fault(name: str, message: str, remedy: str) -> None:
        problems.append(Problem(file=FILE, row="1", column=name, message=message, remedy=remedy))

    good = True
    for name in KNOWN:
        if names.count(name) > 1:
            fault(name, f'column "{name}" stands there twice', "keep one")
            good = False
    shown = ", ".join(c for c in table.columns[:30] if c) or "none"
    for name in ("id", "crop", "yield"):
        if name not in names and not (name == "yield" and named(name, name, names)):
            fault(name, f'column "{name}" is missing', f"add it; found are: {shown:.300}")
            good = False
    return good


def _field(r: Record, shape: Shape | None, custom: Custom) -> Field | None:
    """One field, or None with its problems noted."""
    shape = _wkt(r) or shape
    lat, lon = _position(r, shape)
    crop = r.choice("crop", CROP_NAMES)
    soil = _soil(r)
    sampled = r.moment("sampled")
    sample = r.percent("sample", low=3.0, high=70.0)
    if (sample is None) != (sampled is None):
        r.fault("sampled" if sampled is None else "sample", "a sample needs moisture and time",
                "give both, or neither")  # fmt: skip
    words = {
        "drainage": r.choice("drainage", DRAINAGE_NAMES, "moderate"),
        "approach": r.choice("approach", APPROACH_NAMES, "gravel"),
        "purpose": r.choice("purpose", PURPOSE_NAMES, "grain"),
    }
    values: dict[str, Any] = {
        "id": r.text("id"),
        "name": r.text("name") or r.text("id"),
        "lat": lat,
        "lon": lon,
        "area_ha": _area(r, shape, custom),
        "crop": crop,
        "variety": r.text("variety"),
        "organic_pct": r.percent("organic_matter", low=0.0, high=30.0),
        "tile": r.truth("tile"),
        "slope_pct": r.percent("slope", low=0.0, high=60.0),
        "residue": r.share("residue", Field.residue),
        "yield_t_ha": r.number("yield", "yield", above=0.0, high=25.0, crop=crop),
        "ripe": r.day("ripe"),
        "heading": r.day("heading"),
        "sample_pct": sample,
        "sample_at": sampled,
        "test_weight_kg_hl": None if crop is None else r.test_weight("test_weight", crop),
        "cut_fraction": r.share("cut", 0.0),
        "wet_fraction": r.share("wet", 0.0, high=0.9),
        "boundary": shape.ring if shape else (),
        **soil,
        **words,
    }
    for name in ("organic_pct", "slope_pct"):
        if values[name] is None:
            values[name] = getattr(Field, name)
    if values["ripe"] and values["heading"] and values["ripe"] <= values["heading"]:
        r.fault("ripe", "is ripe before it heads", "correct one of the dates")
    return None if r.failed else Field(**values)


def _wkt(r: Record) -> Shape | None:
    """A boundary given as well-known text in the row itself."""
    text = r.text("boundary")
    if not text:
        return None
    try:
        geometry = shapely.from_wkt(text)
    except (shapely.errors.ShapelyError, ValueError):
        geometry = None
    if geometry is None or geometry.geom_type not in ("Polygon", "MultiPolygon"):
        r.fault("boundary", "is no POLYGON in well-known text", "correct it, or use fields.geojson")
        return None
    sound = _sound(geometry, lambda message, remedy: r.fault("boundary", message, remedy))
    return None if sound is None else shape_of(sound)


def _position(r: Record, shape: Shape | None) -> tuple[float, float]:
    lat, lon = r.maybe("lat", low=-90.0, high=90.0), r.maybe("lon", low=-180.0, high=180.0)
    if lat is not None and lon is not None:
        return lat, lon
    if shape is not None and lat is None and lon is None:
        return shape.inside
    r.fault("lat" if lat is None else "lon", "has no place",
            "give lat and lon, or its boundary in fields.geojson")  # fmt: skip
    return math.nan, math.nan


def _area(r: Record, shape: Shape | None, custom: Custom) -> float:
    if shape is None:
        return r.number("area", "area", above=0.0, high=MOST_HA)
    given = r.maybe("area", "area", above=0.0, high=MOST_HA)
    if given is not None and abs(given - shape.area_ha) > AREA_TOLERANCE * shape.area_ha:
        units = custom.units
        r.fault("area", f"area is {show_area(given, units)}, its boundary holds "
                f"{show_area(shape.area_ha, units)}", "correct the one or the other")  # fmt: skip
    return shape.area_ha if given is None else given


def _soil(r: Record) -> dict[str, Any]:
    """Sand and clay (0-1) and the texture's name: as measured, else the texture's centre."""
    word = r.text("texture")
    parts = [r.maybe_share(n) for n in ("sand", "clay")]
    soil = r.choice("texture", TEXTURE_NAMES) if word else None
    if parts[0] is not None and parts[1] is not None:
        if parts[0] + parts[1] > 1.0 + 1e-9:
            total = 100 * (parts[0] + parts[1])
            r.fault("clay", f"sand and clay make {total:.0f}%", "correct them; silt is the rest")
        return {"sand": parts[0], "clay": parts[1], "texture": soil[0] if soil else ""}
    if soil is None:
        if not word:
            r.fault("texture", "has no soil", "give its texture, such as loam, or sand and clay")
        return {}
    return {"texture": soil[0], "sand": soil[1], "clay": soil[2]}
