"""The app: all views of a farm folder, guarded, with one page for every error."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path

from flask import Flask, Response, jsonify, render_template
from flask_wtf.csrf import CSRFError
from werkzeug.exceptions import HTTPException

from scheduler.errors import AfterrainError, BookError, ConflictError, EntryError, FarmError
from scheduler.language.translation import N_, SOURCE, _, set_language
from scheduler.web import (
    crew_order,
    forms,
    offline,
    pages,
    replan,
    template_context,
)
from scheduler.web.access import driver, guard, people
from scheduler.web.access.passphrase import Access, read_access
from scheduler.web.access.private_state import PrivateState
from scheduler.web.context import EXTENSION, AppContext, app_context
from scheduler.web.morning import acts, farm_map, freshness, gauges
from scheduler.web.planner import Planner

#: Texts for what a browser can get wrong, by HTTP status.
HTTP_ERRORS = {
    404: N_("there is no such page"),
    405: N_("this page is not asked that way"),
    413: N_("that is too much for a form"),
}
UNREADABLE = N_("that cannot be read")


def create_app(
    folder: Path,
    *,
    planner: Planner | None = None,
    locked: bool = False,
    access: Access | None = None,
    now: Callable[[], datetime] | None = None,
    names: frozenset[str] = frozenset(),
    addresses: Sequence[str] = (),
) -> Flask:
    """Build the page of a farm folder.

    Parameters
    ----------
    locked : whether the passphrase is asked for (on the farm network).
    access : secrets of the folder; read from its access file by default.
    now : gives the time now, aware; the machine's clock by default.
    names : further names this machine is reached by.
    addresses : addresses of the page that a phone can open, such as 'http://192.168.1.5:8377'.
    """
    access = access or read_access(folder)
    state = PrivateState(folder, access)
    app = Flask("scheduler.web")
    app.extensions[EXTENSION] = AppContext(
        folder, planner or Planner(folder), state, now, addresses=tuple(addresses)
    )
    app.before_request(speak_language)
    guard.register(app, access, state, locked=locked, names=guard.machine_names() | names)
    template_context.register(app, locked)
    _register_errors(app, locked)
    for views in (
        pages,
        forms,
        replan,
        crew_order,
        people,
        driver,
        offline,
        acts,
        gauges,
        freshness,
        farm_map,
    ):
        views.register(app)
    return app


def speak_language() -> None:
    """Answer a request in the language of the farm; in English where the farm cannot be read."""
    try:
        set_language(app_context().farm().language)
    except FarmError:
        set_language(SOURCE)


def _register_errors(app: Flask, locked: bool) -> None:
    """Show every error on one page, with what to do.

    Whoever is not logged in, a driver too, is not told of the farm's files.
    """

    def page(code: int, text: str, **more: object) -> tuple[str | Response, int]:
        if guard.is_kept_entry():
            return jsonify(error=text, **more), code
        return render_template("error.html", text=text, code=code, stranger=stranger()), code

    def stranger() -> bool:
        return locked and not guard.is_farmer(app_context().state)

    @app.errorhandler(BookError)
    @app.errorhandler(AfterrainError)
    def user_error(error: AfterrainError) -> tuple[str | Response, int]:
        about_entry = isinstance(error, EntryError | ConflictError)
        code = 409 if isinstance(error, BookError) and not isinstance(error, EntryError) else 422
        if guard.is_kept_entry() and not about_entry:
            code = 503  # the phone keeps the entry and tries again
        if stranger() and not about_entry:
            return page(code, _("something is wrong on the farm's computer: tell the farmer"))
        if isinstance(error, EntryError):
            return page(code, str(error), problems=error.problems)
        if isinstance(error, ConflictError):
            with app_context().book() as book:  # what the sender has seen once the text is read
                return page(code, str(error), seen=book.revision)
        return page(code, str(error))

    @app.errorhandler(CSRFError)
    def csrf_error(error: CSRFError) -> tuple[str | Response, int]:
        return page(400, _("this form is too old or not ours: go back, load the page again"))

    @app.errorhandler(HTTPException)
    def http_error(error: HTTPException) -> tuple[str | Response, int]:
        code = error.code or 400
        if error.description and error.description != type(error).description:
            return page(code, error.description)
        return page(code, _(HTTP_ERRORS.get(code, UNREADABLE)))
