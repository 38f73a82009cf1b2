"""Timeline: the orders of each crew against time."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from readiness.atmosphere.solar import daylight
from readiness.atmosphere.weather import HOUR
from scheduler.language.translation import _
from scheduler.orders.model import Morning, Order
from scheduler.orders.safety import RAIN_MM
from scheduler.report.figures.axes import (
    hour_of,
    new_axes,
    note,
    runs,
    short_name,
    time_axis,
)
from scheduler.report.figures.palette import GREY, INK, NIGHT, PALETTE

DAYS_NAMED = 14  # on the time axis


def plot_timeline(morning: Morning, *, ax: Axes | None = None) -> Axes:
    """Draw the numbered orders of each crew against time.

    Bars run from start to finish in the forecast that is shown, whiskers from the 10th percentile
    of the start to the 90th of the finish. Nights are grey. The curve at the foot is the chance of
    rain anywhere on the farm.
    """
    ax = ax or new_axes(9.0, 1.0 + 0.62 * len(morning.crews))
    first, last = hour_of(morning, morning.now) - 1, hour_of(morning, morning.until)
    _draw_nights(ax, morning, first, last)
    for row, crew in enumerate(morning.crews):
        for place, order in enumerate(crew.orders, 1):
            _draw_order(ax, morning, len(morning.crews) - row, place, order)
    _draw_rain(ax, morning, first, last)
    time_axis(ax, morning, first, last, DAYS_NAMED)
    names = [short_name(c.crew) for c in morning.crews]
    ax.set_ylim(-0.1, len(names) + 0.6)
    ax.set_yticks(
        [0.25, *range(len(names), 0, -1)],
        [_("chance\nof rain"), *names],
        fontsize=8,
        parse_math=False,
    )
    ax.set_xlabel(_("day, farm time ({zone})", zone=morning.farm.tz.key), fontsize=8)
    return ax


def _draw_nights(ax: Axes, morning: Morning, first: float, last: float) -> None:
    hours = np.arange(int(first), int(last) + 1)
    times = morning.season.start + hours * HOUR
    light = daylight(times, np.array([morning.farm.base_lat]), np.array([morning.farm.base_lon]))[0]
    for a, b in runs(~light):
        ax.axvspan(hours[a], hours[min(b, len(hours) - 1)], color=NIGHT, linewidth=0)


def _draw_order(ax: Axes, morning: Morning, y: int, place: int, order: Order) -> None:
    start, finish = hour_of(morning, order.start.mid), hour_of(morning, order.finish.mid)
    spread = hour_of(morning, order.start.low), hour_of(morning, order.finish.high)
    leave = hour_of(morning, order.leave_at)
    ax.plot(spread, (y - 0.27, y - 0.27), color=GREY, linewidth=0.9, marker="|", markersize=3)
    ax.plot((leave, start), (y, y), color=INK, linewidth=1.2, linestyle=":")
    ax.barh(
        y, finish - start, left=start, height=0.36, color=PALETTE[2], edgecolor=INK, linewidth=0.7
    )
    number_y = y if finish - start > 5 else y + 0.31  # above a bar too short for its number
    ax.text((start + finish) / 2, number_y, str(place), ha="center", va="center", fontsize=7.5)


def _draw_rain(ax: Axes, morning: Morning, first: float, last: float) -> None:
    wet = morning.weather.rain[:, :, int(first) : int(last)] > RAIN_MM
    chance = wet.any(axis=1).mean(axis=0)
    hours = np.arange(int(first), int(first) + len(chance))
    ax.fill_between(hours, 0, 0.5 * chance, step="post", color=PALETTE[4], linewidth=0)
    ax.axhline(0.5, color=GREY, linewidth=0.4)
    for percent, y in ((0, 0.0), (100, 0.5)):
        note(ax, f"{percent} %", last, y)
