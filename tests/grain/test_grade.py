"""U.S. wheat grades against the table of 7 CFR 810.2204."""

import pytest

from readiness.grain.grade import SAMPLE_GRADE, wheat_grade


# published: 7 CFR 810.2204; soft red winter of 57.5 lb fails 58, hard red spring does not fail 57
@pytest.mark.parametrize(
    ("grade", "facts"),
    [
        (3, {"test_weight": 57.5}),
        (2, {"test_weight": 57.5, "spring": True}),
        (3, {"test_weight": 61.0, "damaged": 4.1}),
        (1, {"test_weight": 60.0, "damaged": 2.0}),
        (SAMPLE_GRADE, {"test_weight": 50.9}),
        (5, {"test_weight": 50.9, "spring": True}),
        (SAMPLE_GRADE, {"test_weight": 62.0, "damaged": 15.1}),
    ],
)
def test_published_grades(grade, facts):
    assert wheat_grade(facts.pop("test_weight"), **facts) == grade


# published: every limit of the table is the worst value that its grade allows
@pytest.mark.parametrize(
    ("spring", "least"),
    [(True, (58.0, 57.0, 55.0, 53.0, 50.0)), (False, (60.0, 58.0, 56.0, 54.0, 51.0))],
)
def test_each_limit_is_the_worst_value_of_its_grade(spring, least):
    for grade, (weight, damaged) in enumerate(zip(least, (2, 4, 7, 10, 15), strict=True), 1):
        assert wheat_grade(weight, damaged=damaged, spring=spring) == grade
        assert wheat_grade(weight - 0.1, damaged=damaged, spring=spring) == grade + 1
        assert wheat_grade(weight, damaged=damaged + 0.1, spring=spring) == grade + 1


def test_lighter_or_more_sprouted_wheat_never_grades_better():
    weights = [50 + 0.5 * i for i in range(24)]
    for damaged in (0.0, 3.0, 8.0, 20.0):
        grades = [wheat_grade(w, damaged=damaged) for w in weights]
        assert grades == sorted(grades, reverse=True)
        assert all(
            wheat_grade(w, damaged=damaged + 1) >= g for w, g in zip(weights, grades, strict=True)
        )
