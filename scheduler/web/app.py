"""The page: today's orders, fields, season and safety, on phone and laptop."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

from flask import (
    Flask,
    Response,
    abort,
    flash,
    redirect,
    render_template,
    request,
    session,
    url_for,
)
from flask_wtf.csrf import CSRFError, CSRFProtect
from werkzeug.exceptions import HTTPException
from werkzeug.wrappers import Response as AnyResponse

from scheduler.errors import AfterrainError, BookError
from scheduler.orders.document import IssuedPlan
from scheduler.orders.model import CrewOrders, Order
from scheduler.orders.safety import STANDING, day_cautions
from scheduler.report.hour_shades import shades
from scheduler.report.phrases import loss_lines, weather_line
from scheduler.report.sheet import by_day
from scheduler.season_book.kinds import Entry
from scheduler.web import crew_order, forms, template_context
from scheduler.web.access import SHEET_POLICY, Access, crew_of, guard, machine_names, read_access
from scheduler.web.context import AppContext
from scheduler.web.season_view import last_review, season_view
from scheduler.web.worker import Planner

STALE_ORDERS = timedelta(
    hours=26
)  # orders older than this are said to be old; assumed, a day and a bit


def create_app(
    folder: Path,
    *,
    planner: Planner | None = None,
    locked: bool = False,
    access: Access | None = None,
    now: Callable[[], datetime] | None = None,
    names: frozenset[str] = frozenset(),
) -> Flask:
    """Build the page of a farm folder.

    Parameters
    ----------
    locked : ask for the passphrase (on the farm network).
    now : the clock, aware; the machine's where none is given.
    names : further names this machine is reached by.
    """
    access = access or read_access(folder)
    context = AppContext(folder, planner or Planner(folder), now)
    app = Flask("scheduler.web")
    guard(app, access, locked=locked, names=machine_names() | names)
    CSRFProtect(app)
    template_context.register(app, context, locked)
    _mistakes(app)
    _views(app, context, access)
    forms.register(app, context)
    crew_order.register(app, context)
    return app


def _mistakes(app: Flask) -> None:
    """One page for everything that goes wrong, with what to do."""

    def page(code: int, text: str) -> tuple[str, int]:
        return render_template("error.html", text=text, code=code), code

    @app.errorhandler(BookError)
    @app.errorhandler(AfterrainError)
    def told(error: AfterrainError) -> tuple[str, int]:
        return page(409 if isinstance(error, BookError) else 422, str(error))

    @app.errorhandler(CSRFError)
    def forged(error: CSRFError) -> tuple[str, int]:
        return page(400, "this form is too old or not ours: go back, load the page again")

    @app.errorhandler(HTTPException)
    def http(error: HTTPException) -> tuple[str, int]:
        known = {
            404: "there is no such page",
            405: "this page is not asked that way",
            413: "that is too much for a form",
        }
        code = error.code or 400
        return page(code, known.get(code, error.description or "that cannot be read"))


def _kept_page(path: Path) -> Response:
    """A page written before, with its own styles and pictures inside."""
    answer = Response(path.read_bytes(), mimetype="text/html")
    answer.headers["Content-Security-Policy"] = SHEET_POLICY
    return answer


def _views(app: Flask, context: AppContext, access: Access) -> None:
    """Pages that are read."""

    @app.get("/")
    def today() -> str:
        with context.book() as book:
            entry, plan = context.issued(book)
            news = book.entries_since(entry)
        return render_template("today.html", **_brief(context, plan, entry, news))

    @app.get("/fields")
    def fields() -> str:
        with context.book() as book:
            _, plan = context.issued(book)
            cut = book.progress(context.farm(), context.clock())
        return render_template("fields.html", plan=plan, cut=cut)

    @app.get("/field")
    def field() -> str:
        farm, name = context.farm(), request.args.get("id", "")
        one = next((f for f in farm.fields if f.id == name), None)
        if one is None:
            abort(404)
        with context.book() as book:
            _, plan = context.issued(book)
            cut = book.progress(farm, context.clock())[one.id]
            told = [
                e for e in book.entries(superseded=True) if one.id in (e.subject, e.text("field"))
            ]
        orders = (
            [(c.crew, o) for c in plan.crews for o in c.orders if o.field == one.id] if plan else []
        )
        return render_template(
            "field.html", field=one, plan=plan, cut=cut, entries=told[::-1], orders=orders
        )

    @app.get("/season")
    def season() -> str:
        with context.book() as book:
            _, plan = context.issued(book)
            view = season_view(context.farm(), book, context.clock())
        reviewed = last_review(context.folder) is not None
        return render_template("season.html", plan=plan, reviewed=reviewed, **view)

    @app.get("/safety")
    def safety() -> str:
        with context.book() as book:
            _, plan = context.issued(book)
        lines = day_cautions(plan.cautions) if plan else ()
        return render_template(
            "safety.html", day=lines, standing=STANDING, rules=context.farm().rules
        )

    @app.get("/links")
    def links() -> str:
        sign = access.links()
        made = [(c.id, url_for("crew", token=sign.dumps(c.id), _external=True))
                for c in context.farm().crews]  # fmt: skip
        return render_template("links.html", links=made)

    @app.get("/crew/<token>")
    def crew(token: str) -> str:
        name = crew_of(access, token)
        with context.book() as book:
            entry, plan = context.issued(book)
        mine = [c for c in plan.crews if c.crew == name] if plan else []
        if name is None or name not in {c.id for c in context.farm().crews}:
            abort(404, "this link has ended: ask for a new one")
        brief = _brief(context, plan and replace(plan, crews=tuple(mine)), entry, [])
        return render_template("crew.html", name=name, **brief)

    @app.get("/sheet")
    def sheet() -> AnyResponse:
        with context.book() as book:
            _, plan = context.issued(book)
        if plan is None:
            abort(404, "there are no orders yet: replan first")
        home = context.folder / "plans" / plan.now.strftime("%Y-%m-%d")
        if not (home / "sheet.html").is_file() or _made(home) != plan.now:
            abort(404, "the sheet is drawn when the orders are proven: try again in a minute")
        return _kept_page(home / "sheet.html")

    @app.get("/review")
    def review() -> AnyResponse:
        if (last := last_review(context.folder)) is None:
            abort(404, "there is no review yet: run `afterrain review` on the farm's computer")
        return _kept_page(last)

    @app.get("/shades.css")
    def shades_css() -> Response:
        rules = (
            f".h{i} {{ background: {s['paper']}; color: {s['ink']}; }}"
            for i, s in enumerate(shades())
        )
        return Response("\n".join(rules), mimetype="text/css")

    @app.route("/login", methods=["GET", "POST"])
    def login() -> Any:
        wrong = ""
        if request.method == "POST":
            wrong = app.extensions["enter"](request.form.get("passphrase", "")[:200])
            if not wrong:
                return redirect(url_for("today"), 303)
        return render_template("login.html", wrong=wrong), 403 if wrong else 200

    @app.post("/logout")
    def logout() -> AnyResponse:
        session.clear()
        flash("You are logged out.")
        return redirect(url_for("login"), 303)


def _made(home: Path) -> datetime | None:
    """When the plan in a folder was made."""
    try:
        return datetime.fromisoformat(json.loads((home / "plan.json").read_bytes())["made"])
    except (OSError, ValueError, KeyError):
        return None


def _brief(
    context: AppContext, plan: IssuedPlan | None, entry: Entry | None, news: list[Entry]
) -> dict[str, Any]:
    """The orders and how far they can be trusted."""
    if plan is None:
        return {"plan": None, "news": news, "state": context.planner.state}
    now = context.clock()
    age = None if plan.issued is None else (now - plan.issued).total_seconds() / 3600.0
    fresh: Any = replace(plan, age_h=age)
    return {
        "plan": plan,
        "entry": entry,
        "news": news,
        "state": context.planner.state,
        "old": now - plan.now > STALE_ORDERS,
        "weather": weather_line(fresh),
        "weather_old": age is not None and age > plan.farm.rules.forecast_age_max_h,
        "losses": loss_lines(fresh),
        "cautions": day_cautions(plan.cautions),
        "next_day": next_day,
    }


def next_day(crew: CrewOrders) -> tuple[date | None, list[tuple[int, Order]], Any]:
    """The crew's first day of work, its numbered orders, and the days after."""
    days = by_day(crew)
    return (*days[0], days[1:]) if days else (None, [], [])
