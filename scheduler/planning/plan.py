"""The planner: a farm folder and a morning in, the orders of the day out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import HOUR, Weather
from readiness.season.simulate import Season
from scheduler.costs.standing_loss import standing_loss_of
from scheduler.cut_tables.compiled import Compiled
from scheduler.cut_tables.crew_makeup import MakeUp
from scheduler.errors import FarmError, NoPlanError
from scheduler.explanation.briefing import crew_orders, left_out
from scheduler.explanation.own_order import OwnOrderPrice, price_own_order
from scheduler.explanation.stochastic_value import (
    mean_weather,
    value_of_perfect_information,
    value_of_stochastic_solution,
)
from scheduler.explanation.swap_costs import alternatives
from scheduler.farm.slots import SLOT_MIN, slot_times
from scheduler.orders.changes import changes_since
from scheduler.orders.decision import Decision
from scheduler.orders.model import Change, Morning
from scheduler.orders.safety import day_cautions
from scheduler.planning.crew_makeup_choice import compile_makeup, rank_makeups
from scheduler.planning.dispatch_rules import dispatched_orders
from scheduler.planning.information import InformationState, gather, simulated_season
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
    forecast : a forecast file in place of the last stored forecast.
    days, seed : horizon and random seed; the same seed gives the same plan.
    fast : a quarter of the search, with a wider gap.
    swift : orders within seconds for a page that waits: a short search without a bound and
        without the values of information.
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
    """Plan a morning from its information state, in memory; see `plan_morning`."""
    farm = information.farm
    if not any(c.combines for c in farm.crews) or not farm.fields:
        raise FarmError("the farm has no crew with a combine, or no fields: add them first")

    # soil and grain of every field, hour by hour in every member; then the money lost by waiting
    season, sky = simulated_season(information, seed=seed)
    slots = slot_times(information.now, days, SLOT_MIN)
    slots = slots[slots < season.start + season.moisture.shape[2] * HOUR]
    standing_loss = standing_loss_of(farm, season, slots)

    # the cheapest make-up, and its cut tables: all that the solver sees
    progress(PlanStage.MAKEUPS, 0.15)
    makeups = rank_makeups(information, standing_loss, seed=seed)
    compiled = compile_makeup(information, standing_loss, makeups[0][0])

    # the order of fields that loses least; the previous orders stay unless a change pays
    plan = _solve(information, compiled, seed=seed, fast=fast, swift=swift, progress=progress)

    # measures to hold the plan against
    progress(PlanStage.UNCERTAINTY, 0.82)
    rule_losses = _rule_losses(compiled)
    information_values = (
        None if swift else _information_values(information, compiled, plan, slots, seed)
    )

    # times, chances and reasons that people read
    progress(PlanStage.BRIEFING, 0.93)
    return _brief(
        information,
        Decision(compiled=compiled, plan=plan),
        season,
        sky,
        seed=seed,
        makeups=makeups,
        rule_losses=rule_losses,
        information_values=information_values,
    )


def _solve(
    information: InformationState,
    compiled: Compiled,
    *,
    seed: int,
    fast: bool,
    swift: bool,
    progress: Progress,
) -> Plan:
    """Solve the tables, keep the previous orders where no change pays, and check the plan.

    Raises
    ------
    NoPlanError
        Where no crew can finish anything.
    """
    tables, objective = compiled.tables, compiled.farm.rules.objective
    if (tables.finish < 0).all():
        raise NoPlanError(
            "no crew can finish any field within the days planned; see `afterrain ready` for "
            "what closes the hours, plan more days, or raise a limit or a delivery point's room in "
            "farm.toml"
        )
    start = previous_job_orders(compiled, information.previous_orders or ())
    if swift:
        progress(SolveStage.SEARCH, 0.4)
        plan = short_search(tables, seed=seed, objective=objective, moves=SWIFT_MOVES, orders=start)
    else:
        plan = solve(
            tables,
            seed=seed,
            objective=objective,
            fast=fast,
            hint=start,
            progress=lambda stage, share: progress(stage, 0.3 + 0.5 * share),
        )
    if information.previous_orders:
        plan = stable_plan(compiled, plan, information.previous_orders, seed=seed)
    if faults := check(tables, plan, objective=objective):
        raise AssertionError("the plan breaks a rule: " + "; ".join(faults))
    return plan


def _rule_losses(compiled: Compiled) -> dict[str, float]:
    """Expected loss of each dispatching rule, money."""
    objective = compiled.farm.rules.objective
    return {
        name: evaluate(compiled.tables, orders, objective=objective).cost / 100.0
        for name, orders in dispatched_orders(compiled).items()
    }


def _information_values(
    information: InformationState,
    compiled: Compiled,
    plan: Plan,
    slots: NDArray[np.datetime64],
    seed: int,
) -> tuple[float, float]:
    """Value of perfect information and of the stochastic solution, money."""
    farm, weather = information.farm, information.weather
    mean_season, _ = simulate_farm(
        farm,
        weather.past,
        mean_weather(weather.forecast),
        observations=information.observations,
        seed=seed,
    )
    mean_loss = standing_loss_of(farm, mean_season, slots)
    mean_compiled = compile_makeup(information, mean_loss, compiled.makeup)
    return (
        value_of_perfect_information(compiled.tables, plan, seed=seed),
        value_of_stochastic_solution(compiled, mean_compiled, plan, seed=seed),
    )


def _brief(
    information: InformationState,
    decision: Decision,
    season: Season,
    sky: Weather,
    *,
    seed: int,
    makeups: Sequence[tuple[MakeUp, float]],
    rule_losses: dict[str, float],
    information_values: tuple[float, float] | None,
) -> Morning:
    """Explain a decision; makeups come with their cost in cents."""
    farm, weather, now = information.farm, information.weather, information.now
    compiled, plan = decision.compiled, decision.plan
    objective = farm.rules.objective
    swaps = alternatives(compiled.tables, plan, objective=objective)
    crews = crew_orders(compiled, plan, season, swaps, objective=objective)
    changes: tuple[Change | str, ...] = ()
    if information.previous_orders is not None:
        changes = (*information.book_news, *changes_since(information.previous_orders, crews))
    perfect_information, stochastic_solution = information_values or (None, None)
    return Morning(
        farm=farm,
        now=now,
        until=now + timedelta(minutes=SLOT_MIN * len(compiled.standing_loss.slots)),
        seed=seed,
        source=weather.source,
        issued=weather.issued,
        age_h=weather.age_h,
        weather_notes=weather.notes,
        members=season.moisture.shape[0],
        weather=sky,
        season=season,
        makeup=compiled.makeup,
        makeups=tuple((makeup, cost / 100.0) for makeup, cost in makeups),
        crews=crews,
        left_out=left_out(compiled, plan, season),
        status=plan.status,
        loss=plan.cost / 100.0,
        bound=None if plan.bound is None else plan.bound / 100.0,
        gap=plan.gap,
        rule_losses=rule_losses,
        member_loss=tuple(plan.member_cost / 100.0),
        value_of_perfect_information=perfect_information,
        value_of_stochastic_solution=stochastic_solution,
        cautions=day_cautions(
            farm, weather.forecast, now=now, lightning=weather.lightning, warnings=weather.warnings
        ),
        changes=changes,
        lessons=information.lessons,
        decision=decision,
    )


def price_order(
    folder: Path,
    morning: Morning,
    orders: Mapping[str, Sequence[str]],
    *,
    plan_loss: float | None = None,
) -> OwnOrderPrice:
    """Price orders that a user proposes for a planned morning; see `price_own_order`.

    `folder` is the farm folder that the morning was planned from.
    """
    if morning.decision is None:
        raise FarmError(f"{folder}: this plan holds no tables: replan, then price an order")
    return price_own_order(morning.decision, orders, plan_loss=plan_loss)
