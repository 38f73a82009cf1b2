"""Soil by position: the question to the USDA Soil Data Access service, and its answer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from readiness.sources.payload import PayloadError

Ring = Sequence[tuple[float, float]]  # (lon, lat)

#: Depth of topsoil that is averaged, cm: what carries machines and holds the plough layer.
TOPSOIL_CM = 30
#: Words of the survey's drainage classes (Soil Survey Manual, ch. 3) and ours.
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
    """Topsoil of one field: weight fractions, organic matter in percent, words.

    `share` is the part of the ground under major components with known texture, 0-1.
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
    """Transact-SQL for the major components and topsoil horizons under each boundary.

    Rows are numbered after the boundaries, so that no text of the user's enters the query.
    """
    parts = " UNION ALL ".join(_parts(n, ring) for n, ring in enumerate(rings))
    return (
        "SELECT a.field, a.part, mu.muname, c.cokey, c.comppct_r, c.drainagecl, c.hydgrp, "
        "h.hzdept_r, h.hzdepb_r, h.sandtotal_r, h.claytotal_r, h.om_r "
        f"FROM ({parts}) AS a JOIN mapunit AS mu ON mu.mukey = a.mukey "
        "JOIN component AS c ON c.mukey = a.mukey AND c.majcompflag = 'Yes' "
        f"LEFT JOIN chorizon AS h ON h.cokey = c.cokey AND h.hzdept_r < {TOPSOIL_CM} "
        "ORDER BY a.field, a.part DESC, c.comppct_r DESC, c.cokey, h.hzdept_r"
    )


def _parts(number: int, ring: Ring) -> str:
    """Area of each map unit inside a boundary."""
    closed = [*ring, ring[0]] if tuple(ring[0]) != tuple(ring[-1]) else list(ring)
    text = ", ".join(f"{lon:.6f} {lat:.6f}" for lon, lat in closed)
    shape = f"geometry::STGeomFromText('POLYGON(({text}))', 4326)"
    return (
        f"SELECT {number} AS field, m.mukey, "
        f"SUM(m.mupolygongeo.STIntersection({shape}).STArea()) AS part FROM mupolygon AS m "
        f"WHERE m.mupolygongeo.STIntersects({shape}) = 1 GROUP BY m.mukey"
    )


def read_survey(payload: object) -> dict[int, SurveySoil]:
    """Soil of each numbered boundary; those the survey does not know are left out.

    Horizons are weighted by thickness within the topsoil, components by their percentage, map
    units by their area inside the boundary. Words are those of the widest component.

    Raises
    ------
    PayloadError
        Where the answer is not the table that was asked for.
    """
    if not isinstance(payload, Mapping):
        raise PayloadError("the answer is no table")
    table = payload.get("Table", [])
    if not isinstance(table, list) or not all(isinstance(r, list) for r in table):
        raise PayloadError("the answer is no table")
    if not table:
        return {}
    heading = [str(c).lower() for c in table[0]]
    if missing := set(COLUMNS) - set(heading):
        raise PayloadError(f"the table lacks the column {sorted(missing)[0]}")
    fields: dict[int, list[dict[str, Any]]] = {}
    for cells in table[1:]:
        row = dict(zip(heading, cells, strict=False))
        fields.setdefault(int(_figure(row, "field")), []).append(row)
    found = {n: _soil(rows) for n, rows in fields.items()}
    return {n: soil for n, soil in found.items() if soil is not None}


def _figure(row: Mapping[str, Any], name: str) -> float:
    try:
        return float(row[name])
    except (KeyError, TypeError, ValueError):
        raise PayloadError(f"{name} is no number") from None


def _soil(rows: Sequence[Mapping[str, Any]]) -> SurveySoil | None:
    """Mean topsoil of one field."""
    total = sand = clay = organic = 0.0
    components: dict[str, tuple[float, Mapping[str, Any]]] = {}
    known: set[str] = set()
    for row in rows:
        ground = _figure(row, "part") * _figure(row, "comppct_r")
        key = f"{row['cokey']} {row['muname']} {row['part']}"
        components[key] = ground, row
        if any(row[c] is None for c in ("sandtotal_r", "claytotal_r", "hzdepb_r", "hzdept_r")):
            continue
        thick = min(_figure(row, "hzdepb_r"), TOPSOIL_CM) - _figure(row, "hzdept_r")
        weight = ground * thick
        known.add(key)
        total += weight
        sand += weight * _figure(row, "sandtotal_r") / 100
        clay += weight * _figure(row, "claytotal_r") / 100
        organic += weight * (0.0 if row["om_r"] is None else _figure(row, "om_r"))
    everything = sum(ground for ground, _ in components.values())
    if total <= 0.0 or everything <= 0.0:
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
        share=sum(components[k][0] for k in known) / everything,
    )


def texture_class(sand: float, clay: float) -> str:
    """USDA texture class of weight fractions (Soil Survey Manual, ch. 3, texture triangle)."""
    silt = 1.0 - sand - clay
    if silt + 1.5 * clay < 0.15:
        return "sand"
    if silt + 2.0 * clay < 0.30:
        return "loamy sand"
    if clay >= 0.40:
        return "sandy clay" if sand > 0.45 else "silty clay" if silt >= 0.40 else "clay"
    if clay >= 0.35 and sand > 0.45:
        return "sandy clay"
    if clay >= 0.27:
        return (
            "silty clay loam"
            if sand <= 0.20
            else "clay loam"
            if sand <= 0.45
            else "sandy clay loam"
        )
    if silt >= 0.80 and clay < 0.12:
        return "silt"
    if silt >= 0.50:
        return "silt loam"
    if clay >= 0.20 and silt < 0.28 and sand > 0.45:
        return "sandy clay loam"
    if (clay >= 0.07 and sand <= 0.52) and silt >= 0.28:
        return "loam"
    return "sandy loam"
