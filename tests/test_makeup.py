"""Make-ups, dispatching rules and cut tables on small farms worked by hand."""

from dataclasses import replace
from datetime import datetime, time, timedelta
from itertools import product
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from readiness.season.codes import Reason, Tier
from readiness.season.simulate import Season
from scheduler.costs.machine_rates import CrewMachines
from scheduler.costs.standing_loss import jobs_of, standing_loss_of
from scheduler.cut_tables.compile import compile_tables
from scheduler.cut_tables.makeup import makeups, own_makeup
from scheduler.cut_tables.moves import move_minutes
from scheduler.cut_tables.storage import assign_storage
from scheduler.explanation.reasons import left_out_reason
from scheduler.farm.distances import between_km
from scheduler.farm.model import (
    Cart,
    Combine,
    Crew,
    DeliveryPoint,
    Farm,
    Field,
    Market,
    Moves,
    Truck,
)
from scheduler.farm.working_time import slot_times
from scheduler.orders.reasons import LeftOutKind
from scheduler.planning.dispatch_rules import (
    LARGEST_FIRST,
    MOST_VALUABLE_FIRST,
    NEAREST_FIRST,
    RIPEST_FIRST,
    dispatched_orders,
)
from scheduler.report.phrases import makeup_text
from scheduler.simulation.field_work import begun, follow, work
from scheduler.solver.check import check
from scheduler.solver.evaluation import evaluate

UTC = ZoneInfo("UTC")
NOW = datetime(2026, 8, 12, 6, tzinfo=UTC)
DAY = ((time(0), time(0)),) * 7
HOURS = 96


def combine(name, **other):
    values = {
        "id": name,
        "header_m": 10.0,
        "speed_kmh": 6.0,
        "efficiency": 0.7,
        "tank_m3": 12.0,
        "unload_m3_s": 0.15,
    }
    return Combine(**(values | other))


def field(name, **other):
    values = {
        "id": name,
        "name": name,
        "lat": 47.0,
        "lon": -99.0,
        "area_ha": 20.0,
        "crop": "wheat_hard",
        "sand": 0.4,
        "clay": 0.2,
        "yield_t_ha": 4.0,
        "test_weight_kg_hl": 78.0,
    }
    return Field(**(values | other))


def farm(**other):
    market = Market(price_t=250.0, moisture_base_pct=13.5, moisture_limit_pct=18.0)
    values = {
        "name": "Test",
        "tz": UTC,
        "units": "metric",
        "base_lat": 47.0,
        "base_lon": -99.0,
        "combines": (combine("C1"), combine("C2"), combine("C3", header_m=8.0)),
        "carts": (
            Cart(id="K1", capacity_m3=35, unload_m3_s=0.3),
            Cart(id="K2", capacity_m3=35, unload_m3_s=0.3),
        ),
        "trucks": tuple(Truck(id=f"T{i}", capacity_m3=35, payload_t=25) for i in range(1, 5)),
        "crews": (
            Crew(
                id="A",
                combines=("C1", "C2"),
                carts=("K1",),
                trucks=("T1", "T2"),
                week=DAY,
                people=6,
                hours_max_day=24,
            ),
            Crew(
                id="B",
                combines=("C3",),
                carts=("K2",),
                trucks=("T3", "T4"),
                week=DAY,
                people=5,
                hours_max_day=24,
            ),
        ),
        "points": (
            DeliveryPoint(id="E", lat=47.0, lon=-99.0, week=DAY, markets={"wheat_hard": market}),
        ),
        "fields": (
            field("F1", area_ha=10.0, lon=-99.10),
            field("F2", area_ha=40.0, lon=-99.02),
            field("F3", area_ha=25.0, lon=-99.05, yield_t_ha=6.0),
        ),
    }
    return Farm(**(values | other))


def season(n, moisture=13.5, members=1, days=4):
    shape = (members, n, 24 * days)
    full = {
        name: np.zeros(shape) for name in ("water_top", "water_below", "film", "wettings", "sprout")
    }
    wet = np.broadcast_to(np.asarray(moisture, dtype=float), shape[1:] if np.ndim(moisture) else ())
    return Season(
        start=np.datetime64("2026-08-12T06", "h"),
        moisture=np.broadcast_to(wet, shape).copy(),
        tier=np.full(shape, Tier.FIRM, np.uint8),
        approach=np.full(shape, Tier.FIRM, np.uint8),
        reason=np.full(shape, Reason.OPEN, np.uint8),
        end=None,
        **full,
    )


def compiled(the_farm, the_season=None, makeup=None):
    the_season = the_season or season(len(the_farm.fields))
    standing_loss = standing_loss_of(
        the_farm, the_season, slot_times(NOW, the_season.moisture.shape[2] // 24, 30)
    )
    makeup = makeup or own_makeup(the_farm, NOW)
    return compile_tables(standing_loss, makeup, places=["base"] * len(makeup))


def test_the_users_own_makeup_comes_first_and_alike_machines_count_once():
    found = makeups(farm(), NOW)
    assert found[0] == own_makeup(farm(), NOW)
    kinds = {
        tuple((g.crew, tuple(sorted(c.header_m for c in g.combines)), len(g.trucks)) for g in m)
        for m in found
    }
    assert len(kinds) == len(found)
    for m in found:
        used = [x.id for g in m for x in (*g.combines, *g.carts, *g.trucks)]
        assert len(set(used)) == len(used)
        assert all(g.trucks for g in m)


def test_crews_may_join_into_one():
    joined = [m for m in makeups(farm(), NOW) if len(m) == 1]
    assert any(len(m[0].combines) == 3 for m in joined)


def test_fixed_crews_keep_their_machines():
    crews = tuple(replace(c, fixed=True) for c in farm().crews)
    assert makeups(farm(crews=crews), NOW) == [own_makeup(farm(), NOW)]


def test_a_machine_down_for_days_is_in_no_makeup():
    down = ((NOW - timedelta(hours=2), NOW + timedelta(days=2)),)
    machines = (combine("C1", down=down), combine("C2"), combine("C3"))
    for makeup in makeups(farm(combines=machines), NOW):
        assert all(c.id != "C1" for crew in makeup for c in crew.combines)


def test_hand_makeup_text():
    machines = CrewMachines(crew="A", combines=(combine("C1"),), carts=(), trucks=farm().trucks[:1])
    assert makeup_text((machines,)) == "A: C1 + 0 carts + 1 truck"


def test_hand_move():
    # 14 km at 28 km/h is 30 min, header off 10 and on 10, clean-out of a crop 30: 80 min
    a, b = field("A"), field("B", crop="barley")
    assert move_minutes(farm(), a, b, 14.0) == pytest.approx(80.0)
    # before grain for seed 90; from base the header is off; within a field no move
    assert move_minutes(farm(), a, field("S", purpose="seed"), 14.0) == pytest.approx(140.0)
    assert move_minutes(farm(), None, b, 14.0) == pytest.approx(40.0)
    assert move_minutes(farm(), a, a, 0.0) == 0.0
    assert move_minutes(farm(), a, field("V", variety="x"), 0.0) == pytest.approx(35.0)


def test_a_distance_of_the_user_wins_in_both_directions():
    moves = Moves(distances_km={("F1", "F2"): 99.0})
    assert between_km(farm(moves=moves), "F2", "F1") == 99.0
    # section roads: 0.08 degrees of longitude at 47 N is 6.07 km, none north or south
    assert between_km(farm(), "F1", "F2") == pytest.approx(6.07, abs=0.01)


def test_hand_hours_to_cut_a_field():
    # F2: 40 ha by two combines of 10 m x 6 km/h x 0.7 = 4.2 ha/h: 4.76 h, ten half-hours
    tables = compiled(farm())
    own = tables.tables.finish[0, 0, 1]
    assert own[0] - int(tables.arrive[0, 1, 0]) == 10
    assert tables.rates[0][1][0].limited_by == "combine"


def test_a_hollow_and_a_large_field_are_parcels():
    large = farm(fields=(field("F1", area_ha=250.0, wet_fraction=0.1, cut_fraction=0.2),))
    jobs = jobs_of(large)
    assert [j.parcel for j in jobs] == ["part 1 of 2", "part 2 of 2", "wet hollow"]
    assert sum(j.area_ha for j in jobs) == pytest.approx(200.0)
    assert [j.row for j in jobs] == [0, 0, 1]


def test_dispatching_rules_order_by_their_names():
    one_crew = farm(crews=(replace(farm().crews[0], fixed=True),))
    wet = np.repeat(np.array([[16.0], [15.0], [14.0]]), HOURS, axis=1)
    tables = compiled(one_crew, season(3, wet))
    orders = {name: o[0] for name, o in dispatched_orders(tables).items()}
    assert orders[NEAREST_FIRST] == (1, 2, 0)
    assert orders[LARGEST_FIRST] == (1, 2, 0)
    assert orders[RIPEST_FIRST] == (2, 1, 0)
    # 25 ha x 6 t/ha is worth less than 40 ha x 4 t/ha: 150 t against 160 t
    assert orders[MOST_VALUABLE_FIRST] == (1, 2, 0)
    for o in dispatched_orders(tables).values():
        assert check(tables.tables, evaluate(tables.tables, o)) == []


def test_closed_ground_is_not_cut_and_unknown_is_not_dry():
    shut = season(3)
    reason = shut.reason.copy()
    reason[:, 0, :48] = Reason.GROUND
    reason[:, 1, :] = Reason.UNKNOWN
    tables = compiled(farm(), replace(shut, reason=reason))
    assert not tables.can[0, :, 0, :96].any()
    assert (tables.tables.finish[0, :, 1] == -1).all()
    assert tables.tables.finish[0, 0, 0, 0] > 96


def test_trucks_full_and_elevator_shut_stop_the_combines():
    # open 08:00-12:00 only: in the evening the crew cuts until carts and trucks are full
    hours = ((time(8), time(12)),) * 7
    shut = farm(
        points=(replace(farm().points[0], week=hours),), fields=(field("F1", area_ha=90.0),)
    )
    free = farm(fields=(field("F1", area_ha=90.0),))
    late, soon = (compiled(f).tables.finish[0, 0, 0, 24] for f in (shut, free))
    assert late > soon
    # F1 yields 4 t/ha: 360 t are many times the 77 t that one cart and two trucks hold
    buffer = compiled(shut).rates[0][0][0].buffer
    assert buffer == pytest.approx(35 * 0.78 + 2 * 25.0)


# -- where the grain goes -----------------------------------------------------------------------


def two_points(**bins):
    """Elevator E, 250 a tonne, 08:00 to 20:00, up to 15 %; bins, 240, always, up to 20 %."""
    elevator = farm().points[0]
    market = elevator.markets["wheat_hard"]
    own = replace(market, price_t=240.0, moisture_limit_pct=20.0)
    return (
        replace(
            elevator,
            week=((time(8), time(20)),) * 7,
            markets={"wheat_hard": replace(market, moisture_limit_pct=15.0)},
        ),
        replace(elevator, id="bins", markets={"wheat_hard": own}, **bins),
    )


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


def test_slot_by_slot_work_hauls_and_loses_as_the_tables():
    # an independent pass over the slots; carts and trucks fill while points are closed
    shut = tuple(replace(p, week=((time(9), time(18)),) * 7) for p in two_points())
    down = {"down": ((NOW + timedelta(hours=1), NOW + timedelta(hours=9)),)}
    broken = {  # for eight hours crew A has one of two combines and trucks, and no cart
        "combines": (combine("C1", **down), *farm().combines[1:]),
        "carts": (replace(farm().carts[0], **down), farm().carts[1]),
        "trucks": (replace(farm().trucks[0], **down), *farm().trucks[1:]),
    }
    for points, machines in (
        (two_points(), {}),
        (shut, {}),
        (two_points()[:1], {}),
        (two_points(), broken),
    ):
        wet = 14.0 + 2.5 * np.sin(np.arange(HOURS) / 24 * 2 * np.pi)
        tables = compiled(farm(points=points, **machines), season(3, np.tile(wet, (3, 1))))
        plan = evaluate(tables.tables, ((1, 0), (2,)))
        state = begun(tables)
        work(state, 0, 2 * HOURS, follow(plan.orders))
        assert state.loss == pytest.approx(plan.cost / 100.0, abs=0.02)
        assert (state.ended == plan.finish[0]).all()


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


def test_a_truck_that_is_down_till_noon_slows_a_far_haul():
    far = (replace(farm().points[0], lat=47.9),)  # 100 km: the trucks are the bottleneck
    down = ((NOW - timedelta(hours=1), NOW + timedelta(hours=6)),)
    trucks = (replace(farm().trucks[0], down=down), *farm().trucks[1:])
    own, late = (compiled(farm(points=far, trucks=t)) for t in (farm().trucks, trucks))
    assert own.main_rates(0, 1).limited_by == "haul"
    # F2, over 160 t, is many times what cart and trucks hold: in the twelve slots till noon one of
    # two trucks hauls, and the other half must be hauled later
    on_time, delayed = (int(t.tables.finish[0, 0, 1, 0]) for t in (own, late))
    assert on_time > 12
    assert delayed == pytest.approx(on_time + 12 / 2, abs=1)


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


def test_a_later_arrival_never_finishes_sooner():
    late = tuple(replace(p, week=((time(9), time(12)),) * 7) for p in two_points())
    for points in (farm().points, two_points(), late):
        tables = compiled(farm(points=points), season(3, members=3)).tables
        done = np.where(tables.finish < 0, tables.shape[3] + 1, tables.finish)
        assert (np.diff(done, axis=3) >= 0).all()
