"""Grain moisture: equilibrium with the air, and the standing crop hour by hour.

The standing crop has two stores, after Bruck & van Elderen and Atzema 1998 (structure only):
water absorbed in the kernel (skin and core), which relaxes to equilibrium with the air or, under
free water, to a saturated value; and free water on the ear, filled by rain and dew and dried by
evaporation.
Moisture is percent dry basis (db) in the steps and percent wet basis (wb) at the edges.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from numba import njit

from readiness.atmosphere.weather import Array
from readiness.grain.crops import Crop, Isotherm
from readiness.grain.ear_microclimate import air_terms, ear_air

#: Isotherms hold between about 10 and 90 % and diverge towards 100 %: humidity is capped here.
HUMIDITY_RANGE = (5.0, 95.0)
#: They were measured between 0 and 50 °C.
TEMP_RANGE = (0.0, 50.0)
FORMS = {"henderson": 0, "chung-pfost": 1, "halsey": 2}

#: Share of a kernel's dry matter that makes its skin (bran, hull and outer endosperm); assumed,
#: with the exposures of `readiness.grain.crops`, to meet the published rates of `grain_checks`.
SKIN = 0.45
#: Moisture of grain long before maturity, percent wb (memory: about 70 % at the milk stage).
GREEN_MAX = 70.0
#: A wetting event: the core gains so many points above its lowest since the last event; the
#: next is armed once it falls by the second figure. Assumed, because a rain or a night and
#: morning of heavy dew should count (Ontario) and an ordinary dew should not: published falls of
#: test weight are one such step in three to five days.
WETTING_GAIN, WETTING_FALL = 0.7, 0.4
#: Dry hours undo wet ones at this rate in the clock of sprouting; assumed.
SPROUT_DRYING = 0.5


def wet_to_dry(moisture: Array) -> Array:
    """Percent dry basis from percent wet basis: 100 M / (100 - M)."""
    return np.asarray(100.0 * moisture / (100.0 - moisture), dtype=np.float64)


def dry_to_wet(moisture: Array) -> Array:
    """Percent wet basis from percent dry basis: 100 M / (100 + M)."""
    return np.asarray(100.0 * moisture / (100.0 + moisture), dtype=np.float64)


@njit(cache=True, nogil=True, error_model="numpy")
def equilibrium(form, a, b, c, temp, humidity):  # type: ignore[no-untyped-def]
    """Equilibrium moisture of one state of air, percent db; see `equilibrium_moisture`."""
    t = min(max(temp, TEMP_RANGE[0]), TEMP_RANGE[1])
    rh = min(max(humidity, HUMIDITY_RANGE[0]), HUMIDITY_RANGE[1]) / 100.0
    if form == 0:
        return math.exp(math.log(-math.log(1.0 - rh) / (a * (t + c))) / b)
    if form == 1:
        return 100.0 / b * math.log(-a / ((t + c) * math.log(rh)))
    return math.exp((a + b * t - math.log(-math.log(rh))) / c)


@njit(cache=True, nogil=True, error_model="numpy")
def _equilibrium_each(form, a, b, c, temp, humidity):  # type: ignore[no-untyped-def]
    out = np.empty(temp.size)
    for i in range(temp.size):
        if math.isnan(temp[i]) or math.isnan(humidity[i]):
            out[i] = math.nan
        else:
            out[i] = equilibrium(form, a, b, c, temp[i], humidity[i])
    return out


def equilibrium_moisture(temp: Array, humidity: Array, isotherm: Isotherm) -> Array:
    """Equilibrium moisture content, percent wet basis (ASAE D245.5 / D245.6).

    Modified Henderson  1 - RH = exp[-K (T + C) M^N];
    modified Chung-Pfost  RH = exp[-A / (T + C) exp(-B M)];
    modified Halsey  RH = exp[-exp(A + B T) M^-C].

    Parameters
    ----------
    temp, humidity : °C and percent, shapes that broadcast. Held to 0-50 °C and 5-95 %, beyond
        which the equations diverge. NaN gives NaN.
    isotherm : constants with their edition, from `readiness.grain.crops`.

    Notes
    -----
    Forms of the same grain differ by up to 0.8 point at 90 %; editions of barley by 2 points.
    """
    t, rh = np.broadcast_arrays(np.asarray(temp, float), np.asarray(humidity, float))
    i = isotherm
    flat = _equilibrium_each(FORMS[i.form], i.a, i.b, i.c, t.ravel(), rh.ravel())
    return dry_to_wet(flat.reshape(t.shape))


@njit(cache=True, nogil=True, error_model="numpy")
def share_gone(x):  # type: ignore[no-untyped-def]
    """1 - exp(-x) by its (1,2) Padé form, within 0.1 % up to x = 1; much faster than exp."""
    return x / (1.0 + x * (0.5 + x / 12.0))


def thin_layer_k(temp: Array, crop: Crop) -> Array:
    """Drying constant of ventilated single kernels, 1/h, at `temp` °C; standing ears are slower."""
    kelvin = np.asarray(temp, dtype=np.float64) + 273.15
    return np.asarray(3600.0 * crop.k0 * np.exp(-crop.activation / kelvin), dtype=np.float64)


@njit(cache=True, nogil=True, error_model="numpy")
def grain_step(  # type: ignore[no-untyped-def]
    skin, core, film, rain, evaporation, target, rate, uptake, inner, saturated, capacity, catch
):
    """One hour of the stores: (skin, core, film, wet share of the hour).

    The skin (bran and hull, `SKIN` of the dry matter) exchanges with the air or the film, the
    core with the skin; a sample is their mean. So a day's swing is wide and dry-down slow.

    Parameters
    ----------
    skin, core : absorbed water, percent db.
    film : free water on the ear, mm.
    rain, evaporation : mm in the hour; negative evaporation is dew.
    target : equilibrium with the air at the ear, percent db.
    rate, uptake, inner : share of the way gone in an hour, 1 - exp(-k): the skin drying or
        soaking, the skin taking up vapour, the core following the skin. More rain never leaves
        grain drier as long as uptake <= rate.
    saturated : percent db under free water.
    capacity, catch : of the ear, mm and share of rain.
    """
    water = min(film + catch * rain, capacity)
    left = min(max(water - evaporation, 0.0), capacity)
    if left > 0.0:
        wet = 1.0
    elif water > 0.0:
        wet = water / evaporation
    else:
        wet = 0.0
    if skin < saturated:
        skin += (saturated - skin) * rate * wet
    dry = 1.0 - wet
    target = min(target, saturated)  # equations of oilseeds pass it in cold damp air
    if target < skin:
        skin += (target - skin) * rate * dry
    else:
        skin += (target - skin) * uptake * dry
    moved = inner * (skin - core)
    return skin - (1.0 - SKIN) * moved, core + SKIN * moved, left, wet


@njit(cache=True, nogil=True, error_model="numpy")
def wetting_step(core, turn, armed):  # type: ignore[no-untyped-def]
    """Count wettings of ripe grain: (turning point, armed, 1.0 if an event was completed).

    `core` and `turn` percent db. Armed (1.0), `turn` is the lowest so far and the next rise
    counts; otherwise (0.0) it is the highest.
    """
    if armed > 0.0:
        turn = min(turn, core)
        if core - turn >= WETTING_GAIN:
            return core, 0.0, 1.0
        return turn, 1.0, 0.0
    turn = max(turn, core)
    if turn - core >= WETTING_FALL:
        return core, 1.0, 0.0
    return turn, 0.0, 0.0


@njit(cache=True, nogil=True, error_model="numpy")
def sprout_step(soak, sprout, wet, temp, hours, scale):  # type: ignore[no-untyped-def]
    """Sprouting of ripe grain in long warm wetness: (soak, sprouted fraction).

    `soak` is hours of free water weighted by warmth (none at 5 °C, one at 20 °C); dry hours take
    it back. Beyond `hours` the rest sprouts with the scale given; what has sprouted stays so.
    """
    warmth = min(max((temp - 5.0) / 15.0, 0.0), 1.2)
    soak = max(soak + wet * warmth - (1.0 - wet) * SPROUT_DRYING, 0.0)
    if soak > hours:
        sprout = max(sprout, 1.0 - math.exp(-(soak - hours) / scale))
    return soak, sprout


def standing_grain(weather: Mapping[str, Array], crop: Crop, *, start: float) -> dict[str, Array]:
    """Moisture of one ripe standing crop over hours, for checks and for showing the model.

    Parameters
    ----------
    weather : arrays (hour,): rain mm, temp °C, humidity percent, wind m/s, radiation W/m²; a
        clear sky is taken for net long wave.
    start : moisture before the first hour, percent wb.

    Returns
    -------
    dict of (hour,) arrays: moisture (percent wb), film (mm), wettings (count), sprout (fraction).
    """
    columns = (weather[n] for n in ("temp", "humidity", "wind", "radiation"))
    evaporation, temp, humidity = np.array(
        [ear_air(t, u, sun, *air_terms(t, rh, 1.0)) for t, rh, u, sun in zip(*columns, strict=True)]
    ).T
    target = wet_to_dry(equilibrium_moisture(temp, humidity, crop.isotherm))
    k = thin_layer_k(temp, crop)
    saturated = float(wet_to_dry(np.array(crop.saturated_moisture)))
    skin = core = turn = float(wet_to_dry(np.array(start)))
    film, soak, armed, count, sprout = 0.0, 0.0, 1.0, 0.0, 0.0
    rows = []
    for h in range(len(temp)):
        skin, core, film, wet = grain_step(
            skin, core, film, weather["rain"][h], evaporation[h], target[h],
            share_gone(crop.exposure * k[h]), share_gone(crop.vapour_exposure * k[h]),
            share_gone(crop.core_exposure * k[h]), saturated, crop.ear_capacity, crop.ear_catch,
        )  # fmt: skip
        turn, armed, event = wetting_step(core, turn, armed)
        count += event
        soak, sprout = sprout_step(soak, sprout, wet, temp[h], crop.sprout_hours, crop.sprout_scale)
        rows.append((SKIN * skin + (1.0 - SKIN) * core, film, count, sprout))
    m, film_mm, wettings, sprouted = np.array(rows).T
    return {"moisture": dry_to_wet(m), "film": film_mm, "wettings": wettings, "sprout": sprouted}
