"""Weather for every field: records up to now, members from now on, and what to know of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from readiness.ensemble import ShortRecordError, continued, dress
from readiness.gaps import filled
from readiness.payloads import Payload, PayloadError, parse
from readiness.rainfall import Reading, distance_km, merge_gauges
from readiness.weather import VARIABLES, Array, Weather
from scheduler.errors import WeatherError
from scheduler.farm import Farm, Field
from scheduler.forecast_file import read_forecast
from scheduler.forecast_store import Stored, read_answer, stored

#: Products that hold a forecast, best first: own members, then single forecasts to be dressed.
FORECASTS = ("ensemble", "forecast", "gridpoint")
#: A product that is newer by this many hours is taken before a better one; assumed: two runs of
#: an ensemble missed.
NEWER_H = 12.0
#: Farthest a forecast or record may lie from a field, km; assumed: about the diagonal of a cell
#: of a quarter degree.
FAR_KM = 40.0
#: Records that the run of soil water begins with, days; assumed: the top metre has forgotten
#: what was before.
PAST_DAYS = 180
#: Days of stand-in weather where there are no records at all; assumed: long enough for grain to
#: forget its start.
STAND_IN_DAYS = 5
#: Chance of thunder from which a member's rain counts as a thunderstorm, percent; assumed, on
#: the side of people.
THUNDER_PCT = 20.0
#: A gap in the records longer than this is told, h.
LONG_GAP_H = 24
HOUR = np.timedelta64(1, "h")


@dataclass(frozen=True, kw_only=True)
class FarmWeather:
    """Weather on the farm's fields.

    Attributes
    ----------
    past : (1, field, hour), from the start of the records to now.
    ahead : (member, field, hour), from now to now + days.
    lightning : bool (member or 1, field, hour of ahead) where a thunderstorm is expected; None
        where nothing tells.
    source : where the forecast came from. issued, age_h : when, and its age now in hours.
    notes : plain sentences the user must know.
    """

    past: Weather
    ahead: Weather
    lightning: NDArray[np.bool_] | None
    source: str
    issued: datetime | None
    age_h: float | None
    notes: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Cell:
    """A forecast of one grid cell."""

    lat: float
    lon: float
    payload: Payload
    source: str
    issued: datetime | None


def weather_for(
    folder: Path,
    farm: Farm,
    now: datetime,
    *,
    days: int,
    forecast: Path | None = None,
    seed: int = 0,
    gauges: pd.DataFrame | None = None,
) -> FarmWeather:
    """Weather of a farm at an hour, from what is stored; nothing is fetched.

    Parameters
    ----------
    now : aware time; only forecasts issued by then are used.
    days : horizon; past the forecast's end members go on as analogues out of the records.
    forecast : a forecast file instead of the stored ones.
    gauges : gauge, time (UTC, start), hours, mm.

    Raises
    ------
    WeatherError
        Where there is no forecast, or none young enough or that covers `now`.
    """
    folder = Path(folder)
    hour = np.datetime64(now.astimezone(UTC).replace(tzinfo=None), "h")
    notes: list[str] = []
    cells = (
        _given(folder, forecast, farm, now, notes)
        if forecast
        else _choose(folder, farm, now, notes)
    )
    issued = min((c.issued for c in cells if c.issued), default=None)
    age = None if issued is None else (now - issued) / timedelta(hours=1)
    field_cell = np.array(_nearest(farm.fields, [(c.lat, c.lon) for c in cells])[0])
    records = _records(folder, cells, hour, notes)
    ahead = _ahead(cells, records, hour, days, seed, notes)
    past = _past(records, ahead, hour, notes).sites(field_cell)
    past = _gauged(past, farm, gauges, notes)
    ahead = ahead.sites(field_cell)
    thunder = _thunder(cells, ahead)
    _told_age(farm, age, cells[0].source, issued, notes)
    return FarmWeather(
        past=past,
        ahead=ahead,
        lightning=None if thunder is None else thunder[:, field_cell] & (ahead.rain > 0.0),
        source=cells[0].source,
        issued=issued,
        age_h=age,
        notes=tuple(notes),
    )


def _told_age(
    farm: Farm, age: float | None, source: str, issued: datetime | None, notes: list[str]
) -> None:
    if age is None or issued is None:
        notes.append("The forecast does not say when it was issued; its age is unknown.")
    elif age > NEWER_H:
        local = issued.astimezone(farm.tz)
        notes.append(
            f"The forecast ({source}) is {age:.0f} h old, issued {local:%a %d %b %H:%M}; "
            "run `afterrain fetch` when there is a line."
        )


def _nearest(
    fields: Sequence[Field], places: Sequence[tuple[float, float]]
) -> tuple[list[int], Array]:
    """Index of the place nearest to each field, and how far it is, km."""
    lat, lon = np.array([f.lat for f in fields]), np.array([f.lon for f in fields])
    spots = np.array(places)
    away = distance_km(lat, lon, spots[:, 0], spots[:, 1])
    return [int(i) for i in away.argmin(axis=1)], away.min(axis=1)


def _given(folder: Path, path: Path, farm: Farm, now: datetime, notes: list[str]) -> list[Cell]:
    """The forecast of a file for the whole farm, once for each cell of records."""
    found = read_forecast(Path(path), farm)
    cell = Cell(lat=found.payload.lat, lon=found.payload.lon, payload=found.payload,
                source=found.source, issued=found.issued)  # fmt: skip
    if cell.issued is not None:
        if cell.issued > now + timedelta(minutes=1):
            raise WeatherError(
                f"{path}: was issued {_when(cell.issued, farm)}, after the planning time "
                f"{_when(now, farm)}; check the date asked for and this computer's clock"
            )
        _check_age(farm, cell.issued, now)
    _, km = _nearest(farm.fields, [(cell.lat, cell.lon)])
    if (far := float(km.max())) > FAR_KM:
        notes.append(f"The forecast given is for a place {far:.0f} km from the farthest field.")
    places = sorted({(s.lat, s.lon) for s in stored(folder, "archive")})
    if not places:
        return [cell]
    near = sorted({places[i] for i in _nearest(farm.fields, places)[0]})
    return [replace(cell, lat=lat, lon=lon) for lat, lon in near]


def _choose(folder: Path, farm: Farm, now: datetime, notes: list[str]) -> list[Cell]:
    """The latest good cells of the product to use, one at least near every field."""
    sets: dict[str, list[Cell]] = {}
    for product in FORECASTS:
        cells = _latest(stored(folder, product), farm, now, notes)
        if cells:
            sets[product] = cells
    if not sets:
        raise _no_forecast(folder, farm, now)
    issue = {p: min(c.issued for c in cells if c.issued) for p, cells in sets.items()}
    newest = max(issue.values())
    product = next(p for p in FORECASTS
                   if p in sets and newest - issue[p] < timedelta(hours=NEWER_H))  # fmt: skip
    _check_age(farm, issue[product], now)
    return sets[product]


def _latest(found: Sequence[Stored], farm: Farm, now: datetime, notes: list[str]) -> list[Cell]:
    """For each field the nearest cell, in its latest readable issue; [] where a field has none."""
    ripe = [s for s in found if s.issued <= now + timedelta(minutes=1)]
    if not ripe:
        return []
    places = sorted({(s.lat, s.lon) for s in ripe})
    wanted, km = _nearest(farm.fields, places)
    if float(km.max()) > FAR_KM:
        return []
    cells = []
    for at in sorted(set(wanted)):
        lat, lon = places[at]
        issues = [s for s in ripe if (s.lat, s.lon) == (lat, lon)]
        cell = next((c for s in issues if (c := _readable(s, notes)) is not None), None)
        if cell is None:
            return []
        cells.append(cell)
    return cells


def _readable(one: Stored, notes: list[str]) -> Cell | None:
    """The stored forecast, None (noted) where it is broken."""
    try:
        answer = read_answer(one.path)
        payload = parse(answer.payload)
    except WeatherError as error:
        notes.append(f"Passed over {error}.")
        return None
    except PayloadError as error:
        notes.append(f"Passed over {one.path.name}: {error}.")
        return None
    return Cell(lat=one.lat, lon=one.lon, payload=payload,
                source=f"{answer.source} {answer.product}", issued=answer.issued)  # fmt: skip


def _no_forecast(folder: Path, farm: Farm, now: datetime) -> WeatherError:
    """Why nothing stored can be used."""
    found = [s for p in FORECASTS for s in stored(folder, p)]
    later = [s.issued for s in found if s.issued > now]
    if found and len(later) == len(found):
        return WeatherError(
            f"the planning time {_when(now, farm)} is before every stored forecast, the first "
            f"issued {_when(min(later), farm)}; check the date asked for and this computer's clock"
        )
    what = "no stored forecast covers the fields" if found else "there is no stored forecast"
    return WeatherError(
        f"{folder}: {what}; run `afterrain fetch {folder}`, or give one with --forecast FILE"
    )


def _check_age(farm: Farm, issued: datetime, now: datetime) -> None:
    """Refuse politely what is older than the farm's limit."""
    age, limit = (now - issued) / timedelta(hours=1), farm.rules.forecast_age_max_h
    if age > limit:
        raise WeatherError(
            f"the last good forecast is {age:.0f} h old (issued {_when(issued, farm)}), the "
            f"farm's limit is {limit:.0f} h; run `afterrain fetch`, give one with --forecast "
            "FILE, or raise forecast_age_max_h under [rules] in farm.toml"
        )


def _when(at: datetime, farm: Farm) -> str:
    return f"{at.astimezone(farm.tz):%Y-%m-%d %H:%M}"


# ---- records -------------------------------------------------------------------------------------


def _records(
    folder: Path, cells: Sequence[Cell], hour: np.datetime64, notes: list[str]
) -> Weather | None:
    """All records up to `hour`, (1, cell, hour); hours nobody tells are NaN. None without any."""
    archive = stored(folder, "archive")
    found = [_gathered(archive, c, hour, lambda p: True, notes) for c in cells]
    if any(f is None for f in found):
        return None
    parts = [f for f in found if f is not None]
    start = max(p.start for p in parts)
    joined = _stack([p.between(start, hour) for p in parts])
    recent = [s for p in ("observations", *FORECASTS) for s in stored(folder, p)]
    if np.isnan(joined.rain).any() or np.isnan(joined.temp).any():
        joined = _patched(joined, recent, cells, notes)
    lat, lon = cells[0].lat, cells[0].lon
    return filled(joined, lat=lat, lon=lon)


def _gathered(
    found: Sequence[Stored],
    cell: Cell,
    hour: np.datetime64,
    wanted: Callable[[Payload], bool],
    notes: list[str],
) -> Weather | None:
    """Stored records nearest to a cell, one site, the latest issue winning hour by hour."""
    if not found:
        return None
    places = sorted({(s.lat, s.lon) for s in found})
    lats, lons = np.array(places).T
    away = distance_km(np.array([cell.lat]), np.array([cell.lon]), lats, lons)[0]
    if away.min() > FAR_KM:
        return None
    near = places[int(away.argmin())]
    parts = [c.payload.weather for s in found if (s.lat, s.lon) == near
             and (c := _readable(s, notes)) is not None]  # fmt: skip
    parts = [p for p in parts if p.start < hour]
    if not parts:
        return None
    start = min(p.start for p in parts)
    out = _unknown(start, 1, int((hour - start).astype(int)))
    for part in parts:
        out = _overlaid(out, part, 0)
    return out


def _unknown(start: np.datetime64, sites: int, hours: int) -> Weather:
    """Weather of which nothing is known."""
    empty = {n: np.full((1, sites, hours), np.nan) for n in VARIABLES}
    return Weather(start=np.datetime64(start, "h"), **empty,
                   estimated=np.zeros((1, sites, hours), dtype=np.bool_))  # fmt: skip


def _overlaid(weather: Weather, part: Weather, site: int, *, guess: bool = False) -> Weather:
    """Unknown hours of one site taken from the first member of a part."""
    first, stop = max(weather.start, part.start), min(weather.times[-1], part.times[-1]) + 1
    if first >= stop:
        return weather
    a, b = (int((t - weather.start).astype(int)) for t in (first, stop))
    piece = part.between(first, stop)
    new = {n: getattr(weather, n).copy() for n in (*VARIABLES, "estimated")}
    took = np.zeros(b - a, dtype=np.bool_)
    for name in VARIABLES:
        row = new[name][0, site, a:b]
        gap = np.isnan(row)
        row[gap] = getattr(piece, name)[0, 0][gap]
        took |= gap & np.isfinite(row)
    new["estimated"][0, site, a:b] |= took & (piece.estimated[0, 0] | guess)
    return replace(weather, **new)


def _stack(parts: Sequence[Weather]) -> Weather:
    """One-site frames of the same hours side by side."""
    names = (*VARIABLES, "estimated")
    return replace(
        parts[0], **{n: np.concatenate([getattr(p, n) for p in parts], axis=1) for n in names}
    )


def _patched(
    records: Weather, recent: Sequence[Stored], cells: Sequence[Cell], notes: list[str]
) -> Weather:
    """Hours the archive does not tell, out of observations, then of forecasts of those hours."""
    before = int(np.isnan(records.rain[0]).any(axis=0).sum())
    for at, cell in enumerate(cells):
        for one in sorted(recent, key=lambda s: -s.issued.timestamp()):
            if not np.isnan(records.rain[0, at]).any():
                break
            away = distance_km(np.array([cell.lat]), np.array([cell.lon]),
                               np.array([one.lat]), np.array([one.lon]))  # fmt: skip
            if away[0, 0] <= FAR_KM and (found := _readable(one, notes)) is not None:
                records = _overlaid(records, found.payload.weather, at, guess=True)
    after = int(np.isnan(records.rain[0]).any(axis=0).sum())
    if before > after:
        notes.append(
            f"{before - after} h of the records were not there yet and are taken from forecasts."
        )
    if after > 0:
        notes.append(_gap_told(records))
    return records


def _gap_told(records: Weather) -> str:
    """The longest gap in words."""
    gap = np.isnan(records.rain[0]).any(axis=0)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], gap.astype(int), [0]])))
    runs = edges.reshape(-1, 2)
    a, b = runs[int(np.argmax(runs[:, 1] - runs[:, 0]))]
    text = f"Weather records are missing for {b - a} h from {_utc(records.times[a])}"
    if b - a > LONG_GAP_H:
        return f"{text}; ground and grain are unknown for a while after: check them by hand."
    return f"{text}."


def _utc(at: np.datetime64) -> str:
    return f"{pd.Timestamp(at):%Y-%m-%d %H:%M} UTC"


def _past(
    records: Weather | None, ahead: Weather, hour: np.datetime64, notes: list[str]
) -> Weather:
    """Records for the run up to now; a stand-in where there are none."""
    if records is not None and records.shape[2]:
        first = max(records.start, hour - np.timedelta64(24 * PAST_DAYS, "h"))
        return records.between(first, hour)
    hours = min(24, ahead.shape[2])
    day = ahead.between(hour, hour + hours)
    rows = {n: np.tile(getattr(day, n).mean(axis=0, keepdims=True), (1, 1, STAND_IN_DAYS))
            for n in VARIABLES}  # fmt: skip
    rows["rain"] = np.zeros_like(rows["rain"])
    notes.append(
        "There are no weather records: the ground is taken to have drained for "
        f"{STAND_IN_DAYS} dry days from field capacity; check it by hand, and run `afterrain "
        "fetch` for records."
    )
    return Weather(start=hour - rows["rain"].shape[2] * HOUR, **rows,
                   estimated=np.ones(rows["rain"].shape, dtype=np.bool_))  # fmt: skip


def _gauged(past: Weather, farm: Farm, gauges: pd.DataFrame | None, notes: list[str]) -> Weather:
    """The farm's own gauges override gridded rain."""
    if gauges is None or gauges.empty:
        return past
    readings = []
    for row in gauges.itertuples():
        lat, lon = farm.gauges.get(str(row.gauge), (farm.base_lat, farm.base_lon))
        start = pd.Timestamp(row.time)
        start = start.tz_convert(None) if start.tzinfo else start
        readings.append(
            Reading(lat=lat, lon=lon, start=np.datetime64(start.floor("h"), "h"),
                    hours=max(1, round(float(row.hours))), mm=float(row.mm))
        )  # fmt: skip
    lat = np.array([f.lat for f in farm.fields])
    lon = np.array([f.lon for f in farm.fields])
    merged, error = merge_gauges(past, lat, lon, readings=readings)
    last = error[:, -24 * 7 :]
    if np.isfinite(last).any():
        worst = float(np.nanmax(last))
        notes.append(
            f"Rain of your gauges overrides gridded rain; between gauges one reading of the last "
            f"week is uncertain by up to ±{worst:.0f} mm (one standard error)."
        )
    return merged


# ---- ahead ---------------------------------------------------------------------------------------


def _ahead(
    cells: Sequence[Cell],
    records: Weather | None,
    hour: np.datetime64,
    days: int,
    seed: int,
    notes: list[str],
) -> Weather:
    """Members from now to the horizon, (member, cell, hour)."""
    told = _common([c.payload.weather for c in cells], hour)
    lat, lon = cells[0].lat, cells[0].lon
    told = filled(told, lat=lat, lon=lon)
    told = _whole(told)
    hours = 24 * days
    single = told.shape[0] == 1
    if records is None:
        records = _invented(told)
        notes.append("Without records the spread and the days past the forecast are a rough guess.")
    try:
        if single:
            issued = cells[0].issued
            lead = (
                0.0
                if issued is None
                else (pd.Timestamp(hour, tz="UTC") - pd.Timestamp(issued)) / pd.Timedelta(hours=1)
            )
            told = dress(told, records, lead=max(lead, 0.0), seed=seed)
            notes.append(
                f"A single forecast was dressed with its usual error into {told.shape[0]} members."
            )
        if told.shape[2] < hours:
            end = _utc(told.times[-1] + 1)
            notes.append(
                f"Beyond the forecast's end ({end}) members follow weather of the records."
            )
        return continued(told, records, hours=hours, seed=seed)
    except ShortRecordError as error:
        raise WeatherError(
            f"the records are too short to go on beyond the forecast ({error}); plan fewer days "
            "or run `afterrain fetch` for longer records"
        ) from None


def _common(parts: Sequence[Weather], hour: np.datetime64) -> Weather:
    """Frames of the cells from `hour` on, cut to the members and hours they share."""
    late = max(p.start for p in parts)
    stop = min(p.times[-1] for p in parts) + 1
    if late > hour:
        raise WeatherError(
            f"the forecast begins {_utc(late)}, {int((late - hour).astype(int))} h after the "
            "planning time; plan from then on, or give one that covers now"
        )
    if stop <= hour:
        raise WeatherError(
            f"the forecast ends {_utc(stop)}, before the planning time; run `afterrain fetch`"
        )
    members = min(p.shape[0] for p in parts)
    cut = [p.between(hour, stop) for p in parts]
    names = (*VARIABLES, "estimated")
    cut = [replace(p, **{n: getattr(p, n)[:members] for n in names}) for p in cut]
    return _stack(cut)


def _whole(told: Weather) -> Weather:
    """The forecast up to its first hour with something unknown."""
    unknown = np.any(
        [np.isnan(getattr(told, n)).any(axis=(0, 1)) for n in VARIABLES if n != "gust"], axis=0
    )
    hours = int(unknown.argmax()) if unknown.any() else len(unknown)
    if hours == 0:
        raise WeatherError(
            "the forecast does not tell the weather of the next hour; "
            "fetch another or give one with --forecast FILE"
        )
    return told.between(told.start, told.start + hours)


def _invented(told: Weather) -> Weather:
    """Stand-in records: the forecast's days over and over with showers of the plains in August.

    Rain comes with a chance of 0.2 after a dry and 0.4 after a wet day, 7 mm in the mean
    (assumed: the usual of a first-order chain, Richardson 1981, for summer there).
    """
    rng = np.random.default_rng(17)
    days, sites = 120, told.shape[1]
    first = min(24, told.shape[2])
    day = {n: getattr(told, n)[:1, :, :first].mean(axis=0) for n in VARIABLES}
    rows = {n: np.tile(np.resize(v, (sites, 24)), (1, days))[None] for n, v in day.items()}
    rows["temp"] = rows["temp"] + rng.normal(0.0, 3.0, days).repeat(24)
    rows["wind"] = rows["wind"] * np.exp(rng.normal(0.0, 0.3, days)).repeat(24)
    rain, wet = np.zeros((1, sites, 24 * days)), False
    for d in range(days):
        wet = bool(rng.random() < (0.4 if wet else 0.2))
        if wet:
            at = 24 * d + int(rng.integers(0, 20))
            rain[:, :, at : at + 4] = rng.exponential(7.0) / 4.0
            rows["humidity"][:, :, at : at + 8] = 95.0
            rows["radiation"][:, :, 24 * d : 24 * d + 24] *= 0.5
    rows["rain"] = rain
    return Weather(start=told.start - 24 * days, **rows,
                   estimated=np.ones((1, sites, 24 * days), dtype=np.bool_))  # fmt: skip


def _thunder(cells: Sequence[Cell], ahead: Weather) -> NDArray[np.bool_] | None:
    """Hours (1, cell, hour) in which rain would come with thunder; None where nothing tells."""
    out = np.zeros((1, len(cells), ahead.shape[2]), dtype=np.bool_)
    told = False
    for at, cell in enumerate(cells):
        chance, begin = cell.payload.thunder, cell.payload.weather.start
        for h in np.flatnonzero(chance >= THUNDER_PCT):
            i = int((begin + int(h) - ahead.start).astype(int))
            if 0 <= i < out.shape[2]:
                out[0, at, i] = True
        told |= bool(np.isfinite(chance).any())
    return out if told else None
