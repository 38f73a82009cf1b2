"""soil.csv: soil of the fields by the USDA soil survey; entries of fields.csv count first."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import replace

from readiness.sources.soil_survey import SurveySoil
from scheduler.errors import Problem
from scheduler.farm.model import Farm
from scheduler.farm.units import normalized_name
from scheduler.farm_files.csv_table import CsvTable
from scheduler.farm_files.vocabulary import column_names

FILE = "soil.csv"
HEADING = (
    "id",
    "texture",
    "sand_pct",
    "clay_pct",
    "organic_matter_pct",
    "drainage",
    "hydrologic_group",
    "map_unit",
    "known_pct",
)
#: Columns of fields.csv that the survey fills in. Texture, sand and clay go together.
SOIL_COLUMNS = ("texture", "sand", "clay", "organic_matter", "drainage")
TEXTURE_COLUMNS = SOIL_COLUMNS[:3]


def survey_rows(table: CsvTable, problems: list[Problem]) -> dict[str, dict[str, str]]:
    """The rows of soil.csv, texts by our column names, by the normalised id of their field.

    Problems are added to `problems`.
    """
    names = column_names(table.columns)
    if "id" not in names:
        remedy = "run `afterrain fetch FOLDER --soil` again, or remove the file"
        message = 'column "id" is missing'
        problems.append(Problem(file=FILE, row="1", column="id", message=message, remedy=remedy))
    rows = [dict(zip(names, cells, strict=True)) for _, cells in table.rows]
    return {normalized_name(r.get("id", "")): r for r in rows}


def with_survey(
    fields: CsvTable, survey: Mapping[str, Mapping[str, str]], *, guess: str = ""
) -> CsvTable:
    """The table of fields with blanks about soil filled in from the survey.

    Texture, sand and clay are filled in together, and only where the table gives none of them.

    Parameters
    ----------
    survey : rows by normalised id of the field; see `survey_rows`.
    guess : texture of a field that the survey does not know; '' for none.
    """
    if not survey and not guess:
        return fields
    names = column_names(fields.columns)
    own = next((i for i, n in enumerate(names) if n in ("id", "name")), None)
    place = {
        column: next(
            (i for i, n in enumerate(names) if n == column or n.startswith(f"{column}_")), None
        )
        for column in SOIL_COLUMNS
    }
    extra = [column for column, i in place.items() if i is None]
    at = {c: len(names) + extra.index(c) if i is None else i for c, i in place.items()}
    titles = [c if c in ("texture", "drainage") else f"{c}_pct" for c in extra]
    rows = []
    for number, cells in fields.rows:
        row = [*cells, *[""] * len(extra)]
        own_texture = any(row[at[column]] for column in TEXTURE_COLUMNS)
        surveyed = {} if own is None else survey.get(normalized_name(row[own]), {})
        for column, text in _texts(surveyed, guess).items():
            if not row[at[column]] and not (own_texture and column in TEXTURE_COLUMNS):
                row[at[column]] = text.replace(".", fields.mark or ".")
        rows.append((number, tuple(row)))
    return replace(fields, columns=(*fields.columns, *titles), rows=tuple(rows))


def _texts(row: Mapping[str, str], guess: str) -> dict[str, str]:
    """Texts of one field by `SOIL_COLUMNS`; percentages without a sign."""
    if not row:
        return {"texture": guess}
    return {c: row.get(c, row.get(f"{c}_pct", "")) for c in SOIL_COLUMNS}


def soil_table(farm: Farm, found: dict[str, SurveySoil]) -> str:
    """Text of soil.csv; fields that the survey does not know are left out."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(HEADING)
    for field in farm.fields:
        soil = found.get(field.id)
        if soil is not None:
            writer.writerow(
                [
                    field.id,
                    soil.texture,
                    f"{100 * soil.sand:.0f}",
                    f"{100 * soil.clay:.0f}",
                    f"{soil.organic_pct:.1f}",
                    soil.drainage,
                    soil.group,
                    soil.map_unit,
                    f"{100 * soil.share:.0f}",
                ]
            )
    return out.getvalue()
