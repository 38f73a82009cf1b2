"""Grain moisture: equilibrium with the air, and the standing crop hour by hour.

The standing crop has two stores, after Bruck & van Elderen and Atzema 1998 (structure only). Water
absorbed in the kernel (skin and core) relaxes to equilibrium with the air or, under free water, to
a saturated value, no faster than the ear's free water feeds it. Rain and dew fill the free water on
the ear; evaporation dries it. A third store holds the dampness of the straw.
Moisture is percent dry basis (db) in the steps and percent wet basis (wb) at the edges.

References
----------
Bauer & Black 1983, Sprouting in intact mature spikes of hard red spring wheat, Agronomy Journal
75:1016-1022 (abstract read).
Bair, Meyer & Allen 2006, A hydrothermal after-ripening time model for Bromus tectorum, Seed Science
Research 16:17-28 (abstract read).
Wellington 1956, Studies on the germination of cereals, Annals of Botany 20:105 (abstract read).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from statistics import NormalDist
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
FORM_CODES = {"henderson": 0, "chung-pfost": 1, "halsey": 2, "oswin": 3}

#: Share of a kernel's dry matter in its skin (bran, hull and outer endosperm). Assumed, with the
#: exposures of `readiness.grain.crops`, to meet the published rates of `grain_events`.
SKIN_SHARE = 0.45
#: Fastest filling of the ear's free water by rain, mm/h. Bauer & Black 1983: a misted spike gains
#: 10 g/kg a minute; times 0.5 kg/m² of spikes (4 t/ha of grain, 80 % of the spike). It decides how
#: long a shower keeps the ear wet.
EAR_FILL = 0.3
#: Speed at which the core follows the skin in an ear full of water, in times of its speed in a
#: drying kernel. Assumed, because water moves faster in wet starch, so that 20 % of misted kernels
#: sprout within 28 h (Bauer & Black 1983). It decides when sprouting begins in a wet spell.
CORE_SOAKING = 3.0
#: Moisture from which starch is soft and water moves faster between skin and core, and the rise of
#: moisture that adds the speed of a hard kernel once more, percent db. The first is about 18 % wb,
#: near which wheat starch softens at 20 °C (memory); the second is assumed, so that soaked grain
#: threshes on the second fine day after a day of rain (common practice, no source).
CORE_SOFT = (22.0, 1.5)
#: Exponent of the film's share of `ear_capacity` in the uptake of a kernel. Bauer & Black 1983: the
#: uptake varies with the water of the spike. The exponent is assumed, because a thin dew raises
#: grain by up to 4 points overnight (Lu & Siebenmorgen 1994). It decides how late dewy fields open.
FILM_EXPONENT = 0.3
#: Moisture of grain long before maturity, percent wb (memory: about 70 % at the milk stage).
GREEN_MAX = 70.0
#: A wetting event: the core gains this many points above its lowest value since the last event. The
#: next event can begin once the core falls by the second figure. Assumed, because a rain or a night
#: and morning of heavy dew should count (Ontario) and an ordinary dew should not: published falls
#: of test weight are one such step in three to five days.
WETTING_GAIN, WETTING_FALL = 0.4, 0.25
#: Grain ripens out of its dormancy fully at or below the first moisture, percent db, and not above
#: the second. Bauer & Black 1983: no sprouting until grain had dried to about 120 g/kg for at
#: least two days. Bair, Meyer & Allen 2006: seed of a grass did not after-ripen at -40 MPa, air of
#: 75 % humidity at 25 °C, with which hard wheat holds 18 % db. In between a straight line, assumed.
#: Wellington 1956, Nature 178:601: barley stays dormant for longer after a humid ripening. They
#: decide whether rain soon after ripeness sprouts anything.
AFTER_RIPENING = (12.0, 18.0)
#: Classes of equally many kernels by length of dormancy. Assumed: with ten, a day more or less of
#: dry weather moves about a tenth of a lot.
DORMANCY_CLASSES = 10
#: Standard deviation of the dormancy of a lot's kernels over its mean. Wellington 1956: of a red
#: wheat 7 % of the grains could germinate in the ear at ripeness and 83 % after five weeks; a
#: normal distribution of 21 d with 14 d meets both. Assumed to hold for every crop and variety. It
#: decides how much of a field an early wet spell can sprout.
DORMANCY_SPREAD = -1.0 / NormalDist().inv_cdf(0.07)
#: Dormancy of each class over that of the lot.
DORMANCY_SHARES = tuple(
    max(1.0 + DORMANCY_SPREAD * NormalDist().inv_cdf((i + 0.5) / DORMANCY_CLASSES), 0.0)
    for i in range(DORMANCY_CLASSES)
)
#: Dry hours that every kernel of a dormant lot needs. Bauer & Black 1983: two days or more.
DORMANCY_LEAST = 48.0
#: Core moisture above a crop's lowest for sprouting at which all kernels can sprout, points db.
#: Bauer & Black 1983: 450 to 490 g/kg. In between, a share of the kernels can.
SPROUT_RANGE = 4.0
#: Exponent of the sprouted share over time. With `Crop.sprout_scale` it meets 20 % of misted
#: kernels within 28 h and 90 % within 8 days (Bauer & Black 1983).
SPROUT_SHAPE = 0.65
#: Temperatures at which sprouting stands still and at which the published times hold, °C. Assumed,
#: because wheat hardly germinates below 4-5 °C (memory) and chambers are kept near 20 °C. They
#: decide whether a cool wet spell sprouts anything.
SPROUT_TEMP = (5.0, 20.0)
#: Straw that is wetted tends to this humidity, percent: above 100, because free water has to go
#: before straw dries. Assumed: two more hours after the ear is dry.
STRAW_WET = 130.0
#: Share of the way to the humidity of the air, or to `STRAW_WET`, that straw goes in an hour.
#: Assumed, because thin straw follows the air within an hour or two. It decides the first open hour
#: of a morning.
STRAW_SHARE = 0.6


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
    `catch` the share of rain that it catches, up to `EAR_FILL`, until it is full; `imbibition` the
    fastest uptake of a kernel in a full film, points db an hour.
    """

    saturated: float
    capacity: float
    catch: float
    imbibition: float


class Germination(NamedTuple):
    """Constants of sprouting.

    `dormancy` is the dry time that ends the dormancy of half the kernels, h; `water` the core
    moisture from which kernels sprout, percent db; `scale` the time at such moisture and 20 °C in
    which 63 % of those without dormancy sprout, h.
    """

    dormancy: float
    water: float
    scale: float


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
    if form == 3:
        return (a + b * t) * math.exp(math.log(rh / (1.0 - rh)) / c)
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
    modified Halsey  RH = exp[-exp(A + B T) M^-C];
    modified Oswin  M = (A + B T) (RH / (1 - RH))^(1/C).

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
    therefore wide and dry-down slow. A fuller film feeds the skin faster.

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
    water = min(stores.film + min(ear.catch * hour.rain, EAR_FILL), ear.capacity)
    film = min(max(water - hour.evaporation, 0.0), ear.capacity)
    if film > 0.0:
        wet = 1.0
    elif water > 0.0:
        wet = water / hour.evaporation
    else:
        wet = 0.0
    # isotherms of oilseeds exceed the saturated value in cold damp air
    target = min(hour.equilibrium, ear.saturated)
    share = hour.skin_share if target < skin else hour.uptake_share
    vapour = (target - skin) * share
    core_share = hour.core_share
    if wet > 0.0:
        full = min(0.5 * (water + film) / ear.capacity, 1.0)
        most = ear.imbibition * full**FILM_EXPONENT / SKIN_SHARE
        fed = min((ear.saturated - skin) * hour.skin_share, most)
        skin += wet * max(fed, vapour, 0.0) + (1.0 - wet) * vapour
        if skin > core:
            core_share *= 1.0 + (CORE_SOAKING - 1.0) * wet * full
    else:
        skin += vapour
    soft = max(max(skin, core) - CORE_SOFT[0], 0.0) / CORE_SOFT[1]
    moved = min(core_share * (1.0 + soft), 1.0) * (skin - core)
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
def straw_step(straw, wet, humidity):  # type: ignore[no-untyped-def]
    """Dampness of straw after an hour: the humidity of air in equilibrium with it, percent.

    Parameters
    ----------
    straw : dampness before the hour; above 100 the straw holds free water.
    wet : share of the hour with free water on the crop.
    humidity : of the air, percent.
    """
    return straw + STRAW_SHARE * (wet * STRAW_WET + (1.0 - wet) * humidity - straw)


@njit(cache=True, nogil=True, error_model="numpy")
def after_ripening_rate(mean):  # type: ignore[no-untyped-def]
    """Share of an hour that counts towards the end of dormancy; `mean` moisture in percent db."""
    dry, moist = AFTER_RIPENING
    return min(max((moist - mean) / (moist - dry), 0.0), 1.0)


@njit(cache=True, nogil=True, error_model="numpy")
def sprouting_rate(core, temp, water):  # type: ignore[no-untyped-def]
    """Share of an hour that counts towards sprouting of grain without dormancy.

    Parameters
    ----------
    core, water : moisture of the core and the least that sprouts, percent db.
    temp : °C.
    """
    warm = (temp - SPROUT_TEMP[0]) / (SPROUT_TEMP[1] - SPROUT_TEMP[0])
    return min(max((core - water) / SPROUT_RANGE, 0.0), 1.0) * min(max(warm, 0.0), 1.2)


@njit(cache=True, nogil=True, error_model="numpy")
def sprouted_share(soak, scale):  # type: ignore[no-untyped-def]
    """Share of sprouted kernels after `soak` counted hours, 1 - exp(-(soak / scale)^shape)."""
    return 1.0 - math.exp(-((soak / scale) ** SPROUT_SHAPE))


@njit(cache=True, nogil=True, error_model="numpy")
def soak_of_share(sprout, scale):  # type: ignore[no-untyped-def]
    """Counted hours that leave a share of sprouted kernels below 1, the inverse."""
    return scale * (-math.log(1.0 - sprout)) ** (1.0 / SPROUT_SHAPE)


@njit(cache=True, nogil=True, error_model="numpy")
def class_dormancy(i, dormancy):  # type: ignore[no-untyped-def]
    """Dry hours that end the dormancy of class `i` of a lot with a dormancy of so many hours."""
    return max(DORMANCY_SHARES[i] * dormancy, min(dormancy, DORMANCY_LEAST))


@njit(cache=True, nogil=True, error_model="numpy")
def sprout_step(rest, soak, sprout, stores, temp, germination):  # type: ignore[no-untyped-def]
    """Sprouting of ripe grain: dormancy ends in dry time, then wet and warm hours count.

    Kernels differ in the length of their dormancy, so that a lot sprouts by and by. Hours count on
    after a dry spell, because wetting and drying raises the sprouting of later wettings (Bauer &
    Black 1983).

    Parameters
    ----------
    rest : dry hours so far.
    soak : (class,), hours so far that count towards sprouting; changed in place.
    sprout : sprouted fraction, which never falls.
    stores : KernelStores after the hour.
    temp : °C.
    germination : Germination.

    Returns
    -------
    rest, sprout : after the hour.
    """
    dormancy = germination.dormancy
    if rest < class_dormancy(DORMANCY_CLASSES - 1, dormancy):
        rest += after_ripening_rate(mean_moisture(stores.skin, stores.core))
    rate = sprouting_rate(stores.core, temp, germination.water)
    if rate > 0.0 and rest >= class_dormancy(0, dormancy):
        total = 0.0
        for i in range(DORMANCY_CLASSES):
            if rest >= class_dormancy(i, dormancy):
                soak[i] += rate
            total += sprouted_share(soak[i], germination.scale)
        sprout = max(sprout, total / DORMANCY_CLASSES)
    return rest, sprout


def standing_grain(
    weather: Mapping[str, Array], crop: Crop, *, start: float, rested: bool = False
) -> dict[str, Array]:
    """Moisture of one ripe standing crop over hours, for checks and for showing the model.

    Parameters
    ----------
    weather : arrays (hour,): rain mm, temp °C, humidity percent, wind m/s, radiation W/m². Net
        long-wave radiation is that of a clear sky.
    crop : constants of the crop.
    start : moisture before the first hour, percent wb.
    rested : whether the grain has lost its dormancy before the first hour.

    Returns
    -------
    dict of (hour,) arrays: moisture and core (percent wb), film (mm), straw (percent humidity),
    wettings (count), sprout (fraction).
    """
    columns = (weather[n] for n in ("temp", "humidity", "wind", "radiation"))
    evaporation, temp, humidity = np.array(
        [ear_air(t, u, sun, *air_terms(t, rh, 1.0)) for t, rh, u, sun in zip(*columns, strict=True)]
    ).T
    target = wet_to_dry(equilibrium_moisture(temp, humidity, crop.isotherm))
    k = thin_layer_k(temp, crop.k0, crop.activation)
    ear = Ear(
        wet_to_dry(crop.saturated_moisture), crop.ear_capacity, crop.ear_catch, crop.imbibition
    )
    germination = Germination(24.0 * crop.dormancy_days, crop.sprout_water, crop.sprout_scale)
    turn = wet_to_dry(start)
    stores = KernelStores(turn, turn, 0.0)
    rest, soak = (math.inf if rested else 0.0), np.zeros(DORMANCY_CLASSES)
    armed, count, sprout = 1.0, 0.0, 0.0
    straw = float(weather["humidity"][0])
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
        straw = straw_step(straw, wet, float(weather["humidity"][h]))
        turn, armed, event = wetting_step(stores.core, turn, armed)
        count += event
        air_temp = float(weather["temp"][h])
        rest, sprout = sprout_step(rest, soak, sprout, stores, air_temp, germination)
        mean = mean_moisture(stores.skin, stores.core)
        rows.append((mean, stores.core, stores.film, straw, count, sprout))
    moisture, core, film, dampness, wettings, sprouted = np.array(rows).T
    return {
        "moisture": dry_to_wet(moisture),
        "core": dry_to_wet(core),
        "film": film,
        "straw": dampness,
        "wettings": wettings,
        "sprout": sprouted,
    }
