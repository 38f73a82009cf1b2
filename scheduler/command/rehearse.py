"""Commands `rehearse` and `whatif`: past seasons played through the planner."""

from __future__ import annotations

import argparse
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from tqdm import tqdm

from readiness.sources.records import DailyRecord, RecordError, read_uscrn_daily
from scheduler.errors import FarmError
from scheduler.farm.model import Farm
from scheduler.farm_files.folder import read_farm
from scheduler.simulation.alterations import Alteration
from scheduler.simulation.phrases import rehearsal_lines, whatif_lines
from scheduler.simulation.rehearsal import RehearsalSettings, RehearsalSummary
from scheduler.simulation.whatif import (
    WHATIF_SETTINGS,
    compare_task,
    parallel_map,
    season_tasks,
    what_if,
)


def register(commands: Any) -> None:
    """Add this group's subcommands."""
    rehearse = commands.add_parser(
        "rehearse", help="play past seasons: the planner against rules of thumb and hindsight"
    )
    _common(rehearse, RehearsalSettings())
    rehearse.add_argument("--perfect", action="store_true", help="forecast the weather that came")
    rehearse.set_defaults(run=run_rehearse)
    what = commands.add_parser(
        "whatif", help="play past seasons with another combine, longer hours, a dryer, tile"
    )
    _common(what, WHATIF_SETTINGS)
    for kind in ("combine", "cart", "truck"):
        what.add_argument(
            f"--{kind}", action="append", default=[], metavar="ID", help=f"one more {kind} like ID"
        )
    what.add_argument("--hours", type=float, default=0.0, metavar="N", help="N h later evenings")
    what.add_argument("--dryer", action="store_true", help="a dryer at the farm's own bins")
    what.add_argument(
        "--moisture", type=float, default=0.0, metavar="N", help="start N points wetter"
    )
    what.add_argument("--tile", default="", metavar="FIELD,...", help="tile in these fields")
    what.add_argument(
        "--yearly-cost", type=float, default=0.0, metavar="MONEY", help="what the change costs"
    )
    what.add_argument(
        "--capacity-price",
        type=float,
        metavar="MONEY",
        help="price of a combine for each acre (or ha) an hour, for the least-cost capacity",
    )
    what.add_argument(
        "--own-share",
        type=float,
        default=0.16,
        metavar="SHARE",
        help="yearly cost of owning as a share of that price",
    )
    what.add_argument(
        "--labour", type=float, default=25.0, metavar="MONEY", help="labour for an hour"
    )
    what.set_defaults(run=run_whatif)


def _common(command: argparse.ArgumentParser, usual: RehearsalSettings) -> None:
    command.add_argument("folder", type=Path, metavar="FOLDER", help="the farm folder")
    command.add_argument(
        "--records",
        type=Path,
        nargs="+",
        required=True,
        metavar="FILE",
        help="daily files of the U.S. Climate Reference Network, one station each",
    )
    command.add_argument("--years", type=_years, metavar="FIRST-LAST", help="only these years")
    command.add_argument(
        "--members",
        type=_count,
        default=usual.members,
        metavar="N",
        help="members of each forecast",
    )
    command.add_argument(
        "--days",
        type=_count,
        default=usual.days,
        metavar="N",
        help="days planned ahead each morning",
    )
    command.add_argument("--seed", type=int, default=0, metavar="N", help="random seed")
    command.add_argument(
        "--workers", type=_count, default=2, metavar="N", help="processes on this machine"
    )
    command.add_argument(
        "--cluster", metavar="ADDRESS", help="a Dask cluster instead, as tcp://10.0.0.5:8786"
    )


def _years(text: str) -> range:
    found = re.fullmatch(r"(\d{4})(?:-(\d{4}))?", text)
    if not found:
        raise argparse.ArgumentTypeError(f"write 2010 or 2010-2020, got {text}")
    first, last = int(found[1]), int(found[2] or found[1])
    if last < first:
        raise argparse.ArgumentTypeError(f"the first year comes first, got {text}")
    return range(first, last + 1)


def _count(text: str) -> int:
    n = int(text)
    if n < 1:
        raise argparse.ArgumentTypeError(f"must be 1 or more, got {n}")
    return n


def stations(paths: list[Path]) -> list[DailyRecord]:
    """Read the records.

    Raises
    ------
    FarmError
        Where a file cannot be read.
    """
    try:
        return [read_uscrn_daily(p) for p in paths]
    except RecordError as error:
        raise FarmError(str(error)) from None


def _given(args: argparse.Namespace) -> tuple[Farm, list[DailyRecord]]:
    return read_farm(args.folder), stations(args.records)


def _settings(args: argparse.Namespace, usual: RehearsalSettings) -> RehearsalSettings:
    return RehearsalSettings(
        members=args.members,
        days=args.days,
        moves=usual.moves,
        seed=args.seed,
        perfect=getattr(args, "perfect", False),
    )


def _told(found: Any, count: int) -> Iterator[Any]:
    """Results as they come, with a bar on a terminal."""
    yield from tqdm(found, total=count, disable=None, leave=False, unit="season")


def run_rehearse(args: argparse.Namespace) -> int:
    """Play, print every season and the headline."""
    farm, records = _given(args)
    todo = season_tasks(
        farm, records, years=args.years, settings=_settings(args, RehearsalSettings())
    )
    with parallel_map(workers=min(args.workers, len(todo)), cluster=args.cluster) as run:
        seasons = tuple(_told(run(compare_task, todo), len(todo)))
    print("\n".join(rehearsal_lines(RehearsalSummary(seasons=seasons), farm)))
    return 0


def run_whatif(args: argparse.Namespace) -> int:
    """Play with and without the change, print what it is worth."""
    farm, records = _given(args)
    change = Alteration(
        combines=tuple(args.combine),
        carts=tuple(args.cart),
        trucks=tuple(args.truck),
        hours=args.hours,
        dryer=args.dryer,
        moisture=args.moisture,
        tile=tuple(t.strip() for t in args.tile.split(",") if t.strip()),
    )
    if change == Alteration():
        raise FarmError("nothing is changed: give --combine, --hours, --dryer, --tile or the like")
    with parallel_map(workers=args.workers, cluster=args.cluster) as run:
        found = what_if(
            farm,
            change,
            records,
            years=args.years,
            settings=_settings(args, WHATIF_SETTINGS),
            run=run,
        )
    lines = whatif_lines(
        found,
        farm,
        yearly_cost=args.yearly_cost,
        capacity_price=args.capacity_price,
        own_share=args.own_share,
        labour_hour=args.labour,
    )
    print("\n".join(lines))
    return 0
