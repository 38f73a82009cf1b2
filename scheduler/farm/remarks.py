"""Remarks on a farm that can be planned for, and may yet be wrong."""

from __future__ import annotations

from datetime import time

from scheduler.errors import Problem
from scheduler.farm.model import Crew, DailySpan, Farm

FILE = "farm.toml"
#: Hours of the day of which a crew usually works some: between the dew and the evening (common
#: practice, no source).
MIDDAY = (time(10), time(18))


def farm_remarks(farm: Farm) -> list[Problem]:
    """Crews whose hours hold no part of any day's middle; a plan uses them as they stand."""
    remarks = []
    for crew in farm.crews:
        spans = [s for s in crew.week if s is not None]
        if spans and not any(_holds_midday(s) for s in spans):
            begin, end = spans[0]
            remarks.append(
                Problem(
                    file=FILE,
                    row=f'[[crew]] "{crew.id}"',
                    column="hours",
                    message=f"{begin:%H:%M}-{end:%H:%M} is night work only{_swapped(crew)}",
                    remedy="write hours on the 24-hour clock, the beginning first",
                )
            )
    return remarks


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
