"""Hourly soil water, ground, grain and windows for every member and field in one pass."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from readiness import lanes
from readiness.bearing import water_limits
from readiness.crops import CROPS, Crop
from readiness.et import weather_et
from readiness.grain import FORMS, GREEN_MAX, dry_to_wet, wet_to_dry
from readiness.hazards import (
    SUNRISE_ELEVATION,
    grassland_fire_index,
    heat_index,
    solar_elevation,
)
from readiness.lanes import Reason, Tier
from readiness.soil import Land
from readiness.weather import Array, Weather

__all__ = ["Limits", "Observation", "Reason", "Season", "Stand", "State", "Tier", "simulate"]

#: Share of a state's uncertainty that all fields of a member have in common; assumed, because
#: they share weather and model.
COMMON_SHARE = 0.5
#: Code of a dirt approach in `Limits.approach`, and the driest grain a state is spread to, percent.
DIRT, GRAIN_LEAST = 2, 2.0
#: Clear-sky radiation over the solar constant and the sine of the sun's height (FAO-56 eq. 37,
#: near sea level).
CLEAR_SKY = 0.75 * 1367.0
#: Kinds of `Observation` as the lanes know them.
KINDS = {"moisture": 0, "tier": 1, "water": 2}


@dataclass(frozen=True, kw_only=True)
class Season:
    """Result of a run, arrays (member, field, hour) on the hours of the weather given.

    Attributes
    ----------
    start : first hour, datetime64[h], UTC.
    water_top, water_below : volumetric water 0-15 cm and 15-30 cm, m³/m³.
    moisture : grain moisture, percent wet basis.
    film : free water on the ear, mm.
    tier : `Tier` codes, uint8.
    approach : `Tier` codes of the field's approach road, uint8 (FIRM where it is not dirt).
    reason : `Reason` codes, uint8; OPEN means the hour can be cut.
    wettings : wetting events of ripe grain so far, count.
    sprout : sprouted fraction of the grain so far, 0-1.
    surprises : (index of the observation, mean surprise in standard errors) of observations
        that were damped because they lay beyond `lanes.SURPRISE`.
    end : opaque state after the last hour, to continue from (see `simulate`).
    """

    start: np.datetime64
    water_top: Array
    water_below: Array
    moisture: Array
    film: Array
    tier: NDArray[np.uint8]
    approach: NDArray[np.uint8]
    reason: NDArray[np.uint8]
    wettings: Array
    sprout: Array
    surprises: tuple[tuple[int, float], ...] = ()
    end: object


@dataclass(frozen=True, kw_only=True)
class Observation:
    """Something seen in a field, which moves the state when the run passes its hour.

    `kind` is 'moisture' (grain, percent wet basis), 'tier' (a `Tier` code from a ground check)
    or 'water' (0-15 cm volumetric water, m³/m³); `sd` its standard error in the same unit.
    """

    field: int
    time: np.datetime64
    kind: str
    value: float
    sd: float


@dataclass(frozen=True, kw_only=True)
class Stand:
    """What stands on each field, arrays (field,).

    Attributes
    ----------
    crop : keys of `readiness.crops.CROPS`.
    ripe : datetime64[h], physiological maturity; NaT where taken as ripe from the start.
    moisture : grain moisture at maturity or at the first hour, percent wet basis; NaN for the
        crop's published value at maturity.
    limit : highest moisture at which the crop is threshed, percent wet basis.
    """

    crop: tuple[str, ...]
    ripe: NDArray[np.datetime64]
    moisture: Array
    limit: Array


@dataclass(frozen=True, kw_only=True)
class Limits:
    """What closes an hour besides ground and grain; None switches a rule off.

    Attributes
    ----------
    combine_t, cart_t : loaded weight of the heaviest combine and cart, tonnes.
    approach : (field,) 0 paved, 1 gravel, 2 dirt.
    wind_stop : m/s (gust). fire_stop : grassland fire index. heat_stop : heat index, °C.
    lightning : bool (member or 1, field, hour) or None, where a thunderstorm is expected.
    daylight_only : close the hours of night.
    """

    combine_t: float
    cart_t: float
    approach: NDArray[np.int64]
    wind_stop: float | None = None
    fire_stop: float | None = None
    heat_stop: float | None = None
    lightning: NDArray[np.bool_] | None = None
    daylight_only: bool = False


@dataclass(frozen=True, kw_only=True)
class State:
    """Where lanes stand after a run: water and grain, (member, field, column)."""

    water: Array
    grain: Array


def simulate(
    weather: Weather,
    land: Land,
    stand: Stand,
    limits: Limits,
    *,
    state: object = None,
    observations: Sequence[Observation] = (),
    seed: int = 0,
    site: NDArray[np.int64] | None = None,
    crops: Mapping[str, Crop] = CROPS,
) -> Season:
    """Run soil water, bearing, grain and the reasons of lost hours for every member and field.

    Parameters
    ----------
    weather : hourly, (member, site, hour).
    land, stand, limits : facts of each field.
    state : `Season.end` of a run that ended where this one begins, of one member or as many as
        the weather. One member's state is spread over more by its own uncertainty.
    observations : those within the hours of the weather move the state as the run passes them;
        members see them through noise of their own, so that they keep their spread.
    seed : of that noise and spread; the same seed gives the same season.
    site : (field,) site of the weather for each field; by default site i is field i, or the one
        site all share.
    crops : constants, for example with another isotherm.

    Notes
    -----
    Missing weather: an hour with any of rain, temperature, humidity, wind or radiation unknown
    is unknown, and the state waits. After more than `lanes.GAP_MAX` such hours a soaking is
    assumed and the grain stays unknown for 72 h and the ground for 240 h of weather, or until a
    sample or a check. Unknown hours are NaN, `Tier.UNKNOWN` and `Reason.UNKNOWN`: never workable.
    """
    fields, hours = len(stand.crop), weather.shape[2]
    have = state.grain.shape[0] if isinstance(state, State) else 1
    members = max(weather.shape[0], have, 1 if limits.lightning is None else len(limits.lightning))
    where = _sites(weather, fields, site)
    names = sorted(set(stand.crop))
    rows = _rows(weather, land, stand, limits, crops, where)
    grain = _fresh_grain(rows, stand, [crops[name] for name in stand.crop])
    fresh = State(water=land.start()[None], grain=grain[None])
    lane = _begin(state, fresh, land.saturation, members=members, seed=seed)
    seen, numbers = _seen(weather, observations, fields, members=members, seed=seed)
    out = lanes.Out(
        *(np.empty((members, fields, hours)) for _ in range(4)),
        *(np.empty((members, fields, hours), dtype=np.uint8) for _ in range(3)),
        *(np.empty((members, fields, hours)) for _ in range(2)),
    )
    lanes.walk(
        out,
        lane.water,
        lane.grain,
        _air(weather, land, limits, where),
        rows,
        _table([crops[name] for name in names]),
        seen,
        land.soil(),
    )
    return Season(
        start=weather.times[0], **out._asdict(), surprises=_surprises(seen, numbers), end=lane
    )


def _sites(weather: Weather, fields: int, site: NDArray[np.int64] | None) -> NDArray[np.int64]:
    sites = weather.shape[1]
    if site is not None:
        if len(site) != fields or np.min(site) < 0 or np.max(site) >= sites:
            raise ValueError(f"site must name one of {sites} sites for each of {fields} fields")
        return np.asarray(site, dtype=np.int64)
    if sites not in (1, fields):
        raise ValueError(f"weather has {sites} sites for {fields} fields; pass `site`")
    return np.arange(fields) if sites == fields else np.zeros(fields, dtype=np.int64)


def _table(crops: Sequence[Crop]) -> lanes.CropTable:
    def column(get: Callable[[Crop], float]) -> Array:
        return np.array([get(crop) for crop in crops], dtype=np.float64)

    return lanes.CropTable(
        form=np.array([FORMS[crop.isotherm.form] for crop in crops], dtype=np.int64),
        a=column(lambda c: c.isotherm.a),
        b=column(lambda c: c.isotherm.b),
        c=column(lambda c: c.isotherm.c),
        saturated=wet_to_dry(column(lambda c: c.saturated_moisture)),
        capacity=column(lambda c: c.ear_capacity),
        catch=column(lambda c: c.ear_catch),
        filling=column(lambda c: c.filling_rate),
        drydown=column(lambda c: c.drydown_rate),
        **{
            name: column(lambda c, n=name: getattr(c, n))
            for name in ("k0", "activation", "exposure", "vapour_exposure", "core_exposure",
                         "sprout_hours", "sprout_scale")
        },
    )  # fmt: skip


def _closed(weather: Weather, land: Land, limits: Limits, where: NDArray[np.int64]) -> lanes.Code:
    """First of wind, fire, heat and night in each hour of each site; 0 where none."""
    if (limits.wind_stop, limits.fire_stop, limits.heat_stop, limits.daylight_only) == (
        None, None, None, False,
    ):  # fmt: skip
        return np.zeros((1, 1, 1), dtype=np.uint8)
    closed = np.zeros(weather.shape, dtype=np.uint8)
    if limits.daylight_only:
        height = _sun(weather, land, where)
        closed[:, height <= SUNRISE_ELEVATION] = Reason.NIGHT
    if limits.heat_stop is not None:
        closed[heat_index(weather.temp, weather.humidity) >= limits.heat_stop] = Reason.HEAT
    if limits.fire_stop is not None:
        index = grassland_fire_index(weather.temp, weather.humidity, weather.wind)
        closed[index > limits.fire_stop] = Reason.FIRE
    if limits.wind_stop is not None:
        gust = np.fmax(weather.gust, weather.wind)
        closed[gust >= limits.wind_stop] = Reason.WIND
    return closed


def _sun(weather: Weather, land: Land, where: NDArray[np.int64]) -> Array:
    """Sun's elevation (site, hour) at the first field of each site."""
    at = _first_field(weather.shape[1], where)
    return solar_elevation(weather.times, land.latitude[at], land.longitude[at])


def _first_field(sites: int, where: NDArray[np.int64]) -> NDArray[np.int64]:
    """A field at each site (the first of all where a site has none)."""
    out = np.zeros(sites, dtype=np.int64)
    used, first = np.unique(where, return_index=True)
    out[used] = first
    return out


def _air(weather: Weather, land: Land, limits: Limits, where: NDArray[np.int64]) -> lanes.Air:
    height = np.radians(_sun(weather, land, where))
    names = ("rain", "temp", "humidity", "wind", "radiation")
    at = _first_field(weather.shape[1], where)
    return lanes.Air(
        *(np.ascontiguousarray(getattr(weather, name)) for name in names),
        eto=weather_et(weather, land.latitude[at], land.longitude[at], land.elevation_m[at]),
        clear=CLEAR_SKY * np.maximum(np.sin(height), 0.0),
        closed=_closed(weather, land, limits, where),
    )


def _rows(
    weather: Weather,
    land: Land,
    stand: Stand,
    limits: Limits,
    crops: Mapping[str, Crop],
    where: NDArray[np.int64],
) -> lanes.Rows:
    names = sorted(set(stand.crop))
    crop = np.array([names.index(name) for name in stand.crop], dtype=np.int64)
    hours = (stand.ripe.astype("datetime64[h]") - weather.times[0]).astype(np.float64)
    ripe = np.where(np.isnat(stand.ripe), -np.inf, hours)
    mature = np.array([crops[name].mature_moisture for name in stand.crop])
    bearing = water_limits(
        land.field_capacity,
        land.saturation,
        sand=land.sand,
        clay=land.clay,
        combine_t=limits.combine_t,
        cart_t=limits.cart_t,
        offset=land.bearing_offset,
    )
    lightning = limits.lightning
    return lanes.Rows(
        order=np.lexsort((crop, where)),
        site=where,
        crop=crop,
        ripe=ripe,
        limit=np.asarray(stand.limit, dtype=np.float64),
        mature=np.where((ripe > 0.0) & np.isfinite(stand.moisture), stand.moisture, mature),
        firm_top=bearing.firm_top,
        firm_below=bearing.firm_below,
        headland_top=bearing.headland_top,
        headland_below=bearing.headland_below,
        approach=np.where(limits.approach == DIRT, bearing.approach, np.inf),
        lightning=np.zeros((1, 1, 1), dtype=np.bool_)
        if lightning is None
        else np.ascontiguousarray(lightning),
    )


def _spread(rng: np.random.Generator, members: int, fields: int) -> Array:
    """Standard normal (member, field), partly common to the fields, without mean over members."""
    common = rng.standard_normal((members, 1))
    own = rng.standard_normal((members, fields))
    z = np.sqrt(COMMON_SHARE) * common + np.sqrt(1.0 - COMMON_SHARE) * own
    return np.asarray(z - z.mean(axis=0), dtype=np.float64)


def _fresh_grain(rows: lanes.Rows, stand: Stand, crops: Sequence[Crop]) -> Array:
    """Grain state of each field before the first hour, (field, column)."""
    given = np.isfinite(stand.moisture)
    ripening = np.isfinite(rows.ripe) & ~(given & (rows.ripe <= 0.0))
    start = np.where(given & (rows.ripe <= 0.0), stand.moisture, rows.mature)
    out = np.zeros((len(start), lanes.STATE))
    for f, crop in enumerate(crops):
        if ripening[f]:
            slope = crop.filling_rate if rows.ripe[f] > 0 else crop.drydown_rate
            held = rows.mature[f] + slope * rows.ripe[f] / 24.0
            start[f] = min(max(held, crop.base_moisture), GREEN_MAX)
    for column in (lanes.SKIN_W, lanes.CORE_W, lanes.TURN):
        out[:, column] = wet_to_dry(start)
    out[:, lanes.ARMED] = 1.0
    out[:, lanes.RIPENING] = ripening
    out[:, lanes.GRAIN_VAR] = np.where(ripening, lanes.RIPENING_SD, lanes.GRAIN_SD) ** 2
    out[:, lanes.WATER_VAR] = lanes.WATER_SD**2
    return out


def _seen(
    weather: Weather, observations: Sequence[Observation], fields: int, *, members: int, seed: int
) -> tuple[lanes.Seen, list[int]]:
    """Observations within the weather's hours with each member's noise, and their numbers."""
    inside = []
    for number, one in enumerate(observations):
        if one.kind not in KINDS:
            raise ValueError(f"observation kind {one.kind!r}: use one of {', '.join(KINDS)}")
        if not 0 <= one.field < fields:
            raise ValueError(f"observation of field {one.field}: there are {fields} fields")
        if not one.sd > 0:
            raise ValueError(f"observation sd must be > 0, got {one.sd}")
        hour = int((np.datetime64(one.time, "h") - weather.times[0]).astype(np.int64))
        if 0 <= hour < weather.shape[2]:
            inside.append((one.field, hour, number))
    inside.sort()
    picked = [observations[number] for _, _, number in inside]
    sd = np.array([one.sd for one in picked], dtype=np.float64)
    noise = np.zeros((len(picked), members))
    if members > 1:
        for i, (_, _, number) in enumerate(inside):
            draw = np.random.default_rng((seed, 1, number)).standard_normal(members)
            noise[i] = sd[i] * (draw - draw.mean())
    field = np.array([f for f, _, _ in inside], dtype=np.int64)
    seen = lanes.Seen(
        first=np.searchsorted(field, np.arange(fields + 1)).astype(np.int64),
        hour=np.array([h for _, h, _ in inside], dtype=np.int64),
        kind=np.array([KINDS[one.kind] for one in picked], dtype=np.int64),
        value=np.array([one.value for one in picked], dtype=np.float64),
        sd=sd,
        noise=noise,
        surprise=np.zeros((len(picked), members)),
    )
    return seen, [number for _, _, number in inside]


def _surprises(seen: lanes.Seen, numbers: Sequence[int]) -> tuple[tuple[int, float], ...]:
    mean = seen.surprise.mean(axis=1) if len(numbers) else np.zeros(0)
    big = np.flatnonzero(np.abs(mean) > lanes.SURPRISE)
    return tuple(sorted((numbers[i], float(mean[i])) for i in big))


def _begin(state: object, fresh: State, saturation: Array, *, members: int, seed: int) -> State:
    """Start of each lane: `state` or `fresh`, one member spread by its variances over many."""
    state = fresh if state is None else state
    if not isinstance(state, State):
        raise TypeError(f"state must be the `end` of a Season, got {type(state).__name__}")
    have, fields = state.grain.shape[:2]
    if fields != fresh.grain.shape[1]:
        raise ValueError(f"state has {fields} fields, this run {fresh.grain.shape[1]}")
    if have not in (1, members):
        raise ValueError(f"state has {have} members, this run {members}")
    water = np.repeat(state.water, members // have, axis=0)
    grain = np.repeat(state.grain, members // have, axis=0)
    if have == members:
        return State(water=water, grain=grain)
    rng = np.random.default_rng((seed, 0))
    points = _spread(rng, members, fields) * np.sqrt(grain[..., lanes.GRAIN_VAR])
    for column in (lanes.SKIN_W, lanes.CORE_W, lanes.TURN):
        wb = dry_to_wet(grain[..., column]) + points
        grain[..., column] = wet_to_dry(np.clip(wb, GRAIN_LEAST, GREEN_MAX))
    shift = _spread(rng, members, fields) * np.sqrt(grain[..., lanes.WATER_VAR])
    water[..., :2] = np.clip(water[..., :2] + shift[..., None], 0.02, saturation[None, :, None])
    return State(water=water, grain=grain)
