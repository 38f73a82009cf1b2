"""Hourly soil water of a layered profile, one compiled step at a time.

The functions that loop over hours are cached whole; their steps need no cache of their own.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from readiness.atmosphere.evapotranspiration import weather_et
from readiness.atmosphere.weather import Array, Weather
from readiness.soil.drainage import DRAINAGE_COEFFICIENT
from readiness.soil.land import Land, SoilFact, WaterState
from readiness.soil.layers import (
    EVAPORATION_DEPTH,
    GAPS,
    MIDDLES,
    N_LAYERS,
    NEARNESS,
    ROOT_SHARES,
    SECOND_PART,
    THICKNESS_MM,
)

#: Kcb under ripe grain (FAO-56 Table 17), and Kc max at 2 m/s and 45 % humidity (FAO-56 eq. 72).
KCB_RIPE, KC_MAX = 0.15, 1.2
#: Share of plant-available water that is taken without stress, p (FAO-56 Table 22).
DEPLETION = 0.55
#: Share of evaporation that is drawn from the first layer, the rest from the second; assumed.
FIRST_LAYER_SHARE = 0.8
#: Highest reference ET of an hour, mm. Assumed; 1.2 is a desert's noon. The bound keeps the uptake
#: of an hour below the water that the layers hold.
MAX_ETO = 2.0
#: Air temperature, °C, below which snow falls; melt, mm per °C and hour: 3.5 mm per °C and day on
#: open sites (twelve stations, 1959-1978, Hydrology Research 11:235, 1980).
SNOW_TEMP, MELT = 0.5, 3.5 / 24.0
#: Smoothing of air temperature, 1/h, and the value, °C, below which ground counts as frozen.
#: Assumed: the upper soil follows the mean air temperature of about three days.
FROST_SHARE, FROST_TEMP = 1.0 / 72.0, -1.5
#: Share of snow-free infiltration that frozen ground still takes. Assumed, because cracks and
#: thawed spots stay open. Moves the runoff of late autumn.
FROZEN_INTAKE = 0.2
#: Height, m, within which the water table counts as at the middle of a layer, so that the layer
#: above tells where it is; assumed, the water of an hour's flow to tile.
SATURATED_WITHIN = 0.03
_LAST = N_LAYERS - 1
_PER_MM = tuple(1.0 / thickness for thickness in THICKNESS_MM)
#: Depth that evaporation dries over its part in the first and in the second layer.
_FIRST_SCALE = 1000.0 * EVAPORATION_DEPTH / THICKNESS_MM[0]
_SECOND_SCALE = 1000.0 * EVAPORATION_DEPTH / (SECOND_PART * THICKNESS_MM[1])


@njit(nogil=True, error_model="numpy")
def frozen(state):  # type: ignore[no-untyped-def]
    """Whether the ground of a state is frozen."""
    return state[WaterState.MEAN_TEMP] < FROST_TEMP


@njit(nogil=True, error_model="numpy")
def _unit(x):  # type: ignore[no-untyped-def]
    """Clip to 0-1, written so that it compiles without branches."""
    x = x if x > 0.0 else 0.0
    return x if x < 1.0 else 1.0


@njit(nogil=True, error_model="numpy")
def _runoff(state, soil, water):  # type: ignore[no-untyped-def]
    """Runoff of an hour's water, mm: the part that falls faster than the ground takes it.

    Rain within the hour and intake over the field vary as an exponential, so that the ground takes
    c (1 - exp(-P / c)) of P (Yu et al. 1997, J. Hydrol., memory). The capacity c is a share of the
    curve number's retention plus the free pore space of the first layer. It has no memory of its
    own, so more rain never leaves less water in the ground.
    """
    capacity = soil[SoilFact.INTAKE] + max(soil[SoilFact.SAT] - state[0], 0.0) * THICKNESS_MM[0]
    intake = capacity * (1.0 - math.exp(-water / capacity))
    if frozen(state):
        intake = min(intake, FROZEN_INTAKE * water)
    return water - intake


@njit(nogil=True, error_model="numpy")
def _infiltrate(state, soil, water):  # type: ignore[no-untyped-def]
    """Fill the layers from the top to saturation; return the water left over, mm."""
    for i in range(N_LAYERS):
        if water <= 0.0:
            break
        taken = min(water, max((soil[SoilFact.SAT] - state[i]) * THICKNESS_MM[i], 0.0))
        state[i] += taken * _PER_MM[i]
        water -= taken
    return water


@njit(nogil=True, error_model="numpy")
def _released(over, rate, inv_free):  # type: ignore[no-untyped-def]
    """Water that drains in an hour of `over` (above field capacity), both m³/m³.

    Conductivity falls with the cube of the free water x (the power of Saxton & Rawls' K near
    saturation): dx/dt = -k x³, solved exactly over the hour as x / sqrt(1 + 2 k x²). Fine soils
    then drain for weeks and sand for two days. Saxton & Rawls' K over all water, to the power of 11
    and more, opens sandy loam to combines 36 h after 95 mm instead of 31 h and agrees with probes
    and days suitable as well as this. `rate` is k, 1/h; `inv_free` is 1 / (SAT - FC).
    """
    x = over * inv_free
    return over * (1.0 - 1.0 / math.sqrt(1.0 + 2.0 * rate * x * x))


@njit(nogil=True, error_model="numpy")
def table_depth(state, soil):  # type: ignore[no-untyped-def]
    """Depth of the water table below ground, m, as the lowest layer with drained pores tells it.

    Soil at rest a height above the table has drained `SoilFact.RISE` times that height.
    """
    inv_rise = 1.0 / soil[SoilFact.RISE]
    depth = MIDDLES[_LAST] + (soil[SoilFact.SAT] - state[_LAST]) * inv_rise
    for i in range(_LAST - 1, -1, -1):
        if depth > MIDDLES[i + 1] + SATURATED_WITHIN:
            break
        depth = min(depth, MIDDLES[i] + (soil[SoilFact.SAT] - state[i]) * inv_rise)
    return depth


@njit(nogil=True, error_model="numpy")
def _tile(state, soil):  # type: ignore[no-untyped-def]
    """Take an hour's flow to tile, mm, out of the lowest layer (Hooghoudt), and return it.

    The outlet carries at most the drainage coefficient. Water at rest above tile stays.
    """
    rest = soil[SoilFact.SAT] - soil[SoilFact.RISE] * (soil[SoilFact.TILE_DEPTH] - MIDDLES[_LAST])
    if state[_LAST] <= rest:
        return 0.0
    head = soil[SoilFact.TILE_DEPTH] - table_depth(state, soil)
    flow = head * (soil[SoilFact.TILE_LINEAR] + soil[SoilFact.TILE_SQUARE] * head)
    flow = min(flow, DRAINAGE_COEFFICIENT, (state[_LAST] - rest) * THICKNESS_MM[_LAST])
    state[_LAST] -= flow * _PER_MM[_LAST]
    return flow


@njit(nogil=True, error_model="numpy")
def _drain(state, soil):  # type: ignore[no-untyped-def]
    """Drain water over field capacity downward; return the water that leaves the profile, mm.

    A layer drains until it is at rest above the layer below it: drier by `SoilFact.RISE` times the
    distance between their middles. Near a water table the ground therefore stays wetter than field
    capacity. No layer is thicker than the one below it, so more water never leaves one drier.
    """
    drained = 0.0
    fc, inv_free = soil[SoilFact.FC], soil[SoilFact.INV_FREE]
    over = state[_LAST] - fc
    if over > 0.0:
        out = _released(over, soil[SoilFact.DEEP] * inv_free * _PER_MM[_LAST], inv_free)
        state[_LAST] -= out
        drained += out * THICKNESS_MM[_LAST]
    for i in range(_LAST - 1, -1, -1):
        over = state[i] - fc
        if over > 0.0:
            rate = soil[SoilFact.KSAT] * inv_free * _PER_MM[i]
            out = _released(over, rate, inv_free) * THICKNESS_MM[i]
            above_rest = state[i] - state[i + 1] + soil[SoilFact.RISE] * GAPS[i]
            out = min(out, max(above_rest, 0.0) * THICKNESS_MM[i])
            out = min(out, max(0.0, (soil[SoilFact.SAT] - state[i + 1]) * THICKNESS_MM[i + 1]))
            state[i + 1] += out * _PER_MM[i + 1]
            state[i] -= out * _PER_MM[i]
    return drained


@njit(nogil=True, error_model="numpy")
def _redistribute(state, soil):  # type: ignore[no-untyped-def]
    """Move water between neighbours below field capacity towards equal relative water.

    The flow is proportional to the difference and to the relative water of the wetter layer.
    """
    wp, scale, rate = soil[SoilFact.WP], soil[SoilFact.INV_SPAN], soil[SoilFact.CAPILLARY]
    upper, from_above = _unit((state[0] - wp) * scale), 0.0
    for i in range(_LAST):
        lower = _unit((state[i + 1] - wp) * scale)
        up = rate * NEARNESS[i] * (lower - upper) * (upper if upper > lower else lower)
        state[i] += (up - from_above) * _PER_MM[i]
        upper, from_above = lower, up
    state[_LAST] -= from_above * _PER_MM[_LAST]


@njit(nogil=True, error_model="numpy")
def evaporation_reduction(evaporable, inv_falling):  # type: ignore[no-untyped-def]
    """Kr of a store that can still lose `evaporable` mm (FAO-56 eq. 74).

    `evaporable` is TEW - De, `inv_falling` is 1 / (TEW - REW), 1/mm.
    """
    return _unit(evaporable * inv_falling)


@njit(nogil=True, error_model="numpy")
def evaporation_coefficient(reduction, kcb, kc_max, exposed):  # type: ignore[no-untyped-def]
    """Ke from Kr, the basal and the highest coefficient, and the exposed share (FAO-56 eq. 71)."""
    highest, left = exposed * kc_max, kc_max - kcb
    left = left if left > 0.0 else 0.0
    ke = reduction * left
    return ke if ke < highest else highest


@njit(nogil=True, error_model="numpy")
def _evaporate(state, soil, eto, kcb):  # type: ignore[no-untyped-def]
    """Evaporation by the dual coefficient from the top 10 cm, mm (FAO-56 eqs 71, 73, 74).

    Each of the two layers has its own Kr and its own share of the demand, the first layer the
    larger. Water below then never makes the surface drier.
    """
    first = (state[0] - soil[SoilFact.LOW]) * THICKNESS_MM[0]
    second = (state[1] - soil[SoilFact.LOW]) * (SECOND_PART * THICKNESS_MM[1])
    first, second = (first if first > 0.0 else 0.0), (second if second > 0.0 else 0.0)
    exposed = 1.0 - 0.99 * _unit((kcb - 0.15) * (1.0 / (KC_MAX - 0.15)))  # FAO-56 eq. 76, linear
    inv = soil[SoilFact.INV_FALLING]
    kr_first = evaporation_reduction(first, _FIRST_SCALE * inv)
    kr_second = evaporation_reduction(second, _SECOND_SCALE * inv)
    eto *= soil[SoilFact.EVAPORATION]
    from_first = evaporation_coefficient(kr_first, kcb, KC_MAX, exposed) * eto
    from_second = evaporation_coefficient(kr_second, kcb, KC_MAX, exposed) * eto
    from_first *= FIRST_LAYER_SHARE
    from_second *= 1.0 - FIRST_LAYER_SHARE
    from_first = from_first if from_first < first else first
    from_second = from_second if from_second < second else second
    state[0] -= from_first * _PER_MM[0]
    state[1] -= from_second * _PER_MM[1]
    return from_first + from_second


@njit(nogil=True, error_model="numpy")
def _transpire(state, soil, demand):  # type: ignore[no-untyped-def]
    """Uptake by roots, mm, weighted by root share and relative water (stress: FAO-56 eq. 84)."""
    wp, scale = soil[SoilFact.WP], soil[SoilFact.INV_SPAN]
    # written out for the five layers: a loop would add in another order and round otherwise
    a = ROOT_SHARES[0] * _unit((state[0] - wp) * scale)
    b = ROOT_SHARES[1] * _unit((state[1] - wp) * scale)
    c = ROOT_SHARES[2] * _unit((state[2] - wp) * scale)
    d = ROOT_SHARES[3] * _unit((state[3] - wp) * scale)
    e = ROOT_SHARES[4] * _unit((state[4] - wp) * scale)
    total = (a + b) + (c + d) + e
    share = demand / (total if total > 1.0 - DEPLETION else 1.0 - DEPLETION)
    state[0] -= share * a * _PER_MM[0]
    state[1] -= share * b * _PER_MM[1]
    state[2] -= share * c * _PER_MM[2]
    state[3] -= share * d * _PER_MM[3]
    state[4] -= share * e * _PER_MM[4]
    return share * total


@njit(nogil=True, error_model="numpy")
def _receive(state, soil, rain, temp):  # type: ignore[no-untyped-def]
    """Snow, melt, interception, runoff and infiltration of an hour; return the runoff, mm."""
    water = rain
    if temp < SNOW_TEMP:
        state[WaterState.SNOW] += rain
        water = 0.0
    elif state[WaterState.SNOW] > 0.0:
        melt = min(state[WaterState.SNOW], MELT * temp)
        state[WaterState.SNOW] -= melt
        water += melt
    if water <= 0.0:
        return 0.0
    caught = min(water, max(soil[SoilFact.CATCH] - state[WaterState.CANOPY], 0.0))
    state[WaterState.CANOPY] += caught
    water -= caught
    runoff = _runoff(state, soil, water)
    return runoff + _infiltrate(state, soil, water - runoff)


@njit(nogil=True, error_model="numpy")
def _has_free_water(state, fc):  # type: ignore[no-untyped-def]
    """Whether any layer is above field capacity."""
    for i in range(N_LAYERS):  # noqa: SIM110 (numba compiles no generators)
        if state[i] > fc:
            return True
    return False


@njit(nogil=True, error_model="numpy")
def water_step(state, soil, rain, temp, eto, kcb):  # type: ignore[no-untyped-def]
    """Move one field's water by an hour, in place.

    Parameters
    ----------
    state : (WATER_COLUMNS,) see `readiness.soil.land`.
    soil : (`SoilFact`,) row of `Land.soil_table`.
    rain : mm.
    temp : °C.
    eto : reference ET, mm.
    kcb : basal crop coefficient.

    Returns
    -------
    runoff, drainage, evaporation, transpiration : mm. Rain equals their sum plus the change of
    water in the layers, in snow and on leaves, to rounding.
    """
    mean = state[WaterState.MEAN_TEMP] + (temp - state[WaterState.MEAN_TEMP]) * FROST_SHARE
    state[WaterState.MEAN_TEMP] = mean
    runoff = 0.0
    if rain > 0.0 or state[WaterState.SNOW] > 0.0:
        runoff = _receive(state, soil, rain, temp)
    if mean < FROST_TEMP:
        return runoff, 0.0, 0.0, 0.0
    drained = 0.0
    if _has_free_water(state, soil[SoilFact.FC]):
        drained = _drain(state, soil)
        if soil[SoilFact.TILE_DEPTH] > 0.0:
            drained += _tile(state, soil)
    _redistribute(state, soil)
    if eto <= 0.0 or state[WaterState.SNOW] > 0.0:
        return runoff, drained, 0.0, 0.0
    eto = eto if eto < MAX_ETO else MAX_ETO
    from_leaves = 0.0
    if state[WaterState.CANOPY] > 0.0:  # wet leaves first, at Kc max
        from_leaves = min(state[WaterState.CANOPY], KC_MAX * eto)
        state[WaterState.CANOPY] -= from_leaves
        eto = max(eto - from_leaves * (1.0 / KC_MAX), 0.0)
    evaporated = from_leaves + _evaporate(state, soil, eto, kcb)
    return runoff, drained, evaporated, _transpire(state, soil, kcb * eto)


@njit(cache=True, nogil=True)
def _run(theta, flux, state, soil, rain, temp, eto, kcb):  # type: ignore[no-untyped-def]
    """Fill `theta` and `flux` and move `state` over all hours of every member and field."""
    members, n, hours = rain.shape
    for m in range(members):
        for f in range(n):
            water, row = state[m, f], soil[f]
            for h in range(hours):
                r, t, e = rain[m, f, h], temp[m, f, h], eto[m, f, h]
                if np.isnan(r + t + e):
                    theta[m, f, :, h] = np.nan
                    continue
                runoff, drained, evaporated, transpired = water_step(water, row, r, t, e, kcb[f, h])
                flux[m, f, 0] += runoff
                flux[m, f, 1] += drained
                flux[m, f, 2] += evaporated
                flux[m, f, 3] += transpired
                for i in range(N_LAYERS):
                    theta[m, f, i, h] = water[i]


def run_water(
    weather: Weather,
    land: Land,
    *,
    kcb: Array | float = KCB_RIPE,
    state: Array | None = None,
    eto: Array | None = None,
) -> tuple[Array, Array, Array]:
    """Run soil water alone over a frame whose sites are the fields.

    Parameters
    ----------
    weather : (member, field, hour).
    land : soil facts of each field.
    kcb : basal crop coefficient, scalar or (field, hour).
    state : (member, field, WATER_COLUMNS) before the first hour; `Land.initial_state` by default.
    eto : reference ET (member, field, hour), mm; computed from the weather by default.

    Returns
    -------
    theta : (member, field, layer, hour), m³/m³. NaN where the weather is unknown; the state then
        stays as it is.
    state : (member, field, WATER_COLUMNS) after the last hour.
    flux : (member, field, 4) totals of runoff, drainage, evaporation and transpiration, mm.
    """
    members, n, hours = weather.shape
    if eto is None:
        eto = weather_et(weather, land.latitude, land.longitude, land.elevation_m)
    if state is None:
        initial = land.initial_state()
        state = np.broadcast_to(initial, (members, *initial.shape))
    end: NDArray[np.float64] = np.array(state, dtype=np.float64)
    theta = np.empty((members, n, N_LAYERS, hours))
    flux = np.zeros((members, n, 4))
    cover = np.ascontiguousarray(np.broadcast_to(np.asarray(kcb, dtype=np.float64), (n, hours)))
    _run(theta, flux, end, land.soil_table(), weather.rain, weather.temp, eto, cover)
    return theta, end, flux
