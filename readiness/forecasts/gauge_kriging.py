"""Rain at the fields out of gauges and gridded rain.

What a gauge caught less what the grid says there is spread to the fields by simple kriging
(optimal interpolation: Gandin 1963; Daley 1991, Atmospheric Data Analysis, ch. 4): at a gauge the
field gets the gauge's amount, far from all of them the grid's. The same equations give the
error that is left. Hours within a reading follow the grid's own hours.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from readiness.atmosphere.weather import Array, Weather

#: Distance over which the error of gridded daily rain loses its likeness to 1/e, km; assumed:
#: summer showers of the plains are some tens of km wide.
REACH_KM = 40.0
#: Standard error of gridded rain: so much plus a share of the amount; assumed, because a grid
#: cell's mean stands for a shower that covers part of it.
GRID_ERROR_MM = 0.5
GRID_ERROR_SHARE = 0.5
#: Hours that rain which the grid does not know of is put into, the moistest of the reading's;
#: assumed: the usual length of a summer shower's rain and its drip.
UNKNOWN_SHOWER_H = 4
#: Weight of gauges from which they may stand for hours whose gridded rain is unknown; assumed.
ENOUGH = 0.5
#: Hours before its nominal time at which a gauge may have been read; assumed: whoever reads at
#: seven plans at six with this morning's reading.
EARLY_H = 2
EARTH_KM = 6371.0


@dataclass(frozen=True, kw_only=True)
class GaugeReading:
    """What one gauge caught in the `hours` from `start` (datetime64[h], UTC), mm."""

    lat: float
    lon: float
    start: np.datetime64
    hours: int
    mm: float


def distance_km(lat: Array, lon: Array, other_lat: Array, other_lon: Array) -> Array:
    """Great-circle distance of every place to every other, (place, other), km (haversine)."""
    a, b = np.radians(lat)[:, None], np.radians(other_lat)[None]
    half = np.radians(np.asarray(lon)[:, None] - np.asarray(other_lon)[None]) / 2
    h = np.sin((a - b) / 2) ** 2 + np.cos(a) * np.cos(b) * np.sin(half) ** 2
    return np.asarray(2 * EARTH_KM * np.arcsin(np.sqrt(np.clip(h, 0.0, 1.0))))


def kriging_weights(
    lat: Array, lon: Array, gauge_lat: Array, gauge_lon: Array, *, reach_km: float = REACH_KM
) -> tuple[Array, Array]:
    """Weights of the gauges at each place and the share of error variance left.

    Returns
    -------
    (place, gauge) weights and (place,) shares 0-1: 0 at a gauge, 1 far from all.
    """
    between = np.exp(-distance_km(gauge_lat, gauge_lon, gauge_lat, gauge_lon) / reach_km)
    towards = np.exp(-distance_km(lat, lon, gauge_lat, gauge_lon) / reach_km)
    weights = np.asarray(
        np.linalg.solve(between + 1e-9 * np.eye(len(between)), towards.T).T, dtype=np.float64
    )
    left = 1.0 - (weights * towards).sum(axis=1)
    return weights, np.asarray(np.clip(left, 0.0, 1.0), dtype=np.float64)


def merge_gauges(
    weather: Weather, lat: Array, lon: Array, *, readings: Sequence[GaugeReading]
) -> tuple[Weather, Array]:
    """Records at the fields with the gauges' rain in them, and its standard error.

    Parameters
    ----------
    weather : (1, site, hour) records; each site with the gridded rain that holds there.
    lat, lon : (site,) degrees.
    readings : those not wholly within the records are left out; the last may be stamped up to
        `EARLY_H` later than it was read.

    Returns
    -------
    The weather, and the standard error of the rain of each site over the reading that covers
    each hour, (site, hour), mm; NaN in hours that no reading covers.
    """
    rain = weather.rain[0].copy()
    error = np.full(rain.shape, np.nan)
    grouped: dict[tuple[int, int], list[GaugeReading]] = {}
    for r in readings:
        first = int((r.start - weather.times[0]).astype(int))
        late = first + r.hours - rain.shape[1]
        if first >= 0 and late <= EARLY_H and first < rain.shape[1]:
            grouped.setdefault((first, r.hours - max(late, 0)), []).append(r)
    for (first, hours), group in sorted(grouped.items(), key=lambda g: (-g[0][1], g[0][0])):
        cut = slice(first, first + hours)
        total, sd = _totals(weather.rain[0][:, cut], lat, lon, group)
        shares = _shares(weather.rain[0][:, cut], weather.humidity[0][:, cut])
        told = np.isfinite(total)
        rain[told, cut] = total[told, None] * shares[told]
        error[told, cut] = sd[told, None]
    changed = ~np.isclose(rain, weather.rain[0], equal_nan=True)
    return (
        replace(weather, rain=rain[None], estimated=weather.estimated | changed[None]),
        error,
    )


def _totals(
    grid: Array, lat: Array, lon: Array, group: Sequence[GaugeReading]
) -> tuple[Array, Array]:
    """Amount and standard error at each site over one reading's hours; NaN where unknown."""
    g_lat, g_lon = (np.array([getattr(r, k) for r in group]) for k in ("lat", "lon"))
    caught = np.array([r.mm for r in group])
    nearest = distance_km(g_lat, g_lon, lat, lon).argmin(axis=1)
    background = grid.sum(axis=1)
    known = np.isfinite(background)
    told = np.where(known, background, caught.mean())
    weights, left = kriging_weights(lat, lon, g_lat, g_lon)
    total = np.maximum(told + weights @ (caught - told[nearest]), 0.0)
    unsure = GRID_ERROR_MM + GRID_ERROR_SHARE * (np.maximum(total, told))
    dry = (caught.max() == 0.0) & (told == 0.0)
    sd = np.where(dry, 0.0, unsure) * np.sqrt(left)
    enough = known | (weights.sum(axis=1) >= ENOUGH)
    return np.where(enough, total, np.nan), np.where(enough, sd, np.nan)


def _shares(grid: Array, humidity: Array) -> Array:
    """Shares of the hours, (site, hour): the site's own rain, the wettest's, or a moist shower."""
    own = np.nan_to_num(grid)
    total = own.sum(axis=1, keepdims=True)
    shared = np.where(total > 0.0, own, own[int(total.argmax())])
    total = shared.sum(axis=1, keepdims=True)
    if (total > 0.0).all():
        return np.asarray(shared / total)
    long = min(UNKNOWN_SHOWER_H, grid.shape[1])
    sums = np.lib.stride_tricks.sliding_window_view(np.nan_to_num(humidity), long, axis=1)
    first = sums.sum(axis=2).argmax(axis=1)[:, None]
    hour = np.arange(grid.shape[1])
    return np.where((hour >= first) & (hour < first + long), 1.0 / long, 0.0)
