"""The page without signal: what a phone installs and keeps, and entries that it sends later.

A phone gives each entry a token of its own before the first try, keeps it until the page has
answered, and sends it again with the same token. The season book holds a token once, so that no
entry is lost and none is written twice. What is taken back is named by the token of its form and
sent after it.
"""

from __future__ import annotations

import uuid
from datetime import datetime, timedelta
from pathlib import Path

from flask import (
    Flask,
    Response,
    current_app,
    get_flashed_messages,
    jsonify,
    render_template,
    request,
    send_from_directory,
    url_for,
)

from scheduler.farm.model import Farm
from scheduler.farm.wording import one_line
from scheduler.language.translation import _
from scheduler.season_book.book import Book
from scheduler.season_book.entry_kinds import KINDS, Entry, Kind
from scheduler.web.access.guard import KEPT_ENTRY, is_kept_entry
from scheduler.web.access.private_state import LINK_LIFETIME
from scheduler.web.context import app_context

#: Age from which an entry counts as typed earlier; assumed, below a minute it was typed just now.
TYPED_EARLIER = timedelta(minutes=1)
MAX_AGE = LINK_LIFETIME  # of an entry that a phone kept
ICONS = (("icon-192.png", "192x192"), ("icon-512.png", "512x512"))
PAPER, INK = "#ffffff", "#123f5e"  # as in page.css


def register(app: Flask) -> None:
    """Add manifest, service worker and answers for entries that a phone kept."""
    app.get("/manifest.webmanifest")(manifest)
    app.get("/driver/<token>/manifest.webmanifest")(driver_manifest)
    app.get("/service_worker.js")(service_worker)
    app.get("/alive")(alive)
    app.get("/offline")(offline)
    app.after_request(_answer_script)


def manifest() -> Response:
    """What a phone needs to install the farmer's page."""
    return _manifest("/", "afterrain")


def driver_manifest(token: str) -> Response:
    """What a phone needs to install a driver's page."""
    person = app_context().state.person_of(token)
    return _manifest(url_for("driver", token=token), one_line(person.crew if person else ""))


def service_worker() -> Response:
    """The script that keeps pages on a phone; it stands at the root, because it serves all."""
    return send_from_directory(_static(), "service_worker.js", mimetype="text/javascript")


def alive() -> Response:
    """Answer that the page can be reached."""
    return Response(status=204)


def offline() -> str:
    """Page that a phone shows in place of one that it has not kept."""
    return render_template("offline.html")


def kept_pages() -> tuple[str, ...]:
    """Addresses of the farmer's pages that a phone keeps."""
    pages = ("today", "rain", "farm_map", "fields", "safety", "enter", "season")
    kinds = (k.name for k in KINDS.values() if has_form(k) and k.name != "rain")
    return (*map(url_for, pages), *(url_for("enter_kind", name=name) for name in kinds))


def has_form(kind: Kind) -> bool:
    """Whether entries of a kind are typed on a form of their own."""
    return kind.by_hand and kind.name != "order"


def offline_words() -> dict[str, str]:
    """Texts that the script of the page shows; {fields} are filled in there."""
    return {
        "lost": _("No connection to the farm's computer."),
        "age": _("What you see was loaded at {time}, {age} ago."),
        "minutes": _("{n} min"),
        "hours": _("{n} h"),
        "days": _("{n} days"),
        "go_on": _("You can go on writing down: entries stay on this phone and are sent once."),
        "installed": _("This page also opens again without a connection."),
        "keep_open": _(
            "Keep this page open: without https it cannot be loaded again before the connection "
            "is back."
        ),
        "back": _("The connection is back."),
        "orders": _("New orders are out."),
        "since": _("An entry has come in."),
        "reload": _("Load the orders of now"),
        "kept": _("kept on this phone, sent when the connection is back"),
        "waiting": _("waits for a connection"),
        "login": _("waits: log in, then it is sent"),
        "refused": _("not written: {why}"),
        "ended": _("not written: this link has ended. Open a new link of yours, then send it."),
        "written": _("Written down: {entry}"),
        "typed": _("typed {time}"),
        "send": _("Send again"),
        "send_here": _("Send with this link"),
        "back_out": _("Take back"),
        "backed_out": _("Take back: {entry}"),
        "drop": _("Throw away"),
        "drop_sure": _("Throw away for good"),
    }


def form_token() -> str:
    """Token of the form, by which a form sent twice is written once."""
    text = request.form.get("token", "")
    return text if len(text) == 32 and text.isalnum() and text.isascii() else uuid.uuid4().hex


def row_token(token: str, row: int) -> str:
    """Token of the entry that a row of a form writes, where each row writes one."""
    return f"{row:x}{token}"[:32]


def written_by(book: Book, token: str, rows: int = 0) -> list[Entry]:
    """Entries that hold and that a form with this token wrote, of up to so many rows."""
    tokens = (token, *(row_token(token, row) for row in range(rows)))
    found = (book.find(one) for one in tokens)
    return [e for e in found if e is not None and not e.superseded and not e.withdrawn]


def time_of_entry(farm: Farm, now: datetime) -> str:
    """Time of the entry in a form as text, farm time; "" for now.

    Where no time is typed, an entry that a phone kept for `age` seconds was typed that long ago.
    The age is a difference, so that the phone's clock need not be right.
    """
    typed = request.form.get("at", "").strip()[:60]
    age = request.form.get("age", "")
    if typed or not (age.isascii() and age.isdigit() and len(age) <= 9):
        return typed
    kept = min(timedelta(seconds=int(age)), MAX_AGE)
    if kept < TYPED_EARLIER:
        return ""
    return (now - kept).astimezone(farm.tz).strftime("%Y-%m-%dT%H:%M")


def _answer_script(answer: Response) -> Response:
    """Tell the script of the page where a kept entry was written, in place of a redirect."""
    if is_kept_entry() and answer.status_code == 303:
        later = request.headers[KEPT_ENTRY] == "later"  # else the next page shows the messages
        messages = get_flashed_messages() if later else None
        told = jsonify(written=answer.headers["Location"], told=messages)
        answer.set_data(told.get_data())
        answer.content_type, answer.status_code = told.content_type, 200
        del answer.headers["Location"]
    return answer


def _static() -> Path:
    assert current_app.static_folder is not None  # the app has one
    return Path(current_app.static_folder)


def _manifest(start: str, name: str) -> Response:
    icons = [
        {
            "src": url_for("static", filename=file),
            "sizes": size,
            "type": "image/png",
            "purpose": "any maskable",
        }
        for file, size in ICONS
    ]
    answer = jsonify(
        name=name or "afterrain",
        short_name=(name or "afterrain")[:12],
        start_url=start,
        scope="/",
        display="standalone",
        background_color=PAPER,
        theme_color=INK,
        icons=icons,
    )
    answer.content_type = "application/manifest+json"
    return answer
