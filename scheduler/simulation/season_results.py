"""Results of simulated seasons: loss by way to decide, and the headline over many seasons."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from statistics import median

import numpy as np


@dataclass(frozen=True, kw_only=True)
class SeasonResult:
    """Result of one season: money lost, and the day each job was finished.

    Attributes
    ----------
    loss
        Money lost.
    ended
        Day on which each job was finished, 0 for the first morning, -1 for never.
    """

    loss: float
    ended: tuple[int, ...]

    @property
    def done_day(self) -> int | None:
        """Days from the first morning to the end of harvest; None where jobs are unfinished."""
        return None if min(self.ended, default=0) < 0 else max(self.ended, default=0)


@dataclass(frozen=True, kw_only=True)
class SeasonComparison:
    """Loss of one season in the observed weather, by way to decide.

    Attributes
    ----------
    planner
        Result of the planner.
    best_fixed_order
        Loss of the best fixed order found.
    rules
        Loss of each dispatching rule.
    """

    station: str
    year: int
    planner: SeasonResult
    best_fixed_order: float
    rules: Mapping[str, float] = field(default_factory=dict)

    @property
    def best_rule(self) -> float:
        """Loss of the rule with the least loss in this season."""
        return min(self.rules.values())

    @property
    def share(self) -> float | None:
        """Share of the avoidable loss that the planner avoids; None where none is avoidable."""
        avoidable = self.best_rule - self.best_fixed_order
        return (self.best_rule - self.planner.loss) / avoidable if avoidable > 0 else None


@dataclass(frozen=True, kw_only=True)
class RehearsalSummary:
    """Comparisons of many seasons, and their headline figures."""

    seasons: tuple[SeasonComparison, ...]

    @property
    def best_rule(self) -> str:
        """Name of the rule with the least mean loss."""
        names = self.seasons[0].rules
        return min(names, key=lambda n: float(np.mean([s.rules[n] for s in self.seasons])))

    @property
    def median_share(self) -> float | None:
        """Median share of the avoidable loss that the planner avoids; None if none is avoidable."""
        shares = [s.share for s in self.seasons if s.share is not None]
        return median(shares) if shares else None

    @property
    def worst_excess(self) -> float:
        """Largest excess of the planner's loss over the best rule on average, as a share."""
        rule = self.best_rule
        return max(s.planner.loss / s.rules[rule] - 1.0 for s in self.seasons)
