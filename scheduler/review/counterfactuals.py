"""Counterfactuals: the loss as done, as planned, by rules, by the best policy in hindsight.

One simulator plays every way but the work as done, on the observed weather, with the farm's own
make-up and at the central moisture of the grain model. The work as done is valued in the hours in
which it was done. All ways cut the same grain: what was cut by the end of the review. Grain that
still stands then is no part of any loss.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from readiness.atmosphere.weather import Array
from scheduler.farm.slots import SLOT_MIN, utc_hour
from scheduler.field_work.play import Outcome, play
from scheduler.field_work.policy import Policy, ranked_lists
from scheduler.orders.document import converter
from scheduler.orders.model import CrewOrders
from scheduler.planning.dispatch_rules import begun_lists, best_rules, lists_of, starting_lists
from scheduler.planning.previous_plan import (
    job_names,
    jobs_of,
    previous_plan,
    previous_policy,
)
from scheduler.review.observed_season import ObservedSeason
from scheduler.review.observed_work import ObservedWork, Played, Turn, by_day
from scheduler.solver.objective import MEAN
from scheduler.solver.policy_search import Evaluator, search
from scheduler.work_tables.compile import FarmWork

#: Policies that each of the two searches tries for the best policy in hindsight; assumed: some
#: seconds, because only one member is played.
ITERATIONS = 6000
#: Start moisture, percent, at which all rules are also played; assumed: the limit of most
#: elevators.
COMMON_START = 16.0
#: Start moisture, percent, that sets no limit but that of threshing.
NO_LIMIT = 100.0
#: Names of the ways that are not dispatching rules; those go by the rule's name.
AS_DONE, AS_PLANNED, BEST_POLICY = "as done", "as planned", "best policy in hindsight"


@dataclass(frozen=True, kw_only=True)
class LossOverDraws:
    """Money lost, (draw,), with its mean and spread over draws of the moisture error."""

    loss: Array

    @property
    def mean(self) -> float:
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


@dataclass(frozen=True, kw_only=True)
class Counterfactual(LossOverDraws):
    """A way to cut the season and the money lost by it.

    `start_pct` is the start moisture of a dispatching rule, percent, `best_start` whether it is
    the rule's best in hindsight.
    """

    name: str
    start_pct: float | None = None
    best_start: bool = False


@dataclass(frozen=True, kw_only=True)
class Ways:
    """Ways to cut the season, apart from the work as done.

    Attributes
    ----------
    best : the best policy in hindsight.
    planned : the issued plans; None if the book holds none.
    turns : policies of the issued plans by day; without plans the best policy in hindsight.
    rules : dispatching rules.
    """

    best: Counterfactual
    planned: Counterfactual | None
    turns: tuple[Turn, ...]
    rules: tuple[Counterfactual, ...]

    @property
    def all(self) -> tuple[Counterfactual, ...]:
        """The best policy, the plans, the rules."""
        return (self.best, *([self.planned] if self.planned else []), *self.rules)


def ways_to_cut(observed: ObservedSeason, work: ObservedWork, *, seed: int = 0) -> Ways:
    """Play the issued plans, the dispatching rules, and the best policy that a search finds.

    The search starts from every rule, from the order in which the rule and the plans begin the
    fields, and from the list of each plan.
    """
    tables, day = work.tables, work.tables.day
    evaluator = Evaluator(tables)
    by_rule = best_rules(work.work, evaluator, objective=MEAN)
    at_common = best_rules(work.work, evaluator, objective=MEAN, starts=(COMMON_START,))
    starts = [found.policy for _, found in (*by_rule.values(), *at_common.values())]
    starts += [_as_lists(work.work, play(tables, p, log=True), p) for p in starts]
    turns, planned = by_day(issued_turns(observed, work.work), day), None
    if turns:
        played = work.play(turns)
        planned = Counterfactual(name=AS_PLANNED, loss=played.loss)
        starts += [turn.policy for turn in turns]
        starts.append(_as_begun(work, played))
    best = search(tables, starts, seed=seed, iterations=ITERATIONS)[0].policy
    best_turns = by_day([Turn(0, best)], day)
    rules = [
        Counterfactual(
            name=name,
            loss=work.play([Turn(0, found.policy)]).loss,
            start_pct=start,
            best_start=best_start,
        )
        for name in by_rule
        for best_start, (start, found) in ((True, by_rule[name]), (False, at_common[name]))
        if best_start or start != by_rule[name][0]
    ]
    return Ways(
        best=Counterfactual(name=BEST_POLICY, loss=work.play(best_turns).loss),
        planned=planned,
        turns=tuple(turns or best_turns),
        rules=tuple(rules),
    )


def _as_lists(work: FarmWork, outcome: Outcome, rule: Policy) -> Policy:
    """The lists by which a rule's play begins the fields, with the rule's start moisture."""
    none: tuple[tuple[int, ...], ...] = ((),) * len(work.makeup)
    return starting_lists(work, rule, lists_of(outcome, work.tables.weight), locked=none)


def _as_begun(work: ObservedWork, played: Played) -> Policy:
    """The lists of a play, each field begun at the moisture at which the play begins it."""
    job = played.log.job[0]
    rows = begun_lists(job)
    start = np.full(len(work.work.jobs), NO_LIMIT)
    for j in (j for row in rows for j in row):
        slot = int((job == j).any(axis=(0, 2)).argmax())
        start[j] = work.tables.wet[0, slot, j]
    return ranked_lists(rows, len(start), start=start)


def issued_turns(observed: ObservedSeason, work: FarmWork) -> list[Turn]:
    """The issued plans as policies, each from the slot of its time on; the first from the start.

    The orders of earlier plans come after those of a plan, the latest first: a plan leaves out
    work that was done by then, and played here that work may be open. Where a plan holds no start
    moisture, the threshing limit is the only one.
    """
    out: list[Turn] = []
    crews, jobs = [m.crew for m in work.makeup], len(work.jobs)
    policy = ranked_lists(((),) * len(crews), jobs, start=NO_LIMIT)
    for at, document in observed.plans:
        plan = converter(observed.farm.tz).structure(document["crews"], tuple[CrewOrders, ...])
        policy = issued_policy(work, plan, policy)
        elapsed = utc_hour(at).astype("datetime64[m]") - work.standing_loss.slots[0]
        slot = int(elapsed / np.timedelta64(SLOT_MIN, "m"))
        out.append(Turn(max(0, slot), policy))
    return out


def issued_policy(work: FarmWork, plan: Sequence[CrewOrders], before: Policy) -> Policy:
    """A plan as a policy; fields that the plan does not order stay as in the policy before it."""
    none: tuple[tuple[int, ...], ...] = ((),) * len(work.makeup)
    policy = previous_policy(work, previous_plan(plan), before, locked=none)
    start, names = policy.start.copy(), job_names(work)
    for order in (order for crew in plan for order in crew.orders):
        if np.isfinite(order.start_pct):
            jobs = jobs_of(names, (order.field, order.parcel))
            start[0, jobs] = order.start_pct
            if not np.isfinite(order.later_pct):
                start[1, jobs] = order.start_pct
    return replace(policy, start=start)
