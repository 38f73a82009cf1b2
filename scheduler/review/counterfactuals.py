"""Counterfactuals: one season's loss as worked, as planned, by rules, by the best fixed order.

All ways are evaluated in the observed weather with the farm's own make-up. The work that was done
is valued in the hours in which it was done; orders are followed as crews follow them
(`simulation.following`). The best fixed order comes from the planner's search over orders that
cut each job without interruption, with its lower bound; it is also followed like the others, and
the smaller of its two losses counts. The grain model's error enters as draws, one lasting offset
of moisture for each row, so that every loss has a spread.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import HOUR, Array
from readiness.season.random_streams import Draws, keyed_normal
from readiness.season.simulate import Season
from readiness.season.uncertainty import GRAIN_SD
from scheduler.costs.grain_value import loss_terms
from scheduler.costs.machine_rates import CrewMachines
from scheduler.costs.standing_loss import StandingLoss, standing_loss_of
from scheduler.cut_tables.compile import compile_tables
from scheduler.cut_tables.compiled import Compiled
from scheduler.errors import BookError
from scheduler.farm.model import Cart, Combine, Truck
from scheduler.farm.slots import SLOT_MIN, slot_times, utc_hour
from scheduler.planning.dispatch_rules import dispatched_orders
from scheduler.review.observed_season import ObservedSeason
from scheduler.review.work_record import WorkRecord, area_by_job
from scheduler.season_book.farm_state import FINISHED_FRACTION, SAMPLE_SD
from scheduler.simulation.following import CrewOrders, followed
from scheduler.solver.evaluation import evaluate
from scheduler.solver.solve import solve
from scheduler.solver.tables import Plan
from scheduler.windows.model_inputs import season_rows, stream_of

T = TypeVar("T", Combine, Cart, Truck)
#: Draws of the grain model's error; assumed: few, because each is solved, and enough for a spread.
DRAWS = 7
#: Effort of the search for the best fixed order, as a share of the planner's; assumed: a few
#: seconds.
BEST_ORDER_EFFORT = 0.2
#: Names of the ways that are not dispatching rules; those go by the rule's name.
AS_DONE, AS_PLANNED, BEST_FIXED_ORDER = "as done", "as planned", "best fixed order"


@dataclass(frozen=True, kw_only=True)
class Counterfactual:
    """A way to cut the season and the money lost by it, (draw,)."""

    name: str
    loss: Array

    @property
    def mean(self) -> float:
        """Mean loss over draws."""
        return float(self.loss.mean())

    @property
    def low(self) -> float:
        """10th percentile of the loss over draws."""
        return float(np.quantile(self.loss, 0.1))

    @property
    def high(self) -> float:
        """90th percentile of the loss over draws."""
        return float(np.quantile(self.loss, 0.9))


def compile_observed(observed: ObservedSeason, *, seed: int = 0) -> Compiled:
    """Cut tables of the observed weather; their members are draws of the grain model's error.

    Raises
    ------
    BookError
        If no crew has a combine.
    """
    hours_before = int((utc_hour(observed.start) - observed.weather.start).astype(int))
    days = (observed.weather.shape[2] - hours_before) // 24
    slots = slot_times(observed.start, days, SLOT_MIN)
    standing_loss = standing_loss_of(observed.farm, _with_moisture_draws(observed, seed), slots)
    return compile_tables(standing_loss, makeup := _makeup(observed), places=["base"] * len(makeup))


def _with_moisture_draws(observed: ObservedSeason, seed: int) -> Season:
    """The season with one grain moisture per draw; all other states are the same in all draws."""
    season, rows = observed.season, season_rows(observed.farm)
    sampled = {
        observed.farm.fields[o.field].id for o in observed.observations if o.kind == "moisture"
    }
    sd = np.array([SAMPLE_SD if f.id in sampled else GRAIN_SD for f, _ in rows])
    streams = [(stream_of(f, hollow),) for f, hollow in rows]
    error = keyed_normal(Draws.GRAIN_OFFSET, streams, DRAWS, seed=seed).T * sd
    repeated = {
        name: np.broadcast_to(getattr(season, name), (DRAWS, *season.moisture.shape[1:]))
        for name in ("wettings", "sprout", "reason", "tier")
    }
    moisture = np.maximum(season.moisture + (error - error.mean(axis=0))[:, :, None], 5.0)
    return replace(season, moisture=moisture, **repeated)  # type: ignore[arg-type]


def _makeup(observed: ObservedSeason) -> tuple[CrewMachines, ...]:
    """Every crew with its own machines, including those down on the first morning."""
    farm = observed.farm

    def machines_of(machines: Sequence[T], ids: Sequence[str]) -> tuple[T, ...]:
        return tuple(m for i in ids for m in machines if m.id == i)

    makeup = tuple(
        CrewMachines(
            crew=c.id,
            combines=machines_of(farm.combines, c.combines),
            carts=machines_of(farm.carts, c.carts),
            trucks=machines_of(farm.trucks, c.trucks),
        )
        for c in farm.crews
        if c.combines
    )
    if not makeup:
        raise BookError("no crew of the farm file has a combine: nothing can be reviewed")
    return makeup


def counterfactuals(
    observed: ObservedSeason, compiled: Compiled, record: WorkRecord, *, seed: int = 0
) -> tuple[list[Counterfactual], Plan]:
    """Loss of every way to cut the season.

    Returns
    -------
    list[Counterfactual]
        The work as done, the best fixed order, the plans if the book holds any, and the
        dispatching rules.
    Plan
        The best fixed order found, with its lower bound.
    """
    tables = compiled.tables
    rules = dispatched_orders(compiled)
    costs = {name: evaluate(tables, orders).cost for name, orders in rules.items()}
    best_rule = min(costs, key=lambda name: costs[name])
    best = solve(tables, hint=rules[best_rule], seed=seed, effort=BEST_ORDER_EFFORT)
    resumable = followed(compiled, [(0, best.orders)])
    uninterrupted = best.member_cost / 100.0
    out = [
        Counterfactual(name=AS_DONE, loss=done_loss(observed, compiled, record).sum(axis=1)),
        Counterfactual(
            name=BEST_FIXED_ORDER,
            loss=min(resumable, uninterrupted, key=lambda loss: float(loss.mean())),
        ),
    ]
    if observed.plans:
        orders = planned_orders(observed, compiled)
        out.append(Counterfactual(name=AS_PLANNED, loss=followed(compiled, orders)))
    out += [Counterfactual(name=n, loss=followed(compiled, [(0, o)])) for n, o in rules.items()]
    return out, best


def planned_orders(observed: ObservedSeason, compiled: Compiled) -> list[tuple[int, CrewOrders]]:
    """Orders of the issued plans, each with the slot from which it is in force.

    The orders of earlier plans follow those of a plan, the latest first: a plan leaves out work
    that had been done by then, and followed here that work may still be open.
    """
    crews = [g.crew for g in compiled.makeup]
    out: list[tuple[int, CrewOrders]] = []
    in_force: list[list[int]] = [[] for _ in crews]
    for at, plan in observed.plans:
        new = _jobs_of_plan(plan, compiled, crews)
        in_force = [list(dict.fromkeys([*a, *b])) for a, b in zip(new, in_force, strict=True)]
        out.append((_slot(compiled, at), in_force))
    return out


def _slot(compiled: Compiled, at: datetime) -> int:
    """Slot that holds an aware time."""
    elapsed = utc_hour(at).astype("datetime64[m]") - compiled.standing_loss.slots[0]
    return max(0, int(elapsed / np.timedelta64(SLOT_MIN, "m")))


def _jobs_of_plan(
    plan: Mapping[str, Any], compiled: Compiled, crews: Sequence[str]
) -> list[list[int]]:
    """Jobs that a plan orders for each crew, in order."""
    jobs = {(compiled.field(j).id, job.parcel): j for j, job in enumerate(compiled.jobs)}
    by_field: dict[str, list[int]] = {}
    for j in range(len(compiled.jobs)):
        by_field.setdefault(compiled.field(j).id, []).append(j)
    out: list[list[int]] = [[] for _ in crews]
    for crew in plan["crews"]:
        if crew["crew"] in crews:
            for order in crew["orders"]:
                job = jobs.get((order["field"], order["parcel"]))
                parts = [job] if job is not None else by_field.get(order["field"], [])
                out[crews.index(crew["crew"])] += parts
    return out


def done_loss(observed: ObservedSeason, compiled: Compiled, record: WorkRecord) -> Array:
    """Money lost on each field as it was cut, including the part left uncut, (draw, field)."""
    standing_loss = compiled.standing_loss
    out = np.zeros((standing_loss.loss.shape[0], len(observed.farm.fields)))
    area = area_by_job(compiled, record)
    for j, job in enumerate(compiled.jobs):
        for k in range(len(compiled.makeup)):
            out[:, job.field] += _cut_loss(observed, compiled, j, k, area[j, k])
        out[:, job.field] += uncut_share(compiled, j, area) * standing_loss.leave_cost[j]
    return out


def uncut_share(compiled: Compiled, j: int, area: Array) -> float:
    """Share of a job left uncut, 0 for turning strips; `area` (job, crew, hour) ha."""
    left = 1.0 - float(area[j].sum()) / compiled.jobs[j].area_ha
    return left if left > 1.0 - FINISHED_FRACTION else 0.0


def _cut_loss(observed: ObservedSeason, compiled: Compiled, j: int, k: int, area: Array) -> Array:
    """Money lost on the part of a job that a crew cut, ruts included, (draw,)."""
    standing_loss, cut = compiled.standing_loss, np.flatnonzero(area)
    if not len(cut):
        return np.zeros(standing_loss.loss.shape[0])
    slot = hour_slots(observed, standing_loss)[cut]
    loss = standing_loss.loss[:, j][:, :, slot]
    best = np.where(np.isnan(loss), np.inf, loss).min(axis=1)
    q = compiled.point[:, k, j, slot]
    loss_ha = np.take_along_axis(loss, np.maximum(q, 0)[:, None], axis=1)[:, 0]
    loss_ha = np.where((q >= 0) & np.isfinite(loss_ha), loss_ha, best)
    # a load that the model has as too wet for every point was delivered: at the worst price
    worst = np.where(np.isfinite(loss_ha), loss_ha, 0.0).max(axis=1, keepdims=True)
    loss_ha = np.maximum(np.where(np.isfinite(loss_ha), loss_ha, worst), 0.0)
    return np.asarray(loss_ha @ area[cut], dtype=np.float64) + ruts(observed, compiled, j, area)


def ruts(observed: ObservedSeason, compiled: Compiled, j: int, area: Array) -> float:
    """Cost of ruts where a job is cut while carts stay at the headland; `area` (hour,) ha."""
    slot = hour_slots(observed, compiled.standing_loss)
    edge = compiled.standing_loss.headland_only[0, compiled.jobs[j].row, slot]
    return float(loss_terms(observed.farm, compiled.field(j))["rut_ha"] * (area @ edge))


def hour_slots(observed: ObservedSeason, standing_loss: StandingLoss) -> NDArray[np.int64]:
    """Slot of each hour of the season, (hour,); hours before the first slot map to it."""
    start = standing_loss.slots[0]
    hours = observed.weather.start.astype("datetime64[m]") + np.arange(observed.hours) * HOUR
    at = ((hours - start) / np.timedelta64(SLOT_MIN, "m")).astype(int)
    return np.asarray(np.clip(at, 0, len(standing_loss.slots) - 1))
