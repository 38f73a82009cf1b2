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
from scheduler.cut_tables.compile import Compiled
from scheduler.cut_tables.makeup import describe
from scheduler.errors import FarmError, NoPlanError
from scheduler.explanation.briefing import crew_orders, left_out
from scheduler.explanation.own_order import priced
from scheduler.explanation.sensitivity import alternatives
from scheduler.explanation.stochastic_value import foresight, ignoring, mean_weather
from scheduler.farm.working_time import SLOT_MIN, slot_times
from scheduler.orders.changes import changes_since
from scheduler.orders.model import Morning
from scheduler.orders.safety import cautions
from scheduler.planning.dispatch_rules import rule_orders
from scheduler.planning.information import Known, gather
from scheduler.planning.makeup_choice import compiled_for, rank_makeups
from scheduler.planning.plan_stability import ordered, steadied
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
    makeups: tuple[tuple[str, float], ...]
    rules: dict[str, float]
    foresight_value: float | None
    ignoring_cost: float | None


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
    known = gather(folder, now, forecast=forecast, days=days, seed=seed)
    progress(PlanStage.READINESS, 0.05)
    return plan_farm(known, days=days, seed=seed, fast=fast, swift=swift, progress=progress)


def plan_farm(
    known: Known,
    *,
    days: int = 12,
    seed: int = 0,
    fast: bool = False,
    swift: bool = False,
    progress: Progress = ignore_progress,
) -> Morning:
    """Plan a morning from what is known, in memory; see `plan_morning`."""
    farm, weather = known.farm, known.weather
    if not any(c.combines for c in farm.crews) or not farm.fields:
        raise FarmError("the farm has no crew with a combine, or no fields: add them first")
    season, sky = simulate_farm(
        farm, weather.past, weather.ahead,
        lightning=weather.lightning, observations=known.observations, seed=seed,
    )  # fmt: skip
    slots = slot_times(known.now, days, SLOT_MIN)
    slots = slots[slots < season.start + season.moisture.shape[2]]
    progress(PlanStage.MAKEUPS, 0.15)
    mean = None if swift else _mean_standing_loss(known, slots, seed)
    decision = decide(
        known, standing_loss_of(farm, season, slots), seed=seed, fast=fast, swift=swift,
        progress=progress, mean=mean, study=not swift,
    )  # fmt: skip
    progress(PlanStage.BRIEFING, 0.93)
    return _morning(known, sky, season, seed, decision)


def _mean_standing_loss(known: Known, slots: NDArray[np.datetime64], seed: int) -> StandingLoss:
    """What is at stake under the ensemble mean."""
    farm, weather = known.farm, known.weather
    season, _ = simulate_farm(
        farm, weather.past, mean_weather(weather.ahead), observations=known.observations, seed=seed
    )
    return standing_loss_of(farm, season, slots)


def decide(
    known: Known,
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
    objective = known.farm.rules.objective
    ranked = rank_makeups(known, standing_loss, seed=seed)
    compiled = compiled_for(known, standing_loss, ranked[0][2])
    if (compiled.tables.finish < 0).all():
        raise NoPlanError(
            "no crew can finish any field within the days planned; see `afterrain ready` for "
            "what closes the hours, plan more days, or raise a limit or a delivery point's room in "
            "farm.toml"
        )
    start = ordered(compiled, known.last or ())
    if swift:
        progress(SolveStage.SEARCH, 0.4)
        plan = short_search(
            compiled.tables, seed=seed, objective=objective, moves=SWIFT_MOVES, orders=start
        )
    else:
        plan = solve(
            compiled.tables, seed=seed, objective=objective, fast=fast, hint=start,
            progress=lambda stage, share: progress(stage, 0.3 + 0.5 * share),
        )  # fmt: skip
    if known.last:
        plan = steadied(compiled, plan, known.last, seed=seed)
    faults = check(compiled.tables, plan, objective=objective)
    if faults:
        raise AssertionError("the plan breaks a rule: " + "; ".join(faults))
    progress(PlanStage.UNCERTAINTY, 0.82)
    alone = None if mean is None else compiled_for(known, mean, ranked[0][2])
    return Decision(
        compiled=compiled,
        plan=plan,
        makeups=tuple((name, cost / 100.0) for name, cost, _ in ranked),
        rules={
            name: evaluate(compiled.tables, orders, objective=objective).cost / 100.0
            for name, orders in rule_orders(compiled).items()
        },
        foresight_value=foresight(compiled.tables, plan, seed=seed) if study else None,
        ignoring_cost=None if alone is None else ignoring(compiled, alone, plan, seed=seed),
    )


def _morning(known: Known, sky: Weather, season: Season, seed: int, decision: Decision) -> Morning:
    farm, weather, now = known.farm, known.weather, known.now
    compiled, plan = decision.compiled, decision.plan
    objective = farm.rules.objective
    other = alternatives(compiled.tables, plan, objective=objective)
    crews = crew_orders(compiled, plan, season, other, objective=objective)
    until = now + timedelta(minutes=SLOT_MIN * len(compiled.standing_loss.slots))
    return Morning(
        farm=farm, now=now, until=until, seed=seed, source=weather.source, issued=weather.issued,
        age_h=weather.age_h, weather_notes=weather.notes, members=season.moisture.shape[0],
        weather=sky, season=season, makeup=describe(compiled.makeup),
        makeups=decision.makeups, crews=crews, left=left_out(compiled, plan, season),
        status=plan.status, loss=plan.cost / 100.0,
        bound=None if plan.bound is None else plan.bound / 100.0, gap=plan.gap,
        rules=decision.rules, member_loss=tuple(plan.member_cost / 100.0),
        foresight_value=decision.foresight_value, ignoring_cost=decision.ignoring_cost,
        cautions=cautions(
            farm, weather.ahead, now=now, lightning=weather.lightning, warnings=weather.warnings
        ),
        changes=() if known.last is None else (*known.news, *changes_since(known.last, crews)),
        lessons=known.lessons,
        decision=decision,
    )  # fmt: skip


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
