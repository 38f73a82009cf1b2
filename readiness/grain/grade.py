"""Quality that weather spoils: test weight, sprouted kernels, falling number, U.S. wheat grade."""

from __future__ import annotations

from readiness.atmosphere.weather import Array

#: Minimum test weight of U.S. No. 1 to 5, lb/bu (7 CFR 810.2204, published).
MIN_TEST_WEIGHT_SPRING = (58.0, 57.0, 55.0, 53.0, 50.0)  # hard red spring and white club
MIN_TEST_WEIGHT_OTHER = (60.0, 58.0, 56.0, 54.0, 51.0)
#: Maximum of damaged kernels of U.S. No. 1 to 5, percent; sprouted kernels are damaged kernels.
MAX_DAMAGED = (2.0, 4.0, 7.0, 10.0, 15.0)
#: kg/hL in a pound a bushel of wheat, by the conversion of the U.S. grain inspection service
#: (memory). Moves what a test weight in lb/bu is worth.
WHEAT_KG_HL_PER_LB_BU = 1.292
SAMPLE_GRADE = 6  # below No. 5: U.S. Sample grade
#: Most that wetting takes off the test weight, kg/hL. Assumed, because reported falls stop near
#: 6 lb/bu. It decides what further rain costs a field that has been wet often.
TEST_WEIGHT_LOSS_MAX = 8.0
#: Falling number, seconds, below which wheat shows some and severe sprouting (FGIS, published by
#: the Idaho Wheat Commission), and the sprouted shares that stand for the two. The shares are
#: assumed, because falling number follows enzymes, which no published curve ties to kernels.
#: They decide how far a measured falling number moves the modelled sprouting.
FALLING_NUMBER_STEPS = ((300.0, 0.005), (200.0, 0.04))


def weight_lost_to_wetting(wettings: Array, *, first: float, most: float) -> Array:
    """Test weight that wettings of ripe grain have cost, kg/hL; the first costs most.

    Each wetting takes the same share of what can still be lost. NDSU 2012: 2-3 lb/bu are usual
    after rain, more with further wettings; Virginia Tech 2006: 3.8 lb/bu in twelve days.

    Parameters
    ----------
    wettings : count, any shape; part of a wetting counts in part.
    first : cost of the first wetting, kg/hL.
    most : cost of any number of wettings, kg/hL.
    """
    left = 1.0 - min(first / most, 1.0) if most > 0.0 else 0.0
    return most * (1.0 - left**wettings)


def sprouting_of_falling_number(seconds: float) -> tuple[float, float]:
    """Least and most sprouted share, 0-1, in accordance with a measured falling number."""
    low, high = 0.0, 1.0
    for limit, share in FALLING_NUMBER_STEPS:
        if seconds < limit:
            low = share
        else:
            high = min(high, share)
    return low, high


def wheat_grade(test_weight: float, *, damaged: float = 0.0, spring: bool = False) -> int:
    """Best U.S. wheat grade 1-5 that the two factors allow, or `SAMPLE_GRADE` (7 CFR 810.2204).

    Heat damage, foreign material, shrunken kernels and other classes can lower the grade further.
    Moisture is not a grade factor.

    Parameters
    ----------
    test_weight : lb/bu.
    damaged : damaged kernels, sprouted kernels included, percent.
    spring : whether the wheat is hard red spring or white club, with lower minimum test weights.
    """
    weights = MIN_TEST_WEIGHT_SPRING if spring else MIN_TEST_WEIGHT_OTHER
    for grade, (lowest, highest) in enumerate(zip(weights, MAX_DAMAGED, strict=True), 1):
        if test_weight >= lowest and damaged <= highest:
            return grade
    return SAMPLE_GRADE
