"""Lines of the terminal, within its width."""

from __future__ import annotations

import textwrap

WIDTH = 92  # of the terminal, characters


def wrapped(text: str, indent: int, *, hang: int | None = None) -> list[str]:
    """Wrap a text at `WIDTH`; the first line is indented by `indent`, later ones by `hang`."""
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=" " * indent,
        subsequent_indent=" " * (indent if hang is None else hang),
        break_on_hyphens=False,
    )


def heading(text: str) -> list[str]:
    """Lines of a heading, with an empty line before it."""
    return ["", text.upper(), "-" * min(WIDTH, len(text))]
