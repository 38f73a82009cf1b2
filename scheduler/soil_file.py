"""soil.csv: what the USDA soil survey says under each field, beside the user's own entries."""

from __future__ import annotations

import csv
import io
import math
from pathlib import Path

from readiness.services import Services
from readiness.soil_survey import Soil, read_survey, survey_query
from scheduler.farm import Farm, Field
from scheduler.forecast_store import replace_file

FILE = "soil.csv"
HEADING = ("id", "texture", "sand_pct", "clay_pct", "organic_matter_pct", "drainage",
           "hydrologic_group", "map_unit", "known_pct")  # fmt: skip
#: Fields of one question; assumed: keeps the query well under the service's limit of length.
AT_ONCE = 20
KM_DEGREE = 111.195


def fetch_soil(folder: Path, farm: Farm, services: Services) -> tuple[Path, dict[str, Soil]]:
    """Ask for the soil of every field and write soil.csv; fields.csv is not touched.

    Raises
    ------
    ServiceError
        Where the service gives nothing; a soil.csv that is there stays as it is.
    """
    found: dict[str, Soil] = {}
    for first in range(0, len(farm.fields), AT_ONCE):
        some = farm.fields[first : first + AT_ONCE]
        body = {"query": survey_query([ring_of(f) for f in some]), "format": "JSON+COLUMNNAME"}
        reply = services.ask(
            "soil", "/Tabular/post.rest", product="soil", check=read_survey, body=body
        )
        found |= {some[n].id: soil for n, soil in read_survey(reply.payload).items()}
    replace_file(folder / FILE, _table(farm, found))
    return folder / FILE, found


def ring_of(field: Field) -> list[tuple[float, float]]:
    """Boundary (lon, lat); a field without one is a square of its area around its position."""
    if field.boundary:
        return list(field.boundary)
    half = math.sqrt(field.area_ha / 100.0) / 2 / KM_DEGREE
    wide = half / math.cos(math.radians(field.lat))
    corners = ((-1, -1), (1, -1), (1, 1), (-1, 1))
    return [(field.lon + x * wide, field.lat + y * half) for x, y in corners]


def _table(farm: Farm, found: dict[str, Soil]) -> str:
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
