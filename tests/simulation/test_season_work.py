"""Work of a past season, carried from day to day. Kinds of test: hand, metamorphic."""

from dataclasses import replace

import numpy as np
import pytest
from past_weather import made_up
from places import SAMPLE

from readiness.sources.daily_to_hourly import hourly_records
from scheduler.errors import NoPlanError
from scheduler.farm_files.folder import read_farm
from scheduler.field_work.play import play
from scheduler.planning.dispatch_rules import LARGEST_FIRST, NEAREST_FIRST, RULES, rule_policy
from scheduler.planning.policy_choice import Effort
from scheduler.simulation import rehearsal
from scheduler.simulation.past_season import past_season
from scheduler.simulation.rehearsal import RehearsalSettings, farm_on_morning, rehearse
from scheduler.simulation.season_work import SLOTS_DAY, SeasonWork

#: Start moisture, percent, above which nothing is threshed.
ANY = 40.0


@pytest.fixture(scope="module")
def past():
    whole, daily = read_farm(SAMPLE), made_up()
    return past_season(replace(whole, fields=whole.fields[:6]), daily, hourly_records(daily), 2004)


def worked_to_first_grain(season, makeup):
    """Work until carts or trucks hold grain in the morning; the next day."""
    policy = rule_policy(season.work(makeup), NEAREST_FIRST, ANY)
    for day in range(season.past.days):
        season.work_day(makeup, policy, day)
        if sum(t.sum() for t in season.on_board.values()) > 1.0:
            return day + 1
    raise AssertionError("no grain is on board on any morning")


@pytest.mark.parametrize("name", RULES)
def test_days_of_work_add_up_to_the_season(past, name):
    season = SeasonWork(past)
    work = season.work(season.own_makeup)
    policy = rule_policy(work, name, 16.0)
    whole = play(work.tables, policy, log=True)
    for day in range(past.days):
        season.work_day(season.own_makeup, policy, day)
    assert season.loss == pytest.approx(float(whole.loss[0]), rel=1e-12)
    np.testing.assert_allclose(season.left, whole.state.left[0])
    # hand: hours in which crews cut are the slots of the log that hold a cut
    assert season.cutting_h == pytest.approx(0.5 * (whole.log.job >= 0).any(axis=3).sum())
    assert season.waiting_h == 0.0  # rules have no patience


def test_start_moistures_of_today_hold_on_every_day(past):
    """Row 0 of the policy is today's; nothing is cut where it forbids, on a later day too."""
    season = SeasonWork(past)
    policy = rule_policy(season.work(season.own_makeup), LARGEST_FIRST, ANY)
    shut = replace(policy, start=np.stack([np.zeros(policy.start.shape[1]), policy.start[1]]))
    for day in range(past.days):
        season.work_day(season.own_makeup, shut, day)
    assert season.loss == pytest.approx(float(past.standing_loss.leave_cost.sum()))
    assert season.cutting_h == 0.0
    turned = replace(policy, start=shut.start[::-1].copy())
    season.work_day(season.own_makeup, turned, past.days - 1)
    everyday = SeasonWork(past)
    everyday.work_day(everyday.own_makeup, policy, past.days - 1)
    assert season.loss == everyday.loss


def test_a_patient_crew_waits_while_another_field_can_be_cut(past):
    """Half of the fields may be cut wet: a crew at a dry one waits there when dew shuts it."""
    hours = []
    for patience in (0.0, 480.0):
        season = SeasonWork(past)
        policy = rule_policy(season.work(season.own_makeup), LARGEST_FIRST, ANY)
        start = policy.start.copy()
        start[:, list(policy.orders[0][::2])] = 14.5
        crews = len(policy.orders)
        patient = replace(policy, start=start, patience=np.full(crews, patience))
        for day in range(past.days):
            season.work_day(season.own_makeup, patient, day)
        hours.append(season.waiting_h)
    assert hours[0] == 0.0
    assert hours[1] > 0.0


def test_grain_of_a_crew_that_is_dissolved_goes_with_its_trucks(past):
    # points open from 9 to 16 h only, so that grain cut in the evening stays on board
    slot = np.arange(past.standing_loss.point_open.shape[1]) % SLOTS_DAY
    point_open = past.standing_loss.point_open & (slot >= 6) & (slot < 20)
    season = SeasonWork(
        replace(past, standing_loss=replace(past.standing_loss, point_open=point_open))
    )
    own = season.own_makeup
    day = worked_to_first_grain(season, own)
    before = {crew: t.copy() for crew, t in season.on_board.items()}
    loser = max(before, key=lambda crew: before[crew].sum())
    (gone,) = (m for m in own if m.crew == loser)
    stays = [m for m in own if m.crew != loser]
    # the last other crew gets all machines
    makeup = (
        *stays[:-1],
        replace(
            stays[-1],
            combines=(*stays[-1].combines, *gone.combines),
            carts=(*stays[-1].carts, *gone.carts),
            trucks=(*stays[-1].trucks, *gone.trucks),
        ),
    )
    idle = rule_policy(season.work(makeup), NEAREST_FIRST, 0.0)
    state = season._state_of(makeup)
    heir = state.held[0, len(makeup) - 1]
    np.testing.assert_allclose(heir, before[loser] + before[stays[-1].crew])
    assert (state.held_rate[0, len(makeup) - 1][heir > 0] > 0).all()
    season.work_day(makeup, idle, day)
    assert season.on_board[loser].sum() == 0.0
    assert season.left.sum() > 0.0  # nothing was cut, the grain was hauled
    assert sum(t.sum() for t in season.on_board.values()) < sum(t.sum() for t in before.values())


def test_equal_makeups_of_successive_days_are_one_makeup(past):
    """Metamorphic: a make-up that is built anew each day changes nothing."""
    first, second = SeasonWork(past), SeasonWork(past)
    policy = rule_policy(first.work(first.own_makeup), NEAREST_FIRST, 18.0)
    for day in range(past.days):
        first.work_day(first.own_makeup, policy, day)
        second.work_day(tuple(replace(m) for m in second.own_makeup), policy, day)
    assert first.loss == second.loss
    assert first.ended == second.ended


def test_hand_farm_on_a_morning(past):
    """Cut fractions, room left and places stand in the farm of the morning."""
    season = SeasonWork(past)
    policy = rule_policy(season.work(season.own_makeup), NEAREST_FIRST, ANY)
    for day in range(past.days):
        season.work_day(season.own_makeup, policy, day)
        if season.left.sum() < 0.9 * sum(f.area_ha for f in past.farm.fields):
            break
    farm, kept = farm_on_morning(past, season, day + 1)
    for f, j in zip(farm.fields, kept, strict=True):
        whole = past.farm.fields[j]
        assert f.id == whole.id
        assert whole.area_ha * (1 - f.cut_fraction) == pytest.approx(season.left[j])
    assert set(season.places.values()) <= set(kept)
    for p, before, left in zip(farm.points, past.farm.points, season.room, strict=True):
        assert (p.capacity_t is None) == (before.capacity_t is None)
        if p.capacity_t is not None:
            assert p.capacity_t == pytest.approx(left)


def test_a_morning_without_a_plan_goes_on_by_the_last_one(past, monkeypatch):
    settings = RehearsalSettings(
        members=2, days=10, effort=Effort(iterations=0, makeup_iterations=0)
    )
    decide, calls = rehearsal.decide, []

    def only_first(*args, **kwargs):
        calls.append(1)
        if len(calls) > 1:
            raise NoPlanError("nothing opens")
        return decide(*args, **kwargs)

    monkeypatch.setattr(rehearsal, "decide", only_first)
    result = rehearse(past, settings)
    assert len(calls) > 1
    assert result.loss < past.standing_loss.leave_cost.sum()
    assert result.cutting_h > 0.0
