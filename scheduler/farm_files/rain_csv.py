"""rain.csv: readings of the rain gauges."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from itertools import pairwise
from typing import NamedTuple

import pandas as pd

from scheduler.errors import Problem, UnreadableError
from scheduler.farm.units import SI_PER_UNIT, normalized_name
from scheduler.farm_files.csv_table import CsvTable
from scheduler.farm_files.dates import date_order, farm_time_to_utc, second_occurrence
from scheduler.farm_files.named_values import Notation
from scheduler.farm_files.record import Record, table_records
from scheduler.farm_files.settings_toml import Gauge
from scheduler.farm_files.vocabulary import column_names, doubtful_headings, quantity_columns

FILE = "rain.csv"
#: Most rain of one reading, mm; assumed: above any recorded day of the plains.
MAX_READING_MM = 500.0
#: Columns of the table.
COLUMNS = ("gauge", "time", "amount", "hours")
#: Shortest step between readings of a gauge, h; assumed: loggers write each quarter of an hour,
#: and what lies closer was written twice.
SHORTEST_STEP_H = 0.2
TRACE_WORDS = ("t", "tr", "trace")


class RainReading(NamedTuple):
    """A reading: gauge id, start (UTC), length (h) and amount (mm)."""

    gauge: str
    time: datetime
    hours: float
    mm: float


def empty() -> pd.DataFrame:
    """A table without readings."""
    out = pd.DataFrame({c: [] for c in RainReading._fields})
    return out.astype({"time": "datetime64[ns, UTC]", "hours": "float64", "mm": "float64"})


def read_rain_table(
    table: CsvTable, gauges: Mapping[str, Gauge], notation: Notation, problems: list[Problem]
) -> pd.DataFrame:
    """The readings that can be read: gauge, time (start, UTC), hours, mm.

    A date alone stands for the day from midnight to midnight, or for the day that ends at the
    hour `read_at` of its gauge. A clock time is the start of a reading as long as the column
    `hours` says, else as the shortest step between readings of the gauge. A blank amount is
    unknown and left out.

    Parameters
    ----------
    gauges : those of farm.toml by id.
    problems : list that problems are added to.
    """
    table = _joined(table)
    names = column_names(table.columns)
    heading = _heading_problems(names, table)
    problems += heading
    if heading:
        return empty()
    order = {"time": date_order(cells[names.index("time")] for _, cells in table.rows)}
    ids = {normalized_name(g): g for g in gauges}
    row_of: dict[tuple[str, datetime], str] = {}
    records: dict[tuple[str, datetime], Record] = {}
    daily: list[RainReading] = []
    timed: list[RainReading] = []
    for r in table_records(table, names, notation, problems, file=FILE, orders=order):
        gauge, mm = _gauge(r, ids), _amount(r)
        hours = r.optional_number("hours", above=0.0, high=24.0 * 31)
        moment = _moment(r)
        if r.failed or moment is None or mm is None:
            continue
        when, has_clock = moment
        if (gauge, when) in row_of and has_clock:
            when = second_occurrence(when, notation.tz) or when
        if (gauge, when) in row_of:
            message = f'gauge "{gauge}" is read already in row {row_of[gauge, when]}'
            r.note("time", message, "keep one of the two")
            continue
        row_of[gauge, when] = r.row
        if has_clock and hours is None:
            records[gauge, when] = r
        if has_clock or hours is not None:
            timed.append(RainReading(gauge, when, hours or 0.0, mm))
        else:
            try:
                start, length = _day(when, gauges.get(gauge), notation)
            except UnreadableError as error:
                r.note("time", error.message, error.remedy)
                continue
            daily.append(RainReading(gauge, start, length, mm))
    _check_steps(records)
    readings = [*daily, *_with_lengths(timed)]
    if not readings:
        return empty()
    out = pd.DataFrame(readings, columns=list(RainReading._fields))
    out["time"] = pd.to_datetime(out["time"], utc=True).astype("datetime64[ns, UTC]")
    return out.sort_values(["gauge", "time"], ignore_index=True)


def _joined(table: CsvTable) -> CsvTable:
    """The table with the columns 'date' and 'time', if it has both, joined into one."""
    low = [normalized_name(c) for c in table.columns]
    if low.count("date") != 1 or low.count("time") != 1:
        return table
    d, t = low.index("date"), low.index("time")

    def join(cells: Sequence[str]) -> tuple[str, ...]:
        both = f"{cells[d]} {cells[t]}".strip()
        return tuple(both if i == d else c for i, c in enumerate(cells) if i != t)

    rows = tuple((number, join(cells)) for number, cells in table.rows)
    heading = tuple(c for i, c in enumerate(table.columns) if i != t)
    return replace(table, columns=heading, rows=rows)


def _heading_problems(names: list[str], table: CsvTable) -> list[Problem]:
    """Columns that are missing, or there twice."""
    counts = {
        "time": names.count("time"),
        "amount": len(quantity_columns("amount", "depth", names)),
    }
    shown = ", ".join(c for c in table.columns[:30] if c) or "none"
    remedy = f"the heading is gauge, date, amount; found are: {shown:.300}"
    doubtful = doubtful_headings(table, names, COLUMNS, {"amount": tuple(SI_PER_UNIT["depth"])})
    return [
        Problem(file=FILE, row="1", column=heading, message=message, remedy=what)
        for heading, _, message, what in doubtful
    ] + [
        Problem(
            file=FILE,
            row="1",
            column=name,
            message=f'column "{name}" is {"there twice" if count else "missing"}',
            remedy=remedy,
        )
        for name, count in counts.items()
        if count != 1 and name not in [column for _, column, _, _ in doubtful]
    ]


def _gauge(r: Record, ids: Mapping[str, str]) -> str:
    """The gauge's id; a farm with a single gauge, or none in farm.toml, needs no name."""
    word = r.text("gauge")
    if not word and len(ids) == 1:
        return next(iter(ids.values()))
    if not ids:
        return word or "base"
    if normalized_name(word) not in ids:
        message = f'gauge "{word}" is not in farm.toml' if word else "gauge is missing"
        r.note("gauge", message, f"use one of {', '.join(ids.values())}, or add a [[gauge]]")
    return ids.get(normalized_name(word), word)


def _amount(r: Record) -> float | None:
    """Rain, mm; a trace is none, a blank is unknown."""
    if r.text("amount").lower() in TRACE_WORDS:
        return 0.0
    return r.optional_number("amount", "depth", low=0.0, high=MAX_READING_MM)


def _moment(r: Record) -> tuple[datetime, bool] | None:
    """Time (UTC) of a reading, and whether it holds a clock time."""
    found = r.find("time")
    if found is None:
        r.note_missing("time", "a date, as 2026-08-12, or a date and time")
        return None
    try:
        return r.as_moment(found.value, found.key)
    except UnreadableError as error:
        r.note("time", error.message, error.remedy)
        return None


def _day(midnight: datetime, gauge: Gauge | None, notation: Notation) -> tuple[datetime, float]:
    """Start and length (h) of the day of a reading; 23 or 25 h when clocks change."""
    day: date = midnight.astimezone(notation.tz).date()
    at = gauge.read_at if gauge else datetime.min.time()
    last = day if at > datetime.min.time() else day + timedelta(days=1)
    ends = [
        farm_time_to_utc(datetime.combine(last - timedelta(days=n), at), notation.tz)
        for n in (1, 0)
    ]
    return ends[0], (ends[1] - ends[0]) / timedelta(hours=1)


def _check_steps(records: Mapping[tuple[str, datetime], Record]) -> None:
    """Readings whose length is that of a step are not minutes apart."""
    for (gauge, before), (again, when) in pairwise(sorted(records)):
        if gauge == again and (when - before) / timedelta(hours=1) < SHORTEST_STEP_H:
            message = f'gauge "{gauge}" is read minutes before in row {records[gauge, before].row}'
            records[again, when].note(
                "time", message, "keep one of the two, or give their length in a column hours"
            )


def _with_lengths(timed: list[RainReading]) -> list[RainReading]:
    """Readings with a clock time; the gauge's shortest step fills in missing lengths."""
    times: dict[str, list[datetime]] = {}
    for reading in timed:
        times.setdefault(reading.gauge, []).append(reading.time)
    shortest: dict[str, float] = {}
    for gauge, starts in times.items():
        steps = [(b - a) / timedelta(hours=1) for a, b in pairwise(sorted(starts))]
        shortest[gauge] = min([s for s in steps if 0 < s <= 24.0], default=1.0)
    return [r if r.hours else r._replace(hours=shortest[r.gauge]) for r in timed]
