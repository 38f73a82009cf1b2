"""Forms of the season book: entries written, listed, corrected and taken back."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import replace

from flask import Flask, abort, flash, redirect, render_template, request, session, url_for
from werkzeug.wrappers import Response as AnyResponse

from scheduler.errors import ConflictError, EntryError
from scheduler.farm.model import Farm
from scheduler.language.translation import _
from scheduler.season_book.book import Book
from scheduler.season_book.entry_kinds import (
    KINDS,
    SUBJECT_LABELS,
    Entry,
    Kind,
    crop_of,
    ends_at_a_time,
    subject_ids,
)
from scheduler.season_book.formatting import default_unit, write_value
from scheduler.season_book.parsing import read_entry
from scheduler.web.access.guard import is_kept_entry
from scheduler.web.context import app_context
from scheduler.web.offline import form_token, has_form, time_of_entry

MAX_ENTRY_ID = 10**12  # that a request may name
ENTRIES_SHOWN = 300  # the latest

Answer = AnyResponse | tuple[str, int]


def register(app: Flask) -> None:
    """Add the forms to the app."""
    app.get("/enter")(enter)
    app.get("/enter/<name>")(enter_kind)
    app.post("/enter/<name>")(add_entry)
    app.get("/entries")(entries)
    app.get("/entries/<int:number>")(entry)
    app.post("/entries/<int:number>/undo")(undo)
    app.get("/entries/<int:number>/correct")(correct)
    app.post("/entries/<int:number>/correct")(add_correction)


def enter() -> str:
    """Offer the kinds of entries."""
    return render_template("enter.html", about=request.args.get("about", "")[:200])


def enter_kind(name: str) -> Answer:
    """Show the empty form of a kind; all rain gauges stand on one form."""
    kind = _kind(name)
    if kind.name == "rain":
        return redirect(url_for("rain"))
    with app_context().book() as book:
        revision = book.revision
    values = {f.name: f.default for f in kind.facts}
    values["subject"] = request.args.get("about", "")[:200]
    return _form(kind, values, seen=revision)


def add_entry(name: str) -> Answer:
    """Write the entry that a form holds; show the form again where something is wrong."""
    kind = _kind(name)
    if kind.name == "rain":  # that form asks what a second reading is
        abort(405)
    with app_context().book() as book:
        if (written := book.find(form_token())) is not None:
            return redirect(url_for("entry", number=written.id, new=1), 303)
        seen = form_number(request.form.get("seen", ""))
        try:
            added = book.add(_form_entry(book, kind), seen=seen)
        except EntryError as error:
            if is_kept_entry():
                raise
            seen = seen or book.revision
            return _form(kind, request.form, wrong=error.problems, seen=seen, code=422)
        except ConflictError as error:
            if is_kept_entry():
                raise
            return _form(kind, request.form, conflict=str(error), seen=book.revision, code=409)
    return redirect(url_for("entry", number=added.id, new=1), 303)


def entries() -> str:
    """List the latest entries."""
    with app_context().book() as book:
        by_hand = [e for e in book.entries(superseded=True) if KINDS[e.kind].by_hand]
    return render_template("entries.html", entries=by_hand[::-1][:ENTRIES_SHOWN])


def entry(number: int) -> str:
    """Show one entry."""
    with app_context().book() as book:
        found = _entry(book, number)
        old = book.get(found.replaces) if found.replaces else None
    return render_template(
        "saved.html", entry=found, old=old, new="new" in request.args, token=uuid.uuid4().hex
    )


def undo(number: int) -> AnyResponse:
    """Take an entry back, or let one taken back hold again."""
    with app_context().book() as book:
        old, token = _entry(book, number), form_token()
        back = book.find(token) or book.withdraw(old.id, by=session.get("by", ""), token=token)
    flash(_("Taken back.") if back.withdrawn else _("Restored."))
    return redirect(url_for("entry", number=back.id), 303)


def correct(number: int) -> Answer:
    """Show the form of an entry that is to be corrected."""
    with app_context().book() as book:
        old = _entry(book, number)
    return _form(_kind(old.kind), _typed_values(old), old=old)


def add_correction(number: int) -> Answer:
    """Write the correction that a form holds; show the form again where something is wrong."""
    with app_context().book() as book:
        old = _entry(book, number)
        kind = _kind(old.kind)
        try:
            fresh = _form_entry(book, kind, corrected=old.id)
            added = book.add(replace(fresh, replaces=old.id))
        except EntryError as error:
            return _form(kind, request.form, wrong=error.problems, old=old, code=422)
        except ConflictError as error:
            old = book.get(old.id)
            return _form(kind, request.form, conflict=str(error), old=old, code=409)
    return redirect(url_for("entry", number=added.id, new=1), 303)


def entry_of_form(
    book: Book,
    kind: str,
    subject: str,
    facts: Mapping[str, str],
    *,
    by: str,
    at: str = "",
    corrected: int | None = None,
) -> Entry:
    """Read an entry that has its token from the form of the request.

    Parameters
    ----------
    at : time of the entry; '' for that of the form.
    corrected : id of the entry that this one replaces; its area is not counted as cut.

    Raises
    ------
    EntryError
        Where the entry cannot be read.
    """
    context = app_context()
    farm, now = context.farm(), context.clock()
    return read_entry(
        kind,
        subject[:200],
        facts,
        farm,
        now=now,
        at=at or time_of_entry(farm, now),
        by=by,
        token=form_token(),
        left_ha=lambda field: book.left_ha(farm, field, now, excluding=corrected),
    )


def subject_choices(farm: Farm, subject_type: str) -> list[tuple[str, str]]:
    """Ids of a type, each with the text of its choice."""
    names = {f.id: f.name for f in farm.fields} if subject_type == "field" else {}
    return [
        (i, f"{i} {names[i]}" if names.get(i) and names[i] != i else i)
        for i in subject_ids(farm, subject_type)
    ]


def form_number(text: str) -> int:
    """Revision or entry id in a form; 0 where the text is no number."""
    return int(text) if text.isascii() and text.isdigit() and len(text) <= 12 else 0


def _kind(name: str) -> Kind:
    """Kind of entries that has a form; no such page otherwise."""
    kind = KINDS.get(name)
    if kind is None or not has_form(kind):
        abort(404)
    return kind


def _entry(book: Book, number: int) -> Entry:
    """Entry written by hand; no such page otherwise."""
    if not 0 < number < MAX_ENTRY_ID:
        abort(404)
    found = [e for e in book.entries(superseded=True) if e.id == number and KINDS[e.kind].by_hand]
    return found[0] if found else abort(404)


def _form(
    kind: Kind,
    values: Mapping[str, str],
    *,
    wrong: Mapping[str, str] | None = None,
    old: Entry | None = None,
    seen: int = 0,
    conflict: str = "",
    code: int = 200,
) -> tuple[str, int]:
    """Render the form of a kind.

    Parameters
    ----------
    values : texts of the answers by name.
    wrong : what is wrong with an answer, by name.
    old : the entry that is corrected.
    seen : revision of the book that the writer has seen.
    conflict : what another person wrote in the meantime.
    """
    farm = app_context().farm()
    choices = {
        f.name: subject_choices(farm, f.quantity)
        for f in kind.facts
        if f.quantity in ("field", "crew")
    }
    page = render_template(
        "entry.html",
        kind=kind,
        subject_label=SUBJECT_LABELS[kind.subject_type],
        subjects=subject_choices(farm, kind.subject_type),
        choices=choices,
        unit={f.name: default_unit(f, farm) for f in kind.facts},
        values=values,
        wrong=wrong or {},
        old=old,
        seen=seen,
        conflict=conflict,
        token=uuid.uuid4().hex,
    )
    return page, code


def _answer(name: str) -> str:
    """An answer of the form, with the hour that stands in an input of its own."""
    form = request.form
    return f"{form.get(name, '')} {form.get(f'{name}_clock', '')}".strip()


def _form_entry(book: Book, kind: Kind, *, corrected: int | None = None) -> Entry:
    """Read the entry that the form holds; see `entry_of_form`."""
    context, form = app_context(), request.form
    at = _answer("at")[:60]
    if kind.name == "absent" and not at:  # without an hour an absence takes whole days
        at = time_of_entry(context.farm(), context.clock()).partition("T")[0]
    entry = entry_of_form(
        book,
        kind.name,
        form.get("subject", ""),
        {f.name: _answer(f.name)[:1000] for f in kind.facts},
        at=at,
        by=form.get("by", "")[:100],
        corrected=corrected,
    )
    session["by"] = entry.by
    session.permanent = True
    return entry


def _typed_values(entry: Entry) -> dict[str, str]:
    """Answers of an entry's form, as they are typed."""
    farm = app_context().farm()
    crop = crop_of(farm, entry.subject, entry.facts)
    facts = {f.name: f for f in KINDS[entry.kind].facts}
    texts = {n: write_value(facts[n], v, farm, crop) for n, v in entry.facts.items()}
    if "until" in texts:
        texts["until"] = texts["until"][:16]
    texts["at"] = entry.at.astimezone(farm.tz).strftime("%Y-%m-%dT%H:%M")
    if entry.kind == "absent":
        for name in ("at", "until"):
            texts[name], _, clock = texts.get(name, "").partition("T")
            texts[f"{name}_clock"] = clock if ends_at_a_time(entry) else ""
    return {**dict.fromkeys(facts, ""), **texts, "subject": entry.subject}
