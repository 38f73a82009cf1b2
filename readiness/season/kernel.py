"""The compiled pass: every member and field is a lane that walks the hours once."""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from readiness.grain.ear_microclimate import (
    air_terms,
    cloudiness_of,
    ear_air,
    first_cloudiness,
    reference_et,
)
from readiness.grain.moisture import (
    GREEN_MAX,
    SKIN,
    equilibrium,
    grain_step,
    share_gone,
    sprout_step,
    wetting_step,
)
from readiness.soil.properties import BELOW, SAT, WP
from readiness.soil.properties import top_water as top_water_of
from readiness.soil.water_balance import KCB_RIPE, frozen, water_step

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

top_water = njit(nogil=True, error_model="numpy")(top_water_of)

# Columns and rows of the arrays below; plain arrays, because they compile much faster than
# records of arrays.
#: Results of a lane: values (row, hour) and codes (row, hour), as in `Season`.
WATER_TOP, WATER_BELOW, MOISTURE, FILM_MM, WETTED, SPROUTED, VALUES = range(7)
TIER, APPROACH, REASON, CODES = range(4)
#: State of a lane besides soil water. Grain: skin, core and turning point in percent db, film in
#: mm, the counts, whether ripening matters, days it runs ahead, hours of gap and wait, variance.
#: Ground: hours of gap and wait, variance. Then the cloudiness last told.
SKIN_W, CORE_W, FILM, TURN, ARMED, WETTINGS, SOAK, SPROUT = range(8)
RIPENING, AHEAD, GAP, GRAIN_LEFT, GRAIN_VAR = range(8, 13)
GROUND_GAP, GROUND_LEFT, WATER_VAR, CLOUDY, STATE = range(13, 18)
#: Facts of a field: hours to maturity from the first hour (-inf where ripe from the start),
#: moisture limit and moisture at maturity (percent wb), water limits (m³/m³).
RIPE, LIMIT, MATURE, FIRM_TOP, FIRM_BELOW, HEADLAND_TOP, HEADLAND_BELOW, DIRT, FACTS = range(9)
#: Constants of a crop, as in `Crop`; saturated in percent db.
FORM, A, B, C, K0, ACTIVATION, EXPOSURE, VAPOUR, CORE, SATURATED, CAPACITY, CATCH = range(12)
SPROUT_HOURS, SPROUT_SCALE, FILLING, DRYDOWN, CONSTANTS = range(12, 17)
#: An observation: hour, kind (0 moisture, 1 tier, 2 water), value and standard error.
HOUR, KIND, VALUE, SD = range(4)
#: What an hour of a site means to soil and grain; ET is NaN where the weather is unknown.
RAIN, TEMP, ETO, EVAPORATION, EAR_TEMP, EAR_RH, TARGET, RATE, UPTAKE, INNER, WORK = range(11)


@njit(nogil=True, error_model="numpy")
def wet_basis(db: float) -> float:
    """Percent wet basis of percent dry basis."""
    return 100.0 * db / (100.0 + db)


@njit(nogil=True, error_model="numpy")
def dry_basis(wb: float) -> float:
    """Percent dry basis of percent wet basis."""
    return 100.0 * wb / (100.0 - wb)


@njit(nogil=True, error_model="numpy")
def tier_of(top, below, hard, facts):  # type: ignore[no-untyped-def]
    """Tier of a field's ground; frozen ground bears everything."""
    if hard or (top <= facts[FIRM_TOP] and below <= facts[FIRM_BELOW]):
        return 2
    if top <= facts[HEADLAND_TOP] and below <= facts[HEADLAND_BELOW]:
        return 1
    return 0


@njit(nogil=True, error_model="numpy")
def blend(value, variance, seen, sd):  # type: ignore[no-untyped-def]
    """Kalman update of one number: (shift, variance after, surprise in standard errors)."""
    total = variance + sd * sd
    surprise = (seen - value) / math.sqrt(total)
    held = min(max(surprise, -SURPRISE), SURPRISE)
    gain = variance / total
    return gain * held * math.sqrt(total), (1.0 - gain) * variance, surprise


@njit(nogil=True, error_model="numpy")
def air_rows(rain, temp, humidity, wind, radiation, clear, gamma, cloudiness, work):  # type: ignore[no-untyped-def]
    """Fill what a site's weather means; returns the cloudiness, held while the sun is low."""
    if math.isnan(cloudiness):
        cloudiness = first_cloudiness(radiation, clear)
    for h in range(rain.size):
        t, rh, u, sun = temp[h], humidity[h], wind[h], radiation[h]
        work[RAIN, h], work[TEMP, h], work[ETO, h] = rain[h], t, math.nan
        if not math.isnan(t + rh + u + sun + rain[h]):
            if clear[h] > 0.0:
                cloudiness = cloudiness_of(sun, clear[h])
            es, ea, slope, lost = air_terms(t, rh, cloudiness)
            net = 0.0036 * (0.77 * sun - lost)
            work[ETO, h] = reference_et(t, u, net, es, ea, slope, gamma)
            work[EVAPORATION, h], work[EAR_TEMP, h], work[EAR_RH, h] = ear_air(
                t, u, sun, es, ea, slope, lost
            )
    return cloudiness


@njit(nogil=True, error_model="numpy")
def crop_rows(crop, work):  # type: ignore[no-untyped-def]
    """Fill equilibrium and the hourly shares of the way to it for one crop."""
    for h in range(work.shape[1]):
        if not math.isnan(work[ETO, h]):
            t = work[EAR_TEMP, h]
            work[TARGET, h] = equilibrium(crop[FORM], crop[A], crop[B], crop[C], t, work[EAR_RH, h])
            k = 3600.0 * crop[K0] * math.exp(-crop[ACTIVATION] / (t + 273.15))
            work[RATE, h] = share_gone(crop[EXPOSURE] * k)
            work[UPTAKE, h] = share_gone(crop[VAPOUR] * k)
            work[INNER, h] = share_gone(crop[CORE] * k)


@njit(nogil=True, error_model="numpy")
def see_grain(state, facts, crop, seen, noise):  # type: ignore[no-untyped-def]
    """Move a grain state by a sample; the curve of ripening then runs through it."""
    mean = wet_basis(SKIN * state[SKIN_W] + (1.0 - SKIN) * state[CORE_W])
    shift, state[GRAIN_VAR], surprise = blend(mean, state[GRAIN_VAR], seen[VALUE] + noise, seen[SD])
    more = dry_basis(min(max(mean + shift, 1.0), GREEN_MAX)) - dry_basis(mean)
    for column in (SKIN_W, CORE_W, TURN):
        state[column] = max(state[column] + more, 0.5)
    state[GRAIN_LEFT] = 0.0
    above = mean + shift - facts[MATURE]
    slope = crop[FILLING] if above > 0.0 else crop[DRYDOWN]
    state[AHEAD] = -above / slope - (seen[HOUR] - facts[RIPE]) / 24.0
    return surprise


@njit(nogil=True, error_model="numpy")
def ripening(days, facts, crop):  # type: ignore[no-untyped-def]
    """Moisture (percent db) that ripening itself holds the grain at, `days` after maturity."""
    slope = crop[FILLING] if days < 0.0 else crop[DRYDOWN]
    return dry_basis(min(max(facts[MATURE] - slope * days, 1.0), GREEN_MAX))


@njit(nogil=True, error_model="numpy")
def grain_hours(first, stop, values, held, state, facts, crop, work):  # type: ignore[no-untyped-def]
    """Walk grain over some hours; `held` gets its reason in each (0 if fit)."""
    limit, saturated = dry_basis(facts[LIMIT]), crop[SATURATED]
    skin, core, film, turn, armed = state[:5]
    count, soak, sprout = state[WETTINGS], state[SOAK], state[SPROUT]
    gap, left, variance = state[GAP], state[GRAIN_LEFT], state[GRAIN_VAR]
    # hours, from the first, at which grain is ripe and at which ripening no longer matters
    ripe = facts[RIPE] - 24.0 * state[AHEAD] if state[RIPENING] > 0.0 else -math.inf
    over = ripe + 24.0 * facts[MATURE] / crop[DRYDOWN]
    for h in range(first, stop):
        before = SKIN * skin + (1.0 - SKIN) * core
        known, wet = not math.isnan(work[ETO, h]), 0.0
        green = h + 1.0 < ripe
        if known:
            gap = 0.0
            skin, core, film, wet = grain_step(
                skin, core, film, work[RAIN, h], work[EVAPORATION, h], work[TARGET, h],
                work[RATE, h], work[UPTAKE, h], work[INNER, h], saturated, crop[CAPACITY],
                crop[CATCH],
            )  # fmt: skip
            error = GRAIN_SD
            if h < over:
                least = ripening((h + 1.0 - ripe) / 24.0, facts, crop)
                if core < 1.2 * least:  # ripening, not weather, decides
                    error = RIPENING_SD
                skin, core = max(skin, least), max(core, least)
            variance += (error * error - variance) / GRAIN_MEMORY
            if green:
                turn = core
            else:
                turn, armed, event = wetting_step(core, turn, armed)
                count += event
                if wet > 0.0 or soak > 0.0:
                    soak, sprout = sprout_step(
                        soak, sprout, wet, work[TEMP, h], crop[SPROUT_HOURS], crop[SPROUT_SCALE]
                    )
        else:
            gap += 1.0
            if gap > GAP_MAX:  # taken for a soaking
                left, film, skin = GRAIN_WAIT, crop[CAPACITY], max(skin, saturated)
        mean = SKIN * skin + (1.0 - SKIN) * core
        values[WETTED, h], values[SPROUTED, h] = count, sprout
        values[MOISTURE, h], values[FILM_MM, h] = wet_basis(mean), film
        if not known or left > 0.0:
            values[MOISTURE, h], values[FILM_MM, h], held[h] = math.nan, math.nan, 1
            left -= 1.0 if known else 0.0
        elif wet > 0.0:
            held[h] = 4
        elif green:
            held[h] = 5
        else:
            held[h] = 4 if max(before, mean) > limit else 0
    state[SKIN_W], state[CORE_W], state[FILM], state[TURN], state[ARMED] = (
        skin, core, film, turn, armed,
    )  # fmt: skip
    state[WETTINGS], state[SOAK], state[SPROUT] = count, soak, sprout
    state[GAP], state[GRAIN_LEFT], state[GRAIN_VAR] = gap, left, variance


@njit(nogil=True, error_model="numpy")
def ground_seen(top, below, tier, facts):  # type: ignore[no-untyped-def]
    """Water (top, below) that a ground check speaks for: the model's own where they agree."""
    half = 0.5 * (facts[HEADLAND_TOP] - facts[FIRM_TOP])
    if tier >= 2.0:
        return min(top, facts[FIRM_TOP] - half), min(below, facts[FIRM_BELOW] - half)
    if tier < 1.0:
        if top > facts[HEADLAND_TOP] or below > facts[HEADLAND_BELOW]:
            return top, below
        return facts[HEADLAND_TOP] + half, below
    below = min(below, facts[HEADLAND_BELOW])
    if below > facts[FIRM_BELOW]:
        return min(top, facts[HEADLAND_TOP]), below
    if top <= facts[FIRM_TOP]:
        return facts[FIRM_TOP] + half, below
    return min(top, facts[HEADLAND_TOP] - 0.1 * half), below


@njit(nogil=True, error_model="numpy")
def see_ground(water, state, facts, soil, seen, noise):  # type: ignore[no-untyped-def]
    """Move a ground state by a ground check or by water of 0-15 cm."""
    top = top_water(water[0], water[1])
    to, below, sd = seen[VALUE] + noise, water[BELOW], seen[SD]
    if seen[KIND] == 1.0:
        sd = max(sd * (facts[HEADLAND_TOP] - facts[FIRM_TOP]), CHECK_SD)
        to, below = ground_seen(top, below, seen[VALUE], facts)
        if to != top:
            to += noise * sd / seen[SD]
    shift, state[WATER_VAR], surprise = blend(top, state[WATER_VAR], to, sd)
    least, most = 0.5 * soil[WP], soil[SAT]
    water[0] = min(max(water[0] + shift, least), most)
    water[1] = min(max(water[1] + shift, least), most)
    water[BELOW] = min(max(below, least), most)
    state[GROUND_LEFT] = 0.0
    return surprise


@njit(nogil=True, error_model="numpy")
def ground_hours(first, stop, values, codes, water, state, facts, soil, work):  # type: ignore[no-untyped-def]
    """Walk the ground over some hours; unknown hours leave the state waiting."""
    gap, left, variance = state[GROUND_GAP], state[GROUND_LEFT], state[WATER_VAR]
    for h in range(first, stop):
        known = not math.isnan(work[ETO, h])
        if known:
            gap = 0.0
            green = min(max((facts[RIPE] - h) / KCB_FALL, 0.0), 1.0)
            kcb = KCB_RIPE + (KCB_GREEN - KCB_RIPE) * green
            water_step(water, soil, work[RAIN, h], work[TEMP, h], work[ETO, h], kcb)
            variance += (WATER_SD * WATER_SD - variance) / WATER_MEMORY
        else:
            gap += 1.0
            if gap > GAP_MAX:  # taken for a soaking
                left, water[0], water[1] = GROUND_WAIT, soil[SAT], soil[SAT]
        top = top_water(water[0], water[1])
        if known and left <= 0.0:
            hard = frozen(water)
            values[WATER_TOP, h], values[WATER_BELOW, h] = top, water[BELOW]
            codes[TIER, h] = tier_of(top, water[BELOW], hard, facts)
            codes[APPROACH, h] = 2 if hard or top <= facts[DIRT] else 0
        else:
            values[WATER_TOP, h], values[WATER_BELOW, h] = math.nan, math.nan
            codes[TIER, h], codes[APPROACH, h] = 3, 3
            left -= 1.0 if known else 0.0
    state[GROUND_GAP], state[GROUND_LEFT], state[WATER_VAR] = gap, left, variance


@njit(nogil=True, error_model="numpy")
def lane(values, codes, water, state, facts, crop, soil, seen, noise, surprise, work):  # type: ignore[no-untyped-def]
    """Walk one lane; observations move the state at the start of their hours."""
    at = int(0.0)  # 0 has a type of its own, for which the two below would be compiled once more
    for i in range(seen.shape[0] + 1):
        stop = int(seen[i, HOUR]) if i < seen.shape[0] else work.shape[1]
        ground_hours(at, stop, values, codes, water, state, facts, soil, work)
        grain_hours(at, stop, values, codes[REASON], state, facts, crop, work)
        at = stop
        if i < seen.shape[0]:
            if seen[i, KIND] == 0.0:
                surprise[i] = see_grain(state, facts, crop, seen[i], noise[i])
            else:
                surprise[i] = see_ground(water, state, facts, soil, seen[i], noise[i])


@njit(nogil=True, error_model="numpy")
def reason_of(rain, tier, approach, held, bolt, closed):  # type: ignore[no-untyped-def]
    """First binding cause of an hour; `held` is the grain's, `closed` the weather's."""
    if held == 1 or tier == 3:
        return 1
    if rain >= RAIN_STOP or tier == 0:
        return 2
    if approach == 0:
        return 3
    if held > 0:
        return held
    if bolt and (closed == 0 or closed > 8):
        return 8
    return closed


@njit(nogil=True, error_model="numpy")
def reason_lane(codes, work, closed, lightning):  # type: ignore[no-untyped-def]
    """Complete the reasons of one lane; `closed` and `lightning` hold one hour or all."""
    for h in range(work.shape[1]):
        codes[REASON, h] = reason_of(
            work[RAIN, h], codes[TIER, h], codes[APPROACH, h], codes[REASON, h],
            lightning[min(h, lightning.size - 1)], closed[min(h, closed.size - 1)],
        )  # fmt: skip


@njit(cache=True, nogil=True, error_model="numpy")
def walk(  # type: ignore[no-untyped-def]
    values, codes, water, state, rain, temp, humidity, wind, radiation, clear, gamma, closed,
    lightning, order, site, kind, facts, crops, soil, first, seen, noise, surprise,
):  # fmt: skip
    """Walk every lane; fills results and surprises, leaves water and state at the end.

    Parameters
    ----------
    values, codes : results (member, field, row, hour). water, state : (member, field, column).
    rain, temp, humidity, wind, radiation : (member or 1, site, hour), SI.
    clear : (site, hour) radiation of a clear sky, 0 while the sun is too low to tell. gamma :
        (site,) psychrometric constant, kPa/°C.
    closed, lightning : (member or 1, site | field or 1, hour or 1) reason of the weather besides
        lightning, 0 for none; lightning.
    order, site, kind : (field,) fields sorted by site and crop; site; row of `crops`.
    facts, crops, soil : (field, FACTS), (crop, CONSTANTS), `Land.soil_table`.
    first, seen, noise, surprise : (field + 1,) where each field's observations begin;
        (observation, 4); (member, observation) twice.
    """
    members, hours = values.shape[0], values.shape[3]
    work = np.empty((WORK, hours))
    for m in range(members):
        w, last, sown, cloudiness = min(m, rain.shape[0] - 1), -1, -1, math.nan
        for f in order:
            s, c = site[f], kind[f]
            if s != last:
                cloudiness = air_rows(
                    rain[w, s], temp[w, s], humidity[w, s], wind[w, s], radiation[w, s],
                    clear[s], gamma[s], state[m, f, CLOUDY], work,
                )  # fmt: skip
            if s != last or c != sown:
                crop_rows(crops[c], work)
            last, sown = s, c
            a, b = first[f], first[f + 1]
            lane(
                values[m, f], codes[m, f], water[m, f], state[m, f], facts[f], crops[c], soil[f],
                seen[a:b], noise[m, a:b], surprise[m, a:b], work,
            )  # fmt: skip
            reason_lane(
                codes[m, f], work,
                closed[min(m, closed.shape[0] - 1), min(s, closed.shape[1] - 1)],
                lightning[min(m, lightning.shape[0] - 1), min(f, lightning.shape[1] - 1)],
            )  # fmt: skip
            state[m, f, CLOUDY] = cloudiness
