"""Rows of text in columns, long cells wrapped."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence


def fitted_widths(rows: Iterable[Sequence[str]], widest: Sequence[int]) -> list[int]:
    """Widths that the columns need when no cell is wider than `widest`, in characters."""
    cells = [_wrapped(row, widest) for row in rows]
    return [max(len(line) for row in cells for line in row[i]) for i in range(len(widest))]


def column_lines(rows: Iterable[Sequence[str]], widths: Sequence[int]) -> list[str]:
    """Lines of a table; cells longer than their column continue on the next line."""
    lines = []
    for row in rows:
        cells = _wrapped(row, widths)
        for k in range(max(map(len, cells))):
            texts = [c[k] if k < len(c) else "" for c in cells]
            line = "  ".join(t.ljust(w) for t, w in zip(texts, widths, strict=True))
            lines.append(line.rstrip())
    return lines


def _wrapped(row: Sequence[str], widths: Sequence[int]) -> list[list[str]]:
    return [textwrap.wrap(c, w) or [""] for c, w in zip(row, widths, strict=True)]
