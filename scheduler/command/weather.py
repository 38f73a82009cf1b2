"""Commands of the weather: `fetch` brings it in, `verify` tells how good it was."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from scheduler.command.plan import moment
from scheduler.errors import WeatherError
from scheduler.farm.model import Farm
from scheduler.farm_files.folder import read_farm, read_rain
from scheduler.season_book.book import Book
from scheduler.weather.selection import choose_forecast

if TYPE_CHECKING:
    from readiness.sources.services import Services
    from scheduler.weather.fetch import FetchOutcome

STATES = {"stored": "new", "same": "as stored", "older": "older than stored", "stale": "old copy",
          "failed": "nothing"}  # fmt: skip


def register(commands: Any) -> None:
    """Add this group's subcommands."""
    get = commands.add_parser("fetch", help="fetch forecasts, records and warnings, and store them")
    get.add_argument("folder", metavar="FOLDER", help="the farm folder")
    years = "also N earlier years of records, for the days past the forecast"
    get.add_argument("--years", type=int, default=0, metavar="N", help=years)
    soil = "ask the USDA soil survey instead, and write soil.csv"
    get.add_argument("--soil", action="store_true", help=soil)
    mirror = "address that stands for all services (a mirror)"
    get.add_argument("--services", metavar="URL", help=mirror)
    get.set_defaults(run=run_fetch)
    score = commands.add_parser("verify", help="score stored forecasts against what fell")
    score.add_argument("folder", metavar="FOLDER", help="the farm folder")
    score.add_argument("--out", metavar="DIR", help="where the page goes; FOLDER/verification")
    score.add_argument("--on", metavar="TIME", help="as known at that time, as 2026-08-20 06:00")
    score.set_defaults(run=run_verify)


def run_fetch(args: argparse.Namespace) -> int:
    """Fetch and tell what came; 0 where there is something to plan on."""
    from readiness.sources.services import Services  # the network's libraries: others need not wait
    from scheduler.weather.fetch import PRODUCTS, fetch

    folder = Path(args.folder)
    farm = read_farm(folder, guess_soil="loam" if args.soil else "")
    with Services(folder / "cache", base=args.services) as services:
        if args.soil:
            return _soil(folder, farm, services)
        now = datetime.now(UTC)
        outcomes = fetch(folder, farm, services, now=now, years=max(0, args.years))
        for product in PRODUCTS:
            for line in product_lines(farm, product, outcomes, now):
                print(line)
        for note in services.notes:
            print(note)
    return _usable(folder, farm)


def product_lines(
    farm: Farm, product: str, outcomes: Sequence[FetchOutcome], now: datetime
) -> list[str]:
    """What came of one product, one line for each way it went."""
    mine = [o for o in outcomes if o.product == product]
    lines = []
    for state, word in STATES.items():
        group = [o for o in mine if o.state == state]
        if not group:
            continue
        issues = [o.issued for o in group if o.issued]
        when = f", {aged(min(issues), farm, now)}" if issues else ""
        why = "; ".join(dict.fromkeys(o.text for o in group if o.text))
        cells = f"{len(group)} of {len(mine)} cell{'s' if len(mine) > 1 else ''}"
        lines.append(f"{product:<13}{cells:<14}{word}{when}{f': {why}' if why else ''}")
    return lines


def aged(issued: datetime, farm: Farm, now: datetime) -> str:
    """When something was issued and how old it is."""
    age = max(0.0, (now - issued) / timedelta(hours=1))
    return f"issued {issued.astimezone(farm.tz):%a %d %b %H:%M}, {age:.0f} h old"


def _usable(folder: Path, farm: Farm) -> int:
    """Say what a plan would use now."""
    now = datetime.now(farm.tz)
    try:
        cells = choose_forecast(folder, farm, now, [])
    except WeatherError as error:
        print(f"There is nothing to plan on: {error}")
        return 1
    issued = min(c.issued for c in cells if c.issued)
    print(f"A plan would use {cells[0].source}, {aged(issued, farm, now)}.")
    return 0


def _soil(folder: Path, farm: Farm, services: Services) -> int:
    from readiness.sources.services import ServiceError
    from scheduler.weather.fetch import fetch_soil

    try:
        path, found = fetch_soil(folder, farm, services)
    except ServiceError as error:
        raise WeatherError(f"{error}; no soil was written") from None
    for field in farm.fields:
        if field.id in found:
            soil = found[field.id]
            print(f"{field.id:<10}{soil.texture}, {soil.drainage} drainage, hydrologic group "
                  f"{soil.group or 'unknown'}; {soil.map_unit}")  # fmt: skip
        else:
            print(f"{field.id:<10}not in the survey")
    print(f"wrote {path}; what fields.csv says wins over it")
    return 0


def run_verify(args: argparse.Namespace) -> int:
    """Score, print the table and write the page."""
    from scheduler.verification.forecasts import verify  # draws: seconds that others need not wait
    from scheduler.verification.page import table_lines, write_verification

    folder = Path(args.folder)
    farm = read_farm(folder)
    now = moment(args.on, farm)
    found = verify(folder, farm, all_gauges(folder, farm, now), now=now)
    for line in table_lines(farm, found):
        print(line)
    for path in write_verification(Path(args.out or folder / "verification"), farm, found):
        print(f"wrote {path}")
    return 0


def all_gauges(folder: Path, farm: Farm, now: datetime) -> pd.DataFrame:
    """Readings of rain.csv and of the season book until `now`."""
    gauges = read_rain(folder, farm)
    if Book.exists(folder):
        with Book(folder) as book:
            gauges = pd.concat([gauges, book.gauges(now)], ignore_index=True)
    return gauges
