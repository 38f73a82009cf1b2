"""Stages of planning a morning."""

from __future__ import annotations

from scheduler.solver.stages import Stage


class PlanStage(Stage):
    """What the planner does, in order."""

    READINESS = "soil and grain"
    MAKEUPS = "make-ups"
    SEARCH = "search"
    CHECK = "check on unseen forecasts"
    FLOOR = "perfect knowledge"
    BRIEFING = "briefing"
