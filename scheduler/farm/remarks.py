"""Remarks on a farm that can be planned for, and may yet be wrong."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, time, timedelta

from scheduler.errors import Problem
from scheduler.farm.model import Crew, DailySpan, Farm, Field
from scheduler.language.translation import _, ngettext

FILE = "farm.toml"
#: Hours of the day of which a crew usually works some: between the dew and the evening (common
#: practice, no source).
MIDDAY = (time(10), time(18))
#: How far ahead a field may ripen; assumed: farm files are written within half a year of harvest.
LATE_RIPE = timedelta(days=200)


def farm_remarks(farm: Farm, today: date) -> list[Problem]:
    """Settings that deserve a second look; a plan uses them as they stand."""
    return [
        *_night_hours(farm),
        *_ripe_late(farm, today),
        *(
            _of_field(
                f,
                "ripe",
                message="has neither ripe nor heading: counts as ripe, and able to sprout at once",
                remedy="write the date of ripeness, or that of heading",
            )
            for f in _ripe_unknown(farm)
        ),
        *(
            _of_field(
                f,
                "swathed",
                message="lies in swaths, and no combine has a pickup header: nobody cuts it",
                remedy="give pickup in a [[combine]] of farm.toml, the width of a swath as cut",
            )
            for f in _without_pickup(farm)
        ),
        *(
            _of_field(
                f,
                "id",
                message="holds a comma or semicolon, which divides the fields of an own order",
                remedy="leave it out of the id; a name may hold it",
            )
            for f in farm.fields
            if "," in f.id or ";" in f.id
        ),
    ]


def farm_notes(farm: Farm) -> tuple[str, ...]:
    """What a plan assumes for want of an entry, in the farm's language."""
    out = []
    if fields := [f.id for f in _ripe_unknown(farm)]:
        out.append(
            ngettext(
                "{fields} has neither a ripe nor a heading date: it counts as ripe, and able to "
                "sprout at once. Write one of them into fields.csv.",
                "{fields} have neither a ripe nor a heading date: they count as ripe, and able to "
                "sprout at once. Write one of them into fields.csv.",
                len(fields),
                fields=", ".join(fields),
            )
        )
    if fields := [f.id for f in _without_pickup(farm)]:
        out.append(
            _(
                "no combine has a pickup header, so nobody cuts the swaths of {fields}. Give "
                "pickup in a [[combine]] of farm.toml.",
                fields=", ".join(fields),
            )
        )
    return tuple(out)


def _of_field(field: Field, column: str, *, message: str, remedy: str) -> Problem:
    """A remark on a cell of fields.csv."""
    return Problem(
        file="fields.csv", row=f'"{field.id}"', column=column, message=message, remedy=remedy
    )


def _ripe_unknown(farm: Farm) -> list[Field]:
    """Fields of which nothing tells when they are ripe."""
    return [f for f in farm.fields if f.ripe is None and f.heading is None and f.swathed is None]


def _without_pickup(farm: Farm) -> list[Field]:
    """Fields in swaths that no combine picks up."""
    return [
        f
        for f in farm.fields
        if f.swathed is not None and all(c.in_field(f) is None for c in farm.combines)
    ]


def _ripe_late(farm: Farm, today: date) -> Iterator[Problem]:
    """Fields that ripen in another season than the one ahead."""
    for field in farm.fields:
        if field.ripe is not None and field.ripe > today + LATE_RIPE:
            yield _of_field(
                field,
                "ripe",
                message=f"ripens {field.ripe}, {(field.ripe - today).days} days from today",
                remedy="check the year",
            )


def _night_hours(farm: Farm) -> Iterator[Problem]:
    """Crews whose hours hold no part of any day's middle."""
    for crew in farm.crews:
        spans = [s for s in crew.week if s is not None]
        if spans and not any(_holds_midday(s) for s in spans):
            begin, end = spans[0]
            yield Problem(
                file=FILE,
                row=f'[[crew]] "{crew.id}"',
                column="hours",
                message=f"{begin:%H:%M}-{end:%H:%M} is night work only{_swapped(crew)}",
                remedy="write hours on the 24-hour clock, the beginning first",
            )


def _holds_midday(span: DailySpan) -> bool:
    """Whether a span, which may run past midnight, holds some of `MIDDAY`."""
    begin, end = span
    if begin < end:
        return begin < MIDDAY[1] and end > MIDDAY[0]
    return begin < MIDDAY[1] or end > MIDDAY[0]


def _swapped(crew: Crew) -> str:
    """A hint where the hours would hold the day if they were swapped."""
    swapped = all(s is None or (s[0] > s[1] and _holds_midday((s[1], s[0]))) for s in crew.week)
    return ": begin and end may be swapped" if swapped else ""
