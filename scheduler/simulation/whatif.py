"""What-if: past seasons simulated with the farm as it is and with an alteration."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from readiness.sources.daily_record import DailyRecord
from readiness.sources.daily_to_hourly import hourly_records
from scheduler.errors import FarmError
from scheduler.farm.model import Farm
from scheduler.planning.policy_choice import Effort
from scheduler.simulation.alterations import Alteration, apply_alteration
from scheduler.simulation.closed_form import TimelinessInputs, timeliness_inputs
from scheduler.simulation.parallel import MapFunction
from scheduler.simulation.past_season import PastSeason, complete_years, past_season
from scheduler.simulation.rehearsal import RehearsalSettings, compare_season, rehearse
from scheduler.simulation.season_results import SeasonComparison
from scheduler.simulation.workable_days import WorkableDays, workable_days

#: Cheaper than the settings of a rehearsal, because only the difference between two farms counts;
#: assumed.
WHATIF_SETTINGS = RehearsalSettings(
    members=9, days=20, effort=Effort(iterations=100, makeup_iterations=10)
)


@dataclass(frozen=True, kw_only=True)
class SeasonTask:
    """One season of one farm to simulate."""

    farm: Farm
    daily: DailyRecord
    year: int
    settings: RehearsalSettings


@dataclass(frozen=True, kw_only=True)
class SeasonOutcome:
    """Outcome of one season under the planner.

    Attributes
    ----------
    loss
        Money lost.
    done
        Day on which harvest ended, None if it did not.
    workable
        Workable hours of each field and day.
    fields
        Ids of the fields of the simulated farm: fields, or their uplands and wet hollows.
    timeliness
        Inputs of the closed form for the season.
    """

    station: str
    year: int
    loss: float
    done: date | None
    workable: WorkableDays
    fields: tuple[str, ...]
    timeliness: TimelinessInputs

    @property
    def closed_form(self) -> float:
        """Timeliness cost by the closed form, money; NaN without a working day."""
        return self.timeliness.cost()


@dataclass(frozen=True, kw_only=True)
class WhatIf:
    """Outcomes of the same seasons with the farm as it is and altered."""

    change: Alteration
    base: tuple[SeasonOutcome, ...]
    changed: tuple[SeasonOutcome, ...]

    @property
    def values(self) -> tuple[float, ...]:
        """Money that the change saves in each season."""
        return tuple(b.loss - c.loss for b, c in zip(self.base, self.changed, strict=True))


def season_tasks(
    farm: Farm,
    stations: Sequence[DailyRecord],
    *,
    years: range | None = None,
    settings: RehearsalSettings = WHATIF_SETTINGS,
) -> list[SeasonTask]:
    """Every season of every station with complete records, in `years` if given.

    Raises
    ------
    FarmError
        If there is none.
    """
    tasks = [
        SeasonTask(farm=farm, daily=daily, year=year, settings=settings)
        for daily in stations
        for year in complete_years(farm, daily, hourly_records(daily))
        if years is None or year in years
    ]
    if not tasks:
        names = ", ".join(daily.name for daily in stations)
        raise FarmError(f"no whole season in the records of {names}: give more years or stations")
    return tasks


def _season_of(task: SeasonTask) -> PastSeason:
    """The past season of a task."""
    return past_season(task.farm, task.daily, hourly_records(task.daily), task.year)


def play_task(task: SeasonTask) -> SeasonOutcome:
    """Simulate one season under the planner; equal tasks give equal outcomes on any machine."""
    past = _season_of(task)
    result = rehearse(past, task.settings)
    days = result.done_day
    return SeasonOutcome(
        station=task.daily.name,
        year=task.year,
        loss=result.loss,
        done=None if days is None else past.morning(0).date() + timedelta(days=days),
        workable=workable_days(past),
        fields=tuple(f.id for f in past.farm.fields),
        timeliness=timeliness_inputs(past),
    )


def compare_task(task: SeasonTask) -> SeasonComparison:
    """Simulate one season under the planner and every rule."""
    return compare_season(_season_of(task), task.daily.name, task.settings)


def what_if(
    farm: Farm,
    change: Alteration,
    stations: Sequence[DailyRecord],
    *,
    years: range | None = None,
    settings: RehearsalSettings = WHATIF_SETTINGS,
    run: MapFunction = map,
) -> WhatIf:
    """Simulate all seasons with the farm as it is and altered.

    Parameters
    ----------
    farm
        The farm as it is.
    change
        The alteration.
    stations
        Daily records of one or more stations.
    years
        The years to simulate; by default all with complete records.
    settings
        Settings of the planner.
    run
        Maps a function over tasks; see `parallel_map`.

    Raises
    ------
    FarmError
        If no season has complete records, or the alteration does not fit the farm.
    """
    base = season_tasks(farm, stations, years=years, settings=settings)
    other = apply_alteration(farm, change)
    altered = [SeasonTask(farm=other, daily=t.daily, year=t.year, settings=settings) for t in base]
    outcomes = list(run(play_task, base + altered))
    n = len(base)
    return WhatIf(change=change, base=tuple(outcomes[:n]), changed=tuple(outcomes[n:]))


def completion(outcomes: Sequence[SeasonOutcome], share: float) -> tuple[int, int] | None:
    """(month, day) by which harvest is over in a share of the seasons; None where it is not."""
    never = (13, 1)
    ends = sorted((o.done.month, o.done.day) if o.done is not None else never for o in outcomes)
    day = ends[int(np.ceil(share * len(ends) - 1e-9)) - 1]
    return None if day == never else day
