"""State of crews and fields between two slots, in every member."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from scheduler.field_work.tables import Float, Int, WorkTables


class WorkState(NamedTuple):
    """State of the work, changed in place as it goes on; arrays begin with the axis member.

    Attributes
    ----------
    left : (member, job), ha still standing.
    lost : (member,), money lost on the grain cut so far.
    place : (member, crew), the job where the crew stands or goes to; the number of jobs for the
        place where it began.
    job : (member, crew), the job that the crew works on; -1 without one.
    moving : (member, crew), min of its move still to come.
    waited : (member, crew), min waited at a shut job while another could be cut.
    cutting : (member, crew), the crew cut in the last slot.
    today : (member, crew), ordinal of the day on which the crew last decided in the morning.
    held : (member, crew, point), t on carts and trucks for each delivery point.
    held_rate : (member, crew, point), t/h at which all trucks haul this grain, a harmonic mean
        over its fields.
    room : (member, point), t of wheat that the points still take.
    queue : (member, point), t of wheat that waits for the dryer.
    to_dry : (member, point), water that the dryer has to take out of it, t of wheat times points.
    ended : (member, job), slot at which the job was finished, in slots and parts of it; NaN
        where it is not.
    """

    left: Float
    lost: Float
    place: Int
    job: Int
    moving: Float
    waited: Float
    cutting: NDArray[np.bool_]
    today: Int
    held: Float
    held_rate: Float
    room: Float
    queue: Float
    to_dry: Float
    ended: Float

    def copy(self) -> WorkState:
        """The same state in new arrays."""
        return WorkState(**{name: part.copy() for name, part in self._asdict().items()})


def first_state(tables: WorkTables) -> WorkState:
    """State at the first slot: nothing cut, empty carts, crews at their places."""
    members, crews, jobs, points, _ = tables.shape
    return WorkState(
        left=np.repeat(tables.area[None], members, axis=0),
        lost=np.zeros(members),
        place=np.full((members, crews), jobs, np.int64),
        job=np.full((members, crews), -1, np.int64),
        moving=np.zeros((members, crews)),
        waited=np.zeros((members, crews)),
        cutting=np.zeros((members, crews), np.bool_),
        today=np.full((members, crews), -1, np.int64),
        held=np.zeros((members, crews, points)),
        held_rate=np.zeros((members, crews, points)),
        room=np.repeat(tables.room[None], members, axis=0),
        queue=np.zeros((members, points)),
        to_dry=np.zeros((members, points)),
        ended=np.full((members, jobs), np.nan),
    )
