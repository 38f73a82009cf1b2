"""A panel of a figure, written as SVG without a drawing library: small, and drawn in no time."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from urllib.parse import quote

import numpy as np
from markupsafe import Markup, escape

from readiness.atmosphere.weather import Array
from scheduler.farm.units import short_number
from scheduler.report.figures.axes import runs
from scheduler.report.figures.palette import GREY, INK

#: Ticks on a y axis at most; assumed, more run into each other.
MOST_TICKS = 4
#: Dashes of limit lines, in their order.
DASHES = ("8 4", "8 3 2 3", "2 3")
#: Style of all panels. Labels have a white edge, so that they stand out from curves.
STYLE = (
    "text{font:13px DejaVu Sans,sans-serif;fill:" + INK + "}"
    ".l{paint-order:stroke;stroke:#fff;stroke-width:4px}"
    "path,line{fill:none;vector-effect:none}"
)


@dataclass(kw_only=True)
class Panel:
    """A rectangle of the picture in which data are drawn; draws in the order of the calls.

    Attributes
    ----------
    left, top, width, height : of the rectangle, picture units.
    x, y : lowest and highest value of the axes.
    marks : SVG elements drawn so far.
    """

    left: int
    top: int
    width: int
    height: int
    x: tuple[float, float]
    y: tuple[float, float]
    marks: list[str] = field(default_factory=list)

    def place(self, xs: Array, ys: Array) -> tuple[Array, Array]:
        """Data as whole picture units."""
        across = (xs - self.x[0]) / (self.x[1] - self.x[0]) * self.width + self.left
        up = (ys - self.y[0]) / (self.y[1] - self.y[0]) * self.height
        return np.rint(across), np.rint(self.top + self.height - up)

    def curve(self, xs: Array, ys: Array, colour: str, width: float) -> None:
        """Draw a line through points; unknown values interrupt it."""
        for part in known_runs(ys):
            points = list(zip(*self.place(xs[part], ys[part]), strict=True))
            self._add(f"<path d='{path(points)}' stroke='{colour}' stroke-width='{width}'/>")

    def band(self, xs: Array, low: Array, high: Array, colour: str) -> None:
        """Fill between two curves."""
        for part in known_runs(low):
            there = zip(*self.place(xs[part], low[part]), strict=True)
            back = zip(*self.place(xs[part][::-1], high[part][::-1]), strict=True)
            points = [*there, *back]
            self._add(f"<path d='{path(points)}z' style='fill:{colour}'/>")

    def span(self, first: float, last: float, fill: str, *, share: float = 1.0) -> None:
        """Fill the panel from one x to another; `share` of its height, from the foot up."""
        (a, b), _ = self.place(np.clip([first, last], *self.x), np.full(2, self.y[0]))
        high = round(share * self.height)
        y = self.top + self.height - high
        self._add(f"<rect x='{a:.0f}' y='{y}' width='{b - a:.0f}' height='{high}' fill='{fill}'/>")

    def verticals(self, at: Iterable[float], colour: str, width: float) -> None:
        """Draw upright lines over the whole height."""
        xs = np.array(list(at))
        if xs.size:
            d = "".join(
                f"M{x:.0f} {self.top}v{self.height}"
                for x in self.place(xs, np.full(xs.size, self.y[0]))[0]
            )
            self._add(f"<path d='{d}' stroke='{colour}' stroke-width='{width}'/>")

    def limits(self, values: Sequence[tuple[str, float]]) -> None:
        """Draw a named line for each value, each with dashes of its own; the lowest named below."""
        lowest = min((value for _, value in values), default=0.0)
        for (name, value), dash in zip(values, DASHES, strict=False):
            (y,) = self.place(np.array([self.x[0]]), np.array([value]))[1]
            self._add(
                f"<path d='M{self.left} {y:.0f}h{self.width}' stroke='{INK}' "
                f"stroke-dasharray='{dash}'/>"
            )
            below = len(values) > 1 and value == lowest
            label = f"{name} {short_number(value)}"
            self.text(label, self.left + self.width - 3, y + (13 if below else -4), anchor="end")

    def text(self, words: str, x: float, y: float, *, anchor: str = "start") -> None:
        """Write words at a place of the picture."""
        self._add(
            f"<text class='l' x='{x:.0f}' y='{y:.0f}' text-anchor='{anchor}'>{escape(words)}</text>"
        )

    def frame(self, label: str) -> None:
        """Draw the frame, ticks on the y axis, and its label."""
        self._add(
            f"<rect x='{self.left}' y='{self.top}' width='{self.width}' height='{self.height}' "
            f"fill='none' stroke='{INK}'/>"
        )
        for value in ticks(*self.y):
            (y,) = self.place(np.array([self.x[0]]), np.array([value]))[1]
            self._add(f"<path d='M{self.left - 4} {y:.0f}h4' stroke='{INK}'/>")
            self.text(short_number(value), self.left - 6, y + 4, anchor="end")
        middle = self.top + self.height / 2
        self._add(
            f"<text transform='translate(12 {middle:.0f})rotate(-90)' text-anchor='middle'>"
            f"{escape(label)}</text>"
        )

    def _add(self, mark: str) -> None:
        self.marks.append(mark)


def picture(width: int, height: int, panels: Sequence[Panel], *, patterns: str = "") -> str:
    """The SVG text of a picture of panels."""
    marks = "".join(mark for panel in panels for mark in panel.marks)
    return (
        f"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 {width} {height}' "
        f"width='{width // 2}' height='{height // 2}'><style>{STYLE}</style>{patterns}{marks}</svg>"
    )


def hatch(name: str, stroke: str = GREY) -> str:
    """A crossed pattern for what is unknown."""
    return (
        f"<pattern id='{name}' width='8' height='8' patternUnits='userSpaceOnUse'>"
        f"<path d='M0 0l8 8M8 0l-8 8' stroke='{stroke}'/></pattern>"
    )


def stripes(name: str, paper: str) -> str:
    """A striped pattern."""
    return (
        f"<pattern id='{name}' width='6' height='6' patternUnits='userSpaceOnUse'>"
        f"<rect width='6' height='6' fill='{paper}'/>"
        f"<path d='M0 6l6-6' stroke='{INK}'/></pattern>"
    )


def path(points: Sequence[tuple[float, float]]) -> str:
    """Path data through whole points: the first absolute, the others relative."""
    (x, y), *others = [(int(a), int(b)) for a, b in points]
    parts = [f"M{x} {y}l"] if others else [f"M{x} {y}"]
    for a, b in others:
        across, down = a - x, b - y
        gap = "" if len(parts) == 1 or across < 0 else " "
        parts.append(f"{gap}{across}{'' if down < 0 else ' '}{down}")
        x, y = a, b
    return "".join(parts)


def known_runs(values: Array) -> list[slice]:
    """Ranges without unknown values, of two values or more."""
    return [slice(a, b) for a, b in runs(np.isfinite(values)) if b - a > 1]


def ticks(low: float, high: float) -> list[float]:
    """At most `MOST_TICKS` round values between two."""
    step = 10.0 ** math.floor(math.log10((high - low) / MOST_TICKS))
    step = next(step * m for m in (1, 2, 5, 10) if (high - low) / (step * m) <= MOST_TICKS)
    first = math.ceil(low / step)
    return [n * step for n in range(first, math.floor(high / step) + 1)]


def data_address(svg: str) -> Markup:
    """The SVG as the data address of an image, safe between double quotes of HTML."""
    return Markup("data:image/svg+xml," + quote(svg, safe=" ;:/?@=+$,!~*'()[]{}|<>"))
