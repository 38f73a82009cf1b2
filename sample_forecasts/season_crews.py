"""Two invented crews that follow the plans of the sample season and keep its season book."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from make_weather import CELLS, hours_to
from season_weather import FIRST, RECORDS_END, SEED, SeasonWeather

from readiness.season.codes import Tier
from scheduler.costs.machine_rates import truck_load_t
from scheduler.costs.standing_loss import grain_density, standing_loss_of, wet_yield
from scheduler.farm.model import Crew, Farm
from scheduler.farm.slots import SLOT_MIN, farm_time, slot_times, utc_hour
from scheduler.farm_files.folder import read_rain
from scheduler.field_work.kernel import run_slots
from scheduler.field_work.play import WorkLog, empty_log
from scheduler.field_work.policy import ranked_lists
from scheduler.field_work.state import first_state
from scheduler.orders.model import CrewOrders
from scheduler.review.counterfactuals import NO_LIMIT, issued_policy
from scheduler.review.observed_season import observed_weather
from scheduler.season_book.book import Book
from scheduler.season_book.entry_kinds import Entry
from scheduler.weather.history import with_gauges
from scheduler.windows.model_inputs import season_rows, simulate_farm
from scheduler.work_tables.compile import compile_work
from scheduler.work_tables.crew_makeup import own_makeup

LAST = date(2026, 9, 18)
PACE = 0.9  # of the machines' rates
ABSENCE = (date(2026, 8, 26), "south crew")
BREAKDOWN = (datetime(2026, 8, 19, 11), timedelta(hours=8))  # of combine C2
FULL = (datetime(2026, 8, 24, 12), timedelta(days=1))  # Junction elevator
#: Share of the days on which a crew enters that it begins a field.
BEGUN_SHARE = 0.75
#: Days on which a crew took another field than the plan's first, and the reason in the book.
OWN_ORDERS = {
    (date(2026, 8, 15), "south crew"): "did not want to take the header down again",
    (date(2026, 8, 25), "north crew"): "neighbour says it will rain from the west",
}


class SampleCrews:
    """Crews that the simulator moves by each morning's plan in the true weather; they log it.

    Attributes
    ----------
    bias
        Measured less modelled grain moisture of each field, percentage points.
    season
        States of the fields under the true weather.
    work
        Work tables of the true weather at nine tenths of the machines' rates.
    """

    def __init__(self, folder: Path, farm: Farm) -> None:
        self.folder, self.farm = folder, farm
        self.rng = np.random.Generator(np.random.PCG64(SEED + 1))
        ids = [f.id for f in farm.fields]
        self.bias = dict(zip(ids, self.rng.normal(0.0, 0.4, len(ids)), strict=True))
        weather = observed_weather(folder, farm, utc_hour(RECORDS_END), [])
        start = datetime.combine(FIRST, time(6), farm.tz)
        first = utc_hour(start.replace(hour=0))
        weather = with_gauges(weather, farm, read_rain(folder, farm), [])
        past = weather.between(weather.start, first)
        ahead = weather.between(first, weather.stop)
        self.season, _ = simulate_farm(farm, past, ahead)
        as_measured = np.array([self.bias[f.id] for f, _ in season_rows(farm)])
        measured = replace(self.season, moisture=self.season.moisture + as_measured[None, :, None])
        days = (LAST - FIRST).days + 1
        slots = slot_times(start, days, SLOT_MIN)
        makeup = own_makeup(farm, start, start + timedelta(days=days))
        work = compile_work(
            standing_loss_of(_with_downtime(farm), measured, slots),
            makeup,
            places=["base"] * len(makeup),
        )
        tables = replace(work.tables, cut_rate=PACE * work.tables.cut_rate)
        self.work = replace(work, tables=tables)
        self.state = first_state(tables)
        self.policy = ranked_lists(((),) * len(makeup), len(work.jobs), start=NO_LIMIT)

    @property
    def left(self) -> dict[str, float]:
        """Uncut area of each field, ha."""
        out = {f.id: 0.0 for f in self.farm.fields}
        for j, ha in enumerate(self.state.left[0]):
            out[self.work.field(j).id] += float(ha)
        return out

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

    def work_day(self, day: date, plan: tuple[CrewOrders, ...]) -> None:
        """Work one day by a plan, and log it."""
        plan = tuple(self._with_own_order(crew, day) for crew in plan)
        if day == ABSENCE[0]:
            at = datetime.combine(day, time(5, 50), self.farm.tz)
            self.log("absent", ABSENCE[1], at, reason="funeral")
        if day == BREAKDOWN[0].date():
            at = BREAKDOWN[0].replace(tzinfo=self.farm.tz)
            self.log("down", "C2", at, reason="feeder chain")
            self.log("repaired", "C2", at + BREAKDOWN[1])
        self.policy = issued_policy(self.work, plan, self.policy)
        today = replace(self.policy, start=np.array([self.policy.start[0]] * 2))
        tables, log = self.work.tables, empty_log(self.work.tables)
        of_day = np.flatnonzero(tables.day == day.toordinal())
        slots = (int(of_day[0]), int(of_day[-1]) + 1)
        run_slots(tables.arrays, self.state, today.arrays, log, slots, (0, 1))
        self._log_day(log)

    def _with_own_order(self, crew: CrewOrders, day: date) -> CrewOrders:
        """The crew's orders; on a day of an own order the third comes first, at any moisture."""
        reason = OWN_ORDERS.get((day, crew.crew))
        if reason is None or len(crew.orders) < 3:
            return crew
        first = replace(crew.orders[2], start_pct=NO_LIMIT, later_pct=NO_LIMIT)
        at = datetime.combine(day, time(9, 30), self.farm.tz)
        self.log("order", crew.crew, at, fields=(first.field,), why=reason)
        return replace(crew, orders=(first, *crew.orders[:2], *crew.orders[3:]))

    def _log_day(self, log: WorkLog) -> None:
        """Log what each crew cut in each field, by the end of the last half-hour.

        On some days the crew also enters when it begins the field.
        """
        cuts: dict[tuple[int, str], list[tuple[int, int, float]]] = {}
        for k, s, n in np.argwhere(log.area[0] > 0.0):
            key = int(k), self.work.field(int(log.job[0, k, s, n])).id
            cut = int(s), int(log.point[0, k, s, n]), float(log.area[0, k, s, n])
            cuts.setdefault(key, []).append(cut)
        for (k, field), of_field in cuts.items():
            crew = next(c for c in self.farm.crews if c.id == self.work.makeup[k].crew)
            begin, end = self._time(of_field[0][0]), self._time(of_field[-1][0] + 1)
            ha = sum(area for _, _, area in of_field)
            if self.rng.random() < BEGUN_SHARE:
                self.log("begun", field, begin, crew=crew.id)
            self.log("cut", field, end, area=round(ha, 2), crew=crew.id)
            moisture = self._measured(field, end)
            self.log("sample", field, end - timedelta(minutes=20), moisture=moisture)
            self._log_tickets(field, of_field, crew)

    def _time(self, slot: int) -> datetime:
        """Farm time at which a slot begins."""
        first = self.work.standing_loss.slots[0]
        return farm_time(first + np.timedelta64(slot * SLOT_MIN, "m"), self.farm.tz)

    def _measured(self, field: str, at: datetime) -> float:
        """Grain moisture by the crew's meter."""
        return round(self.true_value(field, at, "moisture") + self.bias[field], 1)

    def _log_tickets(self, field_id: str, cuts: list[tuple[int, int, float]], crew: Crew) -> None:
        """Log a ticket for each load that a day's cuts (slot, point, ha) of a field fill."""
        field = next(f for f in self.farm.fields if f.id == field_id)
        truck = next(t for t in self.farm.trucks if t.id == crew.trucks[0])
        load, on_board = truck_load_t(truck, grain_density(field)), [0.0] * len(self.farm.points)
        last = {point: slot for slot, point, _ in cuts}
        for slot, point, ha in cuts:
            on_board[point] += ha * wet_yield(field)
            while on_board[point] >= load or (last[point] == slot and on_board[point] > 0.01):
                tonnes = min(load, on_board[point]) * float(self.rng.normal(1.0, 0.005))
                on_board[point] -= min(load, on_board[point])
                at = self._time(slot + 1)
                moisture = round(self._measured(field_id, at) + self.rng.normal(0.0, 0.2), 1)
                facts = {"field": field_id, "weight": round(tonnes, 2), "moisture": moisture}
                self.log("ticket", self.farm.points[point].id, at, **facts)

    def check_ground(self, day: date, fields: list[str]) -> None:
        """Log a ground check in some fields; one in five finds the ground a class softer."""
        at = datetime.combine(day, time(6, 30), self.farm.tz)
        words = {Tier.FIRM: "firm", Tier.HEADLAND_ONLY: "headland-only", Tier.SOFT: "soft"}
        for field in fields:
            tier = Tier(int(self.true_value(field, at, "tier")))
            seen = Tier(max(0, tier - 1)) if self.rng.random() < 0.2 else tier
            self.log("ground", field, at, ground=words[seen])


def _with_downtime(farm: Farm) -> Farm:
    """The farm with the breakdown, the absence and the full elevator of the season."""
    spans = [
        ((begin.replace(tzinfo=farm.tz), begin.replace(tzinfo=farm.tz) + length),)
        for begin, length in (BREAKDOWN, FULL)
    ]
    day, crew = ABSENCE
    return replace(
        farm,
        combines=tuple(replace(c, down=spans[0]) if c.id == "C2" else c for c in farm.combines),
        crews=tuple(replace(c, absent=(day,)) if c.id == crew else c for c in farm.crews),
        points=tuple(
            replace(p, closed=spans[1]) if p.id == "Junction elevator" else p for p in farm.points
        ),
    )


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
