"""Commands `plan`, `ready` and `price`."""

from __future__ import annotations

import argparse
from pathlib import Path

from scheduler.command.planning_time import planning_time
from scheduler.command.progress_bar import ProgressBar
from scheduler.errors import FarmError
from scheduler.farm_files.folder import read_farm
from scheduler.language.translation import _
from scheduler.orders.model import Morning
from scheduler.planning.information import outlook_of
from scheduler.planning.plan import plan_morning, price_order
from scheduler.report.order_phrases import own_order_lines
from scheduler.report.phrases import STAGE_TEXT
from scheduler.report.plan_document import document
from scheduler.report.terminal.first_screen import first_screen
from scheduler.report.terminal.full_plan import full_plan
from scheduler.report.terminal.ready_hours import ready_hours
from scheduler.season_book.book import Book
from scheduler.windows.model_inputs import season_for_work


def run_plan(args: argparse.Namespace) -> int:
    """Plan, write the files, issue the plan into the season book and print it."""
    revision = _book_revision(args.folder)
    morning = _plan(args, fast=args.fast)
    shown = full_plan(morning) if args.all else first_screen(morning)
    if args.no_files:
        print(shown)
        return 0
    from scheduler.report.files import write_plan  # loads matplotlib, which only files need

    # files and book come first: whoever reads the output may close it early
    paths = write_plan(morning, args.folder)
    with Book(args.folder) as book:
        book.issue_plan(document(morning), seen=revision)
    print(shown)
    files = ", ".join(p.name for p in paths)
    print("\n" + _("written to {folder}: {files}", folder=paths[0].parent, files=files))
    print(_("issued into the season book: the next plan says what changed"))
    return 0


def run_ready(args: argparse.Namespace) -> int:
    """Print hours per field and day."""
    now = planning_time(args.on, read_farm(args.folder))
    farm, season, sky = outlook_of(
        args.folder,
        now=now,
        forecast=args.forecast,
        days=args.days,
        seed=args.seed,
        elsewhere=args.elsewhere,
    )
    if args.work:
        season = season_for_work(farm, season, sky, work=args.work)
    print(ready_hours(farm, season, now=now, work=args.work))
    return 0


def run_price(args: argparse.Namespace) -> int:
    """Print what the user's own order loses."""
    orders: dict[str, list[str]] = {}
    for text in args.order:
        crew, _equals, names = text.partition("=")
        if not names:
            raise FarmError(f'--order "{text}": write it as CREW=FIELD,FIELD,...')
        orders[crew.strip()] = [n.strip() for n in names.split(",") if n.strip()]
    morning = _plan(args)
    price = price_order(args.folder, morning, orders)
    print("\n".join(own_order_lines(price, morning.farm.currency)))
    return 0


def _plan(args: argparse.Namespace, *, fast: bool = False) -> Morning:
    """Plan the morning, with a progress bar."""
    now = planning_time(args.on, read_farm(args.folder))
    with ProgressBar(STAGE_TEXT) as progress:
        return plan_morning(
            args.folder,
            now=now,
            forecast=args.forecast,
            days=args.days,
            seed=args.seed,
            elsewhere=args.elsewhere,
            fast=fast,
            progress=progress,
        )


def _book_revision(folder: Path) -> int:
    """Revision of the season book; 0 where there is no book yet."""
    if not Book.exists(folder):
        return 0
    with Book(folder) as book:
        return book.revision
