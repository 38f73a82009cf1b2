"""Write the sample farm's invented season: records after 12 August, and the season book.

    python sample_forecasts/make_season.py [FOLDER]

`season_weather.py` continues the weather of `make_weather.py` and draws a small ensemble each
morning. The planner plans on it. The simulator moves the crews of `season_crews.py` by the plan in
the true weather, at nine tenths of the machines' rates, with a breakdown, a full elevator, an
absence, and two days on which a crew chose another field. One seed; takes some minutes. Nothing
here is evidence of anything.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from dataclasses import replace
from datetime import datetime, time, timedelta
from pathlib import Path
from typing import Any

from season_crews import FULL, LAST, SampleCrews, log_gauge_rain
from season_weather import (
    DAYS,
    FIRST,
    RECORDS_FETCHED,
    SeasonWeather,
    write_forecast,
    write_records,
)

from scheduler.farm_files.folder import read_farm
from scheduler.planning.information import gather
from scheduler.planning.plan import plan_farm
from scheduler.report.plan_document import document
from scheduler.season_book.book import Book

HERE = Path(__file__).resolve().parent
#: Parts of a plan that pages show and no review reads.
PAGES_ONLY = ("hours", "lessons", "messages")
#: Files of the records of the season.
RECORDS = f"archive_{RECORDS_FETCHED:%Y%m%d}*"


def play_season(folder: Path, weather: SeasonWeather) -> None:
    """Plan and cut every morning until all fields are cut."""
    farm = read_farm(folder)
    crews = SampleCrews(folder, farm)
    log_gauge_rain(crews, weather)
    full = FULL[0].replace(tzinfo=farm.tz)
    crews.log(
        "notice",
        "Junction elevator",
        full,
        notice="full",
        until=(full + FULL[1]).isoformat(),
    )
    for n in range((LAST - FIRST).days + 1):
        day = FIRST + timedelta(days=n)
        now = datetime.combine(day, time(6), farm.tz)
        if sum(crews.left.values()) < 0.5:
            return
        write_forecast(folder, weather, now)
        information = gather(folder, now, forecast=None, days=DAYS, seed=0)
        own_machines = replace(
            information.farm, crews=tuple(replace(c, fixed=True) for c in information.farm.crews)
        )
        morning = plan_farm(replace(information, farm=own_machines), days=DAYS)
        issue(folder, document(morning))
        crews.check_ground(day, [o.field for c in morning.crews for o in c.orders[:2]])
        crews.work_day(day, morning.crews)
        print(day, f"{sum(crews.left.values()):.0f} ha left", flush=True)


def issue(folder: Path, plan: dict[str, Any]) -> None:
    """Enter the plan into the book without what only pages show, so that the sample stays small."""
    kept = {k: type(v)() if k in PAGES_ONLY else v for k, v in plan.items()}
    with Book(folder) as book:
        book.issue_plan(rounded(kept), seen=book.revision, by="sample")


def rounded(value: Any) -> Any:
    """A document with its numbers rounded to three digits."""
    if isinstance(value, dict):
        return {k: rounded(v) for k, v in value.items()}
    if isinstance(value, list):
        return [rounded(v) for v in value]
    return float(f"{value:.3g}") if isinstance(value, float) else value


def main() -> None:
    """Make the season in a copy of the sample, then write its records and book to the folder."""
    weather = SeasonWeather()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for path in HERE.glob("*.*"):
            if path.is_file() and path.suffix in (".toml", ".csv", ".geojson"):
                shutil.copy(path, folder / path.name)
        skipped = shutil.ignore_patterns("gridpoint*", RECORDS)
        shutil.copytree(HERE / "forecasts", folder / "forecasts", ignore=skipped)
        write_records(folder, weather)
        play_season(folder, weather)
        out = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE
        (out / "forecasts").mkdir(parents=True, exist_ok=True)
        for path in (folder / "forecasts").glob(RECORDS):
            shutil.copy(path, out / "forecasts" / path.name)
        with Book(folder) as book:
            book.backup(out / "season.sqlite")


if __name__ == "__main__":
    main()
