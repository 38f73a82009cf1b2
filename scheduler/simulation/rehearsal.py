"""Rehearsal: past seasons decided each morning by the planner, by rules, and by one fixed order.

Each morning the planner has the states of soil and grain under the weather so far and an emulated
forecast; it compiles cut tables and runs a short search, without a lower bound. The make-up and the
delivery point of each field are the same for every way to decide. The models of soil and grain
count as true: a rehearsal measures the value of orders under an uncertain forecast.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from readiness.atmosphere.weather import HOUR
from readiness.forecasts.reforecast import emulate_forecast
from readiness.grain.crops import CROPS
from scheduler.costs.grain_value import loss_terms
from scheduler.costs.standing_loss import standing_loss_of
from scheduler.cut_tables.compiled import Compiled
from scheduler.farm.model import Farm, Field
from scheduler.farm.slots import SLOT_MIN, slot_times
from scheduler.planning.crew_makeup_choice import compile_makeup
from scheduler.planning.dispatch_rules import RIPEST_FIRST, dispatched_orders, priority_keys
from scheduler.planning.information import InformationState
from scheduler.simulation.field_work import (
    Choice,
    FieldWorkState,
    begun,
    fit_on_arrival,
    follow,
    work,
)
from scheduler.simulation.past_season import (
    SLOTS_DAY,
    PastSeason,
    simulate_fields,
    sold_at_best_price,
)
from scheduler.simulation.season_results import SeasonComparison, SeasonResult
from scheduler.solver.annealing import search, short_search
from scheduler.solver.evaluation import evaluate
from scheduler.solver.tables import Orders
from scheduler.weather.field_weather import FarmWeather

#: Moves of the search for the best fixed order, from each start; assumed: more moves reduced the
#: loss by less than 0.2 % on trial seasons.
BEST_ORDER_MOVES = 300_000
#: Moisture, percent, above which a careful farmer who follows a rule does not cut; assumed: the
#: limit of most elevators.
DRY_PCT = 16.0


@dataclass(frozen=True, kw_only=True)
class RehearsalSettings:
    """Settings of the planner in a rehearsal.

    The defaults are assumed, from three seasons at stations outside the headline result: plans
    that reach towards the end of harvest captured more than plans of twelve days, and six more
    members changed nothing clear.

    Attributes
    ----------
    members
        Members of each forecast.
    days
        Days planned ahead.
    moves
        Moves of each morning's search.
    perfect
        Whether the forecast is the observed weather.
    seed
        Seed of forecasts and searches.
    """

    members: int = 9
    days: int = 20
    moves: int = 20_000
    perfect: bool = False
    seed: int = 0


def season_result(state: FieldWorkState) -> SeasonResult:
    """Result of a season at its end."""
    return SeasonResult(
        loss=state.loss,
        ended=tuple(int(s) // SLOTS_DAY if s >= 0 else -1 for s in state.ended),
    )


def play(past: PastSeason, decide: Callable[[int, FieldWorkState], Choice]) -> SeasonResult:
    """Work a season through, one day after the other.

    Parameters
    ----------
    past
        The season.
    decide
        Called each morning with the day and the state of the work; returns the policy by which
        crews choose their next job that day.
    """
    state = begun(past.compiled)
    for day in range(past.days):
        if not state.open_jobs:
            break
        work(state, day * SLOTS_DAY, (day + 1) * SLOTS_DAY, decide(day, state))
    return season_result(state)


# -- the planner --------------------------------------------------------------------------------


def rehearse(past: PastSeason, settings: RehearsalSettings) -> SeasonResult:
    """Work a season through by the planner's orders of each morning."""
    orders: Orders = ((),) * len(past.makeup)

    def decide(day: int, state: FieldWorkState) -> Choice:
        nonlocal orders
        orders = morning_orders(past, state, day, settings=settings, previous=orders)
        return follow(orders)

    return play(past, decide)


def morning_orders(
    past: PastSeason,
    state: FieldWorkState,
    day: int,
    *,
    settings: RehearsalSettings,
    previous: Orders,
) -> Orders:
    """The planner's orders of a morning: for each crew, jobs of the season in order."""
    open_jobs = sorted(state.open_jobs)
    information, compiled = morning_tables(past, state, day, settings=settings)
    job_of_field = {past.farm.fields[j].id: j for j in open_jobs}
    season_jobs = [job_of_field[compiled.field(i).id] for i in range(len(compiled.jobs))]
    table_jobs = {j: i for i, j in enumerate(season_jobs)}
    hint = tuple(tuple(table_jobs[j] for j in o if j in table_jobs) for o in previous)
    plan = short_search(
        compiled.tables,
        seed=settings.seed + day,
        objective=information.farm.rules.objective,
        moves=settings.moves,
        orders=hint,
    )
    return tuple(tuple(season_jobs[i] for i in order) for order in plan.orders)


def morning_tables(
    past: PastSeason, state: FieldWorkState, day: int, *, settings: RehearsalSettings
) -> tuple[InformationState, Compiled]:
    """The information state of a morning, and the cut tables of the days ahead."""
    # a finished field stays while a crew stands there, because the crew's next move begins there
    kept = sorted(state.open_jobs | {j for j in state.at if j < len(past.farm.fields)})
    farm = farm_on_morning(past, state, day, kept)
    now = past.morning(day)
    start = past.weather.times[0] + 24 * day * HOUR
    end = min(start + 24 * settings.days * HOUR, past.weather.stop)
    seed = 1000 * past.year + 100_000_000 * settings.seed + day
    forecast = emulate_forecast(
        past.weather.between(start, end),
        past.climate,
        members=settings.members,
        seed=seed,
        perfect=settings.perfect,
    )
    season = simulate_fields(farm, forecast, past.states[day].fields(kept), seed=seed)
    information = InformationState(
        farm=farm,
        now=now,
        weather=FarmWeather(
            past=past.weather,
            forecast=forecast,
            lightning=None,
            source="emulated",
            issued=now,
            age_h=0.0,
            notes=(),
        ),
        fields_in_progress=_crew_by_field(past, state),
    )
    slots = slot_times(now, forecast.shape[2] // 24, SLOT_MIN)
    standing_loss = sold_at_best_price(standing_loss_of(farm, season, slots))
    # the cost of waiting within a day is that of the tables of the observed weather, all season
    standing_loss = replace(standing_loss, day_loss=past.compiled.standing_loss.day_loss)
    return information, compile_makeup(information, standing_loss, past.makeup)


def _crew_by_field(past: PastSeason, state: FieldWorkState) -> dict[str, str]:
    """Crew that stands in a field, by id of the field."""
    return {
        past.farm.fields[j].id: machines.crew
        for machines, j in zip(past.makeup, state.at, strict=True)
        if j < len(past.farm.fields)
    }


def _initial_test_weight(f: Field) -> float:
    """Test weight before any wetting, kg/hL."""
    return f.test_weight_kg_hl or CROPS[f.crop].test_weight


def farm_on_morning(past: PastSeason, state: FieldWorkState, day: int, kept: Sequence[int]) -> Farm:
    """The farm with the fields `kept`, their cut fractions, and test weights after wettings."""
    wettings = past.season.wettings[0, :, 24 * day] - past.season.wettings[0, :, 0]
    fields = []
    for j in kept:
        f = past.farm.fields[j]
        terms = loss_terms(past.farm, f)
        drop = min(wettings[j] * terms["test_weight_per_wetting"], terms["test_weight_loss_max"])
        fields.append(
            replace(
                f,
                cut_fraction=float(state.done_share[j]),
                test_weight_kg_hl=_initial_test_weight(f) - drop,
            )
        )
    return replace(past.farm, fields=tuple(fields))


# -- rules and the best fixed order -------------------------------------------------------------


def play_rule(past: PastSeason, name: str, *, wettest: float = np.inf) -> SeasonResult:
    """Work a season through by a dispatching rule, which sees the fields but no forecast.

    A free crew goes to the field that the rule ranks first among those that can be cut on its
    arrival, and waits where none can. So the rule does better than its ranking alone.

    Parameters
    ----------
    past
        The season.
    name
        Name of the rule, see `dispatch_rules`.
    wettest
        Moisture, percent, above which the crew does not cut.
    """
    farm, key = past.farm, priority_keys(past.compiled)[name]

    def choose(state: FieldWorkState, k: int, t: int, free: set[int]) -> int | None:
        at = state.at[k]
        here = farm.fields[at] if at < len(farm.fields) else None
        position = (here.lat, here.lon) if here else (farm.base_lat, farm.base_lon)
        moisture = past.season.moisture[0, :, past.compiled.standing_loss.hour[t]]
        fit = [j for j in free if moisture[j] <= wettest and fit_on_arrival(state, k, t, j)]

        def rank(j: int) -> tuple[float, int]:
            return (float(moisture[j]) if name == RIPEST_FIRST else key(j, position)), j

        return min(fit, key=rank, default=None)

    return play(past, lambda day, state: partial(choose, state))


def play_rules(past: PastSeason) -> dict[str, float]:
    """Money lost by every rule, with and without waiting for dry grain."""
    names = list(priority_keys(past.compiled))
    as_threshable = {name: play_rule(past, name).loss for name in names}
    once_dry = {f"{n}, once dry": play_rule(past, n, wettest=DRY_PCT).loss for n in names}
    return as_threshable | once_dry


def best_fixed_order_loss(
    past: PastSeason, *, moves: int = BEST_ORDER_MOVES, seed: int = 0
) -> float:
    """Money lost by the best fixed order that a search finds in the observed weather."""
    tables = past.compiled.tables
    starts = [tables.prefixes, *dispatched_orders(past.compiled).values()]
    best = min(starts, key=lambda o: evaluate(tables, o).cost)
    costs = [
        evaluate(tables, search(tables, start, moves=moves, seed=seed + n)).cost
        for n, start in enumerate((tables.prefixes, best))
    ]
    return min(costs) / 100.0


def compare_season(past: PastSeason, station: str, settings: RehearsalSettings) -> SeasonComparison:
    """One season by the planner, by every rule, and by the best fixed order."""
    return SeasonComparison(
        station=station,
        year=past.year,
        planner=rehearse(past, settings),
        rules=play_rules(past),
        best_fixed_order=best_fixed_order_loss(past, seed=settings.seed),
    )
