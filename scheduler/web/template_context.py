"""What the page's templates say things with: words, shades, and values in the farm's units."""

from __future__ import annotations

from typing import Any

from flask import Flask, session

from scheduler.errors import FarmError
from scheduler.farm.units import (
    show_area,
    show_distance,
    show_money,
    show_rate,
    show_temp,
    show_wind,
)
from scheduler.farm.wording import clock, crop_name, day_name, one_line, percent
from scheduler.orders.safety import DEFERENCE
from scheduler.report.phrases import (
    EDGE_ONLY,
    field_title,
    grain_text,
    haul_text,
    loads_text,
    machines,
    moisture_range,
    quality_note,
    quality_text,
    time_range,
    total_area,
)
from scheduler.report.sheet import SHADES_H, bold_topic, by_day, shades, unbroken
from scheduler.season_book.formatting import entry_text, entry_time_text
from scheduler.season_book.kinds import KINDS
from scheduler.web.context import AppContext
from scheduler.windows.daily_hours import WORTHWHILE_H


def register(app: Flask, context: AppContext, locked: bool) -> None:
    """Give templates what they say things with."""
    app.jinja_env.filters |= {
        "plain": one_line, "day": day_name, "machines": machines, "title": field_title,
        "crop": crop_name, "percent": percent, "topic": bold_topic,
    }  # fmt: skip
    app.jinja_env.globals |= {
        "clock": clock, "time_range": time_range, "moisture_range": moisture_range,
        "loads_text": loads_text, "haul_text": haul_text, "grain_text": grain_text,
        "quality_text": quality_text,
        "weighed": quality_note, "total_area": total_area, "by_day": by_day, "edge_only": EDGE_ONLY,
        "least_h": WORTHWHILE_H, "kinds": KINDS, "locked": locked, "deference": DEFERENCE,
        "shade_of": shade_of, "shades": shades(),
    }  # fmt: skip

    @app.context_processor
    def common() -> dict[str, Any]:
        try:
            farm = context.farm()
        except FarmError:
            return {"farm": None, "today": None, "who": ""}
        units, money = farm.units, farm.currency
        return {
            "farm": farm,
            "today": context.clock().astimezone(farm.tz),
            "who": session.get("by", ""),
            "area": lambda ha: unbroken(show_area(ha, units)),
            "distance": lambda km: unbroken(show_distance(km, units)),
            "rate": lambda ha_h: unbroken(show_rate(ha_h, units)),
            "wind": lambda ms: unbroken(show_wind(ms, units)),
            "temp": lambda c: unbroken(show_temp(c, units)),
            "money": lambda value: unbroken(show_money(value, money)),
            "says": lambda e: entry_text(e, farm),
            "when": lambda e: entry_time_text(e, farm, context.clock()),
        }


def shade_of(hours: float | None) -> int:
    """The shade of a number of hours, 0 for none."""
    return 0 if hours is None else sum(hours >= edge for edge in SHADES_H)
