"""Facts of farm and sky as the plain arrays that the compiled pass reads."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.air import psychrometric_constant
from readiness.atmosphere.evapotranspiration import LOW_SUN
from readiness.atmosphere.hazards import grassland_fire_index, heat_index
from readiness.atmosphere.solar import (
    MJ_PER_H_PER_W,
    clear_sky_by_elevation,
    daylight,
    extraterrestrial_hourly,
)
from readiness.atmosphere.weather import Array, Weather, day_and_hour
from readiness.grain.crops import Crop
from readiness.grain.moisture import FORMS, GREEN_MAX, dry_to_wet, wet_to_dry
from readiness.season import kernel as lanes
from readiness.season.codes import Reason
from readiness.season.inputs import Observation, OperatingLimits, Stand
from readiness.soil.properties import Land
from readiness.soil.trafficability import water_limits

Int = NDArray[np.int64]
#: Share of a state's uncertainty that all fields of a member have in common; assumed, because
#: they share weather and model.
COMMON_SHARE = 0.5
#: Code of a dirt approach in `Limits.approach`.
DIRT = 2
#: Driest grain (percent wb) and soil (m³/m³) that a state is spread to.
GRAIN_LEAST, WATER_LEAST = 2.0, 0.02
#: Kinds of `Observation` as the lanes know them.
KINDS = {"moisture": 0, "tier": 1, "water": 2}


@dataclass(frozen=True, kw_only=True)
class RunState:
    """Where lanes stand: soil water and the rest, (member, field, column)."""

    water: Array
    lane: Array

    def fields(self, rows: slice | Sequence[int]) -> RunState:
        """State of the fields in `rows`."""
        return RunState(water=self.water[:, rows], lane=self.lane[:, rows])


def site_of(sites: int, fields: int, site: Int | None) -> Int:
    """Site of each field: as given, one each, or one for all."""
    if site is not None:
        if len(site) != fields or np.min(site) < 0 or np.max(site) >= sites:
            raise ValueError(f"site must name one of {sites} sites for each of {fields} fields")
        return np.asarray(site, dtype=np.int64)
    if sites not in (1, fields):
        raise ValueError(f"weather has {sites} sites for {fields} fields; pass `site`")
    return np.arange(fields) if sites == fields else np.zeros(fields, dtype=np.int64)


def first_field(sites: int, where: Int) -> Int:
    """A field at each site (field 0 where a site has none)."""
    out = np.zeros(sites, dtype=np.int64)
    used, first = np.unique(where, return_index=True)
    out[used] = first
    return out


def sky(times: NDArray[np.datetime64], land: Land, at: Int) -> tuple[Array, Array]:
    """Clear-sky radiation (site, hour), W/m², 0 under a low sun; psychrometric constant (site,)."""
    day, hour = day_and_hour(times)
    lat, lon = land.latitude[at][:, None], land.longitude[at][:, None]
    outside, height = extraterrestrial_hourly(lat, lon, day, hour)
    clear = clear_sky_by_elevation(outside, land.elevation_m[at][:, None]) / MJ_PER_H_PER_W
    return np.where(height >= LOW_SUN, clear, 0.0), psychrometric_constant(land.elevation_m[at])


def closed_hours(
    weather: Weather, limits: OperatingLimits, land: Land, at: Int
) -> NDArray[np.uint8]:
    """First of wind, fire, heat and night in each hour of each site; 0 where none."""
    stops = (limits.wind_stop, limits.fire_stop, limits.heat_stop)
    if stops == (None, None, None) and not limits.daylight_only:
        return np.zeros((1, 1, 1), dtype=np.uint8)
    closed = np.zeros(weather.shape, dtype=np.uint8)
    if limits.daylight_only:
        day = daylight(weather.times, land.latitude[at], land.longitude[at])
        closed[:, ~day] = Reason.NIGHT
    if limits.heat_stop is not None:
        closed[heat_index(weather.temp, weather.humidity) >= limits.heat_stop] = Reason.HEAT
    if limits.fire_stop is not None:
        index = grassland_fire_index(weather.temp, weather.humidity, weather.wind)
        closed[index > limits.fire_stop] = Reason.FIRE
    if limits.wind_stop is not None:
        closed[np.fmax(weather.gust, weather.wind) >= limits.wind_stop] = Reason.WIND
    return closed


def crop_table(crops: Sequence[Crop]) -> Array:
    """Constants of each crop, (crop, lanes.CONSTANTS)."""
    out = np.empty((len(crops), lanes.CONSTANTS))
    for row, crop in zip(out, crops, strict=True):
        one = crop.isotherm
        row[lanes.FORM], row[lanes.A], row[lanes.B], row[lanes.C] = (
            FORMS[one.form], one.a, one.b, one.c,
        )  # fmt: skip
        row[lanes.K0], row[lanes.ACTIVATION] = crop.k0, crop.activation
        row[lanes.EXPOSURE], row[lanes.VAPOUR] = crop.exposure, crop.vapour_exposure
        row[lanes.CORE] = crop.core_exposure
        row[lanes.SATURATED] = wet_to_dry(np.array(crop.saturated_moisture))
        row[lanes.CAPACITY], row[lanes.CATCH] = crop.ear_capacity, crop.ear_catch
        row[lanes.SPROUT_HOURS], row[lanes.SPROUT_SCALE] = crop.sprout_hours, crop.sprout_scale
        row[lanes.FILLING], row[lanes.DRYDOWN] = crop.filling_rate, crop.drydown_rate
    return out


def field_table(
    start: np.datetime64,
    land: Land,
    stand: Stand,
    limits: OperatingLimits,
    crops: Mapping[str, Crop],
) -> Array:
    """Facts of each field, (field, lanes.FACTS)."""
    out = np.empty((len(stand.crop), lanes.FACTS))
    hours = (stand.ripe.astype("datetime64[h]") - start).astype(np.float64)
    ripe = np.where(np.isnat(stand.ripe), -np.inf, hours)
    mature = np.array([crops[name].mature_moisture for name in stand.crop])
    water = water_limits(
        land.field_capacity, land.saturation, sand=land.sand, clay=land.clay,
        combine_t=limits.combine_t, cart_t=limits.cart_t, offset=land.bearing_offset,
    )  # fmt: skip
    out[:, lanes.RIPE], out[:, lanes.LIMIT] = ripe, stand.limit
    own = (ripe > 0.0) & np.isfinite(stand.moisture)
    out[:, lanes.MATURE] = np.where(own, stand.moisture, mature)
    out[:, lanes.FIRM_TOP], out[:, lanes.FIRM_BELOW] = water.firm_top, water.firm_below
    out[:, lanes.HEADLAND_TOP] = water.headland_top
    out[:, lanes.HEADLAND_BELOW] = water.headland_below
    out[:, lanes.DIRT] = np.where(limits.approach == DIRT, water.approach, np.inf)
    return out


def fresh_state(table: Array, land: Land, stand: Stand, known: Mapping[str, Crop]) -> RunState:
    """State before the first hour when nothing is known of earlier ones, one member."""
    crops = [known[name] for name in stand.crop]
    ripe, mature = table[:, lanes.RIPE], table[:, lanes.MATURE]
    given = np.isfinite(stand.moisture) & (ripe <= 0.0)
    ripening = np.isfinite(ripe) & ~given
    slope = np.array(
        [c.filling_rate if r > 0 else c.drydown_rate for c, r in zip(crops, ripe, strict=True)]
    )
    least = np.array([crop.base_moisture for crop in crops])
    with np.errstate(invalid="ignore"):
        curve = np.clip(mature + slope * ripe / 24.0, least, GREEN_MAX)
    start = np.where(given, stand.moisture, np.where(ripening, curve, mature))
    out = np.zeros((1, len(start), lanes.STATE))
    for column in (lanes.SKIN_W, lanes.CORE_W, lanes.TURN):
        out[..., column] = wet_to_dry(start)
    moist = start > [crop.thresh_limit for crop in crops]
    out[..., lanes.ARMED] = 1.0
    out[..., lanes.RIPENING] = ripening
    out[..., lanes.GRAIN_VAR] = np.where(moist, lanes.RIPENING_SD, lanes.GRAIN_SD) ** 2
    out[..., lanes.WATER_VAR] = lanes.WATER_SD**2
    out[..., lanes.CLOUDY] = np.nan
    return RunState(water=land.initial_state()[None], lane=out)


def spread(rng: np.random.Generator, members: int, fields: int) -> Array:
    """Standard normal (member, field), partly common to the fields, without mean over members."""
    common = rng.standard_normal((members, 1))
    own = rng.standard_normal((members, fields))
    z = np.sqrt(COMMON_SHARE) * common + np.sqrt(1.0 - COMMON_SHARE) * own
    return np.asarray(z - z.mean(axis=0), dtype=np.float64)


def begin(
    state: object,
    table: Array,
    land: Land,
    stand: Stand,
    crops: Mapping[str, Crop],
    *,
    members: int,
    seed: int,
) -> RunState:
    """Start of each lane: `state` or a fresh one, one member spread by its variances over many."""
    state = fresh_state(table, land, stand, crops) if state is None else state
    if not isinstance(state, RunState):
        raise TypeError(f"state must be the `end` of a Season, got {type(state).__name__}")
    have, fields = state.lane.shape[:2]
    if fields != len(stand.crop):
        raise ValueError(f"state has {fields} fields, this run {len(stand.crop)}")
    if have not in (1, members):
        raise ValueError(f"state has {have} members, this run {members}")
    water = np.repeat(state.water, members // have, axis=0)
    lane = np.repeat(state.lane, members // have, axis=0)
    if have < members:
        rng = np.random.default_rng((seed, 0))
        points = spread(rng, members, fields) * np.sqrt(lane[..., lanes.GRAIN_VAR])
        for column in (lanes.SKIN_W, lanes.CORE_W, lanes.TURN):
            wb = dry_to_wet(lane[..., column]) + points
            lane[..., column] = wet_to_dry(np.clip(wb, GRAIN_LEAST, GREEN_MAX))
        shift = spread(rng, members, fields) * np.sqrt(lane[..., lanes.WATER_VAR])
        top = water[..., :2] + shift[..., None]
        water[..., :2] = np.clip(top, WATER_LEAST, land.saturation[None, :, None])
    return RunState(water=water, lane=lane)


def seen_table(
    observations: Sequence[Observation], start: np.datetime64, hours: int, *, fields: int
) -> tuple[Int, Array, list[int]]:
    """Observations within the hours: where each field's begin, rows of `lanes`, their numbers."""
    inside = []
    for number, one in enumerate(observations):
        if one.kind not in KINDS:
            raise ValueError(f"observation kind {one.kind!r}: use one of {', '.join(KINDS)}")
        if not 0 <= one.field < fields:
            raise ValueError(f"observation of field {one.field}: there are {fields} fields")
        if not one.sd > 0:
            raise ValueError(f"observation sd must be > 0, got {one.sd}")
        hour = int((np.asarray(one.time).astype("datetime64[h]") - start).astype(np.int64))
        if 0 <= hour < hours:
            inside.append((one.field, hour, number))
    inside.sort()
    picked = [observations[number] for _, _, number in inside]
    rows = [(h, KINDS[o.kind], o.value, o.sd) for (_, h, _), o in zip(inside, picked, strict=True)]
    field = np.array([f for f, _, _ in inside], dtype=np.int64)
    first = np.searchsorted(field, np.arange(fields + 1)).astype(np.int64)
    table = np.array(rows, dtype=np.float64).reshape(len(rows), 4)
    return first, table, [number for _, _, number in inside]


def noise_of(rows: Array, numbers: Sequence[int], *, members: int, seed: int) -> Array:
    """Each member's own noise on each observation, (member, observation), without mean."""
    out = np.zeros((members, len(numbers)))
    if members > 1:
        for i, number in enumerate(numbers):
            draw = np.random.default_rng((seed, 1, number)).standard_normal(members)
            out[:, i] = rows[i, lanes.SD] * (draw - draw.mean())
    return out


def surprises_of(surprise: Array, numbers: Sequence[int]) -> tuple[tuple[int, float], ...]:
    """Observations whose mean surprise over members was damped: (number, standard errors)."""
    mean = surprise.mean(axis=0)
    big = np.flatnonzero(np.abs(mean) > lanes.SURPRISE)
    return tuple(sorted((numbers[int(i)], float(mean[i])) for i in big))
