"""The page: today's orders, fields, season and safety, on phone and laptop. See `page_forms`."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
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
from jinja2 import StrictUndefined
from werkzeug.exceptions import HTTPException
from werkzeug.wrappers import Response as AnyResponse

from scheduler import page_forms
from scheduler.access import SHEET_POLICY, Access, crew_of, guard, own_names, read_access
from scheduler.book import Book
from scheduler.cautions import DEFERENCE, STANDING, day_cautions
from scheduler.entries import KINDS, Entry
from scheduler.entry_words import at_words, says
from scheduler.errors import AfterrainError, BookError, FarmError
from scheduler.farm import Farm
from scheduler.hours import LEAST_H
from scheduler.issued import Issued, read_issued
from scheduler.orders import CrewOrders, Order
from scheduler.reading import read_farm
from scheduler.replan import Planner
from scheduler.season_view import last_review, season_view
from scheduler.sheet import SHADES_H, by_day, kept, shades, topic
from scheduler.units import (
    show_area,
    show_distance,
    show_money,
    show_rate,
    show_temp,
    show_wind,
)
from scheduler.words import (
    EDGE_ONLY,
    clock,
    crop_name,
    day_name,
    field_title,
    grain_text,
    loads_text,
    loss_lines,
    machines,
    moisture_range,
    percent,
    plain,
    quality_text,
    time_range,
    total_area,
    weather_line,
    weighed,
)

FILES = ("farm.toml", "fields.csv", "fields.geojson", "rain.csv")
STALE = timedelta(hours=26)  # orders older than this are said to be old; assumed, a day and a bit


class House:
    """What every view needs: the folder, its farm and book, the planner, the clock."""

    def __init__(self, folder: Path, planner: Planner, held: Callable[[], datetime] | None) -> None:
        self.folder, self.planner, self.held = folder, planner, held
        self._lock = threading.Lock()
        self._farm: tuple[tuple[float, ...], Farm] | None = None
        self._issued: tuple[int, Farm, Issued] | None = None

    def clock(self) -> datetime:
        """Now: the machine's time, or that of a clock that was set."""
        return self.held() if self.held else datetime.now(UTC)

    def farm(self) -> Farm:
        """The farm, read again when one of its files changed."""
        paths = [self.folder / name for name in FILES]
        stamp = tuple(p.stat().st_mtime if p.exists() else 0.0 for p in paths)
        with self._lock:
            if self._farm is None or self._farm[0] != stamp:
                self._farm = stamp, read_farm(self.folder)
            return self._farm[1]

    @contextmanager
    def book(self) -> Iterator[Book]:
        """The season book, open for one request."""
        with Book(self.folder) as book:
            yield book

    def issued(self, book: Book) -> tuple[Entry | None, Issued | None]:
        """The orders issued last and their entry."""
        entry, farm = book.last_issue(), self.farm()
        if entry is None:
            return None, None
        with self._lock:
            known = self._issued
        if known is None or known[0] != entry.id or known[1] is not farm:
            plan = book.plan(entry.id)
            assert plan is not None  # written in the same transaction
            known = entry.id, farm, read_issued(plan, farm)
            with self._lock:
                self._issued = known
        return entry, known[2]


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
    house = House(folder, planner or Planner(folder), now)
    app = Flask("scheduler")
    guard(app, access, locked=locked, names=own_names() | names)
    CSRFProtect(app)
    app.jinja_env.undefined = StrictUndefined
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    _words(app, house, locked)
    _mistakes(app)
    _views(app, house, access)
    page_forms.register(app, house)
    return app


def _words(app: Flask, house: House, locked: bool) -> None:
    """What templates say things with."""
    app.jinja_env.filters |= {
        "plain": plain, "day": day_name, "machines": machines, "title": field_title,
        "crop": crop_name, "percent": percent, "topic": topic,
    }  # fmt: skip
    app.jinja_env.globals |= {
        "clock": clock, "time_range": time_range, "moisture_range": moisture_range,
        "loads_text": loads_text, "grain_text": grain_text, "quality_text": quality_text,
        "weighed": weighed, "total_area": total_area, "by_day": by_day, "edge_only": EDGE_ONLY,
        "least_h": LEAST_H, "kinds": KINDS, "locked": locked, "deference": DEFERENCE,
        "shade_of": shade_of, "shades": shades(),
    }  # fmt: skip

    @app.context_processor
    def common() -> dict[str, Any]:
        try:
            farm = house.farm()
        except FarmError:
            return {"farm": None, "today": None, "who": ""}
        units, money = farm.units, farm.currency
        return {
            "farm": farm,
            "today": house.clock().astimezone(farm.tz),
            "who": session.get("by", ""),
            "area": lambda ha: kept(show_area(ha, units)),
            "distance": lambda km: kept(show_distance(km, units)),
            "rate": lambda ha_h: kept(show_rate(ha_h, units)),
            "wind": lambda ms: kept(show_wind(ms, units)),
            "temp": lambda c: kept(show_temp(c, units)),
            "money": lambda value: kept(show_money(value, money)),
            "says": lambda e: says(e, farm),
            "when": lambda e: at_words(e, farm, house.clock()),
        }


def shade_of(hours: float | None) -> int:
    """The shade of a number of hours, 0 for none."""
    return 0 if hours is None else sum(hours >= edge for edge in SHADES_H)


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


def _views(app: Flask, house: House, access: Access) -> None:
    """Pages that are read."""

    @app.get("/")
    def today() -> str:
        with house.book() as book:
            entry, plan = house.issued(book)
            news = book.since(entry)
        return render_template("today.html", **_brief(house, plan, entry, news))

    @app.get("/fields")
    def fields() -> str:
        with house.book() as book:
            _, plan = house.issued(book)
            cut = book.progress(house.farm(), house.clock())
        return render_template("fields.html", plan=plan, cut=cut)

    @app.get("/field")
    def field() -> str:
        farm, name = house.farm(), request.args.get("id", "")
        one = next((f for f in farm.fields if f.id == name), None)
        if one is None:
            abort(404)
        with house.book() as book:
            _, plan = house.issued(book)
            cut = book.progress(farm, house.clock())[one.id]
            told = [e for e in book.entries(gone=True) if one.id in (e.subject, e.text("field"))]
        orders = (
            [(c.crew, o) for c in plan.crews for o in c.orders if o.field == one.id] if plan else []
        )
        return render_template(
            "field.html", field=one, plan=plan, cut=cut, entries=told[::-1], orders=orders
        )

    @app.get("/season")
    def season() -> str:
        with house.book() as book:
            _, plan = house.issued(book)
            view = season_view(house.farm(), book, house.clock())
        reviewed = last_review(house.folder) is not None
        return render_template("season.html", plan=plan, reviewed=reviewed, **view)

    @app.get("/safety")
    def safety() -> str:
        with house.book() as book:
            _, plan = house.issued(book)
        lines = day_cautions(plan.cautions) if plan else ()
        return render_template(
            "safety.html", day=lines, standing=STANDING, rules=house.farm().rules
        )

    @app.get("/links")
    def links() -> str:
        sign = access.links()
        made = [(c.id, url_for("crew", token=sign.dumps(c.id), _external=True))
                for c in house.farm().crews]  # fmt: skip
        return render_template("links.html", links=made)

    @app.get("/crew/<token>")
    def crew(token: str) -> str:
        name = crew_of(access, token)
        with house.book() as book:
            entry, plan = house.issued(book)
        mine = [c for c in plan.crews if c.crew == name] if plan else []
        if name is None or name not in {c.id for c in house.farm().crews}:
            abort(404, "this link has ended: ask for a new one")
        brief = _brief(house, plan and replace(plan, crews=tuple(mine)), entry, [])
        return render_template("crew.html", name=name, **brief)

    @app.get("/sheet")
    def sheet() -> AnyResponse:
        with house.book() as book:
            _, plan = house.issued(book)
        if plan is None:
            abort(404, "there are no orders yet: replan first")
        home = house.folder / "plans" / plan.now.strftime("%Y-%m-%d")
        if not (home / "sheet.html").is_file() or _made(home) != plan.now:
            abort(404, "the sheet is drawn when the orders are proven: try again in a minute")
        return _kept_page(home / "sheet.html")

    @app.get("/review")
    def review() -> AnyResponse:
        if (last := last_review(house.folder)) is None:
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
    house: House, plan: Issued | None, entry: Entry | None, news: list[Entry]
) -> dict[str, Any]:
    """The orders and how far they can be trusted."""
    if plan is None:
        return {"plan": None, "news": news, "state": house.planner.state}
    now = house.clock()
    age = None if plan.issued is None else (now - plan.issued).total_seconds() / 3600.0
    fresh: Any = replace(plan, age_h=age)
    return {
        "plan": plan,
        "entry": entry,
        "news": news,
        "state": house.planner.state,
        "old": now - plan.now > STALE,
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
