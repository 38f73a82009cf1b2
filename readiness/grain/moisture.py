"""Grain moisture: equilibrium with the air, and the standing crop hour by hour.

The standing crop has two stores, after Bruck & van Elderen and Atzema 1998 (structure only). Water
absorbed in the kernel (skin and core) relaxes to equilibrium with the air or, under free water, to
a saturated value. Rain and dew fill the free water on the ear; evaporation dries it.
Moisture is percent dry basis (db) in the steps and percent wet basis (wb) at the edges.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import NamedTuple, TypeVar

import numpy as np
from numba import njit

from readiness.atmosphere.weather import Array
from readiness.grain.crops import Crop, Isotherm
from readiness.grain.ear_microclimate import air_terms, ear_air

#: Formulas for one number and for arrays; the kernel compiles the same source.
Number = TypeVar("Number", float, Array)

#: Range of the isotherms, percent relative humidity: they hold between about 10 and 90 % and
#: diverge towards 100 %. Humidity is clipped to it.
HUMIDITY_RANGE = (5.0, 95.0)
#: Temperatures between which the isotherms were measured, °C.
TEMP_RANGE = (0.0, 50.0)
#: Codes of the isotherms' forms in compiled code.
FORM_CODES = {"henderson": 0, "chung-pfost": 1, "halsey": 2}

#: Share of a kernel's dry matter in its skin (bran, hull and outer endosperm). Assumed, with the
#: exposures of `readiness.grain.crops`, to meet the published rates of `grain_checks`.
SKIN_SHARE = 0.45
#: Moisture of grain long before maturity, percent wb (memory: about 70 % at the milk stage).
GREEN_MAX = 70.0
#: A wetting event: the core gains this many points above its lowest value since the last event. The
#: next event can begin once the core falls by the second figure. Assumed, because a rain or a night
#: and morning of heavy dew should count (Ontario) and an ordinary dew should not: published falls
#: of test weight are one such step in three to five days.
WETTING_GAIN, WETTING_FALL = 0.7, 0.4
#: Wet hours of the sprouting clock that one dry hour takes back; assumed.
SPROUT_DRYING = 0.5


class KernelStores(NamedTuple):
    """Water of a standing ear: skin and core of the kernels, percent db; film on the ear, mm."""

    skin: float
    core: float
    film: float


class EarHour(NamedTuple):
    """One hour at the ear.

    Attributes
    ----------
    rain, evaporation : mm; negative evaporation is dew.
    equilibrium : moisture in equilibrium with the air at the ear, percent db.
    skin_share, uptake_share, core_share : shares 1 - exp(-k) of the way to equilibrium that an hour
        covers: skin drying or soaking, skin taking up vapour, core following the skin. More rain
        never leaves grain drier as long as uptake_share <= skin_share.
    """

    rain: float
    evaporation: float
    equilibrium: float
    skin_share: float
    uptake_share: float
    core_share: float


class Ear(NamedTuple):
    """Constants of an ear.

    `saturated` is the moisture under free water, percent db; `capacity` the film it holds, mm;
    `catch` the share of rain that it catches until it is full.
    """

    saturated: float
    capacity: float
    catch: float


def wet_to_dry(moisture: Number) -> Number:
    """Percent dry basis from percent wet basis."""
    return 100.0 * moisture / (100.0 - moisture)


def dry_to_wet(moisture: Number) -> Number:
    """Percent wet basis from percent dry basis."""
    return 100.0 * moisture / (100.0 + moisture)


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
    """Equilibrium moisture, percent db, of each hour; NaN where the air is unknown."""
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
    temp, humidity : °C and percent, shapes that broadcast. Clipped to 0-50 °C and 5-95 %, beyond
        which the equations diverge. NaN gives NaN.
    isotherm : constants with their edition, from `readiness.grain.crops`.

    Notes
    -----
    Forms of the same grain differ by up to 0.8 point at 90 %; editions of barley by 2 points.
    """
    t, rh = np.broadcast_arrays(np.asarray(temp, float), np.asarray(humidity, float))
    i = isotherm
    flat = _equilibrium_each(FORM_CODES[i.form], i.a, i.b, i.c, t.ravel(), rh.ravel())
    return np.asarray(dry_to_wet(flat).reshape(t.shape))


@njit(cache=True, nogil=True, error_model="numpy")
def relaxed_share(x):  # type: ignore[no-untyped-def]
    """1 - exp(-x) by its (1,2) Padé approximant: within 0.1 % up to x = 1, much faster than exp."""
    return x / (1.0 + x * (0.5 + x / 12.0))


def thin_layer_k(temp: Number, k0: float, activation: float) -> Number:
    """Drying constant of ventilated single kernels, 1/h; that of standing ears is a share of it.

    Parameters
    ----------
    temp : °C.
    k0, activation : of the crop, 1/s and K.
    """
    drying: Number = 3600.0 * k0 * np.exp(-activation / (temp + 273.15))
    return drying


@njit(cache=True, nogil=True, error_model="numpy")
def mean_moisture(skin, core):  # type: ignore[no-untyped-def]
    """Moisture of a sample, in the unit of `skin` and `core`: their mean by dry matter."""
    return SKIN_SHARE * skin + (1.0 - SKIN_SHARE) * core


@njit(cache=True, nogil=True, error_model="numpy")
def grain_step(stores, hour, ear):  # type: ignore[no-untyped-def]
    """Move the stores by an hour.

    The skin exchanges with the air or with the film, the core with the skin. The swing of a day is
    therefore wide and dry-down slow.

    Parameters
    ----------
    stores : KernelStores before the hour.
    hour : EarHour.
    ear : Ear.

    Returns
    -------
    stores : KernelStores after the hour.
    wet : share of the hour with free water on the ear, 0-1.
    """
    skin, core = stores.skin, stores.core
    water = min(stores.film + ear.catch * hour.rain, ear.capacity)
    film = min(max(water - hour.evaporation, 0.0), ear.capacity)
    if film > 0.0:
        wet = 1.0
    elif water > 0.0:
        wet = water / hour.evaporation
    else:
        wet = 0.0
    if skin < ear.saturated:
        skin += (ear.saturated - skin) * hour.skin_share * wet
    dry = 1.0 - wet
    # isotherms of oilseeds exceed the saturated value in cold damp air
    target = min(hour.equilibrium, ear.saturated)
    if target < skin:
        skin += (target - skin) * hour.skin_share * dry
    else:
        skin += (target - skin) * hour.uptake_share * dry
    moved = hour.core_share * (skin - core)
    after = KernelStores(skin - (1.0 - SKIN_SHARE) * moved, core + SKIN_SHARE * moved, film)
    return after, wet


@njit(cache=True, nogil=True, error_model="numpy")
def wetting_step(core, turn, armed):  # type: ignore[no-untyped-def]
    """Count the wetting events of ripe grain.

    Parameters
    ----------
    core : moisture of the core, percent db.
    turn : lowest moisture so far while armed, highest so far otherwise, percent db.
    armed : 1.0 where the next rise counts, 0.0 where a fall has to come first.

    Returns
    -------
    turn, armed : after the hour.
    event : 1.0 where an event is complete, else 0.0.
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
    """Sprouting of ripe grain in long warm wetness.

    Parameters
    ----------
    soak : hours of free water weighted by warmth (0 at 5 °C, 1 at 20 °C), less dry hours.
    sprout : sprouted fraction, which never falls.
    wet : share of the hour with free water.
    temp : °C.
    hours, scale : soak before sprouting begins, and soak in which 63 % of the rest then sprouts.

    Returns
    -------
    soak, sprout : after the hour.
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
    weather : arrays (hour,): rain mm, temp °C, humidity percent, wind m/s, radiation W/m². Net
        long-wave radiation is that of a clear sky.
    crop : constants of the crop.
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
    k = thin_layer_k(temp, crop.k0, crop.activation)
    ear = Ear(wet_to_dry(crop.saturated_moisture), crop.ear_capacity, crop.ear_catch)
    turn = wet_to_dry(start)
    stores = KernelStores(turn, turn, 0.0)
    soak, armed, count, sprout = 0.0, 1.0, 0.0, 0.0
    rows = []
    for h in range(len(temp)):
        hour = EarHour(
            float(weather["rain"][h]),
            float(evaporation[h]),
            float(target[h]),
            relaxed_share(crop.exposure * k[h]),
            relaxed_share(crop.vapour_exposure * k[h]),
            relaxed_share(crop.core_exposure * k[h]),
        )
        stores, wet = grain_step(stores, hour, ear)
        turn, armed, event = wetting_step(stores.core, turn, armed)
        count += event
        soak, sprout = sprout_step(soak, sprout, wet, temp[h], crop.sprout_hours, crop.sprout_scale)
        rows.append((mean_moisture(stores.skin, stores.core), stores.film, count, sprout))
    moisture, film, wettings, sprouted = np.array(rows).T
    return {
        "moisture": dry_to_wet(moisture),
        "film": film,
        "wettings": wettings,
        "sprout": sprouted,
    }
