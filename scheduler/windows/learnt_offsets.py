"""Learn lasting offsets of grain moisture, straw and bearing limits from readings.

Grain is learnt slowly, ground at once: a check that contradicts the model gives its field the tier
that was found, unless other checks contradict it.

Fields of one soil share part of their offset. The offset of field f on soil s is b_f = g_s + d_f,
with g_s ~ N(0, soil_sd²) and d_f ~ N(0, own_sd²). A reading bounds it, low <= b_f <= high: a
sample has low = high, a ground check or a start of cutting bounds one side or a band. For straw,
the crop stands in place of the soil. The distance to the bounds is weighed by Huber's function, so
that no reading pulls harder than `HUBER` standard errors. The minimum is found by majorisation:
each distance is replaced by the distance to its own projection, which leaves a weighted ridge
regression.

References
----------
Huber 1964, Robust estimation of a location parameter, Annals of Mathematical Statistics 35.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Weather
from readiness.season.codes import Reason, Tier
from readiness.season.inputs import GRAIN_KINDS, Observation
from readiness.season.simulate import Season
from readiness.soil.trafficability import WaterLimits
from scheduler.farm.model import Farm
from scheduler.farm.slots import farm_time, utc_hour
from scheduler.season_book.farm_state import CUTTING_KINDS
from scheduler.windows.lessons import Learnt, Lesson, OffsetChange, Outlier
from scheduler.windows.model_inputs import open_loop, straw_limit

Array = NDArray[np.float64]
HUBER = 1.345  # standard errors; 95 % efficient for normal errors (Huber's usual constant)
MAX_ITERATIONS = 200  # of the majorisation; assumed, it settles to 1e-6 in a few tens
SETTLED = 1e-7  # change of an offset, in its unit, below which the majorisation ends


@dataclass(frozen=True, kw_only=True)
class Prior:
    """Spread of offsets between soils and between fields, and error of one reading, one unit."""

    soil_sd: float
    own_sd: float
    error_sd: float


#: Percent points of grain; assumed, because equilibrium curves of varieties differ by about a
#: point, and the hourly model misses single samples by one or two.
GRAIN = Prior(soil_sd=0.5, own_sd=0.7, error_sd=1.5)
#: m³/m³ of the bearing limits; assumed, because published strength relations differ by a factor of
#: two, which is about 0.04 of water, most of it a matter of the field's own ground and machines. A
#: person who looks at the ground seldom takes a tier for another, so that one check suffices.
GROUND = Prior(soil_sd=0.02, own_sd=0.04, error_sd=0.008)
#: How far inside the tier that a check found its limits come to lie, m³/m³; assumed, a third of the
#: distance between the limits of carts and combines. Moves today's tier after a check.
INTO_TIER = 0.005
#: Percent of humidity of the straw; assumed, because crews and machines differ by about as much in
#: what they thresh, and a start may wait for other things than straw.
STRAW = Prior(soil_sd=6.0, own_sd=3.0, error_sd=6.0)
PRIORS = {Learnt.GRAIN: GRAIN, Learnt.STRAW: STRAW, Learnt.BEARING: GROUND}
#: Hours before a start of cutting in which a crew that waited for the straw alone found it too
#: tough; assumed, because it takes a crew an hour to notice and to begin.
START_MARGIN_H = 2
RIPENING_PCT = 25.0  # wetter grain may still be filling, which is no offset; assumed
OUTLIER_SD = 2.5  # standard errors beyond which a reading is an outlier; assumed
#: Smallest offsets that are reported, in their units; assumed.
REPORTED = {Learnt.GRAIN: 0.1, Learnt.STRAW: 1.0, Learnt.BEARING: 0.002}


@dataclass(frozen=True, kw_only=True)
class CalibratedFarm:
    """The farm with its learnt offsets, and the lessons behind them."""

    farm: Farm
    lessons: tuple[Lesson, ...]


@dataclass(frozen=True, kw_only=True)
class OffsetInterval:
    """Interval that one reading allows the offset of its field."""

    observation: Observation
    low: float
    high: float


def learn(
    farm: Farm, observations: Sequence[Observation], past: Weather, *, now: datetime
) -> CalibratedFarm:
    """Learn the lasting offsets of grain and ground from all observations.

    Observations are compared with the past simulated on weather alone, so that the same book
    always gives the same offsets. The lessons compare the offsets with those of a day before.
    """
    if not observations:
        return CalibratedFarm(farm=farm, lessons=())
    seen = [o for o in observations if past.start <= o.time <= past.stop]
    season, limits = open_loop(farm, past)
    yesterday = utc_hour(now) - np.timedelta64(24, "h")
    lessons: list[Lesson] = []
    offset: dict[Learnt, Array] = {}
    for learnt, intervals in (
        (Learnt.GRAIN, grain_intervals(season, seen)),
        (Learnt.STRAW, straw_intervals(farm, season, seen)),
        (Learnt.BEARING, ground_intervals(season, limits, seen)),
    ):
        earlier = [i for i in intervals if i.observation.time < yesterday]
        before = _field_offsets(farm, earlier, learnt)
        offset[learnt] = _field_offsets(farm, intervals, learnt)
        lessons += _outliers(farm, intervals, offset[learnt], learnt)
        lessons += _changes(farm, intervals, before, offset[learnt], learnt)
    return CalibratedFarm(farm=_calibrated(farm, offset), lessons=tuple(lessons))


def _calibrated(farm: Farm, offset: dict[Learnt, Array]) -> Farm:
    """The farm with the offsets, (field,), added to the calibration of its fields."""
    fields = []
    for i, field in enumerate(farm.fields):
        own = {
            learnt.value: field.calibration.get(learnt, 0.0) + float(by_field[i])
            for learnt, by_field in offset.items()
            if by_field[i]
        }
        fields.append(replace(field, calibration={**field.calibration, **own}))
    return replace(farm, fields=tuple(fields))


def grain_intervals(season: Season, seen: Sequence[Observation]) -> list[OffsetInterval]:
    """Samples of ripe grain: the offset is the difference to the simulated moisture.

    Grain found wetter than a moisture bounds the offset from below.
    """
    out = []
    for o in seen:
        modelled = float(season.moisture[0, o.field, _hour(season, o)])
        if o.kind in GRAIN_KINDS and max(o.value, modelled) < RIPENING_PCT:  # False for NaN too
            low = o.value - modelled
            high = low if o.kind == "moisture" else np.inf
            out.append(OffsetInterval(observation=o, low=low, high=high))
    return out


def ground_intervals(
    season: Season, limits: WaterLimits, seen: Sequence[Observation]
) -> list[OffsetInterval]:
    """Ground checks: the shift of the bearing limits that gives the tier that was seen.

    The limits come to lie `INTO_TIER` inside it, or in its middle where it is narrower.
    """
    out = []
    for o in seen:
        f, h = o.field, _hour(season, o)
        top, below = season.water_top[0, f, h], season.water_below[0, f, h]
        firm = float(max(top - limits.firm_top[f], below - limits.firm_below[f]))
        edge = float(max(top - limits.headland_top[f], below - limits.headland_below[f]))
        if o.kind != "tier" or not np.isfinite(firm + edge):
            continue
        tier = Tier(int(o.value))
        edge = min(edge, firm)  # without a cart no tier lies between the limits
        inside = min(INTO_TIER, 0.5 * (firm - edge)) if tier == Tier.HEADLAND_ONLY else INTO_TIER
        low = {Tier.FIRM: firm, Tier.HEADLAND_ONLY: edge}.get(tier, -np.inf) + inside
        high = {Tier.HEADLAND_ONLY: firm, Tier.SOFT: edge}.get(tier, np.inf) - inside
        out.append(OffsetInterval(observation=o, low=min(low, high), high=max(low, high)))
    return out


def straw_intervals(
    farm: Farm, season: Season, seen: Sequence[Observation]
) -> list[OffsetInterval]:
    """Hours of cutting: the shift of the straw's limit that lets a crew cut then, and not before.

    A field that was being cut had straw at or below the limit. A crew that began after hours in
    which straw alone kept it out found the straw of those hours too tough. Hours that dew, wet
    grain or ground close say nothing of straw.
    """
    threshed = (Reason.OPEN, Reason.STRAW)
    out = []
    for o in seen:
        if o.kind not in CUTTING_KINDS:
            continue
        field = farm.fields[o.field]
        limit = straw_limit(farm, field)
        h = _hour(season, o)
        early = h - START_MARGIN_H
        reason, straw = season.reason[0, o.field], season.straw[0, o.field] - limit
        if not np.isfinite(limit) or reason[h] not in threshed or not np.isfinite(straw[h]):
            continue
        low, high = float(straw[h]), np.inf
        if o.kind == "begun" and early >= 0 and reason[early] in threshed:
            high = max(low, float(straw[early]))
        out.append(OffsetInterval(observation=o, low=low, high=high))
    return out


def _hour(season: Season, seen: Observation) -> int:
    """Index of the hour of an observation; an observation of the hour begun is of the last one."""
    last: int = season.moisture.shape[2] - 1
    return min(last, int((seen.time - season.start).astype(int)))


def _field_offsets(farm: Farm, intervals: Sequence[OffsetInterval], learnt: Learnt) -> Array:
    """Offsets of all fields, (field,); the readings of one field on one day count as one."""
    soils = [(f.texture or f"{f.sand:.1f} {f.clay:.1f}", f.drainage) for f in farm.fields]
    if learnt is Learnt.STRAW:
        soils = [(f.crop, "") for f in farm.fields]
    distinct = sorted(set(soils))
    seen = [i.observation for i in intervals]
    days = [(o.field, o.time.astype("datetime64[D]")) for o in seen]
    return offsets(
        np.array([o.field for o in seen], dtype=np.int64),
        np.array([i.low for i in intervals]),
        np.array([i.high for i in intervals]),
        weight=np.array([1.0 / days.count(d) for d in days]),
        soil=np.array([distinct.index(s) for s in soils]),
        prior=PRIORS[learnt],
    )


def offsets(
    field: NDArray[np.int64],
    low: Array,
    high: Array,
    *,
    weight: Array,
    soil: NDArray[np.int64],
    prior: Prior,
) -> Array:
    """Most likely offset of every field, (field,).

    Parameters
    ----------
    field : (reading,), index of the field.
    low, high : (reading,), bounds of its offset.
    weight : (reading,), share of a whole reading that it counts as.
    soil : (field,), soil group of every field.
    """
    groups = int(soil.max()) + 1 if soil.size else 0
    count = len(soil)
    design = np.zeros((len(field), groups + count))
    design[np.arange(len(field)), soil[field]] = 1.0
    design[np.arange(len(field)), groups + field] = 1.0
    ridge = np.diag([prior.soil_sd**-2] * groups + [prior.own_sd**-2] * count)
    beta: Array = np.zeros(groups + count)
    for _ in range(MAX_ITERATIONS):
        fitted = design @ beta
        target = np.clip(fitted, low, high)
        distance = np.abs(target - fitted) / prior.error_sd
        pull = weight * np.minimum(1.0, HUBER / np.maximum(distance, 1e-12)) / prior.error_sd**2
        normal = ridge + design.T @ (pull[:, None] * design)
        solution: Array = np.asarray(np.linalg.solve(normal, design.T @ (pull * target)))
        settled = np.abs(solution - beta).max(initial=0.0) < SETTLED
        beta = solution
        if settled:
            break
    return np.asarray(beta[soil] + beta[groups:], dtype=np.float64)


def standardised_residual(
    field: NDArray[np.int64], low: Array, high: Array, offset: Array, *, prior: Prior
) -> Array:
    """Distance of each reading's bounds to the offset of its field, standard errors, (reading,)."""
    fitted = offset[field]
    return np.asarray((np.clip(fitted, low, high) - fitted) / prior.error_sd, dtype=np.float64)


def _outliers(
    farm: Farm, intervals: Sequence[OffsetInterval], offset: Array, learnt: Learnt
) -> list[Outlier]:
    """Readings that do not fit the offset of their field, (field,)."""
    if not intervals:
        return []
    residual = standardised_residual(
        np.array([i.observation.field for i in intervals], dtype=np.int64),
        np.array([i.low for i in intervals]),
        np.array([i.high for i in intervals]),
        offset,
        prior=PRIORS[learnt],
    )
    return [
        Outlier(
            learnt=learnt,
            field=farm.fields[interval.observation.field].id,
            time=farm_time(interval.observation.time, farm.tz),
            value=interval.observation.value,
            low=interval.low if np.isfinite(interval.low) else interval.high,
        )
        for interval, distance in zip(intervals, residual, strict=True)
        if abs(distance) > OUTLIER_SD
    ]


def _changes(
    farm: Farm,
    intervals: Sequence[OffsetInterval],
    before: Array,
    after: Array,
    learnt: Learnt,
) -> list[OffsetChange]:
    """Offsets of a day before and now, (field,), of the fields where they are large enough."""
    readings = Counter(i.observation.field for i in intervals)
    least = REPORTED[learnt]
    return [
        OffsetChange(
            learnt=learnt,
            field=field.id,
            readings=readings[i],
            before=float(before[i]) if abs(before[i]) >= least else None,
            after=float(after[i]),
        )
        for i, field in enumerate(farm.fields)
        if max(abs(after[i]), abs(before[i])) >= least
    ]
