"""Command `verify`: how good the stored forecasts were."""

from __future__ import annotations

import argparse
from datetime import datetime
from pathlib import Path

import pandas as pd

from scheduler.command.planning_time import planning_time
from scheduler.farm.model import Farm
from scheduler.farm_files.folder import read_farm, read_rain
from scheduler.language.translation import _
from scheduler.season_book.book import Book
from scheduler.verification.forecast_page import table_lines, write_verification
from scheduler.verification.forecasts import verify


def run_verify(args: argparse.Namespace) -> int:
    """Score the forecasts, print the table and write the page."""
    folder = Path(args.folder)
    farm = read_farm(folder)
    now = planning_time(args.on, farm)
    found = verify(folder, farm, all_gauges(folder, farm, now), now=now)
    # files come first: whoever reads the output may close it early
    paths = write_verification(Path(args.out or folder / "verification"), farm, found)
    for line in table_lines(farm, found):
        print(line)
    for path in paths:
        print(_("wrote {file}", file=path))
    return 0


def all_gauges(folder: Path, farm: Farm, now: datetime) -> pd.DataFrame:
    """Read the gauges of rain.csv and of the season book until `now`."""
    gauges = read_rain(folder, farm)
    if Book.exists(folder):
        with Book(folder) as book:
            gauges = pd.concat([gauges, book.gauges(now)], ignore_index=True)
    return gauges
