"""Write the sample farm's invented season again: records after 12 August, and its season book.

    python sample_forecasts/make_season.py

Weather goes on from where `make_weather.py` ends; each morning a small ensemble is drawn whose
members leave the truth as lead grows, the planner plans on it, and two invented crews follow the
plan at nine tenths of its pace, with a breakdown, a full elevator, an absence and two days on
which one crew knew better. One seed; takes some minutes. Nothing here is evidence of anything.
"""

from __future__ import annotations

import math
import shutil
import sys
import tempfile
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any

import make_weather
import numpy as np
from make_weather import CELLS, FIELDS, Array, Sky, Storm, Walks, air, hours_to

from readiness.season.codes import Reason, Tier
from scheduler.costs.machine_rates import truck_load_t
from scheduler.costs.standing_loss import grain_density, wet_yield
from scheduler.farm.model import Farm
from scheduler.farm.working_time import crew_slots, utc_hour
from scheduler.farm_files.folder import read_farm, read_rain
from scheduler.planning.information import gather
from scheduler.planning.plan import plan_farm
from scheduler.report.plan_document import document
from scheduler.review.observed_season import observed_weather
from scheduler.season_book.book import Book
from scheduler.season_book.kinds import Entry
from scheduler.weather.history import with_gauges
from scheduler.weather.store import Answer, store_answer
from scheduler.windows.model_inputs import simulate_farm

HERE = Path(__file__).resolve().parent
SEED = 812
MEMBERS, DAYS = 9, 10
FIRST, LAST = date(2026, 8, 12), date(2026, 9, 8)
KNOWN = datetime(2026, 9, 22, 0, tzinfo=UTC)  # records reach to here
BEGIN = datetime(2026, 8, 12, 11, tzinfo=UTC)  # first hour after the sample's own records
#: What fell after 12 August: day, start (UTC hour), hours, mm.
CAME = (
    (datetime(2026, 8, 14, 23), 6, 8.0), (datetime(2026, 8, 17, 4), 8, 14.0),
    (datetime(2026, 8, 21, 1), 9, 20.0), (datetime(2026, 8, 22, 6), 7, 11.0),
    (datetime(2026, 8, 26, 22), 8, 13.0), (datetime(2026, 9, 1, 3), 7, 9.0),
    (datetime(2026, 9, 5, 9), 10, 14.0), (datetime(2026, 9, 13, 5), 8, 10.0),
)  # fmt: skip
PACE = 0.9  # of the planned rate
AWAY = (date(2026, 8, 26), "south crew")
BROKEN = (date(2026, 8, 19), "north crew")  # one combine of it, from 11 to 19
#: Day on which a crew took the nearest field instead of the plan's, and what it said of it.
OWN_WAY = {
    (date(2026, 8, 15), "south crew"): "did not want to take the header down again",
    (date(2026, 8, 25), "north crew"): "neighbour says it will rain from the west",
}


class Season:
    """Walks and storms from April to the end of September, and ensembles of any morning."""

    def __init__(self) -> None:
        self.rng = np.random.Generator(np.random.PCG64(SEED))
        sky = Sky(seed=20260812)
        self.hours = hours_to(KNOWN)
        self.common = Walks(*(
            self._on(getattr(sky.common, n)[: sky.now], memory)
            for n, memory in (("warm", 60), ("moist", 40), ("cloud", 12), ("wind", 18))
        ))  # fmt: skip
        self.storms = [Storm(hours_to(t.replace(tzinfo=UTC)), h, mm) for t, h, mm in CAME]
        self.truth = []
        for before, (lat, lon) in zip(sky.truth, CELLS, strict=True):
            rain = self._rain(self.storms, lon)
            rain[: sky.now] = before["precipitation"][: sky.now]
            self.truth.append(air(self.common, rain, lat, lon))

    def _on(self, walk: Array, memory: float) -> Array:
        """A walk that goes on to the end."""
        keep = math.exp(-1.0 / memory)
        out = np.concatenate([walk, self.rng.standard_normal(self.hours - len(walk))])
        for t in range(len(walk), self.hours):
            out[t] = keep * out[t - 1] + math.sqrt(1 - keep * keep) * out[t]
        return out

    def _rain(self, storms: list[Storm], lon: float) -> Array:
        rain = np.zeros(self.hours)
        delay = round((lon - CELLS[0][1]) * 75.0 / 40.0)
        for s in storms:
            share = self.rng.gamma(1.2, 1.0, s.hours)
            first, mm = s.start + delay, s.mm * float(self.rng.lognormal(-0.02, 0.2))
            room = rain[first : first + s.hours]
            room += (mm * share / share.sum())[: len(room)]
        rain = np.round(rain, 1)
        return np.where(rain < 0.1, 0.0, rain)

    def ensemble(self, now: int) -> list[list[dict[str, Array]]]:
        """Members, by cell, from April to the end of the forecast."""
        end = min(self.hours, now + 24 * (DAYS + 1))
        return [self._member(now, end) for _ in range(MEMBERS)]

    def _member(self, now: int, end: int) -> list[dict[str, Array]]:
        lead = np.maximum(np.arange(self.hours) - now, 0)
        keep = np.exp(-((lead / 150.0) ** 1.6))
        mixed = Walks(*(
            keep * w + np.sqrt(1 - keep**2) * make_weather.walk(self.rng, self.hours, memory)
            for w, memory in zip(vars(self.common).values(), (60, 40, 12, 18), strict=True)
        ))  # fmt: skip
        storms = self._guessed(now, end)
        out = []
        for true, (lat, lon) in zip(self.truth, CELLS, strict=True):
            rain = self._rain(storms, lon)
            rain[:now] = true["precipitation"][:now]
            out.append({k: v[:end] for k, v in air(mixed, rain, lat, lon).items()})
        return out

    def _guessed(self, now: int, end: int) -> list[Storm]:
        """Storms as a member has them: moved, resized, missed and made up as lead grows."""
        rng, out = self.rng, []
        for s in self.storms:
            lead = max(0, s.start - now)
            hit = rng.random() < 0.95 * math.exp(-((lead / 160.0) ** 1.5))
            moved = int(rng.normal(0.0, 1.0 + lead / 14.0))
            mm = s.mm * float(rng.lognormal(0.0, 0.15 + lead / 250.0))
            if hit and s.start + s.hours > now:
                out.append(Storm(max(now, s.start + moved), s.hours, mm))
        t = now + 30.0 + float(rng.exponential(200.0))
        while t < end:
            out.append(Storm(int(t), int(rng.integers(3, 9)), float(rng.gamma(0.9, 7.0))))
            t += float(rng.exponential(200.0))
        return out


def answer(product: str, cell: tuple[float, float], issued: datetime, hourly: Any) -> Answer:
    """A stored response of the Open-Meteo form."""
    units = {n: FIELDS[n.split("_member")[0]][0] for n in hourly if n != "time"}
    return Answer(
        source="open-meteo", product=product, version="1", issued=issued, lat=cell[0], lon=cell[1],
        fetched=issued + timedelta(hours=4), url="invented",
        payload=make_weather.payload(cell, hourly, units),
    )  # fmt: skip


def write_records(folder: Path, sky: Season) -> None:
    """Archive from the planning morning on, one file a cell."""
    hours = int((KNOWN - BEGIN) / timedelta(hours=1))
    first = hours_to(BEGIN) - 1
    for cell, true in zip(CELLS, sky.truth, strict=True):
        cut = {k: v[first : first + hours + 1] for k, v in true.items()}
        hourly = {"time": make_weather.stamps(BEGIN, hours)}
        hourly |= {n: make_weather.labelled(cut, n, hours) for n in FIELDS}
        store_answer(folder, answer("archive", cell, datetime(2026, 9, 22, 6, tzinfo=UTC), hourly))


def write_forecast(folder: Path, sky: Season, now: datetime) -> None:
    """Ensemble of a morning in the place of the one before; the sample's own on the first."""
    if now.date() == FIRST:
        return
    for old in (folder / "forecasts").glob("ensemble_*"):
        old.unlink()
    begin = now.astimezone(UTC).replace(hour=0)
    first, hours = hours_to(begin) - 1, 24 * (DAYS + 1)
    members = sky.ensemble(hours_to(begin))
    for c, cell in enumerate(CELLS):
        hourly: dict[str, Any] = {"time": make_weather.stamps(begin, hours)}
        for m, member in enumerate(members):
            cut = {k: v[first : first + hours + 1] for k, v in member[c].items()}
            rows = {n: make_weather.labelled(cut, n, hours) for n in FIELDS}
            hourly |= {(f"{n}_member{m:02d}" if m else n): v for n, v in rows.items()}
        store_answer(folder, answer("ensemble", cell, begin + timedelta(hours=6), hourly))


class Crews:
    """Two crews that cut by the plan as ground and grain let them, and write it down."""

    def __init__(self, folder: Path, farm: Farm) -> None:
        self.folder, self.farm = folder, farm
        self.rng = np.random.Generator(np.random.PCG64(SEED + 1))
        self.left = {f.id: f.area_ha * (1.0 - f.cut_fraction) for f in farm.fields}
        self.at: dict[str, str] = {}
        self.bias = dict(zip(self.left, self.rng.normal(0.0, 0.4, len(self.left)), strict=True))
        known = observed_weather(folder, farm, np.datetime64("2026-09-22T00"), [])
        first = np.datetime64("2026-08-12T00")
        known = with_gauges(known, farm, read_rain(folder, farm), [])
        past, ahead = known.between(known.start, first), known.between(first, known.times[-1] + 1)
        self.season, _ = simulate_farm(farm, past, ahead)

    def hour(self, field: str, at: datetime, name: str) -> float:
        """A number of the true season."""
        row = [f.id for f in self.farm.fields].index(field)
        h = int((utc_hour(at) - self.season.start).astype(int))
        return float(getattr(self.season, name)[0, row, h])

    def log(self, kind: str, subject: str, at: datetime, **facts: Any) -> None:
        """An entry noted some minutes after it was so."""
        token = f"s{self.rng.integers(1 << 62):016x}"
        noted = at.astimezone(UTC) + timedelta(minutes=7)
        entry = Entry(kind=kind, subject=subject, at=at.astimezone(UTC), noted=noted, by="sample",
                      facts=facts, token=token)  # fmt: skip
        with Book(self.folder) as book:
            book.add(entry)

    def day(self, day: date, plan: dict[str, list[tuple[str, float]]]) -> None:
        """One day of both crews; `plan` has fields and rates, ha/h, in order by crew."""
        taken: set[str] = set()
        for crew in self.farm.crews:
            order = [o for o in plan.get(crew.id, []) if self.left[o[0]] > 0.01]
            if (day, crew.id) in OWN_WAY and len(order) > 2:
                order = [order[2], *order[:2], *order[3:]]
                at = datetime.combine(day, time(9, 30), self.farm.tz)
                self.log("order", crew.id, at, fields=(order[0][0],), why=OWN_WAY[day, crew.id])
            if (day, crew.id) == AWAY:
                at = datetime.combine(day, time(5, 50), self.farm.tz)
                self.log("absent", crew.id, at, reason="funeral")
                continue
            if (day, crew.id) == BROKEN:
                at = datetime.combine(day, time(11), self.farm.tz)
                self.log("down", "C2", at, reason="feeder chain")
                self.log("repaired", "C2", at + timedelta(hours=8))
            self._work(day, crew, order, taken)

    def _work(self, day: date, crew: Any, order: list[tuple[str, float]], taken: set[str]) -> None:
        cut = dict.fromkeys(self.left, 0.0)
        last: dict[str, datetime] = {}
        begin = datetime.combine(day, time(0), self.farm.tz)
        slots = utc_hour(begin) + np.arange(24) * np.timedelta64(1, "h")
        works, idle = crew_slots(crew, slots, self.farm.tz), 0.0
        for h in np.flatnonzero(works):
            at = begin + timedelta(hours=int(h))
            able = [o for o in order if o[0] not in taken and self.left[o[0]] > 0.01
                    and self.hour(o[0], at, "reason") == Reason.OPEN]  # fmt: skip
            if not able:
                continue
            field, rate = able[0]
            share = 1.0 if self.at.get(crew.id) == field else 0.3 - idle
            self.at[crew.id] = field
            share *= self._machines(day, crew.id, int(h))
            done = min(self.left[field], PACE * rate * max(0.0, share))
            self.left[field] -= done
            cut[field] += done
            last[field] = at + timedelta(hours=1)
        for field, ha in cut.items():
            if ha > 0.0:
                taken.add(field)
                self._write(field, ha, last[field], crew)

    def _machines(self, day: date, crew: str, hour: int) -> float:
        """Share of the crew's combines that run."""
        return 0.5 if (day, crew) == BROKEN and 11 <= hour < 19 else 1.0

    def _write(self, field: str, ha: float, at: datetime, crew: Any) -> None:
        """What was cut, a sample, and a ticket for each load."""
        one = next(f for f in self.farm.fields if f.id == field)
        wet = round(self.hour(field, at, "moisture") + self.bias[field], 1)
        self.log("cut", field, at, area=round(ha, 2), crew=crew.id)
        self.log("sample", field, at - timedelta(minutes=20), moisture=wet)
        truck = next(t for t in self.farm.trucks if t.id == crew.trucks[0])
        load = truck_load_t(truck, grain_density(one))
        sold = [p for p in self.farm.points if one.crop in p.markets
                and wet <= p.markets[one.crop].moisture_limit_pct]  # fmt: skip
        for n in range(round(ha * wet_yield(one) / load)):
            told = round(wet + float(self.rng.normal(0.0, 0.2)), 1)
            tonnes = round(load * float(self.rng.normal(0.98, 0.01)), 2)
            when = at - timedelta(minutes=9 * n)
            self.log("ticket", sold[0].id, when, field=field, weight=tonnes, moisture=told)

    def look(self, day: date, fields: list[str]) -> None:
        """Ground checks of a morning, and what the gauges held."""
        at = datetime.combine(day, time(6, 30), self.farm.tz)
        words = {Tier.FIRM: "firm", Tier.HEADLAND_ONLY: "headland-only", Tier.SOFT: "soft"}
        for field in fields:
            tier = Tier(int(self.hour(field, at, "tier")))
            seen = Tier(max(0, tier - 1)) if self.rng.random() < 0.2 else tier
            self.log("ground", field, at, ground=words[seen])


def gauge_rain(crews: Crews, sky: Season) -> None:
    """Readings at seven every morning with rain, from the cells around."""
    for gauge, (lat, lon) in crews.farm.gauges.items():
        near = np.array([1 / (1e-3 + (lat - a) ** 2 + (lon - b) ** 2) for a, b in CELLS])
        rain = sum(
            w * t["precipitation"] for w, t in zip(near / near.sum(), sky.truth, strict=True)
        )
        for n in range((LAST - FIRST).days + 1):
            at = datetime.combine(FIRST + timedelta(days=n + 1), time(7), crews.farm.tz)
            h = hours_to(at.astimezone(UTC))
            mm = float(np.asarray(rain)[h - 24 : h].sum() * crews.rng.lognormal(0.0, 0.08))
            if mm >= 0.2:
                crews.log("rain", gauge, at, rain=round(mm, 1), hours=24.0)


def season(folder: Path, sky: Season) -> None:
    """Plan and cut every morning until all is cut."""
    farm = read_farm(folder)
    crews = Crews(folder, farm)
    gauge_rain(crews, sky)
    shut = datetime(2026, 8, 24, 12, 0, tzinfo=farm.tz)
    crews.log("notice", "Junction elevator", shut, notice="full",
              until=shut.replace(day=25, hour=12).isoformat())  # fmt: skip
    for n in range((LAST - FIRST).days + 1):
        day = FIRST + timedelta(days=n)
        now = datetime.combine(day, time(6), farm.tz)
        if sum(crews.left.values()) < 0.5:
            return
        write_forecast(folder, sky, now)
        information = gather(folder, now, forecast=None, days=DAYS, seed=0)
        own = replace(
            information.farm, crews=tuple(replace(c, fixed=True) for c in information.farm.crews)
        )
        morning = plan_farm(replace(information, farm=own), days=DAYS)
        issue(folder, document(morning))
        plan = {c.crew: [(o.field, o.rate_ha_h) for o in c.orders] for c in morning.crews}
        crews.look(day, [o[0] for orders in plan.values() for o in orders[:2]])
        crews.day(day, plan)
        print(day, f"{sum(crews.left.values()):.0f} ha left", flush=True)


def issue(folder: Path, plan: dict[str, Any]) -> None:
    """Keep the plan, its numbers rounded so that the sample stays small."""
    with Book(folder) as book:
        book.issue_plan(rounded(plan), seen=book.revision, by="sample")


def rounded(value: Any) -> Any:
    """A document with three decimals."""
    if isinstance(value, dict):
        return {k: rounded(v) for k, v in value.items()}
    if isinstance(value, list):
        return [rounded(v) for v in value]
    return round(value, 3) if isinstance(value, float) else value


def main() -> None:
    """Make the season in a copy of the sample and take records and book home."""
    sky = Season()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for path in HERE.glob("*.*"):
            if path.is_file() and path.suffix in (".toml", ".csv", ".geojson"):
                shutil.copy(path, folder / path.name)
        skipped = shutil.ignore_patterns("gridpoint*", "archive_20260922*")
        shutil.copytree(HERE / "forecasts", folder / "forecasts", ignore=skipped)
        write_records(folder, sky)
        season(folder, sky)
        out = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE
        (out / "forecasts").mkdir(parents=True, exist_ok=True)
        for path in (folder / "forecasts").glob("archive_20260922*"):
            shutil.copy(path, out / "forecasts" / path.name)
        with Book(folder) as book:
            book.backup(out / "season.sqlite")


if __name__ == "__main__":
    main()
