"""Colours of figures and of tables of hours."""

from __future__ import annotations

#: One hue from paper to ink in even steps of lightness; assumed, because it survives a black and
#: white printer and every kind of colour blindness.
PALETTE = ("#ffffff", "#e3edf3", "#c0d6e4", "#94bad1", "#5f97b8", "#2b668c", "#123f5e")
INK, GREY, NIGHT = "#111111", "#595959", "#ececec"
