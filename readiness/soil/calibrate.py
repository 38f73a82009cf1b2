"""Calibration of a field's few soil parameters on observations of its water, with priors.

Maximum a posteriori estimate by nonlinear least squares. With three observations the priors decide,
with years of a probe the data.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numba import njit
from scipy.optimize import least_squares

from readiness.atmosphere.evapotranspiration import weather_et
from readiness.atmosphere.weather import Array, Weather
from readiness.soil.land import Land
from readiness.soil.layers import N_LAYERS
from readiness.soil.water_balance import KCB_RIPE, water_step
from readiness.soil.water_observations import WaterObservations

#: Parameters: standard deviation of the prior, lowest and highest value; factors as logarithms.
#: Assumed: texture from a map or a guess, conductivity within a factor of three, evaporation within
#: a half, the basal crop coefficient within a fifth.
PRIORS: dict[str, tuple[float, float, float]] = {
    "sand": (0.15, 0.02, 0.93),
    "clay": (0.10, 0.03, 0.58),
    "water_offset": (0.03, -0.10, 0.10),
    "drain_factor": (1.0, -5.0, 4.0),
    "evap_factor": (0.5, -2.0, 1.2),
    "vigour": (0.2, -0.9, 0.5),
}
FACTORS = ("drain_factor", "evap_factor", "vigour")
#: A probe reads gain × water + offset. Standard deviations of gain and offset (m³/m³); assumed,
#: within field comparisons of dielectric probes: about 0.05 m³/m³ and tens of percent.
GAIN_SD, OFFSET_SD = 0.4, 0.08
#: Standard error of the model against a point, m³/m³, and days over which its errors correlate:
#: observations closer together share the weight of one. Assumed, as uncalibrated runs show.
MODEL_SD, CORRELATION_DAYS = 0.04, 10.0
#: Step of numerical derivatives, standard deviations of the prior (assumed; the model has kinks),
#: and highest number of evaluations.
DERIVATIVE_STEP, MAX_EVALUATIONS = 0.05, 12


@dataclass(frozen=True, kw_only=True)
class Calibration:
    """Result of a calibration.

    Attributes
    ----------
    land : the field with its learnt parameters.
    vigour : factor on its basal crop coefficient.
    gain, offset : of each probe; offset in m³/m³.
    misfit_before, misfit_after : root mean square of weighted misfits; 1 is as expected.
    """

    land: Land
    vigour: float
    gain: Array
    offset: Array
    misfit_before: float
    misfit_after: float

    def probe_reading(self, number: int, water: Array) -> Array:
        """Reading of probe `number` at `water`, m³/m³."""
        return np.asarray(self.gain[number] * water + self.offset[number])


def calibrate(
    weather: Weather,
    land: Land,
    observations: WaterObservations,
    *,
    kcb: Array | float = KCB_RIPE,
    eto: Array | None = None,
    learn: tuple[str, ...] = tuple(PRIORS),
) -> Calibration:
    """Most probable parameters of one field.

    Parameters
    ----------
    weather : (1, 1, hour), best from a year before the first observation.
    land : one field, the prior.
    observations : within the frame.
    kcb : basal crop coefficient, scalar or (1, hour).
    eto : reference ET (1, 1, hour), mm; computed from the weather by default.
    learn : names of `PRIORS` to be learnt.

    Raises
    ------
    ValueError
        Where the frame or the land holds more than one field, or an observation is outside.
    """
    members, n, hours = weather.shape
    if (members, n, land.sand.size) != (1, 1, 1):
        raise ValueError(
            f"calibration takes one member and one field, got {members} members, {n} sites of "
            f"weather and {land.sand.size} fields"
        )
    last = (observations.hour + observations.hours).max(initial=0)
    if observations.hour.min(initial=0) < 0 or last > hours:
        raise ValueError(
            f"observations reach from hour {observations.hour.min()} to {last}; the weather covers "
            f"hours 0 to {hours}"
        )
    if eto is None:
        eto = weather_et(weather, land.latitude, land.longitude, land.elevation_m)
    problem = _Problem(weather, land, observations, kcb, eto, learn)
    prior = np.zeros(len(learn))
    if not observations.hour.size:
        return problem.calibration(prior)
    found = least_squares(
        problem.residuals,
        prior,
        jac=problem.jacobian,
        bounds=problem.bounds(),
        max_nfev=MAX_EVALUATIONS,
    )
    return problem.calibration(found.x)


@njit(cache=True, nogil=True)
def _running_sums(state, soil, rain, temp, eto, kcb):  # type: ignore[no-untyped-def]
    """Cumulative water of the layers, (hour + 1, layer), and cumulative unknown hours."""
    total, gaps = np.zeros((rain.size + 1, N_LAYERS)), np.zeros(rain.size + 1, np.int64)
    for h in range(rain.size):
        known = not math.isnan(rain[h] + temp[h] + eto[h])
        if known:
            water_step(state, soil, rain[h], temp[h], eto[h], kcb[h])
        gaps[h + 1] = gaps[h] + (not known)
        for i in range(N_LAYERS):
            total[h + 1, i] = total[h, i] + state[i]
    return total, gaps


class _Problem:
    """Least-squares problem: parameters in standard deviations of their priors, 0 is the prior."""

    def __init__(
        self,
        weather: Weather,
        land: Land,
        observations: WaterObservations,
        kcb: Array | float,
        eto: Array,
        learn: tuple[str, ...],
    ) -> None:
        stop = int((observations.hour + observations.hours).max(initial=1))
        self.weather = weather.between(weather.start, weather.start + np.timedelta64(stop, "h"))
        self.land, self.observations, self.learn = land, observations, learn
        self.kcb = kcb if np.isscalar(kcb) else np.asarray(kcb)[:, :stop]
        self.eto = np.ascontiguousarray(eto[..., :stop])
        self.probes = int(observations.probe.max(initial=-1)) + 1
        self.shares = _independent_shares(observations)
        self.weight = np.sqrt(self.shares) / np.sqrt(MODEL_SD**2 + observations.sd**2)

    def bounds(self) -> tuple[Array, Array]:
        """Lowest and highest parameters; the prior is always inside."""
        low, high = [], []
        for name in self.learn:
            sd, a, b = PRIORS[name]
            prior = 0.0 if name in FACTORS else float(getattr(self.land, name)[0])
            low.append(min((a - prior) / sd, -1e-3))
            high.append(max((b - prior) / sd, 1e-3))
        return np.array(low), np.array(high)

    def field(self, x: Array) -> tuple[Land, float]:
        """Land and factor on the basal crop coefficient for the parameters."""
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
        """Modelled water of each observation, m³/m³; NaN where the weather is unknown."""
        land, vigour = self.field(x)
        kcb = np.asarray(self.kcb) * vigour
        cover = np.broadcast_to(kcb, (1, self.weather.shape[2]))[0]
        total, unknown = _running_sums(
            land.initial_state()[0],
            land.soil_table()[0],
            self.weather.rain[0, 0],
            self.weather.temp[0, 0],
            self.eto[0, 0],
            np.ascontiguousarray(cover),
        )
        o = self.observations
        first, stop = o.hour, o.hour + o.hours
        mean = (o.weights * (total[stop] - total[first])).sum(axis=1) / o.hours
        return np.where(unknown[stop] > unknown[first], np.nan, mean)

    def probe_fit(self, water: Array) -> tuple[Array, Array]:
        """Most probable gain and offset of each probe at the modelled water (closed form)."""
        gain, offset = np.ones(self.probes), np.zeros(self.probes)
        for p in range(self.probes):
            own = (self.observations.probe == p) & np.isfinite(water)
            w, v, k = water[own], self.observations.value[own], self.weight[own]
            rows = np.vstack([np.stack([w * k, k], 1), np.diag([1 / GAIN_SD, 1 / OFFSET_SD])])
            right = np.concatenate([(v - w) * k, [0.0, 0.0]])
            shift = np.linalg.lstsq(rows, right, rcond=None)[0]
            gain[p], offset[p] = 1.0 + shift[0], shift[1]
        return gain, offset

    def misfits(self, x: Array) -> tuple[Array, Array, Array]:
        """Weighted misfits of the observations, and gain and offset of the probes.

        Bounds count only where the model violates them; unknown water counts as no misfit.
        """
        water, o = self.water(x), self.observations
        gain, offset = self.probe_fit(water)
        if self.probes:
            at = np.maximum(o.probe, 0)
            water = np.where(o.probe >= 0, gain[at] * water + offset[at], water)
        misfit = (water - o.value) * self.weight
        misfit = np.where(o.side < 0, np.maximum(misfit, 0.0), misfit)
        misfit = np.where(o.side > 0, np.minimum(misfit, 0.0), misfit)
        return np.nan_to_num(misfit), gain, offset

    def residuals(self, x: Array) -> Array:
        """Misfits, and the distances of probes and parameters from their priors."""
        misfit, gain, offset = self.misfits(x)
        return np.concatenate([misfit, (gain - 1.0) / GAIN_SD, offset / OFFSET_SD, x])

    def jacobian(self, x: Array) -> Array:
        """Jacobian of `residuals` by one-sided differences, away from the upper bound."""
        here, (_, high) = self.residuals(x), self.bounds()
        out = np.empty((here.size, x.size))
        for i in range(x.size):
            step = DERIVATIVE_STEP if x[i] + DERIVATIVE_STEP <= high[i] else -DERIVATIVE_STEP
            there = x.copy()
            there[i] += step
            out[:, i] = (self.residuals(there) - here) / step
        return out

    def calibration(self, x: Array) -> Calibration:
        """Result at the parameters, with the misfit there and at the prior."""
        land, vigour = self.field(x)
        if not self.observations.hour.size:
            return Calibration(
                land=land,
                vigour=vigour,
                gain=np.zeros(0),
                offset=np.zeros(0),
                misfit_before=0.0,
                misfit_after=0.0,
            )
        before, _, _ = self.misfits(np.zeros_like(x))
        after, gain, offset = self.misfits(x)
        independent = self.shares.sum()
        return Calibration(
            land=land,
            vigour=vigour,
            gain=gain,
            offset=offset,
            misfit_before=float(np.sqrt((before**2).sum() / independent)),
            misfit_after=float(np.sqrt((after**2).sum() / independent)),
        )


def _independent_shares(observations: WaterObservations) -> Array:
    """Weight of each observation: those of one probe within `CORRELATION_DAYS` share one."""
    shares = np.ones(observations.hour.size)
    for p in np.unique(observations.probe):
        own = np.flatnonzero(observations.probe == p)
        order = own[np.argsort(observations.hour[own], kind="stable")]
        days, half = observations.hour[order] / 24.0, CORRELATION_DAYS / 2
        near = np.searchsorted(days, days + half) - np.searchsorted(days, days - half)
        shares[order] = 1.0 / np.maximum(near, 1)
    return shares
