"""Price of grain by quality: limits, feed price, optional schedules, seed; prices with dates."""

from dataclasses import replace
from datetime import timedelta
from types import SimpleNamespace

import numpy as np
import pytest
from farm_folder import edit, problem_lines
from places import SAMPLE
from small_farm import NOW, compiled, farm, field, season

from scheduler.costs.grain_price import LEAST_GERMINATION, price_t, quality_of
from scheduler.costs.grain_value import (
    CropState,
    already_lost_ha,
    best_revenue_ha,
    leave_cost_ha,
)
from scheduler.explanation.reasons import left_out_reason
from scheduler.farm.model import Market, Schedule
from scheduler.farm_files.folder import read_farm
from scheduler.farm_files.new_folder import new_farm
from scheduler.orders.reasons import LeftOutKind

MALT = Market(
    price_t=240.0,
    moisture_base_pct=13.5,
    moisture_limit_pct=18.0,
    sprout_discount=Schedule(steps=((0.005, 16.0), (0.01, 37.0), (0.02, 60.0))),
    limits={"sprout": 0.04},
)
FEED = replace(MALT, feed_price_t=150.0)


def price(market, sprout=0.0, weight=78.0, **measured):
    of = field("F", **measured)
    quality = quality_of(of, np.array([weight]), np.array([sprout]))
    return float(price_t(of, market, quality)[0])


def test_hand_barley_beyond_the_malting_table_is_feed_or_turned_away():
    assert price(FEED, 0.004) == 240.0
    assert price(FEED, 0.03) == 240.0 - 60.0  # within the limit: the last step
    assert price(FEED, 0.19) == 150.0
    assert np.isnan(price(MALT, 0.19))
    # at a discount below the feed price, the seller takes the feed price
    assert price(replace(FEED, feed_price_t=200.0), 0.03) == 200.0


@pytest.mark.parametrize(
    ("market", "measured", "money"),
    [
        # falling number below 300 s and 250 s (trade limits of FGIS and EU: 250, 300)
        ({"falling_number_discount": ((250.0, 40.0), (300.0, 15.0))}, {"falling_number_s": 320}, 0),
        (
            {"falling_number_discount": ((250.0, 40.0), (300.0, 15.0))},
            {"falling_number_s": 280},
            15,
        ),
        (
            {"falling_number_discount": ((250.0, 40.0), (300.0, 15.0))},
            {"falling_number_s": 200},
            40,
        ),
        ({"falling_number_discount": ((250.0, 40.0), (300.0, 15.0))}, {}, 0),  # not measured
        ({"vomitoxin_discount": ((1.0, 8.0), (2.0, 20.0))}, {"vomitoxin_ppm": 1.5}, 8),
        ({"protein_discount": ((13.0, 12.0), (14.0, 4.0))}, {"protein_pct": 12.0}, 12),
        ({"protein_premium": ((14.5, 2.0), (15.0, 4.0))}, {"protein_pct": 15.2}, -4),
        ({"vitreous_discount": ((60.0, 14.0), (75.0, 5.0))}, {"vitreous_pct": 70.0}, 5),
    ],
)
def test_hand_optional_schedules(market, measured, money):
    steps = {name: Schedule(steps=value) for name, value in market.items()}
    assert price(replace(FEED, **steps), **measured) == 240.0 - money


@pytest.mark.parametrize(
    ("limits", "measured"),
    [
        ({"falling_number": 250.0}, {"falling_number_s": 220.0}),
        ({"vomitoxin": 2.0}, {"vomitoxin_ppm": 2.1}),
        ({"protein": 11.0}, {"protein_pct": 10.5}),
        ({"vitreous": 60.0}, {"vitreous_pct": 40.0}),
        ({"test_weight": 79.0}, {}),
    ],
)
def test_each_limit_turns_grain_away(limits, measured):
    assert np.isnan(price(replace(MALT, limits=limits), **measured))
    assert price(replace(FEED, limits=limits), **measured) == 150.0


def test_hand_seed_brings_its_premium_while_it_germinates():
    market = replace(FEED, seed_premium_t=50.0, sprout_discount=Schedule(), limits={})
    # 95 % of sound kernels germinate: 85 % do with 10.5 % sprouted
    last = 1.0 - LEAST_GERMINATION / 0.95
    assert price(market, last - 0.001, purpose="seed") == 290.0
    assert price(market, last + 0.001, purpose="seed") == 240.0
    assert price(market, 0.0) == 240.0  # grain of another field
    assert price(market, 0.0, purpose="seed", germination=0.80) == 240.0


def stand(sprout, hours=48):
    shape = (1, hours)
    zero = {name: np.zeros(shape) for name in CropState.__dataclass_fields__}
    known = zero | {"moisture": np.full(shape, 13.0), "sprout": np.full(shape, sprout)}
    if "ripe_days" in known:
        known["ripe_days"] = np.arange(hours) / 24.0
    return CropState(**known)


def test_grain_that_everybody_turns_away_is_worth_nothing():
    point = replace(farm().points[0], markets={"wheat_hard": MALT})
    the_farm, of, haul = farm(points=(point,)), field("F"), {"E": 0.0}
    best = best_revenue_ha(the_farm, of, haul)
    assert already_lost_ha(the_farm, of, stand(0.19), haul) == pytest.approx([best])
    assert leave_cost_ha(the_farm, of, stand(0.19), haul) == pytest.approx([best])
    fed = farm(points=(replace(point, markets={"wheat_hard": FEED}),))
    assert already_lost_ha(fed, of, stand(0.19), haul) == pytest.approx([best * (1 - 150 / 240)])


def test_a_field_that_nobody_takes_says_why():
    point = replace(farm().points[0], markets={"wheat_hard": MALT})
    made = season(3)
    made.sprout[:, 0] = 0.19
    work = compiled(farm(points=(point,)), made)
    assert left_out_reason(SimpleNamespace(work=work), made, 0).kind is LeftOutKind.QUALITY
    assert work.tables.accepts[:, 1:].all()
    wet = season(3, 19.0)
    work = compiled(farm(points=(point,)), wet)
    assert left_out_reason(SimpleNamespace(work=work), wet, 0).kind is LeftOutKind.TURNED_AWAY
    work = compiled(farm(points=(replace(point, capacity_t=0.0),)), made)
    assert left_out_reason(SimpleNamespace(work=work), made, 0).kind is LeftOutKind.FULL


def test_prices_and_limits_hold_from_their_dates_on():
    later = replace(MALT, price_t=200.0, moisture_limit_pct=14.0, limits={})
    market = replace(MALT, later=((NOW + timedelta(hours=24), later),), limits={})
    point = replace(farm().points[0], markets={"wheat_hard": market})
    work = compiled(farm(points=(point,)), season(3, 13.5))
    loss = work.tables.loss[0, :, 0, 0]
    # 4 t/ha at base: 40 money a tonne less from the 48th half-hour on, besides shatter
    assert loss[48] - loss[46] == pytest.approx(4.0 * 40.0, abs=1.0)
    wet = compiled(farm(points=(point,)), season(3, 14.5)).tables.loss[0, :, 0, 0]
    assert np.isfinite(wet[:48]).all()
    assert np.isnan(wet[48:]).all()
    assert market.at(NOW) == market
    assert market.at(NOW + timedelta(days=2)) == replace(later, later=())


@pytest.fixture
def folder(tmp_path):
    new_farm(tmp_path / "farm")
    return tmp_path / "farm"


def test_the_end_of_a_table_is_its_limit_unless_one_is_given(folder):
    def limits():
        return read_farm(folder).points[0].markets["wheat_hard"].limits

    assert limits() == {"sprout": pytest.approx(0.08)}  # twice the last threshold, 4 %
    edit(folder, "farm.toml", "price_per_bu = 7.00", "price_per_bu = 7.00\nsprout_limit_pct = 5")
    assert limits() == {"sprout": pytest.approx(0.05)}


def test_a_market_may_change_on_a_day(folder):
    extra = (
        '\n[[point.market]]\ncrop = "spring wheat"\nfrom = "2026-09-01"\nprice_per_bu = 6.50\n'
        "moisture_limit_pct = 14.5\n"
    )
    text = (folder / "farm.toml").read_text(encoding="utf-8")
    start = text.index('[[point]]\nid = "home bins"')
    changed = text[:start] + extra + "\n" + text[start:]
    (folder / "farm.toml").write_text(changed, encoding="utf-8")
    market = read_farm(folder).points[0].markets["wheat_hard"]
    ((begin, later),) = market.later
    assert begin.isoformat() == "2026-09-01T05:00:00+00:00"
    assert later.moisture_limit_pct == 14.5
    (folder / "farm.toml").write_text(changed.replace('from = "2026-09-01"\n', ""), "utf-8")
    assert "has two markets here" in problem_lines(folder)[0]


def test_seed_that_nobody_keeps_as_seed_is_a_problem(folder):
    edit(folder, "fields.csv", ",grain,", ",seed,")
    assert problem_lines(folder) == [
        'fields.csv "2", purpose: field "2" is for seed, and nobody keeps its grain as seed; '
        "add bins of your own or a seed_premium, or make its purpose grain"
    ]
    edit(
        folder,
        "farm.toml",
        "price_per_bu = 5.00",
        "price_per_bu = 5.00\nseed_premium_per_bu = 1.50",
    )
    assert problem_lines(folder) == []


def test_the_sample_sells_sprouted_barley_as_feed():
    for point in read_farm(SAMPLE).points:
        if (barley := point.markets.get("barley")) is not None:
            assert barley.limits["sprout"] == pytest.approx(0.04)
            assert barley.feed_price_t < 0.75 * barley.price_t
