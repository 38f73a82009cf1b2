"""Rehearsal of past seasons. Kinds of test: hand and property; forecast skill is from memory."""

from dataclasses import replace

import numpy as np
import pytest
from past_weather import made_up
from places import SAMPLE

from readiness.atmosphere.weather import HOUR
from readiness.forecasts.analogues import ShortRecordError
from readiness.forecasts.reforecast import emulate_forecast, other_years
from readiness.forecasts.scores import brier
from scheduler.errors import FarmError
from scheduler.farm.distances import between_km
from scheduler.farm_files.folder import read_farm
from scheduler.planning.dispatch_rules import dispatched_orders, priority_keys
from scheduler.simulation.field_work import begun, follow
from scheduler.simulation.past_season import (
    complete_years,
    hourly_records,
    past_season,
)
from scheduler.simulation.rehearsal import (
    RehearsalSettings,
    best_fixed_order_loss,
    compare_season,
    morning_tables,
    play,
    play_rules,
    rehearse,
)
from scheduler.simulation.season_results import RehearsalSummary, SeasonComparison, SeasonResult
from scheduler.simulation.station_farm import farm_at_station, split_into_parcels
from scheduler.solver.evaluation import evaluate

DAILY = made_up()
RECORDS = hourly_records(DAILY)
CHEAP = RehearsalSettings(members=3, days=8, moves=3_000)


@pytest.fixture(scope="module")
def farm():
    whole = read_farm(SAMPLE)
    return replace(whole, fields=whole.fields[:8])


@pytest.fixture(scope="module")
def past(farm):
    return past_season(farm, DAILY, RECORDS, 2004)


# -- emulated forecasts -------------------------------------------------------------------------


def skill_by_lead(leads=10, members=31):
    """Brier skill of days over 1 mm against the sample's climatology, 120 forecasts, by lead."""
    chance, rained = [], []
    for year in (2003, 2004, 2005):
        climate = other_years(RECORDS, year)
        for n in range(0, 120, 3):
            start = np.datetime64(f"{year}-05-15T12", "h") + 24 * n * HOUR
            truth = RECORDS.between(start, start + 24 * leads * HOUR)
            days = emulate_forecast(truth, climate, members=members, seed=n).rain.reshape(
                members, leads, 24
            )
            chance.append((days.sum(axis=2) > 1.0).mean(axis=0))
            rained.append(truth.rain.reshape(leads, 24).sum(axis=1) > 1.0)
    chance, rained = np.array(chance), np.array(rained)
    return [brier(chance[:, d], rained[:, d]).skill for d in range(leads)]


def test_memory_emulated_skill_falls_with_lead():
    # from memory, hence the wide tolerance: 0.45 and 0.38 on days 1-2, 0.3 to 0.15 on days 3-5,
    # about 0 by days 9-10; means over some days, because 120 cases give a standard error of 0.08
    skill = skill_by_lead()
    first, second, third, last = (np.mean(skill[a:b]) for a, b in ((0, 2), (2, 5), (5, 8), (8, 10)))
    assert first == pytest.approx(0.42, abs=0.12)
    assert second == pytest.approx(0.22, abs=0.12)
    assert last == pytest.approx(0.0, abs=0.12)
    assert first > second > third > last


def test_perfect_forecast_is_the_observed_weather_and_a_seed_determines_a_forecast():
    truth = RECORDS.between(np.datetime64("2004-08-01T11"), np.datetime64("2004-08-09T20"))
    climate = other_years(RECORDS, 2004)
    perfect = emulate_forecast(truth, climate, members=9, perfect=True)
    assert perfect.shape == (1, 1, 24 * 8)
    np.testing.assert_array_equal(perfect.rain, truth.rain[:, :, : 24 * 8])
    one, same, other = (emulate_forecast(truth, climate, members=5, seed=s).rain for s in (3, 3, 4))
    np.testing.assert_array_equal(one, same)
    assert (one != other).any()


def test_the_climate_of_a_year_excludes_that_year():
    one_year = np.datetime64("2004-01-01T00"), np.datetime64("2005-01-01T00")
    climate = other_years(RECORDS, 2004)
    assert climate.stop == np.datetime64("2004-01-01T00", "h")
    assert not set(RECORDS.between(*one_year).temp[0, 0]) & set(climate.temp[0, 0])
    with pytest.raises(ShortRecordError, match="no whole year of records besides 2001"):
        other_years(RECORDS.between(RECORDS.times[0], np.datetime64("2002-01-02T00")), 2001)


# -- the farm at a station ----------------------------------------------------------------------


def test_hand_two_degrees_south_ripens_eight_days_earlier_and_roads_stay(farm):
    # Hopkins: four days a degree; F01 is ripe on 24 July at home
    there = farm_at_station(
        farm, replace(DAILY, latitude=farm.base_lat - 2.0, longitude=-97.0), 2004
    )
    assert there.fields[0].ripe.isoformat() == "2004-07-15"  # day 205 of 2004 is 23 July
    for a, b in (("base", "F01"), ("F02", "F05")):
        assert between_km(there, a, b) == pytest.approx(between_km(farm, a, b), rel=0.01)


def test_a_field_without_a_ripe_date_is_named(farm):
    bare = replace(farm, fields=(replace(farm.fields[0], ripe=None),))
    with pytest.raises(FarmError, match='field "F01": neither ripe nor heading is given'):
        farm_at_station(bare, DAILY, 2004)


def test_parcels_hold_the_whole_farm(farm):
    parts = split_into_parcels(farm)
    assert sum(f.area_ha for f in parts.fields) == pytest.approx(
        sum(f.area_ha * (1 - f.cut_fraction) for f in farm.fields)
    )
    assert any("wet hollow" in f.id for f in parts.fields)
    assert len({f.id for f in parts.fields}) == len(parts.fields)


def test_a_year_with_a_gap_is_not_complete(farm):
    rain = DAILY.rain.copy()
    gap = int((np.datetime64("2004-07-10") - DAILY.first).astype(int))
    rain[gap : gap + 5] = np.nan
    broken = replace(DAILY, rain=rain)
    years = complete_years(farm, DAILY, RECORDS)
    assert set(years) - set(complete_years(farm, broken, hourly_records(broken))) == {2004}
    assert 2004 in years


# -- simulation ---------------------------------------------------------------------------------


def test_fixed_orders_cost_the_same_simulated_and_in_the_tables(past):
    # two computations of the same work: slot by slot, and by compiled tables
    for orders in dispatched_orders(past.compiled).values():
        played = play(past, lambda day, state, o=orders: follow(o))
        plan = evaluate(past.compiled.tables, orders)
        assert plan.left == ()
        assert played.loss == pytest.approx(plan.cost / 100.0, abs=0.01 * len(orders) * 20)


def test_a_perfect_forecast_gives_the_tables_of_the_observed_weather(past):
    settings = RehearsalSettings(perfect=True, days=past.days)
    _, compiled = morning_tables(past, begun(past.compiled), 0, settings=settings)
    np.testing.assert_array_equal(compiled.tables.finish, past.compiled.tables.finish)
    np.testing.assert_array_equal(compiled.tables.cost, past.compiled.tables.cost)


def test_a_perfect_forecast_captures_nearly_all_of_the_avoidable_loss(past):
    best = min(play_rules(past).values())
    planner = rehearse(past, RehearsalSettings(perfect=True, days=past.days)).loss
    assert best > best_fixed_order_loss(past, moves=50_000)
    assert (best - planner) / (best - best_fixed_order_loss(past, moves=50_000)) >= 0.95


def test_a_rehearsal_is_repeatable_and_finishes_harvest(past):
    first, second = rehearse(past, CHEAP), rehearse(past, CHEAP)
    assert first == second
    assert first.done_day is not None
    assert first.loss > 0


def test_comparison_holds_every_rule_with_and_without_waiting(past):
    comparison = compare_season(past, "made up", replace(CHEAP, moves=1_000))
    names = set(priority_keys(past.compiled))
    assert set(comparison.rules) == names | {f"{n}, once dry" for n in names}
    assert comparison.best_fixed_order <= comparison.best_rule


def test_hand_headline():
    def season(planner, *rules):
        return SeasonComparison(
            station="s",
            year=2000,
            planner=SeasonResult(loss=planner, ended=(1,)),
            best_fixed_order=100.0,
            rules={"a": rules[0], "b": rules[1]},
        )

    summary = RehearsalSummary(seasons=(season(150.0, 200.0, 300.0), season(260.0, 240.0, 220.0)))
    # shares: (200 - 150) / 100 = 0.5; (220 - 260) / 120 = -1/3; rule a: mean 220 against 260
    assert [s.share for s in summary.seasons] == [0.5, pytest.approx(-1 / 3)]
    assert summary.median_share == pytest.approx((0.5 - 1 / 3) / 2)
    assert summary.best_rule == "a"
    assert summary.worst_excess == pytest.approx(260 / 240 - 1)
