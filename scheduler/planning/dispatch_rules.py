"""Four dispatching rules as policies, to measure a plan against and to start its search from.

All crews share one ranking. A crew that is free goes to the field that the rule puts first among
those that can be cut, so a rule skips shut fields as crews do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from scheduler.costs.grain_value import best_revenue_ha
from scheduler.field_work.play import Outcome
from scheduler.field_work.policy import DECISIVE, Orders, Policy, ranked_lists
from scheduler.language.translation import N_
from scheduler.solver.objective import objective_of
from scheduler.solver.policy_search import Evaluator, Found
from scheduler.work_tables.compile import FarmWork

NEAREST_FIRST, RIPEST_FIRST = N_("nearest first"), N_("ripest first")
LARGEST_FIRST, MOST_VALUABLE_FIRST = N_("largest first"), N_("most valuable first")
RULES = (NEAREST_FIRST, RIPEST_FIRST, LARGEST_FIRST, MOST_VALUABLE_FIRST)
#: Start moistures of the rules, percent, the same for all fields; the last is no limit but that
#: of threshing.
RULE_STARTS = (13.5, 14.0, 14.5, 15.0, 15.5, 16.0, 17.0, 18.0, 20.0, 40.0)


def rule_policy(work: FarmWork, name: str, start: float) -> Policy:
    """Policy of a dispatching rule that cuts at or below a moisture, percent."""
    jobs, crews = len(work.jobs), len(work.makeup)
    fields = [work.field(j) for j in range(jobs)]
    weights: dict[str, float] = {}
    row = tuple(range(jobs))
    if name == NEAREST_FIRST:
        weights = {"move_weight": DECISIVE}
    elif name == RIPEST_FIRST:
        weights = {"moisture_weight": DECISIVE}
    elif name == LARGEST_FIRST:
        row = tuple(sorted(row, key=lambda j: -work.tables.area[j]))
    else:
        no_haul = {p.id: 0.0 for p in work.farm.points}
        worth = [best_revenue_ha(work.farm, f, no_haul) for f in fields]
        row = tuple(sorted(row, key=lambda j: -worth[j] * work.tables.area[j]))
    return Policy(
        orders=(row,) * crews,
        start=np.full((2, jobs), start),
        patience=np.zeros(crews),
        leave=np.zeros(crews),
        **weights,
    )


def best_rules(
    work: FarmWork, evaluator: Evaluator, *, objective: str, starts: Sequence[float] = RULE_STARTS
) -> dict[str, tuple[float, Found]]:
    """Each rule with the one start moisture that loses least on the evaluator's members.

    Returns
    -------
    By name of the rule: its start moisture, percent, and the policy with its losses.
    """
    out = {}
    for name in RULES:
        tried = []
        for start in starts:
            policy = rule_policy(work, name, start)
            tried.append((start, Found(policy=policy, loss=evaluator.loss(policy))))
        out[name] = min(
            tried,
            key=lambda x: objective_of(x[1].loss, evaluator.tables.weight, objective=objective),
        )
    return out


def lists_of(outcome: Outcome, weight: np.ndarray) -> Orders:
    """Each crew's fields in the order in which it begins them, in the member of median loss."""
    rank = np.argsort(outcome.loss, kind="stable")
    middle = int(rank[np.searchsorted(np.cumsum(weight[rank]), 0.5)])
    return begun_lists(outcome.log.job[middle])


def begun_lists(job: NDArray[np.int16]) -> Orders:
    """Each crew's fields in the order in which it begins them; `job` is a log of one member.

    A field stands with the crew that begins it first; fields that nobody begins are left out.
    """
    rows: list[list[int]] = [[] for _ in job]
    seen: set[int] = set()
    for s in range(job.shape[1]):
        for k, row in enumerate(rows):
            for j in job[k, s].tolist():
                if j >= 0 and j not in seen:
                    seen.add(j)
                    row.append(j)
    return tuple(tuple(row) for row in rows)


def starting_lists(work: FarmWork, rule: Policy, orders: Orders, *, locked: Orders) -> Policy:
    """Ranked lists from a rule's play: locked fields first, fields that nobody began last."""
    crews, jobs = len(work.makeup), len(work.jobs)
    fixed = {j for row in locked for j in row}
    rows = [[*locked[k], *(j for j in orders[k] if j not in fixed)] for k in range(crews)]
    named = {j for row in rows for j in row}
    for j in range(jobs):
        if j not in named:
            min(rows, key=len).append(j)
    return ranked_lists(tuple(tuple(row) for row in rows), jobs, start=rule.start[1])


def with_locked_first(rule: Policy, locked: Orders) -> Policy:
    """The rule, but each crew begins with its locked fields, which no other crew lists."""
    if not any(locked):
        return rule
    held = {j for row in locked for j in row}
    rows = [
        (*first, *(j for j in row if j not in held))
        for first, row in zip(locked, rule.orders, strict=True)
    ]
    return replace(rule, orders=tuple(rows), move_weight=0.0, moisture_weight=0.0)
