"""A plan as JSON data: `plan.json`, and the document that the season book keeps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields
from datetime import date
from typing import Any

from cattrs import Converter

from scheduler.farm.model import Farm
from scheduler.orders.document import HoursRow, IssuedDay, converter
from scheduler.orders.model import Morning
from scheduler.orders.reasons import FallbackAction, IdleNote, LeftOutReason, OrderReason
from scheduler.report.caution_phrases import caution_lines
from scheduler.report.lesson_phrases import lesson_lines
from scheduler.report.messages import message
from scheduler.report.order_phrases import (
    change_text,
    deciding_lines,
    fallback_text,
    left_out_text,
    note_text,
    reason_text,
)
from scheduler.report.phrases import lost_to_text, makeup_text, row_title
from scheduler.windows.daily_hours import DayHours, hours_by_day
from scheduler.windows.day_figures import DayFigures

PLAN_VERSION = 2


def plan_json(morning: Morning) -> dict[str, Any]:
    """Data of `plan.json`, all that a replan or a review needs; see `scheduler.orders.document`."""
    data = _worded(morning.farm).unstructure
    crews: list[dict[str, Any]] = data(morning.crews)
    for crew in crews:
        crew["orders"] = [{"place": n, **o} for n, o in enumerate(crew["orders"], 1)]
    return {
        "schema": "afterrain plan",
        "version": PLAN_VERSION,
        "farm": morning.farm.name,
        "time_zone": morning.farm.tz.key,
        "currency": morning.farm.currency,
        "made": data(morning.now),
        "objective": morning.farm.rules.objective,
        "forecast": {
            "source": morning.source,
            "issued": data(morning.issued),
            "age_h": data(morning.age_h),
            "until": data(morning.forecast_until),
            "notes": list(morning.weather_notes),
            "doubts": data(morning.doubts),
        },
        "makeup": {
            "chosen": makeup_text(morning.makeup),
            "priced": [
                {"makeup": makeup_text(m), "loss": data(loss)} for m, loss in morning.makeups
            ],
        },
        "machine_moves": data(morning.machine_moves),
        "undriven": list(morning.undriven),
        "crews": crews,
        "left_out": data(morning.left_out),
        "totals": data(morning.totals),
        "until": data(morning.until),
        "seed": morning.seed,
        "members": morning.members,
        "money": data(morning.money),
        "deciding": list(deciding_lines(morning.deciding, morning.farm.currency)),
        "cautions": list(caution_lines(morning)),
        "changes": [change_text(c, morning.farm) for c in morning.changes],
        "lessons": list(lesson_lines(morning.lessons, morning.farm)),
        "farm_notes": list(morning.farm_notes),
    }


def _worded(farm: Farm) -> Converter:
    """The serialiser of orders, with the words of reason codes in place of the codes."""
    made = converter(farm.tz).copy()
    made.register_unstructure_hook(OrderReason, lambda code: reason_text(code, farm))
    made.register_unstructure_hook(LeftOutReason, left_out_text)
    made.register_unstructure_hook(FallbackAction, fallback_text)
    made.register_unstructure_hook(IdleNote, lambda note: note_text(note, farm.units))
    return made


def document(morning: Morning) -> dict[str, Any]:
    """`plan_json` and what a page adds to it: workable hours by day and texts to crews."""
    data = converter(morning.farm.tz).unstructure
    by_day = hours_by_day(morning.farm, morning.season, now=morning.now)
    return {
        **plan_json(morning),
        "hours": data(_hours_rows(morning.farm, by_day)),
        "dates": data(list(by_day)),
        "messages": [message(crew, morning) for crew in morning.crews],
    }


def _hours_rows(farm: Farm, by_day: dict[date, list[DayHours]]) -> Sequence[HoursRow]:
    """Hours by row instead of by day; rows are the fields, then the wet hollows."""
    fields = [*(f.id for f in farm.fields), *(f.id for f in farm.fields if f.wet_fraction)]
    return [
        HoursRow(
            title=row_title(farm, row),
            field=field,
            days=tuple(_issued_day(day[row]) for day in by_day.values()),
        )
        for row, field in enumerate(fields)
    ]


def _issued_day(day: DayHours) -> IssuedDay:
    """The day with the words for the cause of most lost hours."""
    figures = {f.name: getattr(day, f.name) for f in fields(DayFigures)}
    return IssuedDay(**figures, lost_to=lost_to_text(day))
