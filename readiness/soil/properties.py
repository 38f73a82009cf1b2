"""Soil from texture: hydraulic properties and the facts of a field that water follows."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from readiness.atmosphere.weather import Array

#: Layer thickness, m: 0-5, 5-15, 15-30, 30-60, 60-100 cm.
LAYERS = np.array([0.05, 0.10, 0.15, 0.30, 0.40])
POOR, MODERATE, GOOD = 0, 1, 2
#: Free drainage below the profile as a share of saturated conductivity, by drainage class;
#: assumed: a poorly drained field has a slow layer or a water table below.
DEEP_DRAINAGE_SHARE = np.array([0.002, 0.02, 0.2])
#: Curve numbers of straight-row small grain in good condition, hydrologic groups A-D, bare and
#: with residue (TR-55 Table 2-2b, memory).
CN_ROW = np.array([63.0, 75.0, 83.0, 87.0])
CN_RESIDUE = np.array([60.0, 72.0, 80.0, 84.0])
#: The same of meadow (TR-55 Table 2-2c, memory), for ground wholly under residue or sod, and the
#: cover from which residue counts as such.
CN_MEADOW = np.array([30.0, 58.0, 71.0, 78.0])
COVER_RESIDUE = 0.3
#: Saturated conductivity (mm/h) that parts hydrologic groups A-D (TR-55 after Musgrave: 7.6, 3.8,
#: 1.3 mm/h of final infiltration); times ten, assumed, because Ksat here is of the fine earth.
GROUP_LIMITS = np.array([13.0, 38.0, 76.0])
EVAPORATION_DEPTH = 0.10  # m, FAO-56 Ze


def wilting_point(sand: ArrayLike, clay: ArrayLike, organic: ArrayLike) -> Array:
    """Water at 1500 kPa, m³/m³ (Saxton & Rawls 2006 eq. 1). Organic matter in percent."""
    s, c, om = (np.asarray(x, dtype=np.float64) for x in (sand, clay, organic))
    t = -0.024 * s + 0.487 * c + 0.006 * om
    t = t + 0.005 * s * om - 0.013 * c * om + 0.068 * s * c + 0.031
    return np.asarray(t + 0.14 * t - 0.02)


def field_capacity(sand: ArrayLike, clay: ArrayLike, organic: ArrayLike) -> Array:
    """Water at 33 kPa, m³/m³ (Saxton & Rawls 2006 eq. 2)."""
    s, c, om = (np.asarray(x, dtype=np.float64) for x in (sand, clay, organic))
    t = -0.251 * s + 0.195 * c + 0.011 * om
    t = t + 0.006 * s * om - 0.027 * c * om + 0.452 * s * c + 0.299
    return np.asarray(t + 1.283 * t**2 - 0.374 * t - 0.015)


def saturation(sand: ArrayLike, clay: ArrayLike, organic: ArrayLike) -> Array:
    """Water at saturation, m³/m³ (Saxton & Rawls 2006 eqs 3 and 5)."""
    s, c, om = (np.asarray(x, dtype=np.float64) for x in (sand, clay, organic))
    t = 0.278 * s + 0.034 * c + 0.022 * om
    t = t - 0.018 * s * om - 0.027 * c * om - 0.584 * s * c + 0.078
    return np.asarray(field_capacity(s, c, om) + t + 0.636 * t - 0.107 - 0.097 * s + 0.043)


def pore_index(sand: ArrayLike, clay: ArrayLike, organic: ArrayLike) -> Array:
    """Slope lambda = 1/B of the logarithmic tension curve (Saxton & Rawls 2006 eqs 15, 18)."""
    fc, wp = field_capacity(sand, clay, organic), wilting_point(sand, clay, organic)
    return np.asarray((np.log(fc) - np.log(wp)) / (np.log(1500.0) - np.log(33.0)))


def saturated_conductivity(sand: ArrayLike, clay: ArrayLike, organic: ArrayLike) -> Array:
    """Saturated conductivity, mm/h (Saxton & Rawls 2006 eq. 16)."""
    free = saturation(sand, clay, organic) - field_capacity(sand, clay, organic)
    return np.asarray(1930.0 * np.maximum(free, 1e-3) ** (3.0 - pore_index(sand, clay, organic)))


def bulk_density(sand: ArrayLike, clay: ArrayLike, organic: ArrayLike) -> Array:
    """Bulk density, t/m³ (Saxton & Rawls 2006 eq. 6)."""
    return np.asarray((1.0 - saturation(sand, clay, organic)) * 2.65)


def retention(curve_number: ArrayLike) -> Array:
    """Potential retention S, mm, of a curve number (NRCS)."""
    return np.asarray(25400.0 / np.asarray(curve_number, dtype=np.float64) - 254.0)


def wet_number(cn: ArrayLike) -> Array:
    """Curve number of wet antecedent soil, CN3 = 23 CN / (10 + 0.13 CN)."""
    cn = np.asarray(cn, dtype=np.float64)
    return np.asarray(23.0 * cn / (10.0 + 0.13 * cn))


#: Columns of the table that the compiled step reads; layers share the field's own soil. LOW is
#: the water that evaporation leaves, INV_ reciprocals: of FC - WP, of SAT - FC and of TEW - REW
#: (mm); HELD the rain that leaves or straw hold, mm; ROOT the first of five shares of roots.
(WP, FC, SAT, LOW, KSAT, OUT, TILE, INTAKE, TEW, REW) = range(10)
(INV_SPAN, INV_FREE, INV_KR, EVAP, SKIN, CAPILLARY, HELD, ROOT) = range(10, 18)
COLUMNS = ROOT + 5
#: Columns of a field's water state: water of each layer (m³/m³), snow (mm), smoothed air
#: temperature (°C), water held on leaves and straw (mm).
SNOW, MEAN_TEMP, CANOPY = range(5, 8)
STATE = 8
#: Hourly intake of wet ground as a share of the curve number's retention; chosen so that a storm of
#: six hours on moist loam runs off about what the curve number says.
INTAKE_SHARE = 0.2
#: Tile drainage, share of water over field capacity below 60 cm carried off in an hour; assumed:
#: tile lowers the water table within about two days.
TILE_RATE = 0.03
#: Redistribution between the upper two layers below field capacity, mm/h for a whole difference
#: of relative water; assumed: a diffusivity near 50 cm²/d of loam at middling water, more in
#: fine soils and less in sand. Deeper neighbours are further apart.
CAPILLARY_RATE = 0.4
#: Share of roots by layer, of a grain crop or grass; assumed, near an exponential over 1 m.
ROOTS = np.array([0.12, 0.22, 0.24, 0.28, 0.14])
#: Share of evaporation asked of the upper 5 cm, the rest of the 5 cm below; assumed.
SKIN_SHARE = 0.8
#: Rain held by a crop's leaves and straw, and more under full residue or sod, mm; assumed, within
#: the 0.5-2 mm told for grass and cereals.
HELD_MM, HELD_RESIDUE_MM = 0.5, 1.0


@dataclass(frozen=True, kw_only=True)
class Land:
    """Fields' soil facts, arrays (field,).

    Attributes
    ----------
    sand, clay : weight fractions, 0-1. organic_pct : percent.
    drainage : POOR, MODERATE or GOOD. tile : tile-drained.
    slope_pct : percent. residue : share of ground covered, 0-1.
    latitude, longitude : degrees. elevation_m : m.
    water_offset : learnt shift of field capacity, wilting point and saturation, m³/m³.
    drain_factor, evap_factor : learnt factors of conductivity and soil evaporation.
    bearing_offset : learnt shift of the bearing limits, m³/m³.
    """

    sand: Array
    clay: Array
    organic_pct: Array
    drainage: NDArray[np.int64]
    tile: NDArray[np.bool_]
    slope_pct: Array
    residue: Array
    latitude: Array
    longitude: Array
    elevation_m: Array
    water_offset: Array
    drain_factor: Array
    evap_factor: Array
    bearing_offset: Array

    def __post_init__(self) -> None:
        for f in fields(self):
            if getattr(self, f.name).shape != self.sand.shape:
                raise ValueError(f"land {f.name}: want one value a field, {self.sand.shape}")
        bad = (self.sand < 0) | (self.clay < 0) | (self.sand + self.clay > 1.0 + 1e-9)
        if bad.any():
            raise ValueError(
                f"land: sand and clay must be 0-1 together, fields {np.flatnonzero(bad)}"
            )

    @classmethod
    def of(cls, n: int = 1, **facts: ArrayLike) -> Land:
        """`n` fields of loam in Dakota-like country unless `facts` say otherwise."""
        loam: dict[str, ArrayLike] = {
            "sand": 0.40, "clay": 0.20, "organic_pct": 2.5, "drainage": MODERATE, "tile": False,
            "slope_pct": 1.0, "residue": 0.5, "latitude": 47.0, "longitude": -99.0,
            "elevation_m": 450.0, "water_offset": 0.0, "drain_factor": 1.0, "evap_factor": 1.0,
            "bearing_offset": 0.0,
        }  # fmt: skip
        kinds = {"drainage": np.int64, "tile": np.bool_}
        values: dict[str, Any] = {
            name: np.broadcast_to(np.asarray(value), (n,)).astype(kinds.get(name, np.float64))
            for name, value in (loam | facts).items()
        }
        return cls(**values)

    @property
    def wilting_point(self) -> Array:
        """Water at 1500 kPa, m³/m³."""
        wp = wilting_point(self.sand, self.clay, self.organic_pct) + self.water_offset
        return np.maximum(wp, 0.02)

    @property
    def field_capacity(self) -> Array:
        """Water at 33 kPa, m³/m³."""
        fc = field_capacity(self.sand, self.clay, self.organic_pct) + self.water_offset
        return np.maximum(fc, self.wilting_point + 0.03)

    @property
    def saturation(self) -> Array:
        """Water at saturation, m³/m³."""
        sat = saturation(self.sand, self.clay, self.organic_pct) + self.water_offset
        return np.maximum(sat, self.field_capacity + 0.03)

    def curve_number(self) -> Array:
        """Curve number of each field: group by conductivity, residue and slope (Williams 1995)."""
        ksat = saturated_conductivity(self.sand, self.clay, self.organic_pct)
        group = 3 - np.searchsorted(GROUP_LIMITS, ksat)
        group = np.where(self.drainage == POOR, np.minimum(group + 1, 3), group)
        some = np.clip(self.residue / COVER_RESIDUE, 0.0, 1.0)
        whole = np.clip((self.residue - COVER_RESIDUE) / (1.0 - COVER_RESIDUE), 0.0, 1.0)
        cn = CN_ROW[group] + (CN_RESIDUE[group] - CN_ROW[group]) * some
        cn = cn + (CN_MEADOW[group] - CN_RESIDUE[group]) * whole
        steep = (wet_number(cn) - cn) / 3.0 * (1.0 - 2.0 * np.exp(-13.86 * self.slope_pct / 100.0))
        return np.asarray(np.clip(cn + steep, 30.0, 95.0))

    def soil_table(self) -> Array:
        """Table for `water.water_step`, (field, COLUMNS)."""
        out = np.zeros((self.sand.size, COLUMNS))
        wp, fc, sat = self.wilting_point, self.field_capacity, self.saturation
        cn = self.curve_number()
        ksat = saturated_conductivity(self.sand, self.clay, self.organic_pct) * self.drain_factor
        out[:, WP], out[:, FC], out[:, SAT], out[:, LOW] = wp, fc, sat, 0.5 * wp
        out[:, KSAT], out[:, OUT] = ksat, ksat * DEEP_DRAINAGE_SHARE[self.drainage]
        out[:, TILE] = np.where(self.tile, TILE_RATE, 0.0)
        out[:, INTAKE] = INTAKE_SHARE * retention(cn)
        out[:, TEW] = 1000.0 * (fc - 0.5 * wp) * EVAPORATION_DEPTH  # FAO-56 eq. 73
        # readily evaporable water; relation used with FAO-56 tables, within Table 19's ranges
        out[:, REW] = np.minimum(0.8 + 54.4 * (fc - wp), 0.6 * out[:, TEW])
        out[:, INV_SPAN], out[:, INV_FREE] = 1.0 / (fc - wp), 1.0 / (sat - fc)
        out[:, INV_KR] = 1.0 / (out[:, TEW] - out[:, REW])
        # 5 % less evaporation for each 10 % of ground under residue (FAO-56)
        out[:, EVAP] = self.evap_factor * (1.0 - 0.5 * self.residue)
        out[:, SKIN] = SKIN_SHARE
        # never more than a fifth of the difference between layers in an hour
        rate = CAPILLARY_RATE * np.clip(self.clay / 0.2, 0.3, 1.5)
        out[:, CAPILLARY] = np.minimum(rate, 0.2 * (fc - wp) * 1000.0 * LAYERS[0])
        out[:, HELD] = HELD_MM + HELD_RESIDUE_MM * self.residue
        out[:, ROOT:] = ROOTS
        return out

    def initial_state(self) -> Array:
        """Water state to start from, (field, STATE): half of what plants can use, thawed, bare."""
        out = np.zeros((self.sand.size, STATE))
        out[:, : LAYERS.size] = (0.5 * (self.field_capacity + self.wilting_point))[:, None]
        out[:, MEAN_TEMP] = 5.0
        return out
