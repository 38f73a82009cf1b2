"""The clock of one crew in one member, read from the log of the work, in minutes.

The log tells in which slots a crew cuts; the minutes between follow from the moves. Times are
rounded to `GRID_MIN` so that they still obey arithmetic: a crew leaves no earlier than it is done,
and starts no earlier than it has left and moved.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from scheduler.field_work.play import Cuts, Outcome
from scheduler.field_work.tables import Bool, WorkTables
from scheduler.orders.decision import Decision

#: Minutes that printed times are multiples of; assumed: nobody sets off by the minute.
GRID_MIN = 5.0
#: Rounding error of minutes, min.
TINY_MIN = 1e-6


@dataclass(frozen=True, kw_only=True)
class Run:
    """A crew's work in one job without another job between, on one day; minutes from slot 0.

    Attributes
    ----------
    job, origin : job, and the job that the crew comes from; the number of jobs for the place where
        it began. The same where the crew stands there already.
    earliest : minute at which the crew could be there.
    leave, start, until : minutes.
    move : minutes on the way, the nights not counted.
    finished : whether the job is finished at `until`.
    cuts : what is cut in it.
    """

    job: int
    origin: int
    earliest: float
    leave: float
    move: float
    start: float
    until: float
    finished: bool
    cuts: Cuts


def crew_runs(tables: WorkTables, outcome: Outcome, k: int, member: int) -> list[Run]:
    """The runs of crew `k` in a member, in order of time.

    A crew that gets to a field within `GRID_MIN` of the end of its hours begins there later; where
    it never comes back, rounding takes the minutes from its stay in the field before.
    """
    minutes = tables.slot_min
    free = tables.works[k] & tables.road
    runs: list[Run] = []
    at, done = tables.shape[2], 0.0
    every = list(_cuts(tables, outcome, k, member))
    later = [int(cuts.job[0]) for cuts in every]
    for n, cuts in enumerate(every):
        job, first, last = int(cuts.job[0]), int(cuts.slot[0]), int(cuts.slot[-1])
        move = 0.0 if at == job else float(tables.move[k, at, job])
        earliest = arrival(done, move, free, minutes)
        start = max(first * minutes, earliest)
        if (last + 1) * minutes - start < GRID_MIN and job in later[n + 1 :]:
            continue
        leave = max(done, _down(departure(start, move, free, minutes)))
        begin = _up(start)
        ended = float(outcome.state.ended[member, job])
        finished = last < ended <= last + 1
        until = max(_up((ended if finished else last + 1) * minutes), begin + GRID_MIN)
        end = (last + 1) * minutes
        works_on = last + 1 < len(free) and tables.works[k, last + 1]
        if until > end and not works_on:
            sooner = _down(departure(end - GRID_MIN, move, free, minutes))
            fits = arrival(sooner, move, free, minutes) <= end - GRID_MIN + TINY_MIN
            if fits and (sooner >= done or (runs and sooner > runs[-1].start)):
                begin, until, leave = end - GRID_MIN, end, sooner
                if sooner < done:
                    runs[-1] = replace(runs[-1], until=sooner)
        runs.append(
            Run(
                job=job,
                origin=at,
                earliest=earliest,
                leave=leave,
                move=move,
                start=begin,
                until=until,
                finished=finished,
                cuts=cuts,
            )
        )
        at, done = job, until
    return runs


#: The runs of a crew in a member.
RunsOfMember = Callable[[int, int], list[Run]]


def runs_by_member(decision: Decision) -> RunsOfMember:
    """The runs of each crew in each member, made when asked for."""
    return cache(lambda k, m: crew_runs(decision.work.tables, decision.outcome, k, m))


def end_minute(decision: Decision, runs: Sequence[Run], j: int, member: int) -> float:
    """Minute at which job `j` is finished in a member, with the last of its `runs` over.

    The end of the horizon where the job is not finished.
    """
    tables = decision.work.tables
    ended = float(decision.outcome.state.ended[member, j])
    if math.isnan(ended):
        return tables.shape[4] * tables.slot_min
    mine = [run for run in runs if run.job == j]
    if mine and mine[-1].finished:
        return mine[-1].until
    return max(_up(ended * tables.slot_min), *(run.until for run in mine))


def arrival(leave: float, move: float, free: Bool, slot_min: float) -> float:
    """Minute of arrival after `move` minutes in slots in which the crew may be on the road."""
    t, left = leave, move
    while left > TINY_MIN:
        s = int(t // slot_min)
        if s >= len(free):
            return t + left
        end = (s + 1) * slot_min
        if free[s]:
            step = min(left, end - t)
            t, left = t + step, left - step
        else:
            t = end
    return t


def departure(start: float, move: float, free: Bool, slot_min: float) -> float:
    """Latest minute to leave for being there at `start`; 0 at the earliest."""
    t, left = start, move
    while left > TINY_MIN and t > 0.0:
        s = math.ceil(t / slot_min - TINY_MIN) - 1
        begin = s * slot_min
        if s < len(free) and free[s]:
            step = min(left, t - begin)
            t, left = t - step, left - step
        else:
            t = begin
    return t


def _cuts(tables: WorkTables, outcome: Outcome, k: int, member: int) -> Iterator[Cuts]:
    """The cuts of each run of crew `k`; a night ends a run."""
    every = outcome.cuts
    mine = every.at((every.member == member) & (every.crew == k))
    job, slot = mine.job, mine.slot
    same_job = job[1:] == job[:-1]
    same_day = tables.day[slot[1:]] == tables.day[slot[:-1]]
    ends: NDArray[np.bool_] = ~(same_job & (same_day | (slot[1:] == slot[:-1] + 1)))
    for part in np.split(np.arange(len(slot)), np.flatnonzero(ends) + 1):
        if part.size:
            yield mine.at(part)


def _up(minute: float) -> float:
    """The minute rounded up to the grid."""
    return math.ceil(minute / GRID_MIN - TINY_MIN) * GRID_MIN


def _down(minute: float) -> float:
    """The minute rounded down to the grid."""
    return math.floor(minute / GRID_MIN + TINY_MIN) * GRID_MIN
