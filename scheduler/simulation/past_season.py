"""A past season at a station: observed weather, the models' run on it, and its cut tables."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta

import numpy as np

from readiness.atmosphere.weather import HOUR, Weather
from readiness.forecasts.analogues import ShortRecordError
from readiness.forecasts.reforecast import other_years
from readiness.season.run_state import RunState
from readiness.season.simulate import Season, simulate
from readiness.sources.daily_record import DailyRecord
from readiness.sources.daily_to_hourly import daily_to_hourly, estimate_missing
from readiness.sources.quality_screens import fill_short_gaps, screen_record
from scheduler.costs.standing_loss import StandingLoss, standing_loss_of
from scheduler.cut_tables.compile import compile_tables
from scheduler.cut_tables.compiled import Compiled
from scheduler.cut_tables.crew_makeup import MakeUp, own_makeup
from scheduler.errors import FarmError
from scheduler.farm.distances import between_km
from scheduler.farm.model import Farm, Field
from scheduler.farm.slots import SLOT_MIN, slot_times, utc_hour
from scheduler.simulation.station_farm import farm_at_station, split_into_parcels
from scheduler.windows.model_inputs import land_of, limits_of, season_rows, stand_of

#: Days from the first ripe field to the first morning, and days of a season; assumed: grain dries
#: from 35 % to a moisture that can be threshed in about ten days, and the trial farm needs two to
#: four weeks.
START_AFTER, SEASON_DAYS = 10, 40
#: Days that the models run before the first morning; assumed.
SPIN_UP_DAYS = 90
#: Hour of the farm's day at which plans are made.
MORNING_HOUR = 6
SLOTS_DAY = 24 * 60 // SLOT_MIN


@dataclass(frozen=True, kw_only=True)
class PastSeason:
    """A past season; every parcel of the farm is a field of its own, so job j is field j.

    Attributes
    ----------
    farm
        The farm moved to the station, nothing cut yet.
    makeup
        The crews with their machines, the same all season.
    weather
        (1, 1, hour) observed weather from the first morning.
    climate
        (1, 1, hour) weather of the other years.
    season
        (1, field, hour) states of the fields under the observed weather.
    states
        State of the models on each morning.
    compiled
        Cut tables of the observed weather, one member, from the first morning.
    """

    year: int
    farm: Farm
    makeup: MakeUp
    weather: Weather
    climate: Weather
    season: Season
    states: tuple[RunState, ...]
    compiled: Compiled

    @property
    def days(self) -> int:
        """Number of mornings."""
        return len(self.states)

    def morning(self, day: int) -> datetime:
        """Aware farm time of morning `day`."""
        return _first_morning(self.farm) + timedelta(days=day)


def hourly_records(daily: DailyRecord) -> Weather:
    """Hourly weather of a station, screened and with short gaps filled, (1, 1, hour)."""
    return daily_to_hourly(estimate_missing(fill_short_gaps(screen_record(daily))))


def _first_morning(farm: Farm) -> datetime:
    """Aware farm time of the first morning."""
    day = min(f.ripe for f in farm.fields if f.ripe is not None) + timedelta(days=START_AFTER)
    return datetime.combine(day, time(MORNING_HOUR), farm.tz)


def complete_years(farm: Farm, daily: DailyRecord, records: Weather) -> list[int]:
    """Years with records of every hour of the season and the spin-up before it."""
    out = []
    years = daily.days.astype("datetime64[Y]").astype(int) + 1970
    for year in range(int(years.min()), int(years.max()) + 1):
        span = _span(split_into_parcels(farm_at_station(farm, daily, year)))
        if span[0] < records.times[0] or span[1] > records.stop:
            continue
        of_season = records.between(*span)
        known = [getattr(of_season, n) for n in ("rain", "temp", "humidity", "wind", "radiation")]
        if all(np.isfinite(v).all() for v in known):
            out.append(year)
    return out


def _span(farm: Farm) -> tuple[np.datetime64, np.datetime64]:
    """First hour of the spin-up and the end of the season."""
    first = utc_hour(_first_morning(farm))
    return first - 24 * SPIN_UP_DAYS * HOUR, first + 24 * SEASON_DAYS * HOUR


def past_season(farm: Farm, daily: DailyRecord, records: Weather, year: int) -> PastSeason:
    """Run the models on the observed weather of a season and compile its cut tables.

    Parameters
    ----------
    farm
        The farm at home.
    daily, records
        Daily records of the station, and `hourly_records` of them.
    year
        Year of the season.

    Raises
    ------
    FarmError
        If the records do not hold the whole season, or no whole other year.
    """
    there = split_into_parcels(farm_at_station(farm, daily, year))
    start, end = _span(there)
    now = _first_morning(there)
    first = utc_hour(now)
    try:
        spin, weather = records.between(start, first), records.between(first, end)
        climate = other_years(records, year)
    except (ValueError, ShortRecordError) as error:
        raise FarmError(f"records of {daily.name}, season {year}: {error}") from None
    states = morning_states(there, spin, weather)
    season = simulate_fields(there, weather, states[0])
    makeup = own_makeup(there, now)
    standing_loss = sold_at_best_price(
        standing_loss_of(there, season, slot_times(now, SEASON_DAYS, SLOT_MIN))
    )
    return PastSeason(
        year=year,
        farm=there,
        makeup=makeup,
        weather=weather,
        climate=climate,
        season=season,
        states=states,
        compiled=compile_tables(standing_loss, makeup, places=["base"] * len(makeup)),
    )


def sold_at_best_price(standing_loss: StandingLoss) -> StandingLoss:
    """Standing loss with the grain of each hour valued at the delivery point that pays most.

    The haul is that to the quickest point, whose storage is unlimited. So the ways to decide a
    season differ in nothing but their orders.
    """
    best = np.fmin.reduce(standing_loss.loss, axis=2)
    loss = np.full_like(standing_loss.loss, np.nan)
    for j in range(len(standing_loss.jobs)):
        loss[:, j, quickest_point(standing_loss.farm, standing_loss.field(j))] = best[:, j]
    points = tuple(replace(p, capacity_t=None) for p in standing_loss.farm.points)
    return replace(standing_loss, loss=loss, farm=replace(standing_loss.farm, points=points))


def quickest_point(farm: Farm, field: Field) -> int:
    """Index of the delivery point for a field's crop with the shortest round trip of a truck."""
    speed = min((t.loaded_kmh for t in farm.trucks), default=1.0)

    def minutes(q: int) -> float:
        p = farm.points[q]
        return 120.0 * between_km(farm, field.id, p.id) / speed + p.queue_min + p.unload_min

    return min((q for q, p in enumerate(farm.points) if field.crop in p.markets), key=minutes)


def simulate_fields(
    farm: Farm, weather: Weather, state: RunState | None, *, seed: int = 0
) -> Season:
    """Run the models on the fields of a farm.

    Parameters
    ----------
    farm
        Its fields.
    weather
        (member, 1, hour), the same at every field.
    state
        State of the models at the first hour, or None for the default.
    seed
        Seed of the models' random draws.
    """
    every = np.arange(len(season_rows(farm)))
    return simulate(
        weather, land_of(farm), stand_of(farm), limits_of(farm, None, every), state=state, seed=seed
    )


def morning_states(farm: Farm, spin: Weather, weather: Weather) -> tuple[RunState, ...]:
    """States of the models on each morning, from a spin-up and the weather of the season."""
    state = simulate_fields(farm, spin, None).end
    out = []
    for day in range(weather.shape[2] // 24):
        assert isinstance(state, RunState)
        out.append(state)
        start = weather.times[0] + 24 * day * HOUR
        state = simulate_fields(farm, weather.between(start, start + 24 * HOUR), state).end
    return tuple(out)
