"""The plan's money: lost already, still at stake, lost by the plan, and lost by other ways."""

from __future__ import annotations

import numpy as np

from scheduler.orders.decision import Decision
from scheduler.orders.model import MoneyAtStake, RuleComparison


def money_at_stake(decision: Decision, *, floor: float | None = None) -> MoneyAtStake:
    """The money of a decision.

    `floor` is the expected loss of whoever knew the weather; None where it is not computed.
    """
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
    judged = loss[members]
    error = float(judged.std(ddof=1) / np.sqrt(len(judged))) if len(judged) > 1 else float("inf")
    held = decision.held_cost
    return MoneyAtStake(
        already_lost=already,
        at_stake=float(tables.leave_cost.sum()) - already,
        loss=float(judged.mean()),
        loss_error=error,
        member_loss=tuple(loss.tolist()),
        rules=tuple(rules),
        floor=floor,
        held_cost=None if held is None else held.mean,
        held_error=None if held is None else held.error,
        judged=len(members),
        unseen=bool(decision.unseen),
    )
