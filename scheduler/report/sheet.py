"""The printable sheet: one self-contained HTML file for paper, phone and laptop."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from typing import Any

from scheduler.farm.units import show_money, show_number
from scheduler.farm.wording import clock, crew_title, mid_sentence, one_line, percent
from scheduler.language.translation import N_, _
from scheduler.orders.model import CrewOrders, Morning, Order
from scheduler.report.caution_phrases import caution_lines, deference, short_caution
from scheduler.report.figures.hour_shades import shade_of, shades
from scheduler.report.figures.svg import (
    alternative_texts,
    curve_text,
    farm_pictures,
    field_pictures,
)
from scheduler.report.lesson_phrases import lesson_lines
from scheduler.report.order_phrases import (
    by_clock,
    change_text,
    deciding_lines,
    fallback_text,
    finish_clock,
    kept_note,
    last_day,
    left_out_text,
    left_unfinished,
    machine_change_text,
    makeup_lines,
    note_text,
    other_forecast,
    own_order_kept,
    points_text,
    reason_text,
    start_text,
    way_lines,
)
from scheduler.report.phrases import (
    LIMIT_TEXT,
    approach_text,
    delivery_lines,
    field_title,
    makeup_text,
    money_lines,
    move_parts,
    own_crop,
    quality_note,
    row_title,
    times_note,
)
from scheduler.report.template_environment import template_environment, unbroken, value_texts
from scheduler.report.today import by_day, crew_days, later_orders
from scheduler.report.weather_phrases import (
    beyond_forecast,
    beyond_mark_note,
    cut_by_day,
    weather_doubts,
    weather_line,
)
from scheduler.windows.daily_hours import DayHours, hours_by_day, row_of
from scheduler.windows.model_inputs import season_rows

MAKEUPS_SHOWN = 5  # of the make-ups priced; assumed, the rest lose more
#: Orders after tomorrow that the farmer's page has room for, with all crews.
PAGE_ORDERS = 24
NOT_DONE = N_("not possible")


def sheet(morning: Morning) -> str:
    """Render the whole sheet as self-contained HTML."""
    environment = template_environment("scheduler.report")
    environment.filters["last_day"] = last_day
    environment.filters["percent"] = lambda share: unbroken(percent(share))
    return environment.get_template("sheet.html").render(
        m=morning,
        days=crew_days(morning),
        tomorrow=crew_days(morning, ahead=1),
        ranked=ranked_orders(morning),
        deference=deference(),
        weather=weather_line(morning),
        money_lines=money_lines(morning),
        deciding=deciding_lines(morning.deciding, morning.farm.currency),
        kept=own_order_kept(morning),
        kept_note=kept_note(morning),
        weather_doubts=weather_doubts(morning),
        cut_by_day=lambda order: cut_by_day(order, morning),
        beyond_mark=beyond_mark_note(morning),
        makeup_lines=makeup_lines(morning),
        times_note=times_note(morning.members),
        today_cautions=[short_caution(c, morning.farm.units) for c in morning.cautions],
        cautions=caution_lines(morning),
        shades=shades(),
        calendar=hour_calendar(morning),
        lessons=lesson_lines(morning.lessons, morning.farm),
        makeup_text=makeup_text,
        makeups_shown=MAKEUPS_SHOWN,
        cards=list(field_cards(morning)),
        pictures=farm_pictures(morning),
        limits={name: _(text) for name, text in LIMIT_TEXT.items()},
        deliveries=delivery_lines(morning),
        quality_note=quality_note(morning.farm),
        changes=[change_text(c, morning.farm) for c in morning.changes],
        reason_text=lambda reason: reason_text(reason, morning.farm),
        left_out_text=left_out_text,
        fallback_text=fallback_text,
        note_text=lambda note: note_text(note, morning.farm.units),
        way_lines=way_lines,
        start_text=lambda order: start_text(order, morning),
        points_text=lambda order: points_text(order, morning.farm),
        beyond=lambda order: beyond_forecast(order, morning),
        finish_clock=lambda order, day: finish_clock(order, morning, day),
        other_forecast=other_forecast,
        left_unfinished=lambda order: left_unfinished(order, morning),
        machine_change_text=lambda crew: machine_change_text(crew, morning),
        by_day=by_day,
        own_crop=lambda order: own_crop(order, morning.farm),
        by_clock=lambda order: by_clock(order, morning),
        move_parts=lambda order: move_parts(order, morning.farm),
        **alternative_texts(morning),
        **value_texts(morning.farm),
    )


def ranked_orders(morning: Morning) -> list[tuple[CrewOrders, list[tuple[int, Order]], int]]:
    """Each crew, its orders after tomorrow as far as a page holds them, and how many more."""
    room = PAGE_ORDERS // max(1, len(morning.crews))
    out = []
    for crew in morning.crews:
        ahead = later_orders(morning, crew)
        out.append((crew, ahead[:room], max(0, len(ahead) - room)))
    return out


def field_cards(morning: Morning) -> Iterator[dict[str, Any]]:
    """Yield why each field is where it is: facts, the price of doing otherwise, curves."""
    ordered_rows = [
        row_of(morning.farm, o.field, o.parcel) for crew in morning.crews for o in crew.orders
    ]
    drawn = field_pictures(morning, list(dict.fromkeys(ordered_rows)))
    for crew in morning.crews:
        for place, order in enumerate(crew.orders, 1):
            row = row_of(morning.farm, order.field, order.parcel)
            yield {
                "title": field_title(order),
                "crew": crew_title(crew.crew),
                "place": place,
                "reason": one_line(reason_text(order.reason, morning.farm)),
                "facts": field_facts(morning, order),
                "costs": change_costs(order, place, len(crew.orders), morning.farm.currency),
                "picture": drawn.pop(row, ""),  # only with the first part of a field
                "alt": curve_text(morning, row, order),
            }


def field_facts(morning: Morning, order: Order) -> str:
    """Soil, approach, last sample and loss of an order's field, in one line."""
    field = next(f for f in morning.farm.fields if f.id == order.field)
    if field.texture:
        soil = _(field.texture.replace("_", " "))
    else:
        sand, clay = percent(field.sand), percent(field.clay)
        soil = _("{sand} sand, {clay} clay", sand=sand, clay=clay)
    parts = [one_line(soil), mid_sentence(approach_text(field.approach))]
    if field.sample_pct is not None and field.sample_at is not None:
        at = clock(field.sample_at.astimezone(morning.farm.tz), morning.now, morning.farm.units)
        sample = show_number(field.sample_pct, 1)
        parts.append(_("sample {moisture} % ({time})", moisture=sample, time=at))
    else:
        parts.append(_("no sample yet"))
    loss = show_money(order.loss, morning.farm.currency)
    parts.append(_("expected loss as planned {loss}", loss=loss))
    return "; ".join(parts)


def change_costs(order: Order, place: int, count: int, currency: str) -> list[tuple[str, str]]:
    """Costs of doing otherwise, each with its name.

    Parameters
    ----------
    place : place of the order in its crew's orders, from 1.
    count : number of the crew's orders.
    """
    other = order.alternative
    if other is None:
        return []

    def cost(value: float | None, why_not: str) -> str:
        if value is None:
            return _("fixed") if order.locked else _(why_not)
        if abs(value) < 0.5:
            return _("same")
        return f"{'+' if value > 0 else '-'}{show_money(abs(value), currency)}"

    return [
        (_("Sooner"), cost(other.earlier, N_("is first") if place == 1 else NOT_DONE)),
        (_("Later"), cost(other.later, N_("is last") if place == count else NOT_DONE)),
        (_("Other crew"), cost(other.other_crew, NOT_DONE)),
        (_("Leave it"), cost(other.leave, NOT_DONE)),
    ]


def hour_calendar(morning: Morning) -> dict[str, Any]:
    """Hours that each row of the season can be cut on each day.

    Rows in the plan come first, in its order.
    """
    days = hours_by_day(morning.farm, morning.season, now=morning.now)
    planned = planned_days(morning)
    count = len(season_rows(morning.farm))
    order = [*planned, *(r for r in range(count) if r not in planned)]
    return {
        "days": list(days),
        "lines": [
            {
                "name": row_title(morning.farm, row),
                "cells": [hour_cell(h[row], d in planned.get(row, ())) for d, h in days.items()],
            }
            for row in order
        ],
    }


def planned_days(morning: Morning) -> dict[int, set[date]]:
    """Days on which each row of the season is to be cut, rows by crew and place."""
    out: dict[int, set[date]] = {}
    for crew in morning.crews:
        for o in crew.orders:
            span = (o.finish.mid.date() - o.start.mid.date()).days
            days = {o.start.mid.date() + timedelta(days=d) for d in range(span + 1)}
            out.setdefault(row_of(morning.farm, o.field, o.parcel), set()).update(days)
    return out


def hour_cell(hours: DayHours, planned: bool) -> dict[str, Any]:
    """One day of one row of the hour calendar."""
    if hours.cut is None:
        return {"shade": "unknown", "hours": "?", "chance": "", "planned": planned}
    return {
        "shade": f"h{shade_of(hours.cut)}",
        "hours": f"{hours.cut:.0f}",
        "chance": unbroken(percent(hours.chance)),
        "planned": planned,
    }
