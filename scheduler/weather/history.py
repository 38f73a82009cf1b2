"""Weather so far: stored records hour by hour, what stands in for gaps, and the farm's gauges."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from readiness.atmosphere.gaps import MAX_BRIDGED_H, fill_gaps
from readiness.atmosphere.weather import VARIABLES, Weather
from readiness.forecasts.gauge_kriging import GaugeReading, merge_gauges
from scheduler.farm.model import Farm
from scheduler.weather.selection import FORECAST_PRODUCTS, ForecastCell, answers_near, read_cell
from scheduler.weather.store import StoredAnswer, stored_answers

#: Records that the run of soil water begins with, days; assumed: the top metre has forgotten
#: what was before.
PAST_DAYS = 180
#: Days of stand-in weather where there are no records at all; assumed: long enough for grain to
#: forget its start.
STAND_IN_DAYS = 5
#: A gap in the records longer than this is told as long, h (the run gives up on longer ones).
LONG_GAP_H = 24
FRAME_VARIABLES = (*VARIABLES, "estimated")
HOUR = np.timedelta64(1, "h")


def records(
    folder: Path, cells: Sequence[ForecastCell], hour: np.datetime64, notes: list[str]
) -> Weather | None:
    """All records up to `hour`, (1, cell, hour); hours nobody tells are NaN. None without any.

    The archive comes first, its latest issue winning hour by hour (where there is none, the days
    past that come with a forecast); then stations' observations; then stored forecasts of those
    hours, the latest first, which are flagged.
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
    if _unknown(joined).any():
        joined = _patched(folder, joined, cells, hour, notes)
    return fill_gaps(joined, lat=cells[0].lat, lon=cells[0].lon)


def _archive(
    found: Sequence[StoredAnswer], cell: ForecastCell, hour: np.datetime64, notes: list[str]
) -> Weather | None:
    """Past hours nearest to a cell, one site; None where there are none."""
    near = answers_near(found, cell)
    parts = [c.payload.weather for s in near if (c := read_cell(s, notes)) is not None]
    parts = [p for p in parts if p.start < hour]
    if not parts:
        return None
    start = min(p.start for p in parts)
    out = _nothing(start, int((hour - start).astype(int)))
    for part in parts:
        out = _overlaid(out, part, 0)
    return out


def _nothing(start: np.datetime64, hours: int) -> Weather:
    """Weather of one site of which nothing is known."""
    empty: dict[str, Any] = {n: np.full((1, 1, hours), np.nan) for n in VARIABLES}
    return Weather(start=start, **empty, estimated=np.zeros((1, 1, hours), dtype=np.bool_))


def _overlaid(weather: Weather, part: Weather, site: int, *, guess: bool = False) -> Weather:
    """Unknown hours of one site taken from the first member of a part."""
    first, stop = max(weather.start, part.start), min(weather.times[-1], part.times[-1]) + 1
    if first >= stop:
        return weather
    a, b = (int((t - weather.start).astype(int)) for t in (first, stop))
    piece = part.between(first, stop)
    new: dict[str, Any] = {n: getattr(weather, n).copy() for n in FRAME_VARIABLES}
    took = np.zeros(b - a, dtype=np.bool_)
    for name in VARIABLES:
        row = new[name][0, site, a:b]
        gap = np.isnan(row)
        row[gap] = getattr(piece, name)[0, 0][gap]
        took |= gap & np.isfinite(row)
    new["estimated"][0, site, a:b] |= took & (piece.estimated[0, 0] | guess)
    return replace(weather, **new)


def joined_sites(parts: Sequence[Weather]) -> Weather:
    """One-site frames of the same hours as one frame of many sites."""
    joined: dict[str, Any] = {
        n: np.concatenate([getattr(p, n) for p in parts], 1) for n in FRAME_VARIABLES
    }
    return replace(parts[0], **joined)


def _unknown(weather: Weather) -> np.ndarray[Any, np.dtype[np.bool_]]:
    """Hours in which rain or temperature of any site is unknown, (hour,)."""
    return np.asarray(np.isnan(weather.rain[0] + weather.temp[0]).any(axis=0))


def _patched(
    folder: Path,
    joined: Weather,
    cells: Sequence[ForecastCell],
    hour: np.datetime64,
    notes: list[str],
) -> Weather:
    """Hours the archive does not tell, out of observations, then of forecasts of those hours."""
    now = pd.Timestamp(str(hour), tz="UTC")
    before = int(_unknown(joined).sum())
    others = [s for p in FORECAST_PRODUCTS for s in stored_answers(folder, p)]
    for guess, found in ((False, stored_answers(folder, "observations")), (True, others)):
        for at, cell in enumerate(cells):
            for one in sorted(answers_near(found, cell), key=lambda s: -s.issued.timestamp()):
                if one.issued > now or not np.isnan(joined.rain[0, at]).any():
                    continue
                told = read_cell(one, notes)
                if told is not None:
                    joined = _overlaid(joined, told.payload.weather, at, guess=guess)
    after = int(_unknown(joined).sum())
    if before - after > MAX_BRIDGED_H:
        notes.append(
            f"{before - after} h of the records were not there yet; a station's observations or "
            "forecasts stand in for them."
        )
    if after > 0:
        notes.append(_gap_told(joined))
    return joined


def _gap_told(weather: Weather) -> str:
    """The longest gap in words."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], _unknown(weather).astype(int), [0]])))
    runs = edges.reshape(-1, 2)
    a, b = runs[int(np.argmax(runs[:, 1] - runs[:, 0]))]
    text = f"Weather records are missing for {b - a} h from {utc_text(weather.times[a])}"
    if b - a > LONG_GAP_H:
        return f"{text}; ground and grain are unknown for a while after: check them by hand."
    return f"{text}."


def utc_text(at: np.datetime64) -> str:
    """An hour in words."""
    return f"{pd.Timestamp(str(at)):%Y-%m-%d %H:%M} UTC"


def past_or_stand_in(
    known: Weather | None, ahead: Weather, hour: np.datetime64, notes: list[str]
) -> Weather:
    """Records for the run up to now; a stand-in where there are none.

    The stand-in repeats the mean of the forecast's first day without rain, so that the run has
    an air to start in; ground begins at field capacity as in any run.
    """
    if known is not None and known.shape[2]:
        return known.between(max(known.start, hour - 24 * PAST_DAYS * HOUR), hour)
    day = ahead.between(hour, hour + min(24, ahead.shape[2]) * HOUR)
    rows: dict[str, Any] = {
        n: np.tile(getattr(day, n).mean(axis=0, keepdims=True), (1, 1, STAND_IN_DAYS))
        for n in VARIABLES
    }
    rows["rain"] = np.zeros_like(rows["rain"])
    notes.append(
        f"There are no weather records: the ground is taken to have drained for {STAND_IN_DAYS} "
        "dry days from field capacity; check it by hand, and run `afterrain fetch` for records."
    )
    shape = rows["rain"].shape
    return Weather(start=hour - shape[2] * HOUR, **rows, estimated=np.ones(shape, dtype=np.bool_))


def with_gauges(
    past: Weather, farm: Farm, gauges: pd.DataFrame | None, notes: list[str]
) -> Weather:
    """Records at the fields with the farm's own gauges in the place of gridded rain."""
    readings = gauge_readings(farm, gauges)
    if not readings:
        return past
    lat = np.array([f.lat for f in farm.fields])
    lon = np.array([f.lon for f in farm.fields])
    merged, error = merge_gauges(past, lat, lon, readings=readings)
    last = error[:, -24 * 7 :]
    if np.isfinite(last).any():
        worst = float(np.nanmax(last))
        amount = f"{worst / 25.4:.1f} in" if farm.units == "us" else f"{worst:.0f} mm"
        notes.append(
            "Your gauges override gridded rain; at the field farthest from a gauge one reading "
            f"of the last week is uncertain by ±{amount} (one standard error)."
        )
    return merged


def gauge_readings(farm: Farm, gauges: pd.DataFrame | None) -> list[GaugeReading]:
    """The gauges' table as readings with a place; one of an unknown gauge is at the base."""
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
