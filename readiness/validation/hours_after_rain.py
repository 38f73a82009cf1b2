"""Hours from the end of rain to each tier, by texture and drainage, beside a published rule.

The weather is made up: rain by night, then clear August days. The limits are those of the usual
combine and cart, as in planning and in the check of days suitable.

References
----------
Vieira, Sentelhas & Pereira 2019, Agricultural Sciences 10:597-621 (abstract opened): harvest stops
on days with 3 mm of rain, or with a store of 40 mm filled to 90 %; fitted to interruptions of
mechanised harvest, error 4.4 days a year.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array, Weather
from readiness.soil.land import GOOD, POOR, Land
from readiness.soil.layers import N_LAYERS, bearing_water
from readiness.soil.running_gear import USUAL_CART, USUAL_COMBINE
from readiness.soil.trafficability import land_limits
from readiness.soil.water_balance import run_water, table_depth
from readiness.validation.published_check import PublishedCheck

#: Sand and clay, fractions: centres of the USDA classes (Saxton & Rawls 2006 Table 3).
TEXTURES: Mapping[str, tuple[float, float]] = {
    "sandy loam": (0.65, 0.10),
    "loam": (0.40, 0.20),
    "silt loam": (0.20, 0.15),
    "silty clay loam": (0.10, 0.35),
    "clay": (0.25, 0.50),
}
#: Drainage class and tile by name.
DRAINAGES: Mapping[str, tuple[int, bool]] = {
    "poor": (POOR, False),
    "good": (GOOD, False),
    "tiled": (POOR, True),
}
#: Rain, mm, and the nights on which it falls in equal parts.
RAINS = ((20.0, 1), (50.0, 1), (95.0, 2))
#: Reference ET of a clear August day on the northern plains, mm; days followed. Assumed.
CLEAR_DAY_ET, DAYS = 5.0, 30
FOOT_M = 0.3048
#: Store of the published rule, mm, the share from which harvest stops, and rain that stops it, mm.
RULE_STORE, RULE_SHARE, RULE_RAIN = 40.0, 0.90, 3.0


@dataclass(frozen=True, kw_only=True)
class HoursAfterRain:
    """Hours after the end of rain from which a tier holds for good.

    Attributes
    ----------
    texture, drainage : names.
    wet : whether the ground was at field capacity before, instead of half of its available water.
    rain_mm : rain.
    headland, firm : hours until combines, and until carts too, may drive.
    rule : hours to the first workday by the published rule.
    """

    texture: str
    drainage: str
    wet: bool
    rain_mm: float
    headland: int
    firm: int
    rule: int


def _weather(rain_mm: float, nights: int, fields: int) -> tuple[Weather, Array, int]:
    """Weather, reference ET and the hour at which rain ends; hour 0 is 18:00."""
    hour = np.arange(24 * DAYS)
    raining = (hour % 24 < 12) & (hour < 24 * nights)
    sun = np.maximum(np.sin((hour % 24 - 12) / 12.0 * np.pi), 0.0)
    sun = np.where(hour < 24 * (nights - 1), 0.5, 1.0) * sun / sun[:24].sum()
    shape = (1, fields, hour.size)
    zero = np.zeros(shape)
    weather = Weather(
        start=np.datetime64("2024-08-10T00", "h"),
        rain=np.broadcast_to(rain_mm * raining / raining.sum(), shape).copy(),
        temp=zero + 20.0,
        humidity=zero + 60.0,
        wind=zero + 2.0,
        gust=zero + 3.0,
        radiation=zero,
        estimated=zero > 0.0,
    )
    return weather, np.broadcast_to(CLEAR_DAY_ET * sun, shape).copy(), 24 * nights - 12


def hours_after_rain() -> list[HoursAfterRain]:
    """Hours to each tier for every texture, drainage, rain and state of the ground before."""
    kinds = [(t, d) for t in TEXTURES for d in DRAINAGES]
    sand, clay = np.array([TEXTURES[t] for t, _ in kinds]).T
    land = Land.of(
        len(kinds),
        sand=sand,
        clay=clay,
        drainage=[DRAINAGES[d][0] for _, d in kinds],
        tile=[DRAINAGES[d][1] for _, d in kinds],
    )
    limits = land_limits(land, combine=USUAL_COMBINE, cart=USUAL_CART)
    rows = []
    for wet in (False, True):
        state = land.initial_state()[None].copy()
        if wet:
            state[..., :N_LAYERS] = land.drained_water[None, :, None]
        for rain_mm, nights in RAINS:
            weather, eto, end = _weather(rain_mm, nights, len(kinds))
            top, below = bearing_water(run_water(weather, land, state=state, eto=eto)[0][0])
            edge = (top > limits.headland_top[:, None]) | (below > limits.headland_below[:, None])
            firm = (top > limits.firm_top[:, None]) | (below > limits.firm_below[:, None])
            rule = rule_hours(rain_mm, nights, wet=wet)
            rows += [
                HoursAfterRain(
                    texture=texture,
                    drainage=drainage,
                    wet=wet,
                    rain_mm=rain_mm,
                    headland=_hours_shut(edge[i], end),
                    firm=_hours_shut(firm[i], end),
                    rule=rule,
                )
                for i, (texture, drainage) in enumerate(kinds)
            ]
    return rows


def _hours_shut(shut: NDArray[np.bool_], end: int) -> int:
    """Hours from the end of rain to the last shut hour."""
    hours = np.flatnonzero(shut)
    return max(int(hours[-1]) + 1 - end, 0) if hours.size else 0


def rule_hours(rain_mm: float, nights: int, *, wet: bool) -> int:
    """Hours from the end of rain, at 06:00, to 08:00 of the first workday by the published rule.

    A day's rain is that of the night before. The store is filled by rain and emptied by reference
    ET; it is half full before, or full where the ground was wet.
    """
    store = RULE_STORE * (1.0 if wet else 0.5)
    for day in range(DAYS):
        rain = rain_mm / nights if day < nights else 0.0
        store = min(store + rain, RULE_STORE)
        if day >= nights - 1 and rain < RULE_RAIN and store < RULE_SHARE * RULE_STORE:
            return 24 * (day - nights + 1) + 2
        store = max(store - CLEAR_DAY_ET, 0.0)
    raise ValueError(f"{rain_mm:g} mm of rain leave no workday within {DAYS} days")


def hours_to_lower_table() -> dict[str, float]:
    """Hours in which tile lowers the water table of saturated ground by a foot, by texture."""
    found = {}
    for texture, (sand, clay) in TEXTURES.items():
        land = Land.of(1, sand=sand, clay=clay, drainage=POOR, tile=True)
        table = land.soil_table()[0]
        state = land.initial_state()[None].copy()
        state[..., :N_LAYERS] = land.saturation[:, None]
        weather, eto, _ = _weather(0.0, 1, 1)
        theta = run_water(weather, land, state=state, eto=0.0 * eto)[0][0, 0]
        depth = np.array([table_depth(water, table) for water in theta.T])
        down = np.flatnonzero(depth >= FOOT_M)
        found[texture] = float(down[0] + 1) if down.size else np.inf
    return found


def ground_checks(rows: Sequence[HoursAfterRain]) -> list[PublishedCheck]:
    """Statements of publications and practice about the hours after rain."""

    def hours(texture: str, rain_mm: float, drainage: str, *, wet: bool) -> HoursAfterRain:
        key = (texture, drainage, rain_mm, wet)
        return next(r for r in rows if (r.texture, r.drainage, r.rain_mm, r.wet) == key)

    clay = hours("clay", 20.0, "good", wet=False)
    silty = hours("silty clay loam", 95.0, "good", wet=False)
    sandy = hours("sandy loam", 95.0, "good", wet=False)
    poor, tiled = (hours("silty clay loam", 95.0, d, wet=True) for d in ("poor", "tiled"))
    good = [r for r in rows if r.drainage == "good" and r.rain_mm >= 50.0]
    practice = "common practice, no source"
    return [
        PublishedCheck(
            name="20 mm on dry clay, until combines may cut",
            unit="h",
            low=2.0,
            high=24.0,
            value=float(clay.headland),
            source=f"{practice}: some hours",
        ),
        PublishedCheck(
            name="95 mm on silty clay loam, until carts may drive",
            unit="h",
            low=48.0,
            high=144.0,
            value=float(silty.firm),
            source=f"{practice}: days, not a week",
        ),
        PublishedCheck(
            name="95 mm over two nights on sandy loam, until combines may cut",
            unit="h",
            low=24.0,
            high=96.0,
            value=float(sandy.headland),
            source="Kansas Wheat Commission 2020: rain stops harvest one to three or four days; "
            "covered sandy loam drains for 50 h (Jabro et al. 2009)",
        ),
        PublishedCheck(
            name="50 and 95 mm on drained ground, until combines may cut, median",
            unit="h",
            low=0.5 * good[0].rule,
            high=2.0 * good[0].rule,
            value=float(np.median([r.headland for r in good])),
            source=f"Vieira et al. 2019: store of 40 mm under 90 %, {good[0].rule} h here",
        ),
        PublishedCheck(
            name="95 mm on wet silty clay loam, hours that tile saves",
            unit="h",
            low=24.0,
            high=float(poor.headland),
            value=float(poor.headland - tiled.headland),
            source=f"{practice}: a day or more",
        ),
        PublishedCheck(
            name="tile under saturated ground, water table a foot down, slowest texture",
            unit="h",
            low=12.0,
            high=48.0,
            value=max(hours_to_lower_table().values()),
            source="South Dakota State Extension, Hay: out of the root zone in 24 to 48 h",
        ),
    ]
