# ruff: noqa: E501 (one field a line)
"""Write the files of the sample farm; everything in them is invented, and one seed fixes it.

    python sample_forecasts/make_sample.py [FOLDER]

The farm lies on the northern plains, in sections of one mile; no field, name, elevator or weather
is real. `make_weather.py` makes the weather and `weather_files.py` its files.
"""

from __future__ import annotations

import csv
import json
import math
import sys
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from make_weather import Sky
from weather_files import write_responses

HERE = Path(__file__).resolve().parent
BASE = (47.32, -99.12)  # latitude, longitude of the yard
MILE_LAT = 1.609344 / 111.195  # degrees of latitude in a mile
MILE_LON = MILE_LAT / math.cos(math.radians(BASE[0]))
MILE2_AC = 640.0
ROAD = 0.01  # mile of road and ditch left along each side

WHEAT, DURUM, BARLEY = "spring wheat", "durum", "barley"
HEAVY, MEDIUM, LIGHT = "silty clay loam", "loam", "sandy loam"
#: Columns of FIELDS; east and north are miles from the yard to the south-west corner, wide and high
#: the size in miles.
COLUMNS = (
    "id",
    "name",
    "east",
    "north",
    "wide",
    "high",
    "crop",
    "variety",
    "texture",
    "drainage",
    "slope_pct",
    "approach",
    "yield_bu_ac",
    "ripe",
    "sample_pct",
    "sampled",
)
FIELDS: tuple[tuple[Any, ...], ...] = (
    ("F01", "Home quarter", 0.0, 0.5, 0.5, 0.5, WHEAT, "W-21", MEDIUM, "moderate", 1.5, "gravel", 58, "2026-07-24", 18.6, "2026-08-11 18:30"),
    ("F02", "Yard eighty", -0.5, 0.0, 0.5, 0.25, BARLEY, "B-7", MEDIUM, "moderate", 1.0, "gravel", 74, "2026-07-18", 17.4, "2026-08-11 17:45"),
    ("F03", "Slough quarter", 1.0, -0.5, 0.5, 0.5, WHEAT, "W-21", HEAVY, "poor", 0.5, "gravel", 62, "2026-07-25", None, ""),
    ("F04", "Sandhill", 3.0, 1.5, 0.5, 1.0, WHEAT, "W-34", LIGHT, "good", 4.0, "gravel", 47, "2026-07-22", 16.8, "2026-08-11 19:10"),
    ("F05", "Two mile", 2.0, -2.0, 0.5, 0.5, DURUM, "D-3", MEDIUM, "moderate", 2.0, "gravel", 52, "2026-07-28", None, ""),
    ("F06", "Creek bottom", 4.0, -3.5, 0.5, 0.5, BARLEY, "B-7", HEAVY, "poor", 0.3, "dirt", 78, "2026-07-21", 21.7, "2026-08-11 18:05"),
    ("F07", "Long half", 5.5, 0.0, 1.0, 0.5, WHEAT, "W-21", MEDIUM, "moderate", 1.2, "paved", 60, "2026-07-26", None, ""),
    ("F08", "Stone pile", 6.5, 2.5, 0.5, 0.5, DURUM, "D-3", LIGHT, "good", 3.5, "gravel", 45, "2026-07-26", 17.9, "2026-08-11 16:50"),
    ("F09", "East tile", 8.0, -1.0, 0.5, 0.5, WHEAT, "W-34", HEAVY, "moderate", 0.6, "gravel", 66, "2026-07-27", None, ""),
    ("F10", "Tower quarter", 9.5, 1.0, 0.5, 0.5, DURUM, "D-5", MEDIUM, "moderate", 1.8, "gravel", 54, "2026-07-31", None, ""),
    ("F11", "Far east half", 13.0, 0.5, 0.5, 1.0, WHEAT, "W-34", MEDIUM, "moderate", 1.5, "paved", 57, "2026-07-25", None, ""),
    ("F12", "Blacktop eighty", 14.5, -0.5, 0.25, 0.5, BARLEY, "B-7", MEDIUM, "moderate", 1.0, "paved", 72, "2026-07-19", 16.2, "2026-08-11 15:40"),
    ("F13", "Gravel pit", 12.0, -3.0, 0.5, 0.5, WHEAT, "W-21", LIGHT, "good", 5.0, "gravel", 46, "2026-07-21", None, ""),
    ("F14", "Trail quarter", 10.5, -5.5, 0.5, 0.5, DURUM, "D-3", HEAVY, "poor", 0.8, "dirt", 56, "2026-07-29", None, ""),
    ("F15", "Seed block", -2.0, 1.0, 0.25, 0.5, WHEAT, "W-40", MEDIUM, "good", 1.5, "gravel", 55, "2026-07-23", 17.2, "2026-08-11 18:50"),
    ("F16", "School quarter", -3.5, 0.0, 0.5, 0.5, BARLEY, "B-9", MEDIUM, "moderate", 1.0, "gravel", 76, "2026-07-20", None, ""),
    ("F17", "West ridge", -5.0, 3.0, 0.5, 0.5, WHEAT, "W-34", LIGHT, "good", 4.5, "gravel", 48, "2026-07-22", None, ""),
    ("F18", "Lake flat", -6.5, -2.0, 1.0, 0.5, DURUM, "D-5", HEAVY, "poor", 0.4, "gravel", 58, "2026-07-30", 22.4, "2026-08-11 17:20"),
    ("F19", "Windbreak", -8.0, 0.5, 0.5, 0.5, WHEAT, "W-21", MEDIUM, "moderate", 1.6, "gravel", 59, "2026-07-26", None, ""),
    ("F20", "Corner eighty", -9.5, 2.0, 0.25, 0.5, BARLEY, "B-9", LIGHT, "good", 2.5, "gravel", 68, "2026-07-18", None, ""),
    ("F21", "North pasture break", -4.0, 7.5, 0.5, 0.5, WHEAT, "W-34", MEDIUM, "moderate", 2.2, "dirt", 56, "2026-07-25", None, ""),
    ("F22", "Hilltop", 1.5, 8.0, 0.5, 0.5, DURUM, "D-3", LIGHT, "good", 5.5, "gravel", 46, "2026-07-27", None, ""),
    ("F23", "Correction line", 6.0, 9.0, 0.5, 0.5, BARLEY, "B-7", MEDIUM, "moderate", 1.4, "gravel", 75, "2026-07-21", None, ""),
    ("F24", "South half", -1.0, -7.0, 0.5, 1.0, WHEAT, "W-21", HEAVY, "moderate", 0.7, "gravel", 64, "2026-07-27", 20.3, "2026-08-11 16:15"),
    ("F25", "Dugout quarter", 5.0, -8.0, 0.5, 0.5, DURUM, "D-5", MEDIUM, "moderate", 1.7, "gravel", 53, "2026-07-29", None, ""),
    ("F26", "County line", -14.5, -1.5, 0.5, 0.5, WHEAT, "W-34", MEDIUM, "moderate", 1.3, "paved", 57, "2026-07-24", None, ""),
)  # fmt: skip
#: Values of single fields that differ from the usual, by column.
EXCEPTIONS: dict[str, dict[str, Any]] = {
    "F03": {"wet_pct": 14},
    "F09": {"tile": "yes"},
    "F15": {"purpose": "seed"},
    "F02": {"cut_pct": 40},
    "F18": {"wet_pct": 10},
    "F11": {"test_weight_lb_bu": 59.5},
    "F24": {"test_weight_lb_bu": 58.5},
}
RESIDUE = {HEAVY: 35, MEDIUM: 50, LIGHT: 60}
ORGANIC = {HEAVY: 4.2, MEDIUM: 3.4, LIGHT: 2.1}
#: Sloughs that are not farmed: field, miles east and north of its corner, radius in miles.
SLOUGHS = {"F03": (0.30, 0.28, 0.06), "F18": (0.70, 0.20, 0.08), "F14": (0.15, 0.35, 0.05)}
#: Gauges: id, miles east and north of the yard.
GAUGES = {
    "yard": (0.1, 0.1),
    "east": (9.0, -0.5),
    "far east": (13.2, 1.0),
    "west": (-6.0, 0.6),
    "south": (0.5, -6.8),
}
#: Days of gauge readings, at seven in the morning.
FIRST_READING, LAST_READING = date(2026, 5, 1), date(2026, 8, 12)


def place(east: float, north: float) -> tuple[float, float]:
    """Latitude and longitude of a point so many miles from the yard."""
    return round(BASE[0] + north * MILE_LAT, 5), round(BASE[1] + east * MILE_LON, 5)


def rings(
    field: str, east: float, north: float, wide: float, high: float
) -> list[list[list[float]]]:
    """GeoJSON rings of a field: its edge (counter-clockwise), its slough (clockwise)."""

    def ring(points: list[tuple[float, float]]) -> list[list[float]]:
        spots = [place(e, n) for e, n in points]
        return [[lon, lat] for lat, lon in [*spots, spots[0]]]

    w, e, s, n = east + ROAD, east + wide - ROAD, north + ROAD, north + high - ROAD
    out = [ring([(w, s), (e, s), (e, n), (w, n)])]
    if field in SLOUGHS:
        x, y, r = SLOUGHS[field]
        angles = [-2 * math.pi * k / 12 for k in range(12)]
        out.append(
            ring([(east + x + r * math.cos(a), north + y + r * math.sin(a)) for a in angles])
        )
    return out


def acres(field: str, wide: float, high: float) -> float:
    """Farmed acres: the area inside the roads less the slough, a polygon of twelve sides."""
    square = (wide - 2 * ROAD) * (high - 2 * ROAD)
    r = SLOUGHS.get(field, (0.0, 0.0, 0.0))[2]
    return (square - 6 * math.sin(math.pi / 6) * r * r) * MILE2_AC


def write_fields(folder: Path) -> None:
    """Write fields.csv and fields.geojson."""
    columns = (
        "id",
        "name",
        "lat",
        "lon",
        "area_ac",
        "crop",
        "variety",
        "texture",
        "organic_matter_pct",
        "drainage",
        "tile",
        "slope_pct",
        "residue_pct",
        "approach",
        "yield_bu_ac",
        "ripe",
        "sample_pct",
        "sampled",
        "test_weight_lb_bu",
        "purpose",
        "cut_pct",
        "wet_pct",
    )
    rows, features = [], []
    for facts in FIELDS:
        row = dict(zip(COLUMNS, facts, strict=True))
        field, soil = row["id"], row["texture"]
        box = tuple(row.pop(side) for side in ("east", "north", "wide", "high"))
        east, north, wide, high = box
        row["lat"], row["lon"] = place(east + wide / 2, north + high / 2)
        row |= {
            "area_ac": round(acres(field, wide, high), 1),
            "organic_matter_pct": ORGANIC[soil],
            "tile": "no",
            "residue_pct": RESIDUE[soil],
            "purpose": "grain",
            "cut_pct": 0,
            "wet_pct": 0,
        }
        rows.append(row | EXCEPTIONS.get(field, {}))
        shape = {"type": "Polygon", "coordinates": rings(field, *box)}
        features.append({"type": "Feature", "properties": {"id": field}, "geometry": shape})
    with (folder / "fields.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, columns, restval="", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    collection = {"type": "FeatureCollection", "features": features}
    (folder / "fields.geojson").write_text(json.dumps(collection) + "\n", encoding="utf-8")


def write_rain(folder: Path, sky: Sky) -> None:
    """Write rain.csv: the reading of every gauge each morning, in inches."""
    lines = ["gauge,date,amount_in"]
    days = (LAST_READING - FIRST_READING).days + 1
    for gauge, (east, north) in GAUGES.items():
        caught = sky.gauge_mm(*place(east, north), FIRST_READING, days)
        for n, mm in enumerate(caught):
            lines.append(f"{gauge},{FIRST_READING + timedelta(days=n)},{mm / 25.4:.2f}")
    (folder / "rain.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


def main() -> None:
    """Write the whole sample into the folder given, or over this one."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE
    (folder / "forecasts").mkdir(parents=True, exist_ok=True)
    write_fields(folder)
    sky = Sky(seed=20260812)
    write_rain(folder, sky)
    write_responses(folder / "forecasts", sky)


if __name__ == "__main__":
    main()
