"""The planner: a farm folder and a morning in, the orders of the day out."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from readiness.season import Season
from readiness.weather import VARIABLES, Weather
from scheduler.briefing import crew_orders, left_out
from scheduler.cautions import cautions
from scheduler.changes import changes_since
from scheduler.check import check
from scheduler.compile import SLOT_MIN, Compiled, compile_tables
from scheduler.errors import FarmError, NoPlanError
from scheduler.farm import Farm
from scheduler.known import Known, gather
from scheduler.makeup import MakeUp, describe, makeups
from scheduler.orders import CrewOrders, Morning
from scheduler.outlook import look_ahead
from scheduler.own_order import jobs_named, priced
from scheduler.rules import rule_orders
from scheduler.search import price, search
from scheduler.slots import slot_times, utc_hour
from scheduler.solve import solve
from scheduler.tables import FEASIBLE, CutTables, Orders, Plan
from scheduler.why import alternatives

Progress = Callable[[float, str], None]
#: Members that price the make-ups, spread over the ensemble; assumed, so that many are priced
#: in the time of one plan.
MAKEUP_MEMBERS = 7
#: Moves of a search that prices a make-up, and of one that keeps today's orders; assumed.
QUICK_MOVES, STEADY_MOVES = 20_000, 60_000
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


def _silent(share: float, text: str) -> None:
    """Progress that nobody watches."""


def plan_morning(
    folder: Path,
    *,
    now: datetime | None = None,
    forecast: Path | None = None,
    days: int = 12,
    seed: int = 0,
    fast: bool = False,
    progress: Progress | None = None,
) -> Morning:
    """Plan a farm folder from its files, its stored weather and its season book.

    Parameters
    ----------
    folder : the farm folder.
    now : aware planning time; the clock's by default.
    forecast : a forecast file instead of the last stored one.
    days, seed : horizon and random seed; the same seed gives the same plan.
    fast : stop the search by the clock, so that plans may differ between runs.
    progress : called with a share done and what is being done.

    Raises
    ------
    FarmError, WeatherError, BookError
        Where an input is wrong.
    NoPlanError
        Where no crew can cut anything.
    """
    told = progress or _silent
    known = gather(folder, now, forecast=forecast, days=days, seed=seed)
    told(0.05, "running soil and grain")
    return plan_farm(known, days=days, seed=seed, fast=fast, progress=told)


def plan_farm(
    known: Known,
    *,
    days: int = 12,
    seed: int = 0,
    fast: bool = False,
    progress: Progress = _silent,
) -> Morning:
    """Plan a morning from what is known, in memory; see `plan_morning`."""
    farm, weather = known.farm, known.weather
    if not any(c.combines for c in farm.crews) or not farm.fields:
        raise FarmError("the farm has no crew with a combine, or no fields: add them first")
    season, sky = look_ahead(
        farm, weather.past, weather.ahead,
        lightning=weather.lightning, observations=known.observations, seed=seed,
    )  # fmt: skip
    mean, _ = look_ahead(
        farm, weather.past, mean_weather(weather.ahead), observations=known.observations, seed=seed
    )
    progress(0.15, "pricing make-ups")
    decision = decide(
        farm, season, known.now, days=days, seed=seed, fast=fast, progress=progress,
        last=known.last, locks=known.locks, begun=known.begun, mean=mean,
    )  # fmt: skip
    progress(0.93, "putting it into words")
    return _morning(known, sky, season, seed, decision)


def decide(
    farm: Farm,
    season: Season,
    now: datetime,
    *,
    days: int,
    seed: int = 0,
    fast: bool = False,
    progress: Progress = _silent,
    last: Sequence[CrewOrders] | None = None,
    locks: Mapping[str, Sequence[str]] | None = None,
    begun: Mapping[str, str] | None = None,
    mean: Season | None = None,
    study: bool = True,
) -> Decision:
    """Choose the make-up, solve, and price what it is measured against.

    `mean` is the season under the ensemble mean, against which the cost of ignoring uncertainty
    is reckoned; `study` False leaves out the value of foresight.
    """
    slots = slot_times(now, days, SLOT_MIN)
    slots = slots[slots < season.start + season.moisture.shape[2]]
    begun = begun or {}
    ranked = rank_makeups(farm, season, now, slots, begun=begun, seed=seed)
    compiled = _compiled(farm, season, ranked[0][2], slots, begun, last, locks or {})
    if (compiled.tables.finish < 0).all():
        raise NoPlanError(
            "no crew can finish any field within the days planned; see `afterrain ready` for "
            "what closes the hours, plan more days, or raise a limit in farm.toml"
        )

    def told(text: str, share: float) -> None:
        progress(0.3 + 0.5 * share, text)

    objective = farm.rules.objective
    plan = solve(compiled.tables, seed=seed, objective=objective, fast=fast, progress=told)
    if last:
        plan = steadied(compiled, plan, last, seed=seed)
    faults = check(compiled.tables, plan)
    if faults:
        raise AssertionError("the plan breaks a rule: " + "; ".join(faults))
    rules = {
        name: price(compiled.tables, orders, objective=objective).cost / 100.0
        for name, orders in rule_orders(compiled).items()
    }
    progress(0.82, "weighing what is not known")
    known = foresight(compiled.tables, plan, seed=seed) if study else None
    ignoring = None
    if mean is not None:
        alone = _compiled(farm, mean, ranked[0][2], slots, begun, last, locks or {})
        ignoring = _ignoring(compiled, alone, plan, seed)
    return Decision(
        compiled=compiled, plan=plan,
        makeups=tuple((name, cost / 100.0) for name, cost, _ in ranked), rules=rules,
        foresight_value=known,
        ignoring_cost=ignoring,
    )  # fmt: skip


def quick(
    tables: CutTables,
    *,
    seed: int,
    objective: str = "mean",
    moves: int = QUICK_MOVES,
    orders: Orders | None = None,
) -> Plan:
    """A good plan without a proof, from a short search."""
    first = tables.prefixes if orders is None else orders
    found = search(tables, first, moves=moves, seed=seed, objective=objective)
    return price(tables, found, objective=objective)


def foresight(tables: CutTables, plan: Plan, *, seed: int) -> float:
    """Money that knowing each member beforehand would save on average, at least.

    Each member's own best order is searched from the plan's.
    """
    saved = 0.0
    for m, weight in enumerate(tables.weight):
        alone = replace(
            tables,
            finish=tables.finish[m : m + 1],
            cost=tables.cost[m : m + 1],
            weight=np.ones(1),
        )
        best = quick(alone, seed=seed, moves=5 * QUICK_MOVES, orders=plan.orders)
        saved += weight * max(0.0, float(plan.member_cost[m]) - best.cost)
    return float(saved) / 100.0


def rank_makeups(
    farm: Farm,
    season: Season,
    now: datetime,
    slots: NDArray[np.datetime64],
    *,
    begun: Mapping[str, str],
    seed: int,
) -> list[tuple[str, float, MakeUp]]:
    """Price every make-up on a few members; cheapest first, the user's own first among equals.

    Raises
    ------
    NoPlanError
        Where no crew has a combine up today.
    """
    options = [(name, m) for name, m in makeups(farm, now) if m]
    if not options:
        raise NoPlanError("no crew has a combine that is up today: repair one or call a crew in")
    if len(options) == 1:
        return [(options[0][0], 0.0, options[0][1])]
    members = np.unique(np.linspace(0, season.moisture.shape[0] - 1, MAKEUP_MEMBERS).astype(int))
    few = pick_members(season, members)
    priced = []
    for name, makeup in options:
        tables = _compiled(farm, few, makeup, slots, begun, None, {}).tables
        plan = quick(tables, seed=seed, objective=farm.rules.objective)
        priced.append((name, plan.cost, makeup))
    own = priced[0]
    ranked = sorted(priced, key=lambda p: p[1])
    # Changing who drives what has its price too: only a clear gain moves machines.
    if own[1] - ranked[0][1] <= farm.rules.change_price * 100.0:
        ranked.remove(own)
        ranked.insert(0, own)
    return ranked


def pick_members(season: Season, members: NDArray[np.int64]) -> Season:
    """The season of some members only."""
    names = ("water_top", "water_below", "moisture", "film", "tier", "approach", "reason")
    return replace(
        season, **{n: getattr(season, n)[members] for n in (*names, "wettings", "sprout")}
    )


def _compiled(
    farm: Farm,
    season: Season,
    makeup: MakeUp,
    slots: NDArray[np.datetime64],
    begun: Mapping[str, str],
    last: Sequence[CrewOrders] | None,
    locks: Mapping[str, Sequence[str]],
) -> Compiled:
    """Tables of a make-up with what is begun, locked and was ordered before."""
    standing = {crew: field for field, crew in begun.items()}
    stands = [standing.get(g.crew, "base") for g in makeup]
    compiled = compile_tables(farm, season, makeup, slots=slots, stands=stands)
    crews = {g.crew: k for k, g in enumerate(makeup)}
    locked = tuple(
        (crews[crew], tuple(j for f in wanted for j in jobs_named(compiled, f)))
        for crew, wanted in locks.items()
        if crew in crews
    )
    if last is not None:
        charge = round(farm.rules.change_price * 100)
        for j, k in _assigned(compiled, last).items():
            others = [c for c in range(len(makeup)) if c != k]
            compiled.tables.cost[:, others, j] += charge
    return replace(compiled, tables=replace(compiled.tables, locked=locked))


def _job(compiled: Compiled, field: str, parcel: str) -> int | None:
    for j, job in enumerate(compiled.jobs):
        if compiled.farm.fields[job.field].id == field and job.parcel == parcel:
            return j
    return None


def _assigned(compiled: Compiled, last: Sequence[CrewOrders]) -> dict[int, int]:
    """Job -> crew of the orders issued before."""
    crews = {g.crew: k for k, g in enumerate(compiled.gangs)}
    return {
        j: crews[c.crew]
        for c in last
        if c.crew in crews
        for o in c.orders
        if (j := _job(compiled, o.field, o.parcel)) is not None
    }


def steadied(compiled: Compiled, plan: Plan, last: Sequence[CrewOrders], *, seed: int) -> Plan:
    """The new plan only if it saves more than its changes to the day's orders cost.

    Against it stands the best plan that begins with what was ordered for today. Each of today's
    orders that changes place or crew costs `rules.change_price`.
    """
    today = compiled.slots[0] + np.timedelta64(24, "h")
    wanted = _today(compiled, last, today)
    if not any(wanted):
        return plan
    changes = sum(
        j not in plan.orders[k][: len(order)] for k, order in enumerate(wanted) for j in order
    )
    if changes == 0:
        return plan
    locked = tuple((k, order) for k, order in enumerate(wanted))
    objective = compiled.farm.rules.objective
    kept = quick(
        replace(compiled.tables, locked=locked), seed=seed, objective=objective, moves=STEADY_MOVES
    )
    if plan.cost + changes * compiled.farm.rules.change_price * 100.0 < kept.cost:
        return plan
    return replace(
        kept, bound=plan.bound, status=FEASIBLE if plan.bound is not None else kept.status
    )


def _today(
    compiled: Compiled, last: Sequence[CrewOrders], before: np.datetime64
) -> list[tuple[int, ...]]:
    """Per crew, the jobs whose ordered start lay before a time, in their order."""
    out: list[tuple[int, ...]] = [() for _ in compiled.gangs]
    crews = {g.crew: k for k, g in enumerate(compiled.gangs)}
    locked = {j for _, jobs in compiled.tables.locked for j in jobs}
    for c in last:
        if c.crew in crews:
            k = crews[c.crew]
            first = tuple(j for kk, jobs in compiled.tables.locked if kk == k for j in jobs)
            jobs = [
                _job(compiled, o.field, o.parcel)
                for o in c.orders
                if utc_hour(o.start.mid) < before
            ]
            out[k] = (*first, *(j for j in jobs if j is not None and j not in locked))
    return out


def mean_weather(ahead: Weather) -> Weather:
    """The ensemble mean as one member, (1, field, hour)."""
    mean = {name: getattr(ahead, name).mean(axis=0, keepdims=True) for name in VARIABLES}
    return replace(ahead, **mean, estimated=ahead.estimated.max(axis=0, keepdims=True))


def _ignoring(compiled: Compiled, alone: Compiled, plan: Plan, seed: int) -> float:
    """Money lost by an order made on the ensemble mean alone, priced on all members."""
    objective = compiled.farm.rules.objective
    order = quick(alone.tables, seed=seed, moves=10 * QUICK_MOVES).orders
    dearer = price(compiled.tables, order, objective=objective).cost - plan.cost
    return max(0.0, dearer / 100.0)


def _morning(known: Known, sky: Weather, season: Season, seed: int, decision: Decision) -> Morning:
    farm, weather, now = known.farm, known.weather, known.now
    compiled, plan, last = decision.compiled, decision.plan, known.last
    objective = farm.rules.objective
    other = alternatives(compiled.tables, plan, objective=objective)
    crews = crew_orders(compiled, plan, season, other, objective=objective)
    until = now + timedelta(minutes=SLOT_MIN * len(compiled.slots))
    return Morning(
        farm=farm, now=now, until=until, seed=seed, source=weather.source, issued=weather.issued,
        age_h=weather.age_h, weather_notes=weather.notes, members=season.moisture.shape[0],
        weather=sky, season=season, makeup=describe(compiled.gangs),
        makeups=decision.makeups, crews=crews, left=left_out(compiled, plan, season),
        status=plan.status, loss=plan.cost / 100.0,
        bound=None if plan.bound is None else plan.bound / 100.0, gap=plan.gap,
        rules=decision.rules, member_loss=tuple(plan.member_cost / 100.0),
        foresight_value=decision.foresight_value, ignoring_cost=decision.ignoring_cost,
        cautions=cautions(farm, weather.ahead, now=now, lightning=weather.lightning),
        changes=() if last is None else changes_since(last, crews), decision=decision,
    )  # fmt: skip


def price_order(
    folder: Path, morning: Morning, orders: Mapping[str, Sequence[str]]
) -> tuple[float, list[str]]:
    """Expected loss of orders that a user proposes for a planned morning; see `own_order.priced`.

    `folder` is the farm folder that the morning was planned from.
    """
    decision = morning.decision
    if not isinstance(decision, Decision):
        raise FarmError(f"{folder}: this plan holds no tables: replan, then price an order")
    return priced(decision.compiled, decision.plan, orders)
