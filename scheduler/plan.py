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
from scheduler.haul import Gang
from scheduler.known import Known, gather
from scheduler.makeup import MakeUp, describe, makeups
from scheduler.orders import CrewOrders, Morning, Order
from scheduler.outlook import look_ahead
from scheduler.own_order import jobs_named, priced
from scheduler.rules import rule_orders
from scheduler.search import price, search
from scheduler.slots import slot_times, utc_hour
from scheduler.solve import solve
from scheduler.stakes import Stakes, stakes
from scheduler.tables import FEASIBLE, CutTables, Orders, Plan
from scheduler.why import alternatives

Progress = Callable[[float, str], None]
#: Members that price the make-ups, spread over the ensemble; assumed, so that many are priced
#: in the time of one plan.
MAKEUP_MEMBERS = 7
#: Moves of a search that prices a make-up, and of one that keeps today's orders; assumed.
QUICK_MOVES, STEADY_MOVES = 20_000, 60_000
#: Moves of the search for a page that waits; assumed, about a second for 26 fields.
SWIFT_MOVES = 60_000
#: Make-ups priced on all members; assumed, half a second each.
FINALISTS = 3
#: Share of the cost by which two searches of the same tables may differ; assumed from runs on the
#: sample farm. A plan that is better by less is not better.
NOISE = 0.002
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
    swift: bool = False,
    progress: Progress | None = None,
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
    return plan_farm(known, days=days, seed=seed, fast=fast, swift=swift, progress=told)


def plan_farm(
    known: Known,
    *,
    days: int = 12,
    seed: int = 0,
    fast: bool = False,
    swift: bool = False,
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
    slots = slot_times(known.now, days, SLOT_MIN)
    slots = slots[slots < season.start + season.moisture.shape[2]]
    progress(0.15, "pricing make-ups")
    mean = None if swift else _mean_stakes(known, slots, seed)
    decision = decide(
        known, stakes(farm, season, slots), seed=seed, fast=fast, swift=swift,
        progress=progress, mean=mean, study=not swift,
    )  # fmt: skip
    progress(0.93, "putting it into words")
    return _morning(known, sky, season, seed, decision)


def _mean_stakes(known: Known, slots: NDArray[np.datetime64], seed: int) -> Stakes:
    """What is at stake under the ensemble mean."""
    farm, weather = known.farm, known.weather
    season, _ = look_ahead(
        farm, weather.past, mean_weather(weather.ahead), observations=known.observations, seed=seed
    )
    return stakes(farm, season, slots)


def decide(
    known: Known,
    stake: Stakes,
    *,
    seed: int = 0,
    fast: bool = False,
    swift: bool = False,
    progress: Progress = _silent,
    mean: Stakes | None = None,
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
    ranked = rank_makeups(known, stake, seed=seed)
    compiled = compiled_for(known, stake, ranked[0][2])
    if (compiled.tables.finish < 0).all():
        raise NoPlanError(
            "no crew can finish any field within the days planned; see `afterrain ready` for "
            "what closes the hours, plan more days, or raise a limit in farm.toml"
        )
    if swift:
        progress(0.4, "searching for orders")
        plan = quick(compiled.tables, seed=seed, objective=objective, moves=SWIFT_MOVES)
    else:
        plan = solve(
            compiled.tables, seed=seed, objective=objective, fast=fast,
            progress=lambda text, share: progress(0.3 + 0.5 * share, text),
        )  # fmt: skip
    if known.last:
        plan = steadied(compiled, plan, known.last, seed=seed)
    faults = check(compiled.tables, plan, objective=objective)
    if faults:
        raise AssertionError("the plan breaks a rule: " + "; ".join(faults))
    progress(0.82, "weighing what is not known")
    alone = None if mean is None else compiled_for(known, mean, ranked[0][2])
    return Decision(
        compiled=compiled,
        plan=plan,
        makeups=tuple((name, cost / 100.0) for name, cost, _ in ranked),
        rules={
            name: price(compiled.tables, orders, objective=objective).cost / 100.0
            for name, orders in rule_orders(compiled).items()
        },
        foresight_value=foresight(compiled.tables, plan, seed=seed) if study else None,
        ignoring_cost=None if alone is None else _ignoring(compiled, alone, plan, seed),
    )


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


def _ignoring(compiled: Compiled, alone: Compiled, plan: Plan, seed: int) -> float:
    """Money lost by an order made on the ensemble mean alone, priced on all members."""
    objective = compiled.farm.rules.objective
    order = quick(alone.tables, seed=seed, moves=10 * QUICK_MOVES).orders
    dearer = price(compiled.tables, order, objective=objective).cost - plan.cost
    return max(0.0, dearer / 100.0)


def mean_weather(ahead: Weather) -> Weather:
    """The ensemble mean as one member, (1, field, hour)."""
    mean = {name: getattr(ahead, name).mean(axis=0, keepdims=True) for name in VARIABLES}
    return replace(ahead, **mean, estimated=ahead.estimated.max(axis=0, keepdims=True))


def rank_makeups(known: Known, stake: Stakes, *, seed: int) -> list[tuple[str, float, MakeUp]]:
    """Price every make-up on a few members, then the best of them on all: these, cheapest first.

    A machine that changes crew, against the orders before or the farm file, costs
    `rules.change_price`.

    Raises
    ------
    NoPlanError
        Where no crew has a combine up today.
    """
    options = [(name, m) for name, m in makeups(known.farm, known.now) if m]
    if not options:
        raise NoPlanError("no crew has a combine that is up today: repair one or call a crew in")
    if len(options) == 1:
        return [(options[0][0], 0.0, options[0][1])]
    few = some_members(stake, MAKEUP_MEMBERS)
    rules, before = known.farm.rules, _machines(known)

    def cost(makeup: MakeUp, on: Stakes, moves: int) -> float:
        """Cost with the price of every machine that changes crew."""
        tables = compiled_for(known, on, makeup).tables
        found = quick(tables, seed=seed, objective=rules.objective, moves=moves).cost
        moved = sum(before.get(m) != g.crew for g in makeup for m in _ids(g))
        return found + 100.0 * rules.change_price * moved

    priced = sorted(((n, cost(m, few, QUICK_MOVES), m) for n, m in options), key=lambda p: p[1])
    final = [(n, cost(m, stake, QUICK_MOVES), m) for n, _, m in priced[:FINALISTS]]
    return sorted(final, key=lambda p: p[1])


def _ids(machines: Gang) -> list[str]:
    """Every machine of a gang."""
    return [
        *(c.id for c in machines.combines),
        *(c.id for c in machines.carts),
        *(t.id for t in machines.trucks),
    ]


def _machines(known: Known) -> dict[str, str]:
    """Crew of each machine: as ordered before, else as in the farm file."""
    if known.last:
        return {m: c.crew for c in known.last for m in (*c.combines, *c.carts, *c.trucks)}
    return {m: c.id for c in known.farm.crews for m in (*c.combines, *c.carts, *c.trucks)}


def some_members(stake: Stakes, count: int) -> Stakes:
    """A few members, evenly through the ensemble."""
    m = np.unique(np.linspace(0, stake.loss.shape[0] - 1, count).astype(int))
    return replace(
        stake, loss=stake.loss[m], ground=stake.ground[m], edge=stake.edge[m],
        moisture=stake.moisture[m],
    )  # fmt: skip


def compiled_for(known: Known, stake: Stakes, makeup: MakeUp) -> Compiled:
    """Tables of a make-up with what is begun, locked and was ordered before."""
    standing = {crew: field for field, crew in known.begun.items()}
    crews = {g.crew: k for k, g in enumerate(makeup)}
    locked = tuple(
        (crews[crew], tuple(j for f in wanted for j in jobs_named(stake, f)))
        for crew, wanted in known.locks.items()
        if crew in crews
    )
    return compile_tables(
        stake,
        makeup,
        stands=[standing.get(g.crew, "base") for g in makeup],
        assigned=_assigned(stake, crews, known.last or ()),
        locked=locked,
    )


def _job(stake: Stakes, order: Order) -> int | None:
    """The job an earlier order speaks of, if it is still to be done."""
    for j, job in enumerate(stake.jobs):
        if stake.farm.fields[job.field].id == order.field and job.parcel == order.parcel:
            return j
    return None


def _assigned(
    stake: Stakes, crews: Mapping[str, int], last: Sequence[CrewOrders]
) -> dict[int, int]:
    """Job -> crew of the orders issued before."""
    return {
        j: crews[c.crew]
        for c in last
        if c.crew in crews
        for o in c.orders
        if (j := _job(stake, o)) is not None
    }


def steadied(compiled: Compiled, plan: Plan, last: Sequence[CrewOrders], *, seed: int) -> Plan:
    """The new plan only if it saves more than its changes to the day's orders cost.

    Against it stands the best plan that begins with what was ordered for the next 24 hours. Each
    of those orders that is not among as many first ones of its crew costs `rules.change_price`,
    and a difference within the search's own noise counts for nothing.
    """
    wanted = _ordered(compiled, last, compiled.stakes.slots[0] + np.timedelta64(24, "h"))
    changes = sum(
        j not in plan.orders[k][: len(order)] for k, order in enumerate(wanted) for j in order
    )
    if changes == 0:
        return plan
    tables = replace(compiled.tables, locked=tuple(enumerate(wanted)))
    rules = compiled.farm.rules
    kept = quick(tables, seed=seed, objective=rules.objective, moves=STEADY_MOVES)
    if plan.cost + max(changes * rules.change_price * 100.0, NOISE * plan.cost) < kept.cost:
        return plan
    status = kept.status if plan.bound is None else FEASIBLE
    return replace(kept, bound=plan.bound, status=status)


def _ordered(
    compiled: Compiled, last: Sequence[CrewOrders], before: np.datetime64
) -> list[tuple[int, ...]]:
    """Per crew, what is locked, then the jobs whose ordered start lay before a time."""
    out = list(compiled.tables.prefixes)
    crews = {g.crew: k for k, g in enumerate(compiled.gangs)}
    locked = {j for first in out for j in first}
    for c in last:
        if c.crew in crews:
            jobs = [_job(compiled.stakes, o) for o in c.orders if utc_hour(o.start.mid) < before]
            out[crews[c.crew]] += tuple(j for j in jobs if j is not None and j not in locked)
    return out


def _morning(known: Known, sky: Weather, season: Season, seed: int, decision: Decision) -> Morning:
    farm, weather, now = known.farm, known.weather, known.now
    compiled, plan = decision.compiled, decision.plan
    objective = farm.rules.objective
    other = alternatives(compiled.tables, plan, objective=objective)
    crews = crew_orders(compiled, plan, season, other, objective=objective)
    until = now + timedelta(minutes=SLOT_MIN * len(compiled.stakes.slots))
    return Morning(
        farm=farm, now=now, until=until, seed=seed, source=weather.source, issued=weather.issued,
        age_h=weather.age_h, weather_notes=weather.notes, members=season.moisture.shape[0],
        weather=sky, season=season, makeup=describe(compiled.gangs),
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
