"""The decision of a morning on a small farm: make-up, held orders, stability, unseen members."""

from dataclasses import replace
from datetime import datetime, time, timedelta

import numpy as np
import pytest
from small_farm import HOURS, NOW, UNTIL, UTC, combine, farm, season, standing

from readiness.season.codes import Reason
from scheduler.errors import NoPlanError
from scheduler.orders.decision import Difference, MakeUpLoss
from scheduler.planning import policy_choice
from scheduler.planning.policy_choice import (
    Effort,
    Situation,
    checked_members,
    decide,
    rank_makeups,
)
from scheduler.planning.previous_plan import machine_ids, plan_of
from scheduler.solver.check import violations
from scheduler.work_tables.crew_makeup import makeups, own_makeup

EFFORT = Effort(iterations=150, makeup_iterations=30)
MEMBERS = 9


def damp_season(fields=3, *, members=MEMBERS, days=4, seed=0):
    """Dry afternoons, damp nights, and a spell of soft ground that members place differently."""
    rng = np.random.default_rng(seed)
    hour = np.arange(24 * days) + 6
    wet = 15.5 + 2.5 * np.cos(2.0 * np.pi * (hour - 3) / 24.0)
    made = season(fields, np.tile(wet, (fields, 1)), members=members, days=days)
    reason = np.where(made.moisture > 17.5, Reason.GRAIN, made.reason)
    for m in range(members):
        at = int(rng.integers(20, 24 * days - 20))
        reason[m, rng.random(fields) < 0.8, at : at + 18] = Reason.GROUND
    return replace(made, reason=reason.astype(np.uint8))


def situation(**changes):
    return replace(Situation(now=NOW, places={}, locked={}, previous=None), **changes)


def decided(the_farm=None, the_situation=None, the_season=None, *, seed=0):
    the_farm = the_farm or big_farm()
    the_season = the_season or damp_season(len(the_farm.fields))
    loss = standing(the_farm, the_season)
    return decide(loss, the_situation or situation(), seed=seed, effort=EFFORT)


def big_farm(**other):
    """Fields that keep both crews at work over the four days."""
    fields = tuple(replace(f, area_ha=4.0 * f.area_ha) for f in farm().fields)
    return farm(**({"fields": fields} | other))


def named_policy(decision):
    """Make-up and policy by names, so that plans on other tables compare."""
    return machine_ids(decision.work.makeup), previous_of(decision)


def test_a_decision_is_sound_and_loses_no_more_than_a_rule_beyond_noise():
    decision = decided()
    assert violations(decision.work.tables, decision.policy, decision.outcome) == []
    for rule in decision.rules:
        gain = decision.beats(rule)
        assert gain.mean >= -2.0 * gain.error, rule.name


def test_a_decision_tells_how_far_two_separate_searches_lie_apart():
    apart = decided().searches_apart
    assert apart is not None
    assert np.isfinite(apart.mean)
    assert apart.error >= 0.0
    # the second is no better than noise allows, or it would have been the plan
    assert apart.mean >= -3.0 * apart.error - 1.0


@pytest.mark.parametrize(("saves", "stays"), [(1e6, False), (0.0, True)])
def test_the_crews_of_the_farm_file_stay_unless_the_change_really_saves(monkeypatch, saves, stays):
    ranked = policy_choice.rank_makeups

    def worst_first(*args, **kwargs):
        return ranked(*args, **kwargs)[::-1]

    own = machine_ids(own_makeup(big_farm(), NOW, UNTIL))
    monkeypatch.setattr(policy_choice, "rank_makeups", worst_first)
    monkeypatch.setattr(
        policy_choice._Choice, "compare", lambda *_: Difference(mean=saves, error=1.0)
    )
    assert (machine_ids(decided().work.makeup) == own) == stays


def test_a_plan_that_breaks_its_tables_is_never_handed_out(monkeypatch):
    monkeypatch.setattr(policy_choice, "violations", lambda *_, **__: ["crew 0 is in two places"])
    with pytest.raises(AssertionError, match="breaks its tables:\ncrew 0 is in two places"):
        decided()


def test_the_same_seed_gives_the_same_decision():
    assert named_policy(decided()) == named_policy(decided())


def test_rows_of_fields_have_no_effect_on_the_plan():
    rows = [2, 0, 1]
    turned = big_farm(fields=tuple(big_farm().fields[i] for i in rows))
    dry = damp_season()
    by_row = ("moisture", "tier", "approach", "reason", "water_top", "water_below", "film")
    by_row = (*by_row, "wettings", "sprout", "straw")
    other = replace(dry, **{name: getattr(dry, name)[:, rows] for name in by_row})
    assert named_policy(decided(turned, the_season=other)) == named_policy(decided(the_season=dry))


def previous_of(decision):
    """A decision as the previous plan of the next morning."""
    return plan_of(decision.work, decision.policy, decision.outcome)


# --- machines over the days ---


def first_cut(decision, k):
    """The first slot in which a crew cuts in any member."""
    return int(np.argwhere(decision.outcome.log.job[:, k] >= 0)[:, 1].min())


@pytest.mark.parametrize(
    "changes",
    [
        {"down": ((NOW, NOW + timedelta(days=2)),)},
        {"down": ((NOW, datetime(2026, 8, 13, 12, tzinfo=UTC)),)},
        {"joins": NOW + timedelta(days=2)},
    ],
)
def test_a_combine_works_from_the_hour_at_which_it_is_up(changes):
    crews = tuple(replace(c, fixed=True) for c in farm().crews)
    late = (*farm().combines[:2], combine("C3", header_m=8.0, **changes))
    decision = decided(big_farm(crews=crews, combines=late))
    crew = [m.crew for m in decision.work.makeup].index("B")
    up = changes["joins"] if "joins" in changes else changes["down"][0][1]
    slot = (up - NOW) / timedelta(minutes=30)
    assert slot <= first_cut(decision, crew) < decision.work.tables.shape[4]
    assert machine_ids(decision.work.makeup)["C3"] == "B"


def test_no_combine_on_all_days_is_no_plan():
    down = ((NOW - timedelta(hours=1), NOW + timedelta(days=9)),)
    combines = tuple(replace(c, down=down) for c in farm().combines)
    with pytest.raises(NoPlanError, match="no crew has a combine within the days planned"):
        decided(big_farm(combines=combines))


def test_a_season_without_an_open_hour_is_no_plan():
    shut = damp_season()
    shut = replace(shut, reason=np.full_like(shut.reason, Reason.GROUND))
    with pytest.raises(NoPlanError, match="no crew can cut anything"):
        decided(the_season=shut)


def test_delivery_points_without_room_are_no_plan_and_said_to_be_full():
    (point,) = farm().points
    other = replace(point, id="canola only", markets={"canola": point.markets["wheat_hard"]})
    full = replace(point, capacity_t=0.0)
    with pytest.raises(NoPlanError, match="every delivery point that takes the grain is full"):
        decided(big_farm(points=(full, other)))


# --- orders that the farmer holds ---


@pytest.mark.parametrize("crew", ["A", "B"])
def test_held_fields_head_the_order_of_their_crew_and_have_a_price(crew):
    decision = decided(the_situation=situation(locked={crew: ["F1"]}))
    k = [m.crew for m in decision.work.makeup].index(crew)
    first = decision.policy.orders[k][0]
    assert decision.work.field(first).id == "F1"
    assert decision.locked[k] == (first,)
    assert decision.held_cost is not None
    assert (
        violations(decision.work.tables, decision.policy, decision.outcome, locked=decision.locked)
        == []
    )
    assert decided().held_cost is None


def test_no_makeup_dissolves_a_crew_whose_order_is_held():
    # crew B works one hour a day, so that its combine is worth more with crew A
    crews = (farm().crews[0], replace(farm().crews[1], week=((time(14), time(15)),) * 7))
    rules = replace(farm().rules, change_price=0.0)
    loss = standing(big_farm(crews=crews, rules=rules), damp_season())
    free = rank_makeups(loss, situation(), seed=0, effort=EFFORT)
    held = rank_makeups(loss, situation(locked={"B": ["F1"]}), seed=0, effort=EFFORT)
    assert "B" not in {c.crew for c in free[0].makeup}
    assert all("B" in {c.crew for c in m.makeup} for m in held)


def test_a_held_order_that_wastes_a_day_costs_money():
    # crew A must begin with F1, which is shut for two days; it has no other way to spend them
    wet = damp_season()
    reason = wet.reason.copy()
    reason[:, 0, :48] = Reason.GROUND
    crews = tuple(replace(c, fixed=True) for c in farm().crews)
    decision = decided(
        big_farm(crews=crews),
        situation(locked={"A": ["F1"], "B": ["F1"]}),
        replace(wet, reason=reason),
    )
    assert decision.held_cost is not None
    assert decision.held_cost.mean >= -2.0 * decision.held_cost.error


# --- stability ---


def test_the_plan_of_yesterday_stays_where_nothing_changed():
    before = decided()
    previous = previous_of(before)
    again = decided(the_situation=situation(previous=previous), seed=1)
    assert machine_ids(again.work.makeup) == machine_ids(before.work.makeup)
    assert previous_of(again).first == previous.first


def test_a_change_that_saves_much_replaces_the_plan_of_yesterday():
    before = decided()
    previous = previous_of(before)
    names = [("F1", ""), ("F2", ""), ("F3", "")]
    shut = damp_season()
    reason = shut.reason.copy()
    yesterday = {name for name, _ in previous.first.values()}
    for n, (field, _) in enumerate(names):
        if field in yesterday:
            reason[:, n] = Reason.GROUND
    again = decided(
        big_farm(rules=replace(farm().rules, change_price=1.0)),
        situation(previous=previous),
        replace(shut, reason=reason),
    )
    left = again.outcome.state.left.mean(axis=0) < 0.5 * again.work.tables.area
    cut = {again.work.field(j).id for j in np.flatnonzero(left)}
    assert cut
    assert not cut & yesterday


# --- unseen members ---


@pytest.mark.parametrize("crews", [1, 2])
def test_a_morning_may_have_more_or_fewer_crews_than_the_plan_of_yesterday(monkeypatch, crews):
    until = NOW + timedelta(days=4)
    before, today = (
        next(m for m in makeups(big_farm(), NOW, until) if len(m) == count)
        for count in (3 - crews, crews)
    )

    def decided_with(makeup, previous):
        ranked = [MakeUpLoss(makeup=makeup, loss=0.0)]
        monkeypatch.setattr(policy_choice, "rank_makeups", lambda *_, **__: ranked)
        return decided(the_situation=situation(previous=previous))

    yesterday = decided_with(before, None)
    decision = decided_with(today, previous_of(yesterday))
    assert decision.work.makeup in (before, today)
    assert violations(decision.work.tables, decision.policy, decision.outcome) == []


def test_members_that_check_are_not_searched_on():
    searched, unseen = checked_members(31)
    assert not set(searched) & set(unseen)
    assert sorted(searched + unseen) == list(range(31))
    assert len(unseen) == 10
    assert checked_members(5) == ([0, 1, 2, 3, 4], [])


def test_weather_of_unseen_members_changes_no_makeup_and_no_policy():
    alone = big_farm()
    made = damp_season()
    _, unseen = checked_members(MEMBERS)
    moisture = made.moisture.copy()
    moisture[unseen] -= 0.5  # the same hours stay open; all unseen grain is drier
    other = replace(made, moisture=moisture)
    one, two = decided(alone, the_season=made), decided(alone, the_season=other)
    assert [r.start_pct for r in one.rules] == [r.start_pct for r in two.rules]
    assert one.work.makeup == two.work.makeup
    assert [m.loss for m in one.makeups] == [m.loss for m in two.makeups]
    assert named_policy(one) == named_policy(two)
    changed = one.outcome.loss != two.outcome.loss
    assert set(np.flatnonzero(changed)) <= set(unseen)


def test_few_members_are_all_searched_on():
    decision = decided(the_season=damp_season(members=3))
    assert decision.unseen == ()
    assert decision.judged == [0, 1, 2]
    assert decision.work.tables.shape[4] == 2 * HOURS
