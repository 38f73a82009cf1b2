"""What was said against what came: hours of plans, samples, ground checks, and orders of days."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from datetime import date, datetime
from typing import Any

import numpy as np

from readiness.atmosphere.weather import Array
from readiness.forecasts.scores import Brier, brier
from readiness.season.codes import Tier
from readiness.season.simulate import Season
from readiness.season.windows import daily_windows
from scheduler.review.delay_accounting import CAUSE_NAMES, DELAY_CAUSES, WEATHER_CAUSES, Cause
from scheduler.review.observed_season import ObservedSeason
from scheduler.review.work_record import WorkRecord
from scheduler.season_book.kinds import Entry
from scheduler.windows.bias import grain_intervals, ground_intervals
from scheduler.windows.daily_hours import WORTHWHILE_H, within_working_hours
from scheduler.windows.model_inputs import open_loop

NO_ENTRY = "no entry says why"


@dataclass(frozen=True, kw_only=True)
class LeadSkill:
    """Chances of at least `WORTHWHILE_H` hours told so many days ahead, against what came."""

    lead: int
    count: int
    said: float  # mean chance told
    observed: float  # share of days that came so
    brier: Brier


def forecast_skill(observed: ObservedSeason) -> tuple[LeadSkill, ...]:
    """Skill of the chances in the issued plans by lead in days, ground and grain models included.

    What came is the run on the records: this is skill against our own model on true weather.
    """
    windows = daily_windows(
        within_working_hours(observed.farm, _inside(observed)), tz=observed.farm.tz
    )
    dates = [d.astype(object) for d in windows.dates]
    open_h = windows.harvestable[0]
    pairs: dict[int, list[tuple[float, bool]]] = defaultdict(list)
    for at, plan in observed.plans:
        made = at.astimezone(observed.farm.tz).date()
        days = [date.fromisoformat(d) for d in plan.get("dates", [])]
        for row, told in enumerate(plan.get("hours", [])):
            for day, hours in zip(days, told["days"], strict=True):
                if day in dates and row < len(open_h) and hours["chance"] is not None:
                    hit = open_h[row, dates.index(day)] >= WORTHWHILE_H
                    pairs[(day - made).days].append((float(hours["chance"]), bool(hit)))
    return tuple(_lead(lead, found) for lead, found in sorted(pairs.items()))


def _lead(lead: int, found: list[tuple[float, bool]]) -> LeadSkill:
    said, hit = (np.array(x, dtype=np.float64) for x in zip(*found, strict=True))
    return LeadSkill(
        lead=lead, count=len(found), said=float(said.mean()), observed=float(hit.mean()),
        brier=brier(said, hit),
    )  # fmt: skip


def _inside(observed: ObservedSeason) -> Season:
    """The season from its first midnight to its last."""
    a = int((observed.weather.start - observed.season.start).astype(int))
    whole: dict[str, Any] = {
        f.name: v[:, :, a : a + observed.hours]
        for f in fields(observed.season)
        if isinstance(v := getattr(observed.season, f.name), np.ndarray)
    }
    return replace(observed.season, start=observed.weather.start, **whole)


@dataclass(frozen=True, kw_only=True)
class ModelAgreement:
    """The model, run on weather alone, against what was measured or seen.

    Grain: sample less model, points, `bias` its mean and `error` the mean size. Ground: `right`
    of `checks` in the tier seen, `wetter` where the ground was softer than the model said.
    """

    samples: int
    bias: float
    error: float
    checks: int
    right: int
    wetter: int


def model_agreement(observed: ObservedSeason) -> ModelAgreement:
    """The model against samples of ripe grain and ground checks of the season."""
    seen = [
        o for o in observed.observations if observed.past.start <= o.time <= observed.past.times[-1]
    ]
    season, limits = open_loop(observed.farm, observed.past)
    off = np.array([b.low for b in grain_intervals(season, seen)])
    right = wetter = checks = 0
    for b in ground_intervals(season, limits, seen):
        o = b.observation
        said = season.tier[0, o.field, int((o.time - season.start).astype(int))]
        if said != Tier.UNKNOWN:
            checks, right = checks + 1, right + int(said == o.value)
            wetter += int(o.value < said)
    return ModelAgreement(
        samples=len(off), bias=float(off.mean()) if len(off) else float("nan"),
        error=float(np.abs(off).mean()) if len(off) else float("nan"),
        checks=checks, right=right, wetter=wetter,
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class CrewDay:
    """One crew's day: fields told for it by that morning's plan, fields cut, and why not so."""

    day: date
    crew: str
    told: tuple[str, ...]
    cut: tuple[str, ...]
    why: str

    @property
    def followed(self) -> bool:
        """Everything cut was told for the day, and something was cut if anything was told."""
        return set(self.cut) <= set(self.told) and bool(self.cut) == bool(self.told)


def plan_adherence(
    observed: ObservedSeason,
    cut: WorkRecord,
    crew_hours: Array,
    days: tuple[datetime, ...],
    names: list[str],
) -> tuple[CrewDay, ...]:
    """Each plan's first day against what was done; `crew_hours` (cause, crew, day)."""
    began = {m.date(): d for d, m in enumerate(days)}
    plans = {at.astimezone(observed.farm.tz).date(): plan for at, plan in observed.plans}
    out = []
    for day, plan in plans.items():
        if day not in began:
            continue
        for k, crew in enumerate(names):
            told, done = (
                _told(plan, crew, day, observed),
                _cut_on(observed, cut, k, began[day], days),
            )
            if told or done:
                later = {o["field"] for c in plan["crews"] if c["crew"] == crew
                         for o in c["orders"]}  # fmt: skip
                why = _why(observed, crew, day, told, done, crew_hours[:, k, began[day]])
                if why == NO_ENTRY and set(done) <= later:
                    why = "went on to fields that the plan told for later"
                out.append(CrewDay(day=day, crew=crew, told=told, cut=done, why=why))
    return tuple(out)


def _told(
    plan: Mapping[str, Any], crew: str, day: date, observed: ObservedSeason
) -> tuple[str, ...]:
    found = []
    for c in plan["crews"]:
        for o in c["orders"] if c["crew"] == crew else ():
            start, end = (
                datetime.fromisoformat(o[x]["mid"]).astimezone(observed.farm.tz).date()
                for x in ("start", "finish")
            )
            if start <= day <= end:
                found.append(o["field"])
    return tuple(dict.fromkeys(found))


def _cut_on(
    observed: ObservedSeason, cut: WorkRecord, k: int, d: int, days: tuple[datetime, ...]
) -> tuple[str, ...]:
    a = observed.index(days[d])
    b = observed.index(days[d + 1]) if d + 1 < len(days) else observed.hours
    began = [
        (int(np.flatnonzero(cut.area[i, k, a:b])[0]), f.id)
        for i, f in enumerate(observed.farm.fields)
        if cut.area[i, k, a:b].any()
    ]
    return tuple(f for _, f in sorted(began))


def _why(
    observed: ObservedSeason, crew: str, day: date, told: tuple[str, ...], done: tuple[str, ...],
    hours: Array,
) -> str:  # fmt: skip
    """Why a day went otherwise: what the book says of it, else the cause that took most hours."""
    if set(done) <= set(told) and bool(done) == bool(told):
        return ""
    said = [
        _said(e)
        for e in observed.entries_of("order", "absent", "down", "notice")
        if e.at.astimezone(observed.farm.tz).date() == day and _concerns(observed, e, crew)
    ]
    if said:
        return "; ".join(said)
    if done and not told:
        return "the plan expected nothing to be fit"
    if not done:
        causes = [c for c in DELAY_CAUSES if c not in (Cause.CREW, Cause.MOVE)]
        most = max(causes, key=lambda c: float(hours[c]))
        found = f"{CAUSE_NAMES[most]} took {hours[most]:.0f} h"
        return found if most in WEATHER_CAUSES else f"{NO_ENTRY}; {found}"
    return NO_ENTRY


def _said(e: Entry) -> str:
    what = {"order": "own order", "absent": "crew away", "down": f"{e.subject} down",
            "notice": f"{e.subject} {e.text('notice')}"}[e.kind]  # fmt: skip
    reason = e.text("why") or e.text("reason")
    return f"{what}: {reason}" if reason else what


def _concerns(observed: ObservedSeason, e: Entry, crew: str) -> bool:
    """Whether an entry bears on a crew: its own, its machine's or a delivery point's."""
    mine = next(c for c in observed.farm.crews if c.id == crew)
    return e.kind == "notice" or e.subject in (crew, *mine.combines, *mine.carts, *mine.trucks)
