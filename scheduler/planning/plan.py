"""The planner: a farm folder and a morning in, the orders of the day out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Weather
from readiness.season.simulate import Season
from scheduler.costs.standing_loss import StandingLoss, standing_loss_of
from scheduler.cut_tables.compiled import Compiled
from scheduler.cut_tables.makeup import MakeUp
from scheduler.errors import FarmError, NoPlanError
from scheduler.explanation.briefing import crew_orders, left_out
from scheduler.explanation.own_order import priced
from scheduler.explanation.sensitivity import alternatives
from scheduler.explanation.stochastic_value import (
    mean_weather,
    value_of_perfect_information,
    value_of_stochastic_solution,
)
from scheduler.farm.working_time import SLOT_MIN, slot_times
from scheduler.orders.changes import changes_since
from scheduler.orders.model import Morning
from scheduler.orders.safety import cautions
from scheduler.planning.dispatch_rules import dispatched_orders
from scheduler.planning.information import InformationState, gather
from scheduler.planning.makeup_choice import compile_makeup, rank_makeups
from scheduler.planning.plan_stability import previous_job_orders, stable_plan
from scheduler.planning.stages import PlanStage
from scheduler.solver.annealing import short_search
from scheduler.solver.check import check
from scheduler.solver.evaluation import evaluate
from scheduler.solver.solve import solve
from scheduler.solver.stages import Progress, SolveStage, ignore_progress
from scheduler.solver.tables import Plan
from scheduler.windows.model_inputs import simulate_farm

#: Moves of the search for a page that waits; assumed, about a second for 26 fields.
SWIFT_MOVES = 60_000
#: Hour of the farm's day at which a plan for a bare date is made.
MORNING_HOUR = 6


@dataclass(frozen=True, kw_only=True)
class Decision:
    """A solved morning before it is put into words."""

    compiled: Compiled
    plan: Plan
    makeups: tuple[tuple[MakeUp, float], ...]
    rule_losses: dict[str, float]
    value_of_perfect_information: float | None
    value_of_stochastic_solution: float | None


def plan_morning(
    folder: Path,
    *,
    now: datetime | None = None,
    forecast: Path | None = None,
    days: int = 12,
    seed: int = 0,
    fast: bool = False,
    swift: bool = False,
    progress: Progress = ignore_progress,
) -> Morning:
    """Plan a farm folder from its files, its stored weather and its season book.

    Parameters
    ----------
    folder : the farm folder.
    now : aware planning time; the clock's by default.
    forecast : a forecast file instead of the last stored one.
    days, seed : horizon and random seed; the same seed gives the same plan.
    fast : a quarter of the search, with a wider gap.
    swift : orders in seconds by a short search, nothing proven or weighed, for a page that waits.
    progress : called with each stage and the share of the work done.

    Raises
    ------
    FarmError, WeatherError, BookError
        Where an input is wrong.
    NoPlanError
        Where no crew can cut anything.
    """
    information = gather(folder, now, forecast=forecast, days=days, seed=seed)
    progress(PlanStage.READINESS, 0.05)
    return plan_farm(information, days=days, seed=seed, fast=fast, swift=swift, progress=progress)


def plan_farm(
    information: InformationState,
    *,
    days: int = 12,
    seed: int = 0,
    fast: bool = False,
    swift: bool = False,
    progress: Progress = ignore_progress,
) -> Morning:
    """Plan a morning from what is information, in memory; see `plan_morning`."""
    farm, weather = information.farm, information.weather
    if not any(c.combines for c in farm.crews) or not farm.fields:
        raise FarmError("the farm has no crew with a combine, or no fields: add them first")
    season, sky = simulate_farm(
        farm,
        weather.past,
        weather.forecast,
        lightning=weather.lightning,
        observations=information.observations,
        seed=seed,
    )
    slots = slot_times(information.now, days, SLOT_MIN)
    slots = slots[slots < season.start + season.moisture.shape[2]]
    progress(PlanStage.MAKEUPS, 0.15)
    mean = None if swift else _mean_standing_loss(information, slots, seed)
    decision = decide(
        information,
        standing_loss_of(farm, season, slots),
        seed=seed,
        fast=fast,
        swift=swift,
        progress=progress,
        mean=mean,
        study=not swift,
    )
    progress(PlanStage.BRIEFING, 0.93)
    return _morning(information, sky, season, seed, decision)


def _mean_standing_loss(
    information: InformationState, slots: NDArray[np.datetime64], seed: int
) -> StandingLoss:
    """What is at stake under the ensemble mean."""
    farm, weather = information.farm, information.weather
    season, _ = simulate_farm(
        farm,
        weather.past,
        mean_weather(weather.forecast),
        observations=information.observations,
        seed=seed,
    )
    return standing_loss_of(farm, season, slots)


def decide(
    information: InformationState,
    standing_loss: StandingLoss,
    *,
    seed: int = 0,
    fast: bool = False,
    swift: bool = False,
    progress: Progress = ignore_progress,
    mean: StandingLoss | None = None,
    study: bool = False,
) -> Decision:
    """Choose the make-up, solve, and price what the plan is measured against.

    `mean` is the same under the ensemble mean, against which the cost of ignoring uncertainty is
    reckoned; `study` adds the value of foresight.

    Raises
    ------
    NoPlanError
        Where no crew can finish anything.
    """
    objective = information.farm.rules.objective
    ranked = rank_makeups(information, standing_loss, seed=seed)
    compiled = compile_makeup(information, standing_loss, ranked[0][0])
    if (compiled.tables.finish < 0).all():
        raise NoPlanError(
            "no crew can finish any field within the days planned; see `afterrain ready` for "
            "what closes the hours, plan more days, or raise a limit or a delivery point's room in "
            "farm.toml"
        )
    start = previous_job_orders(compiled, information.previous_orders or ())
    if swift:
        progress(SolveStage.SEARCH, 0.4)
        plan = short_search(
            compiled.tables, seed=seed, objective=objective, moves=SWIFT_MOVES, orders=start
        )
    else:
        plan = solve(
            compiled.tables,
            seed=seed,
            objective=objective,
            fast=fast,
            hint=start,
            progress=lambda stage, share: progress(stage, 0.3 + 0.5 * share),
        )
    if information.previous_orders:
        plan = stable_plan(compiled, plan, information.previous_orders, seed=seed)
    faults = check(compiled.tables, plan, objective=objective)
    if faults:
        raise AssertionError("the plan breaks a rule: " + "; ".join(faults))
    progress(PlanStage.UNCERTAINTY, 0.82)
    alone = None if mean is None else compile_makeup(information, mean, ranked[0][0])
    return Decision(
        compiled=compiled,
        plan=plan,
        makeups=tuple((makeup, cost / 100.0) for makeup, cost in ranked),
        rule_losses={
            name: evaluate(compiled.tables, orders, objective=objective).cost / 100.0
            for name, orders in dispatched_orders(compiled).items()
        },
        value_of_perfect_information=value_of_perfect_information(compiled.tables, plan, seed=seed)
        if study
        else None,
        value_of_stochastic_solution=None
        if alone is None
        else value_of_stochastic_solution(compiled, alone, plan, seed=seed),
    )


def _morning(
    information: InformationState, sky: Weather, season: Season, seed: int, decision: Decision
) -> Morning:
    farm, weather, now = information.farm, information.weather, information.now
    compiled, plan = decision.compiled, decision.plan
    objective = farm.rules.objective
    other = alternatives(compiled.tables, plan, objective=objective)
    crews = crew_orders(compiled, plan, season, other, objective=objective)
    until = now + timedelta(minutes=SLOT_MIN * len(compiled.standing_loss.slots))
    return Morning(
        farm=farm,
        now=now,
        until=until,
        seed=seed,
        source=weather.source,
        issued=weather.issued,
        age_h=weather.age_h,
        weather_notes=weather.notes,
        members=season.moisture.shape[0],
        weather=sky,
        season=season,
        makeup=compiled.makeup,
        makeups=decision.makeups,
        crews=crews,
        left_out=left_out(compiled, plan, season),
        status=plan.status,
        loss=plan.cost / 100.0,
        bound=None if plan.bound is None else plan.bound / 100.0,
        gap=plan.gap,
        rule_losses=decision.rule_losses,
        member_loss=tuple(plan.member_cost / 100.0),
        value_of_perfect_information=decision.value_of_perfect_information,
        value_of_stochastic_solution=decision.value_of_stochastic_solution,
        cautions=cautions(
            farm, weather.forecast, now=now, lightning=weather.lightning, warnings=weather.warnings
        ),
        changes=()
        if information.previous_orders is None
        else (*information.book_news, *changes_since(information.previous_orders, crews)),
        lessons=information.lessons,
        decision=decision,
    )


def price_order(
    folder: Path,
    morning: Morning,
    orders: Mapping[str, Sequence[str]],
    *,
    best: float | None = None,
) -> tuple[float, list[str]]:
    """Expected loss of orders that a user proposes for a planned morning; see `own_order.priced`.

    `folder` is the farm folder that the morning was planned from.
    """
    decision = morning.decision
    if not isinstance(decision, Decision):
        raise FarmError(f"{folder}: this plan holds no tables: replan, then price an order")
    return priced(decision.compiled, decision.plan, orders, best=best)
