"""Curves of a field over the members: grain moisture and soil water, with their limits."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array
from readiness.season.codes import Tier
from readiness.soil.trafficability import land_limits
from scheduler.farm.model import Farm
from scheduler.farm.units import short_number
from scheduler.language.translation import _
from scheduler.orders.model import Morning
from scheduler.report.figures.axes import (
    GREY,
    INK,
    NIGHT,
    PALETTE,
    hour_of,
    new_axes,
    note,
    time_axis,
)
from scheduler.windows.daily_hours import row_of
from scheduler.windows.model_inputs import land_of, limits_of, season_rows, stand_of

HISTORY_H = 48  # hours before planning in the curves; assumed, two nights show the trend
DAYS_NAMED = 6  # days named on the axis; assumed, more run into each other
STEP_H = 3  # hours between points of a curve; assumed, the daily wave shows and files stay small


def _draw_fan(ax: Axes, hours: NDArray[np.int64], values: Array) -> Array:
    """Draw the median, the middle half and the middle four fifths over members.

    Unknown hours are hatched.

    Returns
    -------
    The percentiles drawn: 10, 25, 50, 75 and 90 (5, hour).
    """
    finite = np.isfinite(values).any(axis=0)
    filled = np.where(finite, values, 0.0)
    percentile = np.nanpercentile if np.isnan(filled).any() else np.percentile  # faster
    bands = percentile(filled, [10, 25, 50, 75, 90], axis=0)
    bands[:, ~finite] = np.nan
    ax.fill_between(hours, bands[0], bands[4], color=PALETTE[2], linewidth=0)
    ax.fill_between(hours, bands[1], bands[3], color=PALETTE[3], linewidth=0)
    ax.plot(hours, bands[2], color=PALETTE[6], linewidth=1.1)
    for a, b in _runs(np.asarray(~finite)):
        end = hours[min(b, len(hours) - 1)]
        ax.axvspan(hours[a], end, facecolor="none", edgecolor=GREY, hatch="xxx", linewidth=0)
    return bands


def _runs(flags: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Half-open ranges of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(int)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _draw_curve(
    ax: Axes, morning: Morning, row: int, values: Array, limits: dict[str, float]
) -> tuple[int, int]:
    """Draw one row from shortly before planning to the end.

    The hours of its orders are shaded, its limits are lines.

    Returns
    -------
    The first and last hour drawn.
    """
    now = hour_of(morning, morning.now)
    first, last = max(0, int(now) - HISTORY_H), values.shape[1] - 1
    hours = np.arange(first, last + 1, STEP_H)
    for span in _cutting_spans(morning, row):
        ax.axvspan(*span, color=NIGHT, linewidth=0)
    bands = _draw_fan(ax, hours, values[:, hours])
    time_axis(ax, morning, first, last, DAYS_NAMED)
    _draw_limits(ax, last, limits)
    shown = np.array([*bands[np.isfinite(bands)], *limits.values()])
    margin = 0.1 * max(np.ptp(shown), 1.0)
    ax.set_ylim(shown.min() - margin, shown.max() + margin)
    ax.tick_params(labelsize=7)
    return first, last


def _cutting_spans(morning: Morning, row: int) -> list[tuple[float, float]]:
    """Hours from start to finish of the orders that cut a row of the season."""
    return [
        (hour_of(morning, o.start.mid), hour_of(morning, o.finish.mid))
        for c in morning.crews
        for o in c.orders
        if row_of(morning.farm, o.field, o.parcel) == row
    ]


def _draw_limits(ax: Axes, last: float, limits: dict[str, float]) -> None:
    """Draw a line for each limit, in styles of their own; equal limits share a line."""
    merged: dict[float, list[str]] = {}
    for name, value in limits.items():
        merged.setdefault(round(value, 1), []).append(name)
    for style, (value, names) in zip(("--", "-.", ":"), merged.items(), strict=False):
        ax.axhline(value, color=INK, linewidth=0.8, linestyle=style)
        below = len(merged) > 1 and value == min(merged)  # close limits stay readable
        note(
            ax,
            f"{', '.join(names)} {short_number(value)}",
            last,
            value,
            up=-5 if below else 4,
            left=True,
        )


def grain_limits(farm: Farm, row: int) -> dict[str, float]:
    """Moisture limits of a row of the season by name, percent."""
    field = season_rows(farm)[row][0]
    markets = [p.markets[field.crop] for p in farm.points if field.crop in p.markets]
    limits = {_("threshes"): float(stand_of(farm).limit[row])}
    if markets:
        limits[_("taken")] = max(m.moisture_limit_pct for m in markets)
        limits[_("base")] = max(m.moisture_base_pct for m in markets)
    return limits


def plot_grain(morning: Morning, row: int, *, ax: Axes | None = None) -> Axes:
    """Draw the grain moisture of a row of the season over the members, with its limits."""
    ax = ax or new_axes(3.7, 1.5)
    _draw_curve(ax, morning, row, morning.season.moisture[:, row], grain_limits(morning.farm, row))
    ax.set_ylabel(_("grain, % wet"), fontsize=7)
    return ax


def ground_limits(farm: Farm, row: int) -> dict[str, float]:
    """Water of the top 15 cm under which carts and combines may drive, percent by volume."""
    land, loads = land_of(farm), limits_of(farm, None, np.arange(len(season_rows(farm))))
    limits = land_limits(land, combine=loads.combine, cart=loads.cart)
    return {
        _("carts under"): float(100.0 * limits.firm_top[row]),
        _("combines under"): float(100.0 * limits.headland_top[row]),
    }


def plot_ground(morning: Morning, row: int, *, ax: Axes | None = None) -> Axes:
    """Draw the water in the top 15 cm of a row of the season over the members, with its limits.

    The strip below shows the likeliest state of the ground: white firm, hatched headland-only,
    dark soft, crossed unknown.
    """
    ax = ax or new_axes(3.7, 1.5)
    water = 100.0 * morning.season.water_top[:, row]
    first, last = _draw_curve(ax, morning, row, water, ground_limits(morning.farm, row))
    low, high = ax.get_ylim()
    ax.set_ylim(low - 0.15 * (high - low), high)  # space for the strip
    tiers = morning.season.tier[:, row, first : last + 1]
    counts = np.stack([(tiers == t).sum(axis=0) for t in Tier])
    likeliest = counts.argmax(axis=0)
    looks: dict[Tier, dict[str, Any]] = {
        Tier.FIRM: {"facecolor": "white"},
        Tier.HEADLAND_ONLY: {"facecolor": PALETTE[2], "hatch": "////"},
        Tier.SOFT: {"facecolor": PALETTE[6]},
        Tier.UNKNOWN: {"facecolor": "white", "hatch": "xxx"},
    }
    for tier, look in looks.items():
        spans = [(first + a, b - a) for a, b in _runs(np.asarray(likeliest == tier))]
        if spans:
            ax.broken_barh(
                spans,
                (0, 0.12),
                transform=ax.get_xaxis_transform(),
                edgecolor=INK,
                linewidth=0.3,
                label=tier.name,
                **look,
            )
    ax.set_ylabel(_("soil water, %"), fontsize=7)
    return ax
