"""Invented weather of the sample season: records after 12 August, and a forecast each morning."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from make_weather import (
    CELLS,
    FIELDS,
    MEMORY_H,
    Array,
    Sky,
    Storm,
    Walks,
    air,
    hours_to,
    storm_delay,
    walk,
)
from weather_files import labelled, payload, stamps

from scheduler.weather.store import Answer, store_answer

SEED = 812
MEMBERS, DAYS = 9, 10
FIRST = date(2026, 8, 12)
RECORDS_BEGIN = datetime(2026, 8, 12, 11, tzinfo=UTC)  # first hour after the sample's own records
RECORDS_END = datetime(2026, 10, 1, 0, tzinfo=UTC)
RECORDS_FETCHED = RECORDS_END + timedelta(hours=6)
#: Rain after 12 August: first hour (UTC), hours, mm.
STORMS = (
    (datetime(2026, 8, 14, 23), 6, 8.0),
    (datetime(2026, 8, 17, 4), 8, 14.0),
    (datetime(2026, 8, 21, 1), 9, 20.0),
    (datetime(2026, 8, 22, 6), 7, 11.0),
    (datetime(2026, 8, 26, 22), 8, 13.0),
    (datetime(2026, 9, 1, 3), 7, 9.0),
    (datetime(2026, 9, 5, 9), 10, 14.0),
    (datetime(2026, 9, 13, 5), 8, 10.0),
)


class SeasonWeather:
    """True weather from April to the end of September, and an ensemble for any morning.

    Attributes
    ----------
    hours
        Number of hours from `make_weather.START`.
    common
        Random walks of the true weather.
    truth
        Weather of each cell by name of the variable.
    """

    def __init__(self) -> None:
        self.rng = np.random.Generator(np.random.PCG64(SEED))
        sky = Sky(seed=20260812)
        self.hours = hours_to(RECORDS_END)
        self.common = Walks(
            *(
                self._extended(getattr(sky.common, name)[: sky.now], memory)
                for name, memory in MEMORY_H.items()
            )
        )
        self.storms = [Storm(hours_to(t.replace(tzinfo=UTC)), h, mm) for t, h, mm in STORMS]
        self.truth = []
        for past, (lat, lon) in zip(sky.truth, CELLS, strict=True):
            rain = self._rain(self.storms, lon)
            rain[: sky.now] = past["precipitation"][: sky.now]
            self.truth.append(air(self.common, rain, lat, lon))

    def _extended(self, past: Array, memory: float) -> Array:
        """A walk continued to the last hour."""
        keep = math.exp(-1.0 / memory)
        out = np.concatenate([past, self.rng.standard_normal(self.hours - len(past))])
        for t in range(len(past), self.hours):
            out[t] = keep * out[t - 1] + math.sqrt(1 - keep * keep) * out[t]
        return out

    def _rain(self, storms: list[Storm], lon: float) -> Array:
        """Hourly rain at a longitude; storms come from the west."""
        rain = np.zeros(self.hours)
        delay = storm_delay(lon)
        for storm in storms:
            share = self.rng.gamma(1.2, 1.0, storm.hours)
            first, mm = storm.start + delay, storm.mm * float(self.rng.lognormal(-0.02, 0.2))
            window = rain[first : first + storm.hours]
            window += (mm * share / share.sum())[: len(window)]
        rain = np.round(rain, 1)
        return np.where(rain < 0.1, 0.0, rain)

    def ensemble(self, now: int) -> list[list[dict[str, Array]]]:
        """Weather of each member and cell from April to the end of the forecast of hour `now`."""
        end = min(self.hours, now + 24 * (DAYS + 1))
        return [self._member(now, end) for _ in range(MEMBERS)]

    def _member(self, now: int, end: int) -> list[dict[str, Array]]:
        """Weather of one member by cell; the member leaves the true weather as lead grows."""
        lead = np.maximum(np.arange(self.hours) - now, 0)
        keep = np.exp(-((lead / 150.0) ** 1.6))
        mixed = Walks(
            *(
                keep * true_walk + np.sqrt(1 - keep**2) * walk(self.rng, self.hours, memory)
                for true_walk, memory in zip(
                    vars(self.common).values(), MEMORY_H.values(), strict=True
                )
            )
        )
        storms = self._forecast_storms(now, end)
        out = []
        for true, (lat, lon) in zip(self.truth, CELLS, strict=True):
            rain = self._rain(storms, lon)
            rain[:now] = true["precipitation"][:now]
            out.append({k: v[:end] for k, v in air(mixed, rain, lat, lon).items()})
        return out

    def _forecast_storms(self, now: int, end: int) -> list[Storm]:
        """Storms of a member: true storms moved, resized or missed, and false ones.

        All errors grow with lead.
        """
        rng, out = self.rng, []
        for storm in self.storms:
            lead = max(0, storm.start - now)
            hit = rng.random() < 0.95 * math.exp(-((lead / 160.0) ** 1.5))
            shift = int(rng.normal(0.0, 1.0 + lead / 14.0))
            mm = storm.mm * float(rng.lognormal(0.0, 0.15 + lead / 250.0))
            if hit and storm.start + storm.hours > now:
                out.append(Storm(max(now, storm.start + shift), storm.hours, mm))
        t = now + 30.0 + float(rng.exponential(200.0))
        while t < end:
            out.append(Storm(int(t), int(rng.integers(3, 9)), float(rng.gamma(0.9, 7.0))))
            t += float(rng.exponential(200.0))
        return out


def answer(product: str, cell: tuple[float, float], issued: datetime, hourly: Any) -> Answer:
    """A stored response in the form of Open-Meteo."""
    units = {n: FIELDS[n.split("_member")[0]][0] for n in hourly if n != "time"}
    return Answer(
        source="open-meteo",
        product=product,
        version="1",
        issued=issued,
        lat=cell[0],
        lon=cell[1],
        fetched=issued + timedelta(hours=4),
        url="invented",
        payload=payload(cell, hourly, units),
    )


def write_records(folder: Path, weather: SeasonWeather) -> None:
    """Write the archive from the planning morning on, one file a cell."""
    hours = int((RECORDS_END - RECORDS_BEGIN) / timedelta(hours=1))
    first = hours_to(RECORDS_BEGIN) - 1
    for cell, true in zip(CELLS, weather.truth, strict=True):
        cut = {k: v[first : first + hours + 1] for k, v in true.items()}
        hourly: dict[str, Any] = {"time": stamps(RECORDS_BEGIN, hours)}
        hourly |= {n: labelled(cut, n, hours) for n in FIELDS}
        store_answer(folder, answer("archive", cell, RECORDS_FETCHED, hourly))


def write_forecast(folder: Path, weather: SeasonWeather, now: datetime) -> None:
    """Replace the ensemble of the morning before; the first morning has the sample's own."""
    if now.date() == FIRST:
        return
    for old in (folder / "forecasts").glob("ensemble_*"):
        old.unlink()
    begin = now.astimezone(UTC).replace(hour=0)
    first, hours = hours_to(begin) - 1, 24 * (DAYS + 1)
    members = weather.ensemble(hours_to(begin))
    for c, cell in enumerate(CELLS):
        hourly: dict[str, Any] = {"time": stamps(begin, hours)}
        for m, member in enumerate(members):
            cut = {k: v[first : first + hours + 1] for k, v in member[c].items()}
            rows = {n: labelled(cut, n, hours) for n in FIELDS}
            hourly |= {(f"{n}_member{m:02d}" if m else n): v for n, v in rows.items()}
        store_answer(folder, answer("ensemble", cell, begin + timedelta(hours=6), hourly))
