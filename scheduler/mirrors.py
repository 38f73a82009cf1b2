"""Three mirrors on the weather that came: what was done, what plans said, the best in hindsight.

All are priced on the one weather that came and with the farm's own make-up; orders are timed by
the cut tables, what was done is priced in the hours in which it was done. The grain model's error
is kept as draws, one lasting offset of moisture for each row, so that every loss has a spread. An
order cuts each field or parcel in one go: a crew that leaves fields half cut and comes back when
they dry can do better than the best order.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from readiness.lanes import GRAIN_SD
from readiness.season import Season
from readiness.weather import Array
from scheduler.actuals import SAMPLE_SD
from scheduler.came import HOUR, Came
from scheduler.compile import SLOT_MIN, Compiled, compile_tables
from scheduler.cutting import Cutting
from scheduler.errors import BookError
from scheduler.haul import Gang
from scheduler.makeup import own_makeup
from scheduler.outlook import rows
from scheduler.rules import rule_orders
from scheduler.search import price
from scheduler.slots import slot_times, utc_hour
from scheduler.solve import solve
from scheduler.stakes import Stakes, stakes
from scheduler.tables import CutTables, Orders, Plan

#: Draws of the grain model's error; assumed, few, because each is solved, enough for a spread.
DRAWS = 7
#: Share of the usual search for the order in hindsight; assumed, a few seconds.
HIND_EFFORT = 0.3
DONE_NAME, PLANNED = "as it was done", "as planned each morning"
HINDSIGHT = "best order in hindsight"


@dataclass(frozen=True, kw_only=True)
class Mirror:
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


def compile_came(came: Came, *, seed: int = 0) -> Compiled:
    """Cut tables of the weather that came; members are draws of the grain model's error."""
    days = (came.weather.shape[2] - (utc_hour(came.start) - came.weather.start).astype(int)) // 24
    slots = slot_times(came.start, int(days), SLOT_MIN)
    stake = stakes(came.farm, _drawn(came, seed), slots)
    return compile_tables(stake, gangs := _gangs(came), stands=["base"] * len(gangs))


def _drawn(came: Came, seed: int) -> Season:
    """The season with as many moistures as draws; ground and reasons are the same in all."""
    season, picked = came.season, rows(came.farm)
    sampled = {came.farm.fields[o.field].id for o in came.observations if o.kind == "moisture"}
    sd = np.array([SAMPLE_SD if f.id in sampled else GRAIN_SD for f, _ in picked])
    error = np.random.default_rng(seed).normal(0.0, 1.0, (DRAWS, len(picked))) * sd
    wide = {
        name: np.broadcast_to(getattr(season, name), (DRAWS, *season.moisture.shape[1:]))
        for name in ("wettings", "sprout", "reason", "tier")
    }
    moisture = np.maximum(season.moisture + (error - error.mean(axis=0))[:, :, None], 5.0)
    return replace(season, moisture=moisture, **wide)  # type: ignore[arg-type]


def _gangs(came: Came) -> tuple[Gang, ...]:
    """The crews' machines as plans gave them most often, else as the farm file has them."""
    own = own_makeup(replace(came.farm, combines=tuple(replace(c, down=()) for c in
                     came.farm.combines), crews=tuple(replace(c, absent=()) for c in
                     came.farm.crews)), came.start)  # fmt: skip
    if not own:
        raise BookError("no crew of the farm file has a combine: nothing can be reviewed")
    return own


def first_member(tables: CutTables) -> CutTables:
    """The tables without the draws."""
    return replace(tables, finish=tables.finish[:1], cost=tables.cost[:1], weight=np.ones(1))


def mirrors(
    came: Came, compiled: Compiled, cut: Cutting, *, seed: int = 0
) -> tuple[list[Mirror], Plan]:
    """Every mirror and the plan of hindsight, which has the bound."""
    tables = compiled.tables
    found: dict[str, Orders] = {}
    if came.plans:
        found[PLANNED] = planned_orders(came, compiled)
    found |= rule_orders(compiled)
    costs = {name: price(tables, orders).cost for name, orders in found.items()}
    best = min(costs, key=lambda name: costs[name])
    hind = solve(tables, hint=found[best], seed=seed, effort=HIND_EFFORT)
    found = {HINDSIGHT: hind.orders} | found
    out = [Mirror(name=DONE_NAME, loss=done_loss(came, compiled, cut).sum(axis=1))]
    out += [
        Mirror(name=name, loss=price(tables, orders).member_cost / 100.0)
        for name, orders in found.items()
    ]
    return out, hind


def planned_orders(came: Came, compiled: Compiled) -> Orders:
    """The orders that follow if each crew does every morning what that morning's plan says.

    A crew takes the first field of the plan in force that is not cut yet, then what the plans
    before told it, the latest first: the plans knew what had really been cut, which by now may
    be something else.
    """
    tables = first_member(compiled.tables)
    crews = [g.crew for g in compiled.gangs]
    turns = [(_slot(compiled, at), _wanted(plan, compiled, crews)) for at, plan in came.plans]
    turns[0] = (0, turns[0][1])
    free, stand = [0] * len(crews), [len(compiled.jobs)] * len(crews)
    orders: list[list[int]] = [[] for _ in crews]
    done: set[int] = set()
    told: list[list[int]] = [[] for _ in crews]
    for n, (_, wanted) in enumerate(turns):
        told = [list(dict.fromkeys([*new, *old])) for new, old in zip(wanted, told, strict=True)]
        end = turns[n + 1][0] if n + 1 < len(turns) else tables.shape[3]
        for k in range(len(crews)):
            free[k] = max(free[k], turns[n][0])
        _follow(tables, told, end, free, stand, orders, done)
    rest = [j for _, wanted in turns for row in wanted for j in row]
    for j in dict.fromkeys([*rest, *range(len(compiled.jobs))]):
        if j not in done:
            orders[int(np.argmin(free))].append(j)
            done.add(j)
    return tuple(tuple(o) for o in orders)


def _follow(
    tables: CutTables, wanted: Sequence[Sequence[int]], end: int, free: list[int],
    stand: list[int], orders: list[list[int]], done: set[int],
) -> None:  # fmt: skip
    """Every crew begins its wanted jobs in order until the next plan."""
    slots = tables.shape[3]
    for k, row in enumerate(wanted):
        for j in row:
            arrival = free[k] + int(tables.move[k, stand[k], j])
            if j in done or arrival >= min(end, slots):
                continue
            finish = int(tables.finish[0, k, j, arrival])
            if finish < 0 or _begun(tables, k, j, arrival) >= end:
                continue
            orders[k].append(j)
            done.add(j)
            free[k], stand[k] = finish, j


def _begun(tables: CutTables, k: int, j: int, arrival: int) -> int:
    """Last arrival that still ends as this one does: cutting begins no later."""
    row = tables.finish[0, k, j]
    return int(np.searchsorted(np.where(row < 0, 1 << 30, row), row[arrival], side="right")) - 1


def _slot(compiled: Compiled, at: object) -> int:
    """Slot that holds an aware time."""
    gone = np.datetime64(utc_hour(at), "m") - compiled.stakes.slots[0]  # type: ignore[arg-type]
    return max(0, int(gone / np.timedelta64(SLOT_MIN, "m")))


def _wanted(
    plan: Mapping[str, object], compiled: Compiled, crews: Sequence[str]
) -> list[list[int]]:
    """Jobs each crew was told to do, in order."""
    jobs = {(compiled.field(j).id, job.parcel): j for j, job in enumerate(compiled.jobs)}
    whole: dict[str, list[int]] = {}
    for j in range(len(compiled.jobs)):
        whole.setdefault(compiled.field(j).id, []).append(j)
    out: list[list[int]] = [[] for _ in crews]
    for told in plan["crews"]:  # type: ignore[attr-defined]
        if told["crew"] in crews:
            for o in told["orders"]:
                named = jobs.get((o["field"], o["parcel"]))
                found = [named] if named is not None else whole.get(o["field"], [])
                out[crews.index(told["crew"])] += found
    return out


def done_loss(came: Came, compiled: Compiled, cut: Cutting) -> Array:
    """Money lost on each field as it was cut, what was left uncut included, (draw, field)."""
    stake = compiled.stakes
    out = np.zeros((stake.loss.shape[0], len(came.farm.fields)))
    for f in range(len(came.farm.fields)):
        jobs = [j for j, job in enumerate(compiled.jobs) if job.field == f]
        if not jobs:
            continue
        for k in range(len(compiled.gangs)):
            out[:, f] += _cut_loss(came, compiled, jobs[0], k, cut.area[f, k])
        whole = sum(compiled.jobs[j].area_ha for j in jobs)
        left = max(0.0, 1.0 - cut.area[f].sum() / whole) if whole > 0 else 0.0
        if left > 0.005:
            out[:, f] += left * sum(stake.leave[j] for j in jobs)
    return out


def _cut_loss(came: Came, compiled: Compiled, j: int, k: int, area: Array) -> Array:
    """Money lost on what a crew cut of a field, (draw,)."""
    cut = np.flatnonzero(area)
    if not len(cut):
        return np.zeros(compiled.stakes.loss.shape[0])
    slot = hour_slots(came, compiled.stakes)[cut]
    loss = compiled.stakes.loss[:, j][:, :, slot]
    best = np.nanmin(np.where(np.isnan(loss), np.inf, loss), axis=1)
    q = compiled.point[k, j]
    told = loss[:, q] if q >= 0 else best
    told = np.where(np.isfinite(told), told, best)
    highest = np.nanmax(np.where(np.isfinite(told), told, -np.inf), axis=1, keepdims=True)
    # a load that the model thinks too wet for every point was taken somewhere: the worst price
    told = np.where(np.isfinite(told), told, np.where(np.isfinite(highest), highest, 0.0))
    return np.asarray(told @ area[cut], dtype=np.float64)


def hour_slots(came: Came, stake: Stakes) -> np.ndarray:
    """Slot of each hour of the season; hours before the first slot take the first."""
    start = stake.slots[0]
    hours = came.weather.start.astype("datetime64[m]") + np.arange(came.hours) * HOUR
    at = ((hours - start) / np.timedelta64(SLOT_MIN, "m")).astype(int)
    return np.clip(at, 0, len(stake.slots) - 1)
