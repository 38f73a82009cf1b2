"""Rain at the fields from gauges and gridded rain.

Simple kriging (optimal interpolation: Gandin 1963; Daley 1991, Atmospheric Data Analysis, ch. 4)
spreads the difference of gauge and grid to the fields. A field at a gauge gets the gauge's amount,
a field far from all gauges the grid's. The same equations give the remaining error. Hours within a
reading follow the hours of the grid.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from readiness.atmosphere.weather import Array, Weather

#: Distance over which the correlation of errors of gridded daily rain falls to 1/e, km; assumed:
#: summer showers of the plains are some tens of km wide.
CORRELATION_KM = 40.0
#: Standard error of gridded rain: a constant, mm, plus a share of the amount; assumed, because a
#: grid cell's mean stands for a shower that covers part of it.
GRID_ERROR_MM = 0.5
GRID_ERROR_SHARE = 0.5
#: Length of a shower that the grid missed, h; it falls in the moistest hours of the reading;
#: assumed: the usual length of a summer shower and its drip.
MISSED_SHOWER_H = 4
#: Sum of gauge weights from which gauges replace unknown gridded rain; assumed.
SUFFICIENT_WEIGHT = 0.5
#: Hours before its nominal time at which a gauge may have been read; assumed: a farmer who reads
#: at seven plans at six with this morning's reading.
EARLY_READING_H = 2
EARTH_KM = 6371.0


@dataclass(frozen=True, kw_only=True)
class GaugeReading:
    """Rain, mm, that one gauge caught in the `hours` from `start` (datetime64[h], UTC)."""

    lat: float
    lon: float
    start: np.datetime64
    hours: int
    mm: float


def distance_km(lat: Array, lon: Array, other_lat: Array, other_lon: Array) -> Array:
    """Great-circle distance of every place to every other place, (place, other), km (haversine)."""
    a, b = np.radians(lat)[:, None], np.radians(other_lat)[None]
    half = np.radians(np.asarray(lon)[:, None] - np.asarray(other_lon)[None]) / 2
    h = np.sin((a - b) / 2) ** 2 + np.cos(a) * np.cos(b) * np.sin(half) ** 2
    return np.asarray(2 * EARTH_KM * np.arcsin(np.sqrt(np.clip(h, 0.0, 1.0))))


def kriging_weights(
    lat: Array, lon: Array, gauge_lat: Array, gauge_lon: Array
) -> tuple[Array, Array]:
    """Weights of the gauges at each place and the remaining share of error variance.

    Returns
    -------
    weights : (place, gauge).
    remaining : (place,) 0 at a gauge, 1 far from all gauges.
    """
    between = np.exp(-distance_km(gauge_lat, gauge_lon, gauge_lat, gauge_lon) / CORRELATION_KM)
    towards = np.exp(-distance_km(lat, lon, gauge_lat, gauge_lon) / CORRELATION_KM)
    weights = np.asarray(
        np.linalg.solve(between + 1e-9 * np.eye(len(between)), towards.T).T, dtype=np.float64
    )
    remaining = 1.0 - (weights * towards).sum(axis=1)
    return weights, np.asarray(np.clip(remaining, 0.0, 1.0), dtype=np.float64)


def merge_gauges(
    weather: Weather, lat: Array, lon: Array, *, readings: Sequence[GaugeReading]
) -> tuple[Weather, Array]:
    """Records at the fields with the gauges' rain merged in, and its standard error.

    Shorter readings override longer ones.

    Parameters
    ----------
    weather : (1, site, hour) records; each site with the gridded rain of its place.
    lat, lon : (site,) degrees.
    readings : readings that do not lie wholly within the records are left out; the last one may
        end up to `EARLY_READING_H` after them.

    Returns
    -------
    weather : with merged rain; changed hours are flagged as estimated.
    error : (site, hour) standard error, mm, of the rain over the reading that covers each hour;
        NaN in hours that no reading covers.
    """
    rain = weather.rain[0].copy()
    error = np.full(rain.shape, np.nan)
    grouped: dict[tuple[int, int], list[GaugeReading]] = {}
    for r in readings:
        first = int((r.start - weather.times[0]).astype(int))
        late = first + r.hours - rain.shape[1]
        if first >= 0 and late <= EARLY_READING_H and first < rain.shape[1]:
            grouped.setdefault((first, r.hours - max(late, 0)), []).append(r)
    for (first, hours), group in sorted(grouped.items(), key=lambda g: (-g[0][1], g[0][0])):
        cut = slice(first, first + hours)
        total, sd = _totals(weather.rain[0][:, cut], lat, lon, group)
        shares = _hour_shares(weather.rain[0][:, cut], weather.humidity[0][:, cut])
        known = np.isfinite(total)
        rain[known, cut] = total[known, None] * shares[known]
        error[known, cut] = sd[known, None]
    changed = ~np.isclose(rain, weather.rain[0], equal_nan=True)
    return (
        replace(weather, rain=rain[None], estimated=weather.estimated | changed[None]),
        error,
    )


def _totals(
    grid: Array, lat: Array, lon: Array, group: Sequence[GaugeReading]
) -> tuple[Array, Array]:
    """Amount and standard error at each site over the hours of a reading; NaN where unknown."""
    g_lat, g_lon = (np.array([getattr(r, k) for r in group]) for k in ("lat", "lon"))
    caught = np.array([r.mm for r in group])
    nearest = distance_km(g_lat, g_lon, lat, lon).argmin(axis=1)
    gridded = grid.sum(axis=1)
    known = np.isfinite(gridded)
    background = np.where(known, gridded, caught.mean())
    weights, remaining = kriging_weights(lat, lon, g_lat, g_lon)
    total = np.maximum(background + weights @ (caught - background[nearest]), 0.0)
    grid_sd = GRID_ERROR_MM + GRID_ERROR_SHARE * (np.maximum(total, background))
    dry = (caught.max() == 0.0) & (background == 0.0)
    sd = np.where(dry, 0.0, grid_sd) * np.sqrt(remaining)
    usable = known | (weights.sum(axis=1) >= SUFFICIENT_WEIGHT)
    return np.where(usable, total, np.nan), np.where(usable, sd, np.nan)


def _hour_shares(grid: Array, humidity: Array) -> Array:
    """Share of each hour in the reading, (site, hour).

    By the site's own gridded rain, else that of the wettest site, else one shower in the moistest
    hours.
    """
    own = np.nan_to_num(grid)
    total = own.sum(axis=1, keepdims=True)
    shared = np.where(total > 0.0, own, own[int(total.argmax())])
    total = shared.sum(axis=1, keepdims=True)
    if (total > 0.0).all():
        return np.asarray(shared / total)
    length = min(MISSED_SHOWER_H, grid.shape[1])
    sums = np.lib.stride_tricks.sliding_window_view(np.nan_to_num(humidity), length, axis=1)
    first = sums.sum(axis=2).argmax(axis=1)[:, None]
    hour = np.arange(grid.shape[1])
    return np.where((hour >= first) & (hour < first + length), 1.0 / length, 0.0)
