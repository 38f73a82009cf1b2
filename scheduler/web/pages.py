"""Pages that are read: orders, fields, season, safety, sheet and review."""

from __future__ import annotations

import json
import math
import uuid
from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import Any

from flask import Flask, Response, abort, render_template, request

from scheduler.language.translation import _
from scheduler.orders.document import HoursRow, IssuedPlan
from scheduler.orders.model import CrewOrders, Order
from scheduler.report.caution_phrases import issued_day_cautions, standing_cautions
from scheduler.report.figures.hour_shades import shades
from scheduler.report.order_phrases import (
    chance_text,
    finish_clock,
    kept_note,
    left_unfinished,
    machine_change_text,
    makeup_lines,
    other_forecast,
    own_order_kept,
    points_text,
    start_text,
    way_lines,
)
from scheduler.report.phrases import money_lines, times_note
from scheduler.report.today import by_day, crew_days
from scheduler.report.weather_phrases import beyond_forecast, weather_doubts, weather_line
from scheduler.season_book.book import Book
from scheduler.season_book.entry_kinds import Entry
from scheduler.web.access.guard import SHEET_POLICY
from scheduler.web.context import AppContext, app_context
from scheduler.web.morning.acts import fields_begun, last_act
from scheduler.web.morning.freshness import freshness, news_for_phone
from scheduler.web.morning.held_orders import held_orders
from scheduler.web.morning.timeline import timeline
from scheduler.web.season_view import last_review, season_view

NumberedOrders = list[tuple[int, Order]]


def register(app: Flask) -> None:
    """Add the pages to the app."""
    app.get("/")(today)
    app.get("/fields")(fields)
    app.get("/field")(field)
    app.get("/season")(season)
    app.get("/safety")(safety)
    app.get("/sheet")(sheet)
    app.get("/review")(review)
    app.get("/shades.css")(shades_css)


def today() -> str:
    """Show the orders of all crews: today in five lines each, then everything else."""
    context = app_context()
    with context.book() as book:
        entry, plan = context.issued(book)
        view = {"plan": plan, "entry": entry, "state": context.planner.state}
        if plan is not None and entry is not None:
            view |= _day_view(context, book, plan, entry) | _orders_view(plan, context.clock())
    return render_template("today.html", **view)


def _day_view(context: AppContext, book: Book, plan: IssuedPlan, entry: Entry) -> dict[str, Any]:
    """Values for the first screen: the day of each crew, its acts, and what is new."""
    now = context.clock()
    here = now.astimezone(plan.farm.tz)
    ahead = (here.date() - plan.now.date()).days
    days = crew_days(plan, ahead=ahead) if ahead in (0, 1) else ()
    return {
        "news": book.entries_since(entry),
        "fresh": freshness(plan, now),
        "days": days,
        "timeline": timeline(days, here, plan.farm.units),
        "tomorrow": crew_days(plan, ahead=1) if ahead == 0 else (),
        "by_crew": {c.crew: c for c in plan.crews},
        "messages": {c.crew: text for c, text in zip(plan.crews, plan.messages, strict=True)},
        "phone_news": news_for_phone(context, book, entry, plan=plan),
        "act": last_act(book, now),
        "begun": fields_begun(book, now),
        "held": held_orders(book, plan, now),
        "revision": book.revision,
        "caution_topics": lambda lines: [line.partition(":")[0] for line in lines],
        "token": lambda: uuid.uuid4().hex,
    }


def fields() -> str:
    """Show the workable hours of all fields."""
    context = app_context()
    with context.book() as book:
        plan = context.issued(book)[1]
        cut = book.progress(context.farm(), context.clock())
    rows = () if plan is None else _sorted_hours(plan, cut, context.clock())
    return render_template("fields.html", plan=plan, rows=rows, cut=cut)


def _sorted_hours(plan: IssuedPlan, cut: dict[str, float], now: datetime) -> list[HoursRow]:
    """Rows of workable hours: most hours today first, fields that are cut last."""
    today = now.astimezone(plan.farm.tz).date()
    first = next((n for n, day in enumerate(plan.dates) if day >= today), 0)

    def key(row: HoursRow) -> tuple[bool, list[float]]:
        hours = [-math.inf if day.cut is None else day.cut for day in row.days[first:]]
        return cut.get(row.field, 0.0) >= 1.0, [-h for h in hours]

    return sorted(plan.hours, key=key)


def field() -> str:
    """Show one field: its orders, hours and entries."""
    context, name = app_context(), request.args.get("id", "")
    farm = context.farm()
    found = next((f for f in farm.fields if f.id == name), None)
    if found is None:
        abort(404)
    with context.book() as book:
        plan = context.issued(book)[1]
        cut = book.progress(farm, context.clock())[name]
        entries = [e for e in book.entries(superseded=True) if name in (e.subject, e.text("field"))]
    crews = plan.crews if plan else ()
    orders = [(c.crew, o) for c in crews for o in c.orders if o.field == name]
    return render_template(
        "field.html",
        field=found,
        plan=plan,
        cut=cut,
        entries=entries[::-1],
        orders=orders,
        chance_text=chance_text,
    )


def season() -> str:
    """Show the season so far."""
    context = app_context()
    with context.book() as book:
        plan = context.issued(book)[1]
        view = season_view(context.farm(), book, context.clock())
    reviewed = last_review(context.folder) is not None
    return render_template("season.html", plan=plan, reviewed=reviewed, **view)


def safety() -> str:
    """Show the cautions of the day, the stop rules and the standing cautions."""
    context = app_context()
    plan = context.issued_plan()
    return render_template(
        "safety.html",
        day=issued_day_cautions(plan.cautions) if plan else (),
        standing=standing_cautions(),
        rules=context.farm().rules,
    )


def sheet() -> Response:
    """Show the sheet of the last issued plan."""
    context = app_context()
    plan = context.issued_plan()
    if plan is None:
        abort(404, _("there are no orders yet: replan first"))
    home = context.folder / "plans" / plan.now.strftime("%Y-%m-%d")
    if not (home / "sheet.html").is_file() or _planning_time(home) != plan.now:
        abort(404, _("the sheet is drawn when the longer search is done: try again in a minute"))
    return _self_contained(home / "sheet.html")


def review() -> Response:
    """Show the last review."""
    if (last := last_review(app_context().folder)) is None:
        abort(404, _("there is no review yet: run `afterrain review` on the farm's computer"))
    return _self_contained(last)


def shades_css() -> Response:
    """Style of the shades of hours."""
    rules = (
        f".h{i} {{ background: {s['paper']}; color: {s['ink']}; }}" for i, s in enumerate(shades())
    )
    return Response("\n".join(rules), mimetype="text/css")


def _self_contained(path: Path) -> Response:
    """Answer with a stored page that carries its own styles and pictures."""
    answer = Response(path.read_bytes(), mimetype="text/html")
    answer.headers["Content-Security-Policy"] = SHEET_POLICY
    return answer


def _planning_time(home: Path) -> datetime | None:
    """Planning time of the plan in a folder; None where it cannot be read."""
    try:
        return datetime.fromisoformat(json.loads((home / "plan.json").read_bytes())["made"])
    except (OSError, ValueError, KeyError):
        return None


def _orders_view(plan: IssuedPlan, now: datetime) -> dict[str, Any]:
    """Values for all orders of a plan, and how far they can be trusted."""
    age = None if plan.issued is None else (now - plan.issued).total_seconds() / 3600.0
    return {
        "weather": weather_line(replace(plan, age_h=age)),
        "weather_doubts": weather_doubts(replace(plan, age_h=None)),
        "money_lines": money_lines(plan),
        "kept": own_order_kept(plan),
        "kept_note": kept_note(plan),
        "makeup_lines": makeup_lines(plan),
        "times_note": times_note(plan.members),
        "texts": _order_texts(plan),
        "cautions": issued_day_cautions(plan.cautions),
        "next_day": next_day,
    }


def _order_texts(plan: IssuedPlan) -> dict[str, Callable[..., Any]]:
    """Functions by name that word an order of the plan, or a crew's orders."""
    return {
        "start": lambda order: start_text(order, plan),
        "points": lambda order: points_text(order, plan.farm),
        "finish": lambda order, day: finish_clock(order, plan, day),
        "other": other_forecast,
        "left": lambda order: left_unfinished(order, plan),
        "beyond": lambda order: beyond_forecast(order, plan),
        "way": way_lines,
        "machines": lambda crew: machine_change_text(crew, plan),
    }


def next_day(
    crew: CrewOrders,
) -> tuple[date | None, NumberedOrders, list[tuple[date, NumberedOrders]]]:
    """First day of a crew's work, its numbered orders, and the days after."""
    days = by_day(crew)
    return (*days[0], days[1:]) if days else (None, [], [])
