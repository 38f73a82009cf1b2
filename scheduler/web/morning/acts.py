"""Acts on an order: one tap writes an entry of the season book and asks for a replan."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

from flask import Flask, abort, flash, redirect, request, session, url_for
from werkzeug.wrappers import Response as AnyResponse

from scheduler.errors import AfterrainError, EntryError
from scheduler.farm.model import Farm
from scheduler.language.translation import _
from scheduler.orders.document import IssuedPlan
from scheduler.orders.model import Stint
from scheduler.report.order_phrases import threshing_limit
from scheduler.season_book.book import Book
from scheduler.season_book.entry_kinds import KINDS, Entry, crop_of, subject_ids
from scheduler.season_book.formatting import entry_text, write_value
from scheduler.web.access.guard import is_kept_entry
from scheduler.web.context import AppContext, app_context
from scheduler.web.forms import entry_of_form, form_number
from scheduler.web.offline import form_token, row_token, written_by

#: How long the page offers to take an act back; assumed, half an hour.
UNDO_FOR = timedelta(minutes=30)
#: Kind of the entry that each act writes.
KIND_OF_ACT = {
    "begun": "begun",
    "done": "cut",
    "tough": "tough",
    "soft": "ground",
    "down": "down",
}
#: How long a field counts as begun on its card; assumed, a long day.
BEGUN_FOR = timedelta(hours=18)


def register(app: Flask) -> None:
    """Add the acts to the app."""
    app.post("/act")(act)
    app.post("/undo")(undo_act)


def act() -> AnyResponse:
    """Write the entry of a tapped button and start a replan."""
    context = app_context()
    with context.book() as book:
        plan = context.issued(book)[1]
        seen = form_number(request.form.get("seen", ""))
        try:
            written = book.find(form_token()) or book.add(
                entry_of_act(
                    book, plan, crew=request.form.get("crew", ""), by=session.get("by", "")
                ),
                seen=seen,
            )
        except AfterrainError as error:
            if is_kept_entry():
                raise
            flash(_("Not written: {reason}.", reason=_reason(error)))
            return redirect(url_for("today"), 303)
    session["act"] = written.id
    return replanned(context)


def undo_act() -> AnyResponse:
    """Take back what a form of this phone wrote and start a replan."""
    context = app_context()
    with context.book() as book:
        done = written_by(book, request.form.get("of", ""), len(context.farm().gauges))
        if not take_back(book, done, by=session.get("by", "")):
            return redirect(url_for("today"), 303)
    session.pop("act", None)
    return replanned(context)


def take_back(book: Book, done: Sequence[Entry], *, by: str) -> bool:
    """Take entries back, once for the token of the form, and say so; whether any was there."""
    token = form_token()
    gone = [e for e in (book.find(row_token(token, row)) for row in range(len(done) or 1)) if e]
    for row, entry in enumerate(() if gone else done):
        gone.append(book.withdraw(entry.id, by=by, token=row_token(token, row)))
    for entry in gone:
        flash(_("Taken back: {entry}.", entry=entry_text(entry, app_context().farm())))
    if not gone:
        flash(_("There is nothing to take back."))
    return bool(gone)


def replanned(context: AppContext) -> AnyResponse:
    """Start a replan and answer with the page of its progress."""
    context.planner.start(context.clock())
    return redirect(url_for("replan"), 303)


def last_act(book: Book, now: datetime) -> Entry | None:
    """The last act of this phone, where it can still be taken back."""
    number = session.get("act")
    if not isinstance(number, int):
        return None
    entry = next((e for e in book.entries() if e.id == number), None)
    return entry if entry is not None and now - entry.at < UNDO_FOR else None


def fields_begun(book: Book, now: datetime) -> dict[str, Entry]:
    """The last entry that says a field is begun, by field id."""
    return {e.subject: e for e in book.entries("begun") if timedelta(0) <= now - e.at < BEGUN_FOR}


def entry_of_act(book: Book, plan: IssuedPlan | None, *, crew: str, by: str) -> Entry:
    """The entry of the tapped button.

    What a crew did in a whole field stays true where the orders have changed since.

    Raises
    ------
    EntryError
        Where the farm has no such field, the order for a part of a field is gone, or the entry
        cannot be read.
    """
    farm, form = app_context().farm(), request.form
    name, _colon, machine = form.get("do", "").partition(":")
    field, parcel = form.get("field", ""), form.get("parcel", "")
    if name not in KIND_OF_ACT:
        abort(404)
    stint = _stint(plan, crew, field, parcel)
    known = field in subject_ids(farm, "field")
    if stint is None and name != "down" and (parcel or not known):
        gone = _("that order is no longer in the plan: look at the orders again")
        raise EntryError({"subject": gone})
    return entry_of_form(
        book,
        KIND_OF_ACT[name],
        machine if name == "down" else field,
        _facts(name, stint, farm, field=field, crew=crew),
        by=by,
    )


def _reason(error: AfterrainError) -> str:
    """What is wrong with an entry, on one line."""
    if isinstance(error, EntryError):
        return "; ".join(error.problems.values())
    return str(error)


def _facts(
    name: str, stint: Stint | None, farm: Farm, *, field: str, crew: str
) -> Mapping[str, str]:
    """Facts of the entry that an act writes, as texts."""
    if name == "down":
        return {}
    if name == "soft":
        return {"ground": "soft"}
    if name == "begun":
        return {"crew": crew}
    if name == "tough":
        crop, (fact,) = crop_of(farm, field, {}), KINDS["tough"].facts
        limit = threshing_limit(farm, crop)
        above = limit if stint is None else min(stint.start_pct, limit)
        return {"above": write_value(fact, above, farm, crop)}
    if stint is None or not stint.parcel:
        return {"area": "all", "crew": crew}
    area = KINDS["cut"].facts[0]
    return {"area": write_value(area, stint.field_ha, farm, stint.crop), "crew": crew}


def _stint(plan: IssuedPlan | None, crew: str, field: str, parcel: str) -> Stint | None:
    """The stay of a crew in a field that an act is about."""
    stints = (s for c in (plan.crews if plan else ()) if c.crew == crew for s in c.stints)
    return next((s for s in stints if (s.field, s.parcel) == (field, parcel)), None)
