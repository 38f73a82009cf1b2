"""Output of `ready`: workable hours of every field by day."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from readiness.season.codes import OtherWork, OtherWorkReason, Reason
from readiness.season.other_work import SPRAY_CAUTION
from readiness.season.simulate import Season
from scheduler.farm.model import Farm
from scheduler.farm.units import Units, short_number
from scheduler.farm.wording import day_heading, day_name, one_line, percent, time_of_day
from scheduler.language.translation import _
from scheduler.report.phrases import WORK_TEXT, lost_to_text, row_title
from scheduler.report.terminal.lines import WIDTH, wrapped
from scheduler.windows.daily_hours import DayHours, hours_by_day
from scheduler.windows.day_figures import WORTHWHILE_H


def ready_hours(
    farm: Farm,
    season: Season,
    *,
    now: datetime,
    days: int = 4,
    work: OtherWork | None = None,
) -> str:
    """Write the workable hours of every field on each of the next days.

    Parameters
    ----------
    days : days shown; of today only the hours left count.
    work : other work, with a season from `season_for_work`; cutting by default.
    """
    heading, meaning, causes = WORK_TEXT[work]
    column, least = _(heading), f"{short_number(WORTHWHILE_H)} h"
    title = _(
        "{farm}: hours ahead from {day} {time}",
        farm=one_line(farm.name),
        day=day_name(now),
        time=time_of_day(now, farm.units),
    )
    lines = [title, "=" * min(WIDTH, len(title))]
    lines += wrapped(_(meaning, least=least), 0)
    codes = Reason if work is None else OtherWorkReason
    by_day = hours_by_day(farm, season, now=now, codes=codes)
    field, drive, first, lost = _("field"), _("drive"), _("from"), _("lost to")
    names = f"{drive:>5} {column:>10} {first:>6} {least:>6}  {lost}"
    for day, hours in list(by_day.items())[:days]:
        lines += ["", day_heading(day, now.date())]
        lines.append(f"{field:28} {names}")
        lines += [
            _hours_line(row_title(farm, row), h, causes, farm.units) for row, h in enumerate(hours)
        ]
    if work == "spraying":
        lines += ["", *wrapped(_(SPRAY_CAUTION), 0)]
    return "\n".join(lines) + "\n"


def _hours_line(title: str, hours: DayHours, causes: Mapping[int, str], units: Units) -> str:
    name = title if len(title) <= 28 else f"{title[:27]}~"
    if hours.cut is None:
        unknown = _("weather unknown")
        return f"{name:28} {'?':>5} {'?':>10} {'?':>6} {'?':>6}  {unknown}"
    cut = f"{hours.cut:.0f} ({hours.low:.0f}-{hours.high:.0f})"
    first = time_of_day(hours.first, units) if hours.first else "-"
    line = f"{name:28} {hours.drive:5.0f} {cut:>10} {first:>6} {percent(hours.chance):>6}"
    return f"{line}  {lost_to_text(hours, causes)}"[:WIDTH]
