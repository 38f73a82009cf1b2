"""Commands of the season book: log, export, import, backup."""

from __future__ import annotations

import argparse
import getpass
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from scheduler.atomic import write_file
from scheduler.command.parser import FACTS, HAND_KINDS, LOG_WORDS, entry_words
from scheduler.command.planning_time import planning_time
from scheduler.errors import BookError, EntryError, UnreadableError
from scheduler.farm.model import Farm
from scheduler.farm.units import SI_PER_UNIT, normalized_name, show_distance
from scheduler.farm.wording import time_of_day
from scheduler.farm_files.csv_table import file_text
from scheduler.farm_files.folder import read_farm
from scheduler.language.translation import _, ngettext
from scheduler.season_book.book import Book
from scheduler.season_book.csv_exchange import book_csv, import_rows, read_rows
from scheduler.season_book.entry_kinds import KINDS, SAME_READING, Entry, Kind
from scheduler.season_book.formatting import entry_text, entry_time_text
from scheduler.season_book.parsing import read_entry

ENTRIES_LISTED = 20  # without a kind; assumed, they fill a screen
FREE_TEXT = ("text", "fields")  # quantities that take all words that follow


def run_log(args: argparse.Namespace) -> int:
    """Write one entry, take one back, or list the last entries."""
    farm, now = read_farm(args.folder), datetime.now(UTC)
    with Book(args.folder) as book:
        if not args.kind:
            for entry in book.entries()[-ENTRIES_LISTED:]:
                if entry.kind in HAND_KINDS:
                    print(_entry_line(entry, farm, now))
            return 0
        if args.kind == "undo":
            print(_("taken back: {entry}", entry=_entry_line(_undo(args, book), farm, now)))
            return 0
        new = _new_entry(args, farm, book, now)
        if new.kind == "rain" and "hours" not in new.facts and new.replaces is None:
            _question_second_reading(new, book, farm)
        entry = book.add(new)
    print(_entry_line(entry, farm, now))
    command = f"afterrain log {args.folder} undo {entry.id}"
    print(_("to take it back: {command}", command=command))
    return 0


def _undo(args: argparse.Namespace, book: Book) -> Entry:
    """Take back the entry whose number is given, or the last one."""
    word = args.words[0] if args.words else ""
    if word and not word.isdecimal():
        raise BookError(f'"{word}" is not the number of an entry: afterrain log {args.folder}')
    entries = [e for e in book.entries() if e.kind in HAND_KINDS]
    if not word and not entries:
        raise BookError("the book has no entry to take back")
    old = book.get(int(word)) if word else entries[-1]
    if old.superseded or old.withdrawn:
        raise BookError(f"entry {old.id} was taken back or corrected already")
    book.withdraw(old.id, by=_writer(args))
    return old


def _new_entry(args: argparse.Namespace, farm: Farm, book: Book, now: datetime) -> Entry:
    """Read the entry from the words and options."""
    options = {n: v for n in FACTS if (v := getattr(args, f"fact_{n}")) is not None}
    kind = KINDS.get(args.kind)
    if kind is not None and not kind.by_hand:
        raise BookError(
            f"a {kind.name} is written by the program; known are {', '.join(LOG_WORDS)}"
        )
    facts = options
    if kind is not None:
        facts = {**_facts_in_order(kind, args.words[1:], options), **options}
    subject = args.words[0] if args.words else ""
    try:
        entry = read_entry(
            args.kind,
            subject,
            facts,
            farm,
            now=now,
            at=args.at,
            by=_writer(args),
            left_ha=lambda field: book.left_ha(farm, field, now, excluding=args.correct),
        )
    except EntryError as error:
        if kind is None:
            raise
        raise BookError(
            f"{'; '.join(str(error).splitlines())}; it is written: afterrain log FOLDER "
            f"{entry_words(kind)}"
        ) from None
    return entry if args.correct is None else replace(entry, replaces=args.correct)


def _question_second_reading(new: Entry, book: Book, farm: Farm) -> None:
    """Refuse a reading without hours soon before or after one of the same gauge."""
    for old in book.entries("rain", subject=new.subject):
        if abs(old.at - new.at) < SAME_READING:
            raise BookError(
                f"gauge {old.subject} has a reading of {_clock(old.at, farm)} already "
                f"({entry_text(old, farm)}); to correct it, add --correct {old.id}; if more rain "
                "fell since then, add --hours with the hours since"
            )


def _clock(at: datetime, farm: Farm) -> str:
    """Time of day on the farm's clock."""
    return time_of_day(at.astimezone(farm.tz), farm.units)


def _facts_in_order(kind: Kind, words: list[str], options: dict[str, str]) -> dict[str, str]:
    """Assign words to the facts not given as options, needed facts first."""
    missing = [f for f in sorted(kind.facts, key=lambda f: not f.required) if f.name not in options]
    facts: dict[str, str] = {}
    rest = list(words)
    for fact in missing:
        if not rest:
            break
        unit = normalized_name(" ".join(rest[1:2])) in SI_PER_UNIT.get(
            fact.quantity, ()
        )  # as in '0.62 in'
        taken = len(rest) if fact.quantity in FREE_TEXT else 2 if unit else 1
        facts[fact.name] = " ".join(rest[:taken])
        rest = rest[taken:]
    if rest:
        raise BookError(f'"{rest[0]}" is one word too many: log FOLDER {entry_words(kind)}')
    return facts


def _writer(args: argparse.Namespace) -> str:
    """Name of the person who writes: `--by`, else the account."""
    if args.by:
        return str(args.by)
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # an account without a name
        return ""


def _entry_line(entry: Entry, farm: Farm, now: datetime) -> str:
    by = f", {entry.by}" if entry.by else ""
    return _(
        "entry {number}: {entry} ({time}{by})",
        number=entry.id,
        entry=entry_text(entry, farm),
        time=entry_time_text(entry, farm, now),
        by=by,
    )


def run_export(args: argparse.Namespace) -> int:
    """Write the book as a CSV table, whole or not at all."""
    farm, to = read_farm(args.folder), _target(args.file, args.folder, "csv")
    with _existing(args.folder) as book:
        text = book_csv(book, farm)
    content = text.encode("utf-8-sig")  # the mark tells spreadsheets it is UTF-8
    write_file(to, content, private=True)
    print(ngettext("{file}: {n} entry", "{file}: {n} entries", len(text.splitlines()) - 1, file=to))
    return 0


def run_import(args: argparse.Namespace) -> int:
    """Add the entries of a CSV table, or its weather; all or nothing."""
    farm = read_farm(args.folder)
    if args.records or args.issued:
        return _import_weather(args, farm)
    try:
        text = file_text(args.file)
    except UnreadableError as error:
        raise BookError(f"{args.file} {error}") from None
    try:
        rows = read_rows(text, farm, now=datetime.now(UTC))
        with Book(args.folder) as book:
            added = import_rows(book, rows)
    except BookError as error:
        raise BookError(f"{args.file}: {error}") from None
    present = len(rows) - added
    line = ngettext("{n} entry added", "{n} entries added", added)
    if present:
        line += ngettext(", {n} was there already", ", {n} were there already", present)
    print(line)
    return 0


def _import_weather(args: argparse.Namespace, farm: Farm) -> int:
    """Store the weather of a table as if it had been fetched."""
    # these load what entries do without
    from scheduler.weather.own_weather import import_weather
    from scheduler.weather.selection import MAX_DISTANCE_KM

    issued = planning_time(args.issued, farm, option="--issued") if args.issued else None
    found = import_weather(args.folder, farm, args.file, now=datetime.now(UTC), issued=issued)
    hours = {n: f"{t:%Y-%m-%d %H:%M}" for n, t in (("first", found.first), ("stop", found.stop))}
    if issued is None:
        weather = _("past weather, {first} to {stop}", **hours)
    else:
        at = f"{issued:%Y-%m-%d %H:%M}"
        weather = _("forecast issued {time}, {first} to {stop}", time=at, **hours)
    stored = _("{weather}: stored", weather=weather)
    print(stored if found.stored else _("{weather}: was there already", weather=weather))
    if found.far:
        print(
            ngettext(
                "{n} field, {field}, lies farther than {distance} from it and has no weather of "
                "it: run `afterrain fetch {folder}`, or plan with --forecast FILE --elsewhere",
                "{n} fields, {field} first, lie farther than {distance} from it and have no "
                "weather of it: run `afterrain fetch {folder}`, or plan with --forecast FILE "
                "--elsewhere",
                len(found.far),
                field=found.far[0],
                distance=show_distance(MAX_DISTANCE_KM, farm.units),
                folder=args.folder,
            )
        )
    return 0


def run_backup(args: argparse.Namespace) -> int:
    """Copy the book to a file."""
    to = _target(args.file, args.folder, "sqlite")
    with _existing(args.folder) as book:
        book.backup(to)
        count = book.revision
    print(ngettext("{file}: {n} entry, checked", "{file}: {n} entries, checked", count, file=to))
    return 0


def _existing(folder: Path) -> Book:
    """Open the season book; BookError where there is none."""
    if not Book.exists(folder):
        raise BookError(f"{folder} has no season book yet: write into it with `afterrain log`")
    return Book(folder)


def _target(file: Path | None, folder: Path, ending: str) -> Path:
    """The file to write: by default in the farm folder, with the day in its name."""
    to = file or folder
    if to.is_dir():
        to = to / f"book-{datetime.now(UTC):%Y-%m-%d}.{ending}"
    if not to.absolute().parent.is_dir():
        raise BookError(f"{to.parent} is no folder: make it first, or name another")
    return to
