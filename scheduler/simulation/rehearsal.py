"""Rehearsal: past seasons decided each morning by the planner, and by dispatching rules.

Each morning the planner has the states of soil and grain under the weather so far and an emulated
forecast. It decides as on any morning (`planning.policy_choice.decide`), make-up included. The
crews then work that day in the observed weather. The models of soil and grain count as true: a
rehearsal measures the value of decisions under an uncertain forecast.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from readiness.atmosphere.weather import HOUR, Weather
from readiness.forecasts.forecast_evolution import ForecastEvolution
from readiness.forecasts.reforecast import emulate_forecast
from scheduler.costs.standing_loss import StandingLoss, standing_loss_of
from scheduler.errors import NoPlanError
from scheduler.farm.model import Farm
from scheduler.farm.slots import SLOT_MIN, slot_times
from scheduler.field_work.play import play
from scheduler.field_work.policy import Policy
from scheduler.orders.decision import Decision
from scheduler.planning.dispatch_rules import RULE_STARTS, RULES, rule_policy
from scheduler.planning.policy_choice import Effort, Situation, decide
from scheduler.planning.previous_plan import PreviousPlan, plan_of
from scheduler.simulation.past_season import PastSeason, simulate_fields
from scheduler.simulation.season_results import FixedRule, SeasonComparison, SeasonResult
from scheduler.simulation.season_work import SeasonWork
from scheduler.solver.floor import floor
from scheduler.work_tables.crew_makeup import MakeUp

#: Work of each decision: less than the planner's usual, because yesterday's plan is the start of
#: today's. Three times as much loses no less in two seasons, and takes twice the time.
EFFORT = Effort(iterations=200, makeup_iterations=30)
#: Gap at which the floor of a season stops, as a share; the floor holds at any gap.
FLOOR_GAP = 0.005
#: Times the effort for a perfect forecast; assumed: one member is played faster than many.
PERFECT_TIMES = 6
#: How the errors of successive mornings' forecasts hang together.
Errors = Literal["persistent", "independent", "perfect"]


@dataclass(frozen=True, kw_only=True)
class RehearsalSettings:
    """Settings of the planner in a rehearsal.

    Attributes
    ----------
    members
        Members of each forecast.
    days
        Days planned ahead: a plan that does not reach the end of harvest starts too wet, because
        what it leaves costs much.
    effort
        Work of each decision.
    errors
        'persistent': the errors of a day's forecast change a little every morning. 'independent':
        they are drawn anew. 'perfect': the forecast is the observed weather.
    seed
        Seed of forecasts and searches.
    """

    members: int = 31
    days: int = 30
    effort: Effort = EFFORT
    errors: Errors = "persistent"
    seed: int = 0


class _Forecasts:
    """Emulated forecasts of the mornings of a season."""

    def __init__(self, past: PastSeason, settings: RehearsalSettings) -> None:
        self._past, self._settings = past, settings
        self._evolution = None
        if settings.errors == "persistent":
            self._evolution = ForecastEvolution.of(
                past.weather,
                past.climate,
                days=settings.days,
                seed=1000 * past.year + settings.seed,
            )

    def issue(self, day: int) -> Weather:
        """Members of the forecast of morning `day`, (member, 1, hour)."""
        past, settings = self._past, self._settings
        if self._evolution is not None:
            return self._evolution.issue(day, members=settings.members)
        start = past.weather.times[0] + 24 * day * HOUR
        end = min(start + 24 * settings.days * HOUR, past.weather.stop)
        return emulate_forecast(
            past.weather.between(start, end),
            past.climate,
            members=settings.members,
            seed=_seed(past, day, settings),
            perfect=settings.errors == "perfect",
        )


def _seed(past: PastSeason, day: int, settings: RehearsalSettings) -> int:
    """Seed of a morning, different in every season."""
    return 1000 * past.year + 100_000_000 * settings.seed + day


def rehearse(past: PastSeason, settings: RehearsalSettings) -> SeasonResult:
    """Work a season through by the planner's decision of each morning.

    On a morning without a plan the crews go on by the last one.
    """
    work, forecasts = SeasonWork(past), _Forecasts(past, settings)
    previous: PreviousPlan | None = None
    orders: tuple[MakeUp, Policy] | None = None
    for day in range(past.days):
        if work.done:
            break
        try:
            decision, fields = morning_decision(
                past, work, day, forecasts.issue(day), previous, settings=settings
            )
        except NoPlanError:  # no hour in the forecast in which anything can be cut
            if orders is not None:
                work.work_day(*orders, day)
            continue
        previous = plan_of(decision.work, decision.policy, decision.outcome)
        policy = _on_all_fields(decision, fields, len(past.farm.fields))
        work.work_day(decision.work.makeup, policy, day)
        later = np.stack([policy.start[1], policy.start[1]])
        orders = decision.work.makeup, replace(policy, start=later)
    return SeasonResult(
        loss=work.loss, ended=work.ended, cutting_h=work.cutting_h, waiting_h=work.waiting_h
    )


def morning_decision(
    past: PastSeason,
    work: SeasonWork,
    day: int,
    forecast: Weather,
    previous: PreviousPlan | None,
    *,
    settings: RehearsalSettings,
) -> tuple[Decision, list[int]]:
    """The planner's decision of a morning, and the field of the season of each of its jobs."""
    farm, kept = farm_on_morning(past, work, day)
    seed = _seed(past, day, settings)
    season = simulate_fields(farm, forecast, past.states[day].fields(kept), seed=seed)
    slots = slot_times(past.morning(day), forecast.shape[2] // 24, SLOT_MIN)
    standing_loss: StandingLoss = standing_loss_of(farm, season, slots)
    situation = Situation(
        now=past.morning(day),
        places={crew: past.farm.fields[j].id for crew, j in work.places.items()},
        locked={},
        previous=previous,
    )
    decision = decide(standing_loss, situation, seed=seed, effort=settings.effort)
    return decision, [kept[job.field] for job in decision.work.jobs]


def farm_on_morning(past: PastSeason, work: SeasonWork, day: int) -> tuple[Farm, list[int]]:
    """The farm as it stands on a morning, and the fields of the season that it holds.

    A finished field stays while a crew stands there, because the crew's next move begins there.
    """
    standing = set(np.flatnonzero(work.left > 1e-9).tolist())
    kept = sorted(standing | set(work.places.values()))
    area = past.standing_loss.jobs
    fields = [
        replace(past.farm.fields[j], cut_fraction=float(1.0 - work.left[j] / area[j].area_ha))
        for j in kept
    ]
    points = tuple(
        p if p.capacity_t is None else replace(p, capacity_t=max(0.0, float(work.room[q])))
        for q, p in enumerate(past.farm.points)
    )
    return replace(past.farm, fields=tuple(fields), points=points), kept


def _on_all_fields(decision: Decision, fields: list[int], count: int) -> Policy:
    """The decided policy with the fields of the season as its jobs."""
    policy = decision.policy
    start = np.full((2, count), -np.inf)
    start[:, fields] = policy.start
    orders = tuple(tuple(fields[i] for i in row) for row in policy.orders)
    return replace(policy, orders=orders, start=start)


def play_rules(past: PastSeason) -> dict[FixedRule, float]:
    """Money lost by every rule with every start moisture, by the farm's own make-up."""
    season_work = SeasonWork(past)
    work = season_work.work(season_work.own_makeup)
    return {
        (name, start): float(play(work.tables, rule_policy(work, name, start)).loss[0])
        for name in RULES
        for start in RULE_STARTS
    }


def compare_season(past: PastSeason, station: str, settings: RehearsalSettings) -> SeasonComparison:
    """One season by the planner, by the planner with a perfect forecast, and by every rule.

    The floor is that of the farm's own make-up.
    """
    longer = settings.effort.times(PERFECT_TIMES)
    perfect = replace(settings, errors="perfect", days=past.days, effort=longer)
    work = SeasonWork(past)
    bound = floor(work.work(work.own_makeup).tables, gap=FLOOR_GAP).bound[0]
    return SeasonComparison(
        station=station,
        year=past.year,
        planner=rehearse(past, settings),
        perfect=rehearse(past, perfect),
        rules=play_rules(past),
        floor=float(bound),
    )
