"""A seeded season with its stored forecasts: one cell, a farm of four fields."""

from __future__ import annotations

import csv
from datetime import UTC, datetime, timedelta

import numpy as np
from farm_folder import copy_sample, keep_fields

from scheduler.weather.store import Answer, store_answer

CELL = (47.25, -99.0)
BEGIN = datetime(2026, 4, 1, tzinfo=UTC)
DAYS = 150
FIRST_ISSUE = 85  # day from BEGIN
MEMBERS = 11
AHEAD = 10
NAMES = (
    "precipitation",
    "temperature_2m",
    "relative_humidity_2m",
    "wind_speed_10m",
    "wind_gusts_10m",
    "shortwave_radiation",
)
UNITS = ("mm", "°C", "%", "km/h", "km/h", "W/m²")


def small_farm(folder):
    """The sample's first four fields, without forecasts and gauges."""
    copy_sample(folder, "farm.toml", "fields.csv")
    keep_fields(folder, 4)
    return folder


def truth(seed=0):
    """Hourly rows of the season, name -> (hour,), with a daily rain of a gamma law."""
    rng = np.random.default_rng(seed)
    h = np.arange(24 * (DAYS + AHEAD + 1))
    rain = np.zeros(len(h))
    for d in np.flatnonzero(rng.random(DAYS + AHEAD) < 0.28):
        at = 24 * d + 14 + rng.integers(0, 6)
        rain[at : at + 3] = rng.gamma(0.8, 9.0) / 3
    return air(rain, h)


def air(rain, h):
    wet = np.convolve(rain > 0, np.ones(12), mode="full")[: len(rain)] > 0
    return {
        "precipitation": rain.round(2),
        "temperature_2m": (20 + 7 * np.cos((h - 21) * np.pi / 12)).round(1),
        "relative_humidity_2m": np.where(wet, 93.0, 55.0 - 20 * np.cos((h - 21) * np.pi / 12)),
        "wind_speed_10m": np.full(len(h), 12.0),
        "wind_gusts_10m": np.full(len(h), 20.0),
        "shortwave_radiation": np.maximum(0, 750 * np.cos((h - 18) * np.pi / 12)).round(),
    }


def payload(start, rows, units=UNITS):
    """A response of Open-Meteo's form; `rows` by full name; labels as the service's."""
    n = len(next(iter(rows.values())))
    hourly = {"time": [f"{start + timedelta(hours=i):%Y-%m-%dT%H:%M}" for i in range(n)]}
    hourly |= {k: [None if np.isnan(x) else float(x) for x in v] for k, v in rows.items()}
    kinds = dict(zip(NAMES, units, strict=True))
    return {
        "latitude": CELL[0],
        "longitude": CELL[1],
        "utc_offset_seconds": 0,
        "hourly_units": {k: kinds[k.partition("_member")[0]] for k in rows},
        "hourly": hourly,
    }


def answer(product, issued, content, source="open-meteo", cell=CELL):
    return Answer(
        source=source,
        product=product,
        version="1",
        issued=issued,
        fetched=issued,
        url="http://127.0.0.1/x",
        lat=cell[0],
        lon=cell[1],
        payload=content,
    )


def part(rows, day, hours):
    return {k: v[24 * day : 24 * day + hours] for k, v in rows.items()}


def store_archive(folder, rows, until_day, issued=None, hours=None):
    content = payload(BEGIN, part(rows, 0, hours or 24 * until_day))
    store_answer(folder, answer("archive", issued or BEGIN + timedelta(days=until_day), content))


def store_ensemble(folder, rows, day, rng, *, bias=1.0, keep=0.9, members=MEMBERS):
    """An ensemble of one day: each member follows the truth of a day with a chance that falls."""
    issued = BEGIN + timedelta(days=day)
    hours, out = 24 * AHEAD + 1, {}
    h = np.arange(24 * day, 24 * day + hours)
    for m in range(members):
        rain = rows["precipitation"][24 * day : 24 * day + hours].copy()
        for d in range(AHEAD):
            cut = slice(24 * d, 24 * d + 24)
            if rng.random() > keep - 0.08 * d:
                other = int(rng.integers(0, DAYS))
                rain[cut] = rows["precipitation"][24 * other : 24 * other + 24]
        for name, values in air(bias * rain, h).items():
            out[f"{name}_member{m:02d}" if m else name] = values
    store_answer(folder, answer("ensemble", issued, payload(issued, out)))


def write_gauges(folder, rows, until_day):
    """rain.csv of the yard's gauge, read at seven in the morning (12 UTC)."""
    rain = rows["precipitation"]
    with (folder / "rain.csv").open("w", newline="", encoding="utf-8") as file:
        out = csv.writer(file)
        out.writerow(["gauge", "date", "amount_mm"])
        for d in range(60, until_day):
            # labels of the hours that begin at 12 UTC are one later
            mm = rain[24 * (d - 1) + 13 : 24 * d + 13].sum()
            out.writerow(["yard", f"{BEGIN + timedelta(days=d):%Y-%m-%d}", f"{mm:.2f}"])


def season(folder, *, bias=1.0, issues=40, seed=0):
    """A farm folder whose archive, gauge and `issues` daily ensembles are stored; last day."""
    small_farm(folder)
    rows, rng = truth(seed), np.random.default_rng(seed + 1)
    last = FIRST_ISSUE + issues
    for day in range(FIRST_ISSUE, last + 1):
        store_ensemble(folder, rows, day, rng, bias=bias)
    store_archive(folder, rows, last, hours=24 * last + 7)
    write_gauges(folder, rows, last)
    return rows, BEGIN + timedelta(days=last, hours=6)
