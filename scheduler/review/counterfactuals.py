"""Three mirrors on the weather that came: what was done, what plans said, the best in hindsight.

All are priced on the one weather that came and with the farm's own make-up. What was done is
priced in the hours in which it was done; orders are followed as crews follow them (`following`);
the best order in hindsight comes from the planner's own search over orders that cut each field or
parcel in one go, which has a proven bound, and is followed like the others where that is better.
The grain model's error is kept as draws, one lasting offset of moisture for each row, so that
every loss has a spread.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array
from readiness.season.kernel import GRAIN_SD
from readiness.season.simulate import Season
from scheduler.costs.grain_value import loss_terms
from scheduler.costs.machine_rates import CrewMachines
from scheduler.costs.standing_loss import StandingLoss, standing_loss_of
from scheduler.cut_tables.compile import compile_tables
from scheduler.cut_tables.compiled import Compiled
from scheduler.errors import BookError
from scheduler.farm.model import Cart, Combine, Truck
from scheduler.farm.working_time import SLOT_MIN, slot_times, utc_hour
from scheduler.planning.dispatch_rules import dispatched_orders
from scheduler.review.observed_season import HOUR, ObservedSeason
from scheduler.review.work_record import WorkRecord, area_by_job
from scheduler.season_book.farm_state import FINISHED_FRACTION, SAMPLE_SD
from scheduler.simulation.following import CrewOrders, followed
from scheduler.solver.evaluation import evaluate
from scheduler.solver.solve import solve
from scheduler.solver.tables import Plan
from scheduler.windows.model_inputs import season_rows

T = TypeVar("T", Combine, Cart, Truck)
#: Draws of the grain model's error; assumed, few, because each is solved, enough for a spread.
DRAWS = 7
#: Share of the usual search for the order in hindsight; assumed, a few seconds.
BEST_ORDER_EFFORT = 0.2
AS_DONE, AS_PLANNED = "as it was done", "as planned each morning"
BEST_FIXED_ORDER = "best order in hindsight"


@dataclass(frozen=True, kw_only=True)
class Counterfactual:
    """A way to cut the season, and money lost by it, (draw,)."""

    name: str
    loss: Array

    @property
    def mid(self) -> float:
        """Mean over draws."""
        return float(self.loss.mean())

    @property
    def low(self) -> float:
        """10th percentile over draws."""
        return float(np.quantile(self.loss, 0.1))

    @property
    def high(self) -> float:
        """90th percentile over draws."""
        return float(np.quantile(self.loss, 0.9))


def compile_observed(observed: ObservedSeason, *, seed: int = 0) -> Compiled:
    """Cut tables of the weather that came; members are draws of the grain model's error."""
    days = (
        observed.weather.shape[2] - (utc_hour(observed.start) - observed.weather.start).astype(int)
    ) // 24
    slots = slot_times(observed.start, int(days), SLOT_MIN)
    standing_loss = standing_loss_of(observed.farm, _drawn(observed, seed), slots)
    return compile_tables(standing_loss, makeup := _makeup(observed), places=["base"] * len(makeup))


def _drawn(observed: ObservedSeason, seed: int) -> Season:
    """The season with as many moistures as draws; ground and reasons are the same in all."""
    season, picked = observed.season, season_rows(observed.farm)
    sampled = {
        observed.farm.fields[o.field].id for o in observed.observations if o.kind == "moisture"
    }
    sd = np.array([SAMPLE_SD if f.id in sampled else GRAIN_SD for f, _ in picked])
    error = np.random.default_rng(seed).normal(0.0, 1.0, (DRAWS, len(picked))) * sd
    wide = {
        name: np.broadcast_to(getattr(season, name), (DRAWS, *season.moisture.shape[1:]))
        for name in ("wettings", "sprout", "reason", "tier")
    }
    moisture = np.maximum(season.moisture + (error - error.mean(axis=0))[:, :, None], 5.0)
    return replace(season, moisture=moisture, **wide)  # type: ignore[arg-type]


def _makeup(observed: ObservedSeason) -> tuple[CrewMachines, ...]:
    """Every crew with its own machines, those included that were down on the first morning."""
    farm = observed.farm

    def whole(machines: Sequence[T], ids: Sequence[str]) -> tuple[T, ...]:
        return tuple(m for i in ids for m in machines if m.id == i)

    makeup = tuple(
        CrewMachines(
            crew=c.id,
            combines=whole(farm.combines, c.combines),
            carts=whole(farm.carts, c.carts),
            trucks=whole(farm.trucks, c.trucks),
        )
        for c in farm.crews
        if c.combines
    )
    if not makeup:
        raise BookError("no crew of the farm file has a combine: nothing can be reviewed")
    return makeup


def counterfactuals(
    observed: ObservedSeason, compiled: Compiled, cut: WorkRecord, *, seed: int = 0
) -> tuple[list[Counterfactual], Plan]:
    """Every mirror and the plan of hindsight, which has the bound."""
    tables = compiled.tables
    rules = dispatched_orders(compiled)
    costs = {name: evaluate(tables, orders).cost for name, orders in rules.items()}
    best = min(costs, key=lambda name: costs[name])
    hind = solve(tables, hint=rules[best], seed=seed, effort=BEST_ORDER_EFFORT)
    played = followed(compiled, [(0, hind.orders)])
    in_one_go = hind.member_cost / 100.0
    out = [
        Counterfactual(name=AS_DONE, loss=done_loss(observed, compiled, cut).sum(axis=1)),
        Counterfactual(
            name=BEST_FIXED_ORDER, loss=min(played, in_one_go, key=lambda loss: float(loss.mean()))
        ),
    ]
    if observed.plans:
        out.append(
            Counterfactual(
                name=AS_PLANNED, loss=followed(compiled, planned_orders(observed, compiled))
            )
        )
    out += [Counterfactual(name=n, loss=followed(compiled, [(0, o)])) for n, o in rules.items()]
    return out, hind


def planned_orders(observed: ObservedSeason, compiled: Compiled) -> list[tuple[int, CrewOrders]]:
    """The plans by the slot from which each is in force: jobs of every crew in order.

    Behind what a plan tells a crew stands what the plans before told it, the latest first: the
    plans knew what had really been cut, which when they are followed may be something else.
    """
    crews = [g.crew for g in compiled.makeup]
    out: list[tuple[int, CrewOrders]] = []
    told: list[list[int]] = [[] for _ in crews]
    for at, plan in observed.plans:
        new = _wanted(plan, compiled, crews)
        told = [list(dict.fromkeys([*a, *b])) for a, b in zip(new, told, strict=True)]
        out.append((_slot(compiled, at), told))
    return out


def _slot(compiled: Compiled, at: datetime) -> int:
    """Slot that holds an aware time."""
    gone = utc_hour(at).astype("datetime64[m]") - compiled.standing_loss.slots[0]
    return max(0, int(gone / np.timedelta64(SLOT_MIN, "m")))


def _wanted(plan: Mapping[str, Any], compiled: Compiled, crews: Sequence[str]) -> list[list[int]]:
    """Jobs each crew was told to do, in order."""
    jobs = {(compiled.field(j).id, job.parcel): j for j, job in enumerate(compiled.jobs)}
    whole: dict[str, list[int]] = {}
    for j in range(len(compiled.jobs)):
        whole.setdefault(compiled.field(j).id, []).append(j)
    out: list[list[int]] = [[] for _ in crews]
    for told in plan["crews"]:
        if told["crew"] in crews:
            for o in told["orders"]:
                named = jobs.get((o["field"], o["parcel"]))
                found = [named] if named is not None else whole.get(o["field"], [])
                out[crews.index(told["crew"])] += found
    return out


def done_loss(observed: ObservedSeason, compiled: Compiled, cut: WorkRecord) -> Array:
    """Money lost on each field as it was cut, what was left uncut included, (draw, field)."""
    standing_loss = compiled.standing_loss
    out = np.zeros((standing_loss.loss.shape[0], len(observed.farm.fields)))
    area = area_by_job(compiled, cut)
    for j, job in enumerate(compiled.jobs):
        for k in range(len(compiled.makeup)):
            out[:, job.field] += _cut_loss(observed, compiled, j, k, area[j, k])
        out[:, job.field] += uncut_share(compiled, j, area) * standing_loss.leave[j]
    return out


def uncut_share(compiled: Compiled, j: int, area: Array) -> float:
    """Share of a job left uncut, turning strips aside; `area` (job, crew, hour) ha."""
    left = 1.0 - float(area[j].sum()) / compiled.jobs[j].area_ha
    return left if left > 1.0 - FINISHED_FRACTION else 0.0


def _cut_loss(observed: ObservedSeason, compiled: Compiled, j: int, k: int, area: Array) -> Array:
    """Money lost on what a crew cut of a job, ruts included, (draw,)."""
    standing_loss, cut = compiled.standing_loss, np.flatnonzero(area)
    if not len(cut):
        return np.zeros(standing_loss.loss.shape[0])
    slot = hour_slots(observed, standing_loss)[cut]
    loss = standing_loss.loss[:, j][:, :, slot]
    best = np.where(np.isnan(loss), np.inf, loss).min(axis=1)
    q = compiled.point[:, k, j, slot]
    told = np.take_along_axis(loss, np.maximum(q, 0)[:, None], axis=1)[:, 0]
    told = np.where((q >= 0) & np.isfinite(told), told, best)
    # a load that the model thinks too wet for every point was taken somewhere: the worst price
    worst = np.where(np.isfinite(told), told, 0.0).max(axis=1, keepdims=True)
    told = np.maximum(np.where(np.isfinite(told), told, worst), 0.0)
    return np.asarray(told @ area[cut], dtype=np.float64) + ruts(observed, compiled, j, area)


def ruts(observed: ObservedSeason, compiled: Compiled, j: int, area: Array) -> float:
    """Money for ruts: what was cut of a job, ha by hour, while carts had to stay at the edge."""
    slot = hour_slots(observed, compiled.standing_loss)
    edge = compiled.standing_loss.headland_only[0, compiled.jobs[j].row, slot]
    return float(loss_terms(observed.farm, compiled.field(j))["rut_ha"] * (area @ edge))


def hour_slots(observed: ObservedSeason, standing_loss: StandingLoss) -> NDArray[np.int64]:
    """Slot of each hour of the season; hours before the first slot take the first."""
    start = standing_loss.slots[0]
    hours = observed.weather.start.astype("datetime64[m]") + np.arange(observed.hours) * HOUR
    at = ((hours - start) / np.timedelta64(SLOT_MIN, "m")).astype(int)
    return np.asarray(np.clip(at, 0, len(standing_loss.slots) - 1))
