"""Tables of the model validation: results, stations, tested years, strength of the ground."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from readiness.soil.land import Land
from readiness.soil.properties import bulk_density
from readiness.soil.running_gear import (
    USUAL_CART,
    USUAL_CART_T,
    USUAL_COMBINE,
    USUAL_COMBINE_T,
)
from readiness.soil.trafficability import land_limits, strengths_at_limits
from readiness.validation.days_suitable import TEST_STATE
from readiness.validation.hours_after_rain import HoursAfterRain
from readiness.validation.soil_moisture import SoilResult
from readiness.validation.validate import ValidationRow
from scheduler.farm_files.vocabulary import TEXTURES

#: Caveat of all results, printed on the page and in the terminal.
CAVEAT = (
    "The model's own constants (drainage, redistribution, evaporation under sod) were chosen among "
    "variants while sixteen stations of all years were in view; stations and years never seen are "
    f"the fair test. The rules for days suitable hold when weeks outside {TEST_STATE} alone choose "
    f"them; the weeks of {TEST_STATE} test them, but were once in view."
)
VERDICTS = {True: "reached", False: "missed", None: "no data"}
#: Fewest days of a station's year that enter its median.
LEAST_DAYS_YEAR = 60


def row_cells(row: ValidationRow) -> tuple[str, str, str, str]:
    """A row of the validation as texts: quantity, target, value reached, verdict."""
    return row.name, row.target, row.reached, VERDICTS[row.met]


def station_lines(soils: Sequence[SoilResult]) -> list[tuple[str, ...]]:
    """Rows by station: name, r and unbiased RMSE of each score, days tested."""
    names = (
        "5 cm, no calibration",
        "5 cm, calibrated, trained",
        "5 cm, calibrated, tested",
        "10 cm, calibrated, tested",
    )
    lines = []
    for soil in soils:
        scores = [soil.scores.get(n) for n in names]
        cells = [f"{s.r:.2f} {s.unbiased_rmse:.3f}" if s else "-" for s in scores]
        lines.append((soil.name, *cells, str(scores[2].days if scores[2] else 0)))
    return lines


def year_lines(soils: Sequence[SoilResult]) -> list[tuple[str, str, str, str]]:
    """Rows by tested year: medians of r and unbiased RMSE at 5 cm, calibrated; stations."""
    lines = []
    for year in sorted({y for s in soils for y in s.by_year}):
        scores = [s.by_year[year] for s in soils if year in s.by_year]
        scores = [x for x in scores if np.isfinite(x.r) and x.days >= LEAST_DAYS_YEAR]
        if scores:
            r, unbiased = ([getattr(x, n) for x in scores] for n in ("r", "unbiased_rmse"))
            lines.append(
                (str(year), f"{np.median(r):.2f}", f"{np.median(unbiased):.3f}", str(len(scores)))
            )
    return lines


def after_rain_lines(rows: Sequence[HoursAfterRain]) -> list[tuple[str, ...]]:
    """Rows by texture and ground before: hours to each tier by rain and drainage, and the rule."""
    rains = list(dict.fromkeys(r.rain_mm for r in rows))
    drainages = list(dict.fromkeys(r.drainage for r in rows))
    head = [f"{rain:g} mm {drainage}" for rain in rains for drainage in drainages]
    lines = [("texture", "before", *head, "published rule")]
    for texture, wet in dict.fromkeys((r.texture, r.wet) for r in rows):
        own = {(r.rain_mm, r.drainage): r for r in rows if (r.texture, r.wet) == (texture, wet)}
        cells = [own[rain, d] for rain in rains for d in drainages]
        lines.append(
            (
                texture,
                "field capacity" if wet else "half dry",
                *(f"{c.headland}/{c.firm}" for c in cells),
                str(cells[0].rule),
            )
        )
    return lines


def strength_lines() -> list[tuple[str, ...]]:
    """Rows by texture and limit: water, strength by each relation, strength needed, kPa."""
    sand, clay = np.array(list(TEXTURES.values())).T / 100.0
    land = Land.of(len(sand), sand=sand, clay=clay)
    limits = land_limits(land, combine=USUAL_COMBINE, cart=USUAL_CART)
    opinions = strengths_at_limits(
        [name.replace("_", " ") for name in TEXTURES],
        limits,
        sand=sand,
        clay=clay,
        density=bulk_density(sand, clay, land.organic_pct),
        combine_t=USUAL_COMBINE_T,
        cart_t=USUAL_CART_T,
    )
    head = ("texture", "limit", "water 15-30 cm", *opinions[0].strength)
    lines = [(*head, *(f"needed: {machine}" for machine in opinions[0].needed))]
    for o in opinions:
        kpa = (*o.strength.values(), *o.needed.values())
        lines.append((o.texture, o.limit, f"{o.water:.3f}", *(f"{v:.0f}" for v in kpa)))
    return lines
