"""Weather, fields and observations as the arrays that the compiled kernel reads."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import NamedTuple

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
from readiness.grain.moisture import FORM_CODES, wet_to_dry
from readiness.season.codes import Reason
from readiness.season.inputs import Observation, OperatingLimits, Stand
from readiness.season.kernel_layout import (
    KIND_MOISTURE,
    KIND_SPROUT_HIGH,
    KIND_SPROUT_LOW,
    KIND_TIER,
    KIND_WATER,
    KIND_WEIGHED,
    KIND_WETTER,
    Closures,
    CropFact,
    FieldFact,
    FieldTable,
    Int,
    Observations,
    Observed,
    Sky,
)
from readiness.season.random_streams import Draws, keyed_normal
from readiness.season.uncertainty import MAX_SURPRISE
from readiness.soil.land import Land
from readiness.soil.trafficability import land_limits

#: Code of a dirt approach in `OperatingLimits.approach`.
DIRT = 2
#: Codes of the kinds of `Observation` in the kernel.
KINDS = {
    "moisture": KIND_MOISTURE,
    "tier": KIND_TIER,
    "water": KIND_WATER,
    "wetter": KIND_WETTER,
    "weighed": KIND_WEIGHED,
    "sprout at least": KIND_SPROUT_LOW,
    "sprout at most": KIND_SPROUT_HIGH,
}
#: A lodged crop dries more slowly and holds more water, by these shares where all of it lies.
#: Assumed, because lodged wheat traps damp air and dries late (Kansas State 2025). They decide how
#: much later a lodged field opens.
LODGED_DRYING, LODGED_HOLDING = 0.4, 0.5
#: Speed of drying and free water of a swath over those of a standing crop. Assumed, because swaths
#: are wetter and dry more slowly after rain, with lower falling numbers from 49 mm on (Mares, in
#: Pre-Harvest Sprouting in Cereals, abstract read). They decide which of the two comes first.
SWATH_DRYING, SWATH_HOLDING = 0.6, 1.5


def site_of_fields(sites: int, fields: int, site: Int | None) -> Int:
    """Site of each field: `site` where given, else one site each, or one site for all.

    Raises
    ------
    ValueError
        Where `site` names another number of fields or a site that does not exist, or where neither
        default applies.
    """
    if site is not None:
        if len(site) != fields or np.min(site) < 0 or np.max(site) >= sites:
            raise ValueError(f"site must name one of {sites} sites for each of {fields} fields")
        return np.asarray(site, dtype=np.int64)
    if sites not in (1, fields):
        raise ValueError(f"weather has {sites} sites for {fields} fields; pass `site`")
    return np.arange(fields) if sites == fields else np.zeros(fields, dtype=np.int64)


def field_at_sites(sites: int, site: Int) -> Int:
    """A field at each site, (site,); field 0 where a site has none."""
    out = np.zeros(sites, dtype=np.int64)
    used, first = np.unique(site, return_index=True)
    out[used] = first
    return out


def sky(weather: Weather, land: Land, site: Int) -> Sky:
    """Weather with the radiation of a clear sky and the psychrometric constant of each site."""
    at = field_at_sites(weather.shape[1], site)
    day, hour = day_and_hour(weather.times)
    lat, lon = land.latitude[at][:, None], land.longitude[at][:, None]
    outside, height = extraterrestrial_hourly(lat, lon, day, hour)
    clear = clear_sky_by_elevation(outside, land.elevation_m[at][:, None]) / MJ_PER_H_PER_W
    return Sky(
        rain=np.ascontiguousarray(weather.rain),
        temp=np.ascontiguousarray(weather.temp),
        humidity=np.ascontiguousarray(weather.humidity),
        wind=np.ascontiguousarray(weather.wind),
        radiation=np.ascontiguousarray(weather.radiation),
        clear_sky=np.where(height >= LOW_SUN, clear, 0.0),
        psychrometric=psychrometric_constant(land.elevation_m[at]),
    )


def weather_reasons(
    weather: Weather, limits: OperatingLimits, land: Land, at: Int
) -> NDArray[np.uint8]:
    """First of wind, fire, heat and night in each hour of each site; 0 where none closes it."""
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


def closures(weather: Weather, limits: OperatingLimits, land: Land, site: Int) -> Closures:
    """Hours closed by wind, fire, heat, night and lightning."""
    lightning = limits.lightning
    if lightning is None:
        lightning = np.zeros((1, 1, 1), dtype=np.bool_)
    return Closures(
        reason=weather_reasons(weather, limits, land, field_at_sites(weather.shape[1], site)),
        lightning=np.ascontiguousarray(lightning),
    )


def crop_table(crops: Sequence[Crop]) -> Array:
    """Constants of each crop, (crop, `CropFact`)."""
    out = np.empty((len(crops), len(CropFact)))
    for row, crop in zip(out, crops, strict=True):
        isotherm = crop.isotherm
        row[CropFact.FORM] = FORM_CODES[isotherm.form]
        row[CropFact.A], row[CropFact.B], row[CropFact.C] = isotherm.a, isotherm.b, isotherm.c
        row[CropFact.K0], row[CropFact.ACTIVATION] = crop.k0, crop.activation
        row[CropFact.EXPOSURE] = crop.exposure
        row[CropFact.VAPOUR_EXPOSURE] = crop.vapour_exposure
        row[CropFact.CORE_EXPOSURE] = crop.core_exposure
        row[CropFact.SATURATED] = wet_to_dry(crop.saturated_moisture)
        row[CropFact.EAR_CAPACITY], row[CropFact.EAR_CATCH] = crop.ear_capacity, crop.ear_catch
        row[CropFact.IMBIBITION] = crop.imbibition
        row[CropFact.SPROUT_WATER] = crop.sprout_water
        row[CropFact.SPROUT_SCALE] = crop.sprout_scale
        row[CropFact.FILLING_RATE] = crop.filling_rate
    return out


def field_facts(
    start: np.datetime64,
    land: Land,
    stand: Stand,
    limits: OperatingLimits,
    crops: Mapping[str, Crop],
) -> Array:
    """Facts of each field, (field, `FieldFact`)."""
    own = [crops[name] for name in stand.crop]
    mature = np.array([crop.mature_moisture for crop in own])
    out = np.empty((len(stand.crop), len(FieldFact)))
    hours = (stand.ripe.astype("datetime64[h]") - start).astype(np.float64)
    ripe = np.where(np.isnat(stand.ripe), -np.inf, hours)
    water = land_limits(land, combine=limits.combine, cart=limits.cart, truck=limits.truck)
    out[:, FieldFact.RIPE], out[:, FieldFact.LIMIT] = ripe, stand.limit
    told = (ripe > 0.0) & np.isfinite(stand.moisture)
    out[:, FieldFact.MATURE] = np.where(told, stand.moisture, mature)
    out[:, FieldFact.FIRM_TOP], out[:, FieldFact.FIRM_BELOW] = water.firm_top, water.firm_below
    out[:, FieldFact.HEADLAND_TOP] = water.headland_top
    out[:, FieldFact.HEADLAND_BELOW] = water.headland_below
    out[:, FieldFact.APPROACH] = np.where(limits.approach == DIRT, water.approach, np.inf)
    dormancy = _given(stand.dormancy_days, [crop.dormancy_days for crop in own])
    out[:, FieldFact.DORMANCY] = 24.0 * dormancy
    out[:, FieldFact.STRAW_LIMIT] = _given(stand.straw_limit, [crop.straw_limit for crop in own])
    lodged = _given(stand.lodged, [0.0] * len(own))
    swathed = np.zeros(len(own), np.bool_) if stand.swathed is None else stand.swathed
    out[:, FieldFact.DRYING] = np.where(swathed, SWATH_DRYING, 1.0 - LODGED_DRYING * lodged)
    out[:, FieldFact.HOLDING] = np.where(swathed, SWATH_HOLDING, 1.0 + LODGED_HOLDING * lodged)
    drydown = [crop.drydown_rate for crop in own]
    out[:, FieldFact.DRYDOWN] = np.where(swathed, np.inf, drydown)
    return out


def _given(values: Array | None, usual: Sequence[float]) -> Array:
    """Values of the fields; the usual ones where none is given."""
    if values is None:
        return np.array(usual, dtype=np.float64)
    return np.where(np.isnan(values), usual, values)


def field_table(
    start: np.datetime64,
    land: Land,
    stand: Stand,
    limits: OperatingLimits,
    *,
    site: Int,
    crops: Mapping[str, Crop],
) -> FieldTable:
    """Facts of the fields, sorted by site and crop so that both are prepared once in a row."""
    names = sorted(set(stand.crop))
    crop = np.array([names.index(name) for name in stand.crop], dtype=np.int64)
    return FieldTable(
        order=np.lexsort((crop, site)),
        site=site,
        crop=crop,
        facts=field_facts(start, land, stand, limits, crops),
        soil=land.soil_table(),
        crops=crop_table([crops[name] for name in names]),
    )


class _Dated(NamedTuple):
    """An observation within the hours of a run; they sort by field, hour and content."""

    field: int
    hour: int
    kind: int
    value: float
    sd: float
    number: int


def observation_table(
    observations: Sequence[Observation],
    start: np.datetime64,
    hours: int,
    *,
    stream: Int,
    members: int,
    seed: int,
) -> tuple[Observations, list[int]]:
    """Observations within the hours, in the order of fields and hours, and their numbers.

    Parameters
    ----------
    stream : (field,), key of each field's own draws.

    Raises
    ------
    ValueError
        Where an observation is of an unknown kind or field, or its standard error is not positive.
    """
    fields = len(stream)
    inside = []
    for number, o in enumerate(observations):
        if o.kind not in KINDS:
            raise ValueError(f"observation kind {o.kind!r}: use one of {', '.join(KINDS)}")
        if not 0 <= o.field < fields:
            raise ValueError(f"observation of field {o.field}: there are {fields} fields")
        if not o.sd > 0:
            raise ValueError(f"observation sd must be > 0, got {o.sd}")
        hour = int((np.asarray(o.time).astype("datetime64[h]") - start).astype(np.int64))
        if 0 <= hour < hours:
            inside.append(_Dated(o.field, hour, KINDS[o.kind], o.value, o.sd, number))
    inside.sort()
    rows = np.empty((len(inside), len(Observed)))
    for row, dated in zip(rows, inside, strict=True):
        row[Observed.HOUR], row[Observed.KIND] = dated.hour, dated.kind
        row[Observed.VALUE], row[Observed.SD] = dated.value, dated.sd
    noise = _observation_noise(inside, start, stream, members=members, seed=seed)
    field = np.array([dated.field for dated in inside], dtype=np.int64)
    table = Observations(
        first=np.searchsorted(field, np.arange(fields + 1)).astype(np.int64),
        rows=rows,
        noise=noise,
        surprise=np.zeros_like(noise),
    )
    return table, [dated.number for dated in inside]


def _observation_noise(
    inside: Sequence[_Dated], start: np.datetime64, stream: Int, *, members: int, seed: int
) -> Array:
    """Each member's own noise on each observation, (member, observation), less its mean.

    The key of an observation is its field, hour and kind, and how many of them come before it.
    """
    if members == 1 or not inside:
        return np.zeros((members, len(inside)))
    first_hour = int(np.asarray(start).astype("datetime64[h]").astype(np.int64))
    seen: Counter[tuple[int, int, int]] = Counter()
    keys = []
    for dated in inside:
        key = (int(stream[dated.field]), first_hour + dated.hour, dated.kind)
        keys.append((*key, seen[key]))
        seen[key] += 1
    draws = keyed_normal(Draws.OBSERVATION, keys, members, seed=seed)
    noise = np.array([[dated.sd] for dated in inside]) * (draws - draws.mean(axis=1)[:, None])
    return np.ascontiguousarray(noise.T)


def clipped_surprises(surprise: Array, numbers: Sequence[int]) -> tuple[tuple[int, float], ...]:
    """Observations whose mean surprise over members was clipped: (number, standard errors)."""
    mean = surprise.mean(axis=0)
    large = np.flatnonzero(np.abs(mean) > MAX_SURPRISE)
    return tuple(sorted((numbers[int(i)], float(mean[i])) for i in large))
