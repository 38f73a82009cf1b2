"""Stages of reviewing a season."""

from __future__ import annotations

from scheduler.solver.stages import Stage


class ReviewStage(Stage):
    """What the review does, in order."""

    TABLES = "tables"
    BEST_ORDER = "best order"
    COMPARISON = "comparison"
