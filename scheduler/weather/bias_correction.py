"""What stored forecasts said of rain, beside what the gauges then caught."""

from __future__ import annotations

import io
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any
from zipfile import BadZipFile

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array
from readiness.forecasts.dressing import CORRELATION
from readiness.forecasts.gauge_kriging import GaugeReading, distance_km
from readiness.forecasts.rain_calibration import fit_correlation, frequency_match
from scheduler.atomic import write_file
from scheduler.weather.selection import MAX_DISTANCE_KM, read_cell
from scheduler.weather.store import StoredAnswer, stored_answers

#: Readings that count as a day, h: gauges are not read on the minute, and clocks change.
DAILY_READING_H = (22, 26)
#: Days with a forecast and a reading from which past forecasts teach; assumed: fewer than a
#: month of summer holds too few rains.
MIN_PAIRED_DAYS = 30
#: Leads (days) that are corrected together; assumed, so that each group has enough rains.
LEAD_GROUPS = ((1, 3), (4, 7), (8, 16))
#: Weight of the default correlation, in days of own pairs; assumed.
PRIOR_DAYS = 30.0
CACHE = Path("cache") / "told"


@dataclass(frozen=True, kw_only=True)
class RainPairs:
    """Forecast and caught daily rain, mm.

    Attributes
    ----------
    lead : (n,) day of the forecast, 1 for the first 24 h after its issue.
    forecast : (n, member). measured : (n,).
    day : (n,) date on which the reading began, as days since 1970, for sampling errors.
    """

    lead: NDArray[np.int64]
    forecast: Array
    measured: Array
    day: NDArray[np.int64]

    def of(self, first: int, last: int) -> RainPairs:
        """Those of the leads from `first` to `last`."""
        k = (self.lead >= first) & (self.lead <= last)
        return RainPairs(
            lead=self.lead[k], forecast=self.forecast[k], measured=self.measured[k], day=self.day[k]
        )

    @property
    def days(self) -> int:
        """Different days among them."""
        return len(np.unique(self.day))


def rain_pairs(
    folder: Path, readings: Sequence[GaugeReading], product: str, *, until: datetime
) -> RainPairs:
    """Daily readings that end by `until` with every stored forecast that was made before them.

    Of several issues a day of one cell the last is taken.
    """
    hour = np.datetime64(until.replace(tzinfo=None), "h")
    daily = [
        r
        for r in readings
        if DAILY_READING_H[0] <= r.hours <= DAILY_READING_H[1] and r.start + r.hours <= hour
    ]
    found: list[tuple[int, Array, float, int]] = []
    if daily:
        for one in _one_a_day([s for s in stored_answers(folder, product) if s.issued <= until]):
            found += _pairs_of(folder, one, daily)
    members = min((len(t) for _, t, _, _ in found), default=1)
    return RainPairs(
        lead=np.array([lead for lead, _, _, _ in found], dtype=np.int64),
        forecast=np.array([t[:members] for _, t, _, _ in found]).reshape(-1, members),
        measured=np.array([mm for _, _, mm, _ in found], dtype=np.float64),
        day=np.array([day for _, _, _, day in found], dtype=np.int64),
    )


def _one_a_day(found: Sequence[StoredAnswer]) -> list[StoredAnswer]:
    """The last issue of each day and place."""
    last: dict[tuple[object, ...], StoredAnswer] = {}
    for one in sorted(found, key=lambda s: s.issued):
        last[one.issued.date(), one.lat, one.lon] = one
    return list(last.values())


def _pairs_of(
    folder: Path, one: StoredAnswer, readings: Sequence[GaugeReading]
) -> list[tuple[int, Array, float, int]]:
    """Pairs of one stored forecast with the gauges whose nearest cell it is."""
    issued = np.datetime64(one.issued.replace(tzinfo=None), "h")
    later = [r for r in readings if r.start >= issued]
    near = [r for r in later if distance_km(
        np.array([r.lat]), np.array([r.lon]), np.array([one.lat]), np.array([one.lon])
    )[0, 0] <= MAX_DISTANCE_KM / 2]  # fmt: skip
    told = forecast_rain(folder, one) if near else None
    if told is None:
        return []
    start, rain = told
    out = []
    for r in near:
        a = int((r.start - start).astype(int))
        if a >= 0 and a + r.hours <= rain.shape[1]:
            amounts = rain[:, a : a + r.hours].sum(axis=1)
            lead = int((r.start - issued).astype(int)) // 24 + 1
            if np.isfinite(amounts).all():
                out.append((lead, amounts, r.mm, int(r.start.astype("datetime64[D]").astype(int))))
    return out


def forecast_rain(folder: Path, one: StoredAnswer) -> tuple[np.datetime64, Array] | None:
    """First hour and hourly rain (member, hour) of a stored forecast; None where it is broken.

    A copy is kept in the cache, because reading a large response takes fifty times as long.
    """
    kept = folder / CACHE / f"{one.path.stem}.npz"
    stamp = one.path.stat().st_mtime_ns
    with suppress(OSError, ValueError, KeyError, EOFError, BadZipFile), np.load(kept) as held:
        if int(held["stamp"]) == stamp:
            return held["start"].astype("datetime64[h]")[()], held["rain"].astype(np.float64)
    cell = read_cell(one, [])
    if cell is None:
        return None
    weather = cell.payload.weather
    rain = weather.rain[:, 0]
    _keep(kept, start=weather.start, rain=rain.astype(np.float32), stamp=np.int64(stamp))
    return weather.start, rain


def _keep(path: Path, **arrays: Any) -> None:
    """Write to the cache; a cache that cannot be written is done without."""
    content = io.BytesIO()
    np.savez_compressed(content, **arrays)
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        write_file(path, content.getvalue())


def bias_corrected(rain: Array, pairs: RainPairs, *, lead: float) -> tuple[Array, tuple[int, ...]]:
    """Members' hourly rain with daily amounts matched to the gauges, and the groups corrected.

    Parameters
    ----------
    rain : (member, site, hour) from now on; whole days are corrected, by those `LEAD_GROUPS`
        that have `MIN_PAIRED_DAYS` days of pairs or more.
    lead : age of the forecast now, h.
    """
    out, done = rain.copy(), []
    days = rain.shape[2] // 24
    leads = (lead / 24.0 + np.arange(days)).astype(int) + 1
    for n, (first, last) in enumerate(LEAD_GROUPS):
        group = pairs.of(first, last)
        hit = np.flatnonzero((leads >= first) & (leads <= last))
        if group.days < MIN_PAIRED_DAYS or not len(hit):
            continue
        done.append(n)
        for d in hit:
            cut = slice(24 * d, 24 * d + 24)
            amount = out[:, :, cut].sum(axis=2)
            new = frequency_match(amount, group.forecast.ravel(), group.measured)
            ratio = np.divide(new, amount, out=np.zeros_like(new), where=amount > 0)
            out[:, :, cut] *= ratio[:, :, None]
    return out, tuple(done)


def learnt_correlation(pairs: RainPairs) -> dict[str, Sequence[float]]:
    """Rain correlations by lead day out of pairs of a single forecast, drawn to the defaults."""
    rows = list(CORRELATION["rain"])
    for i, default in enumerate(rows):
        own = pairs.of(i + 1, i + 1)
        if own.days >= MIN_PAIRED_DAYS and (own.measured > 0).any() and (own.forecast > 0).any():
            fit = fit_correlation(own.forecast[:, 0], own.measured)
            rows[i] = (own.days * fit + PRIOR_DAYS * default) / (own.days + PRIOR_DAYS)
    return {"rain": tuple(rows)}
