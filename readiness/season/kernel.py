"""The compiled kernel: every member and field runs over the hours once.

Only `run_kernel` is cached, with its steps inside.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from readiness.atmosphere.solar import MJ_PER_H_PER_W
from readiness.grain.ear_microclimate import (
    ABSORBED,
    air_terms,
    cloudiness_of,
    ear_air,
    first_cloudiness,
    reference_et,
)
from readiness.season.codes import Reason, Tier
from readiness.season.grain_kernel import (
    fill_crop_hours,
    grain_hours,
    observe_grain,
    observe_quality,
)
from readiness.season.ground_kernel import ground_hours, observe_ground
from readiness.season.kernel_layout import (
    KIND_MOISTURE,
    KIND_WEIGHED,
    KIND_WETTER,
    Code,
    Hourly,
    Observed,
)

#: Rain from which nobody cuts, mm in the hour. Assumed: less rain counts once it wets the ear.
RAIN_STOP = 0.1
SOFT, UNKNOWN_TIER = int(Tier.SOFT), int(Tier.UNKNOWN)
UNKNOWN, GROUND, APPROACH = int(Reason.UNKNOWN), int(Reason.GROUND), int(Reason.APPROACH)
LIGHTNING = int(Reason.LIGHTNING)
_HOURLY_ROWS = len(Hourly)


@njit(nogil=True, error_model="numpy")
def fill_site_hours(sky, m, s, cloudiness, hourly):  # type: ignore[no-untyped-def]
    """Fill the rows of `Hourly` that depend on the weather of member `m` at site `s`.

    Returns the cloudiness of the last hour that measured it. Hours with a low sun keep the
    cloudiness before them.
    """
    rain, temp, humidity = sky.rain[m, s], sky.temp[m, s], sky.humidity[m, s]
    wind, radiation = sky.wind[m, s], sky.radiation[m, s]
    clear_sky, gamma = sky.clear_sky[s], sky.psychrometric[s]
    if math.isnan(cloudiness):
        cloudiness = first_cloudiness(radiation, clear_sky)
    for h in range(rain.size):
        t, rh, u, sun = temp[h], humidity[h], wind[h], radiation[h]
        hourly[Hourly.RAIN, h], hourly[Hourly.TEMP, h] = rain[h], t
        hourly[Hourly.HUMIDITY, h] = rh
        hourly[Hourly.ETO, h] = math.nan
        if not math.isnan(t + rh + u + sun + rain[h]):
            if clear_sky[h] > 0.0:
                cloudiness = cloudiness_of(sun, clear_sky[h])
            es, ea, slope, long_wave = air_terms(t, rh, cloudiness)
            net = MJ_PER_H_PER_W * (ABSORBED * sun - long_wave)
            hourly[Hourly.ETO, h] = reference_et(t, u, net, es, ea, slope, gamma)
            evaporation, ear_temp, ear_humidity = ear_air(t, u, sun, es, ea, slope, long_wave)
            hourly[Hourly.EVAPORATION, h] = evaporation
            hourly[Hourly.EAR_TEMP, h], hourly[Hourly.EAR_HUMIDITY, h] = ear_temp, ear_humidity
    return cloudiness


@njit(nogil=True, error_model="numpy")
def first_reason(rain, tier, approach, grain, lightning, closed):  # type: ignore[no-untyped-def]
    """First binding cause of an hour; `grain` and `closed` are those of grain and weather, or 0."""
    if grain == UNKNOWN or tier == UNKNOWN_TIER:
        return UNKNOWN
    if rain >= RAIN_STOP or tier == SOFT:
        return GROUND
    if approach == SOFT:
        return APPROACH
    if grain > 0:
        return grain
    if lightning and (closed == 0 or closed > LIGHTNING):
        return LIGHTNING
    return closed


@njit(nogil=True, error_model="numpy")
def complete_reasons(codes, hourly, closed, lightning):  # type: ignore[no-untyped-def]
    """Complete the reasons of one field; `closed` and `lightning` hold one hour or all."""
    for h in range(hourly.shape[1]):
        codes[Code.REASON, h] = first_reason(
            hourly[Hourly.RAIN, h],
            codes[Code.TIER, h],
            codes[Code.APPROACH, h],
            codes[Code.REASON, h],
            lightning[min(h, lightning.size - 1)],
            closed[min(h, closed.size - 1)],
        )


@njit(nogil=True, error_model="numpy")
def run_field(m, f, results, state, fields, observations, hourly):  # type: ignore[no-untyped-def]
    """Run member `m` of field `f`; observations move the state at the start of their hours."""
    values, codes = results.values[m, f], results.codes[m, f]
    water, ground, grain = state.water[m, f], state.ground[m, f], state.grain[m, f]
    soak = state.soak[m, f]
    facts, soil, crop = fields.facts[f], fields.soil[f], fields.crops[fields.crop[f]]
    first, last = observations.first[f], observations.first[f + 1]
    at = int(0.0)  # a literal 0 has a type of its own, for which numba compiles both loops again
    for i in range(first, last + 1):
        stop = int(observations.rows[i, Observed.HOUR]) if i < last else hourly.shape[1]
        ground_hours(at, stop, values, codes, water, ground, facts, soil, hourly)
        grain_hours(at, stop, values, codes[Code.REASON], grain, soak, facts, crop, hourly)
        at = stop
        if i < last:
            row, noise = observations.rows[i], observations.noise[m, i]
            if row[Observed.KIND] == KIND_MOISTURE or row[Observed.KIND] == KIND_WETTER:
                surprise = observe_grain(grain, facts, crop, row, noise)
            elif row[Observed.KIND] >= KIND_WEIGHED:
                surprise = observe_quality(grain, soak, crop, row)
            else:
                surprise = observe_ground(water, ground, facts, soil, row, noise)
            observations.surprise[m, i] = surprise


@njit(cache=True, nogil=True, error_model="numpy")
def run_kernel(results, state, sky, closures, fields, observations):  # type: ignore[no-untyped-def]
    """Run every member and field over the hours.

    Parameters
    ----------
    results : Results, filled.
    state : RunState before the first hour; holds the state after the last one in the end.
    sky : Sky.
    closures : Closures.
    fields : FieldTable.
    observations : Observations; their surprise is filled.
    """
    members, hours = results.values.shape[0], results.values.shape[3]
    closed, lightning = closures.reason, closures.lightning
    hourly = np.empty((_HOURLY_ROWS, hours))
    for m in range(members):
        weather_member = min(m, sky.rain.shape[0] - 1)
        last_site, last_crop, cloudiness = -1, -1, math.nan
        for f in fields.order:
            s, c = fields.site[f], fields.crop[f]
            if s != last_site:
                cloudiness = fill_site_hours(sky, weather_member, s, state.cloudiness[m, f], hourly)
            if s != last_site or c != last_crop:
                fill_crop_hours(fields.crops[c], hourly)
            last_site, last_crop = s, c
            run_field(m, f, results, state, fields, observations, hourly)
            complete_reasons(
                results.codes[m, f],
                hourly,
                closed[min(m, closed.shape[0] - 1), min(s, closed.shape[1] - 1)],
                lightning[min(m, lightning.shape[0] - 1), min(f, lightning.shape[1] - 1)],
            )
            state.cloudiness[m, f] = cloudiness
