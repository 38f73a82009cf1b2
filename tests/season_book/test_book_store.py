"""The file of the season book: versions, foreign files, copies."""

import sqlite3
from contextlib import closing, suppress
from datetime import UTC, datetime

import pytest

from scheduler.errors import BookError
from scheduler.season_book import store as book_store
from scheduler.season_book.book import Book, book_problems
from scheduler.season_book.entry_kinds import Entry
from scheduler.season_book.store import BOOK_FILE, MIGRATIONS

NOW = datetime(2026, 8, 16, 11, tzinfo=UTC)


@pytest.fixture
def book(tmp_path):
    with Book(tmp_path) as opened:
        yield opened


def test_a_book_that_another_program_makes_meanwhile_opens(tmp_path, monkeypatch):
    read, tried = book_store._pragma, []

    def meanwhile(db, name):
        found = read(db, name)
        if name == "application_id" and not tried:
            tried.append(name)
            with suppress(BookError):
                Book(tmp_path).close()
        return found

    monkeypatch.setattr(book_store, "WAIT_S", 0.0)
    monkeypatch.setattr(book_store, "_pragma", meanwhile)
    with Book(tmp_path) as opened:
        assert tried
        assert opened.integrity() == "ok"


def test_pragmas_make_writes_durable(book):
    def pragma(name):
        return book._db.execute(f"PRAGMA {name}").fetchone()[0]

    assert pragma("journal_mode") == "wal"
    assert pragma("synchronous") == 2  # FULL
    assert pragma("foreign_keys") == 1
    assert pragma("user_version") == len(MIGRATIONS)
    assert book.integrity() == "ok"


def version_1(path):
    """A book as version 1 wrote it, with an entry and its correction."""
    db = sqlite3.connect(path)
    for statement in MIGRATIONS[0]:
        db.execute(statement)
    db.execute(f"PRAGMA application_id = {book_store.APPLICATION_ID}")
    db.execute("PRAGMA user_version = 1")
    row = (
        "INSERT INTO entry (kind, subject, at, noted, who, facts, replaces) VALUES (?,?,?,?,?,?,?)"
    )
    at, noted = "2026-08-16T11:00:00Z", "2026-08-16T11:00:00.000000Z"
    db.execute(row, ("rain", "NORTH", at, noted, "Ann", '{"rain": 62.0}', None))
    db.execute(row, ("rain", "NORTH", at, noted, "Ann", '{"rain": 6.2}', 1))
    db.commit()
    db.close()


def test_a_version_1_book_opens_with_all_it_had(tmp_path):
    version_1(tmp_path / BOOK_FILE)
    with Book(tmp_path) as book:
        assert [e.facts["rain"] for e in book.entries()] == [6.2]
        tokens = {e.token for e in book.entries(superseded=True)}
        assert len(tokens) == 2
        assert all(tokens)
        book.issue_plan({"made": "2026-08-16T11:00:00Z", "money": {"loss": 1.0}}, seen=2)
        assert book.integrity() == "ok"
        with pytest.raises(sqlite3.IntegrityError, match="never changed"):
            book._db.execute("UPDATE entry SET who = 'x'")


def test_a_migration_that_fails_leaves_the_book_as_it_was(tmp_path, monkeypatch):
    version_1(tmp_path / BOOK_FILE)
    broken = (MIGRATIONS[0], (*MIGRATIONS[1], "CREATE TABLE plan (x)"))
    monkeypatch.setattr(book_store, "MIGRATIONS", broken)
    with pytest.raises(BookError):
        Book(tmp_path)
    monkeypatch.undo()
    with Book(tmp_path) as book:
        assert [e.facts["rain"] for e in book.entries()] == [6.2]


def test_foreign_files_are_refused_and_untouched(tmp_path):
    (tmp_path / BOOK_FILE).write_bytes(b"gauge,date,amount\n" * 100)
    with pytest.raises(BookError, match="is not a season book: move it away"):
        Book(tmp_path)
    (tmp_path / BOOK_FILE).unlink()
    db = sqlite3.connect(tmp_path / BOOK_FILE)
    db.execute("CREATE TABLE other (x)")
    db.commit()
    with pytest.raises(BookError, match="is not a season book: move it away"):
        Book(tmp_path)
    assert [r[0] for r in db.execute("SELECT name FROM sqlite_master")] == ["other"]
    db.execute("DROP TABLE other")
    db.execute(f"PRAGMA application_id = {book_store.APPLICATION_ID}")
    db.execute("PRAGMA user_version = 99")
    db.commit()
    db.close()
    with pytest.raises(BookError, match=r"later version \(99, here 2\): update"):
        Book(tmp_path)
    with pytest.raises(BookError, match="is not a folder"):
        Book(tmp_path / "nowhere")


def test_backup_is_a_complete_book(book, tmp_path):
    book.add(Entry(kind="rain", subject="NORTH", at=NOW, facts={"rain": 3.0}))
    elsewhere = tmp_path / "copies"
    elsewhere.mkdir()
    book.backup(elsewhere / BOOK_FILE)
    book.add(Entry(kind="rain", subject="NORTH", at=NOW, facts={"rain": 4.0}))
    assert [p.name for p in elsewhere.iterdir()] == [BOOK_FILE]
    with Book(elsewhere) as copy:
        assert [e.facts["rain"] for e in copy.entries()] == [3.0]
    with pytest.raises(BookError, match="the book itself"):
        book.backup(book.path)


def test_check_finds_a_correction_of_a_missing_entry(book, tmp_path):
    book.add(Entry(kind="rain", subject="NORTH", at=NOW, facts={"rain": 3.0}))
    assert book_problems(tmp_path) == []
    with closing(sqlite3.connect(book.path)) as db:  # checks no foreign keys
        db.execute(
            "INSERT INTO entry (kind, subject, at, noted, facts, replaces, token)"
            " VALUES ('rain', 'NORTH', '', '', '{}', 99, 'x')"
        )
        db.commit()
    assert [str(p) for p in book_problems(tmp_path)] == [
        "book.sqlite: is damaged (corrections of missing entries: 1); keep it, and go on from your "
        "last `afterrain backup`"
    ]


def test_a_folder_without_a_book_has_no_problems_of_it(tmp_path):
    assert book_problems(tmp_path) == []
