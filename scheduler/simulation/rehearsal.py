"""Rehearsal: past seasons played morning by morning, against rules of thumb and hindsight.

What is played is the planner's own path, made cheap: the state of soil and grain each morning as
the weather so far left it, an emulated forecast, tables, a short search, no proof. What is held
fixed is the make-up and the delivery point of each field, the same for all who play. The model of
soil and grain is taken as true: what is measured is the worth of the order under a forecast.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from statistics import median

import numpy as np

from readiness.forecasts.reforecast import emulate_forecast
from readiness.grain.crops import CROPS
from scheduler.costs.grain_value import loss_terms
from scheduler.costs.standing_loss import standing_loss_of
from scheduler.cut_tables.compiled import Compiled
from scheduler.farm.model import Farm, Field
from scheduler.farm.working_time import SLOT_MIN, slot_times
from scheduler.planning.dispatch_rules import RIPEST_FIRST, dispatched_orders, priority_keys
from scheduler.planning.information import InformationState
from scheduler.planning.makeup_choice import compile_makeup
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
from scheduler.solver.annealing import search, short_search
from scheduler.solver.evaluation import evaluate
from scheduler.solver.tables import Orders
from scheduler.weather.field_weather import FarmWeather

#: Moves of the search for the best order in hindsight, from each start; assumed: more found less
#: than 0.2 % on trial seasons.
BEST_ORDER_MOVES = 300_000
#: Moisture from which a careful farmer cuts by a rule, percent; assumed: what most elevators take.
DRY_PCT = 16.0


@dataclass(frozen=True, kw_only=True)
class RehearsalSettings:
    """How a season is played.

    Defaults are assumed, from three seasons at stations that the headline is not told on: plans
    that reach towards the end of harvest captured more than those of twelve days, and six members
    more changed nothing clear.

    `members` of each forecast; `days` planned ahead; `moves` of each morning's search; `perfect`
    forecasts the weather that came; `seed` names forecasts and searches.
    """

    members: int = 9
    days: int = 20
    moves: int = 20_000
    perfect: bool = False
    seed: int = 0


@dataclass(frozen=True, kw_only=True)
class SeasonResult:
    """A season played out: money lost, and the day (0 is the first) each job was done, -1 never."""

    loss: float
    ended: tuple[int, ...]

    @property
    def done_day(self) -> int | None:
        """Days from the first morning to the end of harvest; None where some is left."""
        return None if min(self.ended, default=0) < 0 else max(self.ended, default=0)


@dataclass(frozen=True, kw_only=True)
class SeasonComparison:
    """One season: what each way of deciding lost on the weather that came."""

    station: str
    year: int
    planner: SeasonResult
    best_fixed_order: float
    rules: Mapping[str, float] = field(default_factory=dict)

    @property
    def best_rule(self) -> float:
        """Loss of the rule that happened to be best this year."""
        return min(self.rules.values())

    @property
    def share(self) -> float | None:
        """Share of the avoidable loss captured; None where there was nothing to avoid."""
        avoidable = self.best_rule - self.best_fixed_order
        return (self.best_rule - self.planner.loss) / avoidable if avoidable > 0 else None


def season_result(state: FieldWorkState) -> SeasonResult:
    """What a season came to."""
    return SeasonResult(
        loss=state.loss,
        ended=tuple(int(s) // SLOTS_DAY if s >= 0 else -1 for s in state.ended),
    )


def play(past: PastSeason, decide: Callable[[int, FieldWorkState], Choice]) -> SeasonResult:
    """Play a season: each morning `decide` (day, work so far) says how crews choose."""
    state = begun(past.compiled)
    for day in range(past.days):
        if not state.open_jobs:
            break
        work(state, day * SLOTS_DAY, (day + 1) * SLOTS_DAY, decide(day, state))
    return season_result(state)


# -- ours ---------------------------------------------------------------------------------------


def rehearse(past: PastSeason, settings: RehearsalSettings) -> SeasonResult:
    """Play a season by the planner's orders of each morning."""
    last: list[Orders] = [((),) * len(past.makeup)]

    def decide(day: int, state: FieldWorkState) -> Choice:
        last[0] = morning_orders(past, state, day, settings=settings, last=last[0])
        return follow(last[0])

    return play(past, decide)


def morning_orders(
    past: PastSeason, state: FieldWorkState, day: int, *, settings: RehearsalSettings, last: Orders
) -> Orders:
    """Orders that the planner gives on a morning, per crew, as jobs of the season."""
    todo = sorted(state.open_jobs)
    information, compiled = morning_tables(past, state, day, settings=settings)
    place = {past.farm.fields[j].id: j for j in todo}
    back = [place[compiled.field(i).id] for i in range(len(compiled.jobs))]
    here = {j: i for i, j in enumerate(back)}
    hint = tuple(tuple(here[j] for j in order if j in here) for order in last)
    plan = short_search(
        compiled.tables, seed=settings.seed + day, objective=information.farm.rules.objective,
        moves=settings.moves, orders=hint,
    )  # fmt: skip
    return tuple(tuple(back[i] for i in order) for order in plan.orders)


def morning_tables(
    past: PastSeason, state: FieldWorkState, day: int, *, settings: RehearsalSettings
) -> tuple[InformationState, Compiled]:
    """What is known on a morning, and the tables of the days ahead."""
    # a field that is done stays while a crew stands there, because the way on begins there
    kept = sorted(state.open_jobs | {j for j in state.at if j < len(past.farm.fields)})
    farm = farm_on_morning(past, state, day, kept)
    now = past.morning(day)
    a = past.weather.times[0] + 24 * day
    b = min(a + 24 * settings.days, past.weather.times[-1] + 1)
    seed = 1000 * past.year + 100_000_000 * settings.seed + day
    ahead = emulate_forecast(
        past.weather.between(a, b), past.climate, members=settings.members, seed=seed,
        perfect=settings.perfect,
    )  # fmt: skip
    season = simulate_fields(farm, ahead, past.states[day].fields(kept), seed=seed)
    information = InformationState(
        farm=farm, now=now,
        weather=FarmWeather(past=past.weather, forecast=ahead, lightning=None, source="emulated",
                            issued=now, age_h=0.0, notes=()),
        fields_in_progress=_stands(past, state),
    )  # fmt: skip
    slots = slot_times(now, ahead.shape[2] // 24, SLOT_MIN)
    standing_loss = sold_at_best_price(standing_loss_of(farm, season, slots))
    # one price of waiting within a day all season, as in the tables of the weather that came
    standing_loss = replace(standing_loss, day_loss=past.compiled.standing_loss.day_loss)
    return information, compile_makeup(information, standing_loss, past.makeup)


def _stands(past: PastSeason, state: FieldWorkState) -> dict[str, str]:
    """Field -> crew that stands there."""
    return {
        past.farm.fields[j].id: machines.crew
        for machines, j in zip(past.makeup, state.at, strict=True)
        if j < len(past.farm.fields)
    }


def _sound(f: Field) -> float:
    """Test weight before any wetting, kg/hL."""
    return f.test_weight_kg_hl or CROPS[f.crop].test_weight


def farm_on_morning(past: PastSeason, state: FieldWorkState, day: int, kept: Sequence[int]) -> Farm:
    """The farm with what is still to be cut, and the test weight that wettings left."""
    wet = past.season.wettings[0, :, 24 * day] - past.season.wettings[0, :, 0]
    fields = []
    for j in kept:
        f = past.farm.fields[j]
        terms = loss_terms(past.farm, f)
        drop = min(wet[j] * terms["test_weight_per_wetting"], terms["test_weight_loss_max"])
        fields.append(
            replace(
                f,
                cut_fraction=float(state.done_share[j]),
                test_weight_kg_hl=_sound(f) - drop,
            )
        )
    return replace(past.farm, fields=tuple(fields))


# -- what it is measured against ----------------------------------------------------------------


def play_rule(past: PastSeason, name: str, *, driest: float = np.inf) -> SeasonResult:
    """Play a season by a rule of thumb, without any forecast but with eyes.

    A crew that is free goes to the field that the rule names among those which can be cut when it
    gets there; where none can, it waits. That is more than the rule alone would do. `driest` has
    it wait for grain of at most that moisture too, percent, as a careful farmer would.
    """
    farm, key = past.farm, priority_keys(past.compiled)[name]

    def choose(state: FieldWorkState, k: int, t: int, free: set[int]) -> int | None:
        at = state.at[k]
        here = farm.fields[at] if at < len(farm.fields) else None
        spot = (here.lat, here.lon) if here else (farm.base_lat, farm.base_lon)
        moisture = past.season.moisture[0, :, past.compiled.standing_loss.hour[t]]
        fit = [j for j in free if moisture[j] <= driest and fit_on_arrival(state, k, t, j)]

        def rank(j: int) -> tuple[float, int]:
            return (float(moisture[j]) if name == RIPEST_FIRST else key(j, spot)), j

        return min(fit, key=rank, default=None)

    return play(past, lambda day, state: partial(choose, state))


def play_rules(past: PastSeason) -> dict[str, float]:
    """Money lost by every rule, cutting as soon as the grain threshes and only once it is dry."""
    names = list(priority_keys(past.compiled))
    told = {name: play_rule(past, name).loss for name in names}
    careful = {f"{n}, once dry": play_rule(past, n, driest=DRY_PCT).loss for n in names}
    return told | careful


def best_fixed_order_loss(
    past: PastSeason, *, moves: int = BEST_ORDER_MOVES, seed: int = 0
) -> float:
    """Money lost by the best order found with the weather that came known from the start."""
    tables = past.compiled.tables
    starts = [tables.prefixes, *dispatched_orders(past.compiled).values()]
    best = min(starts, key=lambda o: evaluate(tables, o).cost)
    found = [
        evaluate(tables, search(tables, start, moves=moves, seed=seed + n)).cost
        for n, start in enumerate((tables.prefixes, best))
    ]
    return min(found) / 100.0


def compare_season(past: PastSeason, station: str, settings: RehearsalSettings) -> SeasonComparison:
    """One season by the planner, by every rule, and in hindsight."""
    return SeasonComparison(
        station=station,
        year=past.year,
        planner=rehearse(past, settings),
        rules=play_rules(past),
        best_fixed_order=best_fixed_order_loss(past, seed=settings.seed),
    )


@dataclass(frozen=True, kw_only=True)
class RehearsalSummary:
    """Many seasons together: the headline, and the rule that is best on average."""

    seasons: tuple[SeasonComparison, ...]

    @property
    def best_rule(self) -> str:
        """The rule with the least mean loss."""
        names = self.seasons[0].rules
        return min(names, key=lambda n: float(np.mean([s.rules[n] for s in self.seasons])))

    @property
    def median_share(self) -> float | None:
        """Median share of the avoidable loss captured, against the best rule of each year."""
        shares = [s.share for s in self.seasons if s.share is not None]
        return median(shares) if shares else None

    @property
    def worst_excess(self) -> float:
        """Most that ours lost more than the rule best on average in a year, share of its loss."""
        rule = self.best_rule
        return max(s.planner.loss / s.rules[rule] - 1.0 for s in self.seasons)
