"""What all figures share: axes of time and of money, labels, ranges of hours."""

from __future__ import annotations

from datetime import datetime, timedelta

import matplotlib.figure
import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.text import Annotation
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from scheduler.farm.slots import farm_time
from scheduler.farm.units import show_number
from scheduler.farm.wording import one_line
from scheduler.language.locale_formats import short_day
from scheduler.orders.model import Morning
from scheduler.report.figures.palette import GREY, INK


def new_axes(width: float, height: float) -> Axes:
    """Make axes in a figure of their own, outside any global state; width and height in inches."""
    figure = matplotlib.figure.Figure(figsize=(width, height), layout="constrained")
    return figure.add_subplot()


def short_name(text: str) -> str:
    """Cut a name to the length that fits into a figure."""
    name = one_line(text)
    return name if len(name) <= 20 else f"{name[:19]}…"


def note(
    ax: Axes, text: str, x: float, y: float, *, up: float = 0, left: bool = False
) -> Annotation:
    """Write a small label beside a point, on a white background.

    Parameters
    ----------
    up : points by which the label stands above the point.
    left : whether the label stands left of the point.
    """
    return ax.annotate(
        text,
        (x, y),
        xytext=(-2 if left else 2, up),
        textcoords="offset points",
        fontsize=6.5,
        va="center",
        ha="right" if left else "left",
        parse_math=False,
        annotation_clip=False,
        bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 0.3},
    )


def hour_of(morning: Morning, when: datetime) -> float:
    """Hours from the first hour of the season to `when`."""
    first = farm_time(morning.season.start, morning.farm.tz)
    return (when - first).total_seconds() / 3600.0


def time_axis(ax: Axes, morning: Morning, first: float, last: float, days_named: int) -> None:
    """Make the x axis one of farm days, with a line at the planning time.

    Parameters
    ----------
    first, last : hours of the season.
    days_named : about how many days get a label.
    """
    days = midnights(morning, first, last)
    named = named_days(morning, first, last, days_named)
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


def named_days(morning: Morning, first: float, last: float, most: int) -> list[tuple[float, str]]:
    """Midnights between two hours of the season, about `most`, each with the name of its day."""
    days = midnights(morning, first, last)
    step = max(1, -(-len(days) // most))
    return [
        (at, f"{short_day(d)} {d.day}") for at, d in days[::step] if at < last - (last - first) / 20
    ]


def midnights(morning: Morning, first: float, last: float) -> list[tuple[float, datetime]]:
    """Farm-time midnights between two hours of the season, each as its hour and its date."""
    begin = farm_time(morning.season.start, morning.farm.tz) + timedelta(hours=first)
    day = begin.replace(hour=0, minute=0, second=0, microsecond=0, tzinfo=None)
    out: list[tuple[float, datetime]] = []
    while True:
        day += timedelta(days=1)
        at = hour_of(morning, day.replace(tzinfo=morning.farm.tz))
        if at > last:
            return out
        out.append((at, day))


def runs(flags: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Half-open ranges of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(int)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def money_text(value: float, _place: float) -> str:
    """Label of a tick of a money axis: whole money."""
    return show_number(value)


def money_axis(ax: Axes, label: str, highest: float | None = None, *, ticks: int) -> None:
    """Make the x axis one of whole money, from 0 to `highest` where that is given."""
    if highest is not None:
        ax.set_xlim(0, highest)
    ax.set_xlabel(label, fontsize=8, parse_math=False)
    ax.xaxis.set_major_locator(MaxNLocator(ticks))
    ax.xaxis.set_major_formatter(money_text)
    ax.tick_params(axis="x", labelsize=7)
