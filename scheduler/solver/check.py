"""Checker of a played policy: every violation of the work tables, in words.

The checker knows neither the search nor the simulator's kernel. It replays the log with its own
bookkeeping of area, time, grain on the road, room and money.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from scheduler.field_work.kernel import LEAST_POINTS, LEAST_SHARE
from scheduler.field_work.play import Outcome
from scheduler.field_work.policy import Orders, Policy
from scheduler.field_work.tables import Float, WorkTables

#: Differences that rounding explains (the log holds areas in single precision): ha and t per unit
#: of the amount compared, percent of moisture, min.
ROUNDING, MOISTURE_ROUNDING, TIME_ROUNDING = 1e-5, 1e-4, 0.01


class _Cut(NamedTuple):
    """One entry of the log."""

    member: int
    crew: int
    slot: int
    job: int
    point: int
    area: float

    def __str__(self) -> str:
        return f"member {self.member}, crew {self.crew}, slot {self.slot}: job {self.job}"


def violations(
    tables: WorkTables, policy: Policy, outcome: Outcome, *, locked: Orders = ()
) -> list[str]:
    """Violations of the tables by an outcome with its log; empty for a sound one.

    Parameters
    ----------
    outcome : of a play from the first state.
    locked : jobs with which the order of each crew must begin.
    """
    cuts = _cuts(outcome)
    found = [*_wrong_heads(policy, locked), *_wrong_places(tables, policy, cuts)]
    found += [*_wrong_areas(tables, outcome, cuts), *_crowded(tables, cuts)]
    found += _wrong_drying(tables, cuts)
    shortest = [_shortest(move) for move in tables.move]
    by_crew: dict[tuple[int, int], list[_Cut]] = {}
    for cut in cuts:
        by_crew.setdefault((cut.member, cut.crew), []).append(cut)
    for (_, crew), own in by_crew.items():
        found += _wrong_times(tables, shortest[crew], own)
        found += _overfull(tables, own)
    return found + list(_wrong_losses(tables, outcome, cuts))


def _cuts(outcome: Outcome) -> list[_Cut]:
    """Entries of the log by member, crew, slot and order within the slot."""
    log = outcome.log
    entries = np.argwhere(log.job >= 0)
    at = tuple(entries.T)
    jobs, points, areas = log.job[at].tolist(), log.point[at].tolist(), log.area[at].tolist()
    rows = zip(entries[:, :3].tolist(), jobs, points, areas, strict=True)
    return [_Cut(m, k, s, job, point, area) for (m, k, s), job, point, area in rows]


def _wrong_heads(policy: Policy, locked: Orders) -> Iterator[str]:
    """Locked jobs that are not at the head of their crew's order."""
    for k, head in enumerate(locked):
        if policy.orders[k][: len(head)] != head:
            yield f"crew {k}: the order does not begin with the locked jobs {list(head)}"


def _wrong_places(tables: WorkTables, policy: Policy, cuts: list[_Cut]) -> Iterator[str]:
    """Cuts that job, crew or delivery point do not allow in their slot."""
    before = None
    for c in cuts:
        wet = float(tables.wet[c.member, c.slot, c.job])
        start = float(policy.start[int(tables.day[c.slot] != tables.day[0]), c.job])
        ongoing = before is not None and (
            (c.member, c.crew, c.job) == (before.member, before.crew, before.job)
            and before.slot == c.slot - 1
        )
        limit = start + policy.stop_margin if ongoing else start
        if c.area <= 0.0:
            yield f"{c} is cut without an area"
        if not np.isfinite(wet):
            yield f"{c} is cut while it is shut"
        elif wet > limit + MOISTURE_ROUNDING:
            name = "stop" if ongoing else "start"
            yield f"{c} is cut at {wet:.2f} %, above the {name} moisture {limit:.2f} %"
        if not tables.works[c.crew, c.slot]:
            yield f"{c} is cut outside the crew's working hours"
        if not tables.accepts[c.crew, c.job, c.point] or not np.isfinite(
            tables.loss[c.member, c.slot, c.job, c.point]
        ):
            yield f"{c} goes to point {c.point}, which refuses the grain"
        before = c


def _wrong_areas(tables: WorkTables, outcome: Outcome, cuts: list[_Cut]) -> Iterator[str]:
    """Jobs cut beyond their area, points filled beyond their room, and standing areas."""
    members, _, jobs, points, _ = tables.shape
    area, room = np.zeros((members, jobs)), np.zeros((members, points))
    for c in cuts:
        area[c.member, c.job] += c.area
        room[c.member, c.point] += c.area * tables.yield_t[c.job] * tables.room_factor[c.job]
    for m, j in np.argwhere(area > tables.area * (1.0 + ROUNDING)):
        yield f"member {m}: {area[m, j]:.2f} ha of job {j} are cut, it has {tables.area[j]:.2f}"
    for m, q in np.argwhere(room > tables.room * (1.0 + ROUNDING)):
        yield f"member {m}: point {q} takes {room[m, q]:.2f} t, its room is {tables.room[q]:.2f} t"
    left = tables.area - area
    for m, j in np.argwhere(np.abs(outcome.state.left - left) > ROUNDING * tables.area):
        stands = outcome.state.left[m, j]
        yield f"member {m}: {stands:.2f} ha of job {j} stand, the log leaves {left[m, j]:.2f}"


def _wrong_drying(tables: WorkTables, cuts: list[_Cut]) -> Iterator[str]:
    """Wet grain that finds no room where it waits for a dryer."""
    queue = np.zeros((tables.shape[0], tables.room.size))
    to_dry = np.zeros(queue.shape)
    at = np.zeros(queue.shape, np.int64)  # slots up to which the dryer has run
    for c in sorted(cuts, key=lambda c: (c.member, c.slot)):
        wet = float(tables.wet[c.member, c.slot, c.job])
        if wet <= tables.dry_limit[c.job, c.point]:
            continue
        here = c.member, c.point
        for slot in range(int(at[here]), c.slot + 1):
            if to_dry[here] > 0.0:
                done = min(1.0, float(tables.dried[c.point, slot]) / to_dry[here])
                queue[here], to_dry[here] = queue[here] * (1.0 - done), to_dry[here] * (1.0 - done)
        at[here] = c.slot + 1
        volume = c.area * float(tables.yield_t[c.job] * tables.room_factor[c.job])
        points = max(wet - float(tables.dry_limit[c.job, c.point]), LEAST_POINTS)
        queue[here], to_dry[here] = queue[here] + volume, to_dry[here] + volume * points
        most = float(tables.holding[c.point])
        if queue[here] > most * (1.0 + ROUNDING) + ROUNDING:
            yield f"{c}: {queue[here]:.2f} t wait for the dryer of point {c.point}, {most:.2f} fit"


def _crowded(tables: WorkTables, cuts: list[_Cut]) -> Iterator[str]:
    """Slots in which two crews cut a job that is not shared."""
    crew_of: dict[tuple[int, int, int], int] = {}
    for c in cuts:
        if not tables.shared[c.job]:
            other = crew_of.setdefault((c.member, c.slot, c.job), c.crew)
            if other != c.crew:
                yield f"{c} is also cut by crew {other}, and it is not shared"


def _shortest(move: Float) -> Float:
    """Least minutes between two places by way of any others, (job + 1, job)."""
    out = move.copy()
    for j in range(move.shape[1]):
        out = np.minimum(out, out[:, j : j + 1] + out[j : j + 1])
    return out


def _wrong_times(tables: WorkTables, shortest: Float, cuts: list[_Cut]) -> Iterator[str]:
    """Cuts of one crew in one member that come too early after the cut before, or take too long.

    The clock counts the least time: cutting at the machines' rate, and the shortest move.
    """
    length = tables.slot_min
    clock, place = 0.0, tables.area.size
    for c in cuts:
        rates = tables.edge_rate if tables.edge[c.member, c.slot, c.job] else tables.cut_rate
        wet = float(tables.wet[c.member, c.slot, c.job])
        over = max(0.0, wet - float(tables.tough_from[c.job]))
        rate = float(rates[c.crew, tables.machines[c.crew, c.slot], c.job])
        rate *= max(LEAST_SHARE, 1.0 - tables.tough_slower * over)
        tonnes = c.area * tables.yield_t[c.job]
        if tonnes > rate * length / 60.0 * (1.0 + ROUNDING) + ROUNDING:
            yield f"{c} gives {tonnes:.2f} t, the machines cut {rate * length / 60.0:.2f} t a slot"
        minutes = tonnes / rate * 60.0 if rate > 0.0 else np.inf
        to_go = 0.0 if place == c.job else float(shortest[place, c.job])
        ready = max(_after_move(tables, c.crew, clock, to_go), c.slot * length)
        clock = ready + minutes
        if clock > (c.slot + 1) * length + TIME_ROUNDING:
            yield f"{c} is cut {clock - (c.slot + 1) * length:.1f} min before the crew can be done"
        clock = min(clock, (c.slot + 1) * length)
        place = c.job


def _after_move(tables: WorkTables, crew: int, clock: float, minutes: float) -> float:
    """Time at which a move that can begin at `clock` is over, min after the first slot's start."""
    length, slots = tables.slot_min, tables.shape[4]
    while minutes > 0.0:
        slot = int(clock // length)
        if slot >= slots:
            return clock + minutes
        rest = (slot + 1) * length - clock
        if tables.works[crew, slot] and tables.road[slot]:
            if minutes <= rest:
                return clock + minutes
            minutes -= rest
        clock = (slot + 1) * length
    return clock


def _overfull(tables: WorkTables, cuts: list[_Cut]) -> Iterator[str]:
    """Cuts of one crew in one member that are neither hauled nor fit on carts and trucks.

    Grain on board waits with the time that its haul takes. In each slot the trucks first haul what
    is on board, to the first open point first; with the time left they haul what is cut. Trucks
    that are down haul neither.
    """
    hours = tables.slot_min / 60.0
    tonnes_on, hours_on = [0.0] * tables.room.size, [0.0] * tables.room.size
    slot, free, crew = -1, hours, cuts[0].crew
    for c in cuts:
        while slot < c.slot:
            slot, free = (slot + 1, hours) if any(tonnes_on) else (c.slot, hours)
            for q in np.flatnonzero(tables.point_open[:, slot]).tolist():
                share = float(tables.trucks_up[crew, tables.machines[crew, slot], q])
                used = min(free * share, hours_on[q])  # with all trucks
                if used > 0.0:
                    tonnes_on[q] *= 1.0 - used / hours_on[q]
                    hours_on[q] -= used
                    free -= used / share
        q = c.point
        rate = float(tables.haul_rate[crew, tables.machines[crew, c.slot], c.job, q])
        tonnes = c.area * tables.yield_t[c.job]
        hauled = min(tonnes, rate * free) if tables.point_open[q, c.slot] else 0.0
        free -= hauled / rate if hauled > 0.0 else 0.0
        kept, rounding = tonnes - hauled, ROUNDING * (1.0 + tonnes)
        if kept <= rounding:
            continue
        tonnes_on[q] += kept
        hours_on[q] += kept / float(tables.full_haul[crew, c.job, q])
        most = float(tables.buffer[crew, c.job])
        if sum(tonnes_on) > most * (1.0 + ROUNDING) + rounding:
            door = "open" if tables.point_open[q, c.slot] else "closed"
            yield f"{c}: {sum(tonnes_on):.2f} t on board, {most:.2f} fit; point {q} is {door}"


def _wrong_losses(tables: WorkTables, outcome: Outcome, cuts: list[_Cut]) -> Iterator[str]:
    """Members whose loss is not that of the cuts and of what is left."""
    loss = np.zeros(tables.shape[0])
    left = np.repeat(tables.area[None], tables.shape[0], axis=0)
    for c in cuts:
        loss[c.member] += c.area * tables.loss[c.member, c.slot, c.job, c.point]
        left[c.member, c.job] -= c.area
    loss += left @ (tables.leave_cost / tables.area)
    # the log's areas are single: what is left may be worth a little more or less
    worth = 2.0**-23 * float(np.abs(tables.leave_cost).sum())
    for m in np.flatnonzero(
        ~(np.abs(outcome.loss - loss) <= ROUNDING * (1.0 + np.abs(loss)) + worth)
    ):
        yield f"member {m}: the loss is {outcome.loss[m]:.2f}, cuts and leaving give {loss[m]:.2f}"
