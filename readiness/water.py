"""Hourly soil water of a layered profile, one compiled step at a time."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from readiness.et import weather_et
from readiness.soil import (
    CAPILLARY,
    COVER,
    DRY_HOURS,
    EVAP,
    EVENT_GAP,
    EVENT_RAIN,
    EVENT_RUNOFF,
    EVENT_S,
    FC,
    KSAT,
    LAYERS,
    MEAN_TEMP,
    OUT,
    REW,
    S_DRY,
    S_WET,
    SAT,
    SNOW,
    TEW,
    TILE,
    WP,
    Land,
)
from readiness.weather import Array, Weather

#: Kcb under ripe grain and its Kc_max at 2 m/s and 45 % humidity (FAO-56 Table 17, eq. 72).
KCB_RIPE, KC_MAX = 0.15, 1.2
#: Share of roots by layer, of a grain crop or grass; assumed, near an exponential over 1 m.
ROOTS = np.array([0.12, 0.22, 0.24, 0.28, 0.14])
#: Relative plant water below which uptake falls, 1 - p with p 0.55 (FAO-56 Table 22).
STRESS = 0.45
#: Snow: falls below this air temperature; melts by degree-hours, 3 mm per °C and day (handbook
#: range 1.6-6), assumed in the middle.
SNOW_TEMP, MELT = 0.5, 0.125
#: Smoothing of air temperature, h, and the value at which ground is taken as frozen; assumed,
#: because the upper soil follows the air of about three days.
FROST_MEMORY, FROST_TEMP = 72.0, -1.5
#: Share of snow-free infiltration that frozen ground still takes; assumed.
FROZEN_INTAKE = 0.2
_D0, _D1 = 1000.0 * LAYERS[0], 1000.0 * LAYERS[1]
_DEPTH = 1000.0 * LAYERS
_ROOTS = ROOTS


@njit(cache=True, nogil=True)
def frozen(state):  # type: ignore[no-untyped-def]
    """Whether the ground of a state is frozen."""
    return state[MEAN_TEMP] < FROST_TEMP


@njit(cache=True, nogil=True)
def _intake(state, soil, rain, temp):  # type: ignore[no-untyped-def]
    """Snow and runoff: water that enters the soil and water that runs off, mm."""
    state[MEAN_TEMP] += (temp - state[MEAN_TEMP]) / FROST_MEMORY
    if temp < SNOW_TEMP:
        state[SNOW] += rain
        rain = 0.0
    elif state[SNOW] > 0.0:
        melt = min(state[SNOW], MELT * temp)
        state[SNOW] -= melt
        rain += melt
    if rain <= 0.0:
        state[DRY_HOURS] += 1.0
        return 0.0, 0.0
    if state[DRY_HOURS] >= EVENT_GAP:
        wet = (state[0] * _D0 + state[1] * _D1) / (_D0 + _D1)
        share = min(max((wet - soil[WP]) / (soil[FC] - soil[WP]), 0.0), 1.0)
        state[EVENT_S] = soil[S_DRY] + (soil[S_WET] - soil[S_DRY]) * share
        state[EVENT_RAIN] = 0.0
        state[EVENT_RUNOFF] = 0.0
    state[DRY_HOURS] = 0.0
    state[EVENT_RAIN] += rain
    s = state[EVENT_S]
    over = max(state[EVENT_RAIN] - 0.2 * s, 0.0)
    total = over * over / (state[EVENT_RAIN] + 0.8 * s) if over > 0.0 else 0.0
    off = min(rain, max(0.0, total - state[EVENT_RUNOFF]))
    state[EVENT_RUNOFF] += off
    if frozen(state):
        off = max(off, (1.0 - FROZEN_INTAKE) * rain)
    return rain - off, off


@njit(cache=True, nogil=True)
def _soak(state, soil, water):  # type: ignore[no-untyped-def]
    """Fill layers from the top to saturation; returns what finds no room, mm."""
    for i in range(5):
        if water <= 0.0:
            break
        room = (soil[SAT] - state[i]) * _DEPTH[i]
        taken = min(water, max(room, 0.0))
        state[i] += taken / _DEPTH[i]
        water -= taken
    return water


@njit(cache=True, nogil=True)
def _drain(state, soil):  # type: ignore[no-untyped-def]
    """Drain water over field capacity downward; returns what leaves the profile, mm.

    Conductivity falls with the square of the free water x: dx/dt = -k x², solved exactly over
    the hour as x / (1 + k x), so that fine soils drain for weeks and sand for a day.
    """
    free = soil[SAT] - soil[FC]
    left = 0.0
    for i in range(4, -1, -1):
        x = (state[i] - soil[FC]) / free
        if x <= 0.0:
            continue
        depth = free * _DEPTH[i]
        conduct = soil[OUT] if i == 4 else soil[KSAT]
        out = x * depth * (1.0 - 1.0 / (1.0 + conduct / depth * x))
        if i == 4:
            out += (x * depth - out) * soil[TILE]
            left += out
        else:
            out = min(out, max(0.0, (soil[SAT] - state[i + 1]) * _DEPTH[i + 1]))
            state[i + 1] += out / _DEPTH[i + 1]
        state[i] -= out / _DEPTH[i]
    return left


@njit(cache=True, nogil=True)
def _rise(state, soil):  # type: ignore[no-untyped-def]
    """Move water between neighbours below field capacity towards equal relative water."""
    span = soil[FC] - soil[WP]
    for i in range(4):
        a = (state[i] - soil[WP]) / span
        b = (state[i + 1] - soil[WP]) / span
        if a > 1.0 and b > 1.0:
            continue
        wetter = min(max(a, b, 0.0), 1.0)
        flow = soil[CAPILLARY] * (b - a) * wetter
        most = 0.2 * abs(b - a) * span * min(_DEPTH[i], _DEPTH[i + 1])
        flow = min(max(flow, -most), most)
        state[i] += flow / _DEPTH[i]
        state[i + 1] -= flow / _DEPTH[i + 1]


@njit(cache=True, nogil=True)
def _evaporate(state, soil, eto, kcb):  # type: ignore[no-untyped-def]
    """Evaporation by the dual coefficient from the top 10 cm, mm (FAO-56 eqs 71, 73, 74)."""
    low = 0.5 * soil[WP]
    a = max(state[0] - low, 0.0)
    b = max(state[1] - low, 0.0)
    held = a * _D0 + b * 0.5 * _D1  # of the top 10 cm
    gone = soil[TEW] - held
    kr = 1.0
    if gone > soil[REW]:
        kr = max(soil[TEW] - gone, 0.0) / (soil[TEW] - soil[REW])
    cover = min(max((kcb - 0.15) / (KC_MAX - 0.15), 0.0), 0.99)  # FAO-56 eq. 76, linear
    few = 1.0 - cover
    ke = min(kr * (KC_MAX - kcb), few * KC_MAX)
    most = ke * eto * soil[COVER] * soil[EVAP]
    if most <= 0.0 or held <= 0.0:
        return 0.0
    # the skin dries first: the upper layer gives four times as readily as the lower
    upper = 4.0 * a * _D0
    share = upper / (upper + b * 0.5 * _D1)
    first = min(most * share, a * _D0)
    second = min(most - first, b * 0.5 * _D1)
    state[0] -= first / _D0
    state[1] -= second / _D1
    return first + second


@njit(cache=True, nogil=True)
def _transpire(state, soil, eto, kcb):  # type: ignore[no-untyped-def]
    """Uptake by roots, mm, weighted by roots and water there, with stress (FAO-56 eq. 84)."""
    wanted = kcb * eto
    if wanted <= 0.0:
        return 0.0
    span = soil[FC] - soil[WP]
    total = 0.0
    for i in range(5):
        total += _ROOTS[i] * min(max((state[i] - soil[WP]) / span, 0.0), 1.0)
    if total <= 0.0:
        return 0.0
    used = 0.0
    wanted *= min(total / STRESS, 1.0)
    for i in range(5):
        part = _ROOTS[i] * min(max((state[i] - soil[WP]) / span, 0.0), 1.0) / total
        taken = min(wanted * part, max(state[i] - soil[WP], 0.0) * _DEPTH[i])
        state[i] -= taken / _DEPTH[i]
        used += taken
    return used


@njit(cache=True, nogil=True)
def water_step(state, soil, rain, temp, eto, kcb):  # type: ignore[no-untyped-def]
    """Move one field's water by an hour, in place.

    Parameters
    ----------
    state : (STATE,) see `readiness.soil`. soil : (COLUMNS,) row of `Land.soil`.
    rain : mm. temp : °C. eto : reference ET, mm. kcb : basal crop coefficient.

    Returns
    -------
    runoff, drainage, evaporation, transpiration : mm. What falls equals these and the change of
    water and snow, to rounding.
    """
    water, off = _intake(state, soil, rain, temp)
    off += _soak(state, soil, water)
    if frozen(state):
        return off, 0.0, 0.0, 0.0
    drained = _drain(state, soil)
    _rise(state, soil)
    if eto <= 0.0 or state[SNOW] > 0.0:
        return off, drained, 0.0, 0.0
    evaporated = _evaporate(state, soil, eto, kcb)
    return off, drained, evaporated, _transpire(state, soil, eto, kcb)


@njit(cache=True, nogil=True)
def _walk(theta, flux, state, soil, rain, temp, eto, kcb):  # type: ignore[no-untyped-def]
    members, n, hours = rain.shape
    for m in range(members):
        for f in range(n):
            for h in range(hours):
                r, t, e = rain[m, f, h], temp[m, f, h], eto[m, f, h]
                if np.isnan(r) or np.isnan(t) or np.isnan(e):
                    theta[m, f, :, h] = np.nan
                    continue
                got = water_step(state[m, f], soil[f], r, t, e, kcb[f, h])
                for i in range(4):
                    flux[m, f, i] += got[i]
                theta[m, f, :, h] = state[m, f, :5]


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
        np.broadcast_to(land.start(), (members, *land.start().shape)) if state is None else state
    )
    end: NDArray[np.float64] = np.array(first, dtype=np.float64)
    theta = np.empty((members, n, LAYERS.size, hours))
    flux = np.zeros((members, n, 4))
    cover = np.ascontiguousarray(np.broadcast_to(np.asarray(kcb, dtype=np.float64), (n, hours)))
    _walk(theta, flux, end, land.soil(), weather.rain, weather.temp, eto, cover)
    return theta, end, flux
