"""Weather so far: stored records hour by hour, filled gaps, and the farm's gauges."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from readiness.atmosphere.gaps import MAX_BRIDGED_H, fill_gaps
from readiness.atmosphere.weather import HOUR, VARIABLES, Weather
from readiness.forecasts.gauge_kriging import MISSED_SHOWER_H, GaugeReading, merge_gauges
from scheduler.farm.model import Farm
from scheduler.farm.slots import farm_time
from scheduler.farm.units import rough_depth
from scheduler.language.translation import _
from scheduler.weather.selection import FORECAST_PRODUCTS, ForecastCell, answers_near, read_cell
from scheduler.weather.store import StoredAnswer, stored_answers

#: Days of records that soil water starts from; assumed: the top metre forgets earlier weather.
PAST_DAYS = 180
#: Fewest days of stand-in weather where there are no records; assumed: grain moisture forgets its
#: start within them.
STAND_IN_DAYS = 5
#: Gap in the records from which the user is warned, h: the models give up on longer ones.
LONG_GAP_H = 24
FRAME_VARIABLES = (*VARIABLES, "estimated")


def records(
    folder: Path,
    cells: Sequence[ForecastCell],
    hour: np.datetime64,
    notes: list[str],
    tz: ZoneInfo,
) -> Weather | None:
    """All records up to `hour`, (1, cell, hour); unknown hours are NaN. None without records.

    Each hour is taken from the archive, the latest issue first. Without an archive, the past days
    that come with forecasts stand in for it. Gaps are filled from observations of stations, then
    from stored forecasts of those hours, the latest first, which are flagged as estimated.
    Remarks for the user are added to `notes`.
    """
    archive = stored_answers(folder, "archive")
    found = [_archive(archive, c, hour, notes) for c in cells]
    if None in found:
        found = [_archive(stored_answers(folder, "forecast"), c, hour, notes) for c in cells]
    parts = [f for f in found if f is not None]
    if len(parts) < len(cells):
        return None
    start = max(p.start for p in parts)
    joined = joined_sites([p.between(start, hour) for p in parts])
    if _unknown_hours(joined).any():
        joined = _with_gaps_filled(folder, joined, cells, hour, notes, tz)
    return fill_gaps(joined, lat=cells[0].lat, lon=cells[0].lon)


def _archive(
    found: Sequence[StoredAnswer], cell: ForecastCell, hour: np.datetime64, notes: list[str]
) -> Weather | None:
    """Past hours of the answers near a cell, one site, latest issue first; None without any."""
    near = answers_near(found, cell)
    parts = [c.payload.weather for s in near if (c := read_cell(s, notes)) is not None]
    parts = [p for p in parts if p.start < hour]
    if not parts:
        return None
    start = min(p.start for p in parts)
    out = _unknown_weather(start, int((hour - start).astype(int)))
    for part in parts:
        out = _filled_from(out, part, 0)
    return out


def _unknown_weather(start: np.datetime64, hours: int) -> Weather:
    """A frame of one site with all values unknown."""
    empty: dict[str, Any] = {n: np.full((1, 1, hours), np.nan) for n in VARIABLES}
    return Weather(start=start, **empty, estimated=np.zeros((1, 1, hours), dtype=np.bool_))


def _filled_from(weather: Weather, part: Weather, site: int, *, estimated: bool = False) -> Weather:
    """The weather with unknown values of one site taken from the first member of `part`."""
    first, stop = max(weather.start, part.start), min(weather.stop, part.stop)
    if first >= stop:
        return weather
    a, b = (int((t - weather.start).astype(int)) for t in (first, stop))
    piece = part.between(first, stop)
    new: dict[str, Any] = {n: getattr(weather, n).copy() for n in FRAME_VARIABLES}
    filled = np.zeros(b - a, dtype=np.bool_)
    for name in VARIABLES:
        row = new[name][0, site, a:b]
        gap = np.isnan(row)
        row[gap] = getattr(piece, name)[0, 0][gap]
        filled |= gap & np.isfinite(row)
    new["estimated"][0, site, a:b] |= filled & (piece.estimated[0, 0] | estimated)
    return replace(weather, **new)


def joined_sites(parts: Sequence[Weather]) -> Weather:
    """Frames of the same hours joined into one frame of all their sites."""
    joined: dict[str, Any] = {
        n: np.concatenate([getattr(p, n) for p in parts], 1) for n in FRAME_VARIABLES
    }
    return replace(parts[0], **joined)


def _unknown_hours(weather: Weather) -> NDArray[np.bool_]:
    """Hours in which rain or temperature of a site is unknown, (hour,)."""
    return np.asarray(np.isnan(weather.rain[0] + weather.temp[0]).any(axis=0))


def _with_gaps_filled(
    folder: Path,
    joined: Weather,
    cells: Sequence[ForecastCell],
    hour: np.datetime64,
    notes: list[str],
    tz: ZoneInfo,
) -> Weather:
    """The records with gaps filled from observations, then from forecasts of those hours."""
    now = pd.Timestamp(str(hour), tz="UTC")
    before = int(_unknown_hours(joined).sum())
    forecasts = [s for p in FORECAST_PRODUCTS for s in stored_answers(folder, p)]
    for estimated, found in ((False, stored_answers(folder, "observations")), (True, forecasts)):
        for at, cell in enumerate(cells):
            for answer in sorted(answers_near(found, cell), key=lambda s: -s.issued.timestamp()):
                if answer.issued > now or not np.isnan(joined.rain[0, at]).any():
                    continue
                stand_in = read_cell(answer, notes)
                if stand_in is not None:
                    joined = _filled_from(joined, stand_in.payload.weather, at, estimated=estimated)
    after = int(_unknown_hours(joined).sum())
    if before - after > MAX_BRIDGED_H:
        notes.append(
            _(
                "{hours} h of the records were not there yet; a station's observations or "
                "forecasts stand in for them.",
                hours=before - after,
            )
        )
    if after > 0:
        notes.append(_gap_note(joined, tz))
    return joined


def _gap_note(weather: Weather, tz: ZoneInfo) -> str:
    """A sentence about the longest gap."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], _unknown_hours(weather).astype(int), [0]])))
    runs = edges.reshape(-1, 2)
    a, b = runs[int(np.argmax(runs[:, 1] - runs[:, 0]))]
    fields = {"hours": str(b - a), "time": hour_text(weather.times[a], tz)}
    if b - a > LONG_GAP_H:
        return _(
            "Weather records are missing for {hours} h from {time}; ground and grain are unknown "
            "for a while after: check them by hand.",
            **fields,
        )
    return _("Weather records are missing for {hours} h from {time}.", **fields)


def hour_text(at: np.datetime64, tz: ZoneInfo) -> str:
    """A UTC hour on the farm's clock, with the date."""
    return f"{farm_time(at, tz):%Y-%m-%d %H:%M}"


def past_or_stand_in(
    past: Weather | None,
    forecast: Weather,
    hour: np.datetime64,
    notes: list[str],
    *,
    readings: Sequence[GaugeReading] = (),
) -> Weather:
    """Weather that soil and grain models run on up to now: the records, else a stand-in.

    The stand-in repeats the mean of the forecast's first day without its rain, over all days of
    the gauges' readings. Its rain is the gauges' mean, a shower in the dampest hours of a reading.
    Soil starts at field capacity, as in any run.
    """
    if past is not None and past.shape[2]:
        return past.between(max(past.start, hour - 24 * PAST_DAYS * HOUR), hour)
    day = forecast.between(hour, hour + min(24, forecast.shape[2]) * HOUR)
    days = _stand_in_days(readings, hour)
    rows: dict[str, Any] = {
        n: np.tile(getattr(day, n).mean(axis=0, keepdims=True), (1, 1, days)) for n in VARIABLES
    }
    rows["rain"] = np.zeros_like(rows["rain"])
    shape = rows["rain"].shape
    first = hour - shape[2] * HOUR
    read = [r for r in readings if r.start >= first and r.start < hour]
    for (start, hours), amounts in _by_period(read).items():
        at = int((start - first).astype(int))
        damp = np.argsort(-rows["humidity"][0, 0, at : at + hours])[:MISSED_SHOWER_H]
        rows["rain"][..., at + damp] += np.mean(amounts) / len(damp)
    notes.append(_stand_in_note(days, len(read)))
    return Weather(start=first, **rows, estimated=np.ones(shape, dtype=np.bool_))


def _stand_in_note(days: int, readings: int) -> str:
    """What the stand-in takes for granted."""
    if readings:
        return _(
            "There are no weather records: the ground is taken to be at field capacity {days} days "
            "ago, with the rain of your {readings} gauge readings since, and each day as warm and "
            "dry as the first day of the forecast. Check the ground by hand, and run `afterrain "
            "fetch` for records.",
            days=days,
            readings=readings,
        )
    return _(
        "There are no weather records and no gauge readings: the ground is taken to be at field "
        "capacity {days} days ago, without rain since, and each day as warm and dry as the first "
        "day of the forecast. Check the ground by hand, and run `afterrain fetch` for records.",
        days=days,
    )


def _by_period(
    readings: Sequence[GaugeReading],
) -> dict[tuple[np.datetime64, int], list[float]]:
    """Amounts of all gauges, mm, by start and length of the reading."""
    out: dict[tuple[np.datetime64, int], list[float]] = {}
    for r in readings:
        out.setdefault((r.start, r.hours), []).append(r.mm)
    return out


def _stand_in_days(readings: Sequence[GaugeReading], hour: np.datetime64) -> int:
    """Days of stand-in weather that hold every reading of the last `PAST_DAYS`."""
    back = [int((hour - r.start).astype(int)) for r in readings]
    days = max([-(-h // 24) for h in back if h <= 24 * PAST_DAYS], default=0)
    return max(STAND_IN_DAYS, days)


def with_gauges(
    past: Weather, farm: Farm, gauges: pd.DataFrame | None, notes: list[str]
) -> Weather:
    """Records at the fields, with the farm's gauges in place of gridded rain."""
    readings = gauge_readings(farm, gauges)
    if not readings:
        return past
    lat = np.array([f.lat for f in farm.fields])
    lon = np.array([f.lon for f in farm.fields])
    merged, error = merge_gauges(past, lat, lon, readings=readings)
    last = error[:, -24 * 7 :]
    if np.isfinite(last).any():
        worst = float(np.nanmax(last))
        notes.append(
            _(
                "Your gauges override gridded rain; at the field farthest from a gauge one reading "
                "of the last week is uncertain by ±{amount} (one standard error).",
                amount=rough_depth(worst, farm.units),
            )
        )
    return merged


def gauge_readings(farm: Farm, gauges: pd.DataFrame | None) -> list[GaugeReading]:
    """Readings of a table with their positions; those of an unknown gauge lie at the base."""
    if gauges is None:
        return []
    out = []
    columns = (gauges[c].tolist() for c in ("gauge", "time", "hours", "mm"))
    for gauge, time, hours, mm in zip(*columns, strict=True):
        lat, lon = farm.gauges.get(str(gauge), (farm.base_lat, farm.base_lon))
        at: datetime = time.astimezone(UTC) if time.tzinfo else time
        start = np.datetime64(at.replace(tzinfo=None), "h")
        out.append(GaugeReading(lat=lat, lon=lon, start=start, hours=max(1, round(hours)), mm=mm))
    return out
