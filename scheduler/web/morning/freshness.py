"""How old orders and forecast are, and what differs from the orders that a phone has seen."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from flask import Flask, Response, jsonify, redirect, request, session, url_for
from werkzeug.wrappers import Response as AnyResponse

from scheduler.farm.wording import clock, day_name, one_line, sentence, time_of_day
from scheduler.language.translation import _, ngettext
from scheduler.orders.changes import changes_since, machine_moves
from scheduler.orders.document import IssuedPlan
from scheduler.orders.model import CrewOrders
from scheduler.report.order_phrases import (
    DAYS_FROM_H,
    change_text,
    idle_crew_text,
    idle_crews,
    makeup_lines,
)
from scheduler.report.phrases import field_title
from scheduler.season_book.book import Book
from scheduler.season_book.entry_kinds import Entry
from scheduler.season_book.formatting import entry_text
from scheduler.web.context import AppContext, app_context
from scheduler.web.forms import form_number

#: Age from which orders of the same day are called old; assumed, because dew, wind and crews
#: have moved by then.
OLD_ORDERS = timedelta(hours=14)


@dataclass(frozen=True, kw_only=True)
class Freshness:
    """Words on the age of the orders; `stale` where nobody should leave by them unasked."""

    orders: str
    forecast: str
    stale: bool


@dataclass(frozen=True, kw_only=True)
class PlanNews:
    """What differs from the orders that a phone has seen: a heading, and lines, orders first."""

    head: str
    lines: tuple[str, ...]


def register(app: Flask) -> None:
    """Add the news of the plan to the app."""
    app.get("/news.json")(news_json)
    app.post("/seen")(seen)


def news_json() -> Response:
    """The plan that holds now, the last entry since, and whether better orders are searched."""
    context = app_context()
    with context.book() as book:
        entry = book.last_issue()
        since = book.entries_since(entry)
    state = context.planner.state
    return jsonify(
        plan=entry.id if entry else 0,
        since=since[-1].id if since else 0,
        busy=state.running or state.refining,
    )


def seen() -> AnyResponse:
    """Remember on this phone that its person has seen the orders."""
    session["plan"] = form_number(request.form.get("plan", ""))
    return redirect(url_for("today"), 303)


def freshness(plan: IssuedPlan, now: datetime) -> Freshness:
    """How old the orders and their forecast are at `now`."""
    here, made = now.astimezone(plan.farm.tz), plan.now
    at = time_of_day(made, plan.farm.units)
    days = (here.date() - made.date()).days
    if days == 0:
        orders = _("Orders of {time}", time=at)
    elif days == 1:
        orders = _("Orders of yesterday {time}", time=at)
    else:
        orders = _("Orders of {day} {time}", day=day_name(made), time=at)
    forecast, too_old = _("Forecast of unknown age"), False
    if plan.issued is not None:
        hours = round((now - plan.issued) / timedelta(hours=1))
        if hours < DAYS_FROM_H:
            forecast = ngettext("Forecast {n} hour old", "Forecast {n} hours old", max(0, hours))
        else:
            forecast = ngettext("Forecast {n} day old", "Forecast {n} days old", round(hours / 24))
        too_old = hours > plan.farm.rules.forecast_age_max_h
    return Freshness(
        orders=orders,
        forecast=forecast,
        stale=days != 0 or now - made > OLD_ORDERS or too_old,
    )


def news_for_phone(
    context: AppContext, book: Book, entry: Entry, *, plan: IssuedPlan
) -> PlanNews | None:
    """What differs from the orders that this phone has seen; None where these are the ones.

    Parameters
    ----------
    entry : entry of the `plan` that holds now.
    """
    number, news = session.get("plan"), None
    if (
        isinstance(number, int)
        and number != entry.id
        and (before := context.plan_of(book, number)) is not None
    ):
        news = _news(book, before, plan, old=book.get(number), new=entry)
    if news is None:
        session["plan"] = entry.id
    return news


def _news(
    book: Book, before: IssuedPlan, after: IssuedPlan, *, old: Entry, new: Entry
) -> PlanNews | None:
    """What differs between two plans; None where a longer search keeps the orders."""
    lines = plan_differences(before, after)
    made = clock(before.now, after.now, after.farm.units)
    if (old.at, old.number("seen")) == (new.at, new.number("seen")):
        if not lines:
            return None
        head = _(
            "A longer search found better orders. They replace the quick ones of {time}.", time=made
        )
    elif lines:
        head = _("New since the orders of {time} that you saw", time=made)
    else:
        head = _("The orders are the same as those of {time}.", time=made)
    entered = tuple(
        sentence(_("taken back: {entry}", entry=text) if e.withdrawn else text)
        for e in book.entries_since(old)
        if e.id <= new.id
        for text in (entry_text(e, after.farm),)
    )
    return PlanNews(head=head, lines=(*lines, *entered))


def plan_differences(before: IssuedPlan, after: IssuedPlan) -> tuple[str, ...]:
    """Machines that change crews, other first fields, then every other change of an order."""
    moves = machine_moves(after.farm, before.crews, after.crews)
    moved = makeup_lines(replace(after, machine_moves=moves)) if moves else []
    parked = {c for c in idle_crews(after) if c not in idle_crews(before)}
    stopped = [f"{one_line(c)}: {idle_crew_text(c, after)}" for c in sorted(parked) if not moves]
    firsts, told = [], set()
    was = {c.crew: c for c in before.crews}
    for crew in after.crews:
        new, old = _first(crew), _first(was[crew.crew]) if crew.crew in was else ""
        if new != old:
            told.add(crew.crew)
            firsts.append(
                _(
                    "{crew}: first {field}, was {other}",
                    crew=sentence(one_line(crew.crew)),
                    field=new or _("nothing"),
                    other=old or _("nothing"),
                )
            )
    others = [
        change_text(change, after.farm)
        for change in changes_since(before.crews, after.crews, now=after.now)
        if not (change.place == 1 and change.crew in told)
    ]
    return tuple(map(one_line, (*moved, *stopped, *firsts, *others)))


def _first(crew: CrewOrders) -> str:
    """Title of a crew's first field, today where it cuts today; "" where it has none."""
    return field_title(crew.stints[0] if crew.stints else crew.orders[0]) if crew.orders else ""
