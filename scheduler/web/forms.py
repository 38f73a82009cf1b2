"""What people write on the page: entries, corrections, replans."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from flask import Flask, abort, flash, jsonify, redirect, render_template, request, session, url_for
from werkzeug.wrappers import Response as AnyResponse

from scheduler.errors import ConflictError, EntryError
from scheduler.farm.model import Farm
from scheduler.season_book.book import Book
from scheduler.season_book.formatting import default_unit, write_value
from scheduler.season_book.kinds import KINDS, Entry, Kind, crop_of, subject_ids
from scheduler.season_book.parsing import read_entry
from scheduler.web.context import AppContext

MAX_ENTRY_ID = 10**12  # of an entry, as a request may name it


def _kind(name: str) -> Kind:
    kind = KINDS.get(name)
    if kind is None or not kind.by_hand or name == "order":
        abort(404)
    return kind


def form_number(text: str) -> int:
    """A revision or entry id from a form; 0 where it is none."""
    return int(text) if text.isascii() and text.isdigit() and len(text) <= 12 else 0


def form_token() -> str:
    """The form's token, which makes sending it twice harmless."""
    text = request.form.get("token", "")
    return text if len(text) == 32 and text.isalnum() and text.isascii() else uuid.uuid4().hex


def _subjects(farm: Farm, about: str) -> list[tuple[str, str]]:
    """Ids and how a choice calls them."""
    names = {f.id: f.name for f in farm.fields} if about == "field" else {}
    return [
        (i, f"{i} {names[i]}" if names.get(i) and names[i] != i else i)
        for i in subject_ids(farm, about)
    ]


def _form(
    context: AppContext,
    kind: Kind,
    values: Mapping[str, str],
    *,
    wrong: Mapping[str, str] | None = None,
    old: Entry | None = None,
    seen: int = 0,
    conflict: str = "",
    code: int = 200,
) -> tuple[str, int]:
    """The form of a kind, with what was typed and what is wrong with it."""
    farm = context.farm()
    page = render_template(
        "entry.html",
        kind=kind,
        subjects=_subjects(farm, kind.subject_type),
        choices={f.name: _subjects(farm, f.quantity) for f in kind.facts
                 if f.quantity in ("field", "crew")},
        unit={f.name: default_unit(f, farm) for f in kind.facts},
        values=values,
        wrong=wrong or {},
        old=old,
        seen=seen,
        conflict=conflict,
        token=uuid.uuid4().hex,
    )  # fmt: skip
    return page, code


def _read(context: AppContext, book: Book, kind: Kind, *, but: int | None = None) -> Entry:
    """The entry a form holds."""
    form, farm, now = request.form, context.farm(), context.clock()
    facts = {f.name: form.get(f.name, "")[:1000] for f in kind.facts}
    by = form.get("by", "")[:100]
    entry = read_entry(
        kind.name,
        form.get("subject", "")[:200],
        facts,
        farm,
        now=now,
        at=form.get("at", "")[:60],
        by=by,
        token=form_token(),
        left_ha=lambda field: book.left_ha(farm, field, now, excluding=but),
    )
    session["by"] = entry.by
    session.permanent = True
    return entry


def register(app: Flask, context: AppContext) -> None:
    """Add the pages that are written."""
    _entries(app, context)
    _replans(app, context)


def _entries(app: Flask, context: AppContext) -> None:
    @app.get("/enter")
    def enter() -> str:
        return render_template("enter.html", about=request.args.get("about", "")[:200])

    @app.route("/enter/<name>", methods=["GET", "POST"])
    def enter_kind(name: str) -> Any:
        kind = _kind(name)
        with context.book() as book:
            if request.method == "GET":
                start = {f.name: f.default for f in kind.facts}
                start["subject"] = request.args.get("about", "")[:200]
                return _form(context, kind, start, seen=book.revision)
            seen = form_number(request.form.get("seen", ""))
            try:
                entry = book.add(_read(context, book, kind), seen=seen)
            except EntryError as error:
                return _form(
                    context, kind, request.form, wrong=error.problems, seen=seen or book.revision,
                    code=422,
                )  # fmt: skip
            except ConflictError as error:
                return _form(
                    context, kind, request.form, conflict=str(error), seen=book.revision, code=409
                )
        return redirect(url_for("entry", number=entry.id, new=1), 303)

    @app.get("/entries")
    def entries() -> str:
        with context.book() as book:
            told = [e for e in book.entries(superseded=True) if KINDS[e.kind].by_hand]
        return render_template("entries.html", entries=told[::-1][:300])

    @app.get("/entries/<int:number>")
    def entry(number: int) -> str:
        with context.book() as book:
            one = _get(book, number)
            old = book.get(one.replaces) if one.replaces else None
        return render_template("saved.html", entry=one, old=old, new="new" in request.args)

    @app.post("/entries/<int:number>/undo")
    def undo(number: int) -> AnyResponse:
        with context.book() as book:
            old = _get(book, number)
            back = book.withdraw(old.id, by=session.get("by", ""))
        flash("Taken back." if back.withdrawn else "It holds again.")
        return redirect(url_for("entry", number=back.id), 303)

    @app.route("/entries/<int:number>/correct", methods=["GET", "POST"])
    def correct(number: int) -> Any:
        with context.book() as book:
            old = _get(book, number)
            kind = _kind(old.kind)
            if request.method == "GET":
                return _form(context, kind, _typed(context, old), old=old)
            try:
                fresh = _read(context, book, kind, but=old.id)
                entry = book.add(replace(fresh, replaces=old.id))
            except EntryError as error:
                return _form(context, kind, request.form, wrong=error.problems, old=old, code=422)
            except ConflictError as error:
                return _form(
                    context, kind, request.form, conflict=str(error), old=book.get(old.id), code=409
                )
        return redirect(url_for("entry", number=entry.id, new=1), 303)


def _get(book: Book, number: int) -> Entry:
    """An entry made by hand, or no such page."""
    if not 0 < number < MAX_ENTRY_ID:
        abort(404)
    found = [e for e in book.entries(superseded=True) if e.id == number and KINDS[e.kind].by_hand]
    return found[0] if found else abort(404)


def _typed(context: AppContext, entry: Entry) -> dict[str, str]:
    """An entry as its form was typed."""
    farm = context.farm()
    crop = crop_of(farm, entry.subject, entry.facts)
    facts = {f.name: f for f in KINDS[entry.kind].facts}
    texts = {n: write_value(facts[n], v, farm, crop) for n, v in entry.facts.items()}
    if "until" in texts:
        texts["until"] = texts["until"][:16]
    at = entry.at.astimezone(farm.tz).strftime("%Y-%m-%dT%H:%M")
    return {**dict.fromkeys(facts, ""), **texts, "subject": entry.subject, "at": at}


def _replans(app: Flask, context: AppContext) -> None:
    @app.route("/replan", methods=["GET", "POST"])
    def replan() -> Any:
        if request.method == "POST":
            context.planner.start(context.held() if context.held else None)
            return redirect(url_for("replan"), 303)
        return render_template("replan.html", state=context.planner.state)

    @app.get("/replan.json")
    def replan_json() -> Any:
        state = context.planner.state
        names = ("running", "proving", "share", "text", "error", "plan")
        return jsonify({name: getattr(state, name) for name in names})

    @app.post("/replan/cancel")
    def cancel() -> AnyResponse:
        context.planner.cancel()
        return redirect(url_for("replan"), 303)
