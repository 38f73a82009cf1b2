"""plan.csv: the orders of all crews as a table for spreadsheets."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Callable
from datetime import datetime

from scheduler.farm.units import Units, from_si, lb_bu, unit_name
from scheduler.farm.wording import formula_safe
from scheduler.language.translation import SOURCE, in_language
from scheduler.orders.model import Morning, Order
from scheduler.report.order_phrases import last_day, points_text, reason_text
from scheduler.report.phrases import grade_name, haul_text, own_crop
from scheduler.report.weather_phrases import beyond_forecast

Cell = str | float


@in_language(SOURCE)
def plan_csv(morning: Morning) -> str:
    """Write one row an order, in farm time and the farm's units, with CRLF (RFC 4180)."""
    columns = _columns(morning)
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(["crew", "place", *columns])
    for crew in morning.crews:
        for place, order in enumerate(crew.orders, 1):
            cells = [cell(order) for cell in columns.values()]
            writer.writerow([formula_safe(crew.crew), place, *cells])
    return out.getvalue()


def _columns(morning: Morning) -> dict[str, Callable[[Order], Cell]]:
    """Columns by their heading, each with the function that gives an order's cell."""
    farm, units = morning.farm, morning.farm.units
    distance, area, mass = (unit_name(q, units) for q in ("distance", "area", "mass"))
    return {
        "field": lambda o: formula_safe(o.field),
        "name": lambda o: formula_safe(o.name),
        "parcel": lambda o: formula_safe(o.parcel),
        "crop": lambda o: formula_safe(own_crop(o, farm)),
        "leave": lambda o: _minute(o.leave_at),
        "move_min": lambda o: _number(o.move_min, 0),
        f"move_{distance}": lambda o: _number(from_si(o.move_km, "distance", units), 1),
        "start": lambda o: _minute(o.start.mid),
        "start_early": lambda o: _minute(o.start.low),
        "start_late": lambda o: _minute(o.start.high),
        "finish": lambda o: _before_end(o.finish.mid, morning),
        "finish_early": lambda o: _before_end(o.finish.low, morning),
        "finish_late": lambda o: _before_end(o.finish.high, morning),
        area: lambda o: _number(from_si(o.area_ha, "area", units), 1),
        mass: lambda o: _number(from_si(o.tonnes, "mass", units, o.crop), 1),
        "moisture_pct": lambda o: _number(o.moisture_pct.mid, 1),
        "moisture_low_pct": lambda o: _number(o.moisture_pct.low, 1),
        "moisture_high_pct": lambda o: _number(o.moisture_pct.high, 1),
        **_quality_columns(units),
        "start_at_pct": lambda o: _number(o.start_pct, 1),
        "later_start_at_pct": lambda o: _number(o.later_pct, 1),
        "cut_by": lambda o: last_day(o).isoformat(),
        "cut_by_pct": lambda o: _number(100 * o.chance, 0),
        "cut_at_all_pct": lambda o: _number(100 * o.done, 0),
        "in_forecast_shown": lambda o: "yes" if o.shown else "no",
        "beyond_forecast": lambda o: "yes" if beyond_forecast(o, morning) else "no",
        "loads": lambda o: _number(o.loads, 1),
        "point": lambda o: formula_safe(o.point),
        "haul": lambda o: formula_safe(haul_text(o)),
        "point_by_moisture": lambda o: formula_safe(points_text(o, farm)),
        "headland_only": lambda o: "yes" if o.headland_only else "no",
        "loss": lambda o: _number(o.loss, 2),
        "locked": lambda o: "yes" if o.locked else "no",
        "reason": lambda o: formula_safe(reason_text(o.reason, farm)),
        "changed": lambda o: formula_safe(o.changed),
    }


def _quality_columns(units: Units) -> dict[str, Callable[[Order], Cell]]:
    """Test weight, sprouted kernels, and in US units the grade of wheat."""
    weight = f"test_weight_{unit_name('test_weight_change', units)}"
    if units == "metric":
        return {
            weight: lambda o: _number(o.test_weight_kg_hl, 1),
            "sprouted_pct": lambda o: _number(o.sprouted_pct, 1),
        }
    return {
        weight: lambda o: _number(lb_bu(o.test_weight_kg_hl, o.crop), 1),
        "sprouted_pct": lambda o: _number(o.sprouted_pct, 1),
        "us_grade": lambda o: "" if o.us_grade is None else grade_name(o.us_grade),
    }


def _number(value: float, digits: int) -> Cell:
    """Round a number; an unknown number is an empty cell."""
    return round(value, digits or None) if math.isfinite(value) else ""


def _before_end(when: datetime, morning: Morning) -> str:
    """The minute of a finish; an empty cell where the days planned end before."""
    return _minute(when) if when < morning.until else ""


def _minute(when: datetime) -> str:
    return f"{when:%Y-%m-%d %H:%M}"
