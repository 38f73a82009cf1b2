"""Orders that a user proposes, and what they would cost."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from scheduler.costs.standing_loss import StandingLoss
from scheduler.cut_tables.compiled import Compiled
from scheduler.errors import FarmError
from scheduler.solver.evaluation import evaluate
from scheduler.solver.tables import Orders, Plan


def jobs_named(standing_loss: StandingLoss, name: str) -> list[int]:
    """Jobs of a field id, or of one parcel as 'id/parcel'."""
    field, _, parcel = name.partition("/")
    return [
        j
        for j, job in enumerate(standing_loss.jobs)
        if standing_loss.field(j).id == field and parcel in ("", job.parcel)
    ]


def priced(
    compiled: Compiled,
    plan: Plan,
    orders: Mapping[str, Sequence[str]],
    *,
    best: float | None = None,
) -> tuple[float, list[str]]:
    """Expected loss of a user's orders, and what to say of it.

    `orders` : by crew, field ids (or 'id/parcel') in order; fields not named are left.
    `best` : loss to set it against; the plan's by default.

    Raises
    ------
    FarmError
        Where a crew or a field is not in the plan, or a field is ordered twice.
    """
    own = evaluate(
        compiled.tables, named_orders(compiled, orders), objective=compiled.farm.rules.objective
    )
    money = compiled.farm.currency
    mine, best = own.cost / 100.0, plan.cost / 100.0 if best is None else best
    lines = [f"your order loses {money}{mine:,.0f}; the plan {money}{best:,.0f}"]
    if mine > best + 0.5:
        lines.append(f"yours costs {money}{mine - best:,.0f} more")
    elif mine < best - 0.5:
        lines.append(f"yours saves {money}{best - mine:,.0f}: take it")
    else:
        lines.append("yours is as good as the plan")
    left = [compiled.field(j).name for j in own.left if j not in plan.left]
    if left:
        lines.append("left uncut, though the plan cuts them: " + ", ".join(dict.fromkeys(left)))
    return mine, lines


def named_orders(compiled: Compiled, orders: Mapping[str, Sequence[str]]) -> Orders:
    """Job orders from names; an order of one's own may undo what was locked before.

    Raises
    ------
    FarmError
        As `priced`.
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
