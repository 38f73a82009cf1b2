"""Commands `rehearse` and `whatif`: past seasons played through the planner."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from tqdm import tqdm

from readiness.sources.daily_record import DailyRecord, RecordError
from readiness.sources.station_file import read_station_file
from scheduler.errors import FarmError
from scheduler.farm_files.folder import read_farm
from scheduler.simulation.alterations import Alteration
from scheduler.simulation.parallel import parallel_map
from scheduler.simulation.phrases import rehearsal_lines, whatif_lines
from scheduler.simulation.rehearsal import RehearsalSettings
from scheduler.simulation.season_results import RehearsalSummary
from scheduler.simulation.whatif import (
    WHATIF_SETTINGS,
    compare_task,
    season_tasks,
    what_if,
)

#: Share of the search that `--fast` does.
FAST_SHARE = 0.1


def run_rehearse(args: argparse.Namespace) -> int:
    """Play the seasons, print each of them and the headline."""
    farm, stations = read_farm(args.folder), read_stations(args.records)
    settings = replace(_settings(args, RehearsalSettings()), errors=args.errors)
    todo = season_tasks(farm, stations, years=args.years, settings=settings)
    with parallel_map(workers=min(args.workers, len(todo)), cluster=args.cluster) as run:
        results = tqdm(
            run(compare_task, todo), total=len(todo), disable=None, leave=False, unit="season"
        )
        summary = RehearsalSummary(seasons=tuple(results))
    print("\n".join(rehearsal_lines(summary, farm)))
    return 0


def run_whatif(args: argparse.Namespace) -> int:
    """Play the seasons with and without the change, print what the change is worth."""
    farm = read_farm(args.folder)
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
    stations = read_stations(args.records)
    with parallel_map(workers=args.workers, cluster=args.cluster) as run:
        found = what_if(
            farm,
            change,
            stations,
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


def read_stations(paths: Sequence[Path]) -> list[DailyRecord]:
    """Read daily records, one station a file.

    Raises
    ------
    FarmError
        Where a file cannot be read.
    """
    for path in paths:
        if not path.is_file():
            raise FarmError(f"{path}: there is no such file; check its name and its folder")
    try:
        return [read_station_file(p) for p in paths]
    except RecordError as error:
        raise FarmError(str(error)) from None


def _settings(args: argparse.Namespace, defaults: RehearsalSettings) -> RehearsalSettings:
    """Settings from the options; `defaults` where an option is not given."""
    return replace(
        defaults,
        members=args.members or defaults.members,
        days=args.days or defaults.days,
        seed=args.seed,
        effort=defaults.effort.times(FAST_SHARE) if args.fast else defaults.effort,
    )
