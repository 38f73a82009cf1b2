"""Units at the edges: SI inside; US or metric units, by the farm file, for people.

Factors are the exact definitions of NIST SP 811 (2008), appendix B.8, for the international
foot and pound and the U.S. bushel. A bushel of grain is a weight, by the crop's pounds per
bushel; a bushel of tank or cart is a volume.
"""

from __future__ import annotations

import math
import re
from typing import Literal

from readiness.grain.crops import CROPS
from readiness.grain.grade import WHEAT_KG_HL_PER_LB_BU
from scheduler.language.locale_formats import number
from scheduler.language.translation import _

Units = Literal["us", "metric"]

LB_KG = 0.45359237
BUSHEL_M3 = 0.03523907
ACRE_HA = 0.40468564224
MILE_KM = 1.609344
FOOT_M = 0.3048
INCH_MM = 25.4
#: Rain read as a trace, mm; the U.S. cooperative observers write a trace below 0.005 in, 0.127 mm
#: (memory); assumed to be half of that. It wets ears, not ground.
TRACE_MM = 0.06
SHORT_TON_T = 2000.0 * LB_KG / 1000.0
#: Pounds of a bushel where no crop is named (common practice, no source: wheat is 60 lb).
WHEAT_LB = 60.0
#: kg/hL per lb/bu by volume alone: 1.2872.
LB_BU_KG_HL = LB_KG / (BUSHEL_M3 * 10.0)

#: SI per unit, by quantity and by the unit names that files may carry (see `normalized_name`).
#: 0 marks a unit by the bushel, whose weight depends on the crop: see `si_per_unit`.
SI_PER_UNIT: dict[str, dict[str, float]] = {
    "area": {"ac": ACRE_HA, "acre": ACRE_HA, "acres": ACRE_HA, "ha": 1.0, "hectares": 1.0},
    "depth": {"in": INCH_MM, "inch": INCH_MM, "inches": INCH_MM, "mm": 1.0, "cm": 10.0},
    "distance": {"mi": MILE_KM, "mile": MILE_KM, "miles": MILE_KM, "km": 1.0},
    "length": {"ft": FOOT_M, "feet": FOOT_M, "m": 1.0},
    "speed": {"mph": MILE_KM, "km_h": 1.0, "kmh": 1.0},
    "wind": {"mph": MILE_KM / 3.6, "km_h": 1 / 3.6, "kmh": 1 / 3.6, "ms": 1.0, "m_s": 1.0},
    "volume": {"bu": BUSHEL_M3, "bushels": BUSHEL_M3, "m3": 1.0, "l": 0.001},
    "unloading": {"bu_min": BUSHEL_M3 / 60, "bu_s": BUSHEL_M3, "l_s": 0.001, "m3_min": 1 / 60},
    "weight": {"lb": LB_KG / 1000, "ton": SHORT_TON_T, "t": 1.0, "kg": 0.001},
    "flow": {"bu_h": WHEAT_LB * LB_KG / 1000, "lb_h": LB_KG / 1000, "t_h": 1.0},
    "mass": {"bu": 0.0, "t": 1.0, "kg": 0.001, "lb": LB_KG / 1000},
    "yield": {"bu_ac": 0.0, "bu": 0.0, "t_ha": 1.0, "kg_ha": 0.001},
    "price": {"bu": 0.0, "per_bu": 0.0, "t": 1.0, "per_t": 1.0},
    "money_area": {"ac": 1 / ACRE_HA, "per_ac": 1 / ACRE_HA, "ha": 1.0, "per_ha": 1.0},
    "test_weight_change": {"lb_bu": LB_BU_KG_HL, "kg_hl": 1.0},
}
#: Unit of a number that carries none: on a farm with US units, on a metric farm.
DEFAULT_UNITS: dict[str, tuple[str, str]] = {
    "area": ("ac", "ha"),
    "depth": ("in", "mm"),
    "distance": ("mi", "km"),
    "length": ("ft", "m"),
    "speed": ("mph", "km_h"),
    "wind": ("mph", "km_h"),
    "volume": ("bu", "m3"),
    "unloading": ("bu_min", "l_s"),
    "weight": ("lb", "t"),
    "flow": ("bu_h", "t_h"),
    "mass": ("bu", "t"),
    "yield": ("bu_ac", "t_ha"),
    "price": ("per_bu", "per_t"),
    "money_area": ("per_ac", "per_ha"),
    "test_weight_change": ("lb_bu", "kg_hl"),
}


def normalized_name(name: str) -> str:
    """A name for comparison: lower case, words joined by '_', '%' as 'pct'."""
    low = name.strip().lower().replace("%", " pct ").replace("³", "3").replace("°", "")
    return re.sub(r"[^0-9a-z]+", "_", low).strip("_")


def bushel_t(crop: str | None) -> float:
    """Tonnes in a bushel of a crop; of wheat where no crop is given."""
    lb = CROPS[crop].lb_per_bu if crop else WHEAT_LB
    return lb * LB_KG / 1000.0


def si_per_unit(quantity: str, unit: str, crop: str | None = None) -> float:
    """SI per `unit` of a quantity; `crop` matters for units by the bushel only."""
    fixed = SI_PER_UNIT[quantity][unit]
    if fixed:
        return fixed
    tonnes = bushel_t(crop)
    return {"mass": tonnes, "yield": tonnes / ACRE_HA, "price": 1.0 / tonnes}[quantity]


def unit_name(quantity: str, units: Units) -> str:
    """Unit of a quantity on a farm with these units, 'ac' or 'ha'."""
    return DEFAULT_UNITS[quantity][units == "metric"]


def from_si(value: float, quantity: str, units: Units, crop: str | None = None) -> float:
    """A number in SI, converted to the farm's units."""
    return value / si_per_unit(quantity, unit_name(quantity, units), crop)


def kg_hl(lb_bu: float, crop: str) -> float:
    """Test weight, kg/hL from lb/bu, by the conversions of the U.S. grain inspection service.

    Wheat 1.292 x + 1.419, durum 1.292 x + 0.630, other grain 1.287 x (values from memory).
    """
    if crop == "wheat_durum":
        return WHEAT_KG_HL_PER_LB_BU * lb_bu + 0.630
    if crop.startswith("wheat"):
        return WHEAT_KG_HL_PER_LB_BU * lb_bu + 1.419
    return 1.287 * lb_bu


def lb_bu(value_kg_hl: float, crop: str) -> float:
    """Test weight, lb/bu from kg/hL: the inverse of `kg_hl`."""
    zero = kg_hl(0.0, crop)
    return (value_kg_hl - zero) / (kg_hl(1.0, crop) - zero)


def show_test_weight(value_kg_hl: float, crop: str, units: Units) -> str:
    """Test weight as '58.7 lb/bu' or '77.3 kg/hL'."""
    us = units == "us"
    return _show(lb_bu(value_kg_hl, crop) if us else value_kg_hl, "lb/bu" if us else "kg/hL", 1)


def show_number(value: float, digits: int = 0) -> str:
    """A number with thousands separators; never a minus before zero."""
    return number(0.0 if round(value, digits) == 0 else value, digits)


def short_number(value: float, most: int = 4) -> str:
    """A number with as few decimals as it needs, at most `most`: '17.5', '18'."""
    decimals = f"{value:.{most}f}".partition(".")[2].rstrip("0")
    return show_number(value, len(decimals))


def signed_number(value: float, digits: int = 0) -> str:
    """A number with its sign: '+1.5', '-0.2'."""
    text = show_number(value, digits)
    return text if text.startswith("-") else f"+{text}"


def _show(value: float, unit: str, small: int, large: int = 0, edge: float = 100.0) -> str:
    """Value and unit: `small` decimals below `edge`, `large` from there; NaN is 'unknown'."""
    if math.isnan(value):
        return _("unknown")
    return f"{show_number(value, small if abs(value) < edge else large)} {unit}"


def show_area(ha: float, units: Units) -> str:
    """Area as '160 ac'."""
    return _show(from_si(ha, "area", units), unit_name("area", units), 1)


def show_part(ha: float, whole_ha: float, units: Units) -> str:
    """Part of an area as '35.9 of 148 ac'."""
    part, whole = show_area(ha, units), show_area(whole_ha, units)
    return _("{part} of {whole}", part=part.rpartition(" ")[0], whole=whole)


def show_depth(mm: float, units: Units) -> str:
    """Depth of rain or water as '0.42 in' or '10.7 mm'; 'trace' for less than a gauge shows."""
    if 0.0 < round(mm, 6) <= TRACE_MM:
        return _("trace")
    return _show(from_si(mm, "depth", units), *(("in", 2, 2) if units == "us" else ("mm", 1, 1)))


def rough_depth(mm: float, units: Units) -> str:
    """Depth to a tenth of an inch, or to a millimetre."""
    inches = units == "us"
    return _show(from_si(mm, "depth", units), "in" if inches else "mm", 1 if inches else 0)


def show_temp(c: float, units: Units) -> str:
    """Temperature as '72 °F'."""
    return _show(c * 1.8 + 32.0, "°F", 0) if units == "us" else _show(c, "°C", 0)


def show_distance(km: float, units: Units) -> str:
    """Road distance as '12.4 mi'."""
    return _show(from_si(km, "distance", units), unit_name("distance", units), 1)


def wheat_equivalent_t(t: float, crop: str | None) -> float:
    """Tonnes of wheat in the volume of `t` tonnes of a crop, by their pounds per bushel.

    No crop stands for wheat.
    """
    return t * bushel_t(None) / bushel_t(crop)


def show_mass(t: float, crop: str | None, units: Units) -> str:
    """Mass of grain as '9,600 bu' by the crop's pounds per bushel, or '261 t'."""
    value = from_si(t, "mass", units, crop)
    return _show(value, "bu", 0) if units == "us" else _show(value, "t", 1)


def show_rate(ha_h: float, units: Units) -> str:
    """Cutting rate as '21.3 ac/h'."""
    return _show(from_si(ha_h, "area", units), f"{unit_name('area', units)}/h", 1)


def show_wind(ms: float, units: Units) -> str:
    """Wind as '12 mph' or '19 km/h'."""
    return _show(from_si(ms, "wind", units), "mph" if units == "us" else "km/h", 0)


def show_money(value: float, currency: str, digits: int = 0) -> str:
    """Money as '$12,340', '-$120' or 'EUR 12,340'; NaN is 'unknown'."""
    if math.isnan(value):
        return _("unknown")
    text = show_number(value, digits)
    sign = "-" if text.startswith("-") else ""
    before = f"{currency} " if currency[-1:].isalpha() else currency
    amount = text.lstrip("-")
    return _("{sign}{currency}{amount}", sign=sign, currency=before, amount=amount).strip()


def show_price(per_t: float, crop: str, units: Units, currency: str) -> str:
    """Price of grain as '$7.05/bu' or '$259.04/t'."""
    value = from_si(per_t, "price", units, crop)
    text = show_money(value, currency, 2)
    return text if math.isnan(value) else f"{text}/{'bu' if units == 'us' else 't'}"
