"""The compiled pass: every member and field is a lane that walks the hours once."""

from __future__ import annotations

import math
from enum import IntEnum
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from readiness.grain import (
    GREEN_MAX,
    SKIN,
    ear_air,
    equilibrium,
    grain_step,
    sprout_step,
    wetting_step,
)
from readiness.soil import LAYERS, SAT, WP
from readiness.water import KCB_RIPE, frozen, water_step
from readiness.weather import Array

Int = NDArray[np.int64]
Code = NDArray[np.uint8]


class Tier(IntEnum):
    """What the ground bears."""

    SOFT = 0  # nothing may drive
    HEADLAND_ONLY = 1  # combines may cut, carts and trucks stay at the edge
    FIRM = 2  # everything
    UNKNOWN = 3


class Reason(IntEnum):
    """First binding cause that closes an hour, in the order in which causes are charged."""

    OPEN = 0
    UNKNOWN = 1  # weather missing: unknown is not dry
    GROUND = 2  # rain falling, or ground too soft
    APPROACH = 3  # the dirt road to the field is shut
    GRAIN = 4  # dew or rain on the ear, or grain too wet to thresh or to deliver
    GREEN = 5  # not ripe yet
    WIND = 6
    FIRE = 7
    LIGHTNING = 8
    HEAT = 9
    NIGHT = 10  # outside daylight, where the user asks for daylight only


#: Clear-sky radiation from which the sky's clearness is read, W/m²; assumed (sun above about
#: ten degrees; FAO-56 holds the ratio of the hours before sunset over the night).
CLEAR_LEAST = 130.0
#: Rain from which nobody cuts, mm in the hour; assumed: a drizzle that wets the ear counts there.
RAIN_STOP = 0.1
#: A gap in the weather of more hours than this may hide a soaking rain: it is taken for one, and
#: grain and ground stay unknown for the hours below after weather returns, or until they are
#: sampled or checked. Assumed: ears forget a soaking in about three days, ground in about ten.
GAP_MAX = 6
GRAIN_WAIT, GROUND_WAIT = 72.0, 240.0
#: Error of a run that nothing has corrected: grain 1.2 points (Atzema 1998: 1.1-1.2), water of
#: 0-15 cm 0.045 m³/m³ (assumed, as uncalibrated models reach against station records).
GRAIN_SD, WATER_SD = 1.2, 0.045
#: The same while ripening holds the grain moist; assumed: two days of ripening.
RIPENING_SD = 4.0
#: Hours in which the error grows back after a sample or check; assumed: two and twenty days.
GRAIN_MEMORY, WATER_MEMORY = 48.0, 480.0
#: A surprise beyond so many standard errors is damped to it and reported.
SURPRISE = 3.0
#: Least standard error of a ground check in water, m³/m³; assumed.
CHECK_SD = 0.005
#: Basal crop coefficient a month before maturity, and its fall until then in hours (FAO-56
#: Tables 11 and 17: mid 1.10, end 0.15, late stage 30 days).
KCB_GREEN, KCB_FALL = 1.10, 720.0
#: Share of 0-5 cm in the water of 0-15 cm.
TOP_SHARE = LAYERS[0] / (LAYERS[0] + LAYERS[1])
#: Columns of a lane's state, besides soil water. Grain: skin, core and turning point in percent db, film in mm, the
#: counts, then whether ripening matters, days it runs ahead, hours of gap and wait, variances.
SKIN_W, CORE_W, FILM, TURN, ARMED, WETTINGS, SOAK, SPROUT = range(8)
RIPENING, AHEAD, GAP, GRAIN_LEFT, GRAIN_VAR = range(8, 13)
GROUND_GAP, GROUND_LEFT, WATER_VAR = range(13, 16)
STATE = 16


class Air(NamedTuple):
    """Weather (member, site, hour) and what is common to it; SI. `clear` (site, hour) W/m²."""

    rain: Array
    temp: Array
    humidity: Array
    wind: Array
    radiation: Array
    eto: Array  # mm
    clear: Array
    closed: Code  # (member or 1, site or 1, hour or 1): first of wind, fire, heat, night, else 0


class CropTable(NamedTuple):
    """Constants by crop, (crop,)."""

    form: Int
    a: Array
    b: Array
    c: Array
    k0: Array
    activation: Array
    exposure: Array
    vapour_exposure: Array
    core_exposure: Array
    saturated: Array  # percent db
    capacity: Array
    catch: Array
    sprout_hours: Array
    sprout_scale: Array
    filling: Array
    drydown: Array


class Rows(NamedTuple):
    """What each field brings, (field,) in the order of `order`; limits in m³/m³."""

    order: Int  # fields sorted by site and crop
    site: Int
    crop: Int
    ripe: Array  # hours from the first hour; -inf where ripe from the start
    limit: Array  # percent wb
    mature: Array  # moisture at maturity, percent wb
    firm_top: Array
    firm_below: Array
    headland_top: Array
    headland_below: Array
    approach: Array  # inf where not dirt
    lightning: NDArray[np.bool_]  # (member or 1, field or 1, hour or 1)


class Seen(NamedTuple):
    """Observations sorted by field and hour."""

    first: Int  # (field + 1,) where each field's observations begin
    hour: Int
    kind: Int  # 0 moisture, 1 tier, 2 water
    value: Array
    sd: Array
    noise: Array  # (observation, member) in the observation's unit
    surprise: Array  # (observation, member) innovation in standard errors, filled


class Work(NamedTuple):
    """Room for one site and crop, (hour,): state of the air at the ear, and each hour's hold."""

    known: NDArray[np.bool_]
    evaporation: Array
    temp: Array
    humidity: Array
    target: Array
    rate: Array
    uptake: Array
    inner: Array
    held: Code


class Out(NamedTuple):
    """Arrays of a season to fill, (member, field, hour)."""

    water_top: Array
    water_below: Array
    moisture: Array
    film: Array
    tier: Code
    approach: Code
    reason: Code
    wettings: Array
    sprout: Array


@njit(cache=True, nogil=True)
def wet_basis(db: float) -> float:
    """Percent wet basis of percent dry basis."""
    return 100.0 * db / (100.0 + db)


@njit(cache=True, nogil=True)
def dry_basis(wb: float) -> float:
    """Percent dry basis of percent wet basis."""
    return 100.0 * wb / (100.0 - wb)


@njit(cache=True, nogil=True)
def tier_of(top, below, frozen, rows, f):  # type: ignore[no-untyped-def]
    """Tier of a field's ground; frozen ground bears everything."""
    if frozen or (top <= rows.firm_top[f] and below <= rows.firm_below[f]):
        return 2
    if top <= rows.headland_top[f] and below <= rows.headland_below[f]:
        return 1
    return 0


@njit(cache=True, nogil=True)
def blend(value, variance, seen, sd):  # type: ignore[no-untyped-def]
    """Kalman update of one number: (shift, variance after, surprise in standard errors)."""
    total = variance + sd * sd
    surprise = (seen - value) / math.sqrt(total)
    held = min(max(surprise, -SURPRISE), SURPRISE)
    gain = variance / total
    return gain * held * math.sqrt(total), (1.0 - gain) * variance, surprise


@njit(cache=True, nogil=True)
def reason_of(rain, tier, approach, held, lightning, closed):  # type: ignore[no-untyped-def]
    """First binding cause of an hour; `held` is the grain's, `closed` the weather's."""
    if held == 1 or tier == 3 or math.isnan(rain):
        return 1
    if rain >= RAIN_STOP or tier == 0:
        return 2
    if approach == 0:
        return 3
    if held > 0:
        return held
    if lightning and (closed == 0 or closed > 8):
        return 8
    return closed


@njit(cache=True, nogil=True)
def air_rows(air, m, s, work):  # type: ignore[no-untyped-def]
    """Fill what a site's weather means to an ear; NaN weather leaves `known` False."""
    ratio = 1.0  # of a clear sky, held over the night
    for h in range(work.known.size):
        t, rh, u = air.temp[m, s, h], air.humidity[m, s, h], air.wind[m, s, h]
        sun = air.radiation[m, s, h]
        work.known[h] = not math.isnan(t + rh + u + sun + air.rain[m, s, h])
        if work.known[h]:
            if air.clear[s, h] > CLEAR_LEAST:
                ratio = sun / air.clear[s, h]
            work.evaporation[h], work.temp[h], work.humidity[h] = ear_air(t, rh, u, sun, ratio)


@njit(cache=True, nogil=True)
def crop_rows(table, c, work):  # type: ignore[no-untyped-def]
    """Fill equilibrium and the hourly shares of the way to it for one crop."""
    for h in range(work.known.size):
        if work.known[h]:
            t = work.temp[h]
            work.target[h] = equilibrium(
                table.form[c], table.a[c], table.b[c], table.c[c], t, work.humidity[h]
            )
            k = 3600.0 * table.k0[c] * math.exp(-table.activation[c] / (t + 273.15))
            work.rate[h] = 1.0 - math.exp(-table.exposure[c] * k)
            work.uptake[h] = 1.0 - math.exp(-table.vapour_exposure[c] * k)
            work.inner[h] = 1.0 - math.exp(-table.core_exposure[c] * k)


@njit(cache=True, nogil=True)
def see_grain(st, i, m, f, hour, seen, rows, table):  # type: ignore[no-untyped-def]
    """Move a grain state by sample `i`; the curve of ripening then runs through it."""
    mean = wet_basis(SKIN * st[SKIN_W] + (1.0 - SKIN) * st[CORE_W])
    shift, st[GRAIN_VAR], seen.surprise[i, m] = blend(
        mean, st[GRAIN_VAR], seen.value[i] + seen.noise[i, m], seen.sd[i]
    )
    more = dry_basis(min(max(mean + shift, 1.0), GREEN_MAX)) - dry_basis(mean)
    st[SKIN_W] = max(st[SKIN_W] + more, 0.5)
    st[CORE_W] = max(st[CORE_W] + more, 0.5)
    st[TURN] = max(st[TURN] + more, 0.5)
    st[GRAIN_LEFT] = 0.0
    above = mean + shift - rows.mature[f]
    slope = table.filling[rows.crop[f]] if above > 0.0 else table.drydown[rows.crop[f]]
    st[AHEAD] = -above / slope - (hour - rows.ripe[f]) / 24.0


@njit(cache=True, nogil=True)
def ripening(days, mature, filling, drydown):  # type: ignore[no-untyped-def]
    """Moisture (percent db) that ripening itself holds the grain at, `days` after maturity."""
    slope = filling if days < 0.0 else drydown
    return dry_basis(min(max(mature - slope * days, 1.0), GREEN_MAX))


@njit(cache=True, nogil=True)
def grain_hours(first, stop, out, m, f, st, rain, temp, rows, table, work):  # type: ignore[no-untyped-def]
    """Walk the grain of one lane over some hours; `work.held` gets its reason (0 if fit)."""
    c = rows.crop[f]
    limit, saturated = dry_basis(rows.limit[f]), table.saturated[c]
    moisture, film_mm = out.moisture[m, f], out.film[m, f]
    wettings, sprouted = out.wettings[m, f], out.sprout[m, f]
    skin, core, film, turn, armed = st[SKIN_W], st[CORE_W], st[FILM], st[TURN], st[ARMED]
    count, soak, sprout = st[WETTINGS], st[SOAK], st[SPROUT]
    gap, left, variance = st[GAP], st[GRAIN_LEFT], st[GRAIN_VAR]
    # hours, from the first, at which the grain is ripe and ripening no longer matters
    ripe = rows.ripe[f] - 24.0 * st[AHEAD] if st[RIPENING] > 0.0 else -math.inf
    over = ripe + 24.0 * rows.mature[f] / table.drydown[c]
    for h in range(first, stop):
        if not work.known[h]:
            gap += 1.0
            if gap > GAP_MAX:  # taken for a soaking
                left, film, skin = GRAIN_WAIT, table.capacity[c], max(skin, saturated)
            moisture[h], film_mm[h], work.held[h] = math.nan, math.nan, 1
            wettings[h], sprouted[h] = count, sprout
            continue
        gap = 0.0
        before = SKIN * skin + (1.0 - SKIN) * core
        skin, core, film, wet = grain_step(
            skin, core, film, rain[h], work.evaporation[h], work.target[h], work.rate[h],
            work.uptake[h], work.inner[h], saturated, table.capacity[c], table.catch[c],
        )  # fmt: skip
        error = GRAIN_SD
        if h < over:
            least = ripening(
                (h + 1.0 - ripe) / 24.0, rows.mature[f], table.filling[c], table.drydown[c]
            )
            if core < 1.2 * least:  # ripening, not weather, decides
                error = RIPENING_SD
            skin, core = max(skin, least), max(core, least)
        variance += (error * error - variance) / GRAIN_MEMORY
        green = h + 1.0 < ripe
        if green:
            turn = core
        else:
            turn, armed, event = wetting_step(core, turn, armed)
            count += event
            if wet > 0.0 or soak > 0.0:
                soak, sprout = sprout_step(
                    soak, sprout, wet, temp[h], table.sprout_hours[c], table.sprout_scale[c]
                )
        wettings[h], sprouted[h] = count, sprout
        if left > 0.0:
            left -= 1.0
            moisture[h], film_mm[h], work.held[h] = math.nan, math.nan, 1
            continue
        mean = SKIN * skin + (1.0 - SKIN) * core
        moisture[h], film_mm[h] = wet_basis(mean), film
        if wet > 0.0:
            work.held[h] = 4
        elif green:
            work.held[h] = 5
        else:
            work.held[h] = 4 if max(before, mean) > limit else 0
    st[SKIN_W], st[CORE_W], st[FILM], st[TURN], st[ARMED] = skin, core, film, turn, armed
    st[WETTINGS], st[SOAK], st[SPROUT] = count, soak, sprout
    st[GAP], st[GRAIN_LEFT], st[GRAIN_VAR] = gap, left, variance


@njit(cache=True, nogil=True)
def grain_lane(out, m, f, st, air, rows, table, seen, work):  # type: ignore[no-untyped-def]
    """Walk the grain of one lane, samples at the start of their hours."""
    wm, s, at = min(m, air.rain.shape[0] - 1), rows.site[f], 0
    rain, temp = air.rain[wm, s], air.temp[wm, s]
    for i in range(seen.first[f], seen.first[f + 1]):
        if seen.kind[i] == 0:
            grain_hours(at, seen.hour[i], out, m, f, st, rain, temp, rows, table, work)
            at = seen.hour[i]
            see_grain(st, i, m, f, at, seen, rows, table)
    grain_hours(at, work.known.size, out, m, f, st, rain, temp, rows, table, work)


@njit(cache=True, nogil=True)
def ground_seen(top, below, tier, rows, f):  # type: ignore[no-untyped-def]
    """Water (top, below) that a ground check speaks for: the model's own where they agree."""
    half = 0.5 * (rows.headland_top[f] - rows.firm_top[f])
    if tier >= 2.0:
        return min(top, rows.firm_top[f] - half), min(below, rows.firm_below[f] - half)
    if tier < 1.0:
        if top > rows.headland_top[f] or below > rows.headland_below[f]:
            return top, below
        return rows.headland_top[f] + half, below
    below = min(below, rows.headland_below[f])
    if below > rows.firm_below[f]:
        return min(top, rows.headland_top[f]), below
    if top <= rows.firm_top[f]:
        return rows.firm_top[f] + half, below
    return min(top, rows.headland_top[f] - 0.1 * half), below


@njit(cache=True, nogil=True)
def see_ground(water, st, i, m, f, seen, rows, soil):  # type: ignore[no-untyped-def]
    """Move a ground state by observation `i`: a ground check or water of 0-15 cm."""
    top = TOP_SHARE * water[0] + (1.0 - TOP_SHARE) * water[1]
    to, below, sd = seen.value[i] + seen.noise[i, m], water[2], seen.sd[i]
    if seen.kind[i] == 1:
        sd = max(sd * (rows.headland_top[f] - rows.firm_top[f]), CHECK_SD)
        to, below = ground_seen(top, below, seen.value[i], rows, f)
        to += seen.noise[i, m] * sd / seen.sd[i] if to != top else 0.0
    shift, variance, seen.surprise[i, m] = blend(top, st[WATER_VAR], to, sd)
    least, most = 0.5 * soil[f, WP], soil[f, SAT]
    water[0] = min(max(water[0] + shift, least), most)
    water[1] = min(max(water[1] + shift, least), most)
    water[2] = min(max(below, least), most)
    st[WATER_VAR] = variance
    st[GROUND_LEFT] = 0.0


@njit(cache=True, nogil=True)
def ground_hours(first, stop, out, m, f, water, st, rain, temp, eto, rows, soil, known):  # type: ignore[no-untyped-def]
    """Walk the ground of one lane over some hours; unknown hours leave the state waiting."""
    top_mm, below_mm = out.water_top[m, f], out.water_below[m, f]
    tier, approach = out.tier[m, f], out.approach[m, f]
    gap, left, variance = st[GROUND_GAP], st[GROUND_LEFT], st[WATER_VAR]
    for h in range(first, stop):
        if known[h]:
            gap = 0.0
            green = min(max((rows.ripe[f] - h) / KCB_FALL, 0.0), 1.0)
            kcb = KCB_RIPE + (KCB_GREEN - KCB_RIPE) * green
            water_step(water, soil[f], rain[h], temp[h], eto[h], kcb)
            variance += (WATER_SD * WATER_SD - variance) / WATER_MEMORY
        else:
            gap += 1.0
            if gap > GAP_MAX:  # taken for a soaking
                left = GROUND_WAIT
                water[0] = water[1] = soil[f, SAT]
        if not known[h] or left > 0.0:
            top_mm[h], below_mm[h], tier[h], approach[h] = math.nan, math.nan, 3, 3
            if known[h]:
                left -= 1.0
            continue
        top = TOP_SHARE * water[0] + (1.0 - TOP_SHARE) * water[1]
        top_mm[h], below_mm[h] = top, water[2]
        hard = frozen(water)
        tier[h] = tier_of(top, water[2], hard, rows, f)
        approach[h] = 2 if hard or top <= rows.approach[f] else 0
    st[GROUND_GAP], st[GROUND_LEFT], st[WATER_VAR] = gap, left, variance


@njit(cache=True, nogil=True)
def ground_lane(out, m, f, water, st, air, rows, soil, seen, known):  # type: ignore[no-untyped-def]
    """Walk the ground of one lane, ground checks at the start of their hours."""
    wm, s, at = min(m, air.rain.shape[0] - 1), rows.site[f], 0
    rain, temp, eto = air.rain[wm, s], air.temp[wm, s], air.eto[wm, s]
    for i in range(seen.first[f], seen.first[f + 1]):
        if seen.kind[i] != 0:
            ground_hours(at, seen.hour[i], out, m, f, water, st, rain, temp, eto, rows, soil, known)
            at = seen.hour[i]
            see_ground(water, st, i, m, f, seen, rows, soil)
    ground_hours(at, known.size, out, m, f, water, st, rain, temp, eto, rows, soil, known)


@njit(cache=True, nogil=True)
def reason_lane(out, m, f, air, rows, held):  # type: ignore[no-untyped-def]
    """Fill the reasons of one lane from its ground, grain and weather."""
    s = rows.site[f]
    wm = m if air.rain.shape[0] > 1 else 0
    cm, cs = min(m, air.closed.shape[0] - 1), min(s, air.closed.shape[1] - 1)
    lm, lf = min(m, rows.lightning.shape[0] - 1), min(f, rows.lightning.shape[1] - 1)
    for h in range(held.size):
        out.reason[m, f, h] = reason_of(
            air.rain[wm, s, h],
            out.tier[m, f, h],
            out.approach[m, f, h],
            held[h],
            rows.lightning[lm, lf, min(h, rows.lightning.shape[2] - 1)],
            air.closed[cm, cs, min(h, air.closed.shape[2] - 1)],
        )


@njit(cache=True, nogil=True)
def walk(out, water, grain, air, rows, table, seen, soil):  # type: ignore[no-untyped-def]
    """Walk every lane; fills `out` and leaves `water` and `grain` at the end of the hours."""
    members, _, hours = out.moisture.shape
    work = Work(
        np.zeros(hours, np.bool_), np.zeros(hours), np.zeros(hours), np.zeros(hours),
        np.zeros(hours), np.zeros(hours), np.zeros(hours), np.zeros(hours),
        np.zeros(hours, np.uint8),
    )  # fmt: skip
    for m in range(members):
        wm = m if air.rain.shape[0] > 1 else 0
        site, crop = -1, -1
        for f in rows.order:
            if rows.site[f] != site:
                site, crop = rows.site[f], -1
                air_rows(air, wm, site, work)
            if rows.crop[f] != crop:
                crop = rows.crop[f]
                crop_rows(table, crop, work)
            ground_lane(out, m, f, water[m, f], grain[m, f], air, rows, soil, seen, work.known)
            grain_lane(out, m, f, grain[m, f], air, rows, table, seen, work)
            reason_lane(out, m, f, air, rows, work.held)
