"""An issued plan: from the morning to the document the season book keeps, and back to orders."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

from scheduler.farm.model import Farm
from scheduler.orders.document import plan_json
from scheduler.orders.model import Morning
from scheduler.report.messages import message
from scheduler.windows.daily_hours import DayHours, hours_by_day, row_title


def document(morning: Morning) -> dict[str, Any]:
    """`plan_json` and what a page adds to it: hours ahead and texts to crews."""
    ahead = hours_by_day(morning.farm, morning.season, now=morning.now)
    rows = range(morning.season.reason.shape[1])
    return {
        **plan_json(morning),
        "hours": [
            {
                "title": row_title(morning.farm, row),
                "field": _field_of(morning.farm, row),
                "days": [_plain(day[row]) for day in ahead.values()],
            }
            for row in rows
        ],
        "dates": [d.isoformat() for d in ahead],
        "messages": [message(crew, morning) for crew in morning.crews],
    }


def _field_of(farm: Farm, row: int) -> str:
    hollows = [f.id for f in farm.fields if f.wet_fraction]
    return farm.fields[row].id if row < len(farm.fields) else hollows[row - len(farm.fields)]


def _plain(day: DayHours) -> dict[str, Any]:
    out = {f.name: getattr(day, f.name) for f in fields(day)}
    out["first"] = day.first.isoformat() if day.first else None
    return {k: None if v != v else v for k, v in out.items()}
