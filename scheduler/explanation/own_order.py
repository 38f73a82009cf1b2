"""The price of orders that a user proposes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from scheduler.costs.standing_loss import StandingLoss
from scheduler.errors import FarmError
from scheduler.field_work.play import play
from scheduler.field_work.policy import Orders
from scheduler.language.translation import _
from scheduler.orders.decision import Decision, Difference, difference

#: Share of a field cut, on average over members, from which it counts as cut.
MOSTLY_CUT = 0.5


def jobs_named(standing_loss: StandingLoss, name: str) -> list[int]:
    """Jobs of a field by its id, or of one part of it by 'id/part'."""
    names = [(standing_loss.field(j).id, job.parcel) for j, job in enumerate(standing_loss.jobs)]
    return [j for j, (field, parcel) in enumerate(names) if name in (field, f"{field}/{parcel}")]


@dataclass(frozen=True, kw_only=True)
class OwnOrderPrice:
    """Expected loss of a user's orders against that of the plan, money."""

    loss: float
    plan_loss: float
    more: Difference  # what the user's orders lose more
    left_uncut: tuple[str, ...]  # names of fields that only the plan cuts


def price_own_order(
    decision: Decision, orders: Mapping[str, Sequence[str]], *, plan_loss: float | None = None
) -> OwnOrderPrice:
    """Price a user's orders by the simulator, on the members that judge the plan.

    Parameters
    ----------
    orders : by crew, field ids (or 'id/part') in order; fields not named follow as in the plan.
    plan_loss : loss to compare with; the plan's by default.

    Raises
    ------
    FarmError
        Where a crew or a field is not in the plan, or a field is ordered twice.
    """
    work, members = decision.work, decision.judged
    own = replace(decision.policy, orders=named_orders(decision, orders))
    outcome = play(work.tables, own)
    plan = float(decision.outcome.loss[members].mean())
    more = difference(outcome.loss[members], decision.outcome.loss[members])
    if plan_loss is not None:
        more = replace(more, mean=more.mean + plan - plan_loss)
        plan = plan_loss

    before, now = (
        1.0 - (played.state.left / work.tables.area).mean(axis=0) > MOSTLY_CUT
        for played in (decision.outcome, outcome)
    )
    lost = [work.field(int(j)).name for j in np.flatnonzero(before & ~now)]
    return OwnOrderPrice(
        loss=plan + more.mean, plan_loss=plan, more=more, left_uncut=tuple(dict.fromkeys(lost))
    )


def named_orders(decision: Decision, orders: Mapping[str, Sequence[str]]) -> Orders:
    """Translate names into jobs; fields not named follow as in the plan.

    Raises
    ------
    FarmError
        Where a crew or a field is not in the plan, or a field is ordered twice.
    """
    work = decision.work
    crews = [g.crew for g in work.makeup]
    out: list[list[int]] = [[] for _ in crews]
    used: set[int] = set()
    for crew, names in orders.items():
        if crew not in crews:
            raise FarmError(
                _(
                    'there is no crew "{crew}" today; crews are {crews}',
                    crew=crew,
                    crews=", ".join(crews),
                )
            )
        for name in names:
            found = jobs_named(work.standing_loss, name)
            if not found:
                raise FarmError(_('there is nothing to cut in a field "{field}"', field=name))
            if twice := used & set(found):
                field = work.field(min(twice))
                raise FarmError(_('field "{field}" is ordered twice: name it once', field=field.id))
            used |= set(found)
            out[crews.index(crew)] += found
    for row, planned in zip(out, decision.policy.orders, strict=True):
        row += [j for j in planned if j not in used]
    return tuple(tuple(o) for o in out)
