"""Soil under field boundaries: query to the USDA Soil Data Access service, and its answer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from readiness.sources.payload import PayloadError

Ring = Sequence[tuple[float, float]]  # (lon, lat)

#: Depth of topsoil that is averaged, cm: the layer that carries machines and is ploughed.
TOPSOIL_CM = 30
#: Our drainage class for each class of the survey (Soil Survey Manual, ch. 3).
DRAINAGE = {
    "excessively drained": "good",
    "somewhat excessively drained": "good",
    "well drained": "good",
    "moderately well drained": "moderate",
    "somewhat poorly drained": "poor",
    "poorly drained": "poor",
    "very poorly drained": "poor",
    "subaqueous": "poor",
}
COLUMNS = (
    "field",
    "part",
    "muname",
    "cokey",
    "comppct_r",
    "drainagecl",
    "hydgrp",
    "hzdept_r",
    "hzdepb_r",
    "sandtotal_r",
    "claytotal_r",
    "om_r",
)


@dataclass(frozen=True, kw_only=True)
class SurveySoil:
    """Topsoil of one field.

    Attributes
    ----------
    sand, clay : weight fractions. organic_pct : organic matter, percent.
    texture, drainage : class. group : hydrologic group. map_unit : name of the widest component's.
    share : 0-1, area of major components with known texture over that of all major components.
    """

    sand: float
    clay: float
    organic_pct: float
    texture: str
    drainage: str
    group: str
    map_unit: str
    share: float


def survey_query(rings: Sequence[Ring]) -> str:
    """Transact-SQL query for the major components and topsoil horizons under each boundary.

    Its rows carry the number of the boundary, so that no text of the user enters the query.
    """
    parts = " UNION ALL ".join(_map_unit_areas(n, ring) for n, ring in enumerate(rings))
    return (
        "SELECT a.field, a.part, mu.muname, c.cokey, c.comppct_r, c.drainagecl, c.hydgrp, "
        "h.hzdept_r, h.hzdepb_r, h.sandtotal_r, h.claytotal_r, h.om_r "
        f"FROM ({parts}) AS a JOIN mapunit AS mu ON mu.mukey = a.mukey "
        "JOIN component AS c ON c.mukey = a.mukey AND c.majcompflag = 'Yes' "
        f"LEFT JOIN chorizon AS h ON h.cokey = c.cokey AND h.hzdept_r < {TOPSOIL_CM} "
        "ORDER BY a.field, a.part DESC, c.comppct_r DESC, c.cokey, h.hzdept_r"
    )


def _map_unit_areas(number: int, ring: Ring) -> str:
    """Query for the area of each map unit inside a boundary."""
    closed = [*ring, ring[0]] if tuple(ring[0]) != tuple(ring[-1]) else list(ring)
    text = ", ".join(f"{lon:.6f} {lat:.6f}" for lon, lat in closed)
    shape = f"geometry::STGeomFromText('POLYGON(({text}))', 4326)"
    return (
        f"SELECT {number} AS field, m.mukey, "
        f"SUM(m.mupolygongeo.STIntersection({shape}).STArea()) AS part FROM mupolygon AS m "
        f"WHERE m.mupolygongeo.STIntersects({shape}) = 1 GROUP BY m.mukey"
    )


def read_survey(payload: object) -> dict[int, SurveySoil]:
    """Soil of each numbered boundary; boundaries outside the survey are left out.

    Horizons are weighted by thickness within the topsoil, components by their percentage, map
    units by their area inside the boundary. Classes are those of the widest component.

    Raises
    ------
    PayloadError
        Where the answer is not the table of `survey_query`.
    """
    if not isinstance(payload, Mapping):
        raise PayloadError("the answer is not a table")
    table = payload.get("Table", [])
    if not isinstance(table, list) or not all(isinstance(r, list) for r in table):
        raise PayloadError("the answer is not a table")
    if not table:
        return {}
    heading = [str(c).lower() for c in table[0]]
    if missing := set(COLUMNS) - set(heading):
        raise PayloadError(f"the table lacks the column {sorted(missing)[0]}")
    fields: dict[int, list[dict[str, Any]]] = {}
    for cells in table[1:]:
        row = dict(zip(heading, cells, strict=False))
        fields.setdefault(int(_number(row, "field")), []).append(row)
    soils = {n: _mean_soil(rows) for n, rows in fields.items()}
    return {n: soil for n, soil in soils.items() if soil is not None}


def _number(row: Mapping[str, Any], name: str) -> float:
    """Number in a column of a row."""
    try:
        return float(row[name])
    except (KeyError, TypeError, ValueError):
        raise PayloadError(f"{name} is not a number") from None


def _mean_soil(rows: Sequence[Mapping[str, Any]]) -> SurveySoil | None:
    """Mean topsoil of one field; None where no horizon has a texture."""
    total = sand = clay = organic = 0.0
    components: dict[str, tuple[float, Mapping[str, Any]]] = {}
    with_texture: set[str] = set()
    for row in rows:
        area = _number(row, "part") * _number(row, "comppct_r")
        key = f"{row['cokey']} {row['muname']} {row['part']}"
        components[key] = area, row
        if any(row[c] is None for c in ("sandtotal_r", "claytotal_r", "hzdepb_r", "hzdept_r")):
            continue
        thickness = min(_number(row, "hzdepb_r"), TOPSOIL_CM) - _number(row, "hzdept_r")
        weight = area * thickness
        with_texture.add(key)
        total += weight
        sand += weight * _number(row, "sandtotal_r") / 100
        clay += weight * _number(row, "claytotal_r") / 100
        organic += weight * (0.0 if row["om_r"] is None else _number(row, "om_r"))
    whole_area = sum(area for area, _ in components.values())
    if total <= 0.0 or whole_area <= 0.0:
        return None
    widest = max(components.values(), key=lambda c: c[0])[1]
    return SurveySoil(
        sand=sand / total,
        clay=clay / total,
        organic_pct=organic / total,
        texture=texture_class(sand / total, clay / total),
        drainage=DRAINAGE.get(str(widest["drainagecl"]).strip().lower(), "moderate"),
        group=str(widest["hydgrp"] or ""),
        map_unit=str(widest["muname"] or ""),
        share=sum(components[k][0] for k in with_texture) / whole_area,
    )


def texture_class(sand: float, clay: float) -> str:
    """USDA texture class of weight fractions (Soil Survey Manual, ch. 3, texture triangle)."""
    silt = 1.0 - sand - clay
    if silt + 1.5 * clay < 0.15:
        return "sand"
    if silt + 2.0 * clay < 0.30:
        return "loamy sand"
    if clay >= 0.35 and sand > 0.45:
        return "sandy clay"
    if clay >= 0.40:
        return "silty clay" if silt >= 0.40 else "clay"
    if clay >= 0.27 and sand > 0.45:
        return "sandy clay loam"
    if clay >= 0.27:
        return "silty clay loam" if sand <= 0.20 else "clay loam"
    if silt >= 0.80 and clay < 0.12:
        return "silt"
    if silt >= 0.50:
        return "silt loam"
    if clay >= 0.20 and silt < 0.28 and sand > 0.45:
        return "sandy clay loam"
    if (clay >= 0.07 and sand <= 0.52) and silt >= 0.28:
        return "loam"
    return "sandy loam"
