"""Hourly soil water of a layered profile, one compiled step at a time."""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from readiness.atmosphere.evapotranspiration import weather_et
from readiness.atmosphere.weather import Array, Weather
from readiness.soil.properties import (
    CANOPY,
    CAPILLARY,
    EVAP,
    FC,
    HELD,
    INTAKE,
    INV_FREE,
    INV_KR,
    INV_SPAN,
    KSAT,
    LAYERS,
    LOW,
    MEAN_TEMP,
    OUT,
    ROOT,
    SAT,
    SKIN,
    SNOW,
    TILE,
    WP,
    Land,
)

#: Kcb under ripe grain and its Kc_max at 2 m/s and 45 % humidity (FAO-56 Table 17, eq. 72).
KCB_RIPE, KC_MAX = 0.15, 1.2
#: Share of plant-available water that is taken without stress, p (FAO-56 Table 22).
DEPLETION = 0.55
#: No hour of reference ET is above this, mm; assumed, 1.2 is a desert's noon. It keeps uptake of an
#: hour below what the layers hold.
ETO_MOST = 2.0
#: Snow: falls below this air temperature; melts by degree-hours, 3 mm per °C and day (handbook
#: range 1.6-6), assumed in the middle.
SNOW_TEMP, MELT = 0.5, 0.125
#: Smoothing of air temperature, 1/h, and the value at which ground is taken as frozen; assumed,
#: because the upper soil follows the air of about three days.
FROST_SHARE, FROST_TEMP = 1.0 / 72.0, -1.5
#: Share of snow-free infiltration that frozen ground still takes; assumed.
FROZEN_INTAKE = 0.2
# Steps carry no cache of their own: a compiled walk that finds a cached step cannot take it in, and
# runs at half the speed. The walks are cached whole.
_N = 5
_DEPTH = (50.0, 100.0, 150.0, 300.0, 400.0)  # mm, of soil.LAYERS
_INV_DEPTH = (0.02, 0.01, 1.0 / 150.0, 1.0 / 300.0, 0.0025)
#: Distance between middles of neighbouring layers, as a share of the first one's, inverted.
_NEARNESS = (1.0, 0.6, 1.0 / 3.0, 7.5 / 35.0)


@njit(nogil=True, error_model="numpy")
def frozen(state):  # type: ignore[no-untyped-def]
    """Whether the ground of a state is frozen."""
    return state[MEAN_TEMP] < FROST_TEMP


@njit(nogil=True, error_model="numpy")
def _unit(x):  # type: ignore[no-untyped-def]
    """Hold to 0-1 (written so that it compiles without branches)."""
    x = x if x > 0.0 else 0.0
    return x if x < 1.0 else 1.0


@njit(nogil=True, error_model="numpy")
def _run_off(state, soil, water):  # type: ignore[no-untyped-def]
    """Runoff of an hour's water, mm: what falls faster than the ground takes it.

    Rain within the hour and intake over the field vary as an exponential, so that the ground takes
    c (1 - exp(-P / c)) of P (Yu et al. 1997, J. Hydrol., memory). The capacity c is a share of the
    curve number's retention and the room of the upper layer; it has no memory of its own, hence
    more rain never leaves less water in the ground.
    """
    capacity = soil[INTAKE] + max(soil[SAT] - state[0], 0.0) * _DEPTH[0]
    into = capacity * (1.0 - math.exp(-water / capacity))
    if frozen(state):
        into = min(into, FROZEN_INTAKE * water)
    return water - into


@njit(nogil=True, error_model="numpy")
def _soak(state, soil, water):  # type: ignore[no-untyped-def]
    """Fill layers from the top to saturation; returns what finds no room, mm."""
    for i in range(_N):
        if water <= 0.0:
            break
        taken = min(water, max((soil[SAT] - state[i]) * _DEPTH[i], 0.0))
        state[i] += taken * _INV_DEPTH[i]
        water -= taken
    return water


@njit(nogil=True, error_model="numpy")
def _released(over, most, free):  # type: ignore[no-untyped-def]
    """Water that drains in an hour of `over` (m³/m³ above field capacity), m³/m³.

    Conductivity falls with the cube of the free water x (the power of Saxton & Rawls' K near
    saturation): dx/dt = -k x³, solved exactly over the hour as x / sqrt(1 + 2 k x²), so that
    fine soils drain for weeks and sand for two days. `most` is k, 1/h; `free` SAT - FC inverted.
    """
    x = over * free
    return over * (1.0 - 1.0 / math.sqrt(1.0 + 2.0 * most * x * x))


@njit(nogil=True, error_model="numpy")
def _drain(state, soil):  # type: ignore[no-untyped-def]
    """Drain water over field capacity downward; returns what leaves the profile, mm."""
    left = 0.0
    fc, free = soil[FC], soil[INV_FREE]
    over = state[4] - fc
    if over > 0.0:
        out = _released(over, soil[OUT] * free * _INV_DEPTH[4], free)
        out += (over - out) * soil[TILE]
        state[4] -= out
        left = out * _DEPTH[4]
    for i in range(_N - 2, -1, -1):
        over = state[i] - fc
        if over > 0.0:
            out = _released(over, soil[KSAT] * free * _INV_DEPTH[i], free) * _DEPTH[i]
            out = min(out, max(0.0, (soil[SAT] - state[i + 1]) * _DEPTH[i + 1]))
            state[i + 1] += out * _INV_DEPTH[i + 1]
            state[i] -= out * _INV_DEPTH[i]
    return left


@njit(nogil=True, error_model="numpy")
def _flow(a, b, rate):  # type: ignore[no-untyped-def]
    """Upward flow between neighbours of relative water a (upper) and b, 0-1, mm in the hour.

    Towards equal relative water, as fast as the wetter of the two is wet.
    """
    return rate * (b - a) * (a if a > b else b)


@njit(nogil=True, error_model="numpy")
def _rise(state, soil):  # type: ignore[no-untyped-def]
    """Move water between neighbours below field capacity towards equal relative water."""
    wp, scale, rate = soil[WP], soil[INV_SPAN], soil[CAPILLARY]
    w0, w1, w2, w3, w4 = state[0], state[1], state[2], state[3], state[4]
    a, b = _unit((w0 - wp) * scale), _unit((w1 - wp) * scale)
    c, d = _unit((w2 - wp) * scale), _unit((w3 - wp) * scale)
    e = _unit((w4 - wp) * scale)
    first = _flow(a, b, rate)
    second = _flow(b, c, rate * _NEARNESS[1])
    third = _flow(c, d, rate * _NEARNESS[2])
    fourth = _flow(d, e, rate * _NEARNESS[3])
    state[0] = w0 + first * _INV_DEPTH[0]
    state[1] = w1 + (second - first) * _INV_DEPTH[1]
    state[2] = w2 + (third - second) * _INV_DEPTH[2]
    state[3] = w3 + (fourth - third) * _INV_DEPTH[3]
    state[4] = w4 - fourth * _INV_DEPTH[4]


@njit(nogil=True, error_model="numpy")
def _evaporate(state, soil, demand, kcb):  # type: ignore[no-untyped-def]
    """Evaporation by the dual coefficient from the top 10 cm, mm (FAO-56 eqs 71, 73, 74).

    Each half of the 10 cm has its own coefficient of reduction, and its share of the demand: the
    skin gives the more. Water below then never makes the skin drier.
    """
    a = (state[0] - soil[LOW]) * _DEPTH[0]
    b = (state[1] - soil[LOW]) * (0.5 * _DEPTH[1])
    a, b = (a if a > 0.0 else 0.0), (b if b > 0.0 else 0.0)
    bare = 1.0 - 0.99 * _unit((kcb - 0.15) * (1.0 / (KC_MAX - 0.15)))  # FAO-56 eq. 76, linear
    most, room, scale = bare * KC_MAX, KC_MAX - kcb, 2.0 * soil[INV_KR]
    room = room if room > 0.0 else 0.0
    upper, lower = _unit(a * scale) * room, _unit(b * scale) * room
    upper, lower = (upper if upper < most else most), (lower if lower < most else most)
    demand *= soil[EVAP]
    first = upper * demand * soil[SKIN]
    second = lower * demand * (1.0 - soil[SKIN])
    first = first if first < a else a
    second = second if second < b else b
    state[0] -= first * _INV_DEPTH[0]
    state[1] -= second * _INV_DEPTH[1]
    return first + second


@njit(nogil=True, error_model="numpy")
def _transpire(state, soil, wanted):  # type: ignore[no-untyped-def]
    """Uptake by roots, mm, weighted by roots and water there, with stress (FAO-56 eq. 84)."""
    wp, scale = soil[WP], soil[INV_SPAN]
    a = soil[ROOT] * _unit((state[0] - wp) * scale)
    b = soil[ROOT + 1] * _unit((state[1] - wp) * scale)
    c = soil[ROOT + 2] * _unit((state[2] - wp) * scale)
    d = soil[ROOT + 3] * _unit((state[3] - wp) * scale)
    e = soil[ROOT + 4] * _unit((state[4] - wp) * scale)
    total = (a + b) + (c + d) + e
    share = wanted / (total if total > 1.0 - DEPLETION else 1.0 - DEPLETION)
    state[0] -= share * a * _INV_DEPTH[0]
    state[1] -= share * b * _INV_DEPTH[1]
    state[2] -= share * c * _INV_DEPTH[2]
    state[3] -= share * d * _INV_DEPTH[3]
    state[4] -= share * e * _INV_DEPTH[4]
    return share * total


@njit(nogil=True, error_model="numpy")
def _fall(state, soil, rain, temp):  # type: ignore[no-untyped-def]
    """Snow, melt, water held by leaves, runoff and soaking of an hour; returns runoff, mm."""
    water = rain
    if temp < SNOW_TEMP:
        state[SNOW] += rain
        water = 0.0
    elif state[SNOW] > 0.0:
        melt = min(state[SNOW], MELT * temp)
        state[SNOW] -= melt
        water += melt
    if water <= 0.0:
        return 0.0
    caught = min(water, max(soil[HELD] - state[CANOPY], 0.0))
    state[CANOPY] += caught
    water -= caught
    off = _run_off(state, soil, water)
    return off + _soak(state, soil, water - off)


@njit(nogil=True, error_model="numpy")
def water_step(state, soil, rain, temp, eto, kcb):  # type: ignore[no-untyped-def]
    """Move one field's water by an hour, in place.

    Parameters
    ----------
    state : (STATE,) see `readiness.soil.properties`. soil : (COLUMNS,) row of `Land.soil_table`.
    rain : mm. temp : °C. eto : reference ET, mm. kcb : basal crop coefficient.

    Returns
    -------
    runoff, drainage, evaporation, transpiration : mm. What falls equals these and the change of
    water, snow and water on leaves, to rounding.
    """
    mean = state[MEAN_TEMP] + (temp - state[MEAN_TEMP]) * FROST_SHARE
    state[MEAN_TEMP] = mean
    off = 0.0
    if rain > 0.0 or state[SNOW] > 0.0:
        off = _fall(state, soil, rain, temp)
    if mean < FROST_TEMP:
        return off, 0.0, 0.0, 0.0
    drained, fc = 0.0, soil[FC]
    if state[0] > fc or state[1] > fc or state[2] > fc or state[3] > fc or state[4] > fc:
        drained = _drain(state, soil)
    _rise(state, soil)
    if eto <= 0.0 or state[SNOW] > 0.0:
        return off, drained, 0.0, 0.0
    eto = eto if eto < ETO_MOST else ETO_MOST
    wet = 0.0
    if state[CANOPY] > 0.0:  # wet leaves first, at Kc_max
        wet = min(state[CANOPY], KC_MAX * eto)
        state[CANOPY] -= wet
        eto = max(eto - wet * (1.0 / KC_MAX), 0.0)
    evaporated = wet + _evaporate(state, soil, eto, kcb)
    return off, drained, evaporated, _transpire(state, soil, kcb * eto)


@njit(cache=True, nogil=True)
def _walk(theta, flux, state, soil, rain, temp, eto, kcb):  # type: ignore[no-untyped-def]
    members, n, hours = rain.shape
    for m in range(members):
        for f in range(n):
            lane, row = state[m, f], soil[f]
            for h in range(hours):
                r, t, e = rain[m, f, h], temp[m, f, h], eto[m, f, h]
                if np.isnan(r + t + e):
                    theta[m, f, :, h] = np.nan
                    continue
                off, drained, evaporated, used = water_step(lane, row, r, t, e, kcb[f, h])
                flux[m, f, 0] += off
                flux[m, f, 1] += drained
                flux[m, f, 2] += evaporated
                flux[m, f, 3] += used
                for i in range(_N):
                    theta[m, f, i, h] = lane[i]


def run_water(
    weather: Weather,
    land: Land,
    *,
    kcb: Array | float = KCB_RIPE,
    state: Array | None = None,
    eto: Array | None = None,
) -> tuple[Array, Array, Array]:
    """Soil water alone over a frame whose sites are the fields.

    Parameters
    ----------
    kcb : basal crop coefficient, scalar or (field, hour).
    state : (member, field, STATE) to start from. eto : (member, field, hour), mm; from the
        weather by default.

    Returns
    -------
    theta (member, field, layer, hour), m³/m³, NaN where the weather is unknown and the state
    waits; the state at the end; flux (member, field, 4): runoff, drainage, evaporation and
    transpiration in all, mm.
    """
    members, n, hours = weather.shape
    if eto is None:
        eto = weather_et(weather, land.latitude, land.longitude, land.elevation_m)
    first = (
        np.broadcast_to(land.initial_state(), (members, *land.initial_state().shape))
        if state is None
        else state
    )
    end: NDArray[np.float64] = np.array(first, dtype=np.float64)
    theta = np.empty((members, n, LAYERS.size, hours))
    flux = np.zeros((members, n, 4))
    cover = np.ascontiguousarray(np.broadcast_to(np.asarray(kcb, dtype=np.float64), (n, hours)))
    _walk(theta, flux, end, land.soil_table(), weather.rain, weather.temp, eto, cover)
    return theta, end, flux
