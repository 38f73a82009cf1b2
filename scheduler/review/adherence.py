"""Adherence: the fields that each plan ordered for its day against the fields that were cut."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from enum import Enum, auto
from typing import Any

import numpy as np

from readiness.atmosphere.weather import Array
from scheduler.review.delay_accounting import DELAY_CAUSES, Cause
from scheduler.review.observed_season import ObservedSeason
from scheduler.review.work_record import WorkRecord
from scheduler.season_book.entry_kinds import Entry


class Deviation(Enum):
    """Why a crew's day departs from its orders."""

    NONE = auto()  # only fields ordered for the day were cut, and some if any was ordered
    RECORDED = auto()  # entries of the season book give the reason
    NOTHING_ORDERED = auto()  # the crew cut, and the plan had no work for that day
    IDLE = auto()  # the crew cut nothing; the day has a main cause of delay
    LATER_ORDERS = auto()  # the crew cut fields that the plan ordered for a later day
    UNEXPLAINED = auto()


@dataclass(frozen=True, kw_only=True)
class CrewDay:
    """One crew's day: fields ordered for it by that morning's plan, fields cut, and the deviation.

    Attributes
    ----------
    ordered, cut
        Ids of fields, in order.
    entries
        Entries that explain the day, where the deviation is `Deviation.RECORDED`.
    cause, hours
        The main cause of delay and its hours, where the deviation is `Deviation.IDLE`.
    """

    day: date
    crew: str
    ordered: tuple[str, ...]
    cut: tuple[str, ...]
    deviation: Deviation
    entries: tuple[Entry, ...] = ()
    cause: Cause | None = None
    hours: float = 0.0

    @property
    def followed(self) -> bool:
        """Whether the day followed the orders."""
        return self.deviation is Deviation.NONE


def plan_adherence(
    observed: ObservedSeason,
    record: WorkRecord,
    crew_hours: Array,
    days: tuple[datetime, ...],
    crews: tuple[str, ...],
) -> tuple[CrewDay, ...]:
    """Compare the first day of each issued plan with the work done on it.

    Parameters
    ----------
    crew_hours
        (cause, crew, day) hours, see `delay_accounting.crew_account`.
    days
        Midnights that begin the days.
    crews
        Ids of the crews.

    Returns
    -------
    tuple[CrewDay, ...]
        Every crew and planned day with an order or some cutting.
    """
    day_number = {midnight.date(): d for d, midnight in enumerate(days)}
    plans = {at.astimezone(observed.farm.tz).date(): plan for at, plan in observed.plans}
    out = []
    for day, plan in plans.items():
        if day not in day_number:
            continue
        d = day_number[day]
        for k, crew in enumerate(crews):
            ordered = _ordered_for(plan, crew, day, observed)
            cut = _cut_on(observed, record, k, d, days)
            if ordered or cut:
                planned = {
                    order["field"]
                    for c in plan["crews"]
                    if c["crew"] == crew
                    for order in c["orders"]
                }
                entries = _entries_on(observed, crew, day)
                deviation = _deviation(ordered, cut, planned, recorded=bool(entries))
                cause = _main_cause(crew_hours[:, k, d]) if deviation is Deviation.IDLE else None
                out.append(
                    CrewDay(
                        day=day,
                        crew=crew,
                        ordered=ordered,
                        cut=cut,
                        deviation=deviation,
                        entries=entries if deviation is Deviation.RECORDED else (),
                        cause=cause,
                        hours=0.0 if cause is None else float(crew_hours[cause, k, d]),
                    )
                )
    return tuple(out)


def _deviation(
    ordered: tuple[str, ...], cut: tuple[str, ...], planned: set[str], *, recorded: bool
) -> Deviation:
    """Deviation of a day; `planned` are the crew's fields in the whole plan."""
    if set(cut) <= set(ordered) and bool(cut) == bool(ordered):
        return Deviation.NONE
    if recorded:
        return Deviation.RECORDED
    if cut and not ordered:
        return Deviation.NOTHING_ORDERED
    if not cut:
        return Deviation.IDLE
    return Deviation.LATER_ORDERS if set(cut) <= planned else Deviation.UNEXPLAINED


def _main_cause(hours: Array) -> Cause:
    """Cause of delay with the most hours, rest and moves aside; `hours` (cause,)."""
    causes = [c for c in DELAY_CAUSES if c not in (Cause.CREW, Cause.MOVE)]
    return max(causes, key=lambda c: float(hours[c]))


def _ordered_for(
    plan: Mapping[str, Any], crew: str, day: date, observed: ObservedSeason
) -> tuple[str, ...]:
    """Fields whose planned work falls on a day."""
    fields = []
    for c in plan["crews"]:
        for order in c["orders"] if c["crew"] == crew else ():
            start, end = (
                datetime.fromisoformat(order[name]["mid"]).astimezone(observed.farm.tz).date()
                for name in ("start", "finish")
            )
            if start <= day <= end:
                fields.append(order["field"])
    return tuple(dict.fromkeys(fields))


def _cut_on(
    observed: ObservedSeason, record: WorkRecord, k: int, d: int, days: tuple[datetime, ...]
) -> tuple[str, ...]:
    """Fields that crew k cut on day d, in the order in which it began them."""
    a = observed.index(days[d])
    b = observed.index(days[d + 1]) if d + 1 < len(days) else observed.hours
    first_hours = [
        (int(np.flatnonzero(record.area[i, k, a:b])[0]), f.id)
        for i, f in enumerate(observed.farm.fields)
        if record.area[i, k, a:b].any()
    ]
    return tuple(f for _, f in sorted(first_hours))


def _entries_on(observed: ObservedSeason, crew: str, day: date) -> tuple[Entry, ...]:
    """Entries of a day that explain a crew's work: own orders, absences, breakdowns, notices."""
    return tuple(
        e
        for e in observed.entries_of("order", "absent", "down", "notice")
        if e.at.astimezone(observed.farm.tz).date() == day and _concerns(observed, e, crew)
    )


def _concerns(observed: ObservedSeason, entry: Entry, crew: str) -> bool:
    """Whether an entry is about a crew, one of its machines, or a delivery point."""
    own = next(c for c in observed.farm.crews if c.id == crew)
    machines = (*own.combines, *own.carts, *own.trucks)
    return entry.kind == "notice" or entry.subject in (crew, *machines)
