"""fields.csv: the fields of the farm."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from scheduler.errors import UnreadableError
from scheduler.farm.model import Field
from scheduler.farm.units import normalized_name, show_area
from scheduler.farm_files import boundaries
from scheduler.farm_files.boundaries import Boundary, from_wkt
from scheduler.farm_files.csv_table import CsvTable
from scheduler.farm_files.dates import date_order
from scheduler.farm_files.record import Notation, Problem, Record, table_records
from scheduler.farm_files.vocabulary import (
    APPROACH_NAMES,
    CROP_NAMES,
    DRAINAGE_NAMES,
    PURPOSE_NAMES,
    SPRING_WHEAT,
    TEXTURE_NAMES,
    column_names,
    quantity_columns,
)

FILE = "fields.csv"
#: Most that a given area and a boundary may differ; assumed, because sloughs and yards inside a
#: boundary are seldom more.
AREA_TOLERANCE = 0.20
#: Largest field; assumed: 50 sections.
MAX_FIELD_HA = 13_000.0
COLUMNS = ("id", "name", "lat", "lon", "area", "area_ac", "area_ha", "crop", "variety", "texture",
         "sand", "clay", "organic_matter", "drainage", "tile", "slope", "residue", "approach",
         "yield", "yield_bu_ac", "yield_t_ha", "ripe", "heading", "sample", "sampled",
         "test_weight", "purpose", "cut", "wet", "boundary")  # fmt: skip


def read_fields(
    table: CsvTable, shapes: Mapping[str, Boundary], custom: Notation, problems: list[Problem]
) -> tuple[Field, ...]:
    """The fields of fields.csv that can be read; whatever is wrong is added to `problems`."""
    names = column_names(table.columns)
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
    for record in table_records(table, names, custom, problems, file=FILE, orders=orders):
        own = record.text("id", None)
        if own in seen:
            record.fault("id", f'field "{own}" is already in row {seen[own]}', "give its own id")
        seen.setdefault(own, record.row)
        shape = shapes.get(normalized_name(own)) or shapes.get(normalized_name(record.text("name")))
        used |= {normalized_name(own), normalized_name(record.text("name"))}
        field = _field(record, shape, custom)
        if field is not None:
            out.append(field)
    for extra in sorted(shapes.keys() - used):
        problems.append(
            Problem(
                file=boundaries.FILE,
                row=f'"{extra}"',
                column="",
                message="is no field of fields.csv",
                remedy="correct its id, or remove it",
            )
        )
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
    for name in COLUMNS:
        if names.count(name) > 1:
            fault(name, f'column "{name}" stands there twice', "keep one")
            good = False
    shown = ", ".join(c for c in table.columns[:30] if c) or "none"
    for name in ("id", "crop", "yield"):
        if name not in names and not (name == "yield" and quantity_columns(name, name, names)):
            fault(name, f'column "{name}" is missing', f"add it; found are: {shown:.300}")
            good = False
    return good


def _field(r: Record, shape: Boundary | None, custom: Notation) -> Field | None:
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
        "spring": normalized_name(r.text("crop")) in SPRING_WHEAT,
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


def _wkt(r: Record) -> Boundary | None:
    """A boundary given as well-known text in the row itself."""
    text = r.text("boundary")
    if not text:
        return None
    try:
        return from_wkt(text)
    except UnreadableError as error:
        r.fault("boundary", error.message, error.remedy)
        return None


def _position(r: Record, shape: Boundary | None) -> tuple[float, float]:
    lat, lon = r.maybe("lat", low=-90.0, high=90.0), r.maybe("lon", low=-180.0, high=180.0)
    if lat is not None and lon is not None:
        return lat, lon
    if shape is not None and lat is None and lon is None:
        return shape.inside
    r.fault("lat" if lat is None else "lon", "has no place",
            "give lat and lon, or its boundary in fields.geojson")  # fmt: skip
    return math.nan, math.nan


def _area(r: Record, shape: Boundary | None, custom: Notation) -> float:
    if shape is None:
        return r.number("area", "area", above=0.0, high=MAX_FIELD_HA)
    given = r.maybe("area", "area", above=0.0, high=MAX_FIELD_HA)
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
