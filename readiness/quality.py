"""Weights and qualities the grain trade reckons with: shrink, bushels, test weight, grades."""

from __future__ import annotations

import numpy as np

from readiness.weather import Array

#: Weight lost in handling besides water, percent of the wet weight (common, published).
HANDLING_SHRINK = 0.5

#: kg/hL = slope x lb/bu + offset (Federal Grain Inspection Service, memory).
TEST_WEIGHT: dict[str, tuple[float, float]] = {
    "wheat_hard": (1.292, 1.419),
    "wheat_soft": (1.292, 1.419),
    "wheat_durum": (1.292, 0.630),
}
OTHER_GRAIN = (1.287, 0.0)

#: U.S. wheat grades No. 1-5 (7 CFR 810.2204): least test weight in lb/bu, then most percent.
GRADE_TEST_WEIGHT_SPRING = (58.0, 57.0, 55.0, 53.0, 50.0)  # hard red spring and white club
GRADE_TEST_WEIGHT_OTHER = (60.0, 58.0, 56.0, 54.0, 51.0)
GRADE_MOST: dict[str, tuple[float, ...]] = {
    "heat_damaged": (0.2, 0.2, 0.5, 1.0, 3.0),
    "damaged": (2.0, 4.0, 7.0, 10.0, 15.0),  # sprouted kernels count here
    "foreign": (0.4, 0.7, 1.3, 3.0, 5.0),
    "shrunken": (3.0, 5.0, 8.0, 12.0, 20.0),
    "defects": (3.0, 5.0, 8.0, 12.0, 20.0),  # damaged + foreign + shrunken
}
SAMPLE_GRADE = 6  # below No. 5: U.S. Sample grade

#: Falling number above which no, and below which severe sprouting is presumed, s (FGIS).
FALLING_SOUND, FALLING_SEVERE = 300.0, 200.0


def weight_at(weight: Array, moisture: Array, *, base: float) -> Array:
    """Weight of the same dry matter at `base` moisture: W (100 - M) / (100 - base), percent wb."""
    return np.asarray(weight * (100.0 - moisture) / (100.0 - base), dtype=np.float64)


def water_shrink(moisture: Array, *, base: float, handling: float = 0.0) -> Array:
    """Loss of weight on drying to `base`, percent of the wet weight; none for drier grain.

    100 / (100 - base) per point of moisture, and `handling` percent besides.
    """
    points = np.maximum(moisture - base, 0.0)
    return np.asarray(points * 100.0 / (100.0 - base) + handling, dtype=np.float64)


def lb_per_bushel(moisture: Array, *, lb_per_bu: float, base: float) -> Array:
    """Wet pounds that hold the dry matter of one bushel at base moisture."""
    return np.asarray(lb_per_bu * (100.0 - base) / (100.0 - moisture), dtype=np.float64)


def metric_test_weight(lb_per_bu: Array, crop: str) -> Array:
    """Test weight in kg/hL from pounds per bushel."""
    slope, offset = TEST_WEIGHT.get(crop, OTHER_GRAIN)
    return np.asarray(slope * np.asarray(lb_per_bu) + offset, dtype=np.float64)


def us_test_weight(kg_hl: Array, crop: str) -> Array:
    """Test weight in pounds per bushel from kg/hL."""
    slope, offset = TEST_WEIGHT.get(crop, OTHER_GRAIN)
    return np.asarray((np.asarray(kg_hl) - offset) / slope, dtype=np.float64)


def blended_falling_number(falling: Array, share: Array) -> float:
    """Falling number of a blend, s; liquefaction number 6000 / (FN - 50) averages linearly.

    Parameters
    ----------
    falling : (lot,) s, above 50. share : (lot,) weights, any scale.
    """
    parts = np.asarray(share, dtype=np.float64) / np.sum(share)
    return float(50.0 + 6000.0 / np.sum(parts * 6000.0 / (np.asarray(falling) - 50.0)))


def wheat_grade(
    test_weight: float,
    *,
    spring: bool = False,
    heat_damaged: float = 0.0,
    damaged: float = 0.0,
    foreign: float = 0.0,
    shrunken: float = 0.0,
) -> int:
    """U.S. wheat grade 1-5, or 6 for Sample grade; moisture is not a grade factor.

    Parameters
    ----------
    test_weight : lb/bu.
    spring : hard red spring or white club, whose test weights are lower.
    heat_damaged, damaged, foreign, shrunken : percent; sprouted kernels are damaged ones.
    """
    table = GRADE_TEST_WEIGHT_SPRING if spring else GRADE_TEST_WEIGHT_OTHER
    found = {
        "heat_damaged": heat_damaged,
        "damaged": damaged,
        "foreign": foreign,
        "shrunken": shrunken,
        "defects": damaged + foreign + shrunken,
    }
    for number, least in enumerate(table):
        if test_weight >= least and all(found[k] <= GRADE_MOST[k][number] for k in found):
            return number + 1
    return SAMPLE_GRADE
