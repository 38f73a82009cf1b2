"""Value of grain by the hour it is cut."""

from dataclasses import replace
from datetime import time
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from readiness.grain.crops import CROPS
from scheduler.costs.grain_price import discount_above, discount_below
from scheduler.costs.grain_value import (
    CropState,
    best_revenue_ha,
    dry_t_ha,
    leave_cost_ha,
    loss_terms,
    paid_share,
    revenue_ha,
)
from scheduler.costs.timeliness import timeliness_cost
from scheduler.farm.model import Combine, Crew, DeliveryPoint, Farm, Field, Market, Schedule

LB, BUSHEL_WHEAT = 0.45359237, 60 * 0.45359237 / 1000
DAY = ((time(0), time(0)),) * 7
MARKET = Market(price_t=250.0, moisture_base_pct=13.5, moisture_limit_pct=18.0)


def field(**other):
    values = {
        "id": "F1",
        "name": "Home",
        "lat": 47.0,
        "lon": -99.0,
        "area_ha": 50.0,
        "crop": "wheat_hard",
        "sand": 0.4,
        "clay": 0.2,
        "yield_t_ha": 4.0,
        "test_weight_kg_hl": 78.0,
    }
    return Field(**(values | other))


def farm(market=MARKET, **terms):
    combine = Combine(
        id="C", header_m=10, speed_kmh=6, efficiency=0.7, tank_m3=12, unload_m3_s=0.15
    )
    return Farm(
        name="Test",
        tz=ZoneInfo("UTC"),
        units="metric",
        base_lat=47.0,
        base_lon=-99.0,
        crews=(Crew(id="A", combines=("C",), week=DAY, people=3),),
        combines=(combine,),
        carts=(),
        trucks=(),
        points=(
            DeliveryPoint(id="E", lat=47.0, lon=-99.0, week=DAY, markets={"wheat_hard": market}),
        ),
        fields=(field(),),
        losses={"wheat_hard": terms},
    )


def standing(moisture, wettings=0.0, sprout=0.0, hours=24):
    shape = (1, hours)
    return CropState(
        moisture=np.full(shape, float(moisture)),
        wettings=np.full(shape, float(wettings)),
        sprout=np.full(shape, float(sprout)),
        ripe_days=np.arange(hours) / 24.0,
    )


def revenue(market, state, **terms):
    f = farm(market, **terms)
    return revenue_ha(field(), market, state, haul_t=0.0, terms=loss_terms(f, field()))[0]


def test_hand_steps_of_a_schedule():
    steps = Schedule(steps=((13.5, 2.0), (14.5, 5.0)))
    # at a threshold the step below it still applies
    assert discount_above(steps, np.array([13.0, 13.5, 13.6, 14.5, 20.0])).tolist() == [
        0,
        0,
        2,
        2,
        5,
    ]
    grades = Schedule(steps=((74.0, 9.0), (76.0, 4.0)))
    assert discount_below(grades, np.array([73.0, 74.0, 75.9, 76.0])).tolist() == [9, 4, 4, 0]
    assert discount_above(Schedule(), np.array([1.0])).tolist() == [0]


@pytest.mark.parametrize(
    ("moisture", "pounds"),
    [(10, 57.67), (12, 58.98), (15, 61.06), (18, 63.29), (20, 64.88)],
)
def test_hand_pounds_that_hold_a_bushel_of_wheat_at_base(moisture, pounds):
    # 60 x (100 - 13.5) / (100 - M)
    dry = 60 * (1 - 0.135)
    assert dry / (1 - moisture / 100) == pytest.approx(pounds, abs=5e-3)
    if moisture > 13.5:  # the buyer pays the same bushel at any moisture above base
        assert pounds * paid_share(MARKET, np.array(float(moisture))) == pytest.approx(60, abs=5e-3)


# published: percent lost per point of drying to each base
@pytest.mark.parametrize(
    ("base", "factor"), [(15.5, 1.1834), (14, 1.1628), (13.5, 1.1561), (13, 1.1494), (12.5, 1.1429)]
)
def test_shrink_factor(base, factor):
    market = replace(MARKET, moisture_base_pct=base)
    share = paid_share(market, np.array([base + 1, base - 2]))
    assert 100 * (1 - share) == pytest.approx([factor, 0.0], abs=5e-5)


def test_published_water_shrink():
    # 1,000 lb corn from 25.5 to 15.5 %: 881.66 lb (extension shrink factor 1.1834 a point)
    market = replace(MARKET, moisture_base_pct=15.5)
    share = float(paid_share(market, np.array(25.5)))
    assert 1000 * share == pytest.approx(881.66, abs=0.01)
    assert (1 - share) * 10 == pytest.approx(1.1834, abs=1e-4)
    # an elevator's own 1.4 % a point takes more than water
    own = replace(market, shrink_pct_point=1.4)
    assert float(paid_share(own, np.array(25.5))) == pytest.approx(0.86)


def test_over_dry_grain_gives_weight_away():
    at_base = revenue(MARKET, standing(13.5), shatter_day=0.0)[0]
    dry = revenue(MARKET, standing(9.5), shatter_day=0.0)[0]
    # 4 t/ha at base weighs 4 x 86.5 / 90.5 at 9.5 %
    assert at_base == pytest.approx(1000.0)
    assert dry == pytest.approx(1000.0 * 86.5 / 90.5)


def test_loads_over_the_limit_are_turned_away_and_unknown_stays_unknown():
    assert np.isnan(revenue(MARKET, standing(18.1))).all()
    assert np.isnan(revenue(MARKET, standing(np.nan))).all()


def test_drying_is_paid_by_tonne_and_point():
    market = replace(MARKET, drying_t_point=3.0)
    plain = revenue(MARKET, standing(16.5), shatter_day=0.0)[0]
    dried = revenue(market, standing(16.5), shatter_day=0.0)[0]
    tonnes = 4.0 * 0.865 / (1 - 0.165)
    assert plain - dried == pytest.approx(tonnes * 3.0 * 3.0)


def test_the_first_wettings_cost_most_and_move_the_grade():
    # hand: 2.0 of at most 8.0 kg/hL, then a quarter of the rest: 59 lb/bu is 57.5 after one wetting
    # and 56.3 after two; 7 CFR 810.2204: below 58 lb/bu is no longer No. 1
    grades = Schedule(steps=((57.0 * 1.292 + 1.419, 12.0), (58.0 * 1.292 + 1.419, 6.0)))
    market = replace(MARKET, test_weight_discount=grades)
    start = field(test_weight_kg_hl=59.0 * 1.292 + 1.419)
    f = farm(market)
    money = [
        revenue_ha(
            start,
            market,
            standing(13.5, wettings=n),
            haul_t=0.0,
            terms=loss_terms(f, start) | {"shatter_day": 0.0},
        )[0, 0]
        for n in (0, 1, 2)
    ]
    assert money[0] - money[1] == pytest.approx(4.0 * 6.0)
    assert money[0] - money[2] == pytest.approx(4.0 * 12.0)


def test_sprouting_and_sound_grain():
    market = replace(MARKET, sprout_discount=Schedule(steps=((0.02, 25.0), (0.10, 75.0))))
    sound, some, much = (
        revenue(market, standing(13.5, sprout=s), shatter_day=0.0)[0] for s in (0.0, 0.05, 0.3)
    )
    assert (sound - some, sound - much) == (pytest.approx(100.0), pytest.approx(300.0))


def test_shatter_alone_is_the_closed_form_of_timeliness():
    # cutting evenly over 10 days round the clock: W = K A^2 Y V / (2 G C pwd)
    hours = 240
    money = revenue(MARKET, standing(13.5, hours=hours), shatter_day=0.005)
    area = 400.0
    loss = float((1000.0 - money).mean()) * area
    closed = timeliness_cost(
        area,
        area / hours,
        loss_day=0.005,
        yield_=4.0,
        value=250.0,
        hours_day=24.0,
        working_share=1.0,
    )
    assert loss == pytest.approx(closed, rel=0.01)


def test_leaving_grain_costs_more_than_cutting_it_last():
    f = farm(MARKET)
    stand = standing(13.5, hours=240)
    last = best_revenue_ha(f, field(), {"E": 0.0}) - revenue(MARKET, stand)[-1]
    left = leave_cost_ha(f, field(), stand, {"E": 0.0})
    assert left[0] > last > 0


def test_common_practice_defaults():
    # common practice, no source: price about $10/bu at times, within $1-12 over 40 years
    price = 250.0 * BUSHEL_WHEAT
    assert 1.0 <= price <= 12.0
    assert loss_terms(farm(), field())["leave_days"] == 14  # a run of rain delays about two weeks
    for crop in CROPS.values():
        # published: Bolland 1984, WA Tech. Bull. 79: nothing to 0.75 % a day
        assert 0.0 <= crop.loss_day <= 0.0100


def test_dry_matter_is_at_the_trade_base():
    assert dry_t_ha(field()) == pytest.approx(4.0 * (1 - 0.135))


def test_hand_dry_soybeans_are_lost_at_the_header():
    beans = field(crop="soybean")
    market = replace(MARKET, moisture_base_pct=13.0)
    terms = loss_terms(farm(), beans) | {"shatter_day": 0.0}

    def money(moisture):
        return float(revenue_ha(beans, market, standing(moisture), haul_t=0.0, terms=terms)[0, 0])

    def weight_alone(moisture):
        return money(12.0) * (1 - 0.12) / (1 - moisture / 100)

    assert money(11.0) == pytest.approx(weight_alone(11.0))
    assert money(9.0) == pytest.approx(weight_alone(9.0) * (1 - 2 * 0.02))
    # published: as much as 10 % of the yield
    assert money(4.0) == pytest.approx(weight_alone(4.0) * 0.90)
    assert loss_terms(farm(), field())["header_dry_pct"] == 0.0  # wheat keeps its kernels
