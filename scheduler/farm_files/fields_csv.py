"""fields.csv: the fields of the farm, a row each."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from datetime import date
from typing import NamedTuple

from scheduler.errors import Problem, UnreadableError
from scheduler.farm.model import Field, Position
from scheduler.farm.units import SI_PER_UNIT, Units, normalized_name, show_area
from scheduler.farm.wording import one_line
from scheduler.farm_files.boundaries import FILE as BOUNDARIES_FILE
from scheduler.farm_files.boundaries import Boundary, from_wkt
from scheduler.farm_files.csv_table import CsvTable, read_number
from scheduler.farm_files.dates import date_order
from scheduler.farm_files.named_values import Notation
from scheduler.farm_files.record import PERCENT, SMALLEST_PCT, Record, table_records
from scheduler.farm_files.vocabulary import (
    APPROACH_NAMES,
    CROP_NAMES,
    DORMANCY_NAMES,
    DRAINAGE_NAMES,
    PURPOSE_NAMES,
    SPRING_WHEAT,
    TEXTURE_NAMES,
    column_names,
    doubtful_headings,
    quantity_columns,
)

FILE = "fields.csv"
#: Fraction by which an area and its boundary may differ; assumed, because sloughs and yards seldom
#: take up more.
AREA_TOLERANCE = 0.20
#: Largest field, ha; assumed: 50 sections.
MAX_FIELD_HA = 13_000.0
#: Longest dormancy, days; Kansas State: a month or longer in some varieties.
MAX_DORMANCY_DAYS = 90.0
#: Columns that may stand there once only.
COLUMNS = (
    "id",
    "name",
    "lat",
    "lon",
    "area",
    "area_ac",
    "area_ha",
    "crop",
    "variety",
    "texture",
    "sand",
    "clay",
    "organic_matter",
    "drainage",
    "tile",
    "tile_spacing",
    "tile_depth",
    "slope",
    "residue",
    "approach",
    "yield",
    "yield_bu_ac",
    "yield_t_ha",
    "ripe",
    "heading",
    "sample",
    "sampled",
    "test_weight",
    "falling_number",
    "vomitoxin",
    "protein",
    "vitreous",
    "germination",
    "dormancy",
    "lodged",
    "swathed",
    "purpose",
    "not_before",
    "not_after",
    "cut",
    "wet",
    "boundary",
)
#: Units that a heading may end in, by column.
COLUMN_UNITS: dict[str, tuple[str, ...]] = {
    "area": tuple(SI_PER_UNIT["area"]),
    "yield": tuple(SI_PER_UNIT["yield"]),
    "test_weight": ("lb_bu", "kg_hl"),
    **dict.fromkeys(
        ("sand", "clay", "organic_matter", "slope", "residue", "sample", "cut", "wet"), PERCENT
    ),
    "tile_spacing": tuple(SI_PER_UNIT["length"]),
    "tile_depth": tuple(SI_PER_UNIT["length"]),
}
#: Yield by the bushel below which t/ha are taken to be meant, t/ha, and that of corn and sorghum;
#: assumed: 9 t/ha of wheat and 14 t/ha of corn, entered as bushels, lie below, and crops that thin
#: are seldom cut.
THIN_YIELD_T_HA, THIN_CORN_T_HA = 0.6, 0.9
#: Days from the middle of the column beyond which a date of ripening has a wrong year; assumed: no
#: farm harvests its crops further apart.
FARTHEST_RIPE_DAYS = 200


def read_fields(
    table: CsvTable,
    boundaries: Mapping[str, Boundary],
    notation: Notation,
    problems: list[Problem],
) -> tuple[tuple[Field, ...], dict[str, str]]:
    """The fields of fields.csv that can be read, in the natural order of their ids; rows by id.

    The order of the rows therefore changes nothing that is computed from the fields.

    Parameters
    ----------
    boundaries : those of fields.geojson, by normalised id or name.
    problems : list that problems are added to.
    """
    names = column_names(table.columns)
    if "id" not in names:
        names = ["id" if n == "name" else n for n in names]
    heading = _heading_problems(table, names)
    problems += heading
    if heading:
        return (), {}
    orders = {
        n: date_order(cells[i] for _, cells in table.rows)
        for i, n in enumerate(names)
        if n in ("ripe", "heading", "sampled", "swathed", "not_before", "not_after")
    }
    fields: list[Field] = []
    row_of: dict[str, str] = {}
    spelled: dict[str, str] = {}
    ripe: list[tuple[Record, date]] = []
    named: set[str] = set()
    for record in table_records(table, names, notation, problems, file=FILE, orders=orders):
        own = record.text("id", None)
        if own in row_of:
            record.note("id", f'field "{own}" is already in row {row_of[own]}', "give its own id")
        row_of.setdefault(own, record.row)
        if (other := spelled.setdefault(normalized_name(own) or own, own)) != own:
            message = (
                f'"{own}" and "{other}" of row {row_of[other]} differ in capitals or signs only'
            )
            record.note("id", message, "give its own id")
        keys = normalized_name(own), normalized_name(record.text("name"))
        named |= set(keys)
        field = _field(record, boundaries.get(keys[0]) or boundaries.get(keys[1]), notation)
        if field is not None:
            fields.append(field)
            ripe += [(record, field.ripe)] if field.ripe else []
    _check_ripe(ripe)
    for extra in sorted(boundaries.keys() - named):
        problems.append(
            Problem(
                file=BOUNDARIES_FILE,
                row=f'"{extra}"',
                message="is not a field of fields.csv",
                remedy="correct its id, or remove it",
            )
        )
    if not table.rows and not table.faults:
        remedy = "give one row to each field"
        problems.append(Problem(file=FILE, message="has no fields", remedy=remedy))
    return tuple(sorted(fields, key=lambda f: _natural_order(f.id))), row_of


def _check_ripe(ripe: Sequence[tuple[Record, date]]) -> None:
    """Dates of ripening lie within one season."""
    if not ripe:
        return
    middle = sorted(day for _, day in ripe)[(len(ripe) - 1) // 2]
    for record, day in ripe:
        if abs((day - middle).days) > FARTHEST_RIPE_DAYS:
            message = f"ripens {day}, far from the other fields (about {middle})"
            record.note("ripe", message, "correct the year")


def _natural_order(name: str) -> tuple[list[str | int], str]:
    """Sort key that puts F2 before F10."""
    parts = re.split(r"(\d+)", name)
    return [int(p) if i % 2 else p for i, p in enumerate(parts)], name


def _heading_problems(table: CsvTable, names: list[str]) -> list[Problem]:
    """Columns that are missing, or there twice."""

    def problem(name: str, message: str, remedy: str) -> Problem:
        return Problem(file=FILE, row="1", column=name, message=message, remedy=remedy)

    found = [
        problem(name, f'column "{name}" is there twice', "keep one")
        for name in COLUMNS
        if names.count(name) > 1
    ]
    doubtful = doubtful_headings(table, names, COLUMNS, COLUMN_UNITS)
    found += [problem(heading, message, remedy) for heading, _, message, remedy in doubtful]
    shown = ", ".join(c for c in table.columns[:30] if c) or "none"
    missing = [
        name
        for name in ("id", "crop", "yield")
        if name not in names
        and not (name == "yield" and quantity_columns(name, name, names))
        and name not in [column for _, column, _, _ in doubtful]
    ]
    if len(missing) == 3 and not found:
        remedy = f"begin with id, lat, lon, area, crop, texture, yield; found are: {shown:.300}"
        return [problem("", "is no heading of fields", remedy)]
    remedy = f"add it; found are: {shown:.300}"
    return found + [problem(n, f'column "{n}" is missing', remedy) for n in missing]


def _field(r: Record, boundary: Boundary | None, notation: Notation) -> Field | None:
    """The field of a row; None where the row has a problem."""
    boundary = _boundary_in_row(r) or boundary
    lat, lon = _position(r, boundary)
    crop = r.choice("crop", CROP_NAMES)
    soil = _soil(r)
    sampled = r.moment("sampled")
    sample = r.percent("sample", low=3.0, high=70.0)
    if (r.find("sample", PERCENT) is None) != (r.find("sampled") is None):
        missing = "sampled" if sampled is None else "sample"
        r.note(missing, "a sample needs moisture and time", "give both, or neither")
    drainage = r.choice("drainage", DRAINAGE_NAMES, "moderate")
    approach = r.choice("approach", APPROACH_NAMES, "gravel")
    purpose = r.choice("purpose", PURPOSE_NAMES, "grain")
    area_ha = _area(r, boundary, notation.units)
    organic = r.percent("organic_matter", low=0.0, high=30.0)
    tile = r.yes_no("tile")
    tile_spacing = r.optional_number("tile_spacing", "length", low=3.0, high=100.0)
    tile_depth = r.optional_number("tile_depth", "length", low=0.5, high=2.0)
    slope = r.percent("slope", low=0.0, high=60.0)
    residue = r.fraction("residue", Field.residue, from_pct=SMALLEST_PCT)
    yield_t_ha = r.number("yield", "yield", above=0.0, high=25.0, crop=crop)
    _check_thin_yield(r, yield_t_ha, crop)
    ripe, heading = r.day("ripe"), r.day("heading")
    test_weight = None if crop is None else r.test_weight("test_weight", crop)
    quality = _quality(r)
    dormancy = _dormancy(r)
    lodged, swathed = r.fraction("lodged", 0.0, from_pct=SMALLEST_PCT), r.day("swathed")
    cut = r.fraction("cut", 0.0, from_pct=SMALLEST_PCT)
    wet = r.fraction("wet", 0.0, high=0.9, from_pct=SMALLEST_PCT)
    if ripe and heading and ripe <= heading:
        r.note("ripe", "ripens before it heads", "correct one of the dates")
    not_before, not_after = r.begin("not_before"), r.end("not_after")
    if not_before and not_after and not_after <= not_before:
        r.note("not_after", "ends before cutting may begin", "correct one of the dates")
    if r.failed or crop is None or soil is None:
        return None
    if drainage is None or approach is None or purpose is None:
        return None
    return Field(
        id=r.text("id"),
        name=r.text("name") or r.text("id"),
        lat=lat,
        lon=lon,
        area_ha=area_ha,
        crop=crop,
        entered=one_line(r.text("crop")),
        spring=normalized_name(r.text("crop")) in SPRING_WHEAT,
        variety=r.text("variety"),
        sand=soil.sand,
        clay=soil.clay,
        organic_pct=Field.organic_pct if organic is None else organic,
        texture=soil.texture,
        drainage=drainage,
        tile=tile or tile_spacing is not None or tile_depth is not None,
        tile_spacing_m=tile_spacing,
        tile_depth_m=tile_depth,
        slope_pct=Field.slope_pct if slope is None else slope,
        residue=residue,
        approach=approach,
        yield_t_ha=yield_t_ha,
        ripe=ripe,
        heading=heading,
        sample_pct=sample,
        sample_at=sampled,
        test_weight_kg_hl=test_weight,
        falling_number_s=quality.falling_number_s,
        vomitoxin_ppm=quality.vomitoxin_ppm,
        protein_pct=quality.protein_pct,
        vitreous_pct=quality.vitreous_pct,
        germination=quality.germination,
        dormancy_days=dormancy,
        lodged=lodged,
        swathed=swathed,
        purpose=purpose,
        not_before=not_before,
        not_after=not_after,
        cut_fraction=cut,
        boundary=boundary.ring if boundary else (),
        wet_fraction=wet,
    )


class _Quality(NamedTuple):
    """What was measured of the grain; see `scheduler.farm.model.Field`."""

    falling_number_s: float | None
    vomitoxin_ppm: float | None
    protein_pct: float | None
    vitreous_pct: float | None
    germination: float | None


def _quality(r: Record) -> _Quality:
    """What was measured of the grain."""
    return _Quality(
        falling_number_s=r.optional_number("falling_number", low=60.0, high=900.0),
        vomitoxin_ppm=r.optional_number("vomitoxin", low=0.0, high=100.0),
        protein_pct=r.percent("protein", low=2.0, high=60.0),
        vitreous_pct=r.percent("vitreous", low=0.0, high=100.0),
        germination=r.optional_fraction("germination"),
    )


def _check_thin_yield(r: Record, yield_t_ha: float, crop: str | None) -> None:
    """Bushels an acre are not tonnes a hectare by mistake."""
    found = r.find("yield", COLUMN_UNITS["yield"])
    unit = found and (found.unit or r.default_unit("yield"))
    thin = THIN_CORN_T_HA if crop in ("corn", "sorghum") else THIN_YIELD_T_HA
    if found and unit in ("bu_ac", "bu") and 0.0 < yield_t_ha < thin:
        r.note(
            found.key,
            f"yield is {found.value} bu/ac, less than is worth cutting",
            "if it is t/ha, name the column yield_t_ha; a yield that is so low goes there too",
        )


def _dormancy(r: Record) -> float | None:
    """Dry days after maturity before the grain can sprout: a word or days; None for the crop's."""
    text = r.text("dormancy")
    word = normalized_name(text)
    if not word or word == "usual":
        return None
    if word in DORMANCY_NAMES:
        return DORMANCY_NAMES[word]
    try:
        days = read_number(text, r.notation.mark)
    except (UnreadableError, OverflowError):
        days = math.nan
    if not 0.0 <= days <= MAX_DORMANCY_DAYS:
        r.note("dormancy", f'dormancy "{text}" is not known', "write low, usual, high or days")
        return None
    return days


def _boundary_in_row(r: Record) -> Boundary | None:
    """The boundary that the row gives as well-known text."""
    text = r.text("boundary")
    if not text:
        return None
    try:
        return from_wkt(text)
    except UnreadableError as error:
        r.note("boundary", error.message, error.remedy)
        return None


def _position(r: Record, boundary: Boundary | None) -> Position:
    """The row's position, else a point inside the boundary."""
    lat = r.optional_number("lat", low=-90.0, high=90.0)
    lon = r.optional_number("lon", low=-180.0, high=180.0)
    if lat is not None and lon is not None:
        return lat, lon
    if boundary is not None and lat is None and lon is None:
        return boundary.inside
    missing = "lat" if lat is None else "lon"
    r.note(missing, "has no position", "give lat and lon, or its boundary in fields.geojson")
    return math.nan, math.nan


def _area(r: Record, boundary: Boundary | None, units: Units) -> float:
    """The row's area, ha, else that of the boundary; the two must agree."""
    if boundary is None:
        return r.number("area", "area", above=0.0, high=MAX_FIELD_HA)
    entered = r.optional_number("area", "area", above=0.0, high=MAX_FIELD_HA)
    if entered is None:
        return boundary.area_ha
    if abs(entered - boundary.area_ha) > AREA_TOLERANCE * boundary.area_ha:
        measured = show_area(boundary.area_ha, units)
        message = f"area is {show_area(entered, units)}, its boundary holds {measured}"
        r.note("area", message, "correct the one or the other")
    return entered


class _Soil(NamedTuple):
    """Sand and clay as fractions, and the texture's name."""

    sand: float
    clay: float
    texture: str


def _soil(r: Record) -> _Soil | None:
    """Measured sand and clay, else the centre of the texture class."""
    word = r.text("texture")
    sand = r.optional_fraction("sand", from_pct=SMALLEST_PCT)
    clay = r.optional_fraction("clay", from_pct=SMALLEST_PCT)
    texture = r.choice("texture", TEXTURE_NAMES) if word else None
    if sand is not None and clay is not None:
        if sand + clay > 1.0 + 1e-9:
            total = 100 * (sand + clay)
            r.note("clay", f"sand and clay make {total:.0f}%", "correct them; silt is the rest")
        return _Soil(sand, clay, texture[0] if texture else "")
    if texture is not None:
        name, sand, clay = texture
        return _Soil(sand, clay, name)
    if not word:
        r.note("texture", "has no soil", "give its texture, such as loam, or sand and clay")
    return None
