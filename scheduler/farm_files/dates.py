"""Dates, times and opening hours as people write them."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

from scheduler.errors import UnreadableError
from scheduler.farm.model import DailySpan

#: Order of day and month in the slashed dates of a column, such as 8/12/2026.
DateOrder = Literal["mdy", "dmy", "mixed"]

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_ISO = re.compile(r"(\d{4})([-/.]?)(\d{1,2})\2(\d{1,2})")
_DOTTED = re.compile(r"(\d{1,2})\.(\d{1,2})\.(\d{4}|\d{2})")
_SLASHED = re.compile(r"(\d{1,2})[/-](\d{1,2})[/-](\d{4}|\d{2})")
_DAY_NAME = re.compile(r"(\d{1,2})[ -]([A-Za-z]{3,9})\.?[ -](\d{4}|\d{2})")
_NAME_DAY = re.compile(r"([A-Za-z]{3,9})\.? (\d{1,2}),? (\d{4})")
_CLOCK = re.compile(
    r"(?P<h>\d{1,2}):(?P<m>\d{2})(?::(?P<s>\d{2})(?:\.\d+)?)?\s*(?P<half>[ap])?\.?(?(half)m\.?)"
    r"\s*(?P<zone>Z|[+-]\d{2}:?\d{2})?$",
    re.IGNORECASE,
)
_WRITE = "write the date as 2026-08-12"


def date_order(texts: Iterable[str]) -> DateOrder | None:
    """Order that the slashed dates of a column prove; None without proof."""
    pairs = [(int(m[1]), int(m[2])) for t in texts if (m := _SLASHED.match(t.strip()))]
    day_first = any(a > 12 >= b for a, b in pairs)
    month_first = any(b > 12 >= a for a, b in pairs)
    if day_first and month_first:
        return "mixed"
    return "dmy" if day_first else "mdy" if month_first else None


def read_date(text: str, order: DateOrder | None = None) -> date:
    """A date from text. Dotted dates put the day first; slashed ones follow `order`.

    Raises
    ------
    UnreadableError
        Where the text is no date, or day and month may be either way round.
    """
    text = " ".join(text.split())
    if m := _ISO.fullmatch(text):
        return _date(text, m[1], m[3], m[4])
    if m := _DOTTED.fullmatch(text):
        return _date(text, m[3], m[2], m[1])
    if m := _DAY_NAME.fullmatch(text):
        return _date(text, m[3], _month(text, m[2]), m[1])
    if m := _NAME_DAY.fullmatch(text):
        return _date(text, m[3], _month(text, m[1]), m[2])
    if m := _SLASHED.fullmatch(text):
        return _slashed(text, m[1], m[2], m[3], order)
    if re.fullmatch(r"\d{5}(\.\d+)?", text):
        raise UnreadableError(
            f'"{text}" is a spreadsheet\'s day number', "format the column as dates, then save"
        )
    raise UnreadableError(f'"{text}" is not a date', _WRITE)


def _slashed(text: str, a: str, b: str, year: str, order: DateOrder | None) -> date:
    """A date from the parts of a slashed one."""
    if order == "mixed":
        raise UnreadableError(
            f'"{text}": some dates of this column put the day first, others the month', _WRITE
        )
    if order is None and a != b:
        if int(a) <= 12 and int(b) <= 12:
            raise UnreadableError(
                f'"{text}" may be day/month or month/day',
                f'{_WRITE}, or set date_order = "mdy" (or "dmy") in farm.toml',
            )
        order = "dmy" if int(a) > 12 else "mdy"
    return _date(text, year, b, a) if order == "dmy" else _date(text, year, a, b)


def _month(text: str, name: str) -> str:
    """Number of a month by its name; `text` is for the message."""
    if name[:3].lower() not in _MONTHS:
        raise UnreadableError(f'"{text}" is not a date', _WRITE)
    return str(_MONTHS.index(name[:3].lower()) + 1)


def _date(text: str, year: str, month: str, day: str) -> date:
    """A date from its parts; `text` is for the message."""
    full = int(year) + (2000 if len(year) == 2 else 0)
    if not 1980 <= full <= 2100:
        raise UnreadableError(f'"{text}": the year {full} is not a season of this farm', _WRITE)
    try:
        return date(full, int(month), int(day))
    except ValueError:
        raise UnreadableError(f'"{text}" is not a day of the calendar', _WRITE) from None


def read_time(text: str, tz: ZoneInfo, order: DateOrder | None = None) -> tuple[datetime, bool]:
    """A time (UTC) from text, and whether the text holds a clock time.

    Without an offset the text is farm time; without a clock time it stands for midnight.

    Raises
    ------
    UnreadableError
        Where the text is no date or time, or the clocks skip it.
    """
    text = " ".join(text.split())
    m = _CLOCK.search(text)
    day = read_date(text[: m.start()].rstrip(" ,").removesuffix("T") if m else text, order)
    if m is None:
        return start_of_day(day, tz), False
    hour, zone = int(m["h"]), m["zone"]
    if m["half"]:
        if not 1 <= hour <= 12:
            raise UnreadableError(f'"{text}" is not a time of day', "write the time as 14:30")
        hour = hour % 12 + (12 if m["half"].lower() == "p" else 0)
    try:
        clock = time(hour, int(m["m"]), int(m["s"] or 0))
        naive = datetime.combine(day, clock)
        offset = None if zone is None else "+00:00" if zone.upper() == "Z" else zone
        if offset:
            return datetime.fromisoformat(f"{naive.isoformat()}{offset}").astimezone(UTC), True
    except ValueError:
        raise UnreadableError(f'"{text}" is not a time of day', "write the time as 14:30") from None
    return farm_time_to_utc(naive, tz), True


def farm_time_to_utc(naive: datetime, tz: ZoneInfo, *, fold: int = 0) -> datetime:
    """Farm time without an offset as UTC; `fold` 1 is the second pass of an hour that repeats.

    Raises
    ------
    UnreadableError
        Where the clocks skip that time.
    """
    utc = naive.replace(tzinfo=tz, fold=fold).astimezone(UTC)
    if utc.astimezone(tz).replace(tzinfo=None) != naive:
        offset = naive.replace(tzinfo=tz, fold=fold).isoformat()[-6:]
        raise UnreadableError(
            f"{naive:%Y-%m-%d %H:%M} does not exist in {tz.key}: clocks go forward there",
            f"use the hour after it, or give the time with its offset, as {naive:%H:%M}{offset}",
        )
    return utc


def start_of_day(day: date, tz: ZoneInfo) -> datetime:
    """Midnight that begins a day of farm time, UTC."""
    return farm_time_to_utc(datetime.combine(day, time(0)), tz)


def end_of_day(day: date, tz: ZoneInfo) -> datetime:
    """Midnight that ends a day of farm time, UTC."""
    return start_of_day(day + timedelta(days=1), tz)


def whole_days(first: datetime, last: datetime, tz: ZoneInfo) -> list[date]:
    """Days of farm time that lie wholly between two aware times."""
    begin, end = first.astimezone(tz).date(), last.astimezone(tz).date()
    days = [begin + timedelta(days=n) for n in range((end - begin).days + 1)]
    return [d for d in days if first <= start_of_day(d, tz) and end_of_day(d, tz) <= last]


def second_occurrence(utc: datetime, tz: ZoneInfo) -> datetime | None:
    """The later time of the same farm-time reading, where clocks are put back; else None."""
    naive = utc.astimezone(tz).replace(tzinfo=None)
    later = naive.replace(tzinfo=tz, fold=1).astimezone(UTC)
    return later if later > utc else None


def read_daily_span(text: str) -> DailySpan | None:
    """Hours of a day from '07:00-21:00', '24 h' or 'closed' (None); 24:00 becomes time(0)."""
    low = text.strip().lower().replace("–", "-").replace(" to ", "-")
    if low in ("closed", "shut", "off", "none", ""):
        return None
    if low in ("24 h", "24h", "all day", "always"):
        return time(0), time(0)
    m = re.fullmatch(r"(\d{1,2})(?::(\d{2}))?\s*-\s*(\d{1,2})(?::(\d{2}))?", low)
    try:
        if m is None:
            raise ValueError
        first = time(int(m[1]), int(m[2] or 0))
        last = time(int(m[3]) % 24 if m[3] == "24" else int(m[3]), int(m[4] or 0))
    except ValueError:
        raise UnreadableError(
            f'"{text}" is not a span of hours', 'write them as "07:00-21:00", or "closed"'
        ) from None
    if first == last and first != time(0):
        raise UnreadableError(
            f'"{text}" opens and closes at the same time', 'write "closed" or "24 h"'
        )
    return first, last
