"""The planner on the sample farm, end to end."""

import json
from dataclasses import replace
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from places import SAMPLE

from scheduler.errors import FarmError, NoPlanError
from scheduler.explanation.briefing import expected_quality
from scheduler.explanation.timing import first_hour
from scheduler.farm.units import bushel_t, wheat_equivalent_t
from scheduler.planning.information import gather
from scheduler.planning.plan import plan_farm, plan_morning, price_order
from scheduler.planning.plan_stability import stable_plan
from scheduler.report.order_phrases import own_order_lines
from scheduler.report.plan_document import plan_json
from scheduler.solver.check import check

#: Every test here plans or reviews the sample farm.
pytestmark = pytest.mark.slow

NOW = datetime(2026, 8, 12, 6, tzinfo=ZoneInfo("America/Chicago"))


@pytest.fixture(scope="module")
def information():
    return gather(SAMPLE, NOW, forecast=None, days=12, seed=0)


@pytest.fixture(scope="module")
def morning(information):
    return plan_farm(information)


def test_every_field_is_ordered_once_or_left(morning):
    ordered = [(o.field, o.parcel) for c in morning.crews for o in c.orders]
    assert len(set(ordered)) == len(ordered)
    fields = {f for f, _ in ordered} | {x.field for x in morning.left_out}
    assert fields == {f.id for f in morning.farm.fields}


def test_the_plan_passes_the_checker_and_its_bound_holds(morning):
    decision = morning.decision
    assert check(decision.compiled.tables, decision.plan) == []
    assert morning.bound <= morning.loss
    assert morning.loss <= min(morning.rule_losses.values())


def test_orders_of_a_crew_follow_each_other_in_crew_hours(morning):
    weeks = {c.id: c.week for c in morning.farm.crews}
    for crew in morning.crews:
        for o in crew.orders:
            first, last = weeks[crew.crew][o.start.mid.weekday()]
            assert first <= o.start.mid.time() <= last, o.name
            assert o.start.low <= o.start.mid <= o.start.high
            assert o.leave_at <= o.start.mid
            assert 0 <= o.chance <= 1
        starts = [o.start.mid for o in crew.orders if o.done >= 0.5]
        assert starts == sorted(starts)


def test_moisture_is_within_the_limits_of_the_delivery_points(morning):
    points = {p.id: p for p in morning.farm.points}
    for crew in morning.crews:
        for o in crew.orders:
            limits = [points[d.point].markets[o.crop].moisture_limit_pct for d in o.deliveries]
            assert o.moisture_pct.high <= max(limits)


def test_grain_hauled_to_the_bins_stays_within_their_capacity(morning):
    bins = next(p for p in morning.farm.points if p.id == "home bins")
    assert bins.capacity_t == pytest.approx(60_000 * bushel_t(None))
    hauls = [(o, d) for crew in morning.crews for o in crew.orders for d in o.deliveries]
    brought = sum(wheat_equivalent_t(d.tonnes, o.crop) for o, d in hauls if d.point == bins.id)
    assert 0.0 < brought <= bins.capacity_t
    # all fields that may be hauled there fit as a whole, in any order and weather
    whole = {
        o.field + o.parcel: wheat_equivalent_t(o.tonnes, o.crop)
        for o, d in hauls
        if d.point == bins.id
    }
    assert sum(whole.values()) <= bins.capacity_t
    # the deliveries of an order add up to it, and name each point once
    for crew in morning.crews:
        for o in crew.orders:
            assert sum(d.tonnes for d in o.deliveries) == pytest.approx(o.tonnes)
            assert sum(d.loads for d in o.deliveries) == pytest.approx(o.loads)
            assert o.point == o.deliveries[0].point
            assert len({d.point for d in o.deliveries}) == len(o.deliveries)


# hand: two members do the job, one of them after two more wettings: 78.9 - 1.29 (2 + 0) / 2 =
# 77.61 kg/hL = 58.97 lb/bu, and (8 + 2) / 2 = 5 % sprouted, over the 4 % of No. 2. Wettings before
# the planning hour do not count, and neither do members that never do the job.
def test_quality_is_that_of_the_hour_when_cutting_starts(morning):
    compiled, season = morning.decision.compiled, morning.season
    j = next(i for i in range(len(compiled.jobs)) if compiled.field(i).id == "F01")
    now = first_hour(compiled, season)
    wettings, sprout = np.full_like(season.wettings, 3.0), np.full_like(season.sprout, 0.02)
    wettings[0, :, now + 12 :], sprout[0, :, now + 12 :] = 5.0, 0.08
    wettings[1:, :, now + 13 :] = sprout[1:, :, now + 13 :] = 9.0
    begin = np.full(len(wettings), np.nan)
    begin[:2] = 24, 25  # half-hours
    season = replace(season, wettings=wettings, sprout=sprout)
    weight, sprouted, grade = expected_quality(compiled, season, j, begin)
    assert (weight, sprouted, grade) == (pytest.approx(77.61), pytest.approx(5.0), 3)


def test_orders_tell_quality_and_grade_wheat_alone(morning):
    for order in (o for c in morning.crews for o in c.orders):
        assert 50 < order.test_weight_kg_hl < 82
        assert 0 <= order.sprouted_pct <= 100
        assert (order.us_grade is not None) == order.crop.startswith("wheat")


def test_no_single_change_to_an_order_saves_much(morning):
    # the search leaves no swap, no change of crew and no field left out that saves money
    for crew in morning.crews:
        for o in crew.orders:
            a = o.alternative
            for cost in (a.earlier, a.later, a.other_crew, a.leave):
                assert cost is None or cost >= -0.002 * morning.loss


def test_the_same_seed_gives_the_identical_plan(information, morning):
    again = plan_farm(information)
    assert json.dumps(plan_json(again)) == json.dumps(plan_json(morning))


def test_the_plan_as_an_own_order_has_the_loss_of_the_plan(morning):
    orders = {
        c.crew: [f"{o.field}/{o.parcel}" if o.parcel else o.field for o in c.orders]
        for c in morning.crews
    }
    price = price_order(SAMPLE, morning, orders)
    assert price.loss == pytest.approx(morning.loss, rel=1e-6)
    assert "as good as the plan" in own_order_lines(price, "$")[1]


def test_an_own_order_names_the_fields_that_it_leaves(morning):
    first = morning.crews[0].orders[0].field
    price = price_order(SAMPLE, morning, {morning.crews[0].crew: [first]})
    assert price.loss > morning.loss
    assert own_order_lines(price, "$")[-1].startswith("left uncut, though the plan cuts them: ")


@pytest.mark.parametrize(
    ("orders", "message"),
    [
        ({"night crew": ["F01"]}, r'there is no crew "night crew" today'),
        ({"north crew": ["F99"]}, r'nothing to cut in a field "F99"'),
        ({"north crew": ["F01", "F01"]}, r'field "F01" is ordered twice'),
    ],
)
def test_wrong_orders_are_refused(morning, orders, message):
    with pytest.raises(FarmError, match=message):
        price_order(SAMPLE, morning, orders)


def test_previous_orders_stay_where_no_change_pays(morning):
    decision = morning.decision
    kept = stable_plan(decision.compiled, decision.plan, morning.crews, seed=0)
    assert kept.orders == decision.plan.orders


def test_the_same_weather_keeps_make_up_and_orders(information, morning):
    # a search prices make-ups to some dollars only, so it starts from the previous orders
    again = plan_farm(replace(information, previous_orders=morning.crews))
    assert again.makeup == morning.makeup
    assert again.loss == pytest.approx(morning.loss, rel=1e-9)
    orders = [[(o.field, o.parcel) for o in c.orders] for c in again.crews]
    assert orders == [[(o.field, o.parcel) for o in c.orders] for c in morning.crews]


def test_a_slightly_warmer_forecast_keeps_the_orders_of_the_day(information, morning):
    nudged = replace(
        information,
        previous_orders=morning.crews,
        weather=replace(
            information.weather,
            forecast=replace(
                information.weather.forecast, temp=information.weather.forecast.temp + 0.05
            ),
        ),
    )
    again = plan_farm(nudged)
    for before, after in zip(morning.crews, again.crews, strict=True):
        today = [o.field for o in before.orders if o.start.mid < NOW + timedelta(hours=24)]
        assert [o.field for o in after.orders][: len(today)] == today


def test_a_crew_away_and_a_combine_down(information):
    farm = information.farm
    crews = tuple(
        replace(c, absent=(NOW.date(),)) if c.id == "south crew" else c for c in farm.crews
    )
    down = ((NOW - timedelta(hours=1), NOW + timedelta(days=3)),)
    combines = tuple(replace(c, down=down) if c.id == "C1" else c for c in farm.combines)
    morning = plan_farm(
        replace(information, farm=replace(farm, crews=crews, combines=combines)), days=6
    )
    assert [c.crew for c in morning.crews] == ["north crew"]
    assert "C1" not in morning.crews[0].combines


def test_no_combine_up_is_no_plan(information):
    down = ((NOW - timedelta(hours=1), NOW + timedelta(days=3)),)
    farm = replace(
        information.farm, combines=tuple(replace(c, down=down) for c in information.farm.combines)
    )
    with pytest.raises(NoPlanError, match="no crew has a combine that is up today"):
        plan_farm(replace(information, farm=farm))


def test_rain_without_end_is_no_plan_with_a_reason(information):
    wet = replace(
        information.weather.forecast, rain=np.full_like(information.weather.forecast.rain, 2.0)
    )
    with pytest.raises(NoPlanError, match="no crew can finish any field"):
        plan_farm(replace(information, weather=replace(information.weather, forecast=wet)), days=4)


def test_stop_rules_block_hours(information, morning):
    rules = replace(information.farm.rules, wind_stop_ms=0.1)
    farm = replace(information.farm, rules=rules)
    with pytest.raises(NoPlanError):
        plan_farm(replace(information, farm=farm), days=4)


def test_no_road_moves_in_forbidden_hours(information):
    span = (time(16), time(20))
    rules = replace(information.farm.rules, road_forbidden=(span,))
    got = plan_farm(replace(information, farm=replace(information.farm, rules=rules)), days=6)
    compiled, plan = got.decision.compiled, got.decision.plan
    slots = compiled.standing_loss.slots
    for k, order in enumerate(plan.orders):
        for at, j in enumerate(order):
            i = len(compiled.jobs) if at == 0 else order[at - 1]
            move = compiled.tables.move[k, i, j]
            for m in range(plan.start.shape[0]):
                s = plan.start[m, j]
                if s < 0 or move == 0:
                    continue
                begin = int(compiled.arrive[k, j, s])
                # somewhere between being free and beginning there is a whole move outside the span
                free = int(s - move)
                ok = any(
                    all(_allowed(slots[t], span) for t in range(g, g + move))
                    for g in range(free, begin - move + 1)
                )
                assert ok, (order, at, m)


def _allowed(stamp, span):
    local = stamp.astype("datetime64[s]").astype(datetime).replace(tzinfo=ZoneInfo("UTC"))
    clock = local.astimezone(NOW.tzinfo).time()
    return not span[0] <= clock < span[1]


def test_a_later_morning_with_a_book_replans(tmp_path):
    import shutil

    from scheduler.season_book.book import Book
    from scheduler.season_book.entry_kinds import Entry

    farm_folder = tmp_path / "farm"
    shutil.copytree(SAMPLE, farm_folder, ignore=shutil.ignore_patterns("plans", "*.sqlite*"))
    with Book(farm_folder) as book:
        at = NOW - timedelta(minutes=30)
        book.add(Entry(kind="ground", subject="F01", at=at, by="test", facts={"ground": "soft"}))
    morning = plan_morning(farm_folder, now=NOW, days=6)
    assert morning.left_out or morning.crews
