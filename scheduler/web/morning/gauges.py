"""All rain gauges on one form."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from flask import Flask, flash, redirect, render_template, request, session, url_for

from scheduler.errors import EntryError, UnreadableError
from scheduler.farm.model import Farm
from scheduler.farm.wording import clock, time_of_day
from scheduler.language.translation import _, ngettext
from scheduler.season_book.book import Book
from scheduler.season_book.entry_kinds import KINDS, SAME_READING, Entry
from scheduler.season_book.formatting import default_unit, show_fact
from scheduler.season_book.parsing import read_entry
from scheduler.season_book.value_parsing import read_moment
from scheduler.web.access.guard import is_kept_entry
from scheduler.web.context import app_context
from scheduler.web.forms import Answer
from scheduler.web.morning.acts import replanned
from scheduler.web.offline import form_token, row_token, time_of_entry

#: Longest time that one reading stands for, h; assumed, because gauges are read once a day.
LONGEST_H, SHORTEST_H = 24.0, 0.25
#: A gauge read within this time is one of the usual ones; assumed.
USUAL_FOR = timedelta(days=14)
#: Answers to the question of a second reading.
INSTEAD, MORE = "instead", "more"


@dataclass(frozen=True, kw_only=True)
class GaugeRow:
    """A gauge on the form.

    Attributes
    ----------
    key : name of its inputs.
    last : text of its last reading, "" for none.
    usual : whether it was read lately; every gauge is usual where none was.
    typed, wrong : text of the answer, and what is wrong with it.
    doubt : question where a reading stands just before; 'instead' and 'more' answer it. Where
        none stands, the question waits for one that comes in the meantime.
    """

    key: str
    name: str
    last: str
    usual: bool
    typed: str = ""
    wrong: str = ""
    doubt: str = ""


def register(app: Flask) -> None:
    """Add the form to the app."""
    app.get("/rain")(rain)
    app.post("/rain")(add_rain)


def rain() -> Answer:
    """Show the empty form."""
    with app_context().book() as book:
        return _page(book, {}, {})


def add_rain() -> Answer:
    """Write every reading that the form holds, all or none, and start a replan where asked."""
    context = app_context()
    farm, now = context.farm(), context.clock()
    by = request.form.get("by", "")[:100]
    with context.book() as book:
        try:
            at = _reading_time(farm, now)
            entries, wrong, doubts = _readings(book, farm, now, at=at, by=by)
        except UnreadableError as error:
            return _page(book, {}, {}, wrong_time=str(error), code=422)
        if is_kept_entry() and (wrong or doubts or not entries):
            raise EntryError(_problems(farm, wrong, doubts))
        if wrong or doubts:
            return _page(book, wrong, doubts, code=422 if wrong else 409)
        if not entries:
            return _page(book, {}, {}, nothing=True, code=422)
        written = book.add_all(entries)
    session["by"] = written[0].by
    session.permanent = True
    session["act"] = written[0].id if len(written) == 1 else None
    if request.form.get("do") == "replan":
        return replanned(context)
    flash(ngettext("{n} reading written down.", "{n} readings written down.", len(written)))
    return redirect(url_for("today"), 303)


def _problems(farm: Farm, wrong: Mapping[str, str], doubts: Mapping[str, Entry]) -> dict[str, str]:
    """What is wrong by the name of the input, for the script of the page."""
    if not wrong and not doubts:
        return {"subject": _("Fill in at least one gauge.")}
    texts = {g: _doubt_text(e, farm) for g, e in doubts.items()} | dict(wrong)
    return {f"rain-{n}": texts[g] for n, g in enumerate(farm.gauges) if g in texts}


def _doubt_text(before: Entry, farm: Farm) -> str:
    here = before.at.astimezone(farm.tz)
    return _(
        "Read at {time} already: {depth}. What is this reading?",
        time=time_of_day(here, farm.units),
        depth=_depth_text(before, farm),
    )


def _depth_text(reading: Entry, farm: Farm) -> str:
    return show_fact(KINDS["rain"].facts[0], reading.number("rain") or 0.0, farm, "")


def _reading_time(farm: Farm, now: datetime) -> datetime:
    text = time_of_entry(farm, now)
    return read_moment(text, farm, now=now) if text else now


def _readings(
    book: Book, farm: Farm, now: datetime, *, at: datetime, by: str
) -> tuple[list[Entry], dict[str, str], dict[str, Entry]]:
    """Entries of the gauges read; what is wrong, and readings that are in doubt, by gauge."""
    entries: list[Entry] = []
    wrong: dict[str, str] = {}
    doubts: dict[str, Entry] = {}
    token, written_at = form_token(), time_of_entry(farm, now)
    for n, gauge in enumerate(farm.gauges):
        text = request.form.get(f"rain-{n}", "")[:60].strip()
        if not text:
            continue
        own = row_token(token, n)
        last = _last_reading(book, gauge, at, without=own)
        near, answer = _same_hour(last, at), request.form.get(f"again-{n}", "")
        if near is not None and answer not in (INSTEAD, MORE):
            doubts[gauge] = near
        old = near if answer == INSTEAD else None
        if old is not None:
            hours = old.number("hours") or LONGEST_H
        else:
            since = LONGEST_H if last is None else (at - last.at) / timedelta(hours=1)
            hours = min(LONGEST_H, max(SHORTEST_H, since))
        try:
            entry = read_entry(
                "rain",
                gauge,
                {"rain": text, "hours": f"{hours:.2f}"},
                farm,
                now=now,
                at=written_at,
                by=by,
                token=own,
            )
        except EntryError as error:
            wrong[gauge] = "; ".join(error.problems.values())
            continue
        entries.append(entry if old is None else replace(entry, replaces=old.id))
    return entries, wrong, doubts


def _last_reading(book: Book, gauge: str, at: datetime, *, without: str = "") -> Entry | None:
    """The last reading of a gauge up to an hour after `at`; not that of the same form."""
    known = [
        e
        for e in book.entries("rain", subject=gauge)
        if e.at < at + SAME_READING and e.token != without
    ]
    return max(known, key=lambda e: (e.at, e.id), default=None)


def _same_hour(last: Entry | None, at: datetime) -> Entry | None:
    """The last reading of a gauge where a second one at `at` is questioned."""
    return last if last is not None and at - last.at < SAME_READING else None


def _page(
    book: Book,
    wrong: Mapping[str, str],
    doubts: Mapping[str, Entry],
    *,
    wrong_time: str = "",
    nothing: bool = False,
    code: int = 200,
) -> tuple[str, int]:
    """Render the form with what was typed."""
    context = app_context()
    farm, now = context.farm(), context.clock()
    rain_fact = KINDS["rain"].facts[0]
    here = now.astimezone(farm.tz)
    lasts = {g: _last_reading(book, g, now) for g in farm.gauges}
    read = {g for g, e in lasts.items() if e is not None and now - e.at < USUAL_FOR}
    rows = []
    for n, gauge in enumerate(farm.gauges):
        last = lasts[gauge]
        doubt = doubts.get(gauge) or _same_hour(last, now)
        rows.append(
            GaugeRow(
                key=str(n),
                name=gauge,
                last=""
                if last is None
                else _(
                    "{depth} {time}",
                    depth=_depth_text(last, farm),
                    time=clock(last.at.astimezone(farm.tz), here, farm.units),
                ),
                usual=not read or gauge in read,
                typed=request.form.get(f"rain-{n}", "")[:60],
                wrong=wrong.get(gauge, ""),
                doubt="" if doubt is None else _doubt_text(doubt, farm),
            )
        )
    page = render_template(
        "rain.html",
        rows=rows,
        unit=default_unit(rain_fact, farm),
        at=request.form.get("at", ""),
        wrong_time=wrong_time,
        nothing=nothing,
        problem=bool(wrong or wrong_time),
        unanswered=bool(doubts),
        token=request.form.get("token", "") if doubts or wrong else uuid.uuid4().hex,
    )
    return page, code
