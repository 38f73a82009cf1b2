"""A past season at a station: the farm moved there, the weather that came, what it was worth."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from math import cos, radians
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from readiness.atmosphere.weather import Weather
from readiness.forecasts.analogues import ShortRecordError
from readiness.forecasts.reforecast import other_years
from readiness.grain.crops import CROPS
from readiness.season.kernel_arrays import RunState
from readiness.season.simulate import Season, simulate
from readiness.sources.daily_record import DailyRecord
from readiness.sources.daily_to_hourly import daily_to_hourly, estimate_missing
from readiness.sources.screens import fill_short_gaps, screen_record
from scheduler.costs.standing_loss import StandingLoss, jobs_of, standing_loss_of
from scheduler.cut_tables.compile import compile_tables
from scheduler.cut_tables.compiled import Compiled
from scheduler.cut_tables.makeup import MakeUp, own_makeup
from scheduler.errors import FarmError
from scheduler.farm.distances import between_km
from scheduler.farm.model import DeliveryPoint, Farm, Field
from scheduler.farm.working_time import SLOT_MIN, slot_times, utc_hour
from scheduler.windows.model_inputs import HOLLOW_CLAY, land_of, limits_of, season_rows, stand_of

#: Days by which a crop ripens later for each degree of latitude north (Hopkins 1918, memory: four
#: days a degree in spring and early summer). Years do not differ; assumed, because the records say
#: nothing of sowing.
LATER_PER_DEGREE = 4.0
#: First morning, days after the first field is ripe, and days until the season is over; assumed:
#: grain falls from 35 % to where it can be threshed in about ten days, and the trial farm needs
#: two to four weeks.
START_AFTER, SEASON_DAYS = 10, 40
#: Days of weather that soil and grain run through before the first morning; assumed.
SPIN_UP_DAYS = 90
#: Hour of the farm's day at which plans are made.
MORNING_HOUR = 6
SLOTS_DAY = 24 * 60 // SLOT_MIN
#: Time zone of a station by its hours from UTC.
ZONES = {-5: "America/New_York", -6: "America/Chicago", -7: "America/Denver",
         -8: "America/Los_Angeles"}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class PastSeason:
    """A season that came, its parcels each a field of its own (job j is field j).

    Attributes
    ----------
    farm : moved to the station, nothing cut yet.
    weather : (1, 1, hour) that came, from the first morning. climate : of the other years.
    season : what it made of every field, (1, field, hour). states : of each morning.
    compiled : cut tables of the weather that came, one member, from the first morning.
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
        """Mornings of the season."""
        return len(self.states)

    def morning(self, day: int) -> datetime:
        """Aware farm time of a morning."""
        return _first_morning(self.farm) + timedelta(days=day)


def hourly_records(daily: DailyRecord) -> Weather:
    """Screened, filled and hourly weather of a station, (1, 1, hour)."""
    return daily_to_hourly(estimate_missing(fill_short_gaps(screen_record(daily))))


def farm_at_station(farm: Farm, daily: DailyRecord, year: int) -> Farm:
    """The farm at a station in a year: same roads, soils and machines, ripe as that latitude is.

    Samples and what is cut are dropped.

    Raises
    ------
    FarmError
        Where a field has neither a ripe nor a heading date.
    """
    north = daily.latitude - farm.base_lat
    stretch = cos(radians(farm.base_lat)) / cos(radians(daily.latitude))

    def spot(lat: float, lon: float) -> tuple[float, float]:
        return lat + north, daily.longitude + (lon - farm.base_lon) * stretch

    def placed(f: Field) -> Field:
        lat, lon = spot(f.lat, f.lon)
        return replace(f, lat=lat, lon=lon, ripe=ripe_date(f, year, north), heading=None,
                       sample_pct=None, sample_at=None, cut_fraction=0.0, boundary=())  # fmt: skip

    def at(p: DeliveryPoint) -> DeliveryPoint:
        if p.lat is None or p.lon is None:
            return replace(p, closed=())
        lat, lon = spot(p.lat, p.lon)
        return replace(p, lat=lat, lon=lon, closed=())

    return replace(
        farm, tz=ZoneInfo(ZONES.get(daily.utc_offset, farm.tz.key)), base_lat=daily.latitude,
        base_lon=daily.longitude, fields=tuple(placed(f) for f in farm.fields),
        points=tuple(at(p) for p in farm.points), gauges={},
        crews=tuple(replace(c, absent=()) for c in farm.crews),
        combines=tuple(replace(c, down=()) for c in farm.combines),
        carts=tuple(replace(c, down=()) for c in farm.carts),
        trucks=tuple(replace(t, down=()) for t in farm.trucks),
        elevation_m=farm.elevation_m if np.isnan(daily.elevation_m) else daily.elevation_m,
    )  # fmt: skip


def ripe_date(field: Field, year: int, north: float) -> date:
    """Day a field is ripe in a year, `north` degrees from home."""
    day = field.ripe
    if day is None and field.heading is not None:
        day = field.heading + timedelta(days=CROPS[field.crop].heading_to_ripe_days)
    if day is None:
        raise FarmError(
            f'field "{field.id}": neither ripe nor heading is given, so past seasons cannot be '
            "replayed; fill one of these columns in fields.csv"
        )
    shift = timedelta(days=round(LATER_PER_DEGREE * north))
    return date(year, 1, 1) + timedelta(days=day.timetuple().tm_yday - 1) + shift


def split_into_parcels(farm: Farm) -> Farm:
    """The farm with every job (parcel of a large field, wet hollow) as a field of its own."""
    fields, ids = [], dict[str, list[str]]()
    for job in jobs_of(farm):
        f = farm.fields[job.field]
        part = f.id if not job.parcel else f"{f.id}/{job.parcel}"
        wet = job.parcel == "wet hollow"
        sunk: dict[str, Any] = {
            "clay": min(f.clay + HOLLOW_CLAY, 0.6), "drainage": "poor", "slope_pct": 0.0,
        } if wet else {}  # fmt: skip
        if wet:
            sunk["sand"] = min(f.sand, 1.0 - min(f.clay + HOLLOW_CLAY, 0.6))
        fields.append(replace(f, id=part, area_ha=job.area_ha, wet_fraction=0.0, **sunk))
        ids.setdefault(f.id, []).append(part)
    given = {
        (x, y): km
        for (a, b), km in farm.moves.distances_km.items()
        for x in ids.get(a, [a])
        for y in ids.get(b, [b])
    }
    return replace(farm, fields=tuple(fields), moves=replace(farm.moves, distances_km=given))


def _first_morning(farm: Farm) -> datetime:
    day = min(f.ripe for f in farm.fields if f.ripe is not None) + timedelta(days=START_AFTER)
    return datetime.combine(day, time(MORNING_HOUR), farm.tz)


def complete_years(farm: Farm, daily: DailyRecord, records: Weather) -> list[int]:
    """Years whose season is known hour by hour, spin-up included."""
    out = []
    years = daily.days.astype("datetime64[Y]").astype(int) + 1970
    for year in range(int(years.min()), int(years.max()) + 1):
        span = _span(split_into_parcels(farm_at_station(farm, daily, year)))
        if span[0] < records.times[0] or span[1] > records.times[-1] + 1:
            continue
        cut = records.between(*span)
        known = [getattr(cut, n) for n in ("rain", "temp", "humidity", "wind", "radiation")]
        if all(np.isfinite(v).all() for v in known):
            out.append(year)
    return out


def _span(farm: Farm) -> tuple[np.datetime64, np.datetime64]:
    """First hour of the spin-up and the end of the season."""
    first = utc_hour(_first_morning(farm))
    return first - 24 * SPIN_UP_DAYS, first + 24 * SEASON_DAYS


def past_season(farm: Farm, daily: DailyRecord, records: Weather, year: int) -> PastSeason:
    """Run a season that came and compile what cutting at each of its hours was worth.

    Parameters
    ----------
    daily, records : days of the station, and `hourly_records` of them.

    Raises
    ------
    FarmError
        Where the records of the year, or of other years, do not reach.
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
    """The same standing_loss with each hour's grain sold where it is worth most that hour.

    All goes by the haul to the point that a truck is back from soonest, on every morning alike, so
    that those who play a season differ in nothing but their orders. Its room does not count.
    """
    best = np.fmin.reduce(standing_loss.loss, axis=2)
    loss = np.full_like(standing_loss.loss, np.nan)
    for j in range(len(standing_loss.jobs)):
        loss[:, j, quickest_point(standing_loss.farm, standing_loss.field(j))] = best[:, j]
    points = tuple(replace(p, capacity_t=None) for p in standing_loss.farm.points)
    return replace(standing_loss, loss=loss, farm=replace(standing_loss.farm, points=points))


def quickest_point(farm: Farm, field: Field) -> int:
    """Index of the point taking a field's crop that a truck is back from soonest."""
    speed = min((t.loaded_kmh for t in farm.trucks), default=1.0)

    def minutes(q: int) -> float:
        p = farm.points[q]
        return 120.0 * between_km(farm, field.id, p.id) / speed + p.queue_min + p.unload_min

    return min((q for q, p in enumerate(farm.points) if field.crop in p.markets), key=minutes)


def simulate_fields(
    farm: Farm, weather: Weather, state: RunState | None, *, seed: int = 0
) -> Season:
    """The fields of a farm under weather (member, 1, hour), from a state of theirs."""
    every = np.arange(len(season_rows(farm)))
    return simulate(
        weather, land_of(farm), stand_of(farm), limits_of(farm, None, every), state=state, seed=seed
    )


def morning_states(farm: Farm, spin: Weather, weather: Weather) -> tuple[RunState, ...]:
    """State of every field on each morning of the season."""
    state = simulate_fields(farm, spin, None).end
    out = []
    for day in range(weather.shape[2] // 24):
        assert isinstance(state, RunState)
        out.append(state)
        a = weather.times[0] + 24 * day
        state = simulate_fields(farm, weather.between(a, a + 24), state).end
    return tuple(out)
