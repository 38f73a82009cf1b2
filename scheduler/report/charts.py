"""Pictures of the morning, each `plot_x(data, *, ax=None) -> Axes`, readable in black and white.

A crew is told by marker and line style, never by colour alone. One sequential palette, dark for
much; hatching for unknown.
"""

from __future__ import annotations

from datetime import datetime, timedelta

import matplotlib.figure
import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.patches import Polygon
from matplotlib.text import Annotation
from matplotlib.ticker import MaxNLocator, StrMethodFormatter
from numpy.typing import NDArray

from readiness.atmosphere.solar import daylight
from scheduler.farm.model import DeliveryPoint, Farm, Field
from scheduler.farm.units import from_si
from scheduler.farm.wording import crew_title, one_line
from scheduler.farm.working_time import farm_time
from scheduler.orders.model import CrewOrders, Morning, Order

#: One hue from paper to ink, even steps of lightness; assumed, because it survives a black and
#: white printer and every kind of colour blindness.
PALETTE = ("#ffffff", "#e3edf3", "#c0d6e4", "#94bad1", "#5f97b8", "#2b668c", "#123f5e")
INK, GREY, NIGHT = "#111111", "#595959", "#ececec"
MARKERS = ("o", "s", "^", "D", "v", "p", "h", "8")
STYLES: tuple[str | tuple[int, tuple[int, ...]], ...] = ("-", "--", ":", "-.", (0, (6, 1, 1, 1)))
RAIN_MM = 0.2  # mm/h that counts as rain in a picture; assumed, as in the cautions
HOUR = np.timedelta64(1, "h")


def new_axes(width: float, height: float) -> Axes:
    """Axes of their own figure, inches, outside any global state."""
    figure = matplotlib.figure.Figure(figsize=(width, height), layout="constrained")
    return figure.add_subplot()


def _label(text: str) -> str:
    """A name short enough for a picture."""
    name = one_line(text)
    return name if len(name) <= 20 else f"{name[:19]}…"


def note(
    ax: Axes, text: str, x: float, y: float, *, up: float = 0, left: bool = False
) -> Annotation:
    """Small words beside a point, `up` points above it, on paper of their own."""
    return ax.annotate(
        text, (x, y), xytext=(-2 if left else 2, up), textcoords="offset points", fontsize=6.5,
        va="center", ha="right" if left else "left", parse_math=False, annotation_clip=False,
        bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 0.3},
    )  # fmt: skip


def cleared(ax: Axes) -> Axes:
    """The same axes without what was drawn: making new ones costs as much as drawing."""
    for artist in (*ax.lines, *ax.patches, *ax.collections, *ax.texts):
        artist.remove()
    return ax


def hour_of(morning: Morning, when: datetime) -> float:
    """Hours since the season's first."""
    first = farm_time(morning.season.start, morning.farm.tz)
    return (when - first).total_seconds() / 3600.0


def _midnights(morning: Morning, first: float, last: float) -> list[tuple[float, datetime]]:
    """Farm-time midnights between two hours of the season."""
    begin = farm_time(morning.season.start, morning.farm.tz) + timedelta(hours=first)
    day = begin.replace(hour=0, minute=0, second=0, microsecond=0, tzinfo=None)
    out: list[tuple[float, datetime]] = []
    while True:
        day += timedelta(days=1)
        at = hour_of(morning, day.replace(tzinfo=morning.farm.tz))
        if at > last:
            return out
        out.append((at, day))


def time_axis(ax: Axes, morning: Morning, first: float, last: float, room: int) -> None:
    """Days of the farm on the x axis, about `room` of them named, and a line at now."""
    days = _midnights(morning, first, last)
    step = max(1, -(-len(days) // room))
    named = [(at, f"{d:%a} {d.day}") for at, d in days[::step] if at < last - (last - first) / 20]
    ax.set_xlim(first, last)
    ax.set_xticks([at for at, _ in named], [name for _, name in named], fontsize=7, ha="left")
    lines = LineCollection(
        [((at, 0.0), (at, 1.0)) for at, _ in days],
        transform=ax.get_xaxis_transform(),
        colors=GREY,
        linewidths=0.3,
    )
    ax.add_collection(lines, autolim=False)
    ax.axvline(hour_of(morning, morning.now), color=INK, linewidth=0.9)


def _nights(ax: Axes, morning: Morning, first: float, last: float) -> None:
    hours = np.arange(int(first), int(last) + 1)
    times = morning.season.start + hours * HOUR
    light = daylight(times, np.array([morning.farm.base_lat]), np.array([morning.farm.base_lon]))[0]
    edges = np.flatnonzero(np.diff(np.concatenate([[True], light, [True]]).astype(int)))
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        ax.axvspan(hours[a], hours[min(b, len(hours) - 1)], color=NIGHT, linewidth=0)


def plot_timeline(morning: Morning, *, ax: Axes | None = None) -> Axes:
    """Orders of each crew against time, numbered; whiskers span the 10th to 90th percentile.

    Nights are grey; the chance of rain anywhere on the farm is the filled curve at the foot.
    """
    ax = ax or new_axes(9.0, 1.0 + 0.62 * len(morning.crews))
    first, last = hour_of(morning, morning.now) - 1, hour_of(morning, morning.until)
    _nights(ax, morning, first, last)
    for row, crew in enumerate(morning.crews):
        for place, order in enumerate(crew.orders, 1):
            _bar(ax, morning, len(morning.crews) - row, place, order)
    _rain(ax, morning, first, last)
    time_axis(ax, morning, first, last, 14)
    names = [_label(c.crew) for c in morning.crews]
    ax.set_ylim(-0.1, len(names) + 0.6)
    ax.set_yticks(
        [0.25, *range(len(names), 0, -1)], ["chance\nof rain", *names], fontsize=8, parse_math=False
    )
    ax.set_xlabel(f"day, farm time ({morning.farm.tz.key})", fontsize=8)
    return ax


def _bar(ax: Axes, morning: Morning, y: int, place: int, order: Order) -> None:
    start, finish = hour_of(morning, order.start.mid), hour_of(morning, order.finish.mid)
    whole = hour_of(morning, order.start.low), hour_of(morning, order.finish.high)
    leave = hour_of(morning, order.leave_at)
    ax.plot(whole, (y - 0.27, y - 0.27), color=GREY, linewidth=0.9, marker="|", markersize=3)
    ax.plot((leave, start), (y, y), color=INK, linewidth=1.2, linestyle=":")
    ax.barh(
        y, finish - start, left=start, height=0.36, color=PALETTE[2], edgecolor=INK, linewidth=0.7
    )
    high = y if finish - start > 5 else y + 0.31
    ax.text((start + finish) / 2, high, str(place), ha="center", va="center", fontsize=7.5)


def _rain(ax: Axes, morning: Morning, first: float, last: float) -> None:
    wet = morning.weather.rain[:, :, int(first) : int(last)] > RAIN_MM
    share = wet.any(axis=1).mean(axis=0)
    hours = np.arange(int(first), int(first) + len(share))
    ax.fill_between(hours, 0, 0.5 * share, step="post", color=PALETTE[4], linewidth=0)
    ax.axhline(0.5, color=GREY, linewidth=0.4)
    for share_shown, y in ((0, 0.0), (100, 0.5)):
        note(ax, f"{share_shown} %", last, y)


def _flat(farm: Farm, lat: float, lon: float) -> tuple[float, float]:
    """Kilometres east and north of the base; a flat map is true to a few metres in 50 km."""
    north = (lat - farm.base_lat) * 111.32
    return (lon - farm.base_lon) * 111.32 * np.cos(np.radians(farm.base_lat)), north


def _shown(farm: Farm, lat: float, lon: float) -> tuple[float, float]:
    """The same in the farm's unit of distance."""
    x, y = _flat(farm, lat, lon)
    return from_si(x, "distance", farm.units), from_si(y, "distance", farm.units)


def _outline(farm: Farm, field: Field) -> NDArray[np.float64]:
    """Boundary on the map, or a square of the field's area."""
    if field.boundary:
        return np.array([_shown(farm, lat, lon) for lon, lat in field.boundary])
    x, y = _shown(farm, field.lat, field.lon)
    half = from_si(np.sqrt(field.area_ha / 100.0) / 2.0, "distance", farm.units)
    return np.array([(x + a * half, y + b * half) for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))])


def _height_over_width(farm: Farm) -> float:
    spots = [(f.lat, f.lon) for f in farm.fields] + [(farm.base_lat, farm.base_lon)]
    wide, high = np.ptp(np.array([_flat(farm, *spot) for spot in spots]), axis=0)
    return float(high / max(wide, 1e-6))


def plot_map(morning: Morning, *, ax: Axes | None = None) -> Axes:
    """Fields as outlines, each crew's way through them, numbered as its orders; delivery points."""
    farm = morning.farm
    ax = ax or new_axes(6.6, 1.3 + 5.6 * min(1.2, max(0.4, _height_over_width(farm))))
    ordered = {o.field for c in morning.crews for o in c.orders}
    for f in farm.fields:
        gone = f.id not in ordered
        ax.add_patch(
            Polygon(_outline(farm, f), facecolor="none" if gone else PALETTE[1], edgecolor=GREY,
                    linewidth=0.6, hatch="xxx" if gone else None)
        )  # fmt: skip
    taken: set[str] = set()
    for k, crew in enumerate(morning.crews):
        _way(ax, farm, crew, k, taken=taken)
    for p in farm.points:
        if p.lat is not None and p.lon is not None:
            _point(ax, farm, p)
    ax.plot(0, 0, marker="P", color=INK, markersize=8, linestyle="none", label="base")
    ax.plot([], [], marker="*", color=INK, markersize=9, linestyle="none", label="delivery point")
    ax.set_aspect("equal", adjustable="datalim")
    ax.margins(0.12)
    unit = "mi" if farm.units == "us" else "km"
    ax.set_xlabel(f"{unit} east of base", fontsize=8)
    ax.set_ylabel(f"{unit} north of base", fontsize=8)
    ax.tick_params(labelsize=8)
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
    return ax


def _way(ax: Axes, farm: Farm, crew: CrewOrders, k: int, *, taken: set[str]) -> None:
    """One crew's way and numbers; beside the marker where an earlier crew has `taken` the field."""
    where = {f.id: _shown(farm, f.lat, f.lon) for f in farm.fields}
    way = np.array([(0.0, 0.0), *(where[o.field] for o in crew.orders)])
    ax.plot(*way.T, color=INK, linewidth=0.9, linestyle=STYLES[k % len(STYLES)],
            marker=MARKERS[k % len(MARKERS)], markersize=12, markerfacecolor="white", zorder=3,
            markevery=slice(1, None), label=_label(crew_title(crew.crew)))  # fmt: skip
    places: dict[str, list[int]] = {}
    for place, order in enumerate(crew.orders, 1):
        places.setdefault(order.field, []).append(place)
    for field, numbers in places.items():
        text = "+".join(map(str, numbers))
        if field in taken or len(text) > 2:
            note(ax, text, *where[field], up=9).set_zorder(5)
        else:
            ax.text(*where[field], text, ha="center", va="center", fontsize=7, zorder=4)
    taken.update(places)


def _point(ax: Axes, farm: Farm, point: DeliveryPoint) -> None:
    x, y = _shown(farm, point.lat or 0.0, point.lon or 0.0)
    ax.plot(x, y, marker="*", color=INK, markersize=10, linestyle="none", zorder=2.5)
    note(ax, _label(point.id), x, y, up=9).set_zorder(5)


def plot_losses(morning: Morning, *, ax: Axes | None = None) -> Axes:
    """Loss of the plan in every member, sorted, with the mean the plan answers for."""
    ax = ax or new_axes(3.7, 2.1)
    losses = np.sort(np.array(morning.member_loss))
    ax.bar(np.arange(1, len(losses) + 1), losses, color=PALETTE[3], edgecolor=INK, linewidth=0.4)
    ax.axhline(losses.mean(), color=INK, linewidth=0.9, linestyle="--")
    note(ax, "mean", 0.4, losses.mean(), up=5)
    ax.set_xlabel("forecast members, best to worst", fontsize=8)
    ax.set_ylabel(f"loss, {morning.farm.currency}", fontsize=8, parse_math=False)
    ax.yaxis.set_major_formatter(StrMethodFormatter("{x:,.0f}"))
    ax.tick_params(labelsize=7)
    return ax


def money_axis(ax: Axes, label: str, most: float, *, ticks: int) -> None:
    """Make the x axis one of whole money from 0 to `most`."""
    ax.set_xlim(0, most)
    ax.set_xlabel(label, fontsize=8, parse_math=False)
    ax.xaxis.set_major_locator(MaxNLocator(ticks))
    ax.xaxis.set_major_formatter(StrMethodFormatter("{x:,.0f}"))
    ax.tick_params(axis="x", labelsize=7)


def plot_rules(morning: Morning, *, ax: Axes | None = None) -> Axes:
    """Loss of the plan beside the rules of thumb."""
    ax = ax or new_axes(3.7, 2.1)
    names = ["this plan", *map(_label, morning.rule_losses)]
    losses = [morning.loss, *morning.rule_losses.values()]
    ends = range(len(names), 0, -1)
    colors = [PALETTE[5], *[PALETTE[2]] * len(morning.rule_losses)]
    ax.barh(list(ends), losses, height=0.6, color=colors, edgecolor=INK, linewidth=0.5)
    ax.set_yticks(list(ends), names, fontsize=7.5, parse_math=False)
    for y, loss in zip(ends, losses, strict=True):
        note(ax, f"{loss:,.0f}", loss, y)
    money_axis(ax, f"expected loss, {morning.farm.currency}", 1.22 * max(*losses, 1.0), ticks=4)
    return ax
