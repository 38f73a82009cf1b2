"""Closed-form timeliness cost of a past season, beside the simulated loss (ASABE EP496)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduler.costs.grain_value import best_revenue_ha, loss_terms
from scheduler.costs.standing_loss import wet_yield
from scheduler.costs.timeliness import least_cost_capacity, timeliness_cost
from scheduler.farm.working_time import crew_slots
from scheduler.simulation.past_season import PastSeason
from scheduler.simulation.season_work import SeasonWork
from scheduler.simulation.workable_days import WORKABLE_H
from scheduler.work_tables.compile import FarmWork


@dataclass(frozen=True, kw_only=True)
class TimelinessInputs:
    """Inputs of the closed form for one season.

    Attributes
    ----------
    area
        Area of all fields, ha.
    capacity
        Capacity of all crews, ha/h.
    loss_day
        Share of the crop's value lost for each day of delay.
    value_ha
        Value of the crop, money/ha.
    hours_day
        Hours worked on a working day.
    working_share
        Share of days that are working days.
    """

    area: float
    capacity: float
    loss_day: float
    value_ha: float
    hours_day: float
    working_share: float

    def cost(self) -> float:
        """Timeliness cost of a year in which all work begins as the crop is ripe, money.

        NaN without a working day.
        """
        if not self.hours_day * self.working_share > 0:
            return float("nan")
        return timeliness_cost(
            self.area,
            self.capacity,
            loss_day=self.loss_day,
            yield_=1.0,
            value=self.value_ha,
            hours_day=self.hours_day,
            working_share=self.working_share,
        )

    def least_cost(self, *, own_share: float, price: float, labour_hour: float) -> float:
        """Least-cost capacity, ha/h; see `timeliness.least_cost_capacity`."""
        return least_cost_capacity(
            self.area,
            own_share=own_share,
            price_per_capacity=price,
            labour_hour=labour_hour,
            loss_day=self.loss_day,
            yield_=1.0,
            value=self.value_ha,
            hours_day=self.hours_day,
            working_share=self.working_share,
        )


def timeliness_inputs(past: PastSeason) -> TimelinessInputs:
    """Inputs of the closed form, with the hours and the working days of a season."""
    farm = past.farm
    area = np.array([f.area_ha for f in farm.fields])
    no_deliveries = {p.id: 0.0 for p in farm.points}
    value = np.array([best_revenue_ha(farm, f, no_deliveries) for f in farm.fields])
    loss = np.array([loss_terms(farm, f)["shatter_day"] for f in farm.fields])
    hours = _crew_hours(past)
    working = hours >= WORKABLE_H
    return TimelinessInputs(
        area=float(area.sum()),
        capacity=capacity_ha_h(_own_work(past)),
        loss_day=float((area * value) @ loss / (area @ value)),
        value_ha=float(area @ value / area.sum()),
        hours_day=float(hours[working].mean()) if working.any() else 0.0,
        working_share=float(working.mean()),
    )


def _crew_hours(past: PastSeason) -> NDArray[np.float64]:
    """Hours of each day, from morning to morning, with an open field and a crew at work.

    Returns (field, day).
    """
    standing_loss = past.standing_loss
    crews = past.farm.crews
    at_work = np.any([crew_slots(c, standing_loss.slots, past.farm.tz) for c in crews], axis=0)
    fields = standing_loss.field_open.shape[1]
    by_day = (standing_loss.field_open[0] & at_work).reshape(fields, past.days, -1)
    return np.asarray(by_day.sum(axis=2) * 24.0 / by_day.shape[2])


def _own_work(past: PastSeason) -> FarmWork:
    """Work tables of the farm's own make-up."""
    work = SeasonWork(past)
    return work.work(work.own_makeup)


def capacity_ha_h(work: FarmWork) -> float:
    """Cutting rate of all crews together, ha/h, averaged over the area of the farm.

    Each crew delivers to the point with the highest rate.
    """
    total = 0.0
    for k in range(len(work.makeup)):
        best = [
            max((r.t_h for r in work.rates[k][j].values()), default=0.0)
            for j in range(len(work.jobs))
        ]
        rated = [j for j, t_h in enumerate(best) if t_h > 0]
        area = np.array([work.jobs[j].area_ha for j in rated])
        speed = np.array([best[j] / wet_yield(work.field(j)) for j in rated])
        total += float(area.sum() / (area / speed).sum()) if rated else 0.0
    return total
