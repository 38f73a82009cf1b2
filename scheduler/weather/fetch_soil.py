"""Soil of every field, asked of the USDA soil survey and kept in soil.csv."""

from __future__ import annotations

import math
from pathlib import Path

from readiness.sources.services import Services
from readiness.sources.soil_survey import SurveySoil, read_survey, survey_query
from scheduler.atomic import write_file
from scheduler.farm.model import Farm, Field
from scheduler.farm_files import soil_csv

#: Fields of one query; assumed: keeps the query well under the service's limit of length.
FIELDS_PER_QUERY = 20
KM_DEGREE = 111.195


def fetch_soil(folder: Path, farm: Farm, services: Services) -> tuple[Path, dict[str, SurveySoil]]:
    """Ask for the soil of every field and write soil.csv.

    Returns
    -------
    The path of soil.csv, and the soils by field id.

    Raises
    ------
    ServiceError
        Where the service does not answer; an older soil.csv stays as it is.
    """
    soils: dict[str, SurveySoil] = {}
    for first in range(0, len(farm.fields), FIELDS_PER_QUERY):
        fields = farm.fields[first : first + FIELDS_PER_QUERY]
        query = survey_query([boundary_ring(f) for f in fields])
        reply = services.ask(
            "soil",
            "/Tabular/post.rest",
            product="soil",
            check=read_survey,
            body={"query": query, "format": "JSON+COLUMNNAME"},
        )
        soils |= {fields[n].id: soil for n, soil in read_survey(reply.payload).items()}
    path = folder / soil_csv.FILE
    write_file(path, soil_csv.soil_table(farm, soils))
    return path, soils


def boundary_ring(field: Field) -> list[tuple[float, float]]:
    """Boundary (lon, lat) of a field; without one, a square of its area around its position."""
    if field.boundary:
        return list(field.boundary)
    half = math.sqrt(field.area_ha / 100.0) / 2 / KM_DEGREE
    wide = half / math.cos(math.radians(field.lat))
    corners = ((-1, -1), (1, -1), (1, 1), (-1, 1))
    return [(field.lon + x * wide, field.lat + y * half) for x, y in corners]
