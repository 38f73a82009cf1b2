"""The work of a past season: crews carried from day to day, also when machines change crews."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np

from scheduler.farm.slots import SLOT_MIN
from scheduler.field_work.kernel import mean_haul, run_slots
from scheduler.field_work.play import empty_log
from scheduler.field_work.policy import Policy
from scheduler.field_work.state import WorkState, first_state
from scheduler.field_work.tables import Float
from scheduler.simulation.past_season import PastSeason
from scheduler.work_tables.compile import FarmWork, compile_work
from scheduler.work_tables.crew_makeup import MakeUp, own_makeup

SLOTS_DAY = 24 * 60 // SLOT_MIN


@dataclass(frozen=True, kw_only=True)
class _CrewState:
    """State of a crew between two days; as in `WorkState`.

    `trucks` are ids; `full_haul` (point,) is what these trucks haul, t/h, summed over all fields.
    """

    place: int
    job: int
    moving: float
    held: Float
    held_rate: Float
    trucks: tuple[str, ...]
    full_haul: Float


class SeasonWork:
    """Field work in the observed weather of a past season, day by day.

    The state of a crew stays with its name. Grain on carts and trucks stays with its crew; when
    all combines leave a crew, its grain goes to the crew that gets the first of its trucks, else
    to the first crew. A crew that is formed again begins where it last stood.

    Attributes
    ----------
    left : (field,), ha still standing.
    room : (point,), t of wheat that the points still take.
    cutting_h, waiting_h : hours of all crews, counted in slots, in which they cut, and in which
        they stand at a shut field while another field can be cut.
    """

    def __init__(self, past: PastSeason) -> None:
        self.past = past
        end = past.morning(past.days)
        self.own_makeup = own_makeup(past.farm, past.morning(0), end - timedelta(minutes=1))
        self._compiled: dict[str, FarmWork] = {}
        self._crews: dict[str, _CrewState] = {}
        tables = self.work(self.own_makeup).tables
        self._ended = np.full(tables.shape[2], np.nan)
        self._lost = 0.0
        self.left: Float = tables.area.copy()
        self.room: Float = tables.room.copy()
        self._queue, self._to_dry = np.zeros_like(self.room), np.zeros_like(self.room)
        self.cutting_h = self.waiting_h = 0.0

    def work(self, makeup: MakeUp) -> FarmWork:
        """Work tables of the observed weather for a make-up."""
        key = repr(makeup)
        if key not in self._compiled:
            places = ["base"] * len(makeup)
            self._compiled[key] = compile_work(self.past.standing_loss, makeup, places=places)
        return self._compiled[key]

    @property
    def done(self) -> bool:
        """Whether nothing stands."""
        return bool((self.left <= 1e-9).all())

    @property
    def places(self) -> dict[str, int]:
        """Field where each crew stands, by crew; crews at the base are not named."""
        return {crew: s.place for crew, s in self._crews.items() if s.place < len(self.left)}

    @property
    def on_board(self) -> dict[str, Float]:
        """Grain on the carts and trucks of each crew, t, (point,)."""
        return {crew: s.held for crew, s in self._crews.items()}

    @property
    def loss(self) -> float:
        """Money lost on what is cut, and by leaving the rest."""
        leave = self.past.standing_loss.leave_cost
        return self._lost + float(leave @ (self.left / self._area))

    @property
    def ended(self) -> tuple[int, ...]:
        """Day on which each field was finished, 0 for the first morning; -1 where it is not."""
        return tuple(-1 if np.isnan(s) else int(np.ceil(s) - 1) // SLOTS_DAY for s in self._ended)

    @property
    def _area(self) -> Float:
        """Area of each field at the start, (field,)."""
        return np.array([job.area_ha for job in self.past.standing_loss.jobs])

    def work_day(self, makeup: MakeUp, policy: Policy, day: int) -> None:
        """Work from one morning to the next by a policy whose first day is this one."""
        tables = self.work(makeup).tables
        state = self._state_of(makeup)
        # the tables begin with the season: today's start moistures must hold on a later day too
        today = replace(policy, start=np.stack([policy.start[0], policy.start[0]]))
        log = empty_log(tables)
        for s in range(day * SLOTS_DAY, min((day + 1) * SLOTS_DAY, tables.shape[4])):
            waited = state.waited.copy()
            run_slots(tables.arrays, state, today.arrays, log, (s, s + 1), (0, 1))
            self.waiting_h += int((state.waited > waited).sum()) * SLOT_MIN / 60
        self.cutting_h += int((log.job >= 0).any(axis=3).sum()) * SLOT_MIN / 60
        self.left, self.room = state.left[0].copy(), state.room[0].copy()
        self._queue, self._to_dry = state.queue[0].copy(), state.to_dry[0].copy()
        self._lost, self._ended = float(state.lost[0]), state.ended[0].copy()
        for k, machines in enumerate(makeup):
            self._crews[machines.crew] = _CrewState(
                place=int(state.place[0, k]),
                job=int(state.job[0, k]),
                moving=float(state.moving[0, k]),
                held=state.held[0, k].copy(),
                held_rate=state.held_rate[0, k].copy(),
                trucks=tuple(t.id for t in machines.trucks),
                full_haul=tables.full_haul[k].sum(axis=0),
            )

    def _state_of(self, makeup: MakeUp) -> WorkState:
        """State of the work in the morning with the crews of a make-up."""
        tables = self.work(makeup).tables
        state = first_state(tables)
        state.left[0], state.room[0], state.lost[0] = self.left, self.room, self._lost
        state.ended[0], state.queue[0], state.to_dry[0] = self._ended, self._queue, self._to_dry
        crews = [machines.crew for machines in makeup]
        for k, crew in enumerate(crews):
            if crew in self._crews:
                old = self._crews[crew]
                state.place[0, k], state.job[0, k] = old.place, old.job
                state.moving[0, k] = old.moving
        for crew, old in self._crews.items():
            k = crews.index(crew) if crew in crews else _heir(makeup, old.trucks)
            _load(state, k, old, tables.full_haul[k].sum(axis=0))
            if crew not in crews:
                self._crews[crew] = replace(old, job=-1, moving=0.0, held=np.zeros(len(old.held)))
        return state


def _heir(makeup: MakeUp, trucks: tuple[str, ...]) -> int:
    """Number of the crew that gets the first of some trucks that a crew gets; 0 without one."""
    for truck in trucks:
        for k, machines in enumerate(makeup):
            if truck in {t.id for t in machines.trucks}:
                return k
    return 0


def _load(state: WorkState, k: int, old: _CrewState, full_haul: Float) -> None:
    """Put a crew's grain on the trucks of crew k, which haul it at their own rate."""
    for q in np.flatnonzero(old.held > 0.0).tolist():
        tonnes, rate = float(old.held[q]), float(old.held_rate[q])
        if old.full_haul[q] > 0.0:
            rate *= float(full_haul[q] / old.full_haul[q])
        before = float(state.held[0, k, q])
        state.held_rate[0, k, q] = mean_haul(before, float(state.held_rate[0, k, q]), tonnes, rate)
        state.held[0, k, q] = before + tonnes
