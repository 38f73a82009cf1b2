"""Paths of the members that pay, beside prizes, for the place in the order at which a job stands.

A place is the work ordered before: the jobs' least times, in whole levels of about one job. So the
place is the same in all members whatever the weather, while the slot at which a member reaches the
place is the member's own. Prices are interpolated between a few places (knots). They sum to 0 over
the members, by weight, so one order for all pays nothing in the mean; see `common_order`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduler.solver.bundle_model import NO_PATH, BundleModel, PathsFound
from scheduler.solver.common_order.priced_walk import cheapest_walk, reachable
from scheduler.solver.evaluation import state_after_locks
from scheduler.solver.lagrangian_bound import MemberBounds
from scheduler.solver.settings import DEFAULTS, Settings
from scheduler.solver.tables import CutTables, Float, Int, Plan

#: Levels of work in a crew's order, and places at which prices are set; assumed: finer ones
#: raised the bound of some trial farms further in the same time, and of the sample less.
LEVELS, KNOTS = 17, 7
#: Levels from which on prices stay the same, and mostly levels are no longer told apart, as a share
#: of `LEVELS`; assumed: a good plan's crews do not differ in work by more.
TOP = 1.2


@dataclass(frozen=True, kw_only=True)
class Crew:
    """One crew in all members, as `cheapest_walk` takes it; see there.

    finish, cost (member, slot, job); move (job + 1, job), near and far (job,) its least and most
    over the jobs before; last (member, job) slot from which the job can be done; late (member,
    job) jobs by `last`; done, closing, begin, stand (member,); level (job,); row (member, level,
    slot + 1); who (member, level, slot + 1, job + 1).
    """

    finish: NDArray[np.int32]
    cost: Float
    move: NDArray[np.int32]
    near: Int
    far: Int
    last: Int
    late: Int
    done: Int
    closing: Int
    begin: Int
    stand: Int
    level: Int
    row: NDArray[np.int32]
    who: NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True)
class Rests:
    """Cheapest walks of one crew in all members at certain prizes and prices.

    Attributes
    ----------
    begins : (member, row, job) from level w and slot s, beginning with the job, at row
        at[member, w] + s.
    at : (member, level).
    rest : (member, state, job last done), states as numbered in `Crew.row`.
    ways : (member, state, job last done, 2) the next job of the rest, and that of the cheapest with
        another next job; -1 for none.
    shut : (member, level) what the order may still gain after closing.
    pay : (member, level, job) what the job is paid for at the level.
    """

    begins: NDArray[np.float32]
    at: Int
    rest: NDArray[np.float32]
    ways: NDArray[np.int16]
    shut: Float
    pay: Float


class Walks:
    """The members' walks at given prizes and prices, two members at a time.

    Parameters
    ----------
    plan : its orders say how much work a level holds.
    members : (member,) indices of those looked at. weight : (member,) theirs, summing to 1.
    """

    def __init__(
        self,
        tables: CutTables,
        plan: Plan,
        members: NDArray[np.intp],
        weight: Float,
        settings: Settings = DEFAULTS,
    ) -> None:
        self.settings = settings
        _, crews, jobs, slots = tables.shape
        self.weight, self.members = weight, members
        self.banned = np.zeros(jobs, np.bool_)
        self.banned[[j for first in tables.prefixes for j in first]] = True
        self.leave = tables.leave_cost.astype(np.float64)
        locked = [state_after_locks(tables, int(m)) for m in members]
        self.paid = np.array([paid for _, _, paid in locked], np.float64)
        begin = np.array([begin for begin, _, _ in locked])
        stand = np.array([stand for _, stand, _ in locked])
        other = tables.move + np.where(np.eye(jobs + 1, jobs), 1 << 20, 0).astype(np.int64)
        level = _levels(tables, plan, other.min(axis=1), self.banned)
        most = int(level.sum(axis=1).max())
        # a walk without end could do what takes no time at a level that it no longer raises
        instant = bool((tables.finish == np.arange(slots)).any())
        self.share = _shares((most if instant else min(most, math.ceil(TOP * LEVELS))) + 1)
        self.crews = [
            self._crew(
                tables, plan, members, k, other[k].min(axis=0), begin[:, k], stand[:, k], level[k]
            )
            for k in range(crews)
        ]
        states = max(int(c.row.max()) + 1 for c in self.crews)
        levels = self.share.shape[1]
        self.rooms = [_room(states, jobs, slots, levels, most + 1) for _ in range(2)]
        met = (members.size, crews, 1 + settings.deviations)
        self.met = PathsFound(
            job=np.empty((*met, most + 1), np.int16),
            level=np.empty((*met, most + 1), np.int16),
            value=np.empty(met),
        )
        self.kept = [_rests(c) for c in self.crews]

    def _crew(
        self,
        tables: CutTables,
        plan: Plan,
        members: NDArray[np.intp],
        k: int,
        near: Int,
        begin: Int,
        stand: Int,
        level: Int,
    ) -> Crew:
        jobs, slots = tables.shape[2:]
        finish = np.ascontiguousarray(tables.finish[members, k].transpose(0, 2, 1))
        able = finish >= 0
        last = np.where(able.any(axis=1), slots - 1 - able[:, ::-1].argmax(axis=1), -1)
        closing = (last - near)[:, ~self.banned].max(axis=1, initial=-1)
        mine = plan.finish[members][:, list(plan.orders[k])]
        row = np.empty((members.size, self.share.shape[1], slots + 1), np.int32)
        who = np.empty((*row.shape, jobs + 1), np.bool_)

        def reach(m: int) -> None:
            reachable(
                finish[m],
                tables.move[k],
                last[m],
                int(closing[m]),
                level,
                int(begin[m]),
                int(stand[m]),
                row[m],
                who[m],
            )

        with ThreadPoolExecutor(max_workers=2) as pool:
            list(pool.map(reach, range(members.size)))
        return Crew(
            finish=finish,
            move=tables.move[k],
            near=near,
            last=last,
            level=level,
            row=row,
            who=who,
            cost=tables.cost[members, k].transpose(0, 2, 1).astype(np.float64, order="C"),
            far=tables.move[k].max(axis=0).astype(np.int64),
            begin=begin,
            stand=stand,
            late=np.argsort(last, axis=1, kind="stable"),
            closing=closing,
            done=np.maximum(begin, mine.max(axis=1, initial=-1)),
        )

    def model(self, prize: Float) -> BundleModel:
        """A model of the walks, still empty, for prizes to begin with."""
        return BundleModel(
            weight=self.weight,
            fixed_cost=self.paid,
            leave=self.leave,
            banned=self.banned,
            knot_share=self.share,
            found=self.met,
            multiplier=prize,
            scaling=np.ones(prize.size),
            settings=self.settings,
        )

    def recalled(self, known: MemberBounds) -> PathsFound:
        """Walks met when each member was bounded alone, at no prizes and no prices."""
        turns = max(walks.shape[0] for walks in known.paths)
        members, crews, _, steps = self.met.job.shape
        met = PathsFound(
            job=np.full((members, crews, turns, steps), -1, np.int16),
            level=np.zeros((members, crews, turns, steps), np.int16),
            value=np.full((members, crews, turns), NO_PATH),
        )
        for m, of in enumerate(self.members):
            for k, c in enumerate(self.crews):
                for n, (row, cost) in enumerate(
                    zip(known.paths[of], known.path_cost[of], strict=True)
                ):
                    jobs = row[k, row[k] >= 0]
                    after = np.minimum(np.cumsum(c.level[jobs]), c.row.shape[1] - 1)
                    if 0 < jobs.size <= steps:
                        met.job[m, k, n, : jobs.size] = jobs
                        met.level[m, k, n, 1 : jobs.size] = after[:-1]
                        met.value[m, k, n] = cost[k]
        return met

    def beyond(self, visits: Sequence[Float]) -> Float:
        """(member, crew, knot, job) how far visits are beyond the members' mean.

        visits: by crew (member, level, job).
        """
        at_knots = np.stack([np.einsum("aw,mwj->maj", self.share, v) for v in visits], axis=1)
        at_knots -= np.einsum("m,mkaj->kaj", self.weight, at_knots)
        return at_knots

    def walks(self, prize: Float, price: Float, *, keep: bool = False) -> float:
        """The bound at prizes (job,) and prices (member, crew, knot, job); walks go into `met`.

        If asked to keep it, what is left to do from everywhere is then in `kept`, by crew.
        """
        job, level, value = self.met.job, self.met.level, self.met.value
        none = np.zeros((0, 0), np.float32), np.zeros(0, np.int64)

        def run(part: int) -> None:
            room = self.rooms[part]
            for m in range(part, value.shape[0], 2):
                for k, (c, kept) in enumerate(zip(self.crews, self.kept, strict=True)):
                    pay = prize - self.share.T @ price[m, k]
                    begins, at = (kept.begins[m], kept.at[m]) if keep else none
                    cheapest_walk(
                        c.finish[m],
                        c.cost[m],
                        c.move,
                        c.near,
                        c.far,
                        c.last[m],
                        c.late[m],
                        c.closing[m] if keep else c.done[m],
                        c.closing[m],
                        c.level,
                        c.row[m],
                        c.who[m],
                        c.begin[m],
                        c.stand[m],
                        self.leave,
                        pay,
                        job[m, k],
                        level[m, k],
                        value[m, k],
                        begins,
                        at,
                        *room,
                    )
                    if keep:
                        kept.rest[m] = room[0][: kept.rest.shape[1], :, 0]
                        kept.ways[m] = room[1][: kept.rest.shape[1]]
                        kept.shut[m], kept.pay[m] = room[-2], pay

        with ThreadPoolExecutor(max_workers=2) as pool:
            list(pool.map(run, range(2)))
        cheapest = self.paid + value[:, :, 0].sum(axis=1)
        return float(prize[~self.banned].sum() + self.weight @ cheapest)


def _levels(tables: CutTables, plan: Plan, near: Int, banned: NDArray[np.bool_]) -> Int:
    """(crew, job) levels of each job, at least 1; 0 of a locked one.

    About `LEVELS` fill a crew's order.
    """
    _, crews, _, slots = tables.shape
    took = np.where(tables.finish >= 0, tables.finish - np.arange(slots), 1 << 20)
    least = np.median(took.min(axis=3), axis=0)
    known = least < 1 << 19
    work = np.where(known, least, np.mean(least, where=known) if known.any() else 1) + near
    level = np.empty(work.shape, np.int64)
    for k in range(crews):
        mine = work[k, list(plan.orders[k])].sum() / LEVELS if plan.orders[k] else np.inf
        level[k] = np.maximum(1, np.rint(work[k] / (mine if mine > 0 else np.inf)))
    level[:, banned] = 0
    return level


def _shares(levels: int) -> Float:
    """(knot, level) shares of the knots in the price at a level; constant past the last knot."""
    at = np.minimum(np.arange(levels) / (TOP * LEVELS) * (KNOTS - 1), KNOTS - 1)
    return np.maximum(0.0, 1.0 - np.abs(at - np.arange(KNOTS)[:, None]))


def _rests(crew: Crew) -> Rests:
    """Room for what `Walks.walks` keeps of a crew."""
    members, slots, jobs = crew.finish.shape
    reach = int(crew.far[crew.level > 0].max(initial=0))
    levels, states = crew.row.shape[1], int(crew.row.max()) + 1
    at, rows = np.zeros((members, levels), np.int64), np.zeros(members, np.int64)
    for m in range(members):
        for w in range(levels):
            t = np.flatnonzero(crew.row[m, w] >= 0)
            if t.size:
                at[m, w] = rows[m] - t[0]
                rows[m] += min(slots - 1, t[-1] + reach) + 1 - t[0]
    return Rests(
        begins=np.empty((members, int(rows.max()), jobs), np.float32),
        at=at,
        rest=np.empty((members, states, jobs + 1), np.float32),
        ways=np.empty((members, states, jobs + 1, 2), np.int16),
        shut=np.empty((members, levels)),
        pay=np.empty((members, levels, jobs)),
    )


def _room(
    states: int, jobs: int, slots: int, levels: int, steps: int
) -> tuple[NDArray[np.generic], ...]:
    """Working space of `cheapest_walk`, in the order it takes it."""
    return (
        np.zeros((states, jobs + 1, 2)),
        np.zeros((states, jobs + 1, 2), np.int16),
        np.zeros((slots + 1, jobs, 2)),
        np.zeros((slots + 1, jobs), np.int16),
        np.zeros(slots + 2, np.bool_),
        np.zeros(jobs),
        *(np.zeros(jobs, np.int64) for _ in range(2)),
        np.zeros(states),
        np.zeros(levels),
        np.zeros(steps),
    )
