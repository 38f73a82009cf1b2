"""Why a crew cuts nothing on a day on which some field is open."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, time, timedelta

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array, Weather
from readiness.season.codes import Reason
from readiness.season.simulate import Season
from scheduler.explanation.closed_hours import idle_note
from scheduler.explanation.timing import finish_days, first_hour, slot_time
from scheduler.orders.decision import Decision
from scheduler.orders.reasons import Barred, IdleNote

#: Room below which a delivery point is full, t of wheat. Assumed, because sums of cuts leave less
#: than a kilogram of rounding. It decides whether a full point is named as the cause.
TINY_T = 1e-3


def note_tomorrow(
    decision: Decision,
    season: Season,
    sky: Weather,
    *,
    jobs: Sequence[int],
    crew: int,
    member: int,
) -> IdleNote:
    """Why crew `crew` cuts none of its `jobs` tomorrow in a member.

    `season` is closed in hours in which no delivery point takes the grain; `sky` is the weather of
    its hours.
    """
    farm, now = decision.work.farm, slot_time(decision.work, 0)
    begin, until = (
        datetime.combine(now.date() + timedelta(days=d), time(0), farm.tz) for d in (1, 2)
    )
    found = idle_note(farm, season, sky, now=begin, until=until)
    note = replace(found, tomorrow=True, opens=None)
    if note.closed_by is not None:
        return note
    return with_own_cause(note, decision, season, jobs=jobs, crew=crew, member=member)


def with_own_cause(
    note: IdleNote,
    decision: Decision,
    season: Season,
    *,
    jobs: Sequence[int],
    crew: int,
    member: int,
) -> IdleNote:
    """The note with what keeps the crew itself from cutting on the note's day in a member.

    The first of these: it is off; its combines are down; the points that take its grain are shut
    all day, or full; its own fields are closed; it waits for drier grain.
    """
    tables = decision.work.tables
    day = int(tables.day[0]) + note.tomorrow
    works = tables.works[crew] & (tables.day == day)
    if not works.any():
        return replace(note, barred=Barred.OFF)
    if not (tables.cut_rate[crew, tables.machines[crew, works]] > 0.0).any():
        return replace(note, barred=Barred.NO_COMBINE)
    left = [j for j in jobs if finish_days(decision, j)[member] >= day]
    if left and not _some_point_takes(decision, left, crew=crew, member=member, day=day):
        return replace(note, barred=Barred.NO_POINT)
    if (closed := _own_fields_closed(decision, season, left, member, works)) is not None:
        return replace(note, closed_by=closed)
    return replace(note, waits_pct=_start_waited_for(decision, left, member, works, note.tomorrow))


def _some_point_takes(
    decision: Decision, jobs: Sequence[int], *, crew: int, member: int, day: int
) -> bool:
    """Whether a point that takes the grain of a job opens on the day and then has room."""
    tables = decision.work.tables
    opens = tables.point_open[:, tables.day == day].any(axis=1)
    room = tables.room - _brought_before(decision, member, day)
    return bool((tables.accepts[crew, jobs] & opens & (room > TINY_T)).any())


def _brought_before(decision: Decision, member: int, day: int) -> Array:
    """Grain cut for each point before the day in a member, (point,), t of wheat."""
    tables, cuts = decision.work.tables, decision.outcome.cuts
    of = cuts.at((cuts.member == member) & (tables.day[cuts.slot] < day))
    wheat = of.area * tables.yield_t[of.job] * tables.room_factor[of.job]
    return np.asarray(np.bincount(of.point, wheat, len(tables.room)), np.float64)


def _own_fields_closed(
    decision: Decision,
    season: Season,
    jobs: Sequence[int],
    member: int,
    works: NDArray[np.bool_],
) -> Reason | None:
    """What closes most of the crew's hours to its jobs; None where one of them is open."""
    work = decision.work
    if not jobs or np.isfinite(work.tables.wet[member][works][:, jobs]).any():
        return None
    hours = first_hour(work, season) + np.unique(work.standing_loss.hour[works])
    codes = season.reason[member, [work.jobs[j].row for j in jobs]][:, hours]
    shut = codes[codes != Reason.OPEN]
    return Reason(int(np.bincount(shut).argmax())) if shut.size else None


def _start_waited_for(
    decision: Decision,
    jobs: Sequence[int],
    member: int,
    works: NDArray[np.bool_],
    tomorrow: bool,
) -> float | None:
    """Start moisture of the first job that is open, and wetter than that; None for none."""
    for j in jobs:
        start = decision.policy.start[int(tomorrow), j]
        wet = decision.work.tables.wet[member, works, j]
        taken = decision.work.farm.wettest_taken(decision.work.field(j).crop)
        if start < taken and (np.isfinite(wet) & (wet > start)).any():
            return float(start)
    return None
