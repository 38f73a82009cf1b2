"""A driver's page behind a link of his or her own: the crew's orders and own entries, no money."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

from flask import (
    Flask,
    Response,
    abort,
    flash,
    jsonify,
    redirect,
    render_template,
    request,
    url_for,
)

from scheduler.errors import ConflictError, EntryError
from scheduler.farm.model import Farm
from scheduler.language.translation import N_, _
from scheduler.orders.document import HoursRow, IssuedPlan
from scheduler.orders.model import CrewOrders
from scheduler.report.caution_phrases import issued_day_cautions
from scheduler.report.order_phrases import start_at_text
from scheduler.report.today import CrewDay, crew_days
from scheduler.season_book.book import Book
from scheduler.season_book.entry_kinds import KINDS, SUBJECT_LABELS, Entry, Fact, Kind, subject_ids
from scheduler.season_book.formatting import default_unit, entry_text
from scheduler.web.access.guard import KEPT_ENTRY, is_kept_entry
from scheduler.web.access.private_state import Person
from scheduler.web.context import app_context
from scheduler.web.forms import Answer, entry_of_form, form_number, subject_choices
from scheduler.web.morning.acts import KIND_OF_ACT, entry_of_act, take_back
from scheduler.web.morning.farm_map import map_page
from scheduler.web.offline import form_token, written_by

#: Kinds of entries that a driver may write, and the facts that the forms ask for: none is money.
DRIVER_FORMS: dict[str, tuple[str, ...]] = {
    "cut": ("area",),
    "ticket": ("field", "weight", "moisture"),
    "sample": ("moisture",),
    "ground": ("ground", "reason"),
    "down": ("until", "reason"),
    "repaired": (),
}
OWN_ENTRIES = timedelta(hours=36)  # age to which own entries are listed; assumed, since yesterday
#: Short form of the standing cautions; `caution_phrases.STANDING` names the sources.
DRIVER_CAUTIONS = (
    N_("Phone: stop the machine before you read or type. Never while driving."),
    N_("Tired: say so and stop. Keep the breaks that your rules and licence ask for."),
    N_("Road: header off where the road is narrow; lights, emblem and escort as the state asks."),
    N_("Power lines: look up before raising box, auger or spout. Keep 10 ft (3 m) away."),
    N_("Flowing grain: nobody in a bin, box or pit while grain can move."),
    N_("Fire: chaff off engine and exhaust, extinguishers at hand; call for help first."),
    N_("Thunder: stop, get into a closed cab or building, wait 30 minutes after the last."),
    N_("Local rules, bans, warnings in force and trained people come before this page."),
)


@dataclass(frozen=True, kw_only=True)
class DriverForm:
    """A form on a driver's page: the kind of entry, its facts, and the subjects to choose from."""

    kind: Kind
    subject_label: str
    facts: tuple[Fact, ...]
    subjects: tuple[tuple[str, str], ...]


@dataclass(frozen=True, kw_only=True)
class DriverField:
    """A field that the crew has orders for.

    Attributes
    ----------
    title : id and name.
    start : from which grain moisture to start, in words.
    cut : fraction cut, 0-1.
    hours : workable hours by day; None where the plan has none.
    """

    id: str
    title: str
    start: str
    cut: float
    hours: HoursRow | None


def register(app: Flask) -> None:
    """Add the pages to the app."""
    app.get("/driver/<token>")(driver)
    app.get("/driver/<token>/alive")(driver_alive)
    app.get("/driver/<token>/map")(driver_map)
    app.post("/driver/<token>/act")(driver_act)
    app.post("/driver/<token>/enter/<name>")(driver_entry)
    app.post("/driver/<token>/undo")(driver_undo)


def driver(token: str) -> Answer:
    """Show the orders of the crew that a person drives for, and forms for own entries."""
    return _page(_person(token))


def driver_alive(token: str) -> Response:
    """Answer that the page can be reached, and which plan holds."""
    _person(token)
    with app_context().book() as book:
        issue = book.last_issue()
    return jsonify(plan=issue.id if issue else 0)


def driver_map(token: str) -> str:
    """Show the map with today's routes, that of the driver's crew in full view."""
    person = _person(token)
    return map_page(person.crew, person=person)


def driver_entry(token: str, name: str) -> Answer:
    """Write an entry of the driver's; show the page again where something is wrong."""
    if name not in DRIVER_FORMS:
        abort(404)
    return _write(_person(token), name)


def driver_act(token: str) -> Answer:
    """Write the entry of a tapped button on one of the day's fields."""
    return _write(_person(token))


def driver_undo(token: str) -> Answer:
    """Take an entry of the driver's own back."""
    person = _person(token)
    with app_context().book() as book:
        done = written_by(book, request.form.get("of", ""))
        if not {e.id for e in done} <= {e.id for e in _own_entries(book, person)}:
            abort(404)
        take_back(book, done, by=person.name)
    return redirect(url_for("driver", token=token), 303)


def _person(token: str) -> Person:
    """Whom the link belongs to; the page says where a link has ended."""
    person = app_context().state.person_of(token)
    return person or abort(410, _("this link has ended: ask the farmer for a new one"))


def _write(person: Person, opened: str = "") -> Answer:
    """Write the entry of a form, or of a tapped button where `opened` names no form."""
    context, form = app_context(), request.form
    with context.book() as book:
        if (found := book.find(form_token())) is not None:
            return _written(person, found)
        try:
            if opened:
                entry = _read(book, person, opened)
            else:
                plan = context.issued(book)[1]
                entry = entry_of_act(book, plan, crew=person.crew, by=person.name)
            seen = form_number(form.get("seen", ""))
            added = book.add(entry, seen=seen)
        except (EntryError, ConflictError) as error:
            if is_kept_entry():
                raise
            code = 422 if isinstance(error, EntryError) else 409
            return _page(person, opened=opened, wrong=str(error), values=form, code=code)
    return _written(person, added)


def _read(book: Book, person: Person, kind: str) -> Entry:
    """Read the entry that the form holds; the person of the link is its writer."""
    form = request.form
    facts = {name: form.get(name, "")[:1000] for name in DRIVER_FORMS[kind]}
    if kind == "cut":
        facts["crew"] = person.crew
    return entry_of_form(book, kind, form.get("subject", ""), facts, by=person.name)


def _written(person: Person, entry: Entry) -> Answer:
    context = app_context()
    flash(_("Written down: {entry}", entry=entry_text(entry, context.farm())))
    with context.book() as book:
        issue = book.last_issue()
    if issue is not None and request.form.get("issue", "0") != str(issue.id):
        flash(_("The orders have changed since: look at the new ones."))
    elif issue is not None and request.headers.get(KEPT_ENTRY) != "later":
        flash(_("The farmer's page shows it. Your orders hold until new ones come."))
    return redirect(url_for("driver", token=person.token), 303)


def _page(
    person: Person,
    *,
    opened: str = "",
    wrong: str = "",
    values: Mapping[str, str] | None = None,
    code: int = 200,
) -> tuple[str, int]:
    """Render the page.

    Parameters
    ----------
    opened : kind of the form that is shown open.
    wrong : why that form was not written; `values` are its texts.
    """
    context = app_context()
    farm, now = context.farm(), context.clock()
    today = now.astimezone(farm.tz).date()
    with context.book() as book:
        issue, plan = context.issued(book)
        cut = book.progress(farm, now)
        own = _own_entries(book, person)
        revision = book.revision
    crew = None if plan is None else next((c for c in plan.crews if c.crew == person.crew), None)
    page = render_template(
        "driver.html",
        person=person,
        known_crew=person.crew in subject_ids(farm, "crew"),
        plan=plan,
        issue=issue.id if issue else 0,
        days=_days(plan, person.crew, today) if plan else (),
        old=plan is not None and plan.now.date() != today,
        fields=_fields(plan, crew, cut) if plan and crew else (),
        day_cautions=issued_day_cautions(plan.cautions) if plan else (),
        cautions=tuple(_(line) for line in DRIVER_CAUTIONS),
        forms=_forms(farm, crew, cut),
        unit=lambda fact: default_unit(fact, farm).replace("_", "/"),
        own=own,
        seen=revision,
        token=lambda: uuid.uuid4().hex,
        opened=opened,
        wrong=wrong,
        values=values or {},
    )
    return page, code


def _days(plan: IssuedPlan, crew: str, today: date) -> tuple[tuple[str, CrewDay], ...]:
    """Today and tomorrow of a crew by the calendar, whatever the day of the plan."""
    out = []
    for title, day in ((_("Today"), today), (_("Tomorrow"), today + timedelta(days=1))):
        ahead = (day - plan.now.date()).days
        of_day = crew_days(plan, ahead=ahead) if ahead >= 0 else ()
        out += [(title, one) for one in of_day if one.crew == crew]
    return tuple(out)


def _fields(
    plan: IssuedPlan, crew: CrewOrders, cut: Mapping[str, float]
) -> tuple[DriverField, ...]:
    """Fields of a crew's orders, each once, in order."""
    rows = {row.field: row for row in reversed(plan.hours)}
    first = {order.field: order for order in reversed(crew.orders)}
    return tuple(
        DriverField(
            id=name,
            title=name if first[name].name == name else f"{name} {first[name].name}",
            start=start_at_text(first[name], plan.farm, first[name].start_pct),
            cut=cut.get(name, 0.0),
            hours=rows.get(name),
        )
        for name in dict.fromkeys(order.field for order in crew.orders)
    )


def _forms(farm: Farm, crew: CrewOrders | None, cut: Mapping[str, float]) -> tuple[DriverForm, ...]:
    """Forms of a driver: the crew's own fields and machines come first."""
    mine = [o.field for o in crew.orders] if crew else []
    machines = [*crew.combines, *crew.carts, *crew.trucks] if crew else []
    out = []
    for name, facts in DRIVER_FORMS.items():
        kind = KINDS[name]
        titles = dict(subject_choices(farm, kind.subject_type))
        ids = [i for i in dict.fromkeys([*mine, *machines, *titles]) if i in titles]
        if name == "cut":
            ids = [i for i in ids if cut.get(i, 0.0) < 1.0]
        out.append(
            DriverForm(
                kind=kind,
                subject_label=SUBJECT_LABELS[kind.subject_type],
                facts=tuple(replace(f, hint="") for f in kind.facts if f.name in facts),
                subjects=tuple((i, titles[i]) for i in ids),
            )
        )
    return tuple(out)


def _own_entries(book: Book, person: Person) -> list[Entry]:
    """Entries that a person wrote lately and that hold, the last first."""
    since = app_context().clock() - OWN_ENTRIES
    return [
        e
        for e in reversed(book.entries(*DRIVER_FORMS, *KIND_OF_ACT.values()))
        if e.by == person.name and e.noted is not None and e.noted > since
    ]
