"""Forecast rain corrected by past forecasts of rain and the gauges' readings of it."""

from __future__ import annotations

import io
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import NamedTuple
from zipfile import BadZipFile

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import HOUR, Array
from readiness.forecasts.dressing import CORRELATION
from readiness.forecasts.gauge_kriging import GaugeReading, distance_km
from readiness.forecasts.rain_calibration import fit_correlation, frequency_match
from scheduler.atomic import write_file
from scheduler.weather.selection import MAX_DISTANCE_KM, read_cell
from scheduler.weather.store import StoredAnswer, stored_answers

#: Readings that count as daily, h: people do not read gauges on the minute, and clocks change.
DAILY_READING_H = (22, 26)
#: Fewest days with forecast and reading for a correction; assumed: fewer than a month of summer
#: holds too few rains.
MIN_PAIRED_DAYS = 30
#: Leads (days) that are corrected together; assumed, so that each group has enough rains.
LEAD_GROUPS = ((1, 3), (4, 7), (8, 16))
#: Weight of the default correlation, in days of own pairs; assumed.
PRIOR_DAYS = 30.0
CACHE = Path("cache") / "forecast_rain"


@dataclass(frozen=True, kw_only=True)
class RainPairs:
    """Daily rain as forecast and as measured, mm.

    Attributes
    ----------
    lead : (n,) day of the forecast, 1 for the first 24 h after its issue.
    forecast : (n, member).
    measured : (n,).
    day : (n,) date on which the reading began, as days since 1970, for sampling errors.
    """

    lead: NDArray[np.int64]
    forecast: Array
    measured: Array
    day: NDArray[np.int64]

    def of(self, first: int, last: int) -> RainPairs:
        """The pairs with leads from `first` to `last`."""
        k = (self.lead >= first) & (self.lead <= last)
        return RainPairs(
            lead=self.lead[k], forecast=self.forecast[k], measured=self.measured[k], day=self.day[k]
        )

    @property
    def days(self) -> int:
        """Number of distinct days."""
        return len(np.unique(self.day))


class _Pair(NamedTuple):
    """One reading with the forecast of it; see `RainPairs`."""

    lead: int
    forecast: Array
    measured: float
    day: int


def rain_pairs(
    folder: Path, readings: Sequence[GaugeReading], product: str, *, until: datetime
) -> RainPairs:
    """Pair daily readings with every stored forecast that was issued before them.

    The last issue of each day and cell counts.

    Parameters
    ----------
    product : product of the stored forecasts.
    until : readings end, and forecasts are issued, by then; aware time.
    """
    hour = np.datetime64(until.replace(tzinfo=None), "h")
    daily = [
        r
        for r in readings
        if DAILY_READING_H[0] <= r.hours <= DAILY_READING_H[1] and r.start + r.hours * HOUR <= hour
    ]
    pairs: list[_Pair] = []
    if daily:
        known = [s for s in stored_answers(folder, product) if s.issued <= until]
        for answer in _last_of_each_day(known):
            pairs += _pairs_of(folder, answer, daily)
    members = min((len(p.forecast) for p in pairs), default=1)
    return RainPairs(
        lead=np.array([p.lead for p in pairs], dtype=np.int64),
        forecast=np.array([p.forecast[:members] for p in pairs]).reshape(-1, members),
        measured=np.array([p.measured for p in pairs], dtype=np.float64),
        day=np.array([p.day for p in pairs], dtype=np.int64),
    )


def _last_of_each_day(answers: Sequence[StoredAnswer]) -> list[StoredAnswer]:
    """The last issue of each day and place."""
    last: dict[tuple[date, float, float], StoredAnswer] = {}
    for answer in sorted(answers, key=lambda s: s.issued):
        last[answer.issued.date(), answer.lat, answer.lon] = answer
    return list(last.values())


def _pairs_of(folder: Path, answer: StoredAnswer, readings: Sequence[GaugeReading]) -> list[_Pair]:
    """Pairs of one stored forecast with the gauges near its cell."""
    issued = np.datetime64(answer.issued.replace(tzinfo=None), "h")
    cell = np.array([answer.lat]), np.array([answer.lon])
    near = [
        r
        for r in readings
        if r.start >= issued
        and distance_km(np.array([r.lat]), np.array([r.lon]), *cell)[0, 0] <= MAX_DISTANCE_KM / 2
    ]
    hourly = forecast_rain(folder, answer) if near else None
    if hourly is None:
        return []
    start, rain = hourly
    pairs = []
    for r in near:
        first = int((r.start - start).astype(int))
        if first >= 0 and first + r.hours <= rain.shape[1]:
            amounts = rain[:, first : first + r.hours].sum(axis=1)
            lead = int((r.start - issued).astype(int)) // 24 + 1
            if np.isfinite(amounts).all():
                day = int(r.start.astype("datetime64[D]").astype(int))
                pairs.append(_Pair(lead, amounts, r.mm, day))
    return pairs


def forecast_rain(folder: Path, answer: StoredAnswer) -> tuple[np.datetime64, Array] | None:
    """First hour and hourly rain (member, hour) of a stored forecast; None where it is broken.

    The cache keeps a copy, because a large response takes fifty times as long to read.
    """
    copy = folder / CACHE / f"{answer.path.stem}.npz"
    stamp = answer.path.stat().st_mtime_ns
    with suppress(OSError, ValueError, KeyError, EOFError, BadZipFile), np.load(copy) as kept:
        if int(kept["stamp"]) == stamp:
            return kept["start"].astype("datetime64[h]")[()], kept["rain"].astype(np.float64)
    cell = read_cell(answer, [])
    if cell is None:
        return None
    weather = cell.payload.weather
    rain = weather.rain[:, 0]
    content = io.BytesIO()
    np.savez_compressed(
        content, start=weather.start, rain=rain.astype(np.float32), stamp=np.int64(stamp)
    )
    with suppress(OSError):  # the cache saves time only
        copy.parent.mkdir(parents=True, exist_ok=True)
        write_file(copy, content.getvalue())
    return weather.start, rain


def bias_corrected(rain: Array, pairs: RainPairs, *, lead: float) -> tuple[Array, tuple[int, ...]]:
    """Hourly rain of members with daily amounts matched to the gauges' frequencies.

    Parameters
    ----------
    rain : (member, site, hour) from now on, mm. Whole days are corrected, in those `LEAD_GROUPS`
        that have pairs of `MIN_PAIRED_DAYS` days or more.
    lead : age of the forecast now, h.

    Returns
    -------
    The corrected rain, and the indices of the groups corrected.
    """
    out, corrected = rain.copy(), []
    days = rain.shape[2] // 24
    leads = (lead / 24.0 + np.arange(days)).astype(int) + 1
    for n, (first, last) in enumerate(LEAD_GROUPS):
        group = pairs.of(first, last)
        in_group = np.flatnonzero((leads >= first) & (leads <= last))
        if group.days < MIN_PAIRED_DAYS or not len(in_group):
            continue
        corrected.append(n)
        for d in in_group:
            hours = slice(24 * d, 24 * d + 24)
            amount = out[:, :, hours].sum(axis=2)
            matched = frequency_match(amount, group.forecast.ravel(), group.measured)
            ratio = np.divide(matched, amount, out=np.zeros_like(matched), where=amount > 0)
            out[:, :, hours] *= ratio[:, :, None]
    return out, tuple(corrected)


def learnt_correlation(pairs: RainPairs) -> dict[str, Sequence[float]]:
    """Correlation of a single forecast's rain by lead day, fitted and shrunk to the default."""
    by_lead = list(CORRELATION["rain"])
    for i, default in enumerate(by_lead):
        own = pairs.of(i + 1, i + 1)
        if own.days >= MIN_PAIRED_DAYS and (own.measured > 0).any() and (own.forecast > 0).any():
            fit = fit_correlation(own.forecast[:, 0], own.measured)
            by_lead[i] = (own.days * fit + PRIOR_DAYS * default) / (own.days + PRIOR_DAYS)
    return {"rain": tuple(by_lead)}
