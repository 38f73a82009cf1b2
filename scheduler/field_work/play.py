"""A policy played on work tables: losses, what stays uncut, and the log of the cutting."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from scheduler.field_work.kernel import run_slots
from scheduler.field_work.policy import Policy
from scheduler.field_work.state import WorkState, first_state
from scheduler.field_work.tables import Bool, Float, Int, WorkTables

#: Jobs that a crew may cut, or go to, in one slot; a third must wait for the next slot.
ENTRIES = 3


class WorkLog(NamedTuple):
    """What each crew cut in each slot; arrays (member, crew, slot, entry), without members if off.

    Attributes
    ----------
    job : int16, -1 for none.
    area : float32, ha.
    point : int8, delivery point of the grain.
    entries : jobs that a crew may cut in a slot.
    """

    job: NDArray[np.int16]
    area: NDArray[np.float32]
    point: NDArray[np.int8]
    entries: int


@dataclass(frozen=True, kw_only=True)
class Cuts:
    """What a log holds, as arrays (cut,): an entry for each job of a crew in a slot of a member.

    `member`, `crew`, `slot`, `job` and `point` are indices; `area` is in ha. Entries stand in the
    order of member, crew and slot.
    """

    member: Int
    crew: Int
    slot: Int
    job: Int
    point: Int
    area: Float

    def at(self, picked: Bool | Int) -> Cuts:
        """Those of the cuts that are picked, (cut,)."""
        return Cuts(**{name: values[picked] for name, values in vars(self).items()})


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """Outcome of a policy.

    Attributes
    ----------
    loss : (member,), money lost on the grain cut, and by leaving the rest.
    state : state after the last slot.
    log : what was cut when; without members if it was not asked for.
    """

    loss: Float
    state: WorkState
    log: WorkLog

    @cached_property
    def cuts(self) -> Cuts:
        """The log without its empty entries."""
        at = member, crew, slot, _entry = np.nonzero(self.log.job >= 0)
        return Cuts(
            member=member,
            crew=crew,
            slot=slot,
            job=self.log.job[at].astype(np.int64),
            point=self.log.point[at].astype(np.int64),
            area=self.log.area[at].astype(np.float64),
        )


def empty_log(tables: WorkTables | None = None) -> WorkLog:
    """A log to fill; without tables one that records nothing."""
    shape = (0, 0, 0, ENTRIES)
    if tables is not None:
        members, crews, _, _, slots = tables.shape
        shape = (members, crews, slots, ENTRIES)
    return WorkLog(
        np.full(shape, -1, np.int16), np.zeros(shape, np.float32), np.zeros(shape, np.int8), ENTRIES
    )


def play(tables: WorkTables, policy: Policy, *, log: bool = False) -> Outcome:
    """Play a policy over all slots; with `log`, record what is cut when."""
    state = first_state(tables)
    record = empty_log(tables if log else None)
    run_slots(
        tables.arrays, state, policy.arrays, record, (0, tables.shape[4]), (0, tables.shape[0])
    )
    return Outcome(loss=total_loss(tables, state), state=state, log=record)


def total_loss(tables: WorkTables, state: WorkState) -> Float:
    """Money lost so far, and by leaving what stands, (member,)."""
    return np.asarray(state.lost + state.left @ (tables.leave_cost / tables.area))
