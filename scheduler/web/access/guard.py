"""Checks before every request, headers on every answer, and the login."""

from __future__ import annotations

import ipaddress
import socket
import sys
import threading
import time
from datetime import UTC, datetime
from urllib.parse import urlsplit

from flask import (
    Flask,
    Response,
    abort,
    redirect,
    render_template,
    request,
    session,
    url_for,
)
from flask_wtf.csrf import CSRFProtect
from werkzeug.wrappers import Response as AnyResponse

from scheduler.language.translation import _
from scheduler.web.access.passphrase import Access, LoginAttempts
from scheduler.web.access.private_state import SESSION_LIFETIME, PrivateState

#: Largest form; assumed, the largest of ours has 4 kB.
MAX_FORM_BYTES, MAX_FORM_PARTS = 64 * 1024, 100
#: Need no passphrase; a driver's link is checked by its own views.
OPEN_ENDPOINTS = (
    "login",
    "open_session",
    "driver",
    "driver_act",
    "driver_alive",
    "driver_entry",
    "driver_manifest",
    "driver_map",
    "driver_undo",
    "manifest",
    "offline",
    "service_worker",
    "alive",
    "shades_css",
    "static",
)
#: Header by which the script of the page sends an entry that a phone kept. Another site cannot set
#: it without asking this page first, which the page never allows, so it stands for a form's token.
KEPT_ENTRY = "X-Kept-Entry"

HEADERS = {
    "Content-Security-Policy": "default-src 'none'; style-src 'self'; script-src 'self'; "
    "img-src 'self' data:; connect-src 'self'; manifest-src 'self'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=(self)",
}
#: Content policy of stored pages, which carry their own style and pictures, and no script.
SHEET_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; "
    "frame-ancestors 'none'; sandbox"
)


def register(
    app: Flask, access: Access, state: PrivateState, *, locked: bool, names: frozenset[str]
) -> None:
    """Guard the app.

    Parameters
    ----------
    locked : whether the passphrase is asked for (on the farm network).
    names : names of this machine in addresses.
    """
    app.config.update(
        SECRET_KEY=access.key,
        SESSION_COOKIE_NAME="afterrain",
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Strict",
        PERMANENT_SESSION_LIFETIME=SESSION_LIFETIME,
        MAX_CONTENT_LENGTH=MAX_FORM_BYTES,
        MAX_FORM_MEMORY_SIZE=MAX_FORM_BYTES,
        MAX_FORM_PARTS=MAX_FORM_PARTS,
        WTF_CSRF_TIME_LIMIT=None,
        WTF_CSRF_CHECK_DEFAULT=False,
    )
    _register_checks(app, state, locked=locked, names=names)
    _register_login(app, access, state)


def is_kept_entry() -> bool:
    """Whether the request is an entry that a phone kept, sent by the script of the page."""
    return KEPT_ENTRY in request.headers


def is_farmer(state: PrivateState) -> bool:
    """Whether the request comes from a phone that the passphrase logged in."""
    return state.phone_of(str(session.get("phone", ""))) is not None


def machine_names() -> frozenset[str]:
    """Names by which addresses may call this machine."""
    name = socket.gethostname().lower()
    return frozenset({"localhost", name, f"{name}.local", name.split(".")[0]})


def host_allowed(host: str, names: frozenset[str]) -> bool:
    """Whether the Host of a request is this machine: one of its names, or a local number.

    A stranger can point a name of their own at this machine.
    """
    try:
        bare = urlsplit(f"//{host}").hostname or ""
    except ValueError:
        return False
    try:
        address = ipaddress.ip_address(bare)
    except ValueError:
        return bare in names
    return address.is_loopback or address.is_private


def _register_checks(
    app: Flask, state: PrivateState, *, locked: bool, names: frozenset[str]
) -> None:
    csrf = CSRFProtect(app)

    @app.before_request
    def check() -> AnyResponse | None:
        if not host_allowed(request.headers.get("Host", ""), names):
            abort(421, _("this address is not the page's own: use the one that `serve` printed"))
        origin, own = request.headers.get("Origin"), request.host_url.rstrip("/")
        if request.method == "POST" and origin not in (None, own):
            abort(403, _("this form was sent from another page"))
        if locked and request.endpoint not in OPEN_ENDPOINTS and not is_farmer(state):
            if request.method == "POST":
                abort(401, _("log in again, then send it once more"))
            return redirect(url_for("login"))
        if app.config["WTF_CSRF_ENABLED"] and not (is_kept_entry() and origin == own):
            csrf.protect()
        return None

    @app.after_request
    def add_headers(answer: Response) -> Response:
        for name, value in HEADERS.items():
            answer.headers.setdefault(name, value)
        if request.endpoint != "static":
            answer.headers["Cache-Control"] = "no-store"
        return answer


def _register_login(app: Flask, access: Access, state: PrivateState) -> None:
    attempts, hashing = LoginAttempts(), threading.Lock()

    def refusal(text: str) -> str:
        """Why the passphrase is refused; empty where it is accepted."""
        address, now = request.remote_addr or "", time.monotonic()
        with hashing:  # one at a time, because a hash takes 32 MB
            if (pause := attempts.wait(address, now)) > 0:
                return _("too many wrong passphrases: wait {seconds} seconds", seconds=round(pause))
            if not access.accepts(text):
                attempts.failed(address, now)
                state.note_refusal(address)
                when = datetime.now(UTC).isoformat(sep=" ", timespec="seconds")
                print(f"{when} wrong passphrase from {address}", file=sys.stderr, flush=True)
                return _("that is not the passphrase")
        attempts.passed(address)
        return ""

    @app.get("/login")
    def login() -> str:
        return render_template("login.html", wrong="")

    @app.post("/login")
    def open_session() -> AnyResponse | tuple[str, int]:
        wrong = refusal(request.form.get("passphrase", "")[:200])
        if wrong:
            return render_template("login.html", wrong=wrong), 403
        session.clear()
        session["phone"] = state.open_session(request.headers.get("User-Agent", ""))
        session.permanent = True
        return redirect(url_for("today"), 303)

    @app.post("/logout")
    def logout() -> AnyResponse:
        phone = state.phone_of(str(session.get("phone", "")))
        if phone is not None:
            state.end_session(phone.id)
        session.clear()
        # in the address, because a page that loads meanwhile writes its own session cookie
        return redirect(url_for("login", out=1), 303)
