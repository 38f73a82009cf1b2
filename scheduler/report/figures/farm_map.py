"""Map of the farm: its fields, and the way of each crew through them."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Polygon
from numpy.typing import NDArray

from scheduler.farm.model import DeliveryPoint, Farm, Field
from scheduler.farm.units import from_si, unit_name
from scheduler.farm.wording import crew_title
from scheduler.language.translation import _
from scheduler.orders.model import CrewOrders, Morning
from scheduler.report.figures.axes import new_axes, note, short_name
from scheduler.report.figures.palette import GREY, INK, PALETTE

MARKERS = ("o", "s", "^", "D", "v", "p", "h", "8")
STYLES: tuple[str | tuple[int, tuple[int, ...]], ...] = ("-", "--", ":", "-.", (0, (6, 1, 1, 1)))
DEGREE_KM = 111.32  # of latitude


def plot_map(morning: Morning, *, ax: Axes | None = None) -> Axes:
    """Draw fields as outlines, each crew's way with its orders numbered, and delivery points.

    Fields in nobody's orders are crossed.
    """
    farm = morning.farm
    ax = ax or new_axes(6.6, 1.3 + 5.6 * min(1.2, max(0.4, _height_over_width(farm))))
    ordered = {o.field for c in morning.crews for o in c.orders}
    for f in farm.fields:
        is_ordered = f.id in ordered
        outline = Polygon(
            _outline(farm, f),
            facecolor=PALETTE[1] if is_ordered else "none",
            edgecolor=GREY,
            linewidth=0.6,
            hatch=None if is_ordered else "xxx",
        )
        ax.add_patch(outline)
    numbered: set[str] = set()
    for k, crew in enumerate(morning.crews):
        _draw_way(ax, farm, crew, k, numbered=numbered)
    for p in farm.points:
        if p.lat is not None and p.lon is not None:
            _draw_point(ax, farm, p)
    ax.plot(0, 0, marker="P", color=INK, markersize=8, linestyle="none", label=_("base"))
    ax.plot(
        [], [], marker="*", color=INK, markersize=9, linestyle="none", label=_("delivery point")
    )
    ax.set_aspect("equal", adjustable="datalim")
    ax.margins(0.12)
    unit = unit_name("distance", farm.units)
    ax.set_xlabel(_("{unit} east of base", unit=unit), fontsize=8)
    ax.set_ylabel(_("{unit} north of base", unit=unit), fontsize=8)
    ax.tick_params(labelsize=8)
    _draw_legend(ax)
    return ax


def _draw_way(ax: Axes, farm: Farm, crew: CrewOrders, k: int, *, numbered: set[str]) -> None:
    """Draw one crew's way; its numbers stand beside fields that an earlier crew has `numbered`."""
    where = {f.id: _position(farm, f.lat, f.lon) for f in farm.fields}
    way = np.array([(0.0, 0.0), *(where[o.field] for o in crew.orders)])
    ax.plot(
        *way.T,
        color=INK,
        linewidth=0.9,
        linestyle=STYLES[k % len(STYLES)],
        marker=MARKERS[k % len(MARKERS)],
        markersize=12,
        markerfacecolor="white",
        zorder=3,
        markevery=slice(1, None),
        label=short_name(crew_title(crew.crew)),
    )
    places: dict[str, list[int]] = {}
    for place, order in enumerate(crew.orders, 1):
        places.setdefault(order.field, []).append(place)
    for field, numbers in places.items():
        text = "+".join(map(str, numbers))
        if field in numbered or len(text) > 2:
            note(ax, text, *where[field], up=9).set_zorder(5)
        else:
            ax.text(*where[field], text, ha="center", va="center", fontsize=7, zorder=4)
    numbered.update(places)


def _draw_point(ax: Axes, farm: Farm, point: DeliveryPoint) -> None:
    x, y = _position(farm, point.lat or 0.0, point.lon or 0.0)
    ax.plot(x, y, marker="*", color=INK, markersize=10, linestyle="none", zorder=2.5)
    note(ax, short_name(point.id), x, y, up=9).set_zorder(5)


def _draw_legend(ax: Axes) -> None:
    legend = ax.legend(
        fontsize=7,
        loc="upper center",
        bbox_to_anchor=(0.5, -0.14),
        ncols=4,
        frameon=False,
        handlelength=4,
    )
    for text in legend.get_texts():
        text.set_parse_math(False)


def _outline(farm: Farm, field: Field) -> NDArray[np.float64]:
    """Boundary of a field on the map, or a square of its area."""
    if field.boundary:
        return np.array([_position(farm, lat, lon) for lon, lat in field.boundary])
    x, y = _position(farm, field.lat, field.lon)
    half = from_si(np.sqrt(field.area_ha / 100.0) / 2.0, "distance", farm.units)
    return np.array([(x + a * half, y + b * half) for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))])


def _position(farm: Farm, lat: float, lon: float) -> tuple[float, float]:
    """Distance east and north of the base, in the farm's unit."""
    east, north = _position_km(farm, lat, lon)
    return from_si(east, "distance", farm.units), from_si(north, "distance", farm.units)


def _position_km(farm: Farm, lat: float, lon: float) -> tuple[float, float]:
    """Kilometres east and north of the base; a flat map is true to a few metres in 50 km."""
    north = (lat - farm.base_lat) * DEGREE_KM
    return (lon - farm.base_lon) * DEGREE_KM * np.cos(np.radians(farm.base_lat)), north


def _height_over_width(farm: Farm) -> float:
    spots = [(f.lat, f.lon) for f in farm.fields] + [(farm.base_lat, farm.base_lon)]
    width, height = np.ptp(np.array([_position_km(farm, *spot) for spot in spots]), axis=0)
    return float(height / max(width, 1e-6))
