"""Commands `plan`, `ready` and `price`."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping
from datetime import date, datetime, time
from pathlib import Path
from typing import Any, get_args

from tqdm import tqdm

from readiness.season.codes import OtherWork
from scheduler.errors import FarmError
from scheduler.farm.model import Farm
from scheduler.farm_files.folder import read_farm
from scheduler.orders.model import Morning
from scheduler.planning.information import outlook_of
from scheduler.planning.plan import MORNING_HOUR, plan_morning, price_order
from scheduler.planning.stages import PlanStage
from scheduler.report.page_document import document
from scheduler.report.phrases import STAGE
from scheduler.report.terminal import terminal_plan, terminal_ready
from scheduler.season_book.book import Book
from scheduler.solver.stages import Progress, SolveStage, Stage
from scheduler.solver.warm_up import WarmUp
from scheduler.windows.model_inputs import season_for_work

#: Stages of planning that call compiled code, and the stage of `solve` that compiles it.
COMPILED_BY: dict[Stage, SolveStage] = {
    PlanStage.MAKEUPS: SolveStage.SEARCH,
    SolveStage.BOUND: SolveStage.BOUND,
    SolveStage.COMMON_BOUND: SolveStage.COMMON_BOUND,
}


def register(commands: Any) -> None:
    """Add this group's subcommands."""
    plan = commands.add_parser("plan", help="make the cutting order of the day")
    _common(plan)
    plan.add_argument("--fast", action="store_true", help="a shorter search, a wider gap")
    plan.add_argument("--no-files", action="store_true", help="print only, write nothing")
    plan.set_defaults(run=run_plan)
    ready = commands.add_parser("ready", help="hours per field and day that can be driven or cut")
    _common(ready)
    ready.add_argument(
        "--work", choices=get_args(OtherWork), help="hours for other work instead of cutting"
    )
    ready.set_defaults(run=run_ready)
    price = commands.add_parser("price", help="what an order of your own would cost")
    _common(price)
    price.add_argument(
        "--order",
        action="append",
        required=True,
        metavar="CREW=FIELD,FIELD,...",
        help="one per crew; a parcel is FIELD/PARCEL; fields not named are left uncut",
    )
    price.set_defaults(run=run_price)


def _common(command: argparse.ArgumentParser) -> None:
    command.add_argument("folder", type=Path, metavar="FOLDER", help="the farm folder")
    command.add_argument(
        "--on", metavar="DATE", help="2026-08-12 (6 am) or 2026-08-12T14:30; now by default"
    )
    command.add_argument("--forecast", type=Path, metavar="FILE", help="instead of the last stored")
    command.add_argument("--days", type=_days, default=12, metavar="N", help="days ahead, 1-30")
    command.add_argument("--seed", type=_seed, default=0, metavar="N", help="random seed")


def _days(text: str) -> int:
    days = int(text)
    if not 1 <= days <= 30:
        raise argparse.ArgumentTypeError(f"must be 1 to 30, got {days}")
    return days


def _seed(text: str) -> int:
    seed = int(text)
    if seed < 0:
        raise argparse.ArgumentTypeError(f"must be 0 or more, got {seed}")
    return seed


def moment(text: str | None, farm: Farm) -> datetime:
    """The planning time from `--on`, in farm time.

    Raises
    ------
    FarmError
        Where the text is no date.
    """
    if text is None:
        return datetime.now(farm.tz)
    try:
        if len(text) <= 10:
            return datetime.combine(date.fromisoformat(text), time(MORNING_HOUR), farm.tz)
        when = datetime.fromisoformat(text)
    except ValueError:
        raise FarmError(
            f'--on "{text}" is no date; write it as 2026-08-12 or 2026-08-12T14:30'
        ) from None
    return when if when.tzinfo else when.replace(tzinfo=farm.tz)


class ProgressBar:
    """Bar of progress on a terminal, nothing elsewhere; `words` says what each stage does."""

    def __init__(self, words: Mapping[Stage, str]) -> None:
        self.words = words
        self.bar = tqdm(
            total=100, disable=None, leave=False, file=sys.stderr, bar_format="{l_bar}{bar}| {desc}"
        )

    def show(self, stage: Stage, share: float) -> None:
        """Draw the bar for a stage and the share of the work done."""
        self.bar.set_description_str(self.words[stage], refresh=False)
        self.bar.n = round(100 * share)
        self.bar.refresh()

    def __enter__(self) -> Progress:
        return self.show

    def __exit__(self, *_: object) -> None:
        self.bar.close()


def _planned(args: argparse.Namespace, *, fast: bool = False) -> Morning:
    now = moment(args.on, read_farm(args.folder))
    with ProgressBar(STAGE) as show, WarmUp() as warm_up:

        def progress(stage: Stage, share: float) -> None:
            show(stage, share)
            if stage in COMPILED_BY:
                warm_up.wait(COMPILED_BY[stage])

        return plan_morning(
            args.folder, now=now, forecast=args.forecast, days=args.days, seed=args.seed,
            fast=fast, progress=progress,
        )  # fmt: skip


def run_plan(args: argparse.Namespace) -> int:
    """Plan, print, write; where there is a season book the plan is issued into it."""
    seen = _revision(args.folder)
    morning = _planned(args, fast=args.fast)
    print(terminal_plan(morning))
    if args.no_files:
        return 0
    from scheduler.report.files import (
        write_plan,  # draws: seconds that other commands need not wait
    )

    paths = write_plan(morning, args.folder)
    print(f"\nwritten to {paths[0].parent}: " + ", ".join(p.name for p in paths))
    if seen is not None:
        with Book(args.folder) as book:
            book.issue_plan(document(morning), seen=seen)
        print("issued into the season book: the next plan says what changed")
    return 0


def _revision(folder: Path) -> int | None:
    """What the season book knew before the plan was made; None without a book."""
    if not Book.exists(folder):
        return None
    with Book(folder) as book:
        return book.revision


def run_ready(args: argparse.Namespace) -> int:
    """Print hours per field and day."""
    now = moment(args.on, read_farm(args.folder))
    farm, season, sky = outlook_of(
        args.folder, now=now, forecast=args.forecast, days=args.days, seed=args.seed
    )
    if args.work:
        season = season_for_work(farm, season, sky, work=args.work)
    print(terminal_ready(farm, season, now=now, work=args.work))
    return 0


def run_price(args: argparse.Namespace) -> int:
    """Price an order of the user's own."""
    orders: dict[str, list[str]] = {}
    for text in args.order:
        crew, _, names = text.partition("=")
        if not names:
            raise FarmError(f'--order "{text}": write it as CREW=FIELD,FIELD,...')
        orders[crew.strip()] = [n.strip() for n in names.split(",") if n.strip()]
    _, lines = price_order(args.folder, _planned(args), orders)
    print("\n".join(lines))
    return 0
