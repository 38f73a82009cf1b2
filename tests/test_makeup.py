"""Make-ups, rules of thumb and tables on small farms worked by hand."""

from dataclasses import replace
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from readiness.season import Reason, Season, Tier
from scheduler.check import check
from scheduler.compile import compile_tables, move_minutes
from scheduler.farm import (
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
from scheduler.haul import Gang, between_km
from scheduler.makeup import describe, makeups, own_makeup
from scheduler.rules import DEAREST, LARGEST, NEAREST, RIPEST, rule_orders
from scheduler.search import price
from scheduler.slots import slot_times
from scheduler.stakes import jobs_of, stakes

UTC = ZoneInfo("UTC")
NOW = datetime(2026, 8, 12, 6, tzinfo=UTC)
DAY = ((time(0), time(0)),) * 7
HOURS = 96


def combine(name, **other):
    values = {
        "id": name, "header_m": 10.0, "speed_kmh": 6.0, "efficiency": 0.7, "tank_m3": 12.0,
        "unload_m3_s": 0.15,
    }  # fmt: skip
    return Combine(**(values | other))


def field(name, **other):
    values = {
        "id": name, "name": name, "lat": 47.0, "lon": -99.0, "area_ha": 20.0,
        "crop": "wheat_hard", "sand": 0.4, "clay": 0.2, "yield_t_ha": 4.0,
        "test_weight_kg_hl": 78.0,
    }  # fmt: skip
    return Field(**(values | other))


def farm(**other):
    market = Market(price_t=250.0, moisture_base_pct=13.5, moisture_limit_pct=18.0)
    values = {
        "name": "Test", "tz": UTC, "units": "metric", "base_lat": 47.0, "base_lon": -99.0,
        "combines": (combine("C1"), combine("C2"), combine("C3", header_m=8.0)),
        "carts": (
            Cart(id="K1", capacity_m3=35, unload_m3_s=0.3),
            Cart(id="K2", capacity_m3=35, unload_m3_s=0.3),
        ),
        "trucks": tuple(Truck(id=f"T{i}", capacity_m3=35, payload_t=25) for i in range(1, 5)),
        "crews": (
            Crew(id="A", combines=("C1", "C2"), carts=("K1",), trucks=("T1", "T2"), week=DAY,
                 people=6, hours_max_day=24),
            Crew(id="B", combines=("C3",), carts=("K2",), trucks=("T3", "T4"), week=DAY, people=5,
                 hours_max_day=24),
        ),
        "points": (
            DeliveryPoint(id="E", lat=47.0, lon=-99.0, week=DAY, markets={"wheat_hard": market}),
        ),
        "fields": (
            field("F1", area_ha=10.0, lon=-99.10),
            field("F2", area_ha=40.0, lon=-99.02),
            field("F3", area_ha=25.0, lon=-99.05, yield_t_ha=6.0),
        ),
    }  # fmt: skip
    return Farm(**(values | other))


def season(n, moisture=13.5, members=1):
    shape = (members, n, HOURS)
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
    stake = stakes(the_farm, the_season or season(len(the_farm.fields)), slot_times(NOW, 4, 30))
    makeup = makeup or own_makeup(the_farm, NOW)
    return compile_tables(stake, makeup, stands=["base"] * len(makeup))


def test_the_users_own_makeup_comes_first_and_alike_machines_count_once():
    found = makeups(farm(), NOW)
    assert found[0][1] == own_makeup(farm(), NOW)
    kinds = {
        tuple((g.crew, tuple(sorted(c.header_m for c in g.combines)), len(g.trucks)) for g in m)
        for _, m in found
    }
    assert len(kinds) == len(found)
    for _, m in found:
        used = [x.id for g in m for x in (*g.combines, *g.carts, *g.trucks)]
        assert len(set(used)) == len(used)
        assert all(g.trucks for g in m)


def test_crews_may_join_in_one():
    joined = [m for _, m in makeups(farm(), NOW) if len(m) == 1]
    assert any(len(m[0].combines) == 3 for m in joined)


def test_fixed_crews_keep_their_machines():
    crews = tuple(replace(c, fixed=True) for c in farm().crews)
    assert [m for _, m in makeups(farm(crews=crews), NOW)] == [own_makeup(farm(), NOW)]


def test_a_machine_down_for_days_is_in_no_makeup():
    down = ((NOW - timedelta(hours=2), NOW + timedelta(days=2)),)
    machines = (combine("C1", down=down), combine("C2"), combine("C3"))
    for name, _ in makeups(farm(combines=machines), NOW):
        assert "C1" not in name


def test_hand_description():
    gang = Gang(crew="A", combines=(combine("C1"),), carts=(), trucks=farm().trucks[:1])
    assert describe((gang,)) == "A: C1 + 0 carts + 1 truck"


def test_hand_move():
    # 14 km at 28 km/h is 30 min, header off 10 and on 10, clean-out of a crop 30: 80 min
    a, b = field("A"), field("B", crop="barley")
    assert move_minutes(farm(), a, b, 14.0) == pytest.approx(80.0)
    # before seed: 90; from base no header to take off; within a field nothing
    assert move_minutes(farm(), a, field("S", purpose="seed"), 14.0) == pytest.approx(140.0)
    assert move_minutes(farm(), None, b, 14.0) == pytest.approx(40.0)
    assert move_minutes(farm(), a, a, 0.0) == 0.0
    assert move_minutes(farm(), a, field("V", variety="x"), 0.0) == pytest.approx(35.0)


def test_given_distances_win_in_both_directions():
    moves = Moves(distances_km={("F1", "F2"): 99.0})
    assert between_km(farm(moves=moves), "F2", "F1") == 99.0
    # section roads: 0.08 degrees of longitude at 47 N is 6.07 km, none north or south
    assert between_km(farm(), "F1", "F2") == pytest.approx(6.07, abs=0.01)


def test_hand_hours_to_cut_a_field():
    # F2: 40 ha by two combines of 10 m x 6 km/h x 0.7 = 4.2 ha/h: 4.76 h, ten half-hours
    tables = compiled(farm())
    own = tables.tables.finish[0, 0, 1]
    assert own[0] - int(tables.arrive[0, 1, 0]) == 10
    assert tables.rates[0][1].limited_by == "combine"


def test_a_hollow_and_a_large_field_are_parcels():
    large = farm(fields=(field("F1", area_ha=250.0, wet_fraction=0.1, cut_fraction=0.2),))
    jobs = jobs_of(large)
    assert [j.parcel for j in jobs] == ["part 1 of 2", "part 2 of 2", "wet hollow"]
    assert sum(j.area_ha for j in jobs) == pytest.approx(200.0)
    assert [j.row for j in jobs] == [0, 0, 1]


def test_rules_order_as_they_say():
    one_crew = farm(crews=(replace(farm().crews[0], fixed=True),))
    wet = np.repeat(np.array([[16.0], [15.0], [14.0]]), HOURS, axis=1)
    tables = compiled(one_crew, season(3, wet))
    orders = {name: o[0] for name, o in rule_orders(tables).items()}
    assert orders[NEAREST] == (1, 2, 0)
    assert orders[LARGEST] == (1, 2, 0)
    assert orders[RIPEST] == (2, 1, 0)
    # 25 ha x 6 t/ha is worth less than 40 ha x 4 t/ha: 150 t against 160 t
    assert orders[DEAREST] == (1, 2, 0)
    for o in rule_orders(tables).values():
        assert check(tables.tables, price(tables.tables, o)) == []


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
    # open 08:00-12:00 only: in the evening cutting goes on until carts and trucks are full
    hours = ((time(8), time(12)),) * 7
    shut = farm(
        points=(replace(farm().points[0], week=hours),), fields=(field("F1", area_ha=90.0),)
    )
    free = farm(fields=(field("F1", area_ha=90.0),))
    late, soon = (compiled(f).tables.finish[0, 0, 0, 24] for f in (shut, free))
    assert late > soon
    # F1 yields 4 t/ha: 360 t are many times the 77 t that one cart and two trucks hold
    held = compiled(shut).rates[0][0].buffer
    assert held == pytest.approx(35 * 0.78 + 2 * 25.0)


def test_finish_never_comes_sooner_for_arriving_later():
    tables = compiled(farm(), season(3, members=3)).tables
    done = np.where(tables.finish < 0, tables.shape[3] + 1, tables.finish)
    assert (np.diff(done, axis=3) >= 0).all()
