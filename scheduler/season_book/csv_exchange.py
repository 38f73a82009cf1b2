"""The season book as a CSV table in the farm's units: a row an entry, for spreadsheets and back."""

from __future__ import annotations

import csv
import hashlib
import io
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from scheduler.errors import BookError, EntryError, UnreadableError
from scheduler.farm.model import Farm
from scheduler.farm.units import SI_PER_UNIT, normalized_name, unit_name
from scheduler.farm.wording import formula_safe
from scheduler.farm_files.csv_table import CsvTable, read_csv, read_number
from scheduler.farm_files.dates import read_time
from scheduler.language.translation import SOURCE, in_language
from scheduler.season_book.book import Book
from scheduler.season_book.entry_kinds import KINDS, Entry, Fact, crop_of, ends_at_a_time
from scheduler.season_book.formatting import default_unit, write_value
from scheduler.season_book.parsing import read_entry

ENTRY_COLUMNS = ("token", "kind", "subject", "at", "by", "noted", "replaces", "withdrawn")
#: Problems in one error message; assumed, a screenful.
MAX_PRINTED_PROBLEMS = 20
FACTS_BY_NAME: dict[str, Fact] = {f.name: f for k in KINDS.values() if k.by_hand for f in k.facts}


def fact_heading(fact: Fact, farm: Farm) -> str:
    """Heading of a fact, its unit included: 'rain_in', 'weight_bu', 'moisture_pct'."""
    if fact.quantity in SI_PER_UNIT:
        return f"{fact.name}_{unit_name(fact.quantity, farm.units)}"
    unit = {"percent": "pct", "test_weight": normalized_name(default_unit(fact, farm))}.get(
        fact.quantity
    )
    return f"{fact.name}_{unit}" if unit else fact.name


@in_language(SOURCE)
def book_csv(book: Book, farm: Farm) -> str:
    """All entries by hand, superseded ones included, in the order of writing; CRLF (RFC 4180)."""
    out = io.StringIO(newline="")
    names = [*ENTRY_COLUMNS, *(fact_heading(f, farm) for f in FACTS_BY_NAME.values())]
    writer = csv.DictWriter(out, fieldnames=names, lineterminator="\r\n")
    writer.writeheader()
    entries = [e for e in book.entries(superseded=True) if KINDS[e.kind].by_hand]
    tokens = {e.id: e.token for e in entries}
    writer.writerows(_row(e, farm, tokens) for e in entries)
    return out.getvalue()


def _row(entry: Entry, farm: Farm, tokens: Mapping[int, str]) -> dict[str, str]:
    """Cells of an entry by heading; `tokens` are those of all entries by id."""
    crop = crop_of(farm, entry.subject, entry.facts)
    noted = entry.noted or datetime.now(UTC)
    at = entry.at.astimezone(farm.tz)
    whole_days = entry.kind == "absent" and not ends_at_a_time(entry)
    row = {
        "token": entry.token,
        "kind": entry.kind,
        "subject": formula_safe(entry.subject),
        "at": (at.date() if whole_days else at).isoformat(),
        "by": formula_safe(entry.by),
        "noted": noted.isoformat(),
        "replaces": tokens[entry.replaces] if entry.replaces else "",
        "withdrawn": "yes" if entry.withdrawn else "",
    }
    for fact in KINDS[entry.kind].facts:
        if (value := entry.facts.get(fact.name)) is not None:
            text = write_value(fact, value, farm, crop)
            row[fact_heading(fact, farm)] = text if isinstance(value, float) else formula_safe(text)
    return row


@dataclass(frozen=True, kw_only=True)
class TableRow:
    """An entry of a table, the number of its row, and the token of the entry that it replaces.

    The token is '' where it replaces none.
    """

    number: int
    entry: Entry
    replaces: str


@in_language(SOURCE)
def read_rows(text: str, farm: Farm, *, now: datetime) -> list[TableRow]:
    """The entries of a table. Headings may name units (rain_mm), else the farm's units hold.

    Raises
    ------
    BookError
        With the problems, row by row.
    """
    table = read_csv(text)
    problems = [f"row {number}: {message}; {remedy}" for number, message, remedy in table.faults]
    missing = [
        c for c in ("kind", "subject") if c not in {normalized_name(c) for c in table.columns}
    ]
    if missing:
        hint = "; for a table of weather give --records, or --issued TIME" if missing[1:] else ""
        raise BookError(
            f"the heading has no {' and no '.join(missing)}: begin with kind, subject{hint}"
        )
    rows = []
    seen: Counter[str] = Counter()
    for number, cells in table.rows:
        try:
            rows.append(_read_row(table, number, cells, farm, now, seen))
        except EntryError as error:
            problems += [f"row {number}, {n}: {problem}" for n, problem in error.problems.items()]
    if len(problems) == 1:
        raise BookError(f"{problems[0]}; nothing was imported")
    if problems:
        lines = ["nothing was imported:", *problems[:MAX_PRINTED_PROBLEMS]]
        if (more := len(problems) - MAX_PRINTED_PROBLEMS) > 0:
            lines.append(f"and {more} more")
        raise BookError("\n".join(lines))
    return rows


def _read_row(
    table: CsvTable,
    number: int,
    cells: tuple[str, ...],
    farm: Farm,
    now: datetime,
    seen: Counter[str],
) -> TableRow:
    """The entry of a row; `seen` counts rows by content."""
    values = {
        normalized_name(c): _unguarded(v)
        for c, v in zip(table.columns, cells, strict=True)
        if v.strip()
    }
    head = {name: values.pop(name, "") for name in ENTRY_COLUMNS}
    noted = _noted(head["noted"], farm, now)
    kind = KINDS.get(head["kind"])
    facts = {} if kind is None else _facts(values, kind.facts, table)
    if kind is not None and not kind.by_hand:
        raise EntryError({"kind": f"a {kind.name} is not written by hand; leave the row out"})
    entry = read_entry(
        head["kind"], head["subject"], facts, farm, now=noted or now, at=head["at"], by=head["by"]
    )
    if not head["at"]:
        raise EntryError({"at": "is missing; give the time, as 2026-08-12 06:40"})
    token = head["token"] or _fingerprint(entry, seen)
    if len(token) > 64 or not token.isalnum():
        raise EntryError({"token": "is not one of this book; leave it blank"})
    withdrawn = head["withdrawn"].lower() in ("yes", "true", "1")
    if withdrawn and not head["replaces"]:
        raise EntryError({"withdrawn": "takes nothing back; give replaces"})
    return TableRow(
        number=number,
        entry=replace(entry, token=token, noted=noted, withdrawn=withdrawn),
        replaces=head["replaces"],
    )


def _unguarded(cell: str) -> str:
    """A cell without the quote of `wording.formula_safe`."""
    return cell[1:] if cell[:1] == "'" and cell[1:2] in ("=", "+", "-", "@") else cell


def _noted(text: str, farm: Farm, now: datetime) -> datetime | None:
    """Time of writing, UTC; None where blank."""
    if not text:
        return None
    try:
        when = datetime.fromisoformat(text)
        when = when if when.tzinfo else when.replace(tzinfo=farm.tz)
    except ValueError:
        try:
            when = read_time(text, farm.tz)[0]
        except UnreadableError as error:
            raise EntryError({"noted": str(error)}) from None
    if not datetime(2000, 1, 1, tzinfo=UTC) <= when <= now:
        raise EntryError({"noted": f"{text[:40]} is not a time in the past"})
    return when.astimezone(UTC)


def _facts(values: Mapping[str, str], facts: tuple[Fact, ...], table: CsvTable) -> dict[str, str]:
    """Texts by fact, numbers with the unit of their heading; columns of the user's own go."""
    out = {}
    for fact in facts:
        units = [*SI_PER_UNIT.get(fact.quantity, ()), "pct", "lb_bu", "kg_hl"]
        for name, unit in [(fact.name, ""), *((f"{fact.name}_{u}", u) for u in units)]:
            if name in values:
                out[fact.name] = _with_unit(values[name], unit, fact, table)
    for name, text in values.items():
        if not any(name == f.name or name.startswith(f"{f.name}_") for f in FACTS_BY_NAME.values()):
            continue
        if not any(name == f.name or name.startswith(f"{f.name}_") for f in facts):
            out[name] = text  # a fact of another kind, which read_entry reports
    return out


def _with_unit(text: str, unit: str, fact: Fact, table: CsvTable) -> str:
    """The text of a number with a decimal point and its unit; other texts as they are."""
    if fact.quantity in ("choice", "text", "fields", "field", "crew", "time", "day_or_time"):
        return text
    try:
        number = read_number(text, table.mark)
    except (UnreadableError, ValueError, OverflowError):
        return text  # read_value reports the fault
    return f"{number!r} {unit}"


def _fingerprint(entry: Entry, seen: Counter[str]) -> str:
    """A token from the content of a row, so that a second import adds nothing."""
    content = (
        f"{entry.kind}\n{entry.subject}\n{entry.at.isoformat()}\n{sorted(entry.facts.items())}"
    )
    seen[content] += 1
    return hashlib.sha256(f"{content}\n{seen[content]}".encode()).hexdigest()[:32]


def import_rows(book: Book, rows: list[TableRow]) -> int:
    """Write the rows that the book has not, all or none; the number written."""

    def entries() -> Iterator[Entry]:  # runs inside the book's transaction
        for row in rows:
            old = book.find(row.replaces) if row.replaces else None
            if row.replaces and old is None:
                raise BookError(
                    f"row {row.number}, replaces: entry {row.replaces[:40]} is not in the book; "
                    "nothing was imported"
                )
            yield replace(row.entry, replaces=None if old is None else old.id)

    before = book.revision
    book.add_all(entries())
    return book.revision - before
