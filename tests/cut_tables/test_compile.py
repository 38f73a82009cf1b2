"""Cut tables of small farms worked by hand: jobs, moves, hours, machines."""

from dataclasses import replace
from datetime import time, timedelta

import numpy as np
import pytest
from small_farm import HOURS, NOW, combine, compiled, farm, field, season, two_points

from readiness.season.codes import Reason
from scheduler.costs.standing_loss import jobs_of
from scheduler.cut_tables.moves import move_minutes
from scheduler.farm.distances import between_km
from scheduler.farm.model import Moves
from scheduler.simulation.field_work import begun, follow, work
from scheduler.solver.evaluation import evaluate


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


def test_a_hollow_and_a_large_field_are_parcels():
    large = farm(fields=(field("F1", area_ha=250.0, wet_fraction=0.1, cut_fraction=0.2),))
    jobs = jobs_of(large)
    assert [j.parcel for j in jobs] == ["part 1 of 2", "part 2 of 2", "wet hollow"]
    assert sum(j.area_ha for j in jobs) == pytest.approx(200.0)
    assert [j.row for j in jobs] == [0, 0, 1]


def test_hand_hours_to_cut_a_field():
    # F2: 40 ha by two combines of 10 m x 6 km/h x 0.7 = 4.2 ha/h: 4.76 h, ten half-hours
    tables = compiled(farm())
    own = tables.tables.finish[0, 0, 1]
    assert own[0] - int(tables.arrive[0, 1, 0]) == 10
    assert tables.rates[0][1][0].limited_by == "combine"


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


def test_a_later_arrival_never_finishes_sooner():
    late = tuple(replace(p, week=((time(9), time(12)),) * 7) for p in two_points())
    for points in (farm().points, two_points(), late):
        tables = compiled(farm(points=points), season(3, members=3)).tables
        done = np.where(tables.finish < 0, tables.shape[3] + 1, tables.finish)
        assert (np.diff(done, axis=3) >= 0).all()
