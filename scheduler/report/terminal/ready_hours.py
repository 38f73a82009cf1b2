"""Output of `ready`: workable hours of every field by day."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from readiness.season.codes import OtherWork, OtherWorkReason, Reason
from readiness.season.other_work import SPRAY_CAUTION
from readiness.season.simulate import Season
from scheduler.farm.model import Farm
from scheduler.farm.wording import day_name, one_line, percent
from scheduler.report.phrases import WORK_TEXT, lost_to_text, row_title
from scheduler.report.terminal.lines import WIDTH, wrapped
from scheduler.windows.daily_hours import WORTHWHILE_H, DayHours, hours_by_day


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
    column, fit, causes = WORK_TEXT[work]
    title = f"{one_line(farm.name)}: hours ahead from {day_name(now)} {now:%H:%M}"
    lines = [title, "=" * min(WIDTH, len(title))]
    lines += wrapped(
        f"drive: hours the ground bears a combine, day and night. {column}: hours {fit} while a "
        "crew works, with the 10th to 90th percentile over forecasts. from: the first. "
        f"{WORTHWHILE_H:g} h: chance of at least so many hours to {column}.",
        0,
    )
    codes = Reason if work is None else OtherWorkReason
    by_day = hours_by_day(farm, season, now=now, codes=codes)
    for day, hours in list(by_day.items())[:days]:
        lines += ["", ("Today, " if day == now.date() else "") + day_name(day)]
        chance = f"{WORTHWHILE_H:g} h"
        lines.append(f"{'field':28} {'drive':>5} {column:>10} {'from':>6} {chance:>6}  lost to")
        lines += [_hours_line(row_title(farm, row), h, causes) for row, h in enumerate(hours)]
    if work == "spraying":
        lines += ["", *wrapped(SPRAY_CAUTION, 0)]
    return "\n".join(lines) + "\n"


def _hours_line(title: str, hours: DayHours, causes: Mapping[int, str]) -> str:
    name = title if len(title) <= 28 else f"{title[:27]}~"
    if hours.cut is None:
        return f"{name:28} {'?':>5} {'?':>10} {'?':>6} {'?':>6}  weather unknown"
    cut = f"{hours.cut:.0f} ({hours.low:.0f}-{hours.high:.0f})"
    first = f"{hours.first:%H:%M}" if hours.first else "-"
    line = f"{name:28} {hours.drive:5.0f} {cut:>10} {first:>6} {percent(hours.chance):>6}"
    return f"{line}  {lost_to_text(hours, causes)}"[:WIDTH]
