"""The SQLite file of the season book: tables, versions and copies."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path

from scheduler.atomic import replacement, touch_private
from scheduler.errors import BookError

BOOK_FILE = "book.sqlite"
#: Mark of a season book in the header of the file.
APPLICATION_ID = 0x61667472
#: Longest wait for other writers, s; assumed, because a write takes milliseconds.
WAIT_S = 30.0

_REFUSE = """CREATE TRIGGER {table}_{verb} BEFORE {verb} ON {table}
    BEGIN SELECT RAISE(ABORT, 'the season book is added to, never changed'); END"""


def _append_only(table: str) -> tuple[str, ...]:
    """Triggers that refuse to change or delete rows of a table."""
    return tuple(_REFUSE.format(table=table, verb=verb) for verb in ("UPDATE", "DELETE"))


#: Statements that bring a book from one version to the next; the first make version 1.
MIGRATIONS: tuple[tuple[str, ...], ...] = (
    (
        """CREATE TABLE entry (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            kind TEXT NOT NULL,
            subject TEXT NOT NULL,
            at TEXT NOT NULL,
            noted TEXT NOT NULL,
            who TEXT NOT NULL DEFAULT '',
            facts TEXT NOT NULL CHECK (json_valid(facts)),
            replaces INTEGER UNIQUE REFERENCES entry (id),
            withdrawn INTEGER NOT NULL DEFAULT 0 CHECK (withdrawn IN (0, 1)),
            CHECK (withdrawn = 0 OR replaces IS NOT NULL)
        ) STRICT""",
        "CREATE INDEX entry_of ON entry (kind, subject)",
        *_append_only("entry"),
    ),
    (  # tokens, so that a form sent twice counts once; documents of plans
        "DROP TRIGGER entry_UPDATE",
        "ALTER TABLE entry ADD COLUMN token TEXT",
        "UPDATE entry SET token = lower(hex(randomblob(16)))",
        "CREATE UNIQUE INDEX entry_token ON entry (token)",
        _REFUSE.format(table="entry", verb="UPDATE"),
        """CREATE TABLE plan (
            entry INTEGER PRIMARY KEY REFERENCES entry (id),
            document TEXT NOT NULL CHECK (json_valid(document))
        ) STRICT""",
        *_append_only("plan"),
    ),
)
VERSION = len(MIGRATIONS)


def open_book(path: Path) -> sqlite3.Connection:
    """Open the file of a book, or make it, and bring its tables to `VERSION`.

    Only the owner may read a book made here, which holds money.

    Raises
    ------
    BookError
        Where the file is no season book, is damaged, or was written by a later version.
    """
    with suppress(OSError):  # the next step says why the file cannot be opened
        touch_private(path)
    try:
        db = sqlite3.connect(path, timeout=WAIT_S, isolation_level=None, check_same_thread=False)
    except sqlite3.Error as error:
        raise _book_error(path, error) from None
    try:
        _prepare(db, path)
    except sqlite3.Error as error:
        db.close()
        raise _book_error(path, error) from None
    except BookError:
        db.close()
        raise
    return db


def _pragma(db: sqlite3.Connection, name: str) -> int:
    """A setting of the database that is a number."""
    return int(db.execute(f"PRAGMA {name}").fetchone()[0])


def _prepare(db: sqlite3.Connection, path: Path) -> None:
    """Set the connection up, refuse files of others, and bring the tables to `VERSION`."""
    db.execute("PRAGMA foreign_keys = ON")
    db.execute("PRAGMA synchronous = FULL")
    db.execute("BEGIN")  # one view of all three: another program may be making the book
    version, application = _pragma(db, "user_version"), _pragma(db, "application_id")
    tables = db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    db.execute("COMMIT")
    if application != APPLICATION_ID and (tables or version):
        raise BookError(f"{path} is not a season book: move it away")
    if version > VERSION:
        raise BookError(
            f"{path} was written by a later version ({version}, here {VERSION}): update "
            "afterrain on this machine"
        )
    if version < VERSION:
        _keep_write_ahead_log(db)
        with transaction(db, path):
            _migrate(db)


def _keep_write_ahead_log(db: sqlite3.Connection) -> None:
    """Turn the write-ahead log on.

    SQLite refuses this at once, without its usual wait, while another program does the same.
    """
    until = time.monotonic() + WAIT_S
    while True:
        try:
            db.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode != sqlite3.SQLITE_BUSY or time.monotonic() > until:
                raise
        time.sleep(0.01)


def _migrate(db: sqlite3.Connection) -> None:
    """Run the missing migrations within the transaction of the caller."""
    for number in range(_pragma(db, "user_version"), VERSION):
        for statement in MIGRATIONS[number]:
            db.execute(statement)
    db.execute(f"PRAGMA user_version = {VERSION}")
    db.execute(f"PRAGMA application_id = {APPLICATION_ID}")


@contextmanager
def transaction(db: sqlite3.Connection, path: Path) -> Iterator[None]:
    """A transaction that holds the write lock from its start; on disk when the block ends."""
    try:
        db.execute("BEGIN IMMEDIATE")
        try:
            yield
        except BaseException:
            db.execute("ROLLBACK")
            raise
        db.execute("COMMIT")
    except sqlite3.Error as error:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise _book_error(path, error) from None


def integrity(db: sqlite3.Connection) -> str:
    """'ok', or the faults of the file."""
    lost = db.execute("PRAGMA foreign_key_check").fetchall()
    text: str = db.execute("PRAGMA integrity_check").fetchone()[0]
    faults = [text] if text != "ok" else []
    faults += [f"corrections of missing entries: {len(lost)}"] if lost else []
    return "; ".join(faults) or "ok"


def copy_book(db: sqlite3.Connection, path: Path, to: Path) -> None:
    """Copy the book at `path` whole or not at all, while others go on writing.

    Raises
    ------
    BookError
        Where the book is damaged, or `to` is the book itself.
    """
    if to.resolve() == path.resolve():
        raise BookError(f"{to} is the book itself: name another file")
    try:
        with replacement(to, private=True) as part, closing(sqlite3.connect(part)) as copy:
            db.backup(copy)
            copy.execute("PRAGMA journal_mode = DELETE")
            if (fault := integrity(copy)) != "ok":
                raise BookError(f"{path} is damaged ({fault}): keep it and its last copy")
    except sqlite3.Error as error:
        raise _book_error(path, error) from None


def _book_error(path: Path, error: sqlite3.Error) -> BookError:
    """A database error as one line that says what to do."""
    text = str(error)
    remedies: tuple[tuple[str, str], ...] = (
        ("not a database", "is not a season book: move it away"),
        ("malformed", "is damaged: keep it, and go on from your last `afterrain backup`"),
        ("locked", "is locked by another program: close it, then try again"),
        ("readonly", "cannot be written: check the folder's permissions"),
        ("full", "cannot be written, the disk is full; what was acknowledged before is kept"),
        ("disk I/O", "cannot be used: the disk is full, or fails; make room, then try again"),
        ("unable to open", "cannot be opened: check the folder's permissions"),
    )
    remedy = next((r for part, r in remedies if part in text), f"cannot be used ({text})")
    return BookError(f"{path} {remedy}")
