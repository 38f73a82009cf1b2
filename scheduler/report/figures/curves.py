"""Curves of a field over the members: grain moisture above soil water, with their limits."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array
from readiness.season.codes import Tier
from readiness.soil.trafficability import land_limits
from scheduler.farm.model import Farm
from scheduler.language.translation import _
from scheduler.orders.model import Morning
from scheduler.report.figures.axes import hour_of, named_days, runs
from scheduler.report.figures.palette import GREY, INK, NIGHT, PALETTE
from scheduler.report.figures.panel import Panel, hatch, picture, stripes
from scheduler.windows.daily_hours import row_of
from scheduler.windows.model_inputs import land_of, limits_of, season_rows, stand_of

HISTORY_H = 48  # hours before planning in the curves; assumed, two nights show the trend
DAYS_NAMED = 6  # days named on the axis; assumed, more run into each other
STEP_H = 4  # hours between points of a curve; assumed, the daily wave shows and files stay small
#: Picture, left edge and width of the panels, top and height of each, picture units.
WIDTH, HEIGHT, LEFT, ACROSS = 740, 470, 66, 664
GRAIN_AT, GROUND_AT = (8, 206), (226, 212)
#: Share of the ground panel that the strip of tiers takes.
STRIP = 0.12
#: Fill of each tier in the strip.
TIER_FILLS: dict[Tier, str] = {
    Tier.FIRM: "#fff",
    Tier.HEADLAND_ONLY: "url(#s)",
    Tier.SOFT: PALETTE[6],
    Tier.UNKNOWN: "url(#u)",
}


def field_curves(morning: Morning, row: int) -> str:
    """Draw grain moisture above soil water of a row of the season, as SVG text.

    Line: median over members; dark band: middle half; light band: middle four fifths. The hours of
    the row's orders are shaded. The strip below shows the likeliest state of the ground: white
    firm, striped headland-only, dark soft, crossed unknown.
    """
    now = hour_of(morning, morning.now)
    first, last = max(0, int(now) - HISTORY_H), morning.season.moisture.shape[2] - 1
    hours = np.arange(first, last + 1, STEP_H)
    grain = _curve_panel(
        morning,
        row,
        hours,
        morning.season.moisture[:, row],
        grain_limits(morning.farm, row),
        GRAIN_AT,
    )
    grain.frame(_("grain, % wet"))
    water = 100.0 * morning.season.water_top[:, row]
    ground = _curve_panel(
        morning, row, hours, water, ground_limits(morning.farm, row), GROUND_AT, foot=STRIP
    )
    for tier, begin, end in tier_spans(morning, row, first, last):
        ground.span(begin, end, TIER_FILLS[tier], share=STRIP)
    ground.frame(_("soil water, %"))
    for at, name in named_days(morning, first, last, DAYS_NAMED):
        (x,) = ground.place(np.array([at]), np.array([ground.y[0]]))[0]
        ground.text(name, x, HEIGHT - 16)
    patterns = hatch("u") + stripes("s", PALETTE[2])
    return picture(WIDTH, HEIGHT, (grain, ground), patterns=f"<defs>{patterns}</defs>")


def _curve_panel(
    morning: Morning,
    row: int,
    hours: NDArray[np.int64],
    values: Array,
    limits: dict[str, float],
    at: tuple[int, int],
    *,
    foot: float = 0.0,
) -> Panel:
    """A panel with the curve of one row; `foot` is the share of its height kept free below."""
    bands = fan(values[:, hours])
    merged: dict[float, list[str]] = {}
    for name, value in limits.items():
        merged.setdefault(round(value, 1), []).append(name)
    shown = np.array([*bands[np.isfinite(bands)], *merged])
    margin = 0.1 * max(float(np.ptp(shown)), 1.0)
    low, high = float(shown.min()) - margin, float(shown.max()) + margin
    low -= foot * (high - low)
    panel = Panel(
        left=LEFT,
        top=at[0],
        width=ACROSS,
        height=at[1],
        x=(float(hours[0]), float(hours[-1])),
        y=(low, high),
    )
    for begin, end in _cutting_spans(morning, row):
        panel.span(begin, end, NIGHT)
    panel.band(hours.astype(float), bands[0], bands[4], PALETTE[2])
    panel.band(hours.astype(float), bands[1], bands[3], PALETTE[3])
    panel.curve(hours.astype(float), bands[2], PALETTE[6], 2.2)
    for a, b in runs(np.isnan(bands[2])):
        panel.span(hours[a], hours[min(b, len(hours) - 1)], "url(#u)")
    days = [at for at, _name in named_days(morning, int(hours[0]), int(hours[-1]), 1000)]
    panel.verticals(days, GREY, 0.6)
    panel.verticals([hour_of(morning, morning.now)], INK, 1.8)
    panel.limits([(", ".join(names), value) for value, names in merged.items()])
    return panel


def fan(values: Array) -> Array:
    """Percentiles 10, 25, 50, 75 and 90 over members, (5, hour); NaN where all are unknown."""
    finite = np.isfinite(values).any(axis=0)
    filled = np.where(finite, values, 0.0)
    percentile = np.nanpercentile if np.isnan(filled).any() else np.percentile  # faster
    bands: Array = percentile(filled, [10, 25, 50, 75, 90], axis=0)
    bands[:, ~finite] = np.nan
    return bands


def tier_spans(morning: Morning, row: int, first: int, last: int) -> list[tuple[Tier, int, int]]:
    """Hours of the season from and to which a tier is the likeliest."""
    tiers = morning.season.tier[:, row, first : last + 1]
    likeliest = np.stack([(tiers == t).sum(axis=0) for t in Tier]).argmax(axis=0)
    return [
        (tier, first + a, first + b)
        for tier in Tier
        for a, b in runs(np.asarray(likeliest == tier))
    ]


def _cutting_spans(morning: Morning, row: int) -> list[tuple[float, float]]:
    """Hours from start to finish of the orders that cut a row of the season."""
    return [
        (hour_of(morning, o.start.mid), hour_of(morning, o.finish.mid))
        for c in morning.crews
        for o in c.orders
        if row_of(morning.farm, o.field, o.parcel) == row
    ]


def grain_limits(farm: Farm, row: int) -> dict[str, float]:
    """Moisture limits of a row of the season by name, percent."""
    field = season_rows(farm)[row][0]
    markets = [p.markets[field.crop] for p in farm.points if field.crop in p.markets]
    limits = {_("threshes"): float(stand_of(farm).limit[row])}
    if markets:
        limits[_("taken")] = max(m.moisture_limit_pct for m in markets)
        limits[_("base")] = max(m.moisture_base_pct for m in markets)
    return limits


def ground_limits(farm: Farm, row: int) -> dict[str, float]:
    """Water of 0-5 and 5-15 cm under which carts and combines may drive, percent by volume."""
    land, loads = land_of(farm), limits_of(farm, None, np.arange(len(season_rows(farm))))
    limits = land_limits(land, combine=loads.combine, cart=loads.cart)
    return {
        _("carts under"): float(100.0 * limits.firm_top[row]),
        _("combines under"): float(100.0 * limits.headland_top[row]),
    }
