"""The work of a past season: crews carried from day to day, also when machines change crews."""

from __future__ import annotations

from datetime import timedelta

import numpy as np

from scheduler.cut_tables.compile import FarmWork, compile_work
from scheduler.cut_tables.crew_makeup import MakeUp, own_makeup
from scheduler.farm.slots import SLOT_MIN
from scheduler.field_work.kernel import run_slots
from scheduler.field_work.play import empty_log
from scheduler.field_work.policy import Policy
from scheduler.field_work.state import WorkState, first_state
from scheduler.field_work.tables import Float
from scheduler.simulation.past_season import PastSeason

SLOTS_DAY = 24 * 60 // SLOT_MIN


class SeasonWork:
    """Field work in the observed weather of a past season, day by day.

    The state of a crew stays with its name. A crew that machines leave keeps what is on its carts
    and trucks until it works again.
    """

    def __init__(self, past: PastSeason) -> None:
        self.past = past
        end = past.morning(past.days)
        self.own_makeup = own_makeup(past.farm, past.morning(0), end - timedelta(minutes=1))
        self._compiled: dict[str, FarmWork] = {}
        self._state: WorkState | None = None
        self._crews: tuple[str, ...] = ()
        self._place: dict[str, int] = {}
        self._held: dict[str, tuple[Float, Float]] = {}
        tables = self.work(self.own_makeup).tables
        self._ended = np.full(tables.shape[2], np.nan)
        self._lost = 0.0
        self.left: Float = tables.area.copy()
        self.room: Float = tables.room.copy()

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
        return {crew: j for crew, j in self._place.items() if j < len(self.left)}

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
        start = np.stack([policy.start[0], policy.start[0]])
        arrays = policy.arrays._replace(
            start=start.astype(np.float32), stop=(start + policy.stop_margin).astype(np.float32)
        )
        slots = (day * SLOTS_DAY, min((day + 1) * SLOTS_DAY, tables.shape[4]))
        run_slots(tables.arrays, state, arrays, empty_log(), slots, (0, 1))
        self.left, self.room = state.left[0].copy(), state.room[0].copy()
        self._lost, self._ended = float(state.lost[0]), state.ended[0].copy()
        for k, crew in enumerate(self._crews):
            self._place[crew] = int(state.place[0, k])
            self._held[crew] = state.held[0, k].copy(), state.held_rate[0, k].copy()

    def _state_of(self, makeup: MakeUp) -> WorkState:
        """State of the work with the crews of a make-up."""
        crews = tuple(machines.crew for machines in makeup)
        if self._state is None or crews != self._crews:
            state = first_state(self.work(makeup).tables)
            state.left[0], state.room[0], state.lost[0] = self.left, self.room, self._lost
            state.ended[0] = self._ended
            for k, crew in enumerate(crews):
                state.place[0, k] = self._place.get(crew, len(self.left))
                if crew in self._held:
                    state.held[0, k], state.held_rate[0, k] = self._held[crew]
            self._state, self._crews = state, crews
        return self._state
