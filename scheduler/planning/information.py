"""All that is known on a morning: farm, season book, weather."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

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
from scheduler.windows.bias import learn
from scheduler.windows.lessons import Lesson
from scheduler.windows.model_inputs import simulate_farm


@dataclass(frozen=True, kw_only=True)
class InformationState:
    """All that is known on a morning.

    `last` are the orders issued before, `locks` fields each crew must do first, `begun` fields
    in progress with their crew, `news` what was written into the book since `last`, `lessons`
    what its readings taught.
    """

    farm: Farm
    now: datetime
    weather: FarmWeather
    observations: Sequence[Observation] = ()
    previous_orders: Sequence[CrewOrders] | None = None
    locked_fields: Mapping[str, Sequence[str]] = field(default_factory=dict)
    fields_in_progress: Mapping[str, str] = field(default_factory=dict)
    book_news: tuple[str, ...] = ()
    lessons: tuple[Lesson, ...] = ()


def gather(
    folder: Path, now: datetime | None, *, forecast: Path | None, days: int, seed: int
) -> InformationState:
    """Read the farm folder, its season book and its weather."""
    farm = read_farm(folder)
    when = (now or datetime.now(farm.tz)).astimezone(farm.tz)
    found: dict[str, Any] = {}
    gauges = read_rain(folder, farm)
    if Book.exists(folder):
        with Book(folder) as book:
            farm = apply_book(farm, book, when)
            gauges = pd.concat([gauges, book.gauges(when)], ignore_index=True)
            document = book.last_plan(when)
            found = {
                "observations": book.observations(farm, when),
                "locked_fields": book.manual_orders(farm, when),
                "fields_in_progress": book.in_progress(farm, when),
                "previous_orders": None
                if document is None
                else read_issued_plan(document, farm).crews,
                "book_news": book.news(farm, when),
            }
    weather = weather_for(
        folder, farm, when, days=days, forecast=forecast, seed=seed, gauges=gauges
    )
    taught = learn(farm, found.get("observations", ()), weather.past, now=when)
    return InformationState(
        farm=taught.farm, now=when, weather=weather, lessons=taught.lessons, **found
    )


def outlook_of(
    folder: Path, *, now: datetime | None, forecast: Path | None, days: int, seed: int
) -> tuple[Farm, Season, Weather]:
    """The farm as it stands, its season ahead and the weather of its fields, without a plan."""
    information = gather(folder, now, forecast=forecast, days=days, seed=seed)
    season, sky = simulate_farm(
        information.farm,
        information.weather.past,
        information.weather.forecast,
        lightning=information.weather.lightning,
        observations=information.observations,
        seed=seed,
    )
    return information.farm, season, sky
