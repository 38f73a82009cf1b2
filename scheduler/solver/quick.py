"""A good plan in a moment: a short search, nothing proven."""

from __future__ import annotations

from scheduler.solver.search import price, search
from scheduler.solver.tables import CutTables, Orders, Plan

#: Moves of a short search; assumed.
QUICK_MOVES = 20_000


def quick(
    tables: CutTables,
    *,
    seed: int,
    objective: str = "mean",
    moves: int = QUICK_MOVES,
    orders: Orders | None = None,
) -> Plan:
    """A good plan without a proof, from a short search."""
    first = tables.prefixes if orders is None else orders
    found = search(tables, first, moves=moves, seed=seed, objective=objective)
    return price(tables, found, objective=objective)
