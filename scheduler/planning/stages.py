"""Stages of planning a morning; those of the solver come between `MAKEUPS` and `UNCERTAINTY`."""

from __future__ import annotations

from scheduler.solver.stages import Stage


class PlanStage(Stage):
    """What the planner itself does, in order."""

    READINESS = "soil and grain"
    MAKEUPS = "make-ups"
    UNCERTAINTY = "uncertainty"
    BRIEFING = "briefing"
