"""How good the stored forecasts were: rain and workable days by lead, beside what came."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array
from readiness.forecasts.gauge_kriging import GaugeReading
from readiness.forecasts.scores import brier, crps_ensemble, standard_error
from readiness.season.windows import DailyWindows, daily_windows
from scheduler.errors import WeatherError
from scheduler.farm.model import Farm
from scheduler.weather.bias_correction import RainPairs, rain_pairs
from scheduler.weather.field_weather import weather_for
from scheduler.weather.history import gauge_readings, past_or_stand_in, records, with_gauges
from scheduler.weather.selection import FORECAST_PRODUCTS, ForecastCell, latest_cells
from scheduler.weather.store import stored_answers
from scheduler.windows.model_inputs import open_loop, simulate_farm

#: Rain that makes a rain day, mm: the usual of the World Meteorological Organization's indices.
RAIN_DAY_MM = 1.0
#: Harvestable hours that make a workable day; assumed: half an afternoon is worth the moves.
WORKABLE_H = 4.0
#: Most issues whose days are run through soil and grain, spread over the season; assumed, so that
#: verifying takes seconds.
MOST_RUNS = 20
#: Days ahead that are scored.
LEADS = 10


@dataclass(frozen=True, kw_only=True)
class ChanceForecasts:
    """Told chances and what came: (n,) lead day, chance 0-1, happened, day for grouping."""

    lead: NDArray[np.int64]
    chance: Array
    happened: NDArray[np.bool_]
    day: NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class LeadScore:
    """Scores of one lead day with their standard errors; NaN where there is nothing to score."""

    lead: int
    cases: int
    days: int
    brier: float
    brier_error: float
    skill: float
    crps: float = np.nan
    crps_error: float = np.nan
    bias: float = np.nan


@dataclass(frozen=True, kw_only=True)
class Verification:
    """All scores of one product. `truth` says what it is held against."""

    product: str
    truth: str
    issues: int
    rain: tuple[LeadScore, ...]
    rain_days: ChanceForecasts
    workable: tuple[LeadScore, ...]
    workable_days: ChanceForecasts


def verify(
    folder: Path,
    farm: Farm,
    gauges: pd.DataFrame,
    *,
    now: datetime,
    told: Callable[[str], None] = lambda text: None,
) -> Verification:
    """Score the stored forecasts of the product with most issues against what fell until `now`.

    Raises
    ------
    WeatherError
        Where no stored forecast has a day behind it.
    """
    counts = {
        p: len({s.issued for s in stored_answers(folder, p) if s.issued <= now})
        for p in FORECAST_PRODUCTS
    }
    product = max(counts, key=lambda p: counts[p])
    if not counts[product]:
        raise WeatherError(f"{folder}: no forecast is stored; run `afterrain fetch {folder}`")
    readings, truth = _truth(folder, farm, gauges, product, now)
    told("rain")
    pairs = rain_pairs(folder, readings, product, until=now.astimezone(UTC))
    if not len(pairs.lead):
        raise WeatherError(
            f"{folder}: no stored {product} has a day of records or gauges behind it yet; verify "
            "again when the days it told have passed"
        )
    rain_days = ChanceForecasts(
        lead=pairs.lead, chance=(pairs.forecast >= RAIN_DAY_MM).mean(axis=1),
        happened=pairs.measured >= RAIN_DAY_MM, day=pairs.day,
    )  # fmt: skip
    told("workable days")
    workable = _workable(folder, farm, gauges, product, now)
    return Verification(
        product=product,
        truth=truth,
        issues=counts[product],
        rain=tuple(_rain_score(pairs, rain_days, lead) for lead in range(1, LEADS + 1)),
        rain_days=rain_days,
        workable=tuple(_chance_score(workable, lead) for lead in range(1, LEADS + 1)),
        workable_days=workable,
    )


def _truth(
    folder: Path, farm: Farm, gauges: pd.DataFrame, product: str, now: datetime
) -> tuple[list[GaugeReading], str]:
    """Daily readings: the gauges', else days of the archive at the cells."""
    readings = gauge_readings(farm, gauges)
    if readings:
        number = len(set(gauges["gauge"]))
        return readings, f"{number} gauge{'s' if number > 1 else ''}"
    cells = latest_cells(stored_answers(folder, product), farm, now, [])
    known = _records(folder, cells, now)
    if known is None:
        return [], "nothing"
    first, days = known[0], known[1]
    return [
        GaugeReading(lat=c.lat, lon=c.lon, start=first + 24 * d, hours=24, mm=float(days[s, d]))
        for s, c in enumerate(cells) for d in range(days.shape[1]) if np.isfinite(days[s, d])
    ], "gridded records (no gauge)"  # fmt: skip


def _records(
    folder: Path, cells: Sequence[ForecastCell], now: datetime
) -> tuple[np.datetime64, Array] | None:
    """First hour and daily rain (site, day) of the records, in days that begin at 12 UTC."""
    hour = np.datetime64(now.astimezone(UTC).replace(tzinfo=None), "h")
    known = records(folder, cells, hour, []) if cells else None
    if known is None:
        return None
    begin = (12 - int(known.start.astype(int)) % 24) % 24
    days = (known.shape[2] - begin) // 24
    rain = known.rain[0][:, begin : begin + 24 * days]
    return known.start + begin, rain.reshape(len(cells), days, 24).sum(axis=2)


def _rain_score(pairs: RainPairs, days: ChanceForecasts, lead: int) -> LeadScore:
    own = pairs.of(lead, lead)
    base = _chance_score(days, lead)
    if not len(own.lead):
        return base
    crps = crps_ensemble(own.forecast, own.measured, fair=own.forecast.shape[1] > 1)
    return LeadScore(
        lead=lead, cases=base.cases, days=base.days, brier=base.brier,
        brier_error=base.brier_error, skill=base.skill, crps=float(crps.mean()),
        crps_error=standard_error(crps, own.day),
        bias=float((own.forecast.mean(1) - own.measured).mean()),
    )  # fmt: skip


def _chance_score(chances: ChanceForecasts, lead: int) -> LeadScore:
    k = chances.lead == lead
    if not k.any():
        return LeadScore(lead=lead, cases=0, days=0, brier=np.nan, brier_error=np.nan, skill=np.nan)
    f, o = chances.chance[k], chances.happened[k].astype(np.float64)
    parts = brier(f, o)
    return LeadScore(
        lead=lead, cases=int(k.sum()), days=len(np.unique(chances.day[k])), brier=parts.score,
        brier_error=standard_error((f - o) ** 2, chances.day[k]), skill=parts.skill,
    )  # fmt: skip


def _workable(
    folder: Path, farm: Farm, gauges: pd.DataFrame, product: str, now: datetime
) -> ChanceForecasts:
    """Chance of a workable day of every field as told, and as reckoned from what then came.

    What came is the run of soil and grain over the records with the gauges in them, the same run
    that the forecast's chance is made with; people's cutting is not part of it.
    """
    issues = sorted({s.issued for s in stored_answers(folder, product) if s.issued <= now})
    daily = {i.date(): i for i in issues if now - i > timedelta(days=1)}
    picked = list(daily.values())
    picked = picked[:: max(1, -(-len(picked) // MOST_RUNS))]
    came = _came(folder, farm, gauges, product, now) if picked else None
    out: list[tuple[int, float, bool, int]] = []
    for issued in picked if came else ():
        assert came is not None
        try:
            seen = gauges[gauges["time"] + pd.to_timedelta(gauges["hours"], unit="h") <= issued]
            known = weather_for(folder, farm, issued, days=LEADS, gauges=seen)
        except WeatherError:
            continue
        if not known.source.endswith(product):
            continue
        season, _ = simulate_farm(farm, known.past, known.forecast, lightning=known.lightning)
        out += _paired(farm, daily_windows(season, tz=farm.tz), came, issued)
    columns = list(zip(*out, strict=True)) or [(), (), (), ()]
    return ChanceForecasts(
        lead=np.array(columns[0], dtype=np.int64),
        chance=np.array(columns[1], dtype=np.float64),
        happened=np.array(columns[2], dtype=np.bool_),
        day=np.array(columns[3], dtype=np.int64),
    )


def _came(
    folder: Path, farm: Farm, gauges: pd.DataFrame, product: str, now: datetime
) -> DailyWindows | None:
    """Workable hours as the run reckons them from the weather that came."""
    notes: list[str] = []
    cells = latest_cells(stored_answers(folder, product), farm, now, notes)
    hour = np.datetime64(now.astimezone(UTC).replace(tzinfo=None), "h")
    known = records(folder, cells, hour, notes) if cells else None
    if known is None:
        return None
    lat = np.array([[c.lat, c.lon] for c in cells])
    spot = np.array([[f.lat, f.lon] for f in farm.fields])
    near = ((spot[:, None] - lat[None]) ** 2).sum(axis=2).argmin(axis=1)
    past = past_or_stand_in(known, known, hour, notes).sites(near)
    season, _ = open_loop(farm, with_gauges(past, farm, gauges, notes))
    return daily_windows(season, tz=farm.tz)


def _paired(
    farm: Farm, ahead: DailyWindows, came: DailyWindows, issued: datetime
) -> list[tuple[int, float, bool, int]]:
    """Whole days after the issue that both know: lead, chance, happened, day; every field."""
    chance = ahead.chance(WORKABLE_H)
    first = np.datetime64(issued.astimezone(farm.tz).date())
    out = []
    for d, date in enumerate(ahead.dates):
        lead = int((date - first).astype(int))
        at = np.flatnonzero(came.dates == date)
        if not 1 <= lead <= LEADS or not len(at) or min(ahead.hours[d], came.hours[at[0]]) < 23:
            continue
        for f in range(len(farm.fields)):
            if came.unknown[0, f, at[0]] == 0:
                hit = bool(came.harvestable[0, f, at[0]] >= WORKABLE_H)
                out.append((lead, float(chance[f, d]), hit, int(date.astype(int))))
    return out
