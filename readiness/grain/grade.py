"""U.S. grade of wheat by test weight and sprouted kernels, the two factors that weather spoils."""

from __future__ import annotations

#: Minimum test weight of U.S. No. 1 to 5, lb/bu (7 CFR 810.2204, published).
MIN_TEST_WEIGHT_SPRING = (58.0, 57.0, 55.0, 53.0, 50.0)  # hard red spring and white club
MIN_TEST_WEIGHT_OTHER = (60.0, 58.0, 56.0, 54.0, 51.0)
#: Maximum of damaged kernels of U.S. No. 1 to 5, percent; sprouted kernels are damaged kernels.
MAX_DAMAGED = (2.0, 4.0, 7.0, 10.0, 15.0)
SAMPLE_GRADE = 6  # below No. 5: U.S. Sample grade


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
