"""Times of each crew's fields in every member, read from the log of the work."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array
from readiness.season.simulate import Season
from scheduler.farm.slots import SLOT_MIN, farm_time
from scheduler.field_work.play import Cuts
from scheduler.orders.decision import Decision
from scheduler.orders.model import Spread, TimeSpread
from scheduler.work_tables.compile import FarmWork

#: Share of members from which the median member gets a job done.
MEDIAN_DONE = 0.5
#: What it counts that a crew begins with a field that it begins with in no other member, today and
#: tomorrow, against a time that is off by as much as its median; assumed: large, because the first
#: field of today is what a crew reads.
UNLIKE_OTHERS = (20.0, 8.0)
DAY_SLOTS = 24 * 60 // SLOT_MIN
#: Rounding error of the end of a job: a job that ends with a slot ends in it.
TINY_SLOTS = 1e-6


@dataclass(frozen=True, kw_only=True)
class Timing:
    """Slots of one job with one crew, (member,); NaN where the crew does not cut it.

    `end` is the slot at which the job is finished, by whichever crew; NaN where it is not.
    """

    begin: Array
    end: Array
    moisture: Array  # mean over what is cut, percent
    edge: Array  # share cut while carts stay at the edge
    cuts: Cuts


def cuts_of(decision: Decision, k: int, j: int) -> Cuts:
    """What crew `k` cuts of job `j` in all members."""
    cuts = decision.outcome.cuts
    return cuts.at((cuts.crew == k) & (cuts.job == j))


def timing(decision: Decision, k: int, j: int) -> Timing:
    """Time job `j` with crew `k` in every member."""
    work, cuts = decision.work, cuts_of(decision, k, j)
    members = len(decision.outcome.loss)
    row, hour = work.jobs[j].row, work.standing_loss.hour[cuts.slot]
    total = np.bincount(cuts.member, cuts.area, members)

    def mean(values: Array) -> Array:
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.asarray(np.bincount(cuts.member, cuts.area * values, members) / total)

    first = np.full(members, np.inf)
    np.minimum.at(first, cuts.member, cuts.slot)
    cut = np.isfinite(first)
    return Timing(
        begin=np.where(cut, first, np.nan),
        end=np.where(cut, decision.outcome.state.ended[:, j], np.nan),
        moisture=mean(work.standing_loss.moisture[cuts.member, row, hour]),
        edge=mean(work.tables.edge[cuts.member, cuts.slot, j].astype(np.float64)),
        cuts=cuts,
    )


def finish_days(decision: Decision, j: int) -> Array:
    """Ordinal of the day on which a job is finished, (member,); infinite where it is not."""
    ended = decision.outcome.state.ended[:, j]
    last_slot = (np.nan_to_num(ended, nan=1.0) - TINY_SLOTS).astype(int)
    return np.where(np.isfinite(ended), decision.work.tables.day[last_slot], np.inf)


def slot_time(work: FarmWork, slot: float) -> datetime:
    """Farm time of a slot; fractions and the end of the horizon are allowed."""
    return minute_time(work, round(float(slot) * SLOT_MIN))


def minute_time(work: FarmWork, minute: float) -> datetime:
    """Farm time of a minute from the first slot."""
    first = farm_time(work.standing_loss.slots[0], work.farm.tz).astimezone(UTC)
    return (first + timedelta(minutes=minute)).astimezone(work.farm.tz)


def spread(values: Array) -> Spread:
    """10th, 50th and 90th percentile over the members that have a value."""
    low, mid, high = np.nanpercentile(values, [10, 50, 90], method="inverted_cdf")
    return Spread(low=float(low), mid=float(mid), high=float(high))


def member_shown(when: Timing, usual: int) -> int:
    """The member whose times of a job are shown.

    Member `usual`, unless the crew does not cut the job there: then the member, of those that also
    finish it, with the median begin.
    """
    if np.isfinite(when.begin[usual]):
        return usual
    both = np.isfinite(when.begin) & np.isfinite(when.end)
    begin = np.where(both, when.begin, np.nan) if both.any() else when.begin
    return int(np.nanargmin(np.abs(begin - spread(begin).mid)))


def time_spread(work: FarmWork, values: Array, shown: int) -> TimeSpread:
    """10th and 90th percentile of slots, as farm times, around the time in member `shown`.

    Members without a value do not count, but where `shown` is one its time is the horizon's end.
    """
    end = float(len(work.standing_loss.slots))
    mid = values[shown] if np.isfinite(values[shown]) else end
    s = spread(values) if np.isfinite(values).any() else Spread(low=mid, mid=mid, high=mid)
    low, high = min(s.low, mid), max(s.high, mid)
    return TimeSpread(
        low=slot_time(work, low), mid=slot_time(work, mid), high=slot_time(work, high)
    )


def around(mid: datetime, times: TimeSpread) -> TimeSpread:
    """The 10th and 90th percentile of `times` around another middle time."""
    return TimeSpread(low=min(times.low, mid), mid=mid, high=max(times.high, mid))


def usual_member(decision: Decision) -> int:
    """The member whose clock times are printed, all of them, so that they obey arithmetic.

    Its crews begin today and tomorrow with the fields, or with none, as in many members, and its
    times are near the medians, most for the fields that begin first.
    """
    members = len(decision.outcome.loss)
    away = np.zeros(members)
    for k in range(len(decision.work.makeup)):
        for j in range(len(decision.work.jobs)):
            begin = timing(decision, k, j).begin
            if np.isfinite(begin).mean() >= MEDIAN_DONE:
                filled = np.where(np.isfinite(begin), begin, len(decision.work.standing_loss.slots))
                middle = np.median(filled)
                away += np.abs(filled - middle) / (DAY_SLOTS + middle)
    day = decision.work.tables.day
    for ahead, weight in enumerate(UNLIKE_OTHERS):
        first = first_fields(decision, day == day[0] + ahead)
        alike = (first[:, None] == first).mean(axis=1)  # (member, crew)
        away += weight * (1.0 - alike).sum(axis=1)
    return int(away.argmin())


def first_fields(decision: Decision, slots: NDArray[np.bool_]) -> NDArray[np.int64]:
    """The job that each crew cuts first in some slots, (member, crew); -1 where it cuts none."""
    cuts, (members, crews, *_) = decision.outcome.cuts, decision.work.tables.shape
    out = np.full(members * crews, -1)
    within = cuts.at(slots[cuts.slot])  # in the order of time
    cell, first = np.unique(within.member * crews + within.crew, return_index=True)
    out[cell] = within.job[first]
    return out.reshape(members, crews)


def first_hour(work: FarmWork, season: Season) -> int:
    """Hour of the season that holds the first slot."""
    return int((work.standing_loss.slots[0].astype("datetime64[h]") - season.start).astype(int))
