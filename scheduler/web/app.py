"""The app: all views of a farm folder, guarded, with one page for every error."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from flask import Flask, render_template
from flask_wtf.csrf import CSRFError, CSRFProtect
from werkzeug.exceptions import HTTPException

from scheduler.errors import AfterrainError, BookError, FarmError
from scheduler.language.translation import N_, SOURCE, _, set_language
from scheduler.web import crew_order, forms, guard, pages, replan, template_context
from scheduler.web.access import Access, read_access
from scheduler.web.context import EXTENSION, AppContext, app_context
from scheduler.web.planner import Planner

#: Texts for what a browser can get wrong, by HTTP status.
HTTP_ERRORS = {
    404: N_("there is no such page"),
    405: N_("this page is not asked that way"),
    413: N_("that is too much for a form"),
}


def create_app(
    folder: Path,
    *,
    planner: Planner | None = None,
    locked: bool = False,
    access: Access | None = None,
    now: Callable[[], datetime] | None = None,
    names: frozenset[str] = frozenset(),
) -> Flask:
    """Build the page of a farm folder.

    Parameters
    ----------
    locked : whether the passphrase is asked for (on the farm network).
    access : secrets of the folder; read from its access file by default.
    now : gives the time now, aware; the machine's clock by default.
    names : further names this machine is reached by.
    """
    access = access or read_access(folder)
    app = Flask("scheduler.web")
    app.extensions[EXTENSION] = AppContext(folder, planner or Planner(folder), access, now)
    app.before_request(speak_language)
    guard.register(app, access, locked=locked, names=guard.machine_names() | names)
    CSRFProtect(app)
    template_context.register(app, locked)
    _register_errors(app)
    for views in (pages, forms, replan, crew_order):
        views.register(app)
    return app


def speak_language() -> None:
    """Answer a request in the language of the farm; in English where the farm cannot be read."""
    try:
        set_language(app_context().farm().language)
    except FarmError:
        set_language(SOURCE)


def _register_errors(app: Flask) -> None:
    """Show every error on one page, with what to do."""

    def page(code: int, text: str) -> tuple[str, int]:
        return render_template("error.html", text=text, code=code), code

    @app.errorhandler(BookError)
    @app.errorhandler(AfterrainError)
    def user_error(error: AfterrainError) -> tuple[str, int]:
        return page(409 if isinstance(error, BookError) else 422, str(error))

    @app.errorhandler(CSRFError)
    def csrf_error(error: CSRFError) -> tuple[str, int]:
        return page(400, _("this form is too old or not ours: go back, load the page again"))

    @app.errorhandler(HTTPException)
    def http_error(error: HTTPException) -> tuple[str, int]:
        code = error.code or 400
        text = error.description
        if text is None or text == type(error).description:  # the library's own words
            text = _(HTTP_ERRORS.get(code, N_("that cannot be read")))
        return page(code, text)
