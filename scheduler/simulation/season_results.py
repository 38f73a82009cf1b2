"""Results of simulated seasons: loss by way to decide, and the headline over many seasons."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy import stats

#: A dispatching rule with its start moisture, percent.
FixedRule = tuple[str, float]
#: Level of the confidence intervals.
CONFIDENCE = 0.9


@dataclass(frozen=True, kw_only=True)
class SeasonResult:
    """Result of one season.

    Attributes
    ----------
    loss
        Money lost.
    ended
        Day on which each field was finished, 0 for the first morning, -1 for never.
    cutting_h, waiting_h
        Hours of all crews in which they cut, and in which they stand at a shut field while another
        field can be cut.
    """

    loss: float
    ended: tuple[int, ...]
    cutting_h: float = 0.0
    waiting_h: float = 0.0

    @property
    def done_day(self) -> int | None:
        """Days from the first morning to the end of harvest; None where fields are unfinished."""
        return None if min(self.ended, default=0) < 0 else max(self.ended, default=0)


@dataclass(frozen=True, kw_only=True)
class SeasonComparison:
    """Loss of one season in the observed weather, by way to decide.

    Attributes
    ----------
    planner
        Result of the planner.
    perfect
        Result of the planner with a perfect forecast every morning.
    rules
        Loss of each dispatching rule with each start moisture.
    floor
        Loss below which no way of working comes, even knowing the weather.
    """

    station: str
    year: int
    planner: SeasonResult
    perfect: SeasonResult
    rules: Mapping[FixedRule, float]
    floor: float


@dataclass(frozen=True, kw_only=True)
class RehearsalSummary:
    """Comparisons of many seasons, and their headline figures.

    The yardstick is one rule with one start moisture, the same in all seasons, with the least
    mean loss in hindsight. Nobody knew beforehand which one that is.
    """

    seasons: tuple[SeasonComparison, ...]

    @property
    def best_rule(self) -> FixedRule:
        """The rule and start moisture with the least mean loss."""
        every = self.seasons[0].rules
        return min(every, key=lambda r: float(np.mean([s.rules[r] for s in self.seasons])))

    @property
    def rule_loss(self) -> float:
        """Mean loss of that rule."""
        return float(np.mean([s.rules[self.best_rule] for s in self.seasons]))

    @property
    def saving(self) -> tuple[float, float, float]:
        """Mean saving of the planner against that rule, with its paired confidence interval.

        The interval is that of Student's t; it is infinite for a single season.
        """
        gain = np.array([s.rules[self.best_rule] - s.planner.loss for s in self.seasons])
        mean = float(gain.mean())
        if len(gain) < 2:
            return mean, -np.inf, np.inf
        error = float(gain.std(ddof=1) / np.sqrt(len(gain)))
        half = float(stats.t.ppf(0.5 + CONFIDENCE / 2.0, len(gain) - 1)) * error
        return mean, mean - half, mean + half

    @property
    def share(self) -> float | None:
        """Share of (rule - perfect forecast) that the planner saves; None where that is nothing."""
        rule = self.rule_loss
        perfect = rule - float(np.mean([s.perfect.loss for s in self.seasons]))
        planner = rule - float(np.mean([s.planner.loss for s in self.seasons]))
        return planner / perfect if perfect > 0 else None

    @property
    def perfect_over_floor(self) -> float:
        """Excess of the perfect forecast's loss over the floor, as a share; the median season."""
        return float(np.median([s.perfect.loss / s.floor - 1.0 for s in self.seasons]))

    @property
    def lower(self) -> int:
        """Number of seasons in which the planner loses less than that rule."""
        return sum(s.planner.loss < s.rules[self.best_rule] for s in self.seasons)

    @property
    def worst_excess(self) -> float:
        """Largest excess of the planner's loss over that rule's, as a share."""
        rule = self.best_rule
        return max(s.planner.loss / s.rules[rule] - 1.0 for s in self.seasons)

    @property
    def waiting_share(self) -> float:
        """Hours that the planner's crews stand at a shut field while another can be cut.

        As a share of the hours in which they cut.
        """
        cutting = sum(s.planner.cutting_h for s in self.seasons)
        return sum(s.planner.waiting_h for s in self.seasons) / cutting if cutting > 0 else 0.0
