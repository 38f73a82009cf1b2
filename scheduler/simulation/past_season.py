"""A past season at a station: observed weather, and the models' run on it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, time, timedelta

import numpy as np

from readiness.atmosphere.weather import HOUR, Weather
from readiness.forecasts.analogues import ShortRecordError
from readiness.forecasts.reforecast import other_years
from readiness.season.run_state import RunState
from readiness.season.simulate import Season, simulate
from readiness.sources.daily_record import DailyRecord
from scheduler.costs.standing_loss import StandingLoss, standing_loss_of
from scheduler.errors import FarmError
from scheduler.farm.model import Farm
from scheduler.farm.slots import SLOT_MIN, slot_times, utc_hour
from scheduler.farm.working_time import MORNING_HOUR
from scheduler.simulation.station_farm import farm_at_station, hollows_as_fields
from scheduler.windows.model_inputs import land_of, limits_of, season_rows, stand_of
from scheduler.windows.ripe_dates import with_ripe_dates

#: Days from the first ripe field to the first morning, and days of a season; assumed: grain dries
#: from 35 % to a moisture that can be threshed in about ten days, and the trial farm needs two to
#: four weeks.
START_AFTER, SEASON_DAYS = 10, 40
#: Days that the models run before the first morning; assumed.
SPIN_UP_DAYS = 90
SLOTS_DAY = 24 * 60 // SLOT_MIN


@dataclass(frozen=True, kw_only=True)
class PastSeason:
    """A past season; every wet hollow of the farm is a field of its own, so job j is field j.

    Attributes
    ----------
    farm
        The farm moved to the station, nothing cut yet.
    weather
        (1, 1, hour) observed weather from the first morning.
    climate
        (1, 1, hour) weather of the other years.
    season
        (1, field, hour) states of the fields under the observed weather.
    states
        State of the models on each morning.
    standing_loss
        The observed season in slots and money, one member, from the first morning.
    """

    year: int
    farm: Farm
    weather: Weather
    climate: Weather
    season: Season
    states: tuple[RunState, ...]
    standing_loss: StandingLoss

    @property
    def days(self) -> int:
        """Number of mornings."""
        return len(self.states)

    def morning(self, day: int) -> datetime:
        """Aware farm time of morning `day`."""
        return _first_morning(self.farm) + timedelta(days=day)


def _first_morning(farm: Farm) -> datetime:
    """Aware farm time of the first morning."""
    day = min(f.ripe for f in farm.fields if f.ripe is not None) + timedelta(days=START_AFTER)
    return datetime.combine(day, time(MORNING_HOUR), farm.tz)


def _farm_of_year(farm: Farm, daily: DailyRecord, records: Weather, year: int) -> Farm:
    """The farm at the station, with the dates on which its fields ripen in a year's weather."""
    there = hollows_as_fields(farm_at_station(farm, daily, year))
    begin, end = (np.datetime64(f"{y}-01-01T00", "h") for y in (year, year + 1))
    first = min(max(begin, records.start), records.stop)
    return with_ripe_dates(there, records.between(first, max(first, min(end, records.stop))))


def complete_years(farm: Farm, daily: DailyRecord, records: Weather) -> list[int]:
    """Years with records of every hour of the season and the spin-up before it."""
    out = []
    years = daily.days.astype("datetime64[Y]").astype(int) + 1970
    for year in range(int(years.min()), int(years.max()) + 1):
        span = _span(_farm_of_year(farm, daily, records, year))
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
    """Run the models on the observed weather of a season.

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
    there = _farm_of_year(farm, daily, records, year)
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
    return PastSeason(
        year=year,
        farm=there,
        weather=weather,
        climate=climate,
        season=season,
        states=states,
        standing_loss=standing_loss_of(there, season, slot_times(now, SEASON_DAYS, SLOT_MIN)),
    )


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
