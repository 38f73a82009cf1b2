"""A crew's order as people put it: moved, priced and set on the page."""

from __future__ import annotations

import uuid
from dataclasses import replace
from typing import Any

from flask import Flask, abort, jsonify, redirect, render_template, request, session, url_for

from scheduler.errors import AfterrainError, ConflictError, EntryError, UnreadableError
from scheduler.farm.model import Farm
from scheduler.orders.document import IssuedPlan
from scheduler.season_book.book import Book
from scheduler.season_book.kinds import KINDS, crop_of, field_of_parcel, subject_ids
from scheduler.season_book.parsing import identify, read_entry, read_value
from scheduler.web.context import AppContext
from scheduler.web.forms import form_number, form_token


def planned(plan: IssuedPlan, crew: str) -> list[str]:
    """A crew's orders as names: fields, or parcels of fields as 'id/parcel'."""
    orders = next((c.orders for c in plan.crews if c.crew == crew), ())
    return [f"{o.field}/{o.parcel}" if o.parcel else o.field for o in orders]


def all_orders(plan: IssuedPlan, crew: str, names: list[str]) -> dict[str, list[str]]:
    """Orders of every crew when one gets `names`: the others lose what it takes."""

    def left(other: str) -> list[str]:
        return [
            n for n in planned(plan, other) if n not in names and field_of_parcel(n) not in names
        ]

    return {**{c.crew: left(c.crew) for c in plan.crews}, crew: names}


def titles(plan: IssuedPlan, farm: Farm) -> dict[str, str]:
    """How each name of an order is shown."""
    names = {f.id: f"{f.id} {f.name}" if f.name != f.id else f.id for f in farm.fields}
    parts = {n: names.get(field_of_parcel(n), field_of_parcel(n)) + f", {n.partition('/')[2]}"
             for c in plan.crews for n in planned(plan, c.crew) if "/" in n}  # fmt: skip
    return names | parts


def _moved(fields: list[str], move: str) -> list[str]:
    """The order after a button 'up:2', 'down:2' or 'drop:2'."""
    way, _, text = move.partition(":")
    at = int(text) if text.isascii() and text.isdigit() and len(text) < 4 else -1
    if not 0 <= at < len(fields):
        return fields
    out = fields.copy()
    one = out.pop(at)
    if way == "drop":
        return out
    out.insert(max(0, at - 1) if way == "up" else at + 1 if way == "down" else at, one)
    return out


def register(app: Flask, context: AppContext) -> None:
    """Add the page of a crew's own order."""

    def crew_asked(farm: Farm) -> str:
        name = request.values.get("crew", "")
        ids = subject_ids(farm, "crew")
        if not name and ids:
            return ids[0]
        try:
            return identify(farm, "crew", name)
        except UnreadableError:
            abort(404)

    def listed(farm: Farm) -> list[str]:
        """Fields as typed; Unreadable names what is wrong."""
        text = request.form.get("fields", "")[:5000]
        fact = KINDS["order"].facts[0]
        value = read_value(fact, text, farm, crop=crop_of(farm, "", {}), now=context.clock())
        assert isinstance(value, tuple)
        return list(value)

    def priced(plan: IssuedPlan, crew: str, fields: list[str]) -> dict[str, Any]:
        """The price of an order in words, or why there is none."""
        try:
            loss, lines = context.planner.price(all_orders(plan, crew, fields), best=plan.loss)
        except AfterrainError as error:
            return {"error": str(error), "lines": [], "cost": None}
        return {"error": "", "lines": lines, "cost": loss - plan.loss}

    def page(
        crew: str, plan: IssuedPlan, fields: list[str], code: int = 200, **more: Any
    ) -> tuple[str, int]:
        names = titles(plan, context.farm())
        ordered = [n for c in plan.crews for n in planned(plan, c.crew)]
        ordered += [f.field for f in plan.left_out]
        others = [
            n
            for n in dict.fromkeys(ordered)
            if n not in fields and field_of_parcel(n) not in fields
        ]
        shown = {"price": None, "wrong": "", "conflict": "", "text": ", ".join(fields), "why": ""}
        return render_template(
            "order.html", crew=crew, plan=plan, fields=fields, names=names,
            others=others, token=uuid.uuid4().hex,
            **{**shown, **more},
        ), code  # fmt: skip

    @app.route("/order", methods=["GET", "POST"])
    def order() -> Any:
        farm = context.farm()
        crew = crew_asked(farm)
        with context.book() as book:
            _, plan = context.issued(book)
            if plan is None:
                return render_template("order.html", crew=crew, plan=None)
            if request.method == "GET":
                own = list(book.manual_orders(farm, context.clock()).get(crew, ()))
                rest = [
                    n for n in planned(plan, crew) if n not in own and field_of_parcel(n) not in own
                ]
                return page(crew, plan, own + rest, seen=book.revision)
            seen = form_number(request.form.get("seen", "")) or book.revision
            why, text = request.form.get("why", "")[:1000], request.form.get("fields", "")[:5000]
            try:
                fields = listed(farm)
            except UnreadableError as error:
                return page(crew, plan, planned(plan, crew), 422, wrong=str(error), text=text,
                            why=why, seen=seen)  # fmt: skip
            if request.form.get("do") != "save":
                fields = _moved(fields, request.form.get("move", ""))
                return page(
                    crew, plan, fields, price=priced(plan, crew, fields), why=why, seen=seen
                )
            return save(book, crew, plan, fields, why, seen)

    def save(
        book: Book, crew: str, plan: IssuedPlan, fields: list[str], why: str, seen: int
    ) -> Any:
        farm = context.farm()
        cost = priced(plan, crew, fields)["cost"]
        facts = {"fields": "; ".join(fields), "why": why}
        try:
            fresh = read_entry("order", crew, facts, farm, now=context.clock(),
                               by=request.form.get("by", "")[:100], token=form_token())  # fmt: skip
            if cost is not None:
                fresh = replace(fresh, facts={**fresh.facts, "cost": float(cost)})
            entry = book.add(fresh, seen=seen)
        except EntryError as error:
            return page(crew, plan, fields, 422, wrong=str(error), why=why, seen=seen)
        except ConflictError as error:
            return page(crew, plan, fields, 409, conflict=str(error), why=why, seen=book.revision)
        session["by"] = entry.by
        return redirect(url_for("entry", number=entry.id, new=1), 303)

    @app.post("/order/price")
    def price() -> Any:
        farm = context.farm()
        crew = crew_asked(farm)
        with context.book() as book:
            _, plan = context.issued(book)
        if plan is None:
            return jsonify(error="there are no orders yet: replan first"), 409
        try:
            fields = listed(farm)
        except UnreadableError as error:
            return jsonify(error=str(error)), 422
        answer = priced(plan, crew, fields)
        return jsonify(**answer), 409 if answer["error"] else 200
