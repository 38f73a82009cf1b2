"""A solved morning: what prices an order of one's own. No output shows it."""

from __future__ import annotations

from dataclasses import dataclass

from scheduler.cut_tables.compiled import Compiled
from scheduler.solver.tables import Plan


@dataclass(frozen=True, kw_only=True)
class Decision:
    """The cut tables of a morning and the plan found on them."""

    compiled: Compiled
    plan: Plan
