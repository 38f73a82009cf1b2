"""Today's work of all crews along one line of hours."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from scheduler.farm.units import Units
from scheduler.farm.wording import clock, one_line, sentence, time_of_day
from scheduler.orders.model import Stint
from scheduler.report.today import CrewDay

#: Width of the drawing and height of a crew's row, units of the picture.
WIDTH, ROW = 360.0, 44.0
MAX_TICKS = 6  # hours named below the rows; more run into each other on a phone
CHAR = 6.2  # width of a character of the labels; assumed, of a common sans serif


@dataclass(frozen=True, kw_only=True)
class Bar:
    """A span of time in a row; `label` is "" where it has no room."""

    x: float
    width: float
    label: str = ""


@dataclass(frozen=True, kw_only=True)
class TimelineRow:
    """The day of a crew: moves and cuts, at height `y`; `words` say the same."""

    title: str
    y: float
    moves: tuple[Bar, ...]
    cuts: tuple[Bar, ...]
    words: str


@dataclass(frozen=True, kw_only=True)
class Timeline:
    """Rows of crews over hours; `ticks` are places and times of the hours named; `now` a place."""

    rows: tuple[TimelineRow, ...]
    ticks: tuple[tuple[float, str], ...]
    height: float
    now: float | None


def timeline(days: Sequence[CrewDay], now: datetime, units: Units) -> Timeline | None:
    """Draw the day of every crew that cuts; None where none does."""
    working = [d for d in days if d.stints]
    stints = [s.stint for d in working for s in d.stints]
    if not stints:
        return None
    begin = min(s.leave_at for s in stints).replace(minute=0)
    end = max(s.until for s in stints)
    hours = max(1, -(-(end - begin) // timedelta(hours=1)))

    def place(when: datetime) -> float:
        return WIDTH * ((when - begin) / timedelta(hours=hours))

    step = -(-hours // MAX_TICKS)
    ticks = [begin + timedelta(hours=h) for h in range(0, hours + 1, step)]
    x = place(now)
    return Timeline(
        rows=tuple(_row(d, ROW * n, place, units) for n, d in enumerate(working)),
        ticks=tuple((place(t), clock(t, begin, units)) for t in ticks),
        height=ROW * len(working) + 18.0,
        now=x if 0.0 <= x <= WIDTH else None,
    )


def _row(day: CrewDay, y: float, place: Callable[[datetime], float], units: Units) -> TimelineRow:
    """The row of one crew."""
    stints = [s.stint for s in day.stints]
    moves = [s for s in stints if s.move_min > 0.0]
    return TimelineRow(
        title=day.title,
        y=y,
        moves=tuple(
            Bar(x=place(s.leave_at), width=place(s.start) - place(s.leave_at)) for s in moves
        ),
        cuts=tuple(_cut(s, place) for s in stints),
        words=sentence("; ".join(f"{one_line(s.name)} {_span(s, units)}" for s in stints)),
    )


def _cut(stint: Stint, place: Callable[[datetime], float]) -> Bar:
    x = place(stint.start)
    width = place(stint.until) - x
    names = (one_line(stint.name), one_line(stint.field))
    label = next((n for n in names if n and CHAR * len(n) < width - 4.0), "")
    return Bar(x=x, width=width, label=label)


def _span(stint: Stint, units: Units) -> str:
    """'10 am-2:30 pm'."""
    return f"{time_of_day(stint.start, units)}-{clock(stint.until, stint.start, units)}"
