"""Verification of stored forecasts: rain and workable days by lead, against observations."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd

from readiness.atmosphere.weather import HOUR, Array
from readiness.forecasts.gauge_kriging import GaugeReading
from readiness.season.windows import DailyWindows, daily_windows
from scheduler.errors import WeatherError
from scheduler.farm.model import Farm
from scheduler.farm.slots import utc_hour
from scheduler.verification.lead_scores import (
    ChanceForecasts,
    LeadScore,
    chance_score,
    rain_score,
)
from scheduler.weather.bias_correction import rain_pairs
from scheduler.weather.field_weather import weather_for
from scheduler.weather.history import gauge_readings, past_or_stand_in, records, with_gauges
from scheduler.weather.selection import FORECAST_PRODUCTS, ForecastCell, latest_cells
from scheduler.weather.store import stored_answers
from scheduler.windows.model_inputs import open_loop, simulate_farm
from scheduler.windows.ripe_dates import with_ripe_dates

#: Rain that makes a rain day, mm: as in the indices of the World Meteorological Organization.
RAIN_DAY_MM = 1.0
#: Harvestable hours that make a workable day; assumed: half an afternoon is worth the moves.
WORKABLE_DAY_H = 4.0
#: Most issues that the models are run on, spread over the season; assumed, so that a verification
#: takes seconds.
MOST_ISSUES_RUN = 20
#: Days ahead that are scored.
LEADS = 10


@dataclass(frozen=True, kw_only=True)
class Verification:
    """Scores of the stored forecasts of one product.

    Attributes
    ----------
    product
        Name of the product.
    gauges
        Number of gauges that the rain is verified against; 0 for the weather records.
    issues
        Number of stored issues.
    rain, workable
        Scores by lead of daily rain and of workable days.
    rain_days, workable_days
        The chances behind the scores.
    """

    product: str
    gauges: int
    issues: int
    rain: tuple[LeadScore, ...]
    rain_days: ChanceForecasts
    workable: tuple[LeadScore, ...]
    workable_days: ChanceForecasts


def verify(folder: Path, farm: Farm, gauges: pd.DataFrame, *, now: datetime) -> Verification:
    """Score the stored forecasts of the product with most issues, on observations until `now`.

    Rain is verified against the gauges. Where they read no day of a forecast, it is verified
    against the weather records. Workable days
    are verified against the models' run on the records.

    Raises
    ------
    WeatherError
        If no forecast is stored, or none has an observed day.
    """
    counts = {
        p: len({s.issued for s in stored_answers(folder, p) if s.issued <= now})
        for p in FORECAST_PRODUCTS
    }
    product = max(counts, key=lambda p: counts[p])
    if not counts[product]:
        raise WeatherError(f"{folder}: no forecast is stored; run `afterrain fetch {folder}`")
    readings = gauge_readings(farm, gauges)
    pairs = rain_pairs(folder, readings, product, until=now.astimezone(UTC))
    gauge_count = len(set(gauges["gauge"])) if len(pairs.lead) else 0
    if not gauge_count:
        readings = _record_readings(folder, farm, product, now)
        pairs = rain_pairs(folder, readings, product, until=now.astimezone(UTC))
    if not len(pairs.lead):
        raise WeatherError(
            f"{folder}: there are no records or gauge readings yet for any day of a stored "
            f"{product}; when some of its days have passed, run `afterrain fetch`, or add your own "
            "records with `afterrain import --records`"
        )
    rain_days = ChanceForecasts(
        lead=pairs.lead,
        chance=(pairs.forecast >= RAIN_DAY_MM).mean(axis=1),
        happened=pairs.measured >= RAIN_DAY_MM,
        day=pairs.day,
    )
    workable = _workable_days(folder, farm, gauges, product, now)
    return Verification(
        product=product,
        gauges=gauge_count,
        issues=counts[product],
        rain=tuple(rain_score(pairs, rain_days, lead) for lead in range(1, LEADS + 1)),
        rain_days=rain_days,
        workable=tuple(chance_score(workable, lead) for lead in range(1, LEADS + 1)),
        workable_days=workable,
    )


def _record_readings(folder: Path, farm: Farm, product: str, now: datetime) -> list[GaugeReading]:
    """Daily rain of the gridded records at the cells of the forecast, as gauge readings."""
    cells = latest_cells(stored_answers(folder, product), farm, now, [])
    daily = _daily_records(folder, farm, cells, now)
    if daily is None:
        return []
    first, rain = daily
    return [
        GaugeReading(
            lat=c.lat, lon=c.lon, start=first + 24 * d * HOUR, hours=24, mm=float(rain[s, d])
        )
        for s, c in enumerate(cells)
        for d in range(rain.shape[1])
        if np.isfinite(rain[s, d])
    ]


def _daily_records(
    folder: Path, farm: Farm, cells: Sequence[ForecastCell], now: datetime
) -> tuple[np.datetime64, Array] | None:
    """First hour and daily rain (site, day) of the records, in days that begin at 12 UTC."""
    weather = records(folder, cells, utc_hour(now), [], farm.tz) if cells else None
    if weather is None:
        return None
    begin = (12 - int(weather.start.astype(int)) % 24) % 24
    days = (weather.shape[2] - begin) // 24
    rain = weather.rain[0][:, begin : begin + 24 * days]
    return weather.start + begin * HOUR, rain.reshape(len(cells), days, 24).sum(axis=2)


def _workable_days(
    folder: Path, farm: Farm, gauges: pd.DataFrame, product: str, now: datetime
) -> ChanceForecasts:
    """Chances of a workable day in every field, and whether the observed weather gave one.

    Both come from the same models, run on the forecast and on the records with the gauges in
    them; cutting has no part in them.
    """
    issues = sorted({s.issued for s in stored_answers(folder, product) if s.issued <= now})
    last_of_day = {i.date(): i for i in issues if now - i > timedelta(days=1)}
    chosen = list(last_of_day.values())
    chosen = chosen[:: max(1, -(-len(chosen) // MOST_ISSUES_RUN))]
    observed = _observed_windows(folder, farm, gauges, product, now) if chosen else None
    rows: list[tuple[int, float, bool, int]] = []
    for issued in chosen if observed else ():
        assert observed is not None
        try:
            past_gauges = gauges[
                gauges["time"] + pd.to_timedelta(gauges["hours"], unit="h") <= issued
            ]
            weather = weather_for(folder, farm, issued, days=LEADS, gauges=past_gauges)
        except WeatherError:
            continue
        if not weather.source.endswith(product):
            continue
        then = with_ripe_dates(farm, weather.past, weather.forecast)
        season, _ = simulate_farm(then, weather.past, weather.forecast, lightning=weather.lightning)
        rows += _paired(farm, daily_windows(season, tz=farm.tz), observed, issued)
    columns = list(zip(*rows, strict=True)) or [(), (), (), ()]
    return ChanceForecasts(
        lead=np.array(columns[0], dtype=np.int64),
        chance=np.array(columns[1], dtype=np.float64),
        happened=np.array(columns[2], dtype=np.bool_),
        day=np.array(columns[3], dtype=np.int64),
    )


def _observed_windows(
    folder: Path, farm: Farm, gauges: pd.DataFrame, product: str, now: datetime
) -> DailyWindows | None:
    """Harvestable hours of every day under the observed weather; None without records."""
    notes: list[str] = []
    cells = latest_cells(stored_answers(folder, product), farm, now, notes)
    hour = utc_hour(now)
    weather = records(folder, cells, hour, notes, farm.tz) if cells else None
    if weather is None:
        return None
    sites = np.array([[c.lat, c.lon] for c in cells])
    fields = np.array([[f.lat, f.lon] for f in farm.fields])
    near = ((fields[:, None] - sites[None]) ** 2).sum(axis=2).argmin(axis=1)
    past = past_or_stand_in(weather, weather, hour, notes).sites(near)
    past = with_gauges(past, farm, gauges, notes)
    season, _ = open_loop(with_ripe_dates(farm, past), past)
    return daily_windows(season, tz=farm.tz)


def _paired(
    farm: Farm, forecast: DailyWindows, observed: DailyWindows, issued: datetime
) -> list[tuple[int, float, bool, int]]:
    """Lead, chance, event and day of every field, for whole days after the issue."""
    chance = forecast.chance(WORKABLE_DAY_H)
    first = np.datetime64(issued.astimezone(farm.tz).date())
    out = []
    for d, date in enumerate(forecast.dates):
        lead = int((date - first).astype(int))
        at = np.flatnonzero(observed.dates == date)
        if not 1 <= lead <= LEADS or not len(at):
            continue
        if min(forecast.hours[d], observed.hours[at[0]]) < 23:
            continue
        for f in range(len(farm.fields)):
            if observed.unknown[0, f, at[0]] == 0:
                happened = bool(observed.harvestable[0, f, at[0]] >= WORKABLE_DAY_H)
                out.append((lead, float(chance[f, d]), happened, int(date.astype(int))))
    return out
