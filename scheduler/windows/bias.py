"""Lasting offsets from what was observed: fields of one soil share part, one reading says little.

The offset of field f on soil s is b_f = g_s + d_f, with g_s ~ N(0, soil_sd²) and
d_f ~ N(0, own_sd²). An observation bounds it, low <= b_f <= high (a measured number has
low = high, a ground check only one side or a band), and its distance to these bounds is
weighed by Huber's function (Huber 1964, Annals of Mathematical Statistics 35), so that no single
reading pulls harder than `HUBER` standard errors. The minimum is found by majorisation: each
distance is replaced by that to its own projection, which is a weighted ridge regression.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Weather
from readiness.season.codes import Tier
from readiness.season.inputs import Observation
from readiness.season.simulate import Season
from readiness.soil.trafficability import WaterLimits
from scheduler.farm.model import Farm
from scheduler.farm.working_time import farm_time, utc_hour
from scheduler.windows.model_inputs import open_loop

Array = NDArray[np.float64]
HUBER = 1.345  # standard errors; 95 % efficient for normal errors (Huber's usual constant)
STEPS = 200  # of the majorisation; assumed, it settles to 1e-6 in a few tens
SETTLED = 1e-7


@dataclass(frozen=True, kw_only=True)
class Prior:
    """How far offsets are believed to spread, and the error of one observation, one unit."""

    soil_sd: float
    own_sd: float
    error_sd: float


def offsets(
    field: NDArray[np.int64], low: Array, high: Array, weight: Array, soil: NDArray[np.int64],
    *, prior: Prior,
) -> Array:  # fmt: skip
    """Offset of every field, (field,).

    Parameters
    ----------
    field, low, high, weight : (observation,) field index, bounds of its offset, and the share of
        a whole observation it counts as (several on one day see one error).
    soil : (field,) soil group of every field.
    """
    groups = int(soil.max()) + 1 if soil.size else 0
    names = len(soil)
    design = np.zeros((len(field), groups + names))
    design[np.arange(len(field)), soil[field]] = 1.0
    design[np.arange(len(field)), groups + field] = 1.0
    ridge = np.diag([prior.soil_sd**-2] * groups + [prior.own_sd**-2] * names)
    beta: Array = np.zeros(groups + names)
    for _ in range(STEPS):
        now = design @ beta
        target = np.clip(now, low, high)
        away = np.abs(target - now) / prior.error_sd
        pull = weight * np.minimum(1.0, HUBER / np.maximum(away, 1e-12)) / prior.error_sd**2
        normal = ridge + design.T @ (pull[:, None] * design)
        fresh: Array = np.asarray(np.linalg.solve(normal, design.T @ (pull * target)))
        done = np.abs(fresh - beta).max(initial=0.0) < SETTLED
        beta = fresh
        if done:
            break
    return np.asarray(beta[soil] + beta[groups:], dtype=np.float64)


def standardised_residual(
    field: NDArray[np.int64], low: Array, high: Array, offset: Array, *, prior: Prior
) -> Array:
    """How far each observation lies outside of what its field's offset allows, standard errors."""
    now = offset[field]
    return np.asarray((np.clip(now, low, high) - now) / prior.error_sd, dtype=np.float64)


#: Percent points of grain; assumed, because equilibrium curves of varieties differ by about a
#: point, and the hourly model misses single samples by one or two.
GRAIN = Prior(soil_sd=0.5, own_sd=0.7, error_sd=1.5)


#: m³/m³ of the bearing limits; assumed, because published strength relations differ by a factor
#: of two, which is about 0.04 of water, and a ground check is one place in a field.
GROUND = Prior(soil_sd=0.02, own_sd=0.02, error_sd=0.04)


RIPENING_PCT = 25.0  # wetter grain may still be filling, which is no offset; assumed


FLAGGED = 2.5  # standard errors beyond which a reading is named; assumed


TOLD = {"grain_offset": 0.1, "bearing_offset": 0.002}  # smallest offsets worth a line; assumed


PRIORS = {"grain_offset": GRAIN, "bearing_offset": GROUND}


SEEN = {"grain_offset": "sample", "bearing_offset": "ground check"}


@dataclass(frozen=True, kw_only=True)
class CalibratedFarm:
    """The farm with its learnt offsets, and what to say of them."""

    farm: Farm
    lessons: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class OffsetInterval:
    """What one observation says of its field's offset: between `low` and `high`."""

    observation: Observation
    low: float
    high: float


def learn(
    farm: Farm, observations: Sequence[Observation], past: Weather, *, now: datetime
) -> CalibratedFarm:
    """Lasting offsets of grain and ground from all observations, before and after the last day.

    What was observed is set against the past run on weather alone, so that the same book always
    teaches the same.
    """
    if not observations:
        return CalibratedFarm(farm=farm, lessons=())
    seen = [o for o in observations if past.start <= o.time <= past.times[-1] + 1]
    season, limits = open_loop(farm, past)
    lessons: list[str] = []
    learnt: dict[str, Array] = {}
    for name, bounds in (
        ("grain_offset", grain_intervals(season, seen)),
        ("bearing_offset", ground_intervals(season, limits, seen)),
    ):
        yesterday = utc_hour(now) - np.timedelta64(24, "h")
        before = _offsets(farm, [b for b in bounds if b.observation.time < yesterday], name)
        learnt[name] = _offsets(farm, bounds, name)
        lessons += flags(farm, bounds, learnt[name], name)
        lessons += told(farm, bounds, before, learnt[name], name)
    fields = tuple(
        replace(f, calibration={**f.calibration, **{n: f.calibration.get(n, 0.0) + float(b[i])
                                                    for n, b in learnt.items() if b[i]}})
        for i, f in enumerate(farm.fields)
    )  # fmt: skip
    return CalibratedFarm(farm=replace(farm, fields=fields), lessons=tuple(lessons))


def _hour(season: Season, seen: Observation) -> int:
    """Index of the hour of an observation; that of the hour begun is the last known one."""
    last: int = season.moisture.shape[2] - 1
    return min(last, int((seen.time - season.start).astype(int)))


def grain_intervals(season: Season, seen: Sequence[Observation]) -> list[OffsetInterval]:
    """Samples of ripe grain against the run: the offset is the difference."""
    out = []
    for o in seen:
        said = float(season.moisture[0, o.field, _hour(season, o)])
        if o.kind == "moisture" and max(o.value, said) < RIPENING_PCT:  # False for NaN too
            out.append(OffsetInterval(observation=o, low=o.value - said, high=o.value - said))
    return out


def ground_intervals(
    season: Season, limits: WaterLimits, seen: Sequence[Observation]
) -> list[OffsetInterval]:
    """Ground checks against the run: how far the limits must shift for the tier that was seen."""
    out = []
    for o in seen:
        f, h = o.field, _hour(season, o)
        top, below = season.water_top[0, f, h], season.water_below[0, f, h]
        firm = float(max(top - limits.firm_top[f], below - limits.firm_below[f]))
        edge = float(max(top - limits.headland_top[f], below - limits.headland_below[f]))
        if o.kind != "tier" or not np.isfinite(firm + edge):
            continue
        low = {Tier.FIRM: firm, Tier.HEADLAND_ONLY: edge}.get(Tier(int(o.value)), -np.inf)
        high = {Tier.HEADLAND_ONLY: firm, Tier.SOFT: edge}.get(Tier(int(o.value)), np.inf)
        out.append(OffsetInterval(observation=o, low=min(low, high), high=max(low, high)))
    return out


def _offsets(farm: Farm, bounds: Sequence[OffsetInterval], name: str) -> Array:
    """Offsets of all fields; what was seen in one field on one day counts as one observation."""
    soils = [(f.texture or f"{f.sand:.1f} {f.clay:.1f}", f.drainage) for f in farm.fields]
    group = np.array([sorted(set(soils)).index(s) for s in soils])
    days = [(b.observation.field, b.observation.time.astype("datetime64[D]")) for b in bounds]
    return offsets(
        np.array([b.observation.field for b in bounds], dtype=np.int64),
        np.array([b.low for b in bounds]),
        np.array([b.high for b in bounds]),
        np.array([1.0 / days.count(d) for d in days]),
        group,
        prior=PRIORS[name],
    )


def flags(farm: Farm, bounds: Sequence[OffsetInterval], learnt: Array, name: str) -> list[str]:
    """Readings that do not fit: they count for little until another agrees."""
    if not bounds:
        return []
    field = np.array([b.observation.field for b in bounds], dtype=np.int64)
    low, high = (np.array([getattr(b, side) for b in bounds]) for side in ("low", "high"))
    away = standardised_residual(field, low, high, learnt, prior=PRIORS[name])
    out = []
    for b, by in zip(bounds, away, strict=True):
        if abs(by) > FLAGGED:
            o, f = b.observation, farm.fields[b.observation.field]
            when = farm_time(o.time, farm.tz)
            what = (
                f"the sample of {o.value:.1f} % is {abs(b.low):.1f} points "
                f"{'above' if b.low > 0 else 'below'} what the weather tells"
                if o.kind == "moisture"
                else f"the ground check ({Tier(int(o.value)).name.lower().replace('_', '-')}) is "
                "far from what the weather tells"
            )
            out.append(
                f"{f.name} ({f.id}), {when:%a %H:%M}: {what}; it counts little, take another"
            )
    return out


def told(
    farm: Farm, bounds: Sequence[OffsetInterval], before: Array, after: Array, name: str
) -> list[str]:
    """Offsets before and after the last day, field by field, and what neighbours share."""
    counts = Counter(b.observation.field for b in bounds)
    lines: list[str] = []
    shared: dict[str, list[str]] = {}
    for i, f in enumerate(farm.fields):
        if max(abs(after[i]), abs(before[i])) < TOLD[name]:
            continue
        if not counts[i]:
            shared.setdefault(_said(after[i], name), []).append(f.id)
            continue
        of = f"{counts[i]} {SEEN[name]}{'s' if counts[i] > 1 else ''}"
        earlier = _said(before[i], name) if abs(before[i]) >= TOLD[name] else "nothing"
        lines.append(
            f"{f.name} ({f.id}): {_said(after[i], name)}, from {of}; the day before: {earlier}"
        )
    lines += [f"By the same soil, {said}: {', '.join(ids)}" for said, ids in shared.items()]
    return lines


def _said(offset: float, name: str) -> str:
    """An offset in words."""
    if name == "grain_offset":
        way = "wetter" if offset > 0 else "drier"
        return f"grain {abs(offset):.1f} points {way} than the weather tells"
    way = "more" if offset > 0 else "less"
    return f"ground bears {100.0 * abs(offset):.1f} % {way} water than its texture tells"
