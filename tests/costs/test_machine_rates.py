"""Machine rates against handbook figures; the source stands beside each check."""

import math
from dataclasses import replace
from datetime import date, time

import numpy as np
import pytest
import small_farm

from scheduler.costs.machine_rates import (
    CrewMachines,
    MachinesUp,
    capacity_ha_h,
    cart_t_h,
    crew_rates,
    truck_t_h,
    unload_efficiency,
)
from scheduler.errors import FarmError
from scheduler.farm.model import Cart, Combine, DeliveryPoint, Moves, Truck
from scheduler.work_tables.moves import move_minutes

FT, MILE, ACRE, BUSHEL = 0.3048, 1.609344, 0.40468564, 0.0352390704
DAY = ((time(7), time(20)),) * 7
FIELD = small_farm.field("F")


@pytest.mark.parametrize(
    ("feet", "mph", "efficiency", "acres"),
    [
        # published: Iowa State AgDM A3-24 Table 1
        (40, 6, 0.70, 20.4),
        (60, 12, 0.68, 59.3),
        (60, 6, 0.68, 29.7),
        # published: Iowa State PM 696
        (15, 5, 0.63, 5.7),
        # published: extension method as quoted in the trade press
        (30, 5, 1.0, 18.2),
        (30, 5, 0.8, 14.5),
        (30, 5, 0.6, 10.9),
    ],
)
def test_published_field_capacity(feet, mph, efficiency, acres):
    got = capacity_ha_h(mph * MILE, feet * FT, efficiency) / ACRE
    assert got == pytest.approx(acres, abs=0.05)


def test_hand_material_capacity():
    # 35 ft, 4 mph, 70 % is 11.879 ac/h; at 60 bu/ac 712.7 bu/h
    acres = capacity_ha_h(4 * MILE, 35 * FT, 0.7) / ACRE
    assert acres == pytest.approx(11.879, abs=5e-3)
    assert acres * 60 == pytest.approx(712.7, abs=0.3)


def combine(**other):
    values = {
        "id": "C1",
        "header_m": 10.7,
        "speed_kmh": 6.4,
        "efficiency": 0.7,
        "tank_m3": 350 * BUSHEL,
        "unload_m3_s": 4 * BUSHEL,
    }
    return Combine(**(values | other))


def test_hand_stop_to_unload():
    # 350 bu at 800 bu/h fills in 26.25 min; 87.5 s unloading + 30 s positioning: 0.9306
    assert unload_efficiency(combine(), 800 * BUSHEL, 1.0) == pytest.approx(0.9306, abs=5e-5)


def test_hand_cart_cycle():
    # 1000 bu, 500 bu/min auger: 2.857 x (1.458 + 2) + 5 + 2 = 16.88 min, 3554 bu/h
    cart = Cart(id="K", capacity_m3=1000 * BUSHEL, unload_m3_s=500 / 60 * BUSHEL)
    got = cart_t_h(cart, 350 * BUSHEL, 4 * BUSHEL, 1.0) / BUSHEL
    assert got == pytest.approx(3554, abs=2)
    assert got / 800 == pytest.approx(4.44, abs=0.01)


def test_hand_truck_cycle():
    # 10 min load, 25 mi at 45, queue 20 + 8, back at 50: 101.33 min; 950 bu: 562.5 bu/h
    point = DeliveryPoint(
        id="E", lat=None, lon=None, week=DAY, markets={}, queue_min=20, unload_min=8
    )
    truck = Truck(
        id="T", capacity_m3=950 * BUSHEL, payload_t=999, loaded_kmh=45 * MILE, empty_kmh=50 * MILE
    )
    fill = 950 * BUSHEL / 600
    got = truck_t_h(truck, point, 25 * MILE, fill, 1.0) / BUSHEL
    assert got == pytest.approx(562.5 * 0.85, abs=0.5)


def test_a_crew_cuts_at_the_least_of_combine_cart_and_haul():
    point = DeliveryPoint(id="E", lat=None, lon=None, week=DAY, markets={})
    cart = Cart(id="K", capacity_m3=35, unload_m3_s=0.3)
    truck = Truck(id="T", capacity_m3=35, payload_t=25)
    near, far = (
        crew_rates(
            CrewMachines(crew="A", combines=(combine(),) * 2, carts=(cart,), trucks=(truck,) * 2),
            FIELD,
            point,
            km=km,
            density=0.77,
            wet_yield=4.0,
        )
        for km in (2, 80)
    )
    assert near.limited_by == "combine"
    assert far.limited_by == "haul"
    assert far.t_h == sum(far.haul) < near.t_h
    # with the point shut, carts and trucks hold one fill: 35 x 0.77 + 2 x 25 t
    assert near.buffer == pytest.approx(35 * 0.77 + 50)


def test_no_cart_means_stopping_to_unload_and_no_cart_limit():
    point = DeliveryPoint(id="E", lat=None, lon=None, week=DAY, markets={})
    truck = Truck(id="T", capacity_m3=35, payload_t=25)
    alone = crew_rates(
        CrewMachines(crew="A", combines=(combine(),), carts=(), trucks=(truck,)),
        FIELD,
        point,
        km=2,
        density=0.77,
        wet_yield=4.0,
    )
    assert alone.cart == ()
    assert alone.t_h == alone.alone[0] < capacity_ha_h(6.4, 10.7, 0.7) * 4.0


def test_published_edge_against_standing_and_against_unloading_on_the_go():
    # published: Delchev et al. 2016, about 11 % below stopping to unload; against unloading on the
    # go, as carts do, an agronomist reckons 0.75-0.81 for tanks and yields as these
    point = DeliveryPoint(id="E", lat=None, lon=None, week=DAY, markets={})
    cart = Cart(id="K", capacity_m3=35, unload_m3_s=0.3)
    truck = Truck(id="T", capacity_m3=35, payload_t=25)
    big = combine(tank_m3=300 * BUSHEL, unload_m3_s=2.5 * BUSHEL)
    rates = crew_rates(
        CrewMachines(crew="A", combines=(big,), carts=(cart,), trucks=(truck,)),
        FIELD,
        point,
        km=2,
        density=0.77,
        wet_yield=5.5,
    )
    assert rates.edge[0] / rates.alone[0] == pytest.approx(0.89)
    assert 0.75 <= rates.edge[0] / rates.combine[0] <= 0.81


def test_field_efficiency_of_a_farm_without_carts_holds_for_stops_to_unload():
    # published: field efficiency counts the time to unload (Iowa State PM 696)
    point = DeliveryPoint(id="E", lat=None, lon=None, week=DAY, markets={})
    crew = CrewMachines(
        crew="A",
        combines=(combine(),),
        carts=(),
        trucks=(Truck(id="T", capacity_m3=35, payload_t=25),),
    )
    with_carts, without = (
        crew_rates(crew, FIELD, point, km=2, density=0.77, wet_yield=4.0, carts_usual=usual)
        for usual in (True, False)
    )
    assert without.combine[0] == pytest.approx(capacity_ha_h(6.4, 10.7, 0.7) * 4.0)
    assert with_carts.combine[0] < without.combine[0]


def test_machines_that_are_down_are_left_out_slot_by_slot():
    point = DeliveryPoint(id="E", lat=None, lon=None, week=DAY, markets={})
    cart = Cart(id="K", capacity_m3=35, unload_m3_s=0.3)
    truck = Truck(id="T", capacity_m3=35, payload_t=25)
    machines = CrewMachines(crew="A", combines=(combine(),) * 2, carts=(cart,), trucks=(truck,) * 2)
    rates = crew_rates(machines, FIELD, point, km=2, density=0.77, wet_yield=4.0)
    # slots: all up; one truck down; the cart down; a combine and both trucks down
    combines = np.array([[1, 1, 1, 0], [1, 1, 1, 1]], dtype=float)
    carts, trucks = np.array([[1, 1, 0, 1.0]]), np.array([[1, 0, 1, 0], [1, 1, 1, 0.0]])
    cut, edge, moved, hauled = rates.by_slot(MachinesUp(combines, carts, trucks))
    full = capacity_ha_h(6.4, 10.7, 0.7) * 4.0
    assert cut == pytest.approx([2 * full, 2 * full, 2 * rates.alone[0], full])
    # without its cart a combine stops to unload, by hand as in the test above of one alone
    assert rates.alone[0] < full
    assert edge == pytest.approx(0.89 * np.array([2, 2, 2, 1]) * rates.alone[0])
    assert moved[[0, 1, 3]] == pytest.approx(rates.cart[0])
    assert moved[2] == math.inf
    assert hauled == pytest.approx(np.array([2, 1, 2, 0]) * rates.haul[0])


def test_message_of_a_wrong_combine():
    with pytest.raises(FarmError, match=r'^combine "C1": header_m must be > 0, got -3$'):
        combine(header_m=-3)
    with pytest.raises(FarmError, match=r'^combine "C1": efficiency must be <= 1, got 1.2$'):
        combine(efficiency=1.2)


def test_hand_a_swath_takes_a_pickup_header_and_its_own_width():
    point = DeliveryPoint(id="E", lat=None, lon=None, week=DAY, markets={})
    truck = Truck(id="T", capacity_m3=35, payload_t=25)
    able = combine(id="able", pickup_m=9.0)
    crew = CrewMachines(crew="A", combines=(combine(), able), carts=(), trucks=(truck,))
    swath = replace(FIELD, swathed=date(2026, 8, 1))
    rates = crew_rates(crew, swath, point, km=2, density=0.77, wet_yield=4.0, carts_usual=False)
    # 6.4 km/h x 9 m x 0.7 / 10 x 4 t/ha; nothing from the combine with only a cutting header
    assert rates.combine == (0.0, pytest.approx(6.4 * 9.0 * 0.7 / 10.0 * 4.0))
    nobody = replace(crew, combines=(combine(),))
    assert crew_rates(nobody, swath, point, km=2, density=0.77, wet_yield=4.0).t_h == 0.0


def test_a_change_between_standing_crop_and_swath_is_a_change_of_headers():
    able = combine(pickup_m=10.7)
    whole = small_farm.farm(combines=(able,))
    standing, other = whole.fields[:2]
    swath = replace(other, swathed=date(2026, 8, 1))
    usual = move_minutes(whole, standing, other, 3.0)
    assert move_minutes(whole, standing, swath, 3.0) == usual + Moves.header_change_min
    assert move_minutes(whole, swath, swath, 3.0) == 0.0
    bare = small_farm.farm(combines=(combine(),))
    assert move_minutes(bare, standing, swath, 3.0) == usual
