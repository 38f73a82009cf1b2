"""The printable sheet: one HTML file with everything in it, for paper, phone and laptop."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from itertools import groupby
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

from scheduler.farm.units import show_area, show_distance, show_money, show_rate
from scheduler.farm.wording import clock, crew_title, crop_name, day_name, one_line, percent
from scheduler.orders.model import CrewOrders, Morning, Order
from scheduler.orders.safety import day_cautions
from scheduler.report.charts import PALETTE
from scheduler.report.lesson_phrases import lesson_lines
from scheduler.report.phrases import (
    EDGE_ONLY,
    LIMITED_TEXTS,
    delivery_lines,
    field_title,
    grain_text,
    haul_text,
    loads_text,
    loss_lines,
    machines,
    makeup_text,
    moisture_range,
    quality_note,
    quality_text,
    row_title,
    time_range,
    total_area,
    weather_line,
    worth_lines,
)
from scheduler.report.svg import alternative_texts, curve_text, field_pictures, pictures
from scheduler.windows.daily_hours import WORTHWHILE_H, DayHours, hours_by_day, row_of
from scheduler.windows.model_inputs import season_rows

#: Upper edges of the hours of one shade; assumed, even steps of two up to a long cutting day.
SHADES_H = (0.5, 2.0, 4.0, 6.0, 8.0, 10.0)
MAKEUPS_SHOWN = 5  # of the make-ups priced; assumed, the rest lose more
NOT_DONE = "not possible"
DARK_PAPER = 5  # shades from here on carry white figures


def sheet(morning: Morning) -> str:
    """The whole sheet as self-contained HTML; everything from people is escaped."""
    env = Environment(
        loader=PackageLoader("scheduler.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    env.filters |= {
        "plain": one_line,
        "day": day_name,
        "machines": machines,
        "crew": crew_title,
        "heading": heading,
        "title": field_title,
        "crop": crop_name,
        "percent": percent,
    }
    units, money = morning.farm.units, morning.farm.currency
    return env.get_template("sheet.html").render(
        m=morning,
        weather=weather_line(morning),
        losses=loss_lines(morning),
        worth=worth_lines(morning),
        today_cautions=day_cautions(morning.cautions),
        shades=shades(),
        calendar=calendar(morning),
        least_h=WORTHWHILE_H,
        lessons=lesson_lines(morning.lessons, morning.farm),
        makeup_text=makeup_text,
        makeups_shown=MAKEUPS_SHOWN,
        cards=list(cards(morning)),
        pictures=pictures(morning),
        **alternative_texts(morning),
        by_day=by_day,
        area=lambda ha: unbroken(show_area(ha, units)),
        distance=lambda km: unbroken(show_distance(km, units)),
        rate=lambda ha_h: unbroken(show_rate(ha_h, units)),
        money=lambda value: unbroken(show_money(value, money)),
        limited=LIMITED_TEXTS,
        edge_only=EDGE_ONLY,
        clock=clock,
        time_range=time_range,
        moisture_range=moisture_range,
        haul_text=haul_text,
        loads_text=loads_text,
        deliveries=delivery_lines(morning),
        grain_text=grain_text,
        quality_text=quality_text,
        weighed=quality_note(morning.farm),
        total_area=total_area,
        topic=bold_topic,
    )


def unbroken(text: str) -> str:
    """A value and its unit that no line break parts."""
    return text.replace(" ", "\N{NO-BREAK SPACE}")


def heading(text: str) -> str:
    """A title with its first letter large."""
    return text[:1].upper() + text[1:]


def bold_topic(line: str) -> Markup:
    """A caution with the word before its first colon in bold."""
    head, colon, rest = one_line(line).partition(":")
    return Markup("<b>{}{}</b>{}").format(head, colon, rest) if colon else escape(head)


def by_day(crew: CrewOrders) -> list[tuple[date, list[tuple[int, Order]]]]:
    """Numbered orders of a crew by the day of their middle start."""
    numbered = enumerate(crew.orders, 1)
    return [(d, list(g)) for d, g in groupby(numbered, key=lambda x: x[1].start.mid.date())]


def shades() -> list[dict[str, str]]:
    """Paper, ink and words of every shade of the hours."""
    edges = ["none", *(f"under {e:g} h" for e in SHADES_H[1:]), f"{SHADES_H[-1]:g} h and more"]
    return [
        {"paper": paper, "ink": "#ffffff" if i >= DARK_PAPER else "#111111", "words": words}
        for i, (paper, words) in enumerate(zip(PALETTE, edges, strict=True))
    ]


def cards(morning: Morning) -> Iterator[dict[str, Any]]:
    """Why each field is where it is: facts, the price of doing otherwise, curves."""
    picked = [
        row_of(morning.farm, o.field, o.parcel) for crew in morning.crews for o in crew.orders
    ]
    drawn = field_pictures(morning, list(dict.fromkeys(picked)))
    for crew in morning.crews:
        for place, order in enumerate(crew.orders, 1):
            row = row_of(morning.farm, order.field, order.parcel)
            yield {
                "title": field_title(order),
                "crew": crew_title(crew.crew),
                "place": place,
                "reason": one_line(order.reason),
                "facts": facts(morning, order),
                "costs": costs(order, place, len(crew.orders), morning.farm.currency),
                "picture": drawn.pop(row, ""),  # once, at the first part of a field
                "alt": curve_text(morning, row, order),
            }


def facts(morning: Morning, order: Order) -> str:
    """What is known of a field, one line."""
    field = next(f for f in morning.farm.fields if f.id == order.field)
    soil = field.texture or f"{field.sand:.0%} sand, {field.clay:.0%} clay"
    parts = [one_line(soil), f"{field.approach} approach"]
    if field.sample_pct is not None and field.sample_at is not None:
        at = clock(field.sample_at.astimezone(morning.farm.tz), morning.now)
        parts.append(f"sample {field.sample_pct:.1f} % ({at})")
    else:
        parts.append("no sample yet")
    parts.append(f"expected loss as planned {show_money(order.loss, morning.farm.currency)}")
    return "; ".join(parts)


def costs(order: Order, place: int, count: int, currency: str) -> list[tuple[str, str]]:
    """The price of doing otherwise, in words."""
    other = order.alternative
    if other is None:
        return []

    def price(value: float | None, why_not: str) -> str:
        if value is None:
            return "fixed" if order.locked else why_not
        if abs(value) < 0.5:
            return "same"
        return f"{'+' if value > 0 else '-'}{show_money(abs(value), currency)}"

    return [
        ("Sooner", price(other.earlier, "is first" if place == 1 else NOT_DONE)),
        ("Later", price(other.later, "is last" if place == count else NOT_DONE)),
        ("Other crew", price(other.other_crew, NOT_DONE)),
        ("Leave it", price(other.leave, NOT_DONE)),
    ]


def calendar(morning: Morning) -> dict[str, Any]:
    """Hours that each row can be cut on each day, in the order of the plan, then the rest."""
    days = hours_by_day(morning.farm, morning.season, now=morning.now)
    planned = planned_days(morning)
    count = len(season_rows(morning.farm))
    order = [*planned, *(r for r in range(count) if r not in planned)]
    return {
        "days": list(days),
        "lines": [
            {
                "name": row_title(morning.farm, row),
                "cells": [cell(h[row], d in planned.get(row, ())) for d, h in days.items()],
            }
            for row in order
        ],
    }


def planned_days(morning: Morning) -> dict[int, set[date]]:
    """Days on which each row is to be cut, rows by crew and place."""
    out: dict[int, set[date]] = {}
    for crew in morning.crews:
        for o in crew.orders:
            span = (o.finish.mid.date() - o.start.mid.date()).days
            days = {o.start.mid.date() + timedelta(days=d) for d in range(span + 1)}
            out.setdefault(row_of(morning.farm, o.field, o.parcel), set()).update(days)
    return out


def cell(hours: DayHours, planned: bool) -> dict[str, Any]:
    """One day of one row as the calendar shows it."""
    if hours.cut is None:
        return {"shade": "unknown", "hours": "?", "chance": "", "planned": planned}
    shade = sum(hours.cut >= edge for edge in SHADES_H)
    return {
        "shade": f"h{shade}",
        "hours": f"{hours.cut:.0f}",
        "chance": unbroken(percent(hours.chance)),
        "planned": planned,
    }
