"""People with their links, phones logged in, refused logins: a file that only its owner reads.

Neither a link nor a session stands in the file: only a digest does, made with the farm's key. A new
passphrase comes with a new key, which ends all of them.
"""

from __future__ import annotations

import hmac
import secrets
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from scheduler.atomic import touch_private
from scheduler.errors import AfterrainError
from scheduler.farm.wording import one_line
from scheduler.language.translation import _
from scheduler.web.access.passphrase import Access

STATE_FILE = "people.sqlite"
LINK_LIFETIME = timedelta(days=120)  # assumed, a season
SESSION_LIFETIME = timedelta(days=30)  # assumed, because nobody types daily on a phone in the cab
#: Age of 'last seen' from which it is written again; assumed, because each write waits for a disk.
SEEN_STEP = timedelta(minutes=10)
MAX_NAME_CHARS, MAX_DEVICE_CHARS = 60, 120
REFUSALS_KEPT = 1000  # refused logins, the latest
WAIT_S = 30.0  # longest wait for another writer, s; assumed, because a write takes milliseconds

_TABLES = """
CREATE TABLE IF NOT EXISTS person (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    name TEXT NOT NULL UNIQUE COLLATE NOCASE,
    crew TEXT NOT NULL,
    nonce TEXT NOT NULL,
    digest TEXT NOT NULL UNIQUE,
    made TEXT NOT NULL,
    seen TEXT,
    ended TEXT
) STRICT;
CREATE TABLE IF NOT EXISTS phone (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    digest TEXT NOT NULL UNIQUE,
    device TEXT NOT NULL,
    made TEXT NOT NULL,
    seen TEXT NOT NULL,
    ended TEXT
) STRICT;
CREATE TABLE IF NOT EXISTS refusal (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    at TEXT NOT NULL,
    address TEXT NOT NULL
) STRICT;
"""


@dataclass(frozen=True, kw_only=True)
class Person:
    """A driver.

    Attributes
    ----------
    crew : id of the crew that the person drives for.
    token : end of the link's address; "" where the link has ended.
    made, seen : when the link was made and last used, UTC; `seen` is None before.
    """

    id: int
    name: str
    crew: str
    token: str
    made: datetime
    seen: datetime | None


@dataclass(frozen=True, kw_only=True)
class Phone:
    """A browser that is logged in, by the name it gives itself; times UTC."""

    id: int
    device: str
    made: datetime
    seen: datetime


class PrivateState:
    """The private state of a farm folder; safe to call from many threads.

    Parameters
    ----------
    clock : gives the time now, aware; the machine's clock by default.
    """

    def __init__(
        self, folder: Path, access: Access, clock: Callable[[], datetime] | None = None
    ) -> None:
        self.path, self._access = folder / STATE_FILE, access
        self._clock = clock or (lambda: datetime.now(UTC))
        touch_private(self.path)
        with self._write() as db:
            for statement in _TABLES.split(";"):
                db.execute(statement)

    # People and their links.

    def people(self) -> list[Person]:
        """Everybody, by name."""
        with self._read() as db:
            rows = db.execute(f"SELECT {_PERSON} FROM person ORDER BY name COLLATE NOCASE")
            return [self._person(row) for row in rows]

    def add_person(self, name: str, crew: str) -> Person:
        """Add a driver with a fresh link.

        Raises
        ------
        AfterrainError
            Where the name is blank, too long or taken.
        """
        name = one_line(name)
        if not name or len(name) > MAX_NAME_CHARS:
            raise AfterrainError(
                _("give the driver's name, at most {most} characters", most=MAX_NAME_CHARS)
            )
        nonce, now = secrets.token_hex(16), self._now()
        try:
            with self._write() as db:
                db.execute(
                    "INSERT INTO person (name, crew, nonce, digest, made) VALUES (?, ?, ?, ?, ?)",
                    (name, crew, nonce, self._link_digest(nonce), now),
                )
        except sqlite3.IntegrityError:
            raise AfterrainError(
                _("there is a {name} already: add the family name", name=name)
            ) from None
        return next(p for p in self.people() if p.name == name)

    def renew_link(self, number: int) -> None:
        """Give a person a fresh link; the link before ends."""
        nonce = secrets.token_hex(16)
        with self._write() as db:
            db.execute(
                "UPDATE person SET nonce = ?, digest = ?, made = ?, seen = NULL, ended = NULL"
                " WHERE id = ?",
                (nonce, self._link_digest(nonce), self._now(), number),
            )

    def end_link(self, number: int) -> None:
        """End the link of one person."""
        with self._write() as db:
            db.execute(
                "UPDATE person SET ended = ? WHERE id = ? AND ended IS NULL", (self._now(), number)
            )

    def move_person(self, number: int, crew: str) -> None:
        """Let a person drive for another crew."""
        with self._write() as db:
            db.execute("UPDATE person SET crew = ? WHERE id = ?", (crew, number))

    def person_of(self, token: str) -> Person | None:
        """Whom a link belongs to; None where it is forged, has ended, or is too old."""
        with self._read() as db:
            row = db.execute(
                f"SELECT {_PERSON} FROM person WHERE digest = ?", (self._digest(token),)
            ).fetchone()
        person = None if row is None else self._person(row)
        if person is None or not person.token:
            return None
        if person.seen is None or self._clock() - person.seen > SEEN_STEP:
            self._mark_seen("person", person.id)
        return person

    # Phones that are logged in.

    def open_session(self, device: str) -> str:
        """Log a browser in; return the secret that its cookie carries."""
        secret, now = secrets.token_urlsafe(32), self._now()
        with self._write() as db:
            db.execute(
                "INSERT INTO phone (digest, device, made, seen) VALUES (?, ?, ?, ?)",
                (self._digest(secret), one_line(device)[:MAX_DEVICE_CHARS], now, now),
            )
        return secret

    def phone_of(self, secret: str) -> Phone | None:
        """Phone that a secret logs in; None where its session has ended or is too old."""
        with self._read() as db:
            row = db.execute(
                f"SELECT {_PHONE} FROM phone WHERE digest = ? AND ended IS NULL AND made > ?",
                (self._digest(secret), self._now(SESSION_LIFETIME)),
            ).fetchone()
        if row is None:
            return None
        phone = _phone(row)
        if self._clock() - phone.seen > SEEN_STEP:
            self._mark_seen("phone", phone.id)
        return phone

    def phones(self) -> list[Phone]:
        """Phones that are logged in, the last seen first."""
        with self._read() as db:
            rows = db.execute(
                f"SELECT {_PHONE} FROM phone WHERE ended IS NULL AND made > ? ORDER BY seen DESC",
                (self._now(SESSION_LIFETIME),),
            )
            return [_phone(row) for row in rows]

    def end_session(self, number: int) -> None:
        """Log one phone out; its cookie is dead from now on."""
        with self._write() as db:
            db.execute(
                "UPDATE phone SET ended = ? WHERE id = ? AND ended IS NULL", (self._now(), number)
            )

    # Refused logins.

    def note_refusal(self, address: str) -> None:
        """Keep when and from which address a wrong passphrase came; never the passphrase."""
        with self._write() as db:
            db.execute("INSERT INTO refusal (at, address) VALUES (?, ?)", (self._now(), address))
            db.execute(
                "DELETE FROM refusal WHERE id <= (SELECT max(id) FROM refusal) - ?",
                (REFUSALS_KEPT,),
            )

    def refusals(self, count: int) -> list[tuple[datetime, str]]:
        """Time (UTC) and address of the latest wrong passphrases, the last first."""
        with self._read() as db:
            rows = db.execute("SELECT at, address FROM refusal ORDER BY id DESC LIMIT ?", (count,))
            return [(datetime.fromisoformat(at), str(address)) for at, address in rows]

    def _person(self, row: tuple[int, str, str, str, str, str, str | None, str | None]) -> Person:
        number, name, crew, nonce, digest, made, seen, ended = row
        token, begun = self._token(nonce), datetime.fromisoformat(made)
        works = ended is None and digest == self._digest(token)
        works = works and self._clock() - begun < LINK_LIFETIME
        return Person(
            id=number,
            name=name,
            crew=crew,
            token=token if works else "",
            made=begun,
            seen=None if seen is None else datetime.fromisoformat(seen),
        )

    def _token(self, nonce: str) -> str:
        """End of a link's address: only the key gives it, so that a copied file opens nothing."""
        return hmac.digest(self._access.key.encode(), f"link {nonce}".encode(), "sha256").hex()

    def _link_digest(self, nonce: str) -> str:
        return self._digest(self._token(nonce))

    def _digest(self, secret: str) -> str:
        return hmac.digest(self._access.key.encode(), secret.encode(), "sha256").hex()

    def _now(self, before: timedelta = timedelta(0)) -> str:
        """UTC as text that sorts by time."""
        return (self._clock().astimezone(UTC) - before).isoformat(timespec="seconds")

    def _mark_seen(self, table: str, number: int) -> None:
        with self._write() as db:
            db.execute(f"UPDATE {table} SET seen = ? WHERE id = ?", (self._now(), number))

    @contextmanager
    def _read(self) -> Iterator[sqlite3.Connection]:
        with closing(sqlite3.connect(self.path, timeout=WAIT_S, isolation_level=None)) as db:
            yield db

    @contextmanager
    def _write(self) -> Iterator[sqlite3.Connection]:
        """A transaction that is on disk when the block ends without an error."""
        with self._read() as db:
            db.execute("BEGIN IMMEDIATE")
            try:
                yield db
            except BaseException:
                db.execute("ROLLBACK")
                raise
            db.execute("COMMIT")


_PERSON = "id, name, crew, nonce, digest, made, seen, ended"
_PHONE = "id, device, made, seen"


def _phone(row: tuple[int, str, str, str]) -> Phone:
    number, device, made, seen = row
    return Phone(
        id=number,
        device=device,
        made=datetime.fromisoformat(made),
        seen=datetime.fromisoformat(seen),
    )
