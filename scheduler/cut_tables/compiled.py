"""Cut tables with the facts that turn a plan back into fields, delivery points and kilometres."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array
from scheduler.costs.machine_rates import HEADLAND_FACTOR, MachinesUp, Rates
from scheduler.costs.standing_loss import Job, StandingLoss
from scheduler.cut_tables.crew_makeup import MakeUp
from scheduler.cut_tables.cutting import slot_tonnes
from scheduler.farm.model import Farm, Field
from scheduler.farm.slots import SLOT_MIN, BoolArray
from scheduler.solver.tables import CutTables


@dataclass(frozen=True, kw_only=True)
class Compiled:
    """Cut tables of one make-up and their sources.

    Attributes
    ----------
    tables : the integers that the solver sees.
    standing_loss : the season in slots and money.
    makeup : machines of each crew.
    can : (member, crew, job, slot), the crew cuts in the slot.
    point : (member, crew, job, slot), index into `farm.points` of the slot's delivery; -1 if none.
    rates : `rates[crew][job]`, by point that the job may be delivered to.
    up : machines of each crew that are up, by slot.
    arrive : (crew, job, slot), slot at which work can begin after an arrival.
    move_km : (crew, job + 1, job), the last row from where the crew stands.
    """

    tables: CutTables
    standing_loss: StandingLoss
    makeup: MakeUp
    can: BoolArray
    point: NDArray[np.int16]
    rates: tuple[list[dict[int, Rates]], ...]
    up: tuple[MachinesUp, ...]
    arrive: NDArray[np.int32]
    move_km: Array

    @property
    def farm(self) -> Farm:
        """The farm as it stands."""
        return self.standing_loss.farm

    @property
    def jobs(self) -> tuple[Job, ...]:
        """Fields and parcels, in the order of the tables."""
        return self.standing_loss.jobs

    def field(self, j: int) -> Field:
        """The field of a job."""
        return self.standing_loss.field(j)

    def main_rates(self, k: int, j: int) -> Rates | None:
        """Rates of a crew with a job's most frequent delivery point; None if it never cuts it."""
        points = self.point[:, k, j][self.can[:, k, j]]
        return self.rates[k][j][int(np.bincount(points).argmax())] if points.size else None

    def slot_t(self, k: int, j: int, slot: int, on_board: float) -> tuple[float, float]:
        """Tonnes that a crew can cut of a job in a slot of the first member, and that trucks haul.

        `on_board` is the grain in carts and trucks, t. The recurrence is that of the tables.
        """
        q = int(self.point[0, k, j, slot])
        rates, step = self.rates[k][j][q], SLOT_MIN / 60.0
        combine, cart, haul = (float(rate[0]) for rate in rates.by_slot(self.up[k].at(slot)))
        if not self.standing_loss.point_open[q, slot]:
            haul = 0.0
        if self.standing_loss.headland_only[0, self.jobs[j].row, slot]:
            combine *= HEADLAND_FACTOR
        most = slot_tonnes(combine, cart, rates.buffer, on_board, haul * step, step)
        return max(0.0, most), haul * step
