"""The parser of `afterrain`: every subcommand with its options.

This module imports no module that computes, so `--help` answers quickly. A subcommand names the
function that runs it; `run_command` imports that function's module when the command is run.
"""

from __future__ import annotations

import argparse
import importlib
import math
import re
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import Any, NoReturn, TypeAlias, get_args

from readiness.season.codes import OtherWork
from scheduler.season_book.entry_kinds import KINDS, Kind

PORT = 8377  # of the page; assumed, because no common service has it
#: Kinds of entries that people write.
HAND_KINDS = {name: kind for name, kind in KINDS.items() if kind.by_hand}
#: First words that `log` knows.
LOG_WORDS = (*HAND_KINDS, "undo")
#: Facts that `log` takes as options, by name.
FACTS = {fact.name: fact for kind in HAND_KINDS.values() for fact in kind.facts}

#: Words for the values of `log`'s options in its help, by quantity; other quantities are numbers.
VALUE_WORDS = {
    "choice": "WORD",
    "text": "WORDS",
    "field": "FIELD",
    "fields": "FIELDS",
    "crew": "CREW",
    "time": "TIME",
    "day_or_time": "TIME",
}


class CommandParser(argparse.ArgumentParser):
    """Parser whose errors are one line, with the exit code of a usage error."""

    def error(self, message: str) -> NoReturn:
        """Print the error and exit."""
        self.exit(2, f"{self.prog}: {message}; see `{self.prog} --help`\n")


Commands: TypeAlias = "argparse._SubParsersAction[CommandParser]"


class _PrintVersion(argparse.Action):
    """Print the version of the installed distribution and exit."""

    def __call__(self, parser: argparse.ArgumentParser, *_: Any) -> None:
        from importlib.metadata import version  # slow to import, and rarely needed

        print(f"afterrain {version('afterrain')}")
        parser.exit()


class _Once(argparse.Action):
    """Take a value that may be given once, under any of its names."""

    def __call__(
        self,
        parser: argparse.ArgumentParser,
        namespace: argparse.Namespace,
        values: str | Sequence[Any] | None,
        option_string: str | None = None,
    ) -> None:
        if getattr(namespace, self.dest) != self.default:
            parser.error(f"{' and '.join(self.option_strings)} are the same time: give one of them")
        setattr(namespace, self.dest, values)


def parsed(argv: Sequence[str]) -> argparse.Namespace:
    """Parse the words of a command; the options of `log` may stand anywhere among its words."""
    words = list(argv)
    return command_parser().parse_args(_options_first(words) if words[:1] == ["log"] else words)


def _options_first(argv: Sequence[str]) -> list[str]:
    """The words of `log` with its options, which all take a value, put before the others."""
    options: list[str] = []
    words: list[str] = []
    rest = iter(argv[1:])
    for word in rest:
        if word == "--":
            words += [word, *rest]
        elif not word.startswith("--"):
            words.append(word)
        elif "=" in word or word == "--help":
            options.append(word)
        elif (value := next(rest, None)) is not None:
            options += [word, value]
        else:
            words.append(word)  # its value is missing
    return [argv[0], *options, *words]


def command_parser() -> argparse.ArgumentParser:
    """Build the parser of the whole command."""
    parser = CommandParser(
        prog="afterrain",
        description="Which fields can be cut after the rain, from what hour, and in what order.",
    )
    parser.add_argument("--version", action=_PrintVersion, nargs=0, help="print the version")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for add in (
        *(_add_new, _add_check),
        *(_add_plan, _add_ready, _add_price),
        *(_add_fetch, _add_verify),
        *(_add_log, _add_export, _add_import, _add_backup, _add_serve),
        *(_add_review, _add_validate, _add_rehearse, _add_whatif),
    ):
        add(commands)
    return parser


def _add(commands: Commands, name: str, summary: str, *examples: str) -> CommandParser:
    """Add a command with its summary and examples of its use, a line each."""
    lines = "\n".join(f"  afterrain {name} {example}" for example in examples)
    return commands.add_parser(
        name,
        help=summary,
        description=f"{summary[:1].upper()}{summary[1:]}.",
        epilog=f"{'example' if len(examples) == 1 else 'examples'}:\n{lines}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )


def run_command(module: str, function: str, args: argparse.Namespace) -> int:
    """Import a module of this package and call its `function` with the arguments."""
    imported = importlib.import_module(f"scheduler.command.{module}")
    return int(getattr(imported, function)(args))


def _add_new(commands: Commands) -> None:
    new = _add(commands, "new", "write a commented farm folder to start from", "myfarm")
    new.add_argument("folder", metavar="FOLDER", help="a folder that does not exist yet")
    new.set_defaults(run=partial(run_command, "farm", "run_new"))


def _add_check(commands: Commands) -> None:
    check = _add(commands, "check", "list everything that is wrong in a farm folder", "myfarm")
    check.add_argument("folder", metavar="FOLDER", help="the farm folder")
    check.set_defaults(run=partial(run_command, "farm", "run_check"))


def _add_plan(commands: Commands) -> None:
    plan = _add(
        commands,
        "plan",
        "make the cutting order of the day",
        "myfarm",
        "myfarm --forecast table.csv --on 2026-08-12",
    )
    _add_planning_options(plan)
    plan.add_argument("--fast", action="store_true", help="search a quarter as long")
    plan.add_argument("--all", action="store_true", help="print every order with its figures")
    plan.add_argument("--no-files", action="store_true", help="print only, write nothing")
    plan.set_defaults(run=partial(run_command, "plan", "run_plan"))


def _add_ready(commands: Commands) -> None:
    ready = _add(
        commands,
        "ready",
        "hours per field and day that can be driven or cut",
        "myfarm",
        "myfarm --work tillage",
    )
    _add_planning_options(ready)
    ready.add_argument(
        "--work", choices=get_args(OtherWork), help="hours for other work instead of cutting"
    )
    ready.set_defaults(run=partial(run_command, "plan", "run_ready"))


def _add_price(commands: Commands) -> None:
    price = _add(
        commands,
        "price",
        "what an order of your own would cost",
        "myfarm --order 'north crew=F07,F03'",
    )
    _add_planning_options(price)
    price.add_argument(
        "--order",
        action="append",
        required=True,
        metavar="CREW=FIELD,FIELD,...",
        help="one per crew; a part is FIELD/PART; fields not named follow as in the plan",
    )
    price.set_defaults(run=partial(run_command, "plan", "run_price"))


def _add_planning_options(command: argparse.ArgumentParser) -> None:
    command.add_argument("folder", type=Path, metavar="FOLDER", help="the farm folder")
    command.add_argument(
        "--on", metavar="DATE", help="2026-08-12 (6 am) or 2026-08-12T14:30; now by default"
    )
    command.add_argument(
        "--forecast",
        type=Path,
        metavar="FILE",
        help="instead of the last stored: a table of hours with the columns time, rain, temp, "
        "humidity, wind, and member where it holds several forecasts",
    )
    command.add_argument(
        "--elsewhere", action="store_true", help="use FILE even if it is for a place far away"
    )
    command.add_argument("--days", type=_days, default=12, metavar="N", help="days ahead, 1-30")
    command.add_argument("--seed", type=_from_zero, default=0, metavar="N", help="random seed")


def _add_fetch(commands: Commands) -> None:
    fetch = _add(
        commands,
        "fetch",
        "fetch forecasts, records and warnings, and store them",
        "myfarm",
        "myfarm --soil",
    )
    fetch.add_argument("folder", metavar="FOLDER", help="the farm folder")
    fetch.add_argument(
        "--years",
        type=_from_zero,
        default=0,
        metavar="N",
        help="also N earlier years of records, for the days past the forecast",
    )
    fetch.add_argument(
        "--soil", action="store_true", help="ask the USDA soil survey instead, and write soil.csv"
    )
    fetch.add_argument(
        "--services", metavar="URL", help="address that stands for all services (a mirror)"
    )
    fetch.set_defaults(run=partial(run_command, "fetch", "run_fetch"))


def _add_verify(commands: Commands) -> None:
    verify = _add(commands, "verify", "score stored forecasts against what fell", "myfarm")
    verify.add_argument("folder", metavar="FOLDER", help="the farm folder")
    verify.add_argument("--out", metavar="DIR", help="where the page goes; FOLDER/verification")
    verify.add_argument("--on", metavar="TIME", help="as known at that time, as 2026-08-20 06:00")
    verify.set_defaults(run=partial(run_command, "verify", "run_verify"))


def _add_log(commands: Commands) -> None:
    log = commands.add_parser(
        "log",
        usage="afterrain log FOLDER [KIND WORD ...] [options]",
        help="write what was seen or done into the season book",
        description="Write what was seen or done into the season book. Without a kind, list the "
        "last entries.",
        epilog=_log_epilog(),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    log.add_argument("folder", type=Path, metavar="FOLDER", help="your farm's folder")
    log.add_argument("kind", nargs="?", default="", metavar="KIND", help=", ".join(LOG_WORDS))
    log.add_argument("words", nargs="*", metavar="WORD", help="what it is about, then its values")
    log.add_argument(
        *("--at", "--from"), action=_Once, default="", metavar="TIME", help="06:40, yesterday 18:00"
    )
    log.add_argument("--by", default="", metavar="NAME", help="who says so")
    log.add_argument("--correct", type=_whole, metavar="ENTRY", help="replace an entry by this one")
    for name, fact in FACTS.items():
        log.add_argument(
            f"--{name.replace('_', '-')}",
            dest=f"fact_{name}",
            metavar=VALUE_WORDS.get(fact.quantity, "NUMBER"),
            help=_fact_help(name),
        )
    log.set_defaults(run=partial(run_command, "book", "run_log"))


def _fact_help(name: str) -> str:
    """Labels of a fact in every kind that holds it, each with its choices or its hint."""
    texts = []
    for kind in HAND_KINDS.values():
        for fact in (f for f in kind.facts if f.name == name):
            more = ", ".join(fact.choices) or fact.hint
            label = fact.label[:1].lower() + fact.label[1:]
            texts.append(f"{label}: {more}" if more else label)
    return "; ".join(dict.fromkeys(texts)).replace("%", "%%")


def entry_words(kind: Kind) -> str:
    """The words of `log` for an entry of a kind, 'rain GAUGE RAIN [HOURS]'."""
    facts = sorted(kind.facts, key=lambda f: not f.required)
    words = [f.name.upper() if f.required else f"[{f.name.upper()}]" for f in facts]
    return " ".join([kind.name, kind.subject_type.upper(), *words])


def _log_epilog() -> str:
    """Each kind of entry as it is written, and examples."""
    examples = (
        *("rain NORTH 0.62", "sample F07 16.8 --test-weight 59", "ground F07 soft"),
        *("cut F07 80", "cut F07 all", "down C2 --until 18:00"),
        *("absent SOUTH --from 12:00 --until 18:00", "undo", "undo 12"),
    )
    return "\n".join(
        [
            "entries, a value in brackets may be left out or given as an option:",
            *(f"  {entry_words(kind)}" for kind in HAND_KINDS.values()),
            "  undo [ENTRY]",
            "",
            "examples:",
            *(f"  afterrain log myfarm {words}" for words in examples),
        ]
    )


def _add_export(commands: Commands) -> None:
    export = _add(
        commands, "export", "write the season book as a CSV table", "myfarm", "myfarm entries.csv"
    )
    _add_book_file(export, "csv")
    export.set_defaults(run=partial(run_command, "book", "run_export"))


def _add_import(commands: Commands) -> None:
    import_ = _add(
        commands,
        "import",
        "add a table of your own: entries of the season book, or weather",
        "myfarm entries.csv",
        "myfarm station.csv --records",
        "myfarm forecast.csv --issued 2026-08-12T06:00",
    )
    import_.add_argument("folder", type=Path, metavar="FOLDER", help="the farm folder")
    import_.add_argument(
        "file", type=Path, metavar="FILE", help="a CSV table: entries as `export` writes them"
    )
    weather = import_.add_mutually_exclusive_group()
    weather.add_argument(
        "--records",
        action="store_true",
        help="FILE holds past weather: time, rain, temp, humidity, wind, radiation by the hour, or "
        "date, rain, tmax, tmin by the day, or is a station's file of GHCN-Daily or USCRN",
    )
    weather.add_argument(
        "--issued", metavar="TIME", help="FILE holds a forecast issued at TIME, as 2026-08-12T06:00"
    )
    import_.set_defaults(run=partial(run_command, "book", "run_import"))


def _add_backup(commands: Commands) -> None:
    backup = _add(
        commands,
        "backup",
        "copy the season book, safely while it is in use",
        "myfarm",
        "myfarm /media/stick",
    )
    _add_book_file(backup, "sqlite")
    backup.set_defaults(run=partial(run_command, "book", "run_backup"))


def _add_book_file(command: argparse.ArgumentParser, ending: str) -> None:
    command.add_argument("folder", type=Path, metavar="FOLDER", help="the farm folder")
    command.add_argument(
        "file",
        type=Path,
        nargs="?",
        metavar="FILE",
        help=f"file or folder to write to; by default FOLDER/book-DATE.{ending}",
    )


def _add_serve(commands: Commands) -> None:
    serve = _add(
        commands,
        "serve",
        "show and fill the orders and the book in a browser",
        "myfarm",
        "myfarm --network --set-passphrase",
    )
    serve.add_argument("folder", type=Path, metavar="FOLDER")
    serve.add_argument(
        "--network", action="store_true", help="answer the farm network too; needs a passphrase"
    )
    serve.add_argument(
        "--set-passphrase",
        action="store_true",
        help="ask for a new one; ends all sessions and drivers' links",
    )
    serve.add_argument(
        "--name",
        action="append",
        default=[],
        metavar="NAME",
        help="a further name this machine is reached by",
    )
    serve.add_argument(
        "--certificate",
        type=Path,
        metavar="FILE",
        help="serve https with this certificate (PEM), so that phones keep pages without signal",
    )
    serve.add_argument(
        "--key", type=Path, metavar="FILE", help="private key (PEM) of the certificate"
    )
    serve.add_argument("--port", type=_whole, default=PORT, metavar="N", help=f"{PORT} by default")
    serve.add_argument("--on", metavar="DATE", help="set the page's clock, to try a past morning")
    serve.set_defaults(run=partial(run_command, "serve", "run_serve"))


def _add_review(commands: Commands) -> None:
    review = _add(
        commands,
        "review",
        "where the season's hours went, what they cost, what would have helped",
        "myfarm",
    )
    review.add_argument("folder", type=Path, metavar="FOLDER", help="the farm folder")
    review.add_argument(
        "--until", metavar="DATE", help="last day looked at; the last day of cutting by default"
    )
    review.add_argument(
        "--book", type=Path, metavar="FILE", help="a season book elsewhere, as a backup"
    )
    review.add_argument("--seed", type=_from_zero, default=0, metavar="N", help="random seed")
    review.add_argument("--no-files", action="store_true", help="print only, write nothing")
    review.set_defaults(run=partial(run_command, "review", "run_review"))


def _add_validate(commands: Commands) -> None:
    validate = _add(commands, "validate", "compare the model with open records", "data")
    validate.add_argument(
        "folder",
        type=Path,
        metavar="DATA_FOLDER",
        help="holds any of soil_moisture, days_suitable, reference_et",
    )
    validate.add_argument(
        "--out",
        type=Path,
        metavar="FILE",
        default=Path("validation.html"),
        help="page to write (validation.html)",
    )
    validate.set_defaults(run=partial(run_command, "validate", "run_validate"))


def _add_rehearse(commands: Commands) -> None:
    rehearse = _add(
        commands,
        "rehearse",
        "play past seasons: the planner against rules of thumb",
        "myfarm --records station.csv --years 2015-2020",
    )
    _add_rehearsal_options(rehearse)
    rehearse.add_argument(
        "--errors",
        choices=("persistent", "independent"),
        default="persistent",
        help="how the errors of successive mornings' forecasts hang together",
    )
    rehearse.set_defaults(run=partial(run_command, "rehearse", "run_rehearse"))


def _add_whatif(commands: Commands) -> None:
    whatif = _add(
        commands,
        "whatif",
        "play past seasons with another combine, longer hours, a dryer, tile",
        "myfarm --records station.csv --combine 'big combine'",
    )
    _add_rehearsal_options(whatif)
    for kind in ("combine", "cart", "truck"):
        whatif.add_argument(
            f"--{kind}", action="append", default=[], metavar="ID", help=f"one more {kind} like ID"
        )
    whatif.add_argument(
        "--hours", type=_decimal, default=0.0, metavar="N", help="N h later evenings"
    )
    whatif.add_argument("--dryer", action="store_true", help="a dryer at the farm's own bins")
    whatif.add_argument(
        "--moisture", type=_decimal, default=0.0, metavar="N", help="start N points wetter"
    )
    whatif.add_argument("--tile", default="", metavar="FIELD,...", help="tile in these fields")
    whatif.add_argument(
        "--yearly-cost", type=_decimal, default=0.0, metavar="MONEY", help="what the change costs"
    )
    whatif.add_argument(
        "--capacity-price",
        type=_decimal,
        metavar="MONEY",
        help="price of a combine for each acre (or ha) an hour, for the least-cost capacity",
    )
    whatif.add_argument(
        "--own-share",
        type=_decimal,
        default=0.16,
        metavar="SHARE",
        help="yearly cost of owning as a share of that price",
    )
    whatif.add_argument(
        "--labour", type=_decimal, default=25.0, metavar="MONEY", help="labour for an hour"
    )
    whatif.set_defaults(run=partial(run_command, "rehearse", "run_whatif"))


def _add_rehearsal_options(command: argparse.ArgumentParser) -> None:
    command.add_argument("folder", type=Path, metavar="FOLDER", help="the farm folder")
    command.add_argument(
        "--records",
        type=Path,
        nargs="+",
        required=True,
        metavar="FILE",
        help="daily files of the U.S. Climate Reference Network or of GHCN-Daily, one station each",
    )
    command.add_argument("--years", type=_years, metavar="FIRST-LAST", help="only these years")
    command.add_argument("--members", type=_count, metavar="N", help="members of each forecast")
    command.add_argument("--days", type=_count, metavar="N", help="days planned ahead each morning")
    command.add_argument("--seed", type=_from_zero, default=0, metavar="N", help="random seed")
    command.add_argument("--fast", action="store_true", help="a tenth of the search")
    command.add_argument(
        "--workers", type=_count, default=2, metavar="N", help="processes on this machine"
    )
    command.add_argument(
        "--cluster", metavar="ADDRESS", help="a Dask cluster instead, as tcp://10.0.0.5:8786"
    )


def _whole(text: str) -> int:
    try:
        return int(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f'"{text}" is not a whole number') from None


def _decimal(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise argparse.ArgumentTypeError(f'"{text}" is not a number')
    return value


def _days(text: str) -> int:
    days = _whole(text)
    if not 1 <= days <= 30:
        raise argparse.ArgumentTypeError(f"must be 1 to 30, got {days}")
    return days


def _from_zero(text: str) -> int:
    number = _whole(text)
    if number < 0:
        raise argparse.ArgumentTypeError(f"must be 0 or more, got {number}")
    return number


def _count(text: str) -> int:
    count = _whole(text)
    if count < 1:
        raise argparse.ArgumentTypeError(f"must be 1 or more, got {count}")
    return count


def _years(text: str) -> range:
    found = re.fullmatch(r"(\d{4})(?:-(\d{4}))?", text)
    if not found:
        raise argparse.ArgumentTypeError(f"write 2010 or 2010-2020, got {text}")
    first, last = int(found[1]), int(found[2] or found[1])
    if last < first:
        raise argparse.ArgumentTypeError(f"the first year comes first, got {text}")
    return range(first, last + 1)
