"""The information state of a morning: farm, season book and weather."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

import pandas as pd

from readiness.atmosphere.weather import Weather
from readiness.season.inputs import Observation
from readiness.season.simulate import Season
from scheduler.farm.model import Farm
from scheduler.farm_files.folder import read_farm, read_rain
from scheduler.orders.document import read_issued_plan
from scheduler.orders.model import CrewOrders
from scheduler.season_book.book import Book
from scheduler.season_book.current_farm import apply_book
from scheduler.weather.field_weather import FarmWeather, weather_for
from scheduler.windows.learnt_offsets import learn
from scheduler.windows.lessons import Lesson
from scheduler.windows.model_inputs import simulate_farm
from scheduler.windows.ripe_dates import with_ripe_dates


@dataclass(frozen=True, kw_only=True)
class BookState:
    """What the season book holds on a morning; empty where there is no book."""

    observations: Sequence[Observation] = ()
    previous_orders: Sequence[CrewOrders] | None = None  # the last issued plan
    locked_fields: Mapping[str, Sequence[str]] = field(default_factory=dict)  # by crew, in order
    fields_in_progress: Mapping[str, str] = field(default_factory=dict)  # field -> crew
    book_news: tuple[str, ...] = ()  # entries since the last issued plan


@dataclass(frozen=True, kw_only=True)
class InformationState(BookState):
    """All that a plan may use on a morning; `lessons` are what the book's readings taught."""

    farm: Farm
    now: datetime
    weather: FarmWeather
    lessons: tuple[Lesson, ...] = ()


def gather(
    folder: Path,
    now: datetime | None,
    *,
    forecast: Path | None,
    days: int,
    seed: int,
    elsewhere: bool = False,
) -> InformationState:
    """Read the farm folder, its season book and its weather.

    Parameters
    ----------
    now : aware planning time; the clock's where None.
    forecast : a forecast file in place of the last stored forecast.
    days, seed : horizon and random seed of the members.
    elsewhere : whether the forecast file may be for a place far from the fields.

    Raises
    ------
    FarmError, WeatherError, BookError
        Where an input is wrong.
    """
    farm = read_farm(folder)
    when = (now or datetime.now(farm.tz)).astimezone(farm.tz)
    gauges = read_rain(folder, farm)
    state = BookState()
    if Book.exists(folder):
        with Book(folder) as book:
            state = _read_book(book, farm, when)
            farm = apply_book(farm, book, when)
            gauges = pd.concat([gauges, book.gauges(when)], ignore_index=True)
    weather = weather_for(
        folder,
        farm,
        when,
        days=days,
        forecast=forecast,
        elsewhere=elsewhere,
        seed=seed,
        gauges=gauges,
    )
    farm = with_ripe_dates(farm, weather.past, weather.forecast)
    learnt = learn(farm, state.observations, weather.past, now=when)
    return InformationState(
        farm=learnt.farm, now=when, weather=weather, lessons=learnt.lessons, **vars(state)
    )


def _read_book(book: Book, farm: Farm, now: datetime) -> BookState:
    """Read what the book holds at `now`.

    `farm` is as its files have it: what the book says of it is counted once.
    """
    document = book.last_plan(now)
    return BookState(
        observations=book.observations(farm, now),
        previous_orders=None if document is None else read_issued_plan(document, farm).crews,
        locked_fields=book.manual_orders(farm, now),
        fields_in_progress=book.in_progress(farm, now),
        book_news=book.news(farm, now),
    )


def simulated_season(information: InformationState, *, seed: int) -> tuple[Season, Weather]:
    """Soil and grain of every field in every member, and the weather on the same hours."""
    weather = information.weather
    return simulate_farm(
        information.farm,
        weather.past,
        weather.forecast,
        lightning=weather.lightning,
        observations=information.observations,
        seed=seed,
    )


def outlook_of(
    folder: Path,
    *,
    now: datetime | None,
    forecast: Path | None,
    days: int,
    seed: int,
    elsewhere: bool = False,
) -> tuple[Farm, Season, Weather]:
    """The farm as the book leaves it, its season and the weather of its fields, without a plan."""
    information = gather(folder, now, forecast=forecast, days=days, seed=seed, elsewhere=elsewhere)
    return information.farm, *simulated_season(information, seed=seed)
