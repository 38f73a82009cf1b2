"""Two invented crews that follow the plans of the sample season and keep its season book."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from make_weather import CELLS, hours_to
from season_weather import FIRST, SEED, SeasonWeather

from readiness.atmosphere.weather import HOUR
from readiness.season.codes import Reason, Tier
from scheduler.costs.machine_rates import truck_load_t
from scheduler.costs.standing_loss import grain_density, wet_yield
from scheduler.farm.model import Crew, Farm
from scheduler.farm.slots import utc_hour
from scheduler.farm.working_time import crew_slots
from scheduler.farm_files.folder import read_rain
from scheduler.review.observed_season import observed_weather
from scheduler.season_book.book import Book
from scheduler.season_book.entry_kinds import Entry
from scheduler.weather.history import with_gauges
from scheduler.windows.model_inputs import simulate_farm

LAST = date(2026, 9, 8)
PACE = 0.9  # of the planned rate
ABSENCE = (date(2026, 8, 26), "south crew")
BREAKDOWN = (date(2026, 8, 19), "north crew")  # one combine of the crew, from 11:00 to 19:00
#: Days on which a crew took another field than the plan's first, and the reason in the book.
OWN_ORDERS = {
    (date(2026, 8, 15), "south crew"): "did not want to take the header down again",
    (date(2026, 8, 25), "north crew"): "neighbour says it will rain from the west",
}


class SampleCrews:
    """Crews that cut by the plan where the true ground and grain allow it, and log their work.

    Attributes
    ----------
    left
        Uncut area of each field, ha.
    at
        Field of each crew.
    bias
        Measured less modelled grain moisture of each field, percentage points.
    season
        States of the fields under the true weather.
    """

    def __init__(self, folder: Path, farm: Farm) -> None:
        self.folder, self.farm = folder, farm
        self.rng = np.random.Generator(np.random.PCG64(SEED + 1))
        self.left = {f.id: f.area_ha * (1.0 - f.cut_fraction) for f in farm.fields}
        self.at: dict[str, str] = {}
        self.bias = dict(zip(self.left, self.rng.normal(0.0, 0.4, len(self.left)), strict=True))
        weather = observed_weather(folder, farm, np.datetime64("2026-09-22T00"), [])
        first = np.datetime64("2026-08-12T00")
        weather = with_gauges(weather, farm, read_rain(folder, farm), [])
        past = weather.between(weather.start, first)
        ahead = weather.between(first, weather.stop)
        self.season, _ = simulate_farm(farm, past, ahead)

    def true_value(self, field: str, at: datetime, name: str) -> float:
        """Value of one of the season's states in a field and hour."""
        row = [f.id for f in self.farm.fields].index(field)
        h = int((utc_hour(at) - self.season.start).astype(int))
        return float(getattr(self.season, name)[0, row, h])

    def log(self, kind: str, subject: str, at: datetime, **facts: Any) -> None:
        """Add an entry to the book, noted seven minutes after its time."""
        token = f"s{self.rng.integers(1 << 62):016x}"
        noted = at.astimezone(UTC) + timedelta(minutes=7)
        entry = Entry(
            kind=kind,
            subject=subject,
            at=at.astimezone(UTC),
            noted=noted,
            by="sample",
            facts=facts,
            token=token,
        )
        with Book(self.folder) as book:
            book.add(entry)

    def work_day(self, day: date, plan: dict[str, list[tuple[str, float]]]) -> None:
        """Work one day; `plan` holds fields and rates (ha/h) in order, by crew."""
        taken: set[str] = set()
        for crew in self.farm.crews:
            order = [o for o in plan.get(crew.id, []) if self.left[o[0]] > 0.01]
            if (day, crew.id) in OWN_ORDERS and len(order) > 2:
                order = [order[2], *order[:2], *order[3:]]
                at = datetime.combine(day, time(9, 30), self.farm.tz)
                reason = OWN_ORDERS[day, crew.id]
                self.log("order", crew.id, at, fields=(order[0][0],), why=reason)
            if (day, crew.id) == ABSENCE:
                at = datetime.combine(day, time(5, 50), self.farm.tz)
                self.log("absent", crew.id, at, reason="funeral")
                continue
            if (day, crew.id) == BREAKDOWN:
                at = datetime.combine(day, time(11), self.farm.tz)
                self.log("down", "C2", at, reason="feeder chain")
                self.log("repaired", "C2", at + timedelta(hours=8))
            self._cut(day, crew, order, taken)

    def _cut(self, day: date, crew: Crew, order: list[tuple[str, float]], taken: set[str]) -> None:
        """Cut hour by hour the first open field in order that no other crew has taken."""
        cut = dict.fromkeys(self.left, 0.0)
        last: dict[str, datetime] = {}
        begin = datetime.combine(day, time(0), self.farm.tz)
        slots = utc_hour(begin) + np.arange(24) * HOUR
        for h in np.flatnonzero(crew_slots(crew, slots, self.farm.tz)):
            at = begin + timedelta(hours=int(h))
            open_fields = [
                o
                for o in order
                if o[0] not in taken
                and self.left[o[0]] > 0.01
                and self.true_value(o[0], at, "reason") == Reason.OPEN
            ]
            if not open_fields:
                continue
            field, rate = open_fields[0]
            share = 1.0 if self.at.get(crew.id) == field else 0.3
            self.at[crew.id] = field
            share *= self._running_share(day, crew.id, int(h))
            done = min(self.left[field], PACE * rate * max(0.0, share))
            self.left[field] -= done
            cut[field] += done
            last[field] = at + timedelta(hours=1)
        for field, ha in cut.items():
            if ha > 0.0:
                taken.add(field)
                self._log_cutting(field, ha, last[field], crew)

    def _running_share(self, day: date, crew: str, hour: int) -> float:
        """Share of the crew's combines that run."""
        return 0.5 if (day, crew) == BREAKDOWN and 11 <= hour < 19 else 1.0

    def _log_cutting(self, field_id: str, ha: float, at: datetime, crew: Crew) -> None:
        """Log the area cut, a sample, and a ticket for each load."""
        field = next(f for f in self.farm.fields if f.id == field_id)
        moisture = round(self.true_value(field_id, at, "moisture") + self.bias[field_id], 1)
        self.log("cut", field_id, at, area=round(ha, 2), crew=crew.id)
        self.log("sample", field_id, at - timedelta(minutes=20), moisture=moisture)
        truck = next(t for t in self.farm.trucks if t.id == crew.trucks[0])
        load = truck_load_t(truck, grain_density(field))
        buyers = [
            p
            for p in self.farm.points
            if field.crop in p.markets and moisture <= p.markets[field.crop].moisture_limit_pct
        ]
        for n in range(round(ha * wet_yield(field) / load)):
            on_ticket = round(moisture + float(self.rng.normal(0.0, 0.2)), 1)
            tonnes = round(load * float(self.rng.normal(0.98, 0.01)), 2)
            when = at - timedelta(minutes=9 * n)
            self.log(
                "ticket", buyers[0].id, when, field=field_id, weight=tonnes, moisture=on_ticket
            )

    def check_ground(self, day: date, fields: list[str]) -> None:
        """Log a ground check in some fields; one in five finds the ground a class softer."""
        at = datetime.combine(day, time(6, 30), self.farm.tz)
        words = {Tier.FIRM: "firm", Tier.HEADLAND_ONLY: "headland-only", Tier.SOFT: "soft"}
        for field in fields:
            tier = Tier(int(self.true_value(field, at, "tier")))
            seen = Tier(max(0, tier - 1)) if self.rng.random() < 0.2 else tier
            self.log("ground", field, at, ground=words[seen])


def log_gauge_rain(crews: SampleCrews, weather: SeasonWeather) -> None:
    """Log the reading of every gauge at seven each morning after rain."""
    for gauge, (lat, lon) in crews.farm.gauges.items():
        weights = np.array([1 / (1e-3 + (lat - a) ** 2 + (lon - b) ** 2) for a, b in CELLS])
        rain = sum(
            w * t["precipitation"]
            for w, t in zip(weights / weights.sum(), weather.truth, strict=True)
        )
        for n in range((LAST - FIRST).days + 1):
            at = datetime.combine(FIRST + timedelta(days=n + 1), time(7), crews.farm.tz)
            h = hours_to(at.astimezone(UTC))
            mm = float(np.asarray(rain)[h - 24 : h].sum() * crews.rng.lognormal(0.0, 0.08))
            if mm >= 0.2:
                crews.log("rain", gauge, at, rain=round(mm, 1), hours=24.0)
