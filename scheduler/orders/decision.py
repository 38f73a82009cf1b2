"""The decision of a morning: make-up, policy, and what it was weighed against."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scheduler.field_work.play import Outcome
from scheduler.field_work.policy import Orders, Policy
from scheduler.field_work.tables import Float
from scheduler.work_tables.compile import FarmWork
from scheduler.work_tables.crew_makeup import MakeUp


@dataclass(frozen=True, kw_only=True)
class MakeUpLoss:
    """A make-up and the expected loss that a short search reaches with it, money."""

    makeup: MakeUp
    loss: float


@dataclass(frozen=True, kw_only=True)
class RuleLoss:
    """A dispatching rule with its best start moisture, and its loss, (member,)."""

    name: str
    start_pct: float
    policy: Policy
    loss: Float


@dataclass(frozen=True, kw_only=True)
class Difference:
    """Mean and standard error of a paired difference over members, money."""

    mean: float
    error: float

    @property
    def real(self) -> bool:
        """Whether the difference exceeds two standard errors."""
        return abs(self.mean) > 2.0 * self.error


def difference(a: Float, b: Float) -> Difference:
    """Paired difference a - b over members; the error of a single member is unknown, infinite."""
    gain = a - b
    if len(gain) < 2:
        return Difference(mean=float(gain.mean()), error=float("inf"))
    error = float(gain.std(ddof=1) / np.sqrt(len(gain)))
    return Difference(mean=float(gain.mean()), error=error)


@dataclass(frozen=True, kw_only=True)
class Decision:
    """A decided morning. No output shows it whole; the outputs show what is read from it.

    Attributes
    ----------
    work : work tables of the make-up chosen.
    policy : what the crews are to do.
    outcome : the policy played on all members, with its log.
    locked : jobs that the farmer holds at the head of each crew's order.
    searched, unseen : members that the search used, and members that no search used; where
        there are too few members to set some aside, `unseen` is empty.
    makeups : make-ups ranked, the cheapest first.
    rules : dispatching rules on the same members.
    held_cost : what holding the locked orders costs; None where nothing is held.
    searches_apart : what the second of two separate searches loses more than the first on the
        members compared on; None where it is unknown.
    stay_checked : whether the unseen members settled if crews and orders stay as they were.
    """

    work: FarmWork
    policy: Policy
    outcome: Outcome
    locked: Orders
    searched: tuple[int, ...]
    unseen: tuple[int, ...]
    makeups: tuple[MakeUpLoss, ...]
    rules: tuple[RuleLoss, ...]
    held_cost: Difference | None = None
    searches_apart: Difference | None = None
    stay_checked: bool = False

    @property
    def judged(self) -> list[int]:
        """Members that losses are compared on: the unseen ones, else all."""
        return list(self.unseen or self.searched)

    def beats(self, rule: RuleLoss) -> Difference:
        """What a rule loses more than the plan, on the members compared on."""
        m = self.judged
        return difference(rule.loss[m], self.outcome.loss[m])
