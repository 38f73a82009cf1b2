"""Numbers, and names of days and months, in the active language.

English needs no library. Other languages take their signs and names from the Unicode Common Locale
Data Repository, through Babel.
"""

from __future__ import annotations

from datetime import date
from functools import cache
from typing import Literal

from scheduler.language.translation import SOURCE, active_language

DecimalMark = Literal[".", ","]


def number(value: float, digits: int = 0) -> str:
    """Write a number with decimal and thousands separators: '1,234.5', '1.234,5'."""
    text = f"{value:,.{digits}f}"
    language = active_language()
    return text if language == SOURCE else text.translate(_separators(language))


def decimal_mark() -> DecimalMark:
    """Decimal separator of the numbers that people type in the active language."""
    language = active_language()
    return "," if language != SOURCE and _separators(language)[ord(".")] == "," else "."


def short_day(day: date) -> str:
    """Abbreviate the day of the week: 'Sat'."""
    language = active_language()
    return f"{day:%a}" if language == SOURCE else _names(language)[0][day.weekday()]


def short_month(day: date) -> str:
    """Abbreviate the month: 'Aug'."""
    language = active_language()
    return f"{day:%b}" if language == SOURCE else _names(language)[1][day.month - 1]


@cache
def _separators(language: str) -> dict[int, str]:
    """Signs of a language in place of the English ones, as `str.translate` takes them."""
    from babel import Locale  # English does without it

    signs = Locale.parse(language).number_symbols["latn"]
    return {ord(","): signs["group"], ord("."): signs["decimal"]}


@cache
def _names(language: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Abbreviations of the days from Monday on, and of the months, as they stand alone."""
    from babel.dates import get_day_names, get_month_names  # English does without them

    days = get_day_names("abbreviated", "stand-alone", language)
    months = get_month_names("abbreviated", "stand-alone", language)
    return tuple(days[i] for i in range(7)), tuple(months[i] for i in range(1, 13))
