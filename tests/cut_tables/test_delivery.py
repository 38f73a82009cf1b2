"""Delivery points of each job and slot, and storage that is short."""

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from small_farm import HOURS, compiled, farm, field, season, two_points

from scheduler.cut_tables.storage import assign_storage
from scheduler.explanation.reasons import left_out_reason
from scheduler.orders.reasons import LeftOutKind


def test_grain_goes_to_the_elevator_by_day_and_to_bins_by_night_or_when_wet():
    # dry from noon of the first day on; slots are half-hours from 06:00
    wet = np.full((3, HOURS), 14.0)
    wet[:, :6] = 17.0
    acres = tuple(replace(f, area_ha=10 * f.area_ha) for f in farm().fields[:2])
    fields = (farm().fields[2], *acres)  # more than two crews cut in four days
    tables = compiled(farm(points=two_points(), fields=fields), season(3, wet))
    points = ["E" if q == 0 else "bins" for q in tables.point[0, 0, 0]]
    assert points[:12] == ["bins"] * 12  # E turns 17 % away
    assert points[12:28] == ["E"] * 16  # 12:00 to 20:00
    assert points[28:52] == ["bins"] * 24  # to 08:00
    assert points[52:76] == ["E"] * 24
    # F3, 25 ha x 6 t/ha at 13.5 %, takes three hours: cut by night it sells for 10 a tonne less
    # than by day; the grain that shatters in between is lost wherever it is sold
    alone = compiled(farm(points=two_points()[1:], fields=fields), season(3, wet))
    night, day = 30, 54
    both, bins = (t.tables.cost[0, 0, 0] / 100.0 for t in (tables, alone))
    assert (both[night] - both[day]) - (bins[night] - bins[day]) == pytest.approx(1500.0, rel=0.03)


def test_short_storage_goes_to_the_jobs_that_need_it_most():
    # F1, F2, F3 yield 40, 160 and 150 t: the bins hold F2 or F3, or F1 alone; E takes no grain over
    # 15 %, F1 and F2 stand at 17 %, and E takes F3 at nearly the price of the bins
    wet = np.repeat(np.array([[17.0], [17.0], [14.5]]), HOURS, axis=1)
    tables = compiled(farm(points=two_points(capacity_t=190.0)), season(3, wet))
    kept = [[sorted(rates) for rates in crew] for crew in tables.rates]
    assert kept == [[[], [1], [0]]] * 2  # points of F1, F2, F3
    assert (tables.tables.finish[:, :, 0] == -1).all()
    assert left_out_reason(tables, season(3, wet), 0).kind is LeftOutKind.NO_DELIVERY_POINT
    # with storage for all grain, no job is kept out
    ample = compiled(farm(points=two_points(capacity_t=1e4)), season(3, wet))
    free = compiled(farm(points=two_points()), season(3, wet))
    assert (ample.tables.finish == free.tables.finish).all()
    assert (ample.tables.cost == free.tables.cost).all()


def test_seed_grain_goes_to_the_farms_own_bins():
    # common practice, no source: a farm keeps its seed where it has a bin for it
    for own, expected in ((True, [1]), (False, [0, 1])):
        seed = (*farm().fields[:2], replace(farm().fields[2], purpose="seed", area_ha=600.0))
        tables = compiled(farm(points=two_points(own=own), fields=seed), season(3, 14.0))
        assert sorted(tables.rates[0][2]) == expected
    full = compiled(farm(points=two_points(own=True, capacity_t=0.0), fields=seed))
    assert sorted(full.rates[0][2]) == [0]
    # bins that take no grain of this moisture keep no seed
    wet = compiled(farm(points=two_points(own=True), fields=seed), season(3, 21.0))
    assert sorted(wet.rates[0][2]) == []
    e, bins = two_points(own=True)
    dry = {"wheat_hard": replace(bins.markets["wheat_hard"], moisture_limit_pct=10.0)}
    none = compiled(farm(points=(e, replace(bins, markets=dry)), fields=seed), season(3, 14.0))
    assert sorted(none.rates[0][2]) == [0]


def test_a_crew_with_spare_time_waits_for_the_better_price():
    # 8.4 ha/h x 4 t/ha sold for 2 a tonne less lose 67 an hour. Half of the standing grain loses
    # 0.3 % of 1000 a ha in a day of 8 hours: 20 ha lose some 4 an hour, 600 ha some 110, so that
    # the crew goes on cutting
    dear, own = two_points()
    cheap = {"wheat_hard": replace(own.markets["wheat_hard"], price_t=248.0)}
    points = (dear, replace(own, markets=cheap))
    for area, expected in ((20.0, [0]), (600.0, [0, 1])):
        one = farm(points=points, crews=farm().crews[:1], fields=(field("F1", area_ha=area),))
        tables = compiled(one, season(1, 14.0, days=10))
        assert sorted(tables.rates[0][0]) == expected


def test_storage_is_assigned_as_well_as_by_enumeration():
    # against every assignment of jobs to the storage of two points or to none, drawn at random
    rng = np.random.default_rng(5)
    for _ in range(60):
        jobs = int(rng.integers(1, 7))
        cost = rng.integers(0, 100, (jobs, 3)).astype(float)
        tonnes, capacity = rng.uniform(5, 40, jobs), rng.uniform(0, 80, 2)
        best = np.inf
        for choice in product(range(3), repeat=jobs):
            used = [sum(t for t, c in zip(tonnes, choice, strict=True) if c == i) for i in (1, 2)]
            if (np.array(used) <= capacity).all():
                best = min(best, sum(cost[j, c] for j, c in enumerate(choice)))
        found = assign_storage(cost, tonnes, capacity)
        for i in (1, 2):
            assert tonnes[found == i].sum() <= capacity[i - 1] + 1e-6
        assert cost[np.arange(jobs), found].sum() == pytest.approx(best)
