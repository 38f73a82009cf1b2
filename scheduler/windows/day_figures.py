"""Figures of a day's workable hours, which stored orders carry too; reading them loads no model."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import time

WORTHWHILE_H = 4.0  # hours a day that are worth moving a crew; assumed, half a usual cutting day


@dataclass(frozen=True, kw_only=True)
class DayFigures:
    """Hours of one row of the season on one day, over members.

    Attributes
    ----------
    drive : median trafficable hours, day and night.
    cut : median harvestable hours while a crew works; None where unknown.
    low, high : 10th and 90th percentile of the same.
    chance : share of members with at least the hours asked for.
    first : median first harvestable hour.
    """

    drive: float
    cut: float | None
    low: float
    high: float
    chance: float
    first: time | None
