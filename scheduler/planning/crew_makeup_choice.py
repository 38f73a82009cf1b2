"""Make-ups ranked by their cost: each is compiled and priced by a short search."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np

from scheduler.costs.machine_rates import CrewMachines
from scheduler.costs.standing_loss import StandingLoss
from scheduler.cut_tables.compile import compile_tables
from scheduler.cut_tables.compiled import Compiled
from scheduler.cut_tables.crew_makeup import MakeUp, makeups
from scheduler.errors import NoPlanError
from scheduler.explanation.own_order import jobs_named
from scheduler.planning.information import InformationState
from scheduler.planning.plan_stability import previous_crew_of_job, previous_job_orders
from scheduler.solver.annealing import short_search

#: Members that price the make-ups, spread over the ensemble; assumed, so that many are priced
#: in the time of one plan.
MAKEUP_MEMBERS = 7
#: Make-ups priced on all members; assumed, half a second each.
FINALISTS = 3


def rank_makeups(
    information: InformationState, standing_loss: StandingLoss, *, seed: int
) -> list[tuple[MakeUp, float]]:
    """Rank the make-ups of the morning.

    Every make-up is priced on a few members, then the `FINALISTS` on all members. A search starts
    from the previous orders, so that the luck of one search does not change the make-up. A machine
    that changes crew, against the previous orders or else the farm file, costs
    `rules.change_price`.

    Returns
    -------
    The finalists with their cost in cents, cheapest first; a single make-up has cost 0.

    Raises
    ------
    NoPlanError
        Where no crew has a combine up today.
    """
    options = [m for m in makeups(information.farm, information.now) if m]
    if not options:
        raise NoPlanError("no crew has a combine that is up today: repair one or call a crew in")
    if len(options) == 1:
        return [(options[0], 0.0)]
    few = evenly_spaced_members(standing_loss, MAKEUP_MEMBERS)
    rules, previous_crew = information.farm.rules, _crew_of_machine(information)

    def cost(makeup: MakeUp, on: StandingLoss) -> float:
        """Cost in cents, with the price of every machine that changes crew."""
        compiled = compile_makeup(information, on, makeup)
        start = previous_job_orders(compiled, information.previous_orders or ())
        found = short_search(
            compiled.tables, seed=seed, objective=rules.objective, orders=start
        ).cost
        moved = sum(previous_crew.get(m) != g.crew for g in makeup for m in _machine_ids(g))
        return found + 100.0 * rules.change_price * moved

    def ranked(candidates: list[MakeUp], on: StandingLoss) -> list[tuple[MakeUp, float]]:
        costs = pool.map(lambda makeup: cost(makeup, on), candidates)
        return sorted(zip(candidates, costs, strict=True), key=lambda pair: pair[1])

    with ThreadPoolExecutor(max_workers=2) as pool:
        return ranked([m for m, _ in ranked(options, few)[:FINALISTS]], standing_loss)


def _machine_ids(machines: CrewMachines) -> list[str]:
    """Ids of all machines of a crew."""
    return [
        *(c.id for c in machines.combines),
        *(c.id for c in machines.carts),
        *(t.id for t in machines.trucks),
    ]


def _crew_of_machine(information: InformationState) -> dict[str, str]:
    """Crew of each machine, by the previous orders or else the farm file."""
    if information.previous_orders:
        return {
            m: c.crew
            for c in information.previous_orders
            for m in (*c.combines, *c.carts, *c.trucks)
        }
    return {m: c.id for c in information.farm.crews for m in (*c.combines, *c.carts, *c.trucks)}


def evenly_spaced_members(standing_loss: StandingLoss, count: int) -> StandingLoss:
    """Keep `count` members, evenly spaced through the ensemble."""
    m = np.unique(np.linspace(0, standing_loss.loss.shape[0] - 1, count).astype(int))
    return replace(
        standing_loss,
        loss=standing_loss.loss[m],
        field_open=standing_loss.field_open[m],
        prospect=standing_loss.prospect[m],
        headland_only=standing_loss.headland_only[m],
        moisture=standing_loss.moisture[m],
    )


def compile_makeup(
    information: InformationState, standing_loss: StandingLoss, makeup: MakeUp
) -> Compiled:
    """Compile the tables of a make-up with fields in progress, locks and previous crews."""
    field_of_crew = {crew: field for field, crew in information.fields_in_progress.items()}
    crews = {g.crew: k for k, g in enumerate(makeup)}
    locked = tuple(
        (crews[crew], tuple(j for f in fields for j in jobs_named(standing_loss, f)))
        for crew, fields in information.locked_fields.items()
        if crew in crews
    )
    return compile_tables(
        standing_loss,
        makeup,
        places=[field_of_crew.get(g.crew, "base") for g in makeup],
        assigned=previous_crew_of_job(standing_loss, crews, information.previous_orders or ()),
        locked=locked,
    )
