"""The price of orders that a user proposes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from scheduler.costs.standing_loss import StandingLoss
from scheduler.cut_tables.compiled import Compiled
from scheduler.errors import FarmError
from scheduler.orders.decision import Decision
from scheduler.solver.evaluation import evaluate
from scheduler.solver.tables import Orders


def jobs_named(standing_loss: StandingLoss, name: str) -> list[int]:
    """Jobs of a field by its id, or of one parcel by 'id/parcel'."""
    field, _, parcel = name.partition("/")
    return [
        j
        for j, job in enumerate(standing_loss.jobs)
        if standing_loss.field(j).id == field and parcel in ("", job.parcel)
    ]


@dataclass(frozen=True, kw_only=True)
class OwnOrderPrice:
    """Expected loss of a user's orders against that of the plan, money."""

    loss: float
    plan_loss: float
    left_uncut: tuple[str, ...]  # names of fields that only the plan cuts


def price_own_order(
    decision: Decision,
    orders: Mapping[str, Sequence[str]],
    *,
    plan_loss: float | None = None,
) -> OwnOrderPrice:
    """Price a user's orders on the tables of the plan.

    Parameters
    ----------
    orders : by crew, field ids (or 'id/parcel') in order; fields not named are left.
    plan_loss : loss to compare with; the plan's by default.

    Raises
    ------
    FarmError
        Where a crew or a field is not in the plan, or a field is ordered twice.
    """
    compiled, plan = decision.compiled, decision.plan
    own = evaluate(
        compiled.tables, named_orders(compiled, orders), objective=compiled.farm.rules.objective
    )
    left_uncut = [compiled.field(j).name for j in own.left if j not in plan.left]
    return OwnOrderPrice(
        loss=own.cost / 100.0,
        plan_loss=plan.cost / 100.0 if plan_loss is None else plan_loss,
        left_uncut=tuple(dict.fromkeys(left_uncut)),
    )


def named_orders(compiled: Compiled, orders: Mapping[str, Sequence[str]]) -> Orders:
    """Translate names into jobs; a user's own order may undo locked orders.

    Raises
    ------
    FarmError
        Where a crew or a field is not in the plan, or a field is ordered twice.
    """
    crews = [g.crew for g in compiled.makeup]
    out: list[list[int]] = [[] for _ in crews]
    used: set[int] = set()
    for crew, names in orders.items():
        if crew not in crews:
            raise FarmError(f'there is no crew "{crew}" today; crews are {", ".join(crews)}')
        for name in names:
            found = jobs_named(compiled.standing_loss, name)
            if not found:
                raise FarmError(f'there is nothing to cut in a field "{name}"')
            if twice := used & set(found):
                field = compiled.field(min(twice))
                raise FarmError(f'field "{field.id}" is ordered twice: name it once')
            used |= set(found)
            out[crews.index(crew)] += found
    return tuple(tuple(o) for o in out)
