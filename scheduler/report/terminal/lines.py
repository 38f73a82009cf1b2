"""Lines of the terminal, within its width."""

from __future__ import annotations

import re
import textwrap

WIDTH = 92  # of the terminal, characters
#: A space between a number and what belongs to it.
WITHIN_VALUE = re.compile(r"(?<=\d) (?=(?:%|am\b|pm\b))")
#: Space at which no line breaks; it is printed as any other.
NO_BREAK = "\N{NO-BREAK SPACE}"


def wrapped(text: str, indent: int, *, hang: int | None = None) -> list[str]:
    """Wrap a text at `WIDTH`; the first line is indented by `indent`, later ones by `hang`.

    A percentage and a time on a 12-hour clock stay on one line.
    """
    lines = textwrap.wrap(
        WITHIN_VALUE.sub(NO_BREAK, text),
        WIDTH,
        initial_indent=" " * indent,
        subsequent_indent=" " * (indent if hang is None else hang),
        break_on_hyphens=False,
    )
    return [line.replace(NO_BREAK, " ") for line in lines]


def heading(text: str) -> list[str]:
    """Lines of a heading, with an empty line before it."""
    return ["", text.upper(), "-" * min(WIDTH, len(text))]
