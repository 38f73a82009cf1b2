"""The season book: one SQLite file in the farm folder. Entries are added and never erased.

A correction is a new entry that `replaces` the older one. The database refuses to change or to
delete a row, and lets no two entries replace the same entry.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import pandas as pd

from readiness.season.inputs import Observation
from scheduler.errors import BookError, ConflictError, Problem
from scheduler.farm.model import Farm
from scheduler.language.translation import _
from scheduler.season_book import farm_state
from scheduler.season_book.entry_kinds import KINDS, Entry, Value
from scheduler.season_book.farm_state import Intervals
from scheduler.season_book.formatting import entry_text, entry_time_text
from scheduler.season_book.store import BOOK_FILE, copy_book, integrity, open_book, transaction

_COLUMNS = "e.id, kind, subject, at, noted, who, facts, replaces, withdrawn, token"
_SUPERSEDED = "EXISTS (SELECT 1 FROM entry r WHERE r.replaces = e.id)"


def _stamp(when: datetime, timespec: str = "seconds") -> str:
    """UTC as text that sorts by time."""
    utc = when.astimezone(UTC).replace(tzinfo=None)
    return f"{utc.isoformat(timespec=timespec)}Z"


class Book:
    """An open season book, made where there is none; a context manager.

    Raises
    ------
    BookError
        Where the file is no season book, is damaged, or was written by a later version.
    """

    def __init__(self, folder: str | Path) -> None:
        self.folder = Path(folder)
        self.path = self.folder / BOOK_FILE
        if not self.folder.is_dir():
            raise BookError(f"{folder} is not a folder: give your farm's folder")
        self._db = open_book(self.path)

    @staticmethod
    def exists(folder: str | Path) -> bool:
        """Whether a folder has a season book."""
        return (Path(folder) / BOOK_FILE).is_file()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        self._db.close()

    def add(self, entry: Entry, *, seen: int | None = None) -> Entry:
        """Write an entry; it is on disk when this returns.

        An entry whose token the book has is not written again.

        Parameters
        ----------
        seen : newest id that the writer has seen. An entry of an `exclusive` kind is refused
            where a newer entry about its subject is there.

        Returns
        -------
        The entry with its id and time of writing.

        Raises
        ------
        ConflictError
            Where somebody else wrote about the subject, or corrected the entry, in the meantime.
        """
        with transaction(self._db, self.path):
            return self._put(entry, seen)

    def add_all(self, entries: Iterable[Entry]) -> list[Entry]:
        """Write entries, all or none."""
        with transaction(self._db, self.path):
            return [self._put(e, None) for e in entries]

    def _put(self, entry: Entry, seen: int | None) -> Entry:
        """Write an entry within a transaction."""
        if (again := self.find(entry.token)) is not None:
            return again
        if entry.replaces is not None:
            self._check_replaces(entry)
        elif seen is not None and KINDS[entry.kind].exclusive:
            self._check_seen(entry, seen)
        noted = entry.noted or datetime.now(UTC)
        row = (
            entry.kind,
            entry.subject,
            _stamp(entry.at),
            _stamp(noted, "microseconds"),
            entry.by,
            json.dumps(entry.facts, allow_nan=False),
            entry.replaces,
            int(entry.withdrawn),
            entry.token,
        )
        made = self._db.execute(
            "INSERT INTO entry (kind, subject, at, noted, who, facts, replaces, withdrawn, token)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            row,
        )
        return replace(entry, id=int(made.lastrowid or 0), noted=noted)

    def _check_replaces(self, entry: Entry) -> None:
        """Raise where the entry that this one replaces is of another kind, or superseded."""
        old = self.get(entry.replaces or 0)
        if old.kind != entry.kind:
            raise BookError(f"entry {old.id} is a {old.kind}, not a {entry.kind}")
        if old.superseded:
            newer = next(e for e in self.entries(superseded=True) if e.replaces == old.id)
            fields = {"old": old.id, "who": newer.by or _("somebody"), "new": newer.id}
            if newer.withdrawn:
                raise ConflictError(
                    _(
                        "entry {old} was taken back by {who} in the meantime (entry {new}): look "
                        "at it, then correct that one",
                        **fields,
                    )
                )
            raise ConflictError(
                _(
                    "entry {old} was corrected by {who} in the meantime (entry {new}): look at it, "
                    "then correct that one",
                    **fields,
                )
            )

    def _check_seen(self, entry: Entry, seen: int) -> None:
        """Raise where an entry about the subject is newer than `seen`."""
        newer = [e for e in self.entries(entry.kind, subject=entry.subject) if e.id > seen]
        if newer:
            last = newer[-1]
            raise ConflictError(
                _(
                    "{who} wrote about {subject} in the meantime (entry {number}): look at it, "
                    "then write yours again if it still holds",
                    who=last.by or _("somebody"),
                    subject=last.subject,
                    number=last.id,
                )
            )

    def withdraw(self, number: int, *, by: str = "", token: str = "") -> Entry:
        """Take an entry back; it stays in the book, superseded.

        Parameters
        ----------
        token : token of the entry that takes it back; a new one by default.
        """
        old = self.get(number)
        fresh = Entry(kind=old.kind, subject=old.subject, at=old.at)
        return self.add(
            replace(
                old,
                token=token or fresh.token,
                by=by,
                replaces=old.id,
                withdrawn=not old.withdrawn,
                id=0,
                noted=None,
                superseded=False,
            )
        )

    def find(self, token: str) -> Entry | None:
        """The entry with a token."""
        return next(iter(self._select("token = ?", (token,))), None)

    def get(self, number: int) -> Entry:
        """The entry with an id; BookError where there is none."""
        found = self._select("e.id = ?", (number,))
        if not found:
            raise BookError(_("the book has no entry {number}", number=number))
        return found[0]

    def entries(
        self,
        *kinds: str,
        subject: str | None = None,
        until: datetime | None = None,
        superseded: bool = False,
    ) -> list[Entry]:
        """Entries in the order of writing.

        Parameters
        ----------
        kinds : all kinds where none is given.
        until : entries whose facts held by then, or that were written by then.
        superseded : whether entries that were corrected or taken back are included.
        """
        where, values = ["1"], list[str]()
        if kinds:
            where.append(f"kind IN ({', '.join('?' * len(kinds))})")
            values += kinds
        if subject is not None:
            where.append("subject = ?")
            values.append(subject)
        if until is not None:
            where.append("(at <= ? OR noted <= ?)")
            values += [_stamp(until), _stamp(until, "microseconds")]
        if not superseded:
            where.append(f"NOT withdrawn AND NOT {_SUPERSEDED}")
        return self._select(" AND ".join(where), values)

    def _select(self, where: str, values: Iterable[str | int]) -> list[Entry]:
        """Entries by an SQL condition, in the order of writing."""
        query = f"SELECT {_COLUMNS}, {_SUPERSEDED} FROM entry e WHERE {where} ORDER BY e.id"
        return [_entry(row) for row in self._db.execute(query, tuple(values))]

    @property
    def revision(self) -> int:
        """The newest id, which changes with every entry."""
        return int(self._db.execute("SELECT coalesce(max(id), 0) FROM entry").fetchone()[0])

    def backup(self, to: Path) -> None:
        """Copy the book whole or not at all, while others go on writing."""
        copy_book(self._db, self.path, to)

    def integrity(self) -> str:
        """'ok', or the faults of the file."""
        return integrity(self._db)

    # State of the farm as of `until`; see `scheduler.season_book.farm_state`.

    def observations(self, farm: Farm, until: datetime) -> list[Observation]:
        """What entries say of the fields; see `farm_state.observations`."""
        kinds = ("sample", "tough", "ground", "ticket", "falling", "begun", "cut")
        return farm_state.observations(self.entries(*kinds, until=until), farm, until)

    def gauges(self, until: datetime) -> pd.DataFrame:
        """Gauge readings: gauge, time (start of the reading, UTC), hours, mm."""
        return farm_state.gauges(self.entries("rain", until=until), until)

    def progress(self, farm: Farm, until: datetime) -> dict[str, float]:
        """Fraction cut by field id, that of fields.csv included."""
        return farm_state.progress(self.entries("cut", until=until), farm, until)

    def left_ha(
        self, farm: Farm, field: str, until: datetime, *, excluding: int | None = None
    ) -> float:
        """Area of a field left uncut, ha, without counting the entry `excluding`."""
        area = next(f.area_ha for f in farm.fields if f.id == field)
        cuts = [e for e in self.entries("cut", until=until) if e.id != excluding]
        return area * max(0.0, 1.0 - farm_state.progress(cuts, farm, until)[field])

    def in_progress(self, farm: Farm, until: datetime) -> dict[str, str]:
        """Crews by field begun lately and not finished; '' where unknown."""
        return farm_state.in_progress(self.entries("begun", "cut", until=until), farm, until)

    def harvest_begins(self, until: datetime) -> dict[str, datetime]:
        """When fields sprayed before harvest may be cut, UTC, by field id."""
        return farm_state.harvest_begins(self.entries("spray", until=until), until)

    def breakdowns(self, until: datetime) -> Intervals:
        """Breakdowns by machine id."""
        return farm_state.breakdowns(self.entries("down", "repaired", until=until))

    def absences(self, farm: Farm, until: datetime) -> dict[str, tuple[date, ...]]:
        """Whole days away by crew id."""
        return farm_state.absences(self.entries("absent", until=until), farm)

    def absent_intervals(self, until: datetime) -> Intervals:
        """Absences that end at a time, by crew id."""
        return farm_state.absent_intervals(self.entries("absent", until=until))

    def closures(self, farm: Farm, until: datetime) -> Intervals:
        """Closures by id of the delivery point."""
        return farm_state.closures(self.entries("notice", until=until), farm)

    def delivered(self, farm: Farm, until: datetime) -> dict[str, float]:
        """Storage that loads on tickets fill, tonnes of wheat, by delivery point id."""
        return farm_state.delivered(self.entries("ticket", until=until), farm, until)

    def manual_orders(self, farm: Farm, until: datetime) -> dict[str, tuple[str, ...]]:
        """Orders by hand that hold, by crew id: fields not yet cut, in order."""
        return farm_state.manual_orders(self.entries("order", "cut", until=until), farm, until)

    def issue_plan(self, document: dict[str, Any], *, seen: int, by: str = "") -> Entry:
        """Keep an issued plan (a `plan_json`); `seen` is the revision that it was made from."""
        loss = document.get("money", {}).get("loss")
        facts: dict[str, Value] = {"seen": float(seen)}
        if isinstance(loss, (int, float)):
            facts["loss"] = float(loss)
        at = datetime.fromisoformat(document["made"])
        with transaction(self._db, self.path):
            entry = self._put(Entry(kind="plan", subject="", at=at, by=by, facts=facts), None)
            self._db.execute(
                "INSERT INTO plan (entry, document) VALUES (?, ?)",
                (entry.id, json.dumps(document, allow_nan=False, separators=(",", ":"))),
            )
        return entry

    def last_plan(self, before: datetime | None = None) -> dict[str, Any] | None:
        """The document of the plan issued last, or of the last made before a time."""
        entry = self.last_issue(before)
        return None if entry is None else self.plan(entry.id)

    def last_issue(self, before: datetime | None = None) -> Entry | None:
        """The entry of the plan issued last, or of the last made before a time."""
        where, values = "kind = 'plan'", list[str]()
        if before is not None:
            where, values = f"{where} AND at < ?", [_stamp(before)]
        row = self._db.execute(f"SELECT max(id) FROM entry e WHERE {where}", values).fetchone()
        return None if row[0] is None else self.get(row[0])

    def entries_since(self, issue: Entry | None) -> list[Entry]:
        """Entries by hand that a plan did not know, those taken back since included."""
        seen = 0 if issue is None else issue.number("seen") or 0
        return [
            e
            for e in self.entries(superseded=True)
            if e.id > seen and KINDS[e.kind].by_hand and (not e.superseded or e.withdrawn)
        ]

    def news(self, farm: Farm, now: datetime) -> tuple[str, ...]:
        """Entries since the last plan made before `now`, a line each."""
        issue = self.last_issue(now)
        entries = self.entries_since(issue) if issue else ()
        return tuple(_news_line(e, farm, now) for e in entries if e.at <= now)

    def plan(self, number: int) -> dict[str, Any] | None:
        """The document of a plan by the id of its entry; None where it has none."""
        row = self._db.execute("SELECT document FROM plan WHERE entry = ?", (number,)).fetchone()
        return None if row is None else dict(json.loads(row[0]))


def book_problems(folder: str | Path) -> list[Problem]:
    """Faults in the file of a folder's season book; none where there is no book.

    Raises
    ------
    BookError
        Where the file cannot be opened as a season book.
    """
    if not Book.exists(folder):
        return []
    with Book(folder) as book:
        fault = book.integrity()
    if fault == "ok":
        return []
    remedy = "keep it, and go on from your last `afterrain backup`"
    return [Problem(file=BOOK_FILE, message=f"is damaged ({fault})", remedy=remedy)]


def _news_line(entry: Entry, farm: Farm, now: datetime) -> str:
    """An entry that a plan did not know."""
    by = f", {entry.by}" if entry.by else ""
    text = f"{entry_text(entry, farm)} ({entry_time_text(entry, farm, now)}{by})"
    if entry.withdrawn:
        return _("Taken back: {entry}", entry=text)
    return _("Entered: {entry}", entry=text)


def _entry(row: tuple[Any, ...]) -> Entry:
    """An entry from a row of `_COLUMNS` and `_SUPERSEDED`."""
    facts = {k: tuple(v) if isinstance(v, list) else v for k, v in json.loads(row[6]).items()}
    return Entry(
        id=row[0],
        kind=row[1],
        subject=row[2],
        at=datetime.fromisoformat(row[3]),
        noted=datetime.fromisoformat(row[4]),
        by=row[5],
        facts=facts,
        replaces=row[7],
        withdrawn=bool(row[8]),
        token=row[9],
        superseded=bool(row[10]),
    )
