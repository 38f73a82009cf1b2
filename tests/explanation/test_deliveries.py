"""Where the grain of a job goes and in how many loads, on a small farm worked by hand."""

from dataclasses import replace
from datetime import timedelta

import pytest
import small_farm

from scheduler.explanation.briefing import crew_orders


def first_stint(**changes):
    """What the first crew does first, with all fields its own."""
    season = small_farm.season(3)
    made = small_farm.first_crew_has_all(small_farm.farm(**changes), season)
    return crew_orders(made, season, small_farm.sky(season), {})[0].stints[0]


# hand: a load of T1 is 25 t, one of T2 10 t; both carry 17.5 t a load on the mean, T1 alone 25 t
@pytest.mark.parametrize(("hours", "load_t"), [(0, 17.5), (96, 25.0)])
def test_loads_are_those_of_the_trucks_that_are_up(hours, load_t):
    first, second, *others = small_farm.farm().trucks
    down = ((small_farm.NOW, small_farm.NOW + timedelta(hours=hours)),) if hours else ()
    trucks = (first, replace(second, payload_t=10.0, down=down), *others)
    stint = first_stint(trucks=trucks)
    assert stint.tonnes / sum(d.loads for d in stint.deliveries) == pytest.approx(load_t)
