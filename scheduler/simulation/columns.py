"""Tables of printed results, in aligned columns."""

from __future__ import annotations

from collections.abc import Sequence


def columns(rows: Sequence[Sequence[str]]) -> list[str]:
    """Lines of a table: the first column left-aligned, the others right-aligned."""
    widths = column_widths(rows)
    return [
        "  ".join(
            cell.ljust(w) if c == 0 else cell.rjust(w)
            for c, (cell, w) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]


def column_widths(rows: Sequence[Sequence[str]]) -> list[int]:
    """Width of each column."""
    return [max(len(row[c]) for row in rows) for c in range(len(rows[0]))]


def ruled_columns(head: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    """Lines of a table with a rule under its head."""
    table = [head, *rows]
    first, *others = columns(table)
    return [first, "  ".join("-" * w for w in column_widths(table)), *others]
