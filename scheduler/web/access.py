"""Who may see and write the page: passphrase, sessions, crews' links, hosts, headers."""

from __future__ import annotations

import hashlib
import hmac
import ipaddress
import json
import secrets
import socket
import threading
import time
from collections import OrderedDict
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from urllib.parse import urlsplit

from flask import Flask, Response, abort, redirect, request, session, url_for
from itsdangerous import BadSignature, URLSafeTimedSerializer
from werkzeug.wrappers import Response as AnyResponse

from scheduler.atomic import write_file
from scheduler.errors import AfterrainError

ACCESS_FILE = "access.json"
#: scrypt cost for interactive logins, 32 MB (RFC 7914 names r = 8, p = 1; N is assumed).
SCRYPT_COST = {"n": 2**15, "r": 8, "p": 1}
MIN_PASSPHRASE_CHARS = (
    10  # of a passphrase; assumed, because the farm network is shared with neighbours
)
SESSION_LIFETIME = timedelta(
    days=30
)  # assumed, because a phone in the cab is not typed on every day
LINK_LIFETIME = timedelta(days=120)  # how long a crew's link works; assumed, a season
FREE_ATTEMPTS, FIRST_WAIT_S, MAX_WAIT_S = (
    5,
    30.0,
    900.0,
)  # wrong passphrases, then waits that double
MAX_ADDRESSES = 1000  # addresses whose tries are kept
MAX_FORM_BYTES, MAX_FORM_PARTS = 64 * 1024, 100  # of a form; assumed, the largest of ours is 4 kB

HEADERS = {
    "Content-Security-Policy": "default-src 'none'; style-src 'self'; script-src 'self'; "
    "img-src 'self' data:; connect-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
}
#: The sheet carries its own style and pictures, and no script.
SHEET_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; "
    "frame-ancestors 'none'; sandbox"
)


@dataclass(frozen=True, kw_only=True)
class Access:
    """The secrets of a farm folder: a key that signs, and a passphrase's hash if one is set."""

    key: str
    passphrase: str = ""

    def opens(self, text: str) -> bool:
        """Whether a text is the passphrase."""
        salt, _, known = self.passphrase.partition("$")
        return bool(known) and hmac.compare_digest(_hash(text, bytes.fromhex(salt)), known)

    def links(self) -> URLSafeTimedSerializer:
        """What signs crews' links."""
        return URLSafeTimedSerializer(self.key, salt="crew link")


def _hash(text: str, salt: bytes) -> str:
    digest = hashlib.scrypt(text.encode(), salt=salt, maxmem=2**26, dklen=32, **SCRYPT_COST)
    return digest.hex()


def read_access(folder: Path) -> Access:
    """The access file, made where there is none."""
    try:
        stored = json.loads((folder / ACCESS_FILE).read_text())
        return Access(key=str(stored["key"]), passphrase=str(stored["passphrase"]))
    except FileNotFoundError:
        return _write(folder, Access(key=secrets.token_hex(32)))
    except (OSError, ValueError, KeyError, TypeError):
        raise AfterrainError(
            f"{folder / ACCESS_FILE} cannot be read: remove it, and set the passphrase again"
        ) from None


def set_passphrase(folder: Path, text: str) -> Access:
    """Set the passphrase; all sessions and crews' links end with the old key."""
    if len(text) < MIN_PASSPHRASE_CHARS:
        raise AfterrainError(
            f"a passphrase needs at least {MIN_PASSPHRASE_CHARS} characters: use words"
        )
    salt = secrets.token_bytes(16)
    hashed = f"{salt.hex()}${_hash(text, salt)}"
    return _write(folder, Access(key=secrets.token_hex(32), passphrase=hashed))


def _write(folder: Path, access: Access) -> Access:
    content = json.dumps({"key": access.key, "passphrase": access.passphrase})
    write_file(folder / ACCESS_FILE, content, private=True)
    return access


class LoginAttempts:
    """Wrong passphrases by address: after `FREE_ATTEMPTS` each costs a wait that doubles."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._wrong: OrderedDict[str, tuple[int, float]] = OrderedDict()

    def wait(self, address: str, now: float) -> float:
        """Seconds until the address may try again."""
        with self._lock:
            wrong, last = self._wrong.get(address, (0, 0.0))
        if wrong < FREE_ATTEMPTS:
            return 0.0
        pause = min(MAX_WAIT_S, FIRST_WAIT_S * 2.0 ** min(wrong - FREE_ATTEMPTS, 10))
        return max(0.0, last + pause - now)

    def failed(self, address: str, now: float) -> None:
        """Count a wrong passphrase."""
        with self._lock:
            wrong, _ = self._wrong.pop(address, (0, 0.0))
            self._wrong[address] = wrong + 1, now
            while len(self._wrong) > MAX_ADDRESSES:
                self._wrong.popitem(last=False)

    def passed(self, address: str) -> None:
        """Forget an address that knew the passphrase."""
        with self._lock:
            self._wrong.pop(address, None)


def machine_names() -> frozenset[str]:
    """Names this machine may be called by in an address."""
    name = socket.gethostname().lower()
    return frozenset({"localhost", name, f"{name}.local", name.split(".")[0]})


def host_allowed(host: str, names: frozenset[str]) -> bool:
    """Whether the Host of a request is this machine: one of its names, or a local number.

    A name that is not ours may be an outsider's that was pointed here.
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


def guard(app: Flask, access: Access, *, locked: bool, names: frozenset[str]) -> None:
    """Check every request, and give every answer its headers.

    Parameters
    ----------
    locked : ask for the passphrase (on the farm network).
    """
    tries, one = LoginAttempts(), threading.Lock()
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
    )
    open_to_all = {"login", "crew", "static"}

    @app.before_request
    def check() -> AnyResponse | None:
        if not host_allowed(request.headers.get("Host", ""), names):
            abort(421, "this address is not the page's own: use the one that `serve` printed")
        origin = request.headers.get("Origin")
        if request.method == "POST" and origin not in (None, request.host_url.rstrip("/")):
            abort(403, "this form was sent from another page")
        if not locked or request.endpoint in open_to_all or session.get("in"):
            return None
        if request.method == "POST":
            abort(401, "log in again, then send it once more")
        return redirect(url_for("login"))

    @app.after_request
    def headers(answer: Response) -> Response:
        for name, value in HEADERS.items():
            answer.headers.setdefault(name, value)
        if request.endpoint != "static":
            answer.headers["Cache-Control"] = "no-store"
        return answer

    def enter(text: str) -> str:
        """Open the session with a passphrase; what is wrong, '' where nothing is."""
        address, now = request.remote_addr or "", time.monotonic()
        with one:  # one hash at a time: it takes 32 MB
            if (pause := tries.wait(address, now)) > 0:
                return f"too many wrong passphrases: wait {pause:.0f} seconds"
            if not access.opens(text):
                tries.failed(address, now)
                return "that is not the passphrase"
        tries.passed(address)
        session.clear()
        session["in"] = True
        session.permanent = True
        return ""

    app.extensions["enter"] = enter


def crew_of(access: Access, token: str) -> str | None:
    """The crew a link is for; None where it is forged or too old."""
    try:
        crew = access.links().loads(token, max_age=int(LINK_LIFETIME.total_seconds()))
    except BadSignature:
        return None
    return crew if isinstance(crew, str) else None
