"""Observations of the water of a field: samples, bounds from ground checks, days of a probe."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array
from readiness.soil.layers import MIDDLES, N_LAYERS

Int = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class WaterObservations:
    """Observations of one field's water, arrays (observation,).

    Attributes
    ----------
    hour, hours : first hour in the frame, and hours of the mean.
    weights : (observation, layer) shares of the layers.
    value, sd : m³/m³, and its standard error besides the model's.
    side : 0 the value itself; -1 an upper bound and 1 a lower bound (ground found firm or soft).
    probe : number of the probe, whose gain and offset are unknown; -1 for a sample.
    """

    hour: Int
    hours: Int
    weights: Array
    value: Array
    sd: Array
    side: Int
    probe: Int

    def joined(self, more: WaterObservations) -> WaterObservations:
        """Both sets of observations."""
        names = ("hour", "hours", "weights", "value", "sd", "side", "probe")
        return WaterObservations(
            **{n: np.concatenate([getattr(self, n), getattr(more, n)]) for n in names}
        )


def depth_weights(depth_m: float) -> Array:
    """Shares of the layers in the water at a depth, (layer,): linear between their middles."""
    unit = np.eye(N_LAYERS)
    return np.array([np.interp(depth_m, MIDDLES, row) for row in unit])


def water_observations(
    hour: Int, value: Array, *, weights: Array, sd: float = 0.03, side: int = 0, hours: int = 1
) -> WaterObservations:
    """Observations of one kind: samples of water, or bounds from ground checks.

    Parameters
    ----------
    hour : (observation,) first hour in the frame.
    value : (observation,) m³/m³.
    weights : (layer,) shares of the layers.
    sd, side, hours : as in `WaterObservations`, the same for all.
    """
    n = np.asarray(hour).size
    ones = np.ones(n, dtype=np.int64)
    return WaterObservations(
        hour=np.asarray(hour, dtype=np.int64),
        hours=hours * ones,
        weights=np.tile(weights, (n, 1)),
        value=np.asarray(value, dtype=np.float64),
        sd=np.full(n, sd),
        side=side * ones,
        probe=-ones,
    )


def probe_observations(
    reading: Array, first_hour: int, *, depth_m: float, probe: int
) -> WaterObservations:
    """Daily means of a probe as observations.

    Parameters
    ----------
    reading : (day,) m³/m³; days with NaN are left out.
    first_hour : hour in the frame at which day 0 begins.
    depth_m : depth of the probe.
    probe : its number.
    """
    day = np.flatnonzero(np.isfinite(reading))
    daily = water_observations(
        first_hour + 24 * day, reading[day], weights=depth_weights(depth_m), hours=24
    )
    return replace(
        daily, probe=np.full(day.size, probe, dtype=np.int64), sd=np.full(day.size, 0.01)
    )
