"""A field's few soil parameters learnt from what was seen of its water, held by priors.

The most probable parameters given observations and priors (MAP) by least squares. With three
observations the priors rule; with years of a probe the data do. Nothing here reads the truth that
a test keeps back.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.optimize import least_squares

from readiness.atmosphere.evapotranspiration import weather_et
from readiness.atmosphere.weather import Array, Weather
from readiness.soil.properties import N_LAYERS, THICKNESS, Land
from readiness.soil.water_balance import KCB_RIPE, water_step

Int = NDArray[np.int64]
#: Parameters: standard error of what is known beforehand, lowest and highest; assumed: texture from
#: a map or a guess, conductivity known within a factor of three, evaporation and cover within a
#: half and a fifth. Factors are learnt as logarithms.
PRIORS: dict[str, tuple[float, float, float]] = {
    "sand": (0.15, 0.02, 0.93),
    "clay": (0.10, 0.03, 0.58),
    "water_offset": (0.03, -0.10, 0.10),
    "drain_factor": (1.0, -5.0, 4.0),
    "evap_factor": (0.5, -2.0, 1.2),
    "vigour": (0.2, -0.9, 0.5),
}
FACTORS = ("drain_factor", "evap_factor", "vigour")
#: A probe's reading is gain × water + offset: maker's calibrations miss a soil's own by that much
#: (assumed, within field comparisons of dielectric probes: some 0.05 m³/m³ and tens of percent).
GAIN_SD, OFFSET_SD = 0.4, 0.08
#: Standard error of the model against a point, m³/m³, and days over which its errors are alike:
#: observations closer together than that share one vote. Assumed, as uncalibrated runs show.
MODEL_SD, ALIKE_DAYS = 0.04, 10.0
#: Step of numerical slopes, standard errors of the prior (the model has kinks; assumed), and most
#: tries.
STEP, TRIES = 0.05, 12
#: Middles of the layers, m.
MIDDLES = np.cumsum(THICKNESS) - 0.5 * THICKNESS


@dataclass(frozen=True, kw_only=True)
class WaterObservations:
    """Observations of one field's water, arrays (observation,).

    Attributes
    ----------
    hour, hours : first hour in the frame, and hours averaged over.
    weights : (observation, layer) shares of the layers.
    value, sd : m³/m³, and its standard error besides the model's.
    side : 0 the value itself, -1 'at most', 1 'at least' (a check that found it firm or soft).
    probe : number of the probe whose gain and offset are unknown, -1 for water itself (a sample).
    """

    hour: Int
    hours: Int
    weights: Array
    value: Array
    sd: Array
    side: Int
    probe: Int

    def joined(self, more: WaterObservations) -> WaterObservations:
        """Both together."""
        names = ("hour", "hours", "weights", "value", "sd", "side", "probe")
        return WaterObservations(
            **{n: np.concatenate([getattr(self, n), getattr(more, n)]) for n in names}
        )


@dataclass(frozen=True, kw_only=True)
class Calibration:
    """What was learnt: the field, the factor on its basal crop coefficient, the probes.

    `misfit_before` and `misfit_after` are root mean squares of weighted misfits (1 = as expected).
    """

    land: Land
    vigour: float
    gain: Array
    offset: Array
    misfit_before: float
    misfit_after: float

    def probe_reading(self, number: int, water: Array) -> Array:
        """What a probe would say of `water`, m³/m³."""
        return np.asarray(self.gain[number] * water + self.offset[number])


def depth_weights(depth_m: float) -> Array:
    """Shares of the layers in the water at a depth: linear between layer middles."""
    unit = np.eye(N_LAYERS)
    return np.array([np.interp(depth_m, MIDDLES, row) for row in unit])


def water_observations(
    hour: Int, value: Array, *, weights: Array, sd: float = 0.03, side: int = 0, hours: int = 1
) -> WaterObservations:
    """Observations of one kind: water by hand, or limits that ground checks speak of."""
    n = np.asarray(hour).size
    whole = np.ones(n, dtype=np.int64)
    return WaterObservations(
        hour=np.asarray(hour, dtype=np.int64),
        hours=hours * whole,
        weights=np.tile(weights, (n, 1)),
        value=np.asarray(value, dtype=np.float64),
        sd=np.full(n, sd),
        side=side * whole,
        probe=-whole,
    )


def probe_observations(
    reading: Array, first_hour: int, *, depth_m: float, probe: int
) -> WaterObservations:
    """Daily means (day,) of a probe; NaN days are left out. `first_hour` of day 0 in the frame."""
    day = np.flatnonzero(np.isfinite(reading))
    one = water_observations(
        first_hour + 24 * day, reading[day], weights=depth_weights(depth_m), hours=24
    )
    return replace(one, probe=np.full(day.size, probe, dtype=np.int64), sd=np.full(day.size, 0.01))


def calibrate(
    weather: Weather,
    land: Land,
    seen: WaterObservations,
    *,
    kcb: Array | float = KCB_RIPE,
    eto: Array | None = None,
    learn: tuple[str, ...] = tuple(PRIORS),
) -> Calibration:
    """Most probable parameters of one field.

    Parameters
    ----------
    weather : (1, 1, hour), best from a year before the first observation.
    land : one field, the prior. seen : observations within the frame.
    kcb : basal crop coefficient, scalar or (1, hour). eto : (1, 1, hour), mm.
    learn : names out of `PRIORS` to be learnt.

    Raises
    ------
    ValueError
        Where the frame or the land holds more than one field, or an observation is outside.
    """
    members, n, hours = weather.shape
    if (members, n, land.sand.size) != (1, 1, 1):
        raise ValueError("calibration wants one member and one field")
    if seen.hour.size and (seen.hour.min() < 0 or (seen.hour + seen.hours).max() > hours):
        raise ValueError("an observation lies outside the weather")
    if eto is None:
        eto = weather_et(weather, land.latitude, land.longitude, land.elevation_m)
    task = _Task(weather, land, seen, kcb, eto, learn)
    start = np.zeros(len(learn))
    if not seen.hour.size:
        return task.answer(start, start)
    low, high = task.bounds()
    found = least_squares(task.misfits, start, jac=task.slopes, bounds=(low, high), max_nfev=TRIES)
    return task.answer(start, found.x)


@njit(cache=True, nogil=True)
def _running_sums(state, soil, rain, temp, eto, kcb):  # type: ignore[no-untyped-def]
    """Water of the layers summed up to each hour, (hour + 1, layer), and hours unknown so far."""
    total, gaps = np.zeros((rain.size + 1, N_LAYERS)), np.zeros(rain.size + 1, np.int64)
    for h in range(rain.size):
        known = not math.isnan(rain[h] + temp[h] + eto[h])
        if known:
            water_step(state, soil, rain[h], temp[h], eto[h], kcb[h])
        gaps[h + 1] = gaps[h] + (not known)
        for i in range(N_LAYERS):
            total[h + 1, i] = total[h, i] + state[i]
    return total, gaps


class _Task:
    """One calibration: parameters in standard errors of their priors, 0 is the prior."""

    def __init__(
        self,
        weather: Weather,
        land: Land,
        seen: WaterObservations,
        kcb: Array | float,
        eto: Array,
        learn: tuple[str, ...],
    ) -> None:
        stop = int((seen.hour + seen.hours).max()) if seen.hour.size else 1
        self.weather = weather.between(weather.start, weather.start + np.timedelta64(stop, "h"))
        self.land, self.seen, self.learn = land, seen, learn
        self.kcb = kcb if np.isscalar(kcb) else np.asarray(kcb)[:, :stop]
        self.eto = np.ascontiguousarray(eto[..., :stop])
        self.probes = int(seen.probe.max()) + 1 if seen.probe.size else 0
        self.weight = np.sqrt(_votes(seen)) / np.sqrt(MODEL_SD**2 + seen.sd**2)

    def bounds(self) -> tuple[Array, Array]:
        """Lowest and highest parameters, kept around 0."""
        low, high = [], []
        for name in self.learn:
            sd, a, b = PRIORS[name]
            here = 0.0 if name in FACTORS else float(getattr(self.land, name)[0])
            low.append(min((a - here) / sd, -1e-3))
            high.append(max((b - here) / sd, 1e-3))
        return np.array(low), np.array(high)

    def field(self, x: Array) -> tuple[Land, float]:
        """Land and vigour of parameters."""
        facts, vigour = {}, 1.0
        for name, value in zip(self.learn, x, strict=True):
            step = PRIORS[name][0] * value
            if name == "vigour":
                vigour = float(np.exp(step))
            elif name in FACTORS:
                facts[name] = getattr(self.land, name) * np.exp(step)
            else:
                facts[name] = getattr(self.land, name) + step
        for name in ("sand", "clay"):
            if name in facts:
                facts[name] = np.clip(facts[name], 0.0, 1.0)
        clay = facts.get("clay", self.land.clay)
        facts["sand"] = np.minimum(facts.get("sand", self.land.sand), 1.0 - clay)
        return replace(self.land, **facts), vigour

    def water(self, x: Array) -> Array:
        """Model's water of each observation; NaN where the weather is unknown."""
        land, vigour = self.field(x)
        kcb = np.asarray(self.kcb) * vigour
        cover = np.broadcast_to(kcb, (1, self.weather.shape[2]))[0]
        total, gaps = _running_sums(
            land.initial_state()[0],
            land.soil_table()[0],
            self.weather.rain[0, 0],
            self.weather.temp[0, 0],
            self.eto[0, 0],
            np.ascontiguousarray(cover),
        )
        first, stop = self.seen.hour, self.seen.hour + self.seen.hours
        mean = (self.seen.weights * (total[stop] - total[first])).sum(axis=1) / self.seen.hours
        return np.where(gaps[stop] > gaps[first], np.nan, mean)

    def probe_fit(self, water: Array) -> tuple[Array, Array]:
        """Gain and offset of each probe, most probable given the water (linear, closed form)."""
        gain, offset = np.ones(self.probes), np.zeros(self.probes)
        for p in range(self.probes):
            mine = (self.seen.probe == p) & np.isfinite(water)
            w, v, k = water[mine], self.seen.value[mine], self.weight[mine]
            rows = np.vstack([np.stack([w * k, k], 1), np.diag([1 / GAIN_SD, 1 / OFFSET_SD])])
            right = np.concatenate([(v - w) * k, [0.0, 0.0]])
            shift = np.linalg.lstsq(rows, right, rcond=None)[0]
            gain[p], offset[p] = 1.0 + shift[0], shift[1]
        return gain, offset

    def gaps_to_seen(self, x: Array) -> tuple[Array, Array, Array]:
        """Weighted misfits, and the probes' gain and offset."""
        water = self.water(x)
        gain, offset = self.probe_fit(water)
        at = np.maximum(self.seen.probe, 0)
        if self.probes:
            own = self.seen.probe >= 0
            water = np.where(own, gain[at] * water + offset[at], water)
        miss = (water - self.seen.value) * self.weight
        miss = np.where(self.seen.side < 0, np.maximum(miss, 0.0), miss)
        miss = np.where(self.seen.side > 0, np.minimum(miss, 0.0), miss)
        return np.nan_to_num(miss), gain, offset

    def misfits(self, x: Array) -> Array:
        """What least squares makes small: misfits, probes' and parameters' distance to priors."""
        miss, gain, offset = self.gaps_to_seen(x)
        return np.concatenate([miss, (gain - 1.0) / GAIN_SD, offset / OFFSET_SD, x])

    def slopes(self, x: Array) -> Array:
        """Jacobian of `misfits` by steps of `STEP`, away from the nearer bound."""
        here, (_, high) = self.misfits(x), self.bounds()
        out = np.empty((here.size, x.size))
        for i in range(x.size):
            step = STEP if x[i] + STEP <= high[i] else -STEP
            there = x.copy()
            there[i] += step
            out[:, i] = (self.misfits(there) - here) / step
        return out

    def answer(self, start: Array, x: Array) -> Calibration:
        """Pack up, with the misfit before and after."""
        land, vigour = self.field(x)
        if not self.seen.hour.size:
            none = np.zeros(0)
            return Calibration(
                land=land,
                vigour=vigour,
                gain=none,
                offset=none,
                misfit_before=0.0,
                misfit_after=0.0,
            )
        before = self.gaps_to_seen(start)[0]
        after, gain, offset = self.gaps_to_seen(x)
        votes = _votes(self.seen).sum()
        return Calibration(
            land=land,
            vigour=vigour,
            gain=gain,
            offset=offset,
            misfit_before=float(np.sqrt((before**2).sum() / votes)),
            misfit_after=float(np.sqrt((after**2).sum() / votes)),
        )


def _votes(seen: WaterObservations) -> Array:
    """Share of a vote of each observation: those of one kind within `ALIKE_DAYS` share one."""
    votes = np.ones(seen.hour.size)
    for p in np.unique(seen.probe):
        mine = np.flatnonzero(seen.probe == p)
        order = mine[np.argsort(seen.hour[mine], kind="stable")]
        days = seen.hour[order] / 24.0
        near = np.searchsorted(days, days + ALIKE_DAYS / 2) - np.searchsorted(
            days, days - ALIKE_DAYS / 2
        )
        votes[order] = 1.0 / np.maximum(near, 1)
    return votes
