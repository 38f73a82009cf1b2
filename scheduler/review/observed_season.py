"""What came: the season as it turned out, from the stored records and the season book."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from readiness.atmosphere.weather import Weather
from readiness.season.inputs import Observation
from readiness.season.simulate import Season
from scheduler.errors import BookError, WeatherError
from scheduler.farm.model import Farm
from scheduler.farm.working_time import utc_hour
from scheduler.farm_files.folder import read_farm, read_rain
from scheduler.season_book.book import Book
from scheduler.season_book.current_farm import apply_book
from scheduler.season_book.kinds import Entry
from scheduler.season_book.store import BOOK_FILE
from scheduler.weather.history import PAST_DAYS, records, with_gauges
from scheduler.weather.selection import latest_cells, nearest_places
from scheduler.weather.store import stored_answers
from scheduler.windows.model_inputs import simulate_farm

HOUR = np.timedelta64(1, "h")
#: Days after the season's end on which the mirrors may still cut; assumed, because a worse order
#: than what was done may take a week longer.
BEYOND_DAYS = 14


@dataclass(frozen=True, kw_only=True)
class ObservedSeason:
    """The season as it turned out.

    Attributes
    ----------
    farm : with every breakdown, absence and closure of the season, fields as at its start.
    start : aware farm time of the first morning. stop : midnight after the last day.
    weather : (1, field, hour) from `start`'s midnight, some days beyond `stop` where known.
    season : (1, row, hour) on hours that include those of `weather`.
    entries : what the book holds, in the order written.
    plans : documents of the plans issued, by time.
    """

    farm: Farm
    start: datetime
    stop: datetime
    weather: Weather
    season: Season
    observations: Sequence[Observation]
    past: Weather
    entries: tuple[Entry, ...]
    plans: tuple[tuple[datetime, dict[str, Any]], ...]
    notes: tuple[str, ...]

    @property
    def hours(self) -> int:
        """Hours from the first midnight to the last."""
        return int((utc_hour(self.stop) - self.weather.start).astype(int))

    def entries_of(self, *kinds: str) -> list[Entry]:
        """Entries of some kinds by time."""
        found = [e for e in self.entries if e.kind in kinds and e.at <= self.stop]
        return sorted(found, key=lambda e: (e.at, e.id))

    def index(self, when: datetime) -> int:
        """Hour of the season, from its first midnight, that holds an aware time."""
        return int((utc_hour(when) - self.weather.start).astype(int))


def read_observed_season(
    folder: Path, *, book: Path | None = None, until: datetime | None = None, seed: int = 0
) -> ObservedSeason:
    """Read the book and the records of a farm folder and run the season that came.

    Parameters
    ----------
    book : a season book elsewhere, as a backup; the folder's own by default.
    until : aware end of the review; the last day on which something was cut by default.

    Raises
    ------
    BookError
        Where there is no book or nothing was cut.
    WeatherError
        Where the records do not reach into the season.
    """
    farm = read_farm(folder)
    with _opened(folder, book) as told:
        entries = tuple(e for e in told.entries() if until is None or e.at <= until)
        start, stop = _span(farm, entries, folder)
        farm = _as_at_start(farm, told, stop)
        seen = told.observations(farm, stop)
        gauges = pd.concat([read_rain(folder, farm), told.gauges(stop)], ignore_index=True)
        plans = [(e.at, told.plan(e.id)) for e in entries if e.kind == "plan" and e.at < stop]
    notes: list[str] = []
    first = utc_hour(start.replace(hour=0, minute=0))
    known = observed_weather(folder, farm, utc_hour(stop) + 24 * BEYOND_DAYS * HOUR, notes)
    if known.times[-1] < utc_hour(stop) - HOUR:
        raise WeatherError(
            f"the weather records end {known.times[-1]} UTC, before the season's end; run "
            "`afterrain fetch`, or review a part of it with --until DATE"
        )
    known = with_gauges(known, farm, gauges, notes)
    past, ahead = known.between(known.start, first), known.between(first, known.times[-1] + 1)
    season, _ = simulate_farm(farm, past, ahead, observations=seen, seed=seed)
    return ObservedSeason(
        farm=farm, start=start, stop=stop, weather=ahead, season=season, observations=seen,
        past=known, entries=entries, notes=tuple(dict.fromkeys(notes)),
        plans=tuple(sorted(((at, p) for at, p in plans if p is not None), key=lambda x: x[0])),
    )  # fmt: skip


@contextmanager
def _opened(folder: Path, book: Path | None) -> Iterator[Book]:
    """The folder's book, or a copy of another, which stays as it is."""
    if book is None:
        if not Book.exists(folder):
            raise BookError(f"{folder} has no season book yet: write into it with `afterrain log`")
        with Book(folder) as own:
            yield own
        return
    if not book.is_file():
        raise BookError(f"{book} is no file: name a season book or a backup of one")
    with tempfile.TemporaryDirectory() as aside:
        shutil.copyfile(book, Path(aside) / BOOK_FILE)
        with Book(aside) as other:
            yield other


def _span(farm: Farm, entries: Sequence[Entry], folder: Path) -> tuple[datetime, datetime]:
    """From the first plan or cut to midnight after the last day with something cut."""
    cut = [e.at.astimezone(farm.tz) for e in entries if e.kind == "cut"]
    if not cut:
        raise BookError(
            f"{folder}: the book tells of nothing cut; write `afterrain log {folder} cut FIELD "
            "AREA`"
        )
    plans = [e.at.astimezone(farm.tz) for e in entries if e.kind == "plan"]
    begun = min(cut).replace(hour=0, minute=0, second=0)
    if plans and min(plans).date() <= begun.date():
        begun = min(plans)
    last = (max(cut) - timedelta(seconds=1)).date() + timedelta(days=1)
    return begun, datetime(last.year, last.month, last.day, tzinfo=farm.tz)


def _as_at_start(farm: Farm, book: Book, stop: datetime) -> Farm:
    """What broke, was away or shut over the season; fields and points as the files have them."""
    told = apply_book(farm, book, stop)
    points = tuple(
        replace(p, capacity_t=old.capacity_t)
        for p, old in zip(told.points, farm.points, strict=True)
    )
    return replace(told, fields=farm.fields, points=points)


def observed_weather(folder: Path, farm: Farm, end: np.datetime64, notes: list[str]) -> Weather:
    """Records of every field, (1, field, hour), to `end` or their last known hour before it."""
    archive = stored_answers(folder, "archive")
    now = datetime.fromisoformat(f"{end}+00:00")
    cells = latest_cells(archive, farm, max([now, *(s.issued for s in archive)]), notes)
    known = records(folder, cells, end, notes) if cells else None
    if known is None:
        raise WeatherError(
            f"{folder}: there are no weather records; run `afterrain fetch {folder}`"
        )
    told = np.flatnonzero(np.isfinite(known.rain + known.temp).all(axis=(0, 1)))
    if not len(told):
        raise WeatherError(f"{folder}: the weather records are empty; run `afterrain fetch`")
    stop = known.times[told[-1]] + HOUR
    site = nearest_places(farm.fields, [(c.lat, c.lon) for c in cells])[0]
    return known.between(max(known.start, stop - 24 * PAST_DAYS * HOUR), stop).sites(site)
