"""What if: every season in the records, played with the farm as it is and as it might be."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, timedelta
from multiprocessing import get_context
from typing import Any

import numpy as np

from readiness.sources.daily_record import DailyRecord
from scheduler.costs.grain_value import best_revenue_ha, loss_terms
from scheduler.costs.standing_loss import wet_yield
from scheduler.costs.timeliness import least_cost_capacity, timeliness_cost
from scheduler.cut_tables.compiled import Compiled
from scheduler.errors import FarmError
from scheduler.farm.model import Farm
from scheduler.farm.working_time import crew_slots
from scheduler.simulation.alterations import Alteration, apply_alteration
from scheduler.simulation.past_season import PastSeason, complete_years, hourly_records, past_season
from scheduler.simulation.rehearsal import (
    RehearsalSettings,
    SeasonComparison,
    compare_season,
    rehearse,
)
from scheduler.simulation.workable_days import WORKABLE_H, WorkableDays, workable_days

#: Shares of years by which completion is told.
COMPLETION_SHARES = (0.5, 0.8, 0.9)
#: Cheaper than a rehearsal, because only differences between two farms are told; assumed.
WHATIF_SETTINGS = RehearsalSettings(members=5, days=20, moves=10_000)
MapFunction = Callable[[Callable[[Any], Any], Iterable[Any]], Iterable[Any]]


@dataclass(frozen=True, kw_only=True)
class SeasonTask:
    """One season of one farm to be played."""

    farm: Farm
    daily: DailyRecord
    year: int
    settings: RehearsalSettings


@dataclass(frozen=True, kw_only=True)
class SeasonOutcome:
    """One season played: money lost, the day harvest ended (None: never), workable days.

    `closed_form` is the timeliness cost of the same farm by the standard's formula with the hours
    and the working days of this season; NaN in a season without a working day.
    """

    station: str
    year: int
    loss: float
    done: date | None
    workable: WorkableDays
    names: tuple[str, ...]
    facts: TimelinessInputs

    @property
    def closed_form(self) -> float:
        """Timeliness cost by the closed form, money."""
        return self.facts.cost()


@dataclass(frozen=True, kw_only=True)
class TimelinessInputs:
    """What the closed form needs.

    Attributes
    ----------
    area : ha. capacity : ha/h. loss_day : share of value lost a day. value_ha : money per ha.
    hours_day : of a working day. working_share : of days.
    """

    area: float
    capacity: float
    loss_day: float
    value_ha: float
    hours_day: float
    working_share: float

    def cost(self) -> float:
        """Timeliness cost of a year in which all work begins as the crop is ripe, money."""
        if not self.hours_day * self.working_share > 0:
            return float("nan")
        return timeliness_cost(
            self.area, self.capacity, loss_day=self.loss_day, yield_=1.0, value=self.value_ha,
            hours_day=self.hours_day, working_share=self.working_share,
        )  # fmt: skip

    def least_cost(self, *, own_share: float, price: float, labour_hour: float) -> float:
        """Least-cost capacity, ha/h; see `timeliness.least_cost_capacity`."""
        return least_cost_capacity(
            self.area, own_share=own_share, price_per_capacity=price, labour_hour=labour_hour,
            loss_day=self.loss_day, yield_=1.0, value=self.value_ha, hours_day=self.hours_day,
            working_share=self.working_share,
        )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class WhatIf:
    """The same seasons with the farm as it is and altered."""

    change: Alteration
    base: tuple[SeasonOutcome, ...]
    changed: tuple[SeasonOutcome, ...]

    @property
    def values(self) -> tuple[float, ...]:
        """Money that the change saved in each season."""
        return tuple(b.loss - c.loss for b, c in zip(self.base, self.changed, strict=True))


def season_tasks(
    farm: Farm,
    stations: Sequence[DailyRecord],
    *,
    years: range | None = None,
    settings: RehearsalSettings = WHATIF_SETTINGS,
) -> list[SeasonTask]:
    """Every season of every station that is known hour by hour.

    Raises
    ------
    FarmError
        Where there is none.
    """  # fmt: skip
    out = [
        SeasonTask(farm=farm, daily=d, year=y, settings=settings)
        for d in stations
        for y in complete_years(farm, d, hourly_records(d))
        if years is None or y in years
    ]
    if not out:
        names = ", ".join(d.name for d in stations)
        raise FarmError(f"no whole season in the records of {names}: give more years or stations")
    return out


def season_of(task: SeasonTask) -> PastSeason:
    """The season of a task."""
    return past_season(task.farm, task.daily, hourly_records(task.daily), task.year)


def play_task(task: SeasonTask) -> SeasonOutcome:
    """Play one season; the same task gives the same outcome wherever it runs."""
    past = season_of(task)
    played = rehearse(past, task.settings)
    days = played.done_day
    return SeasonOutcome(
        station=task.daily.name,
        year=task.year,
        loss=played.loss,
        done=None if days is None else past.morning(0).date() + timedelta(days=days),
        workable=workable_days(past),
        names=tuple(f.id for f in past.farm.fields),
        facts=timeliness_inputs(past),
    )


def compare_task(task: SeasonTask) -> SeasonComparison:
    """Play one season by the planner, by every rule, and in hindsight."""
    return compare_season(season_of(task), task.daily.name, task.settings)


def timeliness_inputs(past: PastSeason) -> TimelinessInputs:
    """What the closed form needs of a season."""
    farm, compiled = past.farm, past.compiled
    area = np.array([f.area_ha for f in farm.fields])
    none = {p.id: 0.0 for p in farm.points}
    worth = np.array([best_revenue_ha(farm, f, none) for f in farm.fields])
    loss = np.array([loss_terms(farm, f)["shatter_day"] for f in farm.fields])
    hours = _crew_hours(past)
    working = hours >= WORKABLE_H
    return TimelinessInputs(
        area=float(area.sum()),
        capacity=capacity_ha_h(compiled),
        loss_day=float((area * worth) @ loss / (area @ worth)),
        value_ha=float(area @ worth / area.sum()),
        hours_day=float(hours[working].mean()) if working.any() else 0.0,
        working_share=float(working.mean()),
    )


def _crew_hours(past: PastSeason) -> Any:
    """(field, day) hours in which the field is open and the crews work, counted from mornings."""
    standing_loss = past.compiled.standing_loss
    on = np.any([crew_slots(c, standing_loss.slots, past.farm.tz) for c in past.farm.crews], axis=0)
    by_day = (standing_loss.field_open[0] & on).reshape(
        standing_loss.field_open.shape[1], past.days, -1
    )
    return by_day.sum(axis=2) * 24.0 / by_day.shape[2]


def capacity_ha_h(compiled: Compiled) -> float:
    """All crews together, ha/h, in the mean field."""
    total = 0.0
    for k in range(len(compiled.makeup)):
        usual = [(compiled.main_rates(k, j), j) for j in range(len(compiled.jobs))]
        known = [(rates, j) for rates, j in usual if rates is not None]
        area = np.array([compiled.jobs[j].area_ha for _, j in known])
        speed = np.array([r.t_h / wet_yield(compiled.field(j)) for r, j in known])
        total += float(area.sum() / (area / speed).sum()) if known else 0.0
    return total


def what_if(
    farm: Farm,
    change: Alteration,
    stations: Sequence[DailyRecord],
    *,
    years: range | None = None,
    settings: RehearsalSettings = WHATIF_SETTINGS,
    run: MapFunction = map,
) -> WhatIf:
    """Play all seasons with the farm as it is and altered.

    Parameters
    ----------
    run : maps a function over tasks, as `map` does; see `parallel_map`.
    """  # fmt: skip
    base = season_tasks(farm, stations, years=years, settings=settings)
    other = apply_alteration(farm, change)
    both = base + [
        SeasonTask(farm=other, daily=t.daily, year=t.year, settings=settings) for t in base
    ]
    found = list(run(play_task, both))
    return WhatIf(change=change, base=tuple(found[: len(base)]), changed=tuple(found[len(base) :]))


@contextmanager
def parallel_map(*, workers: int = 1, cluster: str | None = None) -> Iterator[MapFunction]:
    """How seasons are spread: processes of this machine, or the Dask cluster at an address.

    Raises
    ------
    FarmError
        Where Dask is not installed or the cluster does not answer.
    """
    if cluster is not None:
        with _client(cluster) as client:
            yield lambda f, xs: client.gather(client.map(f, list(xs), pure=False))
    elif workers > 1:
        with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
            yield pool.map
    else:
        yield map


def _client(address: str) -> Any:
    try:
        from distributed import Client
    except ImportError:
        raise FarmError("a cluster needs Dask: pip install 'afterrain[cluster]'") from None
    try:
        return Client(address, timeout="10s")  # type: ignore[no-untyped-call]
    except (OSError, ValueError, TimeoutError) as error:
        raise FarmError(f"the cluster at {address} does not answer: {error}") from None


def completion(outcomes: Sequence[SeasonOutcome], share: float) -> tuple[int, int] | None:
    """(month, day) by which harvest is over in a share of the years; None where it is not."""
    never = (13, 1)
    ends = sorted((o.done.month, o.done.day) if o.done is not None else never for o in outcomes)
    day = ends[int(np.ceil(share * len(ends) - 1e-9)) - 1]
    return None if day == never else day
