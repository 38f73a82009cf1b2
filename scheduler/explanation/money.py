"""The plan's money: lost already, still at stake, lost by the plan, and lost by other ways."""

from __future__ import annotations

import numpy as np

from scheduler.costs.grain_value import loss_terms
from scheduler.farm.model import Farm
from scheduler.orders.decision import Decision, difference
from scheduler.orders.model import Leaving, MoneyAtStake, RuleComparison
from scheduler.solver.floor import floor

#: Members whose floor is computed, evenly spaced through the ensemble, and the gap, as a share, at
#: which each stops; assumed, so that the floor takes about a second for 26 fields.
FLOOR_MEMBERS, FLOOR_GAP = 5, 0.01


def money_at_stake(decision: Decision, *, with_floor: bool) -> MoneyAtStake:
    """The money of a decision; the floor is left out on request, because it takes time."""
    loss, members = decision.outcome.loss, decision.judged
    tables = decision.work.tables
    already = float(decision.work.standing_loss.already_lost.sum())
    rules = []
    for rule in sorted(decision.rules, key=lambda r: float(r.loss[members].mean())):
        more = decision.beats(rule)
        rules.append(
            RuleComparison(
                name=rule.name,
                start_pct=rule.start_pct,
                loss=float(rule.loss[members].mean()),
                more=more.mean,
                error=more.error,
            )
        )
    expected = difference(loss[members], np.zeros(len(members)))
    held = decision.held_cost
    return MoneyAtStake(
        already_lost=already,
        at_stake=float(tables.leave_cost.sum()) - already,
        loss=expected.mean,
        loss_error=expected.error,
        member_loss=tuple(loss.tolist()),
        rules=tuple(rules),
        floor=expected.mean - _saved_by_foresight(decision) if with_floor else None,
        held_cost=None if held is None else held.mean,
        held_error=None if held is None else held.error,
        judged=len(members),
        unseen=bool(decision.unseen),
        stay_checked=decision.stay_checked,
        leaving=leaving(decision.work.farm),
    )


def leaving(farm: Farm) -> tuple[Leaving, ...]:
    """What leaving a field assumes, by crops that share it."""
    by_terms: dict[tuple[float, float], list[str]] = {}
    for field in {f.crop: f for f in farm.fields}.values():
        terms = loss_terms(farm, field)
        by_terms.setdefault((terms["leave_days"], terms["leave_share"]), []).append(field.crop)
    return tuple(
        Leaving(crops=tuple(crops), days=days, share=share)
        for (days, share), crops in by_terms.items()
    )


def _saved_by_foresight(decision: Decision) -> float:
    """Expected loss of the plan above that of whoever knew the weather, money."""
    count = len(decision.outcome.loss)
    members = np.unique(np.linspace(0, count - 1, FLOOR_MEMBERS).astype(int))
    bound = floor(decision.work.tables, members=members, gap=FLOOR_GAP).bound
    return float(np.maximum(decision.outcome.loss[members] - bound, 0.0).mean())
