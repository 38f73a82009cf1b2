"""Soil facts of the fields, and the arrays that the compiled water balance reads."""

from __future__ import annotations

from dataclasses import dataclass, fields
from enum import IntEnum
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from readiness.atmosphere.weather import Array
from readiness.soil.drainage import TILE_DEPTH, hooghoudt_terms, usual_spacing
from readiness.soil.layers import BELOW, BOTTOMS_MM, EVAPORATION_DEPTH, N_LAYERS, THICKNESS
from readiness.soil.properties import (
    field_capacity,
    retention,
    saturated_conductivity,
    saturation,
    wet_number,
    wilting_point,
)

#: Drainage classes of a field.
POOR, MODERATE, GOOD = 0, 1, 2
#: Free drainage below the profile as a share of saturated conductivity, by drainage class. Assumed:
#: a poorly drained field has a slow layer or a water table below. Moves how long its water table
#: stands in the upper metre.
DEEP_DRAINAGE_SHARE = np.array([0.002, 0.1, 0.5])
#: Curve numbers of straight-row small grain in good condition, hydrologic groups A-D, bare and
#: with residue (TR-55 Table 2-2b, memory).
CN_ROW = np.array([63.0, 75.0, 83.0, 87.0])
CN_RESIDUE = np.array([60.0, 72.0, 80.0, 84.0])
#: Curve numbers of meadow (TR-55 Table 2-2c, memory), for ground wholly under residue or sod.
CN_MEADOW = np.array([30.0, 58.0, 71.0, 78.0])
#: Share of ground covered from which the curve numbers with residue hold.
COVER_RESIDUE = 0.3
#: Saturated conductivity, mm/h, between hydrologic groups D, C, B and A (TR-55 after Musgrave: 1.3,
#: 3.8, 7.6 mm/h of final infiltration); times ten, assumed, because Ksat here is of the fine earth.
GROUP_LIMITS = np.array([13.0, 38.0, 76.0])


class SoilFact(IntEnum):
    """Columns of the soil facts of a field."""

    WP = 0  # wilting point, m³/m³
    FC = 1  # field capacity, m³/m³
    SAT = 2  # saturation, m³/m³
    LOW = 3  # water that evaporation leaves, m³/m³
    KSAT = 4  # saturated conductivity, mm/h
    DEEP = 5  # conductivity below the profile, mm/h
    TILE_DEPTH = 6  # depth of tile, m; 0 without tile
    TILE_LINEAR = 7  # flow to tile, mm/h per m of water table above it
    TILE_SQUARE = 8  # and per m²
    INTAKE = 9  # intake of wet ground, mm/h
    INV_SPAN = 10  # 1 / (FC - WP)
    INV_FREE = 11  # 1 / (SAT - FC)
    INV_FALLING = 12  # 1 / (TEW - REW), 1/mm
    EVAPORATION = 13  # factor on soil evaporation
    CAPILLARY = 14  # redistribution below field capacity, mm/h
    CATCH = 15  # rain that leaves or straw hold, mm
    RISE = 16  # drained pores at rest, m³/m³ per m above the water table


class WaterState(IntEnum):
    """Columns of a water state after those of the layers, which hold m³/m³."""

    SNOW = N_LAYERS  # water in snow, mm
    MEAN_TEMP = N_LAYERS + 1  # smoothed air temperature, °C
    CANOPY = N_LAYERS + 2  # water on leaves and straw, mm


WATER_COLUMNS = N_LAYERS + len(WaterState)

#: Hourly intake of wet ground as a share of the curve number's retention. Chosen so that a storm of
#: six hours on moist loam runs off about as much as the curve number gives.
INTAKE_SHARE = 0.2
#: Hours of drainage after which soil counts as at field capacity: 48 (FAO; protocol of Ottoni Filho
#: et al. 2014, Rev. Bras. Ciênc. Solo 38:1750; sandy loam 50 h, Jabro et al. 2009; sandy soils 2-3
#: days, Webster & Beckett 1972, J. Agric. Sci.). Three days on clay: assumed, because clays go on
#: draining without a definite end (Webster & Beckett). Moves all bearing limits; a day more or less
#: on all soils agrees with days suitable about as well.
DRAINED_HOURS, DRAINED_HOURS_CLAY = 48.0, 72.0
#: Fractions of sand between which ground turns sandy: loamy sand begins at 70 %, sand at 85 % (SSSA
#: texture classes); NRCS groups sandy loam with the medium soils. Moves the limit of 15-30 cm.
SANDY = (0.70, 0.85)
#: Fractions of clay between which ground turns clayey; assumed: clay loam to clay.
CLAYEY = (0.27, 0.40)
#: Height above a water table, m, at which soil at rest is at field capacity: 6 kPa. A suction of 60
#: cm is the usual equivalent (Zacharias & Bohne 1997, Sciences of Soils 2); water at 6 kPa predicts
#: best what is left after 48 h (Ottoni Filho et al. 2014); Webster & Beckett (1972) measured 4-5
#: kPa. Moves how much longer a poorly drained field stays shut than a tiled one; stations and days
#: suitable hardly tell 0.5 from 1 m.
REST_HEIGHT = 0.60
#: Redistribution between the first two layers below field capacity, mm/h at a difference of 1 in
#: relative water. Assumed: a diffusivity near 50 cm²/d of loam at medium water, more in fine soils
#: and less in sand. Deeper neighbours are further apart.
CAPILLARY_RATE = 0.4
#: Rain held by a crop's leaves and straw, and the addition under full residue or sod, mm. Assumed,
#: within the 0.5-2 mm reported for grass and cereals.
CATCH_MM, CATCH_RESIDUE_MM = 0.5, 1.0


@dataclass(frozen=True, kw_only=True)
class Land:
    """Soil facts of the fields, arrays (field,).

    Attributes
    ----------
    sand, clay : weight fractions, 0-1.
    organic_pct : organic matter, percent by weight.
    drainage : POOR, MODERATE or GOOD.
    tile : whether the field is tile-drained.
    tile_spacing_m, tile_depth_m : of its tile, m; NaN for the usual spacing and depth.
    slope_pct : percent.
    residue : share of ground covered by residue, 0-1.
    latitude, longitude : degrees.
    elevation_m : m.
    water_offset : learnt shift of field capacity, wilting point and saturation, m³/m³.
    drain_factor, evap_factor : learnt factors on conductivity and soil evaporation.
    bearing_offset : learnt shift of the bearing limits, m³/m³.

    Raises
    ------
    ValueError
        Where an array has another shape than `sand`, or sand and clay exceed the whole.
    """

    sand: Array
    clay: Array
    organic_pct: Array
    drainage: NDArray[np.int64]
    tile: NDArray[np.bool_]
    tile_spacing_m: Array
    tile_depth_m: Array
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
            shape = getattr(self, f.name).shape
            if shape != self.sand.shape:
                raise ValueError(
                    f"land {f.name} has shape {shape}; give one value for each field, as in sand "
                    f"{self.sand.shape}"
                )
        bad = (self.sand < 0) | (self.clay < 0) | (self.sand + self.clay > 1.0 + 1e-9)
        if bad.any():
            raise ValueError(
                "land: sand and clay are fractions and add up to at most 1; correct fields "
                f"{', '.join(str(i) for i in np.flatnonzero(bad))}"
            )

    @classmethod
    def of(cls, n: int = 1, **facts: ArrayLike) -> Land:
        """Return `n` fields of loam in North Dakota; `facts` replace attributes by name."""
        loam: dict[str, ArrayLike] = {
            "sand": 0.40,
            "clay": 0.20,
            "organic_pct": 2.5,
            "drainage": MODERATE,
            "tile": False,
            "tile_spacing_m": np.nan,
            "tile_depth_m": np.nan,
            "slope_pct": 1.0,
            "residue": 0.5,
            "latitude": 47.0,
            "longitude": -99.0,
            "elevation_m": 450.0,
            "water_offset": 0.0,
            "drain_factor": 1.0,
            "evap_factor": 1.0,
            "bearing_offset": 0.0,
        }
        types = {"drainage": np.int64, "tile": np.bool_}
        values: dict[str, Any] = {
            name: np.broadcast_to(np.asarray(value), (n,)).astype(types.get(name, np.float64))
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

    @property
    def sandiness(self) -> Array:
        """How far the ground behaves as sand, 0-1."""
        return np.asarray(np.clip((self.sand - SANDY[0]) / (SANDY[1] - SANDY[0]), 0.0, 1.0))

    @property
    def drained_water(self) -> Array:
        """Water of 0-30 cm two to three days after saturation, m³/m³: field capacity in the field.

        By the drainage law of the water balance, for 0-30 cm as one layer without evaporation. Soil
        at rest `REST_HEIGHT` above a water table holds as much.
        """
        fc, sat = self.field_capacity, self.saturation
        ksat = saturated_conductivity(self.sand, self.clay, self.organic_pct)
        rate = ksat / ((sat - fc) * BOTTOMS_MM[BELOW])
        clayey = np.clip((self.clay - CLAYEY[0]) / (CLAYEY[1] - CLAYEY[0]), 0.0, 1.0)
        hours = DRAINED_HOURS + clayey * (DRAINED_HOURS_CLAY - DRAINED_HOURS)
        return np.asarray(fc + (sat - fc) / np.sqrt(1.0 + 2.0 * hours * rate))

    def curve_number(self) -> Array:
        """Curve number of each field: group by conductivity, residue and slope (Williams 1995)."""
        ksat = saturated_conductivity(self.sand, self.clay, self.organic_pct)
        group = 3 - np.searchsorted(GROUP_LIMITS, ksat)
        group = np.where(self.drainage == POOR, np.minimum(group + 1, 3), group)
        residue = np.clip(self.residue / COVER_RESIDUE, 0.0, 1.0)
        meadow = np.clip((self.residue - COVER_RESIDUE) / (1.0 - COVER_RESIDUE), 0.0, 1.0)
        cn = CN_ROW[group] + (CN_RESIDUE[group] - CN_ROW[group]) * residue
        cn = cn + (CN_MEADOW[group] - CN_RESIDUE[group]) * meadow
        steep = (wet_number(cn) - cn) / 3.0 * (1.0 - 2.0 * np.exp(-13.86 * self.slope_pct / 100.0))
        return np.asarray(np.clip(cn + steep, 30.0, 95.0))

    def evaporable_water(self) -> tuple[Array, Array]:
        """Total (TEW) and readily (REW) evaporable water, mm.

        TEW by FAO-56 eq. 73. REW by a relation used with the FAO-56 tables, within the ranges of
        Table 19.
        """
        fc, wp = self.field_capacity, self.wilting_point
        total = 1000.0 * (fc - 0.5 * wp) * EVAPORATION_DEPTH
        return total, np.minimum(0.8 + 54.4 * (fc - wp), 0.6 * total)

    def soil_table(self) -> Array:
        """Soil facts as the compiled step reads them, (field, `SoilFact`)."""
        out = np.empty((self.sand.size, len(SoilFact)))
        wp, fc, sat = self.wilting_point, self.field_capacity, self.saturation
        ksat = saturated_conductivity(self.sand, self.clay, self.organic_pct) * self.drain_factor
        tew, rew = self.evaporable_water()
        out[:, SoilFact.WP], out[:, SoilFact.LOW] = wp, 0.5 * wp
        out[:, SoilFact.FC], out[:, SoilFact.SAT] = fc, sat
        out[:, SoilFact.KSAT] = ksat
        out[:, SoilFact.DEEP] = ksat * DEEP_DRAINAGE_SHARE[self.drainage]
        depth = np.where(np.isnan(self.tile_depth_m), TILE_DEPTH, self.tile_depth_m)
        usual = usual_spacing(ksat, depth)
        spacing = np.where(np.isnan(self.tile_spacing_m), usual, self.tile_spacing_m)
        linear, square = hooghoudt_terms(ksat, spacing, depth)
        out[:, SoilFact.TILE_DEPTH] = np.where(self.tile, depth, 0.0)
        out[:, SoilFact.TILE_LINEAR], out[:, SoilFact.TILE_SQUARE] = linear, square
        out[:, SoilFact.RISE] = (sat - self.drained_water) / REST_HEIGHT
        out[:, SoilFact.INTAKE] = INTAKE_SHARE * retention(self.curve_number())
        out[:, SoilFact.INV_SPAN], out[:, SoilFact.INV_FREE] = 1.0 / (fc - wp), 1.0 / (sat - fc)
        out[:, SoilFact.INV_FALLING] = 1.0 / (tew - rew)
        # 5 % less evaporation for each 10 % of ground under residue (FAO-56)
        out[:, SoilFact.EVAPORATION] = self.evap_factor * (1.0 - 0.5 * self.residue)
        # at most a fifth of the difference between two layers in an hour
        rate = CAPILLARY_RATE * np.clip(self.clay / 0.2, 0.3, 1.5)
        out[:, SoilFact.CAPILLARY] = np.minimum(rate, 0.2 * (fc - wp) * 1000.0 * THICKNESS[0])
        out[:, SoilFact.CATCH] = CATCH_MM + CATCH_RESIDUE_MM * self.residue
        return out

    def initial_state(self) -> Array:
        """State at half of the plant-available water, thawed, without snow, (field, columns)."""
        out = np.zeros((self.sand.size, WATER_COLUMNS))
        out[:, :N_LAYERS] = (0.5 * (self.field_capacity + self.wilting_point))[:, None]
        out[:, WaterState.MEAN_TEMP] = 5.0
        return out
