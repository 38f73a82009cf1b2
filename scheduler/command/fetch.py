"""Command `fetch`: forecasts, records and warnings from the services into the farm folder."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

from readiness.sources.service_errors import ServiceError
from readiness.sources.services import Services
from scheduler.errors import WeatherError
from scheduler.farm.model import Farm
from scheduler.farm.wording import day_name, time_of_day
from scheduler.farm_files.folder import read_farm
from scheduler.language.translation import N_, _, ngettext
from scheduler.weather.fetch import PRODUCTS, FetchOutcome, fetch
from scheduler.weather.fetch_soil import fetch_soil
from scheduler.weather.selection import choose_forecast

#: Words for the states of an outcome, in the order in which they are printed.
STATE_WORDS = {
    "stored": N_("new"),
    "same": N_("as stored"),
    "older": N_("older than stored"),
    "stale": N_("old copy"),
    "failed": N_("nothing"),
}


def run_fetch(args: argparse.Namespace) -> int:
    """Fetch and print the outcomes; 0 where a plan can be made of what is stored."""
    folder = Path(args.folder)
    farm = read_farm(folder, guess_soil="loam" if args.soil else "")
    with Services(folder / "cache", base=args.services) as services:
        if args.soil:
            return _fetch_soil(folder, farm, services)
        now = datetime.now(UTC)
        outcomes = fetch(folder, farm, services, now=now, years=max(0, args.years))
        for product in PRODUCTS:
            for line in product_lines(farm, product, outcomes, now):
                print(line)
        for note in services.notes:
            print(note)
    return _print_usable(folder, farm)


def product_lines(
    farm: Farm, product: str, outcomes: Sequence[FetchOutcome], now: datetime
) -> list[str]:
    """Outcomes of one product, one line for each state."""
    of_product = [o for o in outcomes if o.product == product]
    lines = []
    for state, word in STATE_WORDS.items():
        group = [o for o in of_product if o.state == state]
        if not group:
            continue
        issues = [o.issued for o in group if o.issued]
        when = f", {issue_text(min(issues), farm, now)}" if issues else ""
        why = "; ".join(dict.fromkeys(o.text for o in group if o.text))
        cells = ngettext(
            "{count} of {n} cell", "{count} of {n} cells", len(of_product), count=len(group)
        )
        lines.append(f"{product:<13}{cells:<14}{_(word)}{when}{f': {why}' if why else ''}")
    return lines


def issue_text(issued: datetime, farm: Farm, now: datetime) -> str:
    """Time of issue in farm time, and the age in hours."""
    age = max(0.0, (now - issued) / timedelta(hours=1))
    here = issued.astimezone(farm.tz)
    return _(
        "issued {day} {time}, {age} h old",
        day=day_name(here),
        time=time_of_day(here, farm.units),
        age=round(age),
    )


def _print_usable(folder: Path, farm: Farm) -> int:
    """Print which forecast a plan would use now; 1 where there is none."""
    now = datetime.now(farm.tz)
    try:
        cells = choose_forecast(folder, farm, now, [])
    except WeatherError as error:
        print(_("There is nothing to plan on: {error}", error=error))
        return 1
    issued = min(c.issued for c in cells if c.issued)
    when = issue_text(issued, farm, now)
    print(_("A plan would use {forecast}, {issued}.", forecast=cells[0].source, issued=when))
    return 0


def _fetch_soil(folder: Path, farm: Farm, services: Services) -> int:
    """Write soil.csv from the soil survey and print each field's soil."""
    try:
        path, found = fetch_soil(folder, farm, services)
    except ServiceError as error:
        raise WeatherError(f"{error}; no soil was written") from None
    for field in farm.fields:
        if field.id in found:
            soil = found[field.id]
            print(
                f"{field.id:<10}{soil.texture}, {soil.drainage} drainage, hydrologic group "
                f"{soil.group or 'unknown'}; {soil.map_unit}"
            )
        else:
            print(f"{field.id:<10}not in the survey")
    print(f"wrote {path}; what fields.csv says wins over it")
    return 0
