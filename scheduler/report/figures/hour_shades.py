"""Shades of the tables of hours: the more hours a field can be cut, the darker its cell."""

from __future__ import annotations

from scheduler.farm.units import short_number
from scheduler.language.translation import _
from scheduler.report.figures.palette import PALETTE

#: Lower edges of the shades from the second on, hours; assumed, even steps of two up to a long
#: cutting day.
EDGES_H = (0.5, 2.0, 4.0, 6.0, 8.0, 10.0)
DARK_SHADE = 5  # shades from here on carry white figures


def shade_of(hours: float | None) -> int:
    """Index of the shade of a number of hours; 0 for none."""
    return 0 if hours is None else sum(hours >= edge for edge in EDGES_H)


def shades() -> list[dict[str, str]]:
    """Paper, ink and words of every shade."""
    words = [
        _("none"),
        *(_("under {hours} h", hours=short_number(e)) for e in EDGES_H[1:]),
        _("{hours} h and more", hours=short_number(EDGES_H[-1])),
    ]
    return [
        {"paper": paper, "ink": "#ffffff" if i >= DARK_SHADE else "#111111", "words": text}
        for i, (paper, text) in enumerate(zip(PALETTE, words, strict=True))
    ]
