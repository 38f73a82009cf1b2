"""Commands of the season book and its page: log, export, import, backup, serve."""

from __future__ import annotations

import argparse
import getpass
import os
import sys
import tempfile
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from scheduler.command.plan import moment
from scheduler.errors import BookError, EntryError, UnreadableError
from scheduler.farm.model import Farm
from scheduler.farm.units import SI_PER_UNIT, normalized_name
from scheduler.farm_files.csv_table import file_text
from scheduler.farm_files.folder import read_farm
from scheduler.season_book.book import Book
from scheduler.season_book.csv_exchange import book_csv, import_rows, read_rows
from scheduler.season_book.formatting import entry_text, entry_time_text
from scheduler.season_book.kinds import KINDS, Entry, Kind
from scheduler.season_book.parsing import read_entry

LISTED = 20  # entries shown without a kind; assumed, a screen's worth
PORT = 8377  # assumed, because no common service has it
_REST = ("text", "fields")  # quantities that take all words that follow


def register(commands: Any) -> None:
    """Add this group's subcommands."""
    log = commands.add_parser(
        "log",
        help="write what was seen or done into the season book",
        epilog="examples: log FARM rain NORTH 0.62; log FARM sample F07 16.8 --test-weight 59; "
        "log FARM ground F07 soft; log FARM cut F07 80 (or all); log FARM down C2 --until 18:00; "
        "log FARM repaired C2; log FARM undo. Without a kind: the last entries.",
    )
    log.add_argument("folder", type=Path, metavar="FOLDER", help="your farm's folder")
    log.add_argument("kind", nargs="?", default="", metavar="KIND", help=", ".join(_names()))
    log.add_argument("words", nargs="*", metavar="WORD", help="what it is about, then its values")
    log.add_argument("--at", "--from", default="", metavar="TIME", help="06:40, yesterday 18:00")
    log.add_argument("--by", default="", metavar="NAME", help="who says so")
    log.add_argument("--correct", type=int, metavar="ENTRY", help="replace an entry by this one")
    for name, label in _options().items():
        log.add_argument(f"--{name.replace('_', '-')}", dest=f"fact_{name}", help=label)
    log.set_defaults(run=run_log)
    export = commands.add_parser("export", help="write the season book as a CSV table")
    export.add_argument("folder", type=Path, metavar="FOLDER")
    export.add_argument("file", type=Path, nargs="?", default=Path("book.csv"), metavar="FILE")
    export.set_defaults(run=run_export)
    read = commands.add_parser("import", help="add the entries of a CSV table to the season book")
    read.add_argument("folder", type=Path, metavar="FOLDER")
    read.add_argument("file", type=Path, metavar="FILE")
    read.set_defaults(run=run_import)
    backup = commands.add_parser("backup", help="copy the season book, safely while it is in use")
    backup.add_argument("folder", type=Path, metavar="FOLDER")
    backup.add_argument("file", type=Path, nargs="?", metavar="FILE")
    backup.set_defaults(run=run_backup)
    serve = commands.add_parser("serve", help="show and fill the orders and the book in a browser")
    serve.add_argument("folder", type=Path, metavar="FOLDER")
    serve.add_argument("--network", action="store_true",
                       help="answer the farm network too; needs a passphrase")  # fmt: skip
    serve.add_argument("--set-passphrase", action="store_true",
                       help="ask for a new one; ends all sessions and crews' links")  # fmt: skip
    serve.add_argument("--name", action="append", default=[], metavar="NAME",
                       help="a further name this machine is reached by")  # fmt: skip
    serve.add_argument("--port", type=int, default=PORT, metavar="N", help=f"{PORT} by default")
    serve.add_argument("--on", metavar="DATE", help="set the page's clock, to try a past morning")
    serve.set_defaults(run=run_serve)


def _names() -> list[str]:
    return [*(k.name for k in KINDS.values() if k.by_hand), "undo"]


def _options() -> dict[str, str]:
    """Facts that may be given by name."""
    return {f.name: f.label for k in KINDS.values() if k.by_hand for f in k.facts}


def run_log(args: argparse.Namespace) -> int:
    """Write one entry, take one back, or list the last."""
    farm, now = read_farm(args.folder), datetime.now(UTC)
    with Book(args.folder) as book:
        if not args.kind:
            for entry in book.entries()[-LISTED:]:
                if KINDS[entry.kind].by_hand:
                    print(_line(entry, farm, now))
            return 0
        if args.kind == "undo":
            print(f"taken back: {_line(_undo(args, book), farm, now)}")
            return 0
        entry = book.add(_entry(args, farm, book, now))
    print(_line(entry, farm, now))
    print(f"to take it back: afterrain log {args.folder} undo {entry.id}")
    return 0


def _undo(args: argparse.Namespace, book: Book) -> Entry:
    """Take back the entry named, or the last one."""
    word = args.words[0] if args.words else ""
    if word and not word.isdecimal():
        raise BookError(f'"{word}" is not the number of an entry: afterrain log {args.folder}')
    held = [e for e in book.entries() if KINDS[e.kind].by_hand]
    if not word and not held:
        raise BookError("the book has no entry to take back")
    old = book.get(int(word)) if word else held[-1]
    if old.superseded or old.withdrawn:
        raise BookError(f"entry {old.id} was taken back or corrected already")
    book.withdraw(old.id, by=_who(args))
    return old


def _entry(args: argparse.Namespace, farm: Farm, book: Book, now: datetime) -> Entry:
    """The entry that the words and options say."""
    told = {n: v for n in _options() if (v := getattr(args, f"fact_{n}")) is not None}
    kind = KINDS.get(args.kind)
    if kind is not None and not kind.by_hand:
        raise BookError(f"a {kind.name} is written by the program; known are {', '.join(_names())}")
    facts = told if kind is None else {**_spread(kind, args.words[1:], told), **told}
    subject = args.words[0] if args.words else ""
    try:
        entry = read_entry(
            args.kind,
            subject,
            facts,
            farm,
            now=now,
            at=args.at,
            by=_who(args),
            left_ha=lambda field: book.left_ha(farm, field, now, excluding=args.correct),
        )
    except EntryError as error:
        if kind is None:
            raise
        raise BookError(f"{error}\nit is written: afterrain {_usage(kind)}") from None
    return entry if args.correct is None else replace(entry, replaces=args.correct)


def _spread(kind: Kind, words: list[str], told: dict[str, str]) -> dict[str, str]:
    """Words in their order to the facts not told by name, needed ones first."""
    open_facts = [f for f in sorted(kind.facts, key=lambda f: not f.required) if f.name not in told]
    out: dict[str, str] = {}
    rest = list(words)
    for fact in open_facts:
        if not rest:
            break
        unit = normalized_name(" ".join(rest[1:2])) in SI_PER_UNIT.get(fact.quantity, ())  # 0.62 in
        taken = len(rest) if fact.quantity in _REST else 2 if unit else 1
        out[fact.name] = " ".join(rest[:taken])
        rest = rest[taken:]
    if rest:
        raise BookError(f'"{rest[0]}" is one word too many: {_usage(kind)}')
    return out


def _usage(kind: Kind) -> str:
    facts = sorted(kind.facts, key=lambda f: not f.required)
    words = [f.name.upper() if f.required else f"[{f.name.upper()}]" for f in facts]
    return " ".join(["log FOLDER", kind.name, kind.subject_type.upper(), *words])


def _who(args: argparse.Namespace) -> str:
    """Who writes: as told, else the account."""
    if args.by:
        return str(args.by)
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # an account without a name
        return ""


def _line(entry: Entry, farm: Farm, now: datetime) -> str:
    by = f", {entry.by}" if entry.by else ""
    return f"entry {entry.id}: {entry_text(entry, farm)} ({entry_time_text(entry, farm, now)}{by})"


def run_export(args: argparse.Namespace) -> int:
    """Write the table, whole or not at all."""
    farm = read_farm(args.folder)
    with _existing(args.folder) as book:
        text = book_csv(book, farm)
    _replace(args.file, text.encode("utf-8-sig"))  # the mark tells spreadsheets it is UTF-8
    print(f"{args.file}: {len(text.splitlines()) - 1} entries")
    return 0


def run_import(args: argparse.Namespace) -> int:
    """Read the table and add it, all or nothing."""
    farm = read_farm(args.folder)
    try:
        text = file_text(args.file)
    except UnreadableError as error:
        raise BookError(f"{args.file} {error}") from None
    try:
        rows = read_rows(text, farm, now=datetime.now(UTC))
    except BookError as error:
        raise BookError(f"{args.file}: {error}") from None
    with Book(args.folder) as book:
        added = import_rows(book, rows)
    known = len(rows) - added
    print(f"{added} entries added" + (f", {known} were there already" if known else ""))
    return 0


def run_backup(args: argparse.Namespace) -> int:
    """Copy the book to a file, by default beside it with the day in its name."""
    to = args.file or args.folder / f"book-{datetime.now(UTC):%Y-%m-%d}.sqlite"
    if to.is_dir():
        to = to / f"book-{datetime.now(UTC):%Y-%m-%d}.sqlite"
    if not to.absolute().parent.is_dir():
        raise BookError(f"{to.parent} is no folder: make it first")
    with _existing(args.folder) as book:
        book.backup(to)
        count = book.revision
    print(f"{to}: {count} entries, checked")
    return 0


def _existing(folder: Path) -> Book:
    if not Book.exists(folder):
        raise BookError(f"{folder} has no season book yet: write into it with `afterrain log`")
    return Book(folder)


def _replace(path: Path, content: bytes) -> None:
    """Write a file whole or not at all."""
    if not path.absolute().parent.is_dir() or path.is_dir():
        raise BookError(f"{path} cannot be written: name a file in a folder that exists")
    handle, name = tempfile.mkstemp(prefix=".export.", dir=path.absolute().parent)
    with os.fdopen(handle, "wb") as file:
        file.write(content)
    os.replace(name, path)


def run_serve(args: argparse.Namespace) -> int:
    """Serve the page until interrupted."""
    from scheduler.web.server import serve  # the web server only where it is asked for

    farm = read_farm(args.folder)
    if not 0 < args.port < 65536:
        raise BookError(f"--port must be 1 to 65535, got {args.port}")
    passphrase = _new_passphrase() if args.set_passphrase else ""
    serve(
        args.folder,
        port=args.port,
        network=args.network,
        passphrase=passphrase,
        names=frozenset(n.lower() for n in args.name),
        start=moment(args.on, farm) if args.on else None,
    )
    return 0


def _new_passphrase() -> str:
    """Ask twice on a terminal; a line of standard input otherwise."""
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\r\n")
    first = getpass.getpass("New passphrase: ")
    if getpass.getpass("Once more: ") != first:
        raise BookError("the two were not the same: nothing was changed")
    return first
