"""Standing (timeliness) loss: jobs, and the money that each loses by the hour it stands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import HOUR, Array
from readiness.grain.crops import CROPS
from readiness.season.codes import Reason, Tier
from readiness.season.simulate import Season
from scheduler.costs.grain_value import (
    HAUL_T_KM,
    CropState,
    already_lost_ha,
    best_revenue_ha,
    dry_t_ha,
    leave_cost_ha,
    loss_terms,
    revenue_ha,
)
from scheduler.farm.distances import between_km
from scheduler.farm.model import Farm, Field
from scheduler.farm.opening_hours import down_slots, open_slots
from scheduler.farm.slots import BoolArray, farm_time, utc_hour
from scheduler.language.translation import N_
from scheduler.windows.daily_hours import HOLLOW
from scheduler.windows.model_inputs import ripe_time, season_rows

#: Name of the part of a field outside its wet hollow.
UPLAND = N_("upland")
#: Moisture of tonnage and machine rates where no moisture is known, points over base; assumed.
RATE_OVER_BASE = 2.0
#: Causes that last for days: a field that they close does not open within the day.
NO_PROSPECT = (Reason.UNKNOWN, Reason.GROUND, Reason.APPROACH, Reason.GREEN)
#: Harvestable hours of a day over which a daily loss is spread; assumed, because only its order
#: of magnitude decides when to start.
HOURS_DAY = 8.0


@dataclass(frozen=True, kw_only=True)
class Job:
    """A field, its upland or its wet hollow.

    `row` is its row in the season; a wet hollow has a row of its own.
    """

    field: int
    row: int
    parcel: str
    area_ha: float


@dataclass(frozen=True, kw_only=True)
class StandingLoss:
    """A season in slots and money, the same for every make-up.

    Attributes
    ----------
    farm : the farm as it stands.
    jobs : fields, uplands and wet hollows still to be cut.
    slots : (slot,), UTC start of each slot.
    hour : (slot,), hour after the first slot's hour that holds the slot.
    day : (slot,), ordinal of the day in farm time.
    loss : (member, job, point, slot), money lost per ha against the best price now; NaN where the
        load is not taken.
    leave_cost : (job,), money lost if the job is left.
    already_lost : (job,), money lost before the first slot, whenever the job is cut.
    field_open : (member, row, slot), the field can be cut.
    allowed : (row, slot), the dates of the field allow cutting.
    prospect : (member, row, slot), the ground bears and the grain is ripe.
    headland_only : (member, row, slot), carts stay at the field's edge.
    point_open : (point, slot), the delivery point is open.
    moisture : (member, row, hour), percent wet basis.
    day_loss : money that all standing grain loses in a day.
    """

    farm: Farm
    jobs: tuple[Job, ...]
    slots: NDArray[np.datetime64]
    hour: NDArray[np.int64]
    day: NDArray[np.int64]
    loss: Array
    leave_cost: Array
    already_lost: Array
    field_open: BoolArray
    allowed: BoolArray
    prospect: BoolArray
    headland_only: BoolArray
    point_open: BoolArray
    moisture: Array
    day_loss: float

    def field(self, j: int) -> Field:
        """The field of a job."""
        return self.farm.fields[self.jobs[j].field]

    def crew_hour_value(self, crews: int) -> float:
        """Money that an hour's delay of one crew costs: half of all grain stands on average."""
        return 0.5 * self.day_loss / HOURS_DAY / max(1, crews)


def standing_loss_of(farm: Farm, season: Season, slots: NDArray[np.datetime64]) -> StandingLoss:
    """Turn a season, which must reach the last slot, into slots and money."""
    farm = with_markets_of(farm, farm_time(slots[0], farm.tz))
    jobs = jobs_of(farm)
    start = slots[0].astype("datetime64[h]")
    first = int((start - season.start).astype(int))
    hour = ((slots - start) // np.timedelta64(60, "m")).astype(np.int64)
    loss, leave_cost, already_lost = loss_by_hour(farm, jobs, season, first)
    allowed = np.array([~down_slots(f.barred, slots) for f, _ in season_rows(farm)])
    return StandingLoss(
        farm=farm,
        jobs=jobs,
        slots=slots,
        hour=hour,
        day=np.array([farm_time(s, farm.tz).toordinal() for s in slots]),
        loss=loss[..., hour],
        leave_cost=leave_cost,
        already_lost=already_lost,
        field_open=(season.reason[:, :, first:] == Reason.OPEN)[:, :, hour] & allowed,
        allowed=allowed,
        prospect=~np.isin(season.reason[:, :, first:], NO_PROSPECT)[:, :, hour] & allowed,
        headland_only=(season.tier[:, :, first:] == Tier.HEADLAND_ONLY)[:, :, hour],
        point_open=np.array(
            [open_slots(p.week, slots, farm.tz) & ~down_slots(p.closed, slots) for p in farm.points]
        ),
        moisture=season.moisture[:, :, first:],
        day_loss=day_loss(farm, jobs, loss),
    )


def with_markets_of(farm: Farm, now: datetime) -> Farm:
    """The farm with the prices and limits that hold at a time, and those that come later."""
    if not any(m.later for p in farm.points for m in p.markets.values()):
        return farm
    points = tuple(
        replace(p, markets={crop: m.at(now) for crop, m in p.markets.items()}) for p in farm.points
    )
    return replace(farm, points=points)


def jobs_of(farm: Farm) -> tuple[Job, ...]:
    """Jobs of what is left of each field, by field id: the field, or its upland and its wet hollow.

    The order of the rows in the farm's file has no effect on the jobs, so it has none on the plan.
    """
    jobs: list[Job] = []
    hollow = len(farm.fields)
    for i, f in enumerate(farm.fields):
        left = f.area_ha * (1.0 - f.cut_fraction)
        wet = min(f.area_ha * f.wet_fraction, left)
        if left - wet > 1e-6:
            name = UPLAND if wet > 0 else ""
            jobs.append(Job(field=i, row=i, parcel=name, area_ha=left - wet))
        if f.wet_fraction > 0:
            if wet > 1e-6:
                jobs.append(Job(field=i, row=hollow, parcel=HOLLOW, area_ha=wet))
            hollow += 1
    return tuple(sorted(jobs, key=lambda job: farm.fields[job.field].id))


def crop_state(farm: Farm, field: Field, season: Season, row: int, first: int) -> CropState:
    """The crop of a field's row from season hour `first` on."""
    moisture = season.moisture[:, row, first:]
    since = np.arange(moisture.shape[-1]) / 24.0
    ripe = ripe_time(farm, field)
    if not np.isnat(ripe):
        green = (ripe - season.start).astype(float) - first
        since = np.maximum(since - max(green, 0.0) / 24.0, 0.0)
    return CropState(
        moisture=moisture,
        wettings=season.wettings[:, row, first:],
        sprout=season.sprout[:, row, first:],
        ripe_days=since,
    )


def loss_by_hour(
    farm: Farm, jobs: Sequence[Job], season: Season, first: int
) -> tuple[Array, Array, Array]:
    """Money lost per ha by cutting a job in an hour, by leaving it, and lost already.

    The loss is against the best price for sound grain at base moisture now: it holds shatter,
    test weight, sprouting, discounts, drying, over-dryness and haul.

    Returns
    -------
    Loss, (member, job, point, hour) from season hour `first` on, NaN where the load is not taken;
    leave cost and loss of the past, (job,).
    """
    m, _, h = season.moisture[:, :, first:].shape
    out = np.full((m, len(jobs), len(farm.points), h), np.nan)
    leave_cost, already_lost = np.zeros(len(jobs)), np.zeros(len(jobs))
    for j, job in enumerate(jobs):
        field = farm.fields[job.field]
        state = crop_state(farm, field, season, job.row, first)
        haul = {p.id: HAUL_T_KM * between_km(farm, field.id, p.id) for p in farm.points}
        terms = loss_terms(farm, field)
        best = best_revenue_ha(farm, field, haul)
        for q, p in enumerate(farm.points):
            if (market := p.markets.get(field.crop)) is not None:
                begin = season.start + first * HOUR
                for since, of in ((begin, market), *((utc_hour(t), m) for t, m in market.later)):
                    hours = slice(max(0, int((since - begin).astype(int))), None)
                    money = revenue_ha(field, of, state, haul_t=haul[p.id], terms=terms)
                    if not farm.rules.tough_allowed:
                        money = np.where(state.moisture <= of.moisture_base_pct, money, np.nan)
                    out[:, j, q, hours] = (best - money)[:, hours]
        low = np.nanmin(out[:, j]) if np.isfinite(out[:, j]).any() else 0.0
        out[:, j] -= min(low, 0.0)
        for cost, lost in ((leave_cost, leave_cost_ha), (already_lost, already_lost_ha)):
            cost[j] = job.area_ha * (float(np.mean(lost(farm, field, state, haul))) - min(low, 0.0))
    return out, leave_cost, already_lost


def wet_yield(field: Field, moisture: float | None = None) -> float:
    """Yield as cut at a moisture, percent, t/ha; without one at `RATE_OVER_BASE` over base."""
    if moisture is None:
        moisture = CROPS[field.crop].base_moisture + RATE_OVER_BASE
    return dry_t_ha(field) / (1.0 - moisture / 100.0)


def grain_density(field: Field) -> float:
    """Grain density, t/m³, from test weight."""
    return (field.test_weight_kg_hl or CROPS[field.crop].test_weight) / 100.0


def day_loss(farm: Farm, jobs: Sequence[Job], loss: Array) -> float:
    """Money that all jobs lose in a day of standing.

    It is the trend over the days of each day's least loss, and never below shatter alone.

    Parameters
    ----------
    loss : money per ha, (member, job, point, hour).
    """
    total = 0.0
    days = max(1, loss.shape[-1] // 24)
    no_haul = {p.id: 0.0 for p in farm.points}
    for j, job in enumerate(jobs):
        field = farm.fields[job.field]
        slope = loss_terms(farm, field)["shatter_day"] * best_revenue_ha(farm, field, no_haul)
        by_day = np.where(np.isnan(loss[:, j]), np.inf, loss[:, j])[:, :, : days * 24]
        least = by_day.min(axis=1).reshape(loss.shape[0], days, 24).min(axis=2)
        daily = np.array([c[np.isfinite(c)].mean() for c in least.T if np.isfinite(c).any()])
        if len(daily) > 2:
            slope = max(slope, float(np.polyfit(np.arange(len(daily)), daily, 1)[0]))
        total += slope * job.area_ha
    return total
