"""The farmer's page of people: each driver's link, the phones logged in, wrong passphrases."""

from __future__ import annotations

from urllib.parse import urlsplit

import segno
from flask import Flask, abort, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from scheduler.errors import AfterrainError
from scheduler.language.translation import _
from scheduler.season_book.entry_kinds import subject_ids
from scheduler.web.access.private_state import Person
from scheduler.web.context import AppContext, app_context
from scheduler.web.forms import Answer

REFUSALS_SHOWN = 10
LOOPBACK = ("127.0.0.1", "localhost", "::1")


def register(app: Flask) -> None:
    """Add the page to the app."""
    app.get("/people")(people)
    app.post("/people")(add_person)
    app.post("/people/<int:number>")(change_person)
    app.post("/phones/<int:number>")(log_phone_out)


def people() -> Answer:
    """Show everybody with the link, the phones logged in, and wrong passphrases."""
    return _page()


def add_person() -> Answer:
    """Add a driver."""
    context, form = app_context(), request.form
    try:
        added = context.state.add_person(form.get("name", "")[:200], _crew(context))
    except AfterrainError as error:
        return _page(wrong=str(error), name=form.get("name", "")[:200], code=422)
    return redirect(_own_page(f"person-{added.id}"), 303)


def change_person(number: int) -> Answer:
    """End a person's link, make a fresh one, or let the person drive for another crew."""
    context = app_context()
    person = next((p for p in context.state.people() if p.id == number), None)
    if person is None:
        abort(404)
    match request.form.get("do"):
        case "end":
            context.state.end_link(number)
            flash(_("The link of {name} has ended.", name=person.name))
        case "renew":
            context.state.renew_link(number)
            flash(_("{name} has a fresh link; the one before has ended.", name=person.name))
        case "move":
            context.state.move_person(number, _crew(context))
        case _unknown:
            abort(400)
    return redirect(_own_page(f"person-{number}"), 303)


def log_phone_out(number: int) -> AnyResponse:
    """Log one phone out."""
    app_context().state.end_session(number)
    flash(_("That phone is logged out."))
    return redirect(_own_page("phones"), 303)


def phone_addresses(context: AppContext) -> list[str]:
    """Addresses of the page for phones: the one in use where a phone can open it, then the rest."""
    used = request.host_url.rstrip("/")
    reachable = (urlsplit(used).hostname or "") not in LOOPBACK
    known = [*([used] if reachable else []), *context.addresses]
    return list(dict.fromkeys(known)) or [used]


def _own_page(anchor: str) -> str:
    return url_for("people", address=request.values.get("address") or None, _anchor=anchor)


def _crew(context: AppContext) -> str:
    """Crew of the form; no such page where the farm has no such crew."""
    crew = request.form.get("crew", "")
    return crew if crew in subject_ids(context.farm(), "crew") else abort(404)


def _page(*, wrong: str = "", name: str = "", code: int = 200) -> tuple[str, int]:
    """Render the page.

    Parameters
    ----------
    wrong : why nobody was added; `name` is the name typed.
    """
    context = app_context()
    addresses = phone_addresses(context)
    chosen = request.values.get("address", "")
    address = chosen if chosen in addresses else addresses[0]
    everybody = context.state.people()
    page = render_template(
        "people.html",
        people=[(p, _link(p, address)) for p in everybody],
        crews=subject_ids(context.farm(), "crew"),
        addresses=addresses,
        address=address,
        reachable=bool(context.addresses),
        phones=context.state.phones(),
        refusals=context.state.refusals(REFUSALS_SHOWN),
        wrong=wrong,
        name=name,
        qr=qr_code,
    )
    return page, code


def _link(person: Person, address: str) -> str:
    """Address of a person's page; "" where the link has ended."""
    return address + url_for("driver", token=person.token) if person.token else ""


def qr_code(text: str) -> str:
    """Picture of a QR code as a data address."""
    return str(
        segno.make_qr(text).svg_data_uri(scale=5, light="#fff", svgclass=None, lineclass=None)
    )
