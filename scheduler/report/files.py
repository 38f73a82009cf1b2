"""Files of the morning: plan.json, plan.csv, a text and a calendar for each crew, the sheet."""

from __future__ import annotations

import contextlib
import csv
import io
import json
import math
import re
import unicodedata
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path

from scheduler.atomic import recover_folder, replace_folder
from scheduler.farm.units import DEFAULT_UNITS, Units, from_si, lb_bu
from scheduler.farm.wording import crop_name, formula_safe
from scheduler.orders.model import CrewOrders, Morning, Order
from scheduler.report.crew_calendar import calendar, withdrawn
from scheduler.report.messages import message
from scheduler.report.phrases import grade_name, haul_text
from scheduler.report.plan_document import plan_json
from scheduler.report.sheet import sheet


def plan_csv(morning: Morning) -> str:
    """One row an order, farm time and the farm's units, CRLF (RFC 4180)."""
    rows = [
        _row(crew, place, order, morning)
        for crew in morning.crews
        for place, order in enumerate(crew.orders, 1)
    ]
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, fieldnames=_columns(morning), lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def _number(value: float, digits: int) -> float | str:
    """Rounded; an empty cell where unknown."""
    return round(value, digits or None) if math.isfinite(value) else ""


def _columns(morning: Morning) -> list[str]:
    metric = morning.farm.units == "metric"
    said = {q.upper(): DEFAULT_UNITS[q][metric] for q in ("area", "mass", "distance")}
    said["WEIGHT"] = DEFAULT_UNITS["test_weight_change"][metric]
    said["GRADE"] = "" if metric else "us_grade"
    names = "crew place field name parcel crop leave move_min move_DISTANCE start start_early "
    names += "start_late finish finish_early finish_late AREA MASS moisture_pct moisture_low_pct "
    names += "moisture_high_pct test_weight_WEIGHT sprouted_pct GRADE chance_pct loads point haul "
    names += "headland_only loss locked reason changed"
    for word, unit in said.items():
        names = names.replace(word, unit)
    return names.split()


def _row(crew: CrewOrders, place: int, order: Order, morning: Morning) -> dict[str, object]:
    units = morning.farm.units
    start, finish, wet = order.start, order.finish, order.moisture_pct

    def at(when: datetime) -> str:
        return f"{when:%Y-%m-%d %H:%M}"

    values: tuple[object, ...] = (
        *(formula_safe(crew.crew), place, formula_safe(order.field), formula_safe(order.name)),
        *(formula_safe(order.parcel), formula_safe(crop_name(order.crop)), at(order.leave_at)),
        *(_number(order.move_min, 0), _number(from_si(order.move_km, "distance", units), 1)),
        *(at(t) for t in (start.mid, start.low, start.high, finish.mid, finish.low, finish.high)),
        _number(from_si(order.area_ha, "area", units), 1),
        _number(from_si(order.tonnes, "mass", units, order.crop), 1),
        *(_number(v, 1) for v in (wet.mid, wet.low, wet.high)),
        *_quality(order, units),
        *(_number(100 * order.chance, 0), _number(order.loads, 1)),
        *(formula_safe(order.point), formula_safe(haul_text(order))),
        *("yes" if order.headland_only else "no", _number(order.loss, 2)),
        *("yes" if order.locked else "no", formula_safe(order.reason), formula_safe(order.changed)),
    )
    return dict(zip(_columns(morning), values, strict=True))


def _quality(order: Order, units: Units) -> tuple[object, ...]:
    """Test weight, sprouted kernels, and in US units the grade of wheat."""
    weight, sprouted = order.test_weight_kg_hl, _number(order.sprouted_pct, 1)
    if units == "metric":
        return _number(weight, 1), sprouted
    grade = "" if order.us_grade is None else grade_name(order.us_grade)
    return _number(lb_bu(weight, order.crop), 1), sprouted, grade


def file_name_parts(names: Sequence[str]) -> list[str]:
    """A safe and distinct file-name part for each name."""
    out: list[str] = []
    for n, name in enumerate(names, 1):
        ascii_only = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
        slug = re.sub(r"[^a-z0-9]+", "-", ascii_only.lower()).strip("-")[:40] or str(n)
        while slug in out:
            slug = f"{slug}-{n}"
        out.append(slug)
    return out


def plan_files(morning: Morning, earlier: Mapping[str, bytes]) -> dict[str, bytes]:
    """Every file of the plan by name; `earlier` are the calendars of the plan before, by name."""
    files = {
        "sheet.html": sheet(morning).encode(),
        "plan.json": json.dumps(
            plan_json(morning), indent=1, ensure_ascii=False, allow_nan=False
        ).encode(),
        "plan.csv": plan_csv(morning).encode(
            "utf-8-sig"
        ),  # the mark tells spreadsheets it is UTF-8
    }
    for slug, crew in zip(
        file_name_parts([c.crew for c in morning.crews]), morning.crews, strict=True
    ):
        files[f"crew-{slug}.txt"] = (message(crew, morning) + "\n").encode()
        name = f"crew-{slug}.ics"
        files[name] = calendar(crew, morning, earlier.get(name, b""))
    gone = {n: withdrawn(had, morning) for n, had in earlier.items() if n not in files}
    return files | {n: content for n, content in gone.items() if content}


def write_plan(morning: Morning, folder: Path) -> list[Path]:
    """Write the plan into `folder`/plans/<date>, whole or not at all."""
    home = folder / "plans" / morning.now.strftime("%Y-%m-%d")
    recover_folder(home)
    return replace_folder(home, plan_files(morning, earlier_calendars(home)))


def earlier_calendars(home: Path) -> dict[str, bytes]:
    """Calendars by name that the last plan of the day of `home`, or of a day before, gave crews.

    They are what a phone can hold. Those that cannot be read are left out.
    """
    days = sorted(d for d in home.parent.glob("????-??-??") if d.name <= home.name)
    found = {}
    for path in sorted(days[-1].glob("crew-*.ics")) if days else ():
        with contextlib.suppress(OSError):
            found[path.name] = path.read_bytes()
    return found
