"""The observed season: stored weather records, the season book, and the models run on them."""

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
from numpy.typing import NDArray

from readiness.atmosphere.weather import HOUR, Weather
from readiness.season.inputs import Observation
from readiness.season.simulate import Season
from scheduler.errors import BookError, WeatherError
from scheduler.farm.model import Farm
from scheduler.farm.slots import utc_hour
from scheduler.farm_files.folder import read_farm, read_rain
from scheduler.season_book.book import Book
from scheduler.season_book.current_farm import apply_book
from scheduler.season_book.entry_kinds import Entry
from scheduler.season_book.store import BOOK_FILE
from scheduler.weather.history import PAST_DAYS, hour_text, records, with_gauges
from scheduler.weather.selection import latest_cells, nearest_places
from scheduler.weather.store import stored_answers
from scheduler.windows.model_inputs import simulate_farm
from scheduler.windows.ripe_dates import with_ripe_dates

#: Days after the season's end on which a counterfactual may still cut; assumed, because a worse
#: order than the one worked may take a week longer.
BEYOND_DAYS = 14


@dataclass(frozen=True, kw_only=True)
class ObservedSeason:
    """The farm, the weather, the models' states and the book of one season.

    Attributes
    ----------
    farm
        The farm with every breakdown, absence and closure of the season; fields as at its start.
    start, stop
        Aware farm time of the first morning, and midnight after the last day.
    weather
        (1, field, hour) from the midnight before `start` to `BEYOND_DAYS` after `stop`, or to the
        end of the records.
    season
        (1, row, hour) over hours that include those of `weather`.
    observations
        Moisture samples and ground checks.
    all_weather
        (1, field, hour) with the spin-up before the season.
    entries
        Entries of the season book in the order written.
    plans
        Time and document of every issued plan, in order of time.
    notes
        Remarks on the weather records, for the reader of the review.
    """

    farm: Farm
    start: datetime
    stop: datetime
    weather: Weather
    season: Season
    observations: Sequence[Observation]
    all_weather: Weather
    entries: tuple[Entry, ...]
    plans: tuple[tuple[datetime, dict[str, Any]], ...]
    notes: tuple[str, ...]

    @property
    def hours(self) -> int:
        """Number of hours from the first midnight to `stop`."""
        return int((utc_hour(self.stop) - self.weather.start).astype(int))

    @property
    def reviewed(self) -> Season:
        """States of the fields from the first midnight to `stop`."""
        first = int((self.weather.start - self.season.start).astype(int))
        return self.season.between(first, first + self.hours)

    @property
    def reasons(self) -> NDArray[np.uint8]:
        """Why each field was closed in each hour reviewed, (field, hour), codes of `Reason`."""
        return np.asarray(self.reviewed.reason[0, : len(self.farm.fields)])

    def entries_of(self, *kinds: str) -> list[Entry]:
        """Entries of the given kinds up to `stop`, in order of time."""
        chosen = [e for e in self.entries if e.kind in kinds and e.at <= self.stop]
        return sorted(chosen, key=lambda e: (e.at, e.id))

    def index(self, when: datetime) -> int:
        """Index of the hour, counted from the first midnight, that holds an aware time."""
        return int((utc_hour(when) - self.weather.start).astype(int))


def read_observed_season(
    folder: Path, *, book: Path | None = None, until: datetime | None = None, seed: int = 0
) -> ObservedSeason:
    """Read book and records of a farm folder and run the models on the observed weather.

    Parameters
    ----------
    folder
        The farm folder.
    book
        A season book elsewhere, such as a backup; by default the folder's own.
    until
        Aware end of the review; by default the last day with an entry of cutting.
    seed
        Seed of the random draws of the models.

    Raises
    ------
    BookError
        If there is no book or the book has no entry of cutting.
    WeatherError
        If the records end before the season does.
    """
    farm = read_farm(folder)
    with _open_book(folder, book) as season_book:
        entries = tuple(e for e in season_book.entries() if until is None or e.at <= until)
        start, stop = _span(farm, entries, folder)
        farm = _with_downtime(farm, season_book, stop)
        seen = season_book.observations(farm, stop)
        gauges = pd.concat([read_rain(folder, farm), season_book.gauges(stop)], ignore_index=True)
        plans = [
            (e.at, season_book.plan(e.id)) for e in entries if e.kind == "plan" and e.at < stop
        ]
    notes: list[str] = []
    first = utc_hour(start.replace(hour=0, minute=0))
    weather = observed_weather(folder, farm, utc_hour(stop) + 24 * BEYOND_DAYS * HOUR, notes)
    if weather.times[-1] < utc_hour(stop) - HOUR:
        raise WeatherError(
            f"the weather records end {hour_text(weather.stop, farm.tz)}, before the season's end; "
            "run `afterrain fetch`, add records of your own with `afterrain import --records`, or "
            "review a part of it with --until DATE"
        )
    weather = with_gauges(weather, farm, gauges, notes)
    farm = with_ripe_dates(farm, weather)
    past, ahead = (
        weather.between(weather.start, first),
        weather.between(first, weather.stop),
    )
    season, _ = simulate_farm(farm, past, ahead, observations=seen, seed=seed)
    return ObservedSeason(
        farm=farm,
        start=start,
        stop=stop,
        weather=ahead,
        season=season,
        observations=seen,
        all_weather=weather,
        entries=entries,
        notes=tuple(dict.fromkeys(notes)),
        plans=tuple(sorted(((at, p) for at, p in plans if p is not None), key=lambda x: x[0])),
    )


@contextmanager
def _open_book(folder: Path, book: Path | None) -> Iterator[Book]:
    """Open the folder's book, or a copy of another book, which stays untouched."""
    if book is None:
        if not Book.exists(folder):
            raise BookError(f"{folder} has no season book yet: write into it with `afterrain log`")
        with Book(folder) as own:
            yield own
        return
    if not book.is_file():
        raise BookError(f"{book} is not a file: name a season book or a backup of one")
    with tempfile.TemporaryDirectory() as aside:
        shutil.copyfile(book, Path(aside) / BOOK_FILE)
        try:
            other = Book(aside)
        except BookError:
            raise BookError(
                f"{book} is not a season book: name a season book or a backup of one"
            ) from None
        with other:
            yield other


def _span(farm: Farm, entries: Sequence[Entry], folder: Path) -> tuple[datetime, datetime]:
    """From the first plan or cut to midnight after the last day of cutting."""
    cut = [e.at.astimezone(farm.tz) for e in entries if e.kind == "cut"]
    if not cut:
        raise BookError(
            f"{folder}: the season book has no entry of cutting; write "
            f"`afterrain log {folder} cut FIELD AREA`"
        )
    plans = [e.at.astimezone(farm.tz) for e in entries if e.kind == "plan"]
    begun = min(cut).replace(hour=0, minute=0, second=0)
    if plans and min(plans).date() <= begun.date():
        begun = min(plans)
    last = (max(cut) - timedelta(seconds=1)).date() + timedelta(days=1)
    return begun, datetime(last.year, last.month, last.day, tzinfo=farm.tz)


def _with_downtime(farm: Farm, book: Book, stop: datetime) -> Farm:
    """The farm with the season's breakdowns, absences and closures; fields as in the files."""
    updated = apply_book(farm, book, stop)
    points = tuple(
        replace(p, capacity_t=old.capacity_t)
        for p, old in zip(updated.points, farm.points, strict=True)
    )
    return replace(updated, fields=farm.fields, points=points)


def observed_weather(folder: Path, farm: Farm, end: np.datetime64, notes: list[str]) -> Weather:
    """Weather records of every field, to `end` or to the last known hour before it.

    Parameters
    ----------
    folder
        The farm folder.
    farm
        Its fields give the places.
    end
        UTC hour at which the weather ends at the latest.
    notes
        List that remarks on the records are appended to.

    Returns
    -------
    Weather
        (1, field, hour), at most `PAST_DAYS` long.

    Raises
    ------
    WeatherError
        If there are no records, or the records are empty.
    """
    archive = stored_answers(folder, "archive")
    now = datetime.fromisoformat(f"{end}+00:00")
    cells = latest_cells(archive, farm, max([now, *(s.issued for s in archive)]), notes)
    weather = records(folder, cells, end, notes, farm.tz) if cells else None
    if weather is None:
        raise WeatherError(
            f"{folder}: there are no weather records; run `afterrain fetch {folder}`"
        )
    hours = np.flatnonzero(np.isfinite(weather.rain + weather.temp).all(axis=(0, 1)))
    if not len(hours):
        raise WeatherError(f"{folder}: the weather records are empty; run `afterrain fetch`")
    stop = weather.times[hours[-1]] + HOUR
    site = nearest_places(farm.fields, [(c.lat, c.lon) for c in cells])[0]
    return weather.between(max(weather.start, stop - 24 * PAST_DAYS * HOUR), stop).sites(site)
