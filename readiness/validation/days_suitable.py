"""Modelled days suitable for fieldwork of a state's week against published reports.

The reports (USDA-NASS: weather and field conditions let producers work a major portion of the day)
cover whole states; stations are points. Fields of several textures stand for a state's soils, and
block kriging averages the stations' days over the state. No parameter is fitted to the reports.

The rules were chosen among variants: hours of drainage, share of field capacity, humidity, rain and
hours of work. The weeks outside `TEST_STATE` alone choose, of 180 variants by the lowest RMSE,
the rules in use, and the weeks of that state test them (`tests/bench_workday_rules.py`). Each half
of the years chooses other rules. Weeks that did not choose score r 0.72-0.80 and 0.59-0.70 d,
whichever way they are split. Two changes with a reason of their own did not help the weeks outside
`TEST_STATE`: to count a day whole where more than half of its hours can be worked ('a major portion
of the day'), and fields that drain poorly.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import norm

from readiness.atmosphere.weather import Array
from readiness.forecasts.gauge_kriging import distance_km
from readiness.soil.calibrate import MODEL_SD
from readiness.soil.land import Land
from readiness.soil.layers import bearing_water
from readiness.soil.running_gear import USUAL_CART, USUAL_COMBINE
from readiness.soil.trafficability import land_limits
from readiness.soil.water_balance import KCB_RIPE, run_water
from readiness.validation.soil_moisture import SoilResult, top_water_by_probes
from readiness.validation.stations import Station

#: Fields that stand for a state's soils: sandy loam, loam, silt loam, clay loam (sand, clay). Each
#: is modelled once ripe or in stubble and once under a growing crop. The probed ground of the
#: station is one more soil.
TEXTURES = ((0.65, 0.10), (0.40, 0.20), (0.20, 0.20), (0.30, 0.35))
#: Hours of a working day, local standard time; assumed.
DAY_HOURS = (9, 19)
#: Rain, mm, and humidity, percent, above which an hour is lost. Wheat at 14.5 % is in equilibrium
#: with 70 % (hard wheat, 25 °C, ASAE D245.5), and hay and straw toughen alike.
MAX_RAIN_MM, MAX_HUMIDITY = 0.2, 70.0
#: Range over which the correlation of station wetness falls to 1/e, km, and the nugget; assumed:
#: summer rain systems of a week span some hundreds of km.
CORRELATION_KM, NUGGET = 400.0, 0.2
#: South, north, west, east edges of states, degrees (atlas, rounded; memory).
STATES: Mapping[str, tuple[float, float, float, float]] = {
    "CO": (37.0, 41.0, -109.0, -102.0),
    "IA": (40.5, 43.5, -96.5, -90.5),
    "ID": (42.0, 49.0, -117.0, -111.5),
    "IL": (37.0, 42.5, -91.0, -87.5),
    "IN": (38.0, 41.8, -88.0, -84.8),
    "KS": (37.0, 40.0, -102.0, -94.6),
    "MN": (43.5, 49.0, -97.0, -91.5),
    "MO": (36.2, 40.5, -95.6, -89.5),
    "MT": (45.0, 49.0, -114.0, -104.0),
    "ND": (45.9, 49.0, -104.0, -96.8),
    "NE": (40.0, 43.0, -104.0, -95.5),
    "OH": (38.5, 41.8, -84.8, -80.7),
    "OK": (34.0, 37.0, -100.0, -94.5),
    "OR": (42.0, 46.0, -123.5, -117.0),
    "SD": (42.5, 45.9, -104.0, -96.5),
    "TX": (27.0, 36.5, -103.5, -94.5),
    "WA": (46.0, 49.0, -122.0, -117.0),
    "WI": (42.5, 46.5, -92.5, -87.5),
    "WY": (41.0, 45.0, -111.0, -104.0),
}
#: The state whose weeks test the rules; it has the most reports.
TEST_STATE = "KS"
#: First and last (month, day) on which a compared week ends; late autumn and early spring are
#: cold, not wet.
FIRST_WEEK_END, LAST_WEEK_END = (4, 1), (10, 20)


def open_hours(station: Station) -> NDArray[np.bool_]:
    """Hours of the working day without rain or damp air, (day, hour of work)."""
    a, b = DAY_HOURS
    rain = station.weather.rain[0, 0].reshape(-1, 24)[:, a:b]
    humidity = station.weather.humidity[0, 0].reshape(-1, 24)[:, a:b]
    return np.asarray((rain <= MAX_RAIN_MM) & (humidity <= MAX_HUMIDITY))


def workable_share(station: Station, soil: SoilResult) -> Array:
    """Share of fields and hours workable at a station, (day,); NaN where weather is unknown."""
    hours = open_hours(station)
    soils = [cover.mean(axis=0) for cover in _modelled_fields(station)] + _probed_ground(soil)
    chance = sum(soils) / len(soils)
    return np.asarray((chance * hours).mean(axis=1))


def headland_room(station: Station, land: Land, *, kcb: Array | float) -> Array:
    """Water limits for combines less modelled water, m³/m³, (field, day, hour of work).

    The smaller of 0-15 and 15-30 cm; NaN where weather is unknown.

    Parameters
    ----------
    land : soil facts of fields at the station.
    kcb : basal crop coefficient, scalar or (field, hour).
    """
    n = land.sand.size
    weather, eto = station.weather.sites([0] * n), np.repeat(station.eto, n, axis=1)
    theta = run_water(weather, land, kcb=kcb, eto=eto)[0][0]
    a, b = DAY_HOURS
    top, below = (z.reshape(n, -1, 24)[..., a:b] for z in bearing_water(theta))
    limits = land_limits(land, combine=USUAL_COMBINE, cart=USUAL_CART)
    room_below = limits.headland_below[:, None, None] - below
    return np.asarray(np.minimum(limits.headland_top[:, None, None] - top, room_below))


def _modelled_fields(station: Station) -> list[Array]:
    """Chance that the ground bears, (cover, day, hour of work), for each texture."""
    sand, clay = (np.repeat(x, 2) for x in zip(*TEXTURES, strict=True))
    place = station.daily
    land = Land.of(
        sand.size, sand=sand, clay=clay, latitude=place.latitude, longitude=place.longitude
    )
    kcb = np.concatenate([np.full_like(station.kcb, KCB_RIPE), station.kcb] * len(TEXTURES))
    chance = norm.cdf(headland_room(station, land, kcb=kcb) / MODEL_SD)
    return [chance[2 * i : 2 * i + 2] for i in range(len(TEXTURES))]


def _probed_ground(soil: SoilResult) -> list[Array]:
    """Chance that the probed ground bears, (day, 1); modelled where no probe reads."""
    fit = soil.calibration
    if fit is None:
        return []
    limit = land_limits(fit.land, combine=USUAL_COMBINE, cart=USUAL_CART).headland_top[0]
    probes = top_water_by_probes(fit, soil.measured)
    top = np.where(np.isfinite(probes), probes, soil.calibrated_top)
    return [np.asarray(norm.cdf((limit - top) / MODEL_SD))[:, None]]


class StateMean(NamedTuple):
    """Weights of the stations in the mean over a state, (station,), and the variance of its error.

    The variance is a share of the variance between stations far apart.
    """

    weights: Array
    error_variance: float


def state_mean(state: str, latitude: Array, longitude: Array) -> StateMean:
    """Mean over a state by ordinary block kriging from stations, (station,) degrees."""
    south, north, west, east = STATES[state]
    grid = np.meshgrid(np.linspace(south, north, 9), np.linspace(west, east, 9))
    lat, lon = (g.ravel() for g in grid)
    n = latitude.size
    between = np.exp(-distance_km(latitude, longitude, latitude, longitude) / CORRELATION_KM)
    system = np.ones((n + 1, n + 1))
    system[:n, :n], system[n, n] = between + NUGGET * np.eye(n), 0.0
    towards = np.exp(-distance_km(latitude, longitude, lat, lon) / CORRELATION_KM).mean(axis=1)
    solution = np.linalg.solve(system, np.append(towards, 1.0))
    within = np.exp(-distance_km(lat, lon, lat, lon) / CORRELATION_KM).mean()
    variance = float(within - solution @ np.append(towards, 1.0))
    return StateMean(weights=np.asarray(solution[:n]), error_variance=max(variance, 0.0))


def state_weeks(
    stations: Sequence[Station], soils: Sequence[SoilResult], reports: pd.DataFrame
) -> pd.DataFrame:
    """Reported and modelled days of every week that can be compared.

    Parameters
    ----------
    stations, soils : station and its result, in the same order.
    reports : columns `state`, `week_ending` (ISO date), `days_suitable`.

    Returns
    -------
    pandas.DataFrame
        Columns `state`, `week_ending`, `reported`, `modelled`, and `standard_error` of `modelled`
        that comes from the few stations alone, days.
    """
    shares = [workable_share(s, soil) for s, soil in zip(stations, soils, strict=True)]
    lat = np.array([s.daily.latitude for s in stations])
    lon = np.array([s.daily.longitude for s in stations])
    rows, spread = [], []
    for report in reports.dropna(subset=["days_suitable"]).itertuples():
        end = pd.Timestamp(str(report.week_ending))
        ends = (end.month, end.day)
        if report.state not in STATES or not FIRST_WEEK_END <= ends <= LAST_WEEK_END:
            continue
        week = np.array([_week_days(s, x, end) for s, x in zip(stations, shares, strict=True)])
        known = np.isfinite(week)
        if known.any():
            mean = state_mean(str(report.state), lat[known], lon[known])
            days = float(np.clip(mean.weights @ week[known], 0.0, 7.0))
            reported = float(report.days_suitable)  # type: ignore[arg-type]
            rows.append((report.state, end, reported, days, mean.error_variance))
            spread.append(week[known].var())
    columns = ["state", "week_ending", "reported", "modelled", "error_variance"]
    weeks = pd.DataFrame(rows, columns=columns)
    sill = np.mean(spread) / (1.0 + NUGGET) if spread else np.nan
    weeks["standard_error"] = np.sqrt(sill * weeks.pop("error_variance").astype(float))
    return weeks


def _week_days(station: Station, share: Array, end: pd.Timestamp) -> float:
    """Modelled days of the week that ends on `end`; NaN where a day is unknown."""
    last = int((np.datetime64(end, "D") - station.daily.days[0]).astype(int)) + 1
    if last < 7 or last > share.size:
        return float("nan")
    return float(share[last - 7 : last].sum())


def read_reports(folder: Path) -> pd.DataFrame:
    """Weekly reports of all CSV files in the folder."""
    tables = [pd.read_csv(path) for path in sorted(folder.glob("*.csv"))]
    columns = ["state", "week_ending", "days_suitable"]
    return pd.concat(tables)[columns] if tables else pd.DataFrame(columns=columns)
