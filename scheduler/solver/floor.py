"""Floor: lower bound on the loss of every way of working, in each member, by column generation.

Whoever knows the weather loses no less than the linear program in which fields are divisible, work
can be taken up again and crews split into fractions. A column is the path of a crew through a day.
The rows of the restricted master problem:

- a job is cut, or the rest pays its share of the cost of leaving it;
- a delivery point takes no more than its room;
- within a window of slots, a crew cuts no more than is hauled or stays on carts and trucks (rows
  join once a solution violates them);
- a crew begins a day in the state in which it ended the day before.

Pricing finds each crew's path through all days that gains most at the multipliers of the other
rows. The multipliers' value less these gains is a lower bound, whatever the multipliers (Lagrangian
bound; Desaulniers, Desrosiers and Solomon 2005, Column Generation; from memory). Multipliers are
mixed with those of the best bound (Wentges 1997, Int. Trans. Oper. Res. 4, 151-162; from memory).
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from ortools.linear_solver.python.model_builder_helper import (
    ModelBuilderHelper,
    ModelSolverHelper,
    SolveStatus,
)
from scipy.sparse import csr_array

from scheduler.field_work.tables import Float, Int, WorkTables
from scheduler.solver.crew_path_pricing import (
    CrewNetwork,
    DayPaths,
    Prices,
    best_paths,
    crew_network,
    crew_weather,
)

#: Weight of the best bound's multipliers. On the sample farm 0 to 0.5 take as many iterations, 0.85
#: takes half more; on 120 fields 0 takes a third more.
SMOOTHING = 0.5
#: Columns per row from which columns are dropped, and columns per row that stay. Without dropping,
#: 120 fields take three times as long; 4 and 2 take a quarter longer.
MOST_COLUMNS, KEPT_COLUMNS = 2.5, 1.5
#: Violation from which a window becomes a row, slots of hauling.
VIOLATION = 1e-6


@dataclass(frozen=True, kw_only=True)
class Floor:
    """Lower bound on the loss of every way of working.

    Attributes
    ----------
    bound : (member,), money: nobody loses less, even knowing the weather.
    restricted : (member,), value of the last restricted master problem: no less than the linear
        program's value, unless a window is still violated; infinite without a solution.
    iterations : (member,), rounds of pricing.
    """

    bound: Float
    restricted: Float
    iterations: Int


def floor(
    tables: WorkTables,
    *,
    members: Int | list[int] | None = None,
    gap: float = 1e-3,
    iterations: int = 100,
) -> Floor:
    """Bound the loss of everyone who works by the tables, even knowing the weather.

    Parameters
    ----------
    members : members to bound; all by default.
    gap : difference at which to stop, as a share of the restricted master problem's value.
    iterations : most rounds of pricing for each member.
    """
    picked = np.arange(tables.shape[0]) if members is None else np.asarray(members, np.int64)
    crews = [_crew(tables, k) for k in range(tables.shape[1])]

    def bound_chain(chain: Int) -> list[tuple[float, float, int]]:
        """Bound neighbouring members; each starts from the multipliers of the one before."""
        ascent = _Ascent(tables, crews)
        return [ascent.bound(int(m), gap, iterations) for m in chain]

    with ThreadPoolExecutor(max_workers=2) as pool:
        chains = list(pool.map(bound_chain, np.array_split(picked, 2)))
    found = [member for chain in chains for member in chain]
    return Floor(
        bound=np.array([bound for bound, _, _ in found]),
        restricted=np.array([restricted for _, restricted, _ in found]),
        iterations=np.array([rounds for _, _, rounds in found], np.int64),
    )


@dataclass(frozen=True, kw_only=True)
class _Crew:
    """Network of a crew and limits of its hauling, to each point and in the last column to all.

    Attributes
    ----------
    open : (slot, point + 1), share of all trucks' haul that is possible; 0 where closed.
    full : (point + 1,), most slots of hauling for what carts and trucks hold.
    """

    network: CrewNetwork
    open: Float
    full: Float


def _crew(tables: WorkTables, k: int) -> _Crew:
    """Network and hauling limits of crew k."""
    network = crew_network(tables, k)
    takes = tables.point_open & tables.accepts[k].any(axis=0)[:, None]
    own = takes.T * tables.trucks_up[k, tables.machines[k]]
    per_t = np.where(tables.accepts[k], network.truck / tables.yield_t[:, None], 0.0)
    slowest = per_t.max(axis=(0, 1), initial=0.0)
    slowest = np.append(slowest, slowest.max())
    full = np.full(slowest.size, np.inf)
    np.multiply(slowest, tables.buffer[k].max(), out=full, where=slowest > 0.0)
    opens = np.column_stack([own, own.max(axis=1)])
    return _Crew(network=network, open=opens, full=full)


@dataclass(frozen=True, kw_only=True)
class _Window:
    """Work slots `begin` to before `end` of crew k, and a column of its hauling limits.

    What the crew cuts in the window takes at most `limit` slots of hauling.
    """

    k: int
    column: int
    begin: int
    end: int
    limit: float


class _Ascent:
    """Bounds of one member after the other; windows and multipliers are kept.

    Multipliers are those of the jobs (per ha), limited points (per t) and windows (per slot of
    hauling), in this order.
    """

    def __init__(self, tables: WorkTables, crews: list[_Crew]) -> None:
        self._tables = tables
        self._crews = crews
        self._leave = tables.leave_cost / tables.area
        self._room_use = tables.yield_t * tables.room_factor
        self._limited = np.flatnonzero(np.isfinite(tables.room))
        self._windows: list[_Window] = []
        self._start = np.concatenate([0.5 * self._leave, np.zeros(self._limited.size)])

    def bound(self, m: int, gap: float, iterations: int) -> tuple[float, float, int]:
        """Bound, value of the restricted master problem and iterations of member m."""
        weather = [crew_weather(self._tables, c.network, k, m) for k, c in enumerate(self._crews)]
        master = _Master(self._crews, self._leave, self._limited, self._windows)
        at = best = self._start
        bound, restricted, rounds, windows = -np.inf, np.inf, 0, 0
        for rounds in range(1, iterations + 1):
            value = float(at @ self._right_hand_side()[: at.size])
            for k, crew in enumerate(self._crews):
                paths = best_paths(
                    crew.network, weather[k], self._prices(at, k), self._room_use, master.states(k)
                )
                value -= paths.gain
                master.add(k, paths)
            if value > bound:
                bound, best = value, at
            complete = rounds > 1 and len(self._windows) == windows
            if complete and restricted - bound <= gap * abs(restricted):
                break
            windows = len(self._windows)
            solved = master.solve(self._right_hand_side())
            if solved is None:
                break
            restricted, dual = solved
            at = (1.0 - SMOOTHING) * dual
            at[: best.size] += SMOOTHING * best
        self._start = best
        return bound, restricted, rounds

    def _right_hand_side(self) -> Float:
        """Right-hand sides of the rows that have multipliers."""
        limits = [w.limit for w in self._windows]
        return np.concatenate([self._tables.area, self._tables.room[self._limited], limits])

    def _prices(self, at: Float, k: int) -> Prices:
        """Multipliers as crew k meets them."""
        crew, jobs = self._crews[k], self._leave.size
        windows = jobs + self._limited.size
        room = np.zeros(self._tables.room.size)
        room[self._limited] = -at[jobs:windows]
        truck = np.zeros((crew.network.slot.size, crew.full.size))
        for window, dual in zip(self._windows, at[windows:], strict=False):
            if window.k == k:
                truck[window.begin : window.end, window.column] -= dual
        return Prices(at[:jobs], self._room_use[:, None] * room, truck[:, :-1] + truck[:, -1:])


class _Columns(NamedTuple):
    """Columns of one crew.

    Attributes
    ----------
    key : (column,), hash of the path.
    begin, end : (column,), row of the crew's state as the day begins and ends.
    cost : (column,), loss on what is cut.
    used : (column, job + limited point), ha cut and room taken.
    first : (column,), first work slot of the day.
    hauled : (column, slot of the day + 1, point + 1), slots of hauling before the slot.
    """

    key: Int
    begin: Int
    end: Int
    cost: Float
    used: Float
    first: Int
    hauled: Float


class _Master:
    """Restricted master problem of one member; it adds the windows that its solution violates.

    A state is a crew, a day and where the crew is as the day begins.
    """

    def __init__(
        self, crews: list[_Crew], leave: Float, limited: Int, windows: list[_Window]
    ) -> None:
        self._crews = crews
        self._leave = leave
        self._limited = limited
        self._windows = windows
        self._columns: dict[int, _Columns] = {}
        self._known: set[int] = set()
        self._states: dict[tuple[int, int, int], int] = {}
        self._used: set[int] = set()

    def states(self, k: int) -> Int:
        """Days, and where crew k begins them in the last solution, (state, 2)."""
        found = [s[1:] for s, row in self._states.items() if s[0] == k and row in self._used]
        return np.array([s for s in found if s[0] > 0], np.int64).reshape(-1, 2)

    def add(self, k: int, paths: DayPaths) -> None:
        """Add the paths of crew k that are new."""
        day_start = self._crews[k].network.day_start
        last = day_start.size - 2
        keep, rows, keys = [], [], []
        for n, d in enumerate(paths.day.tolist()):
            begin = k, d, int(paths.begin[n]) if d > 0 else 0
            end = k, d + 1, int(paths.end[n]) if d < last else 0
            parts = paths.cost[n], paths.cut[n], paths.room[n], paths.hauling[n]
            key = hash((begin, end, *(part.tobytes() for part in parts)))
            if key not in self._known:
                self._known.add(key)
                keep.append(n)
                keys.append(key)
                rows.append([self._states.setdefault(s, len(self._states)) for s in (begin, end)])
        begin_end = np.array(rows, np.int64).reshape(-1, 2)
        used = np.concatenate([paths.cut, paths.room[:, self._limited]], axis=1)
        new = _Columns(
            key=np.array(keys, np.int64),
            begin=begin_end[:, 0],
            end=begin_end[:, 1],
            cost=paths.cost[keep],
            used=used[keep],
            first=day_start[paths.day[keep]],
            hauled=_hauled(paths.hauling[keep]),
        )
        old = self._columns.get(k)
        both = new if old is None else map(np.concatenate, zip(old, new, strict=True))
        self._columns[k] = _Columns._make(both)

    def solve(self, right: Float) -> tuple[float, Float] | None:
        """Value, and the multipliers of the rows whose right-hand sides are given.

        None where the linear solver fails.
        """
        jobs, known = self._leave.size, right.size
        wide = [np.hstack([c.used, self._in_windows(k)]) for k, c in self._columns.items()]
        used = np.concatenate(wide)
        begin, end, cost = (
            np.concatenate([c[i] for c in self._columns.values()]) for i in range(1, 4)
        )
        n, row = np.nonzero(used)
        every, left = np.arange(len(used)), np.arange(jobs)
        values = np.concatenate([used[n, row], -np.ones(every.size), np.ones(every.size + jobs)])
        rows = np.concatenate([row, known + begin, known + end, left])
        columns = np.concatenate([n, every, every, every.size + left])
        lower, upper = self._state_bounds()
        lower = np.concatenate([right[:jobs], np.full(known - jobs, -np.inf), lower])
        matrix = csr_array((values, (rows, columns)), shape=(lower.size, every.size + jobs))
        solved = _solve(
            np.concatenate([cost, self._leave]), (lower, np.concatenate([right, upper])), matrix
        )
        if solved is None:
            return None
        value, solution, dual = solved
        solution = solution[: every.size]
        self._used = set(begin[solution > 0.0].tolist())
        ends = np.cumsum([c.cost.size for c in self._columns.values()])
        for k, share in enumerate(np.split(solution, ends[:-1])):
            self._add_violated(k, share)
        reduced = cost - (matrix.T @ dual)[: every.size]
        self._drop(np.where(solution > 0.0, -np.inf, reduced), ends[:-1], lower.size)
        return value, np.minimum(dual[:known], np.append(self._leave, np.zeros(known - jobs)))

    def _drop(self, reduced: Float, ends: Int, rows: int) -> None:
        """Drop the columns of greatest reduced cost where there are many more than rows."""
        if reduced.size <= MOST_COLUMNS * rows:
            return
        least = np.argsort(reduced, kind="stable")[: int(KEPT_COLUMNS * rows)]
        keep = np.isneginf(reduced)
        keep[least] = True
        for k, kept in enumerate(np.split(keep, ends)):
            columns = self._columns[k]
            self._known -= set(columns.key[~kept].tolist())
            self._columns[k] = _Columns._make(part[kept] for part in columns)

    def _state_bounds(self) -> tuple[Float, Float]:
        """Bounds of crews that end less crews that begin in each state."""
        last = [crew.network.day_start.size - 1 for crew in self._crews]
        lower = [-1.0 if d == 0 else 0.0 for _, d, _ in self._states]
        upper = [np.inf if d == last[k] else 0.0 for k, d, _ in self._states]
        return np.array(lower), np.array(upper)

    def _in_windows(self, k: int) -> Float:
        """Slots of hauling for what each column of crew k cuts in each window."""
        columns = self._columns[k]
        out = np.zeros((columns.cost.size, len(self._windows)))
        own = [v for v, w in enumerate(self._windows) if w.k == k]
        if own:
            point, *bounds = np.array(
                [(w.column, w.begin, w.end) for w in self._windows if w.k == k], np.int64
            ).T
            last, n = columns.hauled.shape[1] - 1, np.arange(columns.cost.size)[:, None]
            begin, end = (np.clip(b - columns.first[:, None], 0, last) for b in bounds)
            out[:, own] = columns.hauled[n, end, point] - columns.hauled[n, begin, point]
        return out

    def _add_violated(self, k: int, share: Float) -> None:
        """Add the most violated window of crew k for each point, given the share of its columns."""
        crew, columns = self._crews[k], self._columns[k]
        slot = crew.network.slot
        n = np.flatnonzero(share > 0.0)
        hauling = share[n, None, None] * np.diff(columns.hauled[n], axis=1)
        at = columns.first[n, None] + np.arange(hauling.shape[1])
        used = np.zeros((slot.size + hauling.shape[1], crew.full.size))
        np.add.at(used, at, hauling)
        over = -crew.open
        over[slot] += used[: slot.size]
        total = np.pad(over.cumsum(axis=0), ((1, 0), (0, 0)))
        rise = total - np.minimum.accumulate(total, axis=0)
        for q in np.flatnonzero(rise.max(axis=0) > crew.full + VIOLATION):
            stop = int(rise[:, q].argmax())
            first = int(total[: stop + 1, q].argmin())
            begin, end = np.searchsorted(slot, (first, stop)).tolist()
            limit = float(crew.full[q] + crew.open[first:stop, q].sum())
            window = _Window(k=k, column=int(q), begin=begin, end=end, limit=limit)
            if window not in self._windows:
                self._windows.append(window)


def _hauled(hauling: Float) -> Float:
    """Slots of hauling before each slot, to each point and in the last column to all."""
    total = np.concatenate([hauling, hauling.sum(axis=2, keepdims=True)], axis=2)
    return np.pad(total.cumsum(axis=1), ((0, 0), (1, 0), (0, 0)))


def _solve(
    cost: Float, bounds: tuple[Float, Float], matrix: csr_array
) -> tuple[float, Float, Float] | None:
    """Value, solution and dual values of a linear program over variables of at least 0.

    None where the solver cannot tell, for want of precision.
    """
    model, solver = ModelBuilderHelper(), ModelSolverHelper("GLOP")
    free = np.zeros(cost.size), np.full(cost.size, np.inf)
    # the stubs of OR-Tools take an array's number type for its shape
    model.fill_model_from_sparse_data(*free, cost, *bounds, matrix)  # type: ignore[arg-type]
    solver.solve(model)
    if solver.status() != SolveStatus.OPTIMAL:
        return None
    solution, dual = np.array(solver.variable_values()), np.array(solver.dual_values())
    return float(solver.objective_value()), solution, dual
