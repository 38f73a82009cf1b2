"""rain.csv: what the gauges caught."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from itertools import pairwise
from typing import TypedDict

import pandas as pd

from scheduler.errors import UnreadableError
from scheduler.farm.units import normalized_name
from scheduler.farm_files.csv_table import CsvTable
from scheduler.farm_files.dates import date_order, farm_time_to_utc, second_occurrence
from scheduler.farm_files.record import Notation, Problem, Record, table_records
from scheduler.farm_files.settings_toml import Gauge
from scheduler.farm_files.vocabulary import column_names, quantity_columns

FILE = "rain.csv"
COLUMNS = ["gauge", "time", "hours", "mm"]
#: Most rain of one entry, mm; assumed: above any recorded day of the plains.
MAX_READING_MM = 500.0
TRACE_WORDS = ("t", "tr", "trace")


class RainReading(TypedDict):
    """One entry: gauge, UTC start, length and amount."""

    gauge: str
    time: datetime
    hours: float
    mm: float


def empty() -> pd.DataFrame:
    """A table of no rain records."""
    out = pd.DataFrame({c: [] for c in COLUMNS})
    return out.astype({"time": "datetime64[ns, UTC]", "hours": "float64", "mm": "float64"})


def read_rain_table(
    table: CsvTable, gauges: Mapping[str, Gauge], custom: Notation, problems: list[Problem]
) -> pd.DataFrame:
    """Every reading: gauge, time (UTC, start), hours, mm; problems are added.

    A date alone is a day from midnight to midnight, or, of a gauge with `read_at`, the day that
    ended at that hour. A clock time is the start of a reading whose length is the column `hours`,
    else the least step between readings of the gauge. Blank amounts are unknown and left out.
    """
    table = _joined(table)
    names = column_names(table.columns)
    if not _headed(names, table, problems):
        return empty()
    order = {"time": date_order(cells[names.index("time")] for _, cells in table.rows)}
    known = {normalized_name(g): g for g in gauges}
    seen: dict[tuple[str, datetime], str] = {}
    daily: list[RainReading] = []
    timed: list[RainReading] = []
    for r in table_records(table, names, custom, problems, file=FILE, orders=order):
        gauge = _gauge(r, known)
        amount = 0.0 if r.text("amount").lower() in TRACE_WORDS else r.maybe(
            "amount", "depth", low=0.0, high=MAX_READING_MM)  # fmt: skip
        hours = r.maybe("hours", above=0.0, high=24.0 * 31)
        found = _when(r)
        if r.failed or found is None or amount is None:
            continue
        when, clock = found
        if (gauge, when) in seen and clock:
            when = second_occurrence(when, custom.tz) or when
        if (gauge, when) in seen:
            r.fault("time", f'gauge "{gauge}" is read already in row {seen[gauge, when]}',
                    "keep one of the two")  # fmt: skip
            continue
        seen[gauge, when] = r.row
        if clock or hours is not None:
            timed.append({"gauge": gauge, "time": when, "hours": hours or 0.0, "mm": amount})
        else:
            try:
                first, long = _day(when, gauges.get(gauge), custom)
            except UnreadableError as error:
                r.fault("time", error.message, error.remedy)
                continue
            daily.append({"gauge": gauge, "time": first, "hours": long, "mm": amount})
    rows = [*daily, *_stepped(timed)]
    if not rows:
        return empty()
    out = pd.DataFrame(rows, columns=COLUMNS)
    out["time"] = pd.to_datetime(out["time"], utc=True).astype("datetime64[ns, UTC]")
    return out.sort_values(["gauge", "time"], ignore_index=True)


def _joined(table: CsvTable) -> CsvTable:
    """The table with its columns 'date' and 'time', where it has both, made one."""
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


def _headed(names: list[str], table: CsvTable, problems: list[Problem]) -> bool:
    good = True
    counts = {
        "time": names.count("time"),
        "amount": len(quantity_columns("amount", "depth", names)),
    }
    for name, count in counts.items():
        if count != 1:
            shown = ", ".join(c for c in table.columns[:30] if c) or "none"
            what = "missing" if count == 0 else "there twice"
            problems.append(
                Problem(file=FILE, row="1", column=name, message=f'column "{name}" is {what}',
                        remedy=f"the heading is gauge, date, amount; found are: {shown:.300}")
            )  # fmt: skip
            good = False
    return good


def _gauge(r: Record, known: Mapping[str, str]) -> str:
    """The gauge's id; a farm with one gauge, or none placed, needs no name for it."""
    word = r.text("gauge")
    if not word and len(known) == 1:
        return next(iter(known.values()))
    if not known:
        return word or "base"
    if normalized_name(word) not in known:
        r.fault("gauge", f'gauge "{word}" is not in farm.toml' if word else "gauge is missing",
                f"use one of {', '.join(known.values())}, or add a [[gauge]]")  # fmt: skip
    return known.get(normalized_name(word), word)


def _when(r: Record) -> tuple[datetime, bool] | None:
    hit = r.found("time")
    if hit is None:
        r.missing("time", "a date, as 2026-08-12, or a date and time")
        return None
    try:
        return r.instant_of(hit[0], hit[1])
    except UnreadableError as error:
        r.fault("time", error.message, error.remedy)
        return None


def _day(midnight: datetime, gauge: Gauge | None, custom: Notation) -> tuple[datetime, float]:
    """Start and length of the day that a reading stands for; 23 or 25 h when clocks change."""
    day: date = midnight.astimezone(custom.tz).date()
    at = gauge.read_at if gauge else datetime.min.time()
    last = day if at > datetime.min.time() else day + timedelta(days=1)
    ends = [
        farm_time_to_utc(datetime.combine(last - timedelta(days=n), at), custom.tz) for n in (1, 0)
    ]
    return ends[0], (ends[1] - ends[0]) / timedelta(hours=1)


def _stepped(timed: list[RainReading]) -> list[RainReading]:
    """Readings with a clock time, their lengths filled in."""
    times: dict[str, list[datetime]] = {}
    for c in timed:
        times.setdefault(c["gauge"], []).append(c["time"])
    step: dict[str, float] = {}
    for gauge, whens in times.items():
        whens.sort()
        gaps = [(b - a) / timedelta(hours=1) for a, b in pairwise(whens)]
        step[gauge] = min([g for g in gaps if 0 < g <= 24.0], default=1.0)
    return [{**c, "hours": c["hours"] or step[c["gauge"]]} for c in timed]
