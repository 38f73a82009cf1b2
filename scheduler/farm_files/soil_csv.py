"""soil.csv: what the USDA soil survey says under each field; entries of fields.csv win over it."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import replace

from readiness.sources.soil_survey import SurveySoil
from scheduler.farm.model import Farm
from scheduler.farm.units import normalized_name
from scheduler.farm_files.csv_table import CsvTable
from scheduler.farm_files.vocabulary import column_names

FILE = "soil.csv"
HEADING = ("id", "texture", "sand_pct", "clay_pct", "organic_matter_pct", "drainage",
           "hydrologic_group", "map_unit", "known_pct")  # fmt: skip
#: What is taken from the survey, by the names of the field table; the first three go together.
SOIL_COLUMNS = ("texture", "sand", "clay", "organic_matter", "drainage")
TEXTURE_COLUMNS = SOIL_COLUMNS[:3]


def survey_rows(table: CsvTable) -> dict[str, dict[str, str]]:
    """The rows of soil.csv by the spelled id of their field: our column names and texts."""
    names = column_names(table.columns)
    rows = [dict(zip(names, cells, strict=True)) for _, cells in table.rows]
    return {normalized_name(r.get("id", "")): r for r in rows}


def with_survey(
    fields: CsvTable, survey: Mapping[str, Mapping[str, str]], *, guess: str = ""
) -> CsvTable:
    """The field table with its blanks about soil taken from the survey.

    Texture, sand and clay are taken together, and only where the user gives none of them.
    `guess` is the texture of a field that neither knows.
    """
    if not survey and not guess:
        return fields
    names = column_names(fields.columns)
    own = next((i for i, n in enumerate(names) if n in ("id", "name")), None)
    have = {f: next((i for i, n in enumerate(names) if n == f or n.startswith(f"{f}_")), None)
            for f in SOIL_COLUMNS}  # fmt: skip
    extra = [f for f in SOIL_COLUMNS if have[f] is None]
    at = {f: len(names) + extra.index(f) if i is None else i for f, i in have.items()}
    titles = [f if f in ("texture", "drainage") else f"{f}_pct" for f in extra]
    rows = []
    for number, cells in fields.rows:
        row = [*cells, *[""] * len(extra)]
        given = any(row[at[fact]] for fact in TEXTURE_COLUMNS)
        told = {} if own is None else survey.get(normalized_name(row[own]), {})
        for fact, text in _facts(told, guess).items():
            if not row[at[fact]] and not (given and fact in TEXTURE_COLUMNS):
                row[at[fact]] = text.replace(".", fields.mark or ".")
        rows.append((number, tuple(row)))
    return replace(fields, columns=(*fields.columns, *titles), rows=tuple(rows))


def _facts(told: Mapping[str, str], guess: str) -> dict[str, str]:
    """Facts of one field, by `SOIL_COLUMNS`, as texts; percentages without a sign."""
    if not told:
        return {"texture": guess}
    return {f: told.get(f, told.get(f"{f}_pct", "")) for f in SOIL_COLUMNS}


def soil_table(farm: Farm, found: dict[str, SurveySoil]) -> str:
    """Text of soil.csv; fields that the survey does not know are left out."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(HEADING)
    for field in farm.fields:
        soil = found.get(field.id)
        if soil is not None:
            writer.writerow(
                [field.id, soil.texture, f"{100 * soil.sand:.0f}", f"{100 * soil.clay:.0f}",
                 f"{soil.organic_pct:.1f}", soil.drainage, soil.group, soil.map_unit,
                 f"{100 * soil.share:.0f}"]
            )  # fmt: skip
    return out.getvalue()
