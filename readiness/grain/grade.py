"""U.S. grade of wheat by what weather takes from it: test weight and sprouted kernels."""

from __future__ import annotations

#: Least test weight of U.S. No. 1 to 5, lb/bu (7 CFR 810.2204, published).
LEAST_SPRING = (58.0, 57.0, 55.0, 53.0, 50.0)  # hard red spring and white club
LEAST_OTHER = (60.0, 58.0, 56.0, 54.0, 51.0)
#: Most damaged kernels of the same, percent; sprouted kernels are damaged ones.
MOST_DAMAGED = (2.0, 4.0, 7.0, 10.0, 15.0)
SAMPLE_GRADE = 6  # below No. 5: U.S. Sample grade


def wheat_grade(test_weight: float, *, damaged: float = 0.0, spring: bool = False) -> int:
    """Best U.S. wheat grade 1-5 left open, or `SAMPLE_GRADE` (7 CFR 810.2204).

    Heat damage, foreign material, shrunken kernels and other classes may lower it further;
    moisture is not a grade factor.

    Parameters
    ----------
    test_weight : lb/bu. damaged : percent of kernels, sprouted ones included.
    spring : hard red spring or white club, whose least test weights are lower.
    """
    limits = zip(LEAST_SPRING if spring else LEAST_OTHER, MOST_DAMAGED, strict=True)
    for number, (least, most) in enumerate(limits, 1):
        if test_weight >= least and damaged <= most:
            return number
    return SAMPLE_GRADE
