"""The page of a crew's own order: fields moved, priced and set."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass, replace

from flask import (
    Flask,
    Response,
    abort,
    jsonify,
    redirect,
    render_template,
    request,
    session,
    url_for,
)

from scheduler.errors import AfterrainError, ConflictError, EntryError, UnreadableError
from scheduler.farm.model import Farm
from scheduler.language.translation import _
from scheduler.orders.document import IssuedPlan
from scheduler.orders.model import Alternative
from scheduler.season_book.book import Book
from scheduler.season_book.entry_kinds import KINDS, crop_of, field_of_parcel, subject_ids
from scheduler.season_book.parsing import read_entry
from scheduler.season_book.value_parsing import identify, read_value
from scheduler.web.context import app_context
from scheduler.web.forms import Answer, form_number, subject_choices
from scheduler.web.morning.held_orders import why_not
from scheduler.web.offline import form_token

MAX_TYPED_CHARS, MAX_WHY_CHARS = 5000, 1000  # of a request; longer texts are cut


@dataclass(frozen=True, kw_only=True)
class Price:
    """Price of an order: lines about it and its cost against the plan, or an error."""

    error: str = ""
    lines: tuple[str, ...] = ()
    cost: float | None = None


def register(app: Flask) -> None:
    """Add the page to the app."""
    app.get("/order")(order)
    app.post("/order")(change_order)
    app.post("/order/price")(price)


def order() -> str | Answer:
    """Show a crew's order as it is set by hand, then as planned."""
    context = app_context()
    farm = context.farm()
    crew = _crew(farm)
    with context.book() as book:
        plan = context.issued(book)[1]
        if plan is None:
            return render_template("order.html", crew=crew, plan=None)
        own = list(book.manual_orders(farm, context.clock()).get(crew, ()))
        seen = book.revision
    planned = planned_names(plan, crew)
    fields = own + [n for n in planned if n not in own and field_of_parcel(n) not in own]
    return _page(crew, plan, fields, seen=seen)


def change_order() -> str | Answer:
    """Move a field, price the order, or save it."""
    context = app_context()
    farm = context.farm()
    crew = _crew(farm)
    why = request.form.get("why", "")[:MAX_WHY_CHARS]
    with context.book() as book:
        plan = context.issued(book)[1]
        if plan is None:
            return render_template("order.html", crew=crew, plan=None)
        seen = form_number(request.form.get("seen", "")) or book.revision
        try:
            fields = _typed_fields(farm)
        except UnreadableError as error:
            return _page(
                crew,
                plan,
                planned_names(plan, crew),
                code=422,
                wrong=str(error),
                text=_typed_text(),
                why=why,
                seen=seen,
            )
        if request.form.get("do") == "save":
            return _save(book, crew, plan, fields, why=why, seen=seen)
    fields = moved(fields, request.form.get("move", ""))
    return _page(crew, plan, fields, price=_price(plan, crew, fields), why=why, seen=seen)


def price() -> Response | tuple[Response, int]:
    """Price the typed order, for the script of the page."""
    context = app_context()
    farm = context.farm()
    crew = _crew(farm)
    plan = context.issued_plan()
    if plan is None:
        return jsonify(error=_("there are no orders yet: replan first")), 409
    try:
        fields = _typed_fields(farm)
    except UnreadableError as error:
        return jsonify(error=str(error)), 422
    priced = _price(plan, crew, fields)
    answer = jsonify(error=priced.error, lines=priced.lines, cost=priced.cost)
    return answer, 409 if priced.error else 200


def planned_names(plan: IssuedPlan, crew: str) -> list[str]:
    """Names of a crew's planned orders: fields, or parcels of fields as 'id/parcel'."""
    orders = next((c.orders for c in plan.crews if c.crew == crew), ())
    return [f"{o.field}/{o.parcel}" if o.parcel else o.field for o in orders]


def all_orders(plan: IssuedPlan, crew: str, names: Sequence[str]) -> dict[str, list[str]]:
    """Orders of every crew when one crew gets `names` and the others lose them."""

    def left(other: str) -> list[str]:
        planned = planned_names(plan, other)
        return [n for n in planned if n not in names and field_of_parcel(n) not in names]

    return {**{c.crew: left(c.crew) for c in plan.crews}, crew: list(names)}


def moved(names: Sequence[str], move: str) -> list[str]:
    """Return the names after a button 'up:F07', 'down:F07' or 'drop:F07'."""
    direction, _colon, name = move.partition(":")
    out = list(names)
    if name not in out or direction not in ("up", "down", "drop"):
        return out
    place = out.index(name)
    del out[place]
    if direction == "up":
        out.insert(max(0, place - 1), name)
    elif direction == "down":
        out.insert(place + 1, name)
    return out


def _crew(farm: Farm) -> str:
    """Crew of the request, by default the first; no such page where the farm has no such crew."""
    name = request.values.get("crew", "")
    ids = subject_ids(farm, "crew")
    if not name and ids:
        return ids[0]
    try:
        return identify(farm, "crew", name)
    except UnreadableError:
        abort(404)


def _typed_text() -> str:
    return request.form.get("fields", "")[:MAX_TYPED_CHARS]


def _typed_fields(farm: Farm) -> list[str]:
    """Read the typed names; UnreadableError says what is wrong."""
    fact, crop, now = KINDS["order"].facts[0], crop_of(farm, "", {}), app_context().clock()
    value = read_value(fact, _typed_text(), farm, crop=crop, now=now)
    assert isinstance(value, tuple)
    return list(value)


def _price(plan: IssuedPlan, crew: str, fields: Sequence[str]) -> Price:
    """Ask the planner for the price of an order."""
    try:
        loss, lines = app_context().planner.price(
            all_orders(plan, crew, fields),
            now=app_context().clock(),
            plan_loss=plan.money.loss,
        )
    except AfterrainError as error:
        return Price(error=str(error))
    return Price(lines=lines, cost=loss - plan.money.loss)


def _save(
    book: Book, crew: str, plan: IssuedPlan, fields: list[str], *, why: str, seen: int
) -> Answer:
    """Write the order into the season book and replan; show the page again where it cannot hold.

    An order whose price is not known is written without it: the replan prices it.
    """
    context = app_context()
    if problem := _problem(book, plan, crew, fields):
        return _page(crew, plan, fields, code=422, wrong=problem, why=why, seen=seen)
    cost = _price(plan, crew, fields).cost
    try:
        fresh = read_entry(
            "order",
            crew,
            {"fields": "; ".join(fields), "why": why},
            context.farm(),
            now=context.clock(),
            by=request.form.get("by", "")[:100],
            token=form_token(),
        )
        if cost is not None:
            fresh = replace(fresh, facts={**fresh.facts, "cost": float(cost)})
        entry = book.add(fresh, seen=seen)
    except EntryError as error:
        return _page(crew, plan, fields, code=422, wrong=str(error), why=why, seen=seen)
    except ConflictError as error:
        seen = book.revision
        return _page(crew, plan, fields, code=409, conflict=str(error), why=why, seen=seen)
    session["by"] = entry.by
    context.planner.start(context.clock())
    return redirect(url_for("entry", number=entry.id, new=1), 303)


def _problem(book: Book, plan: IssuedPlan, crew: str, fields: Sequence[str]) -> str:
    """Why a crew cannot follow an order; "" where it can."""
    cut = book.progress(app_context().farm(), app_context().clock())
    if done := [name for name in fields if cut[field_of_parcel(name)] >= 1.0]:
        return _("{fields}: cut already", fields=", ".join(done))
    return why_not(plan, crew, fields)


def _page(
    crew: str,
    plan: IssuedPlan,
    fields: Sequence[str],
    *,
    seen: int,
    code: int = 200,
    price: Price | None = None,
    wrong: str = "",
    conflict: str = "",
    text: str | None = None,
    why: str = "",
) -> tuple[str, int]:
    """Render the page.

    Parameters
    ----------
    fields : names of the order shown.
    seen : revision of the book that the writer has seen.
    wrong : what is wrong with the order.
    conflict : what another person wrote in the meantime.
    text : the names as typed.
    """
    ordered = [n for c in plan.crews for n in planned_names(plan, c.crew)]
    ordered += [f.field for f in plan.left_out]
    others = [
        n for n in dict.fromkeys(ordered) if n not in fields and field_of_parcel(n) not in fields
    ]
    page = render_template(
        "order.html",
        crew=crew,
        plan=plan,
        fields=fields,
        names=_titles(plan, app_context().farm()),
        others=others,
        token=uuid.uuid4().hex,
        seen=seen,
        price=price,
        wrong=wrong,
        conflict=conflict,
        text=", ".join(fields) if text is None else text,
        why=why,
        steps=_steps(plan, crew, fields),
    )
    return page, code


def _steps(plan: IssuedPlan, crew: str, fields: Sequence[str]) -> dict[str, Alternative]:
    """What one place earlier or later costs, by name, while the order is the plan's."""
    if list(fields) != planned_names(plan, crew):
        return {}
    orders = next((c.orders for c in plan.crews if c.crew == crew), ())
    return {
        name: order.alternative
        for name, order in zip(fields, orders, strict=True)
        if order.alternative is not None
    }


def _titles(plan: IssuedPlan, farm: Farm) -> dict[str, str]:
    """Titles of fields and planned parcels by name."""
    titles = dict(subject_choices(farm, "field"))
    for crew in plan.crews:
        for name in planned_names(plan, crew.crew):
            field, slash, parcel = name.partition("/")
            if slash:
                titles[name] = f"{titles.get(field, field)}, {_(parcel)}"
    return titles
