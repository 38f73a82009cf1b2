"""Weather for every field: records up to now, members from now on, and what to know of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from readiness.atmosphere.gaps import fill_gaps
from readiness.atmosphere.weather import VARIABLES, Weather
from readiness.forecasts.analogues import (
    FEWEST_DAYS,
    ShortRecordError,
    cut_days,
    extend_with_analogues,
)
from readiness.forecasts.dressing import dress
from readiness.forecasts.synthetic_records import synthetic_records
from readiness.sources.nws import Alert, parse_alerts
from readiness.sources.payload import PayloadError
from scheduler.errors import WeatherError
from scheduler.farm.model import Farm
from scheduler.weather.bias_correction import (
    RainPairs,
    bias_corrected,
    learnt_correlation,
    rain_pairs,
)
from scheduler.weather.history import (
    FRAME_VARIABLES,
    HOUR,
    gauge_readings,
    joined_sites,
    past_or_stand_in,
    records,
    utc_text,
    with_gauges,
)
from scheduler.weather.selection import (
    CLOCK_SLACK,
    NEWER_BY_H,
    ForecastCell,
    answers_near,
    cells_from_file,
    choose_forecast,
    nearest_places,
    read_cell,
)
from scheduler.weather.store import read_answer, stored_answers

#: Chance of thunder from which a member's rain counts as a thunderstorm, percent; assumed, on
#: the side of people.
THUNDER_PCT = 20.0
#: Stored alerts older than this are not shown, h; assumed: they are renewed within the hour and
#: seldom hold longer than a day.
ALERT_AGE_H = 24.0


@dataclass(frozen=True, kw_only=True)
class FarmWeather:
    """Weather on the farm's fields.

    Attributes
    ----------
    past : (1, field, hour), from the start of the records to now.
    forecast : (member, field, hour), from now to now + days.
    lightning : bool (member or 1, field, hour of ahead) where a thunderstorm is expected; None
        where nothing tells.
    source : where the forecast came from. issued, age_h : when, and its age now in hours.
    notes : plain sentences the user must know.
    warnings : official ones not yet over for some of the fields.
    """

    past: Weather
    forecast: Weather
    lightning: NDArray[np.bool_] | None
    source: str
    issued: datetime | None
    age_h: float | None
    notes: tuple[str, ...]
    warnings: tuple[Alert, ...] = ()


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
    folder, notes = Path(folder), list[str]()
    hour = np.datetime64(now.astimezone(UTC).replace(tzinfo=None), "h")
    if forecast is not None:
        cells = cells_from_file(folder, Path(forecast), farm, now, notes)
    else:
        cells = choose_forecast(folder, farm, now, notes)
    issued = min((c.issued for c in cells if c.issued), default=None)
    _told_age(farm, cells[0].source, issued, now, notes)
    cell_of = np.array(nearest_places(farm.fields, [(c.lat, c.lon) for c in cells])[0])
    known = records(folder, cells, hour, notes)
    pairs = rain_pairs(
        folder, gauge_readings(farm, gauges), cells[0].source.rpartition(" ")[2], until=now
    )
    members = _ahead(cells, known, hour, days, seed, pairs, notes)
    past = past_or_stand_in(known, members, hour, notes).sites(cell_of)
    ahead = members.sites(cell_of)
    thunder = _thunder(_with_thunder(folder, cells, now, notes), ahead)
    warned = _alerts(folder, farm, ahead.start, now, notes)
    return FarmWeather(
        past=with_gauges(past, farm, gauges, notes),
        forecast=ahead,
        lightning=_lightning(None if thunder is None else thunder[:, cell_of], warned, ahead),
        source=cells[0].source,
        issued=issued,
        age_h=None if issued is None else (now - issued) / timedelta(hours=1),
        notes=tuple(dict.fromkeys(notes)),
        warnings=tuple(dict.fromkeys(one for _, one in warned)),
    )


def _told_age(
    farm: Farm, source: str, issued: datetime | None, now: datetime, notes: list[str]
) -> None:
    if issued is None:
        notes.append("The forecast does not say when it was issued; its age is unknown.")
    elif (age := (now - issued) / timedelta(hours=1)) > NEWER_BY_H:
        notes.append(
            f"The forecast ({source}) is {age:.0f} h old, issued "
            f"{issued.astimezone(farm.tz):%a %d %b %H:%M}; run `afterrain fetch` when there is a "
            "line."
        )


def _ahead(
    cells: Sequence[ForecastCell],
    known: Weather | None,
    hour: np.datetime64,
    days: int,
    seed: int,
    pairs: RainPairs,
    notes: list[str],
) -> Weather:
    """Members from now to the horizon, (member, cell, hour)."""
    told = _common([c.payload.weather for c in cells], hour)
    told = _whole(fill_gaps(told, lat=cells[0].lat, lon=cells[0].lon))
    lead = _lead(cells, hour)
    rain, groups = bias_corrected(told.rain, pairs, lead=lead)
    if groups:
        told = replace(told, rain=rain)
        notes.append(
            f"Forecast rain is corrected by {pairs.days} days of past forecasts and your gauges."
        )
    if known is None or not _enough(known, hour):
        known = synthetic_records(told, seed=seed)
        notes.append(
            "Without a month of records the forecast's spread and the days beyond its end are a "
            "rough guess."
        )
    if told.shape[0] == 1 and told.shape[2] >= 24:
        told = dress(told, known, lead=lead, correlation=learnt_correlation(pairs), seed=seed)
        notes.append(
            f"A single forecast was dressed with its usual error into {told.shape[0]} members."
        )
    if told.shape[2] < 24 * days:
        notes.append(
            f"Beyond the forecast's end ({utc_text(told.times[-1] + 1)}) members follow weather of "
            "the records."
        )
    return extend_with_analogues(told, known, hours=24 * days, seed=seed)


def _enough(known: Weather, hour: np.datetime64) -> bool:
    """Whether windows of weather can be cut out of the records."""
    try:
        return len(cut_days(known, hour).index) >= FEWEST_DAYS
    except ShortRecordError:
        return False


def _lead(cells: Sequence[ForecastCell], hour: np.datetime64) -> float:
    """Age of the oldest cell's forecast at `hour`, h; 0 where not known."""
    issues = [c.issued for c in cells if c.issued]
    at = pd.Timestamp(str(hour), tz="UTC").to_pydatetime()
    return max([(at - i) / timedelta(hours=1) for i in issues] + [0.0])


def _common(parts: Sequence[Weather], hour: np.datetime64) -> Weather:
    """Frames of the cells from `hour` on, cut to the members and hours they share."""
    late = max(p.start for p in parts)
    stop = min(p.times[-1] for p in parts) + 1
    if late > hour:
        raise WeatherError(
            f"the forecast begins {utc_text(late)}, {int((late - hour).astype(int))} h after the "
            "planning time; plan from then on, or give one that covers now"
        )
    if stop <= hour:
        raise WeatherError(
            f"the forecast ends {utc_text(stop)}, before the planning time; run `afterrain fetch`"
        )
    members = min(p.shape[0] for p in parts)
    cut = []
    for part in parts:
        held = part.between(hour, stop)
        rows: dict[str, Any] = {n: getattr(held, n)[:members] for n in FRAME_VARIABLES}
        cut.append(replace(held, **rows))
    return joined_sites(cut)


def _whole(told: Weather) -> Weather:
    """The forecast up to its first hour with something unknown."""
    unknown = np.any(
        [np.isnan(getattr(told, n)).any(axis=(0, 1)) for n in VARIABLES if n != "gust"], axis=0
    )
    hours = int(unknown.argmax()) if unknown.any() else len(unknown)
    if hours == 0:
        names = [n for n in VARIABLES if n != "gust" and np.isnan(getattr(told, n)[:, :, 0]).any()]
        raise WeatherError(
            f"the forecast does not tell {' and '.join(names)} of the next hour; fetch another or "
            "give one with --forecast FILE"
        )
    return told.between(told.start, told.start + hours * HOUR)


def _lightning(
    thunder: NDArray[np.bool_] | None,
    warned: Sequence[tuple[NDArray[np.bool_], Alert]],
    ahead: Weather,
) -> NDArray[np.bool_] | None:
    """Hours with a thunderstorm: a member's rain where thunder is told, and hours of warnings."""
    mask = None if thunder is None else thunder & (ahead.rain > 0.0)
    for at, one in warned:
        if one.storm:
            if mask is None:
                mask = np.zeros((1, *ahead.shape[1:]), dtype=np.bool_)
            first, stop = (int((t - ahead.start).astype(int)) for t in (one.start, one.stop))
            mask[:, np.flatnonzero(at), max(0, first) : stop] = True
    return mask


def _with_thunder(
    folder: Path, cells: Sequence[ForecastCell], now: datetime, notes: list[str]
) -> list[ForecastCell]:
    """The cells, or where none tells of thunder the gridpoints near them that do."""
    if any(np.isfinite(c.payload.thunder).any() for c in cells):
        return list(cells)
    young = [s for s in stored_answers(folder, "gridpoint")
             if -CLOCK_SLACK <= now - s.issued <= timedelta(hours=ALERT_AGE_H)]  # fmt: skip
    told = [next((c for s in answers_near(young, one) if (c := read_cell(s, notes))), None)
            for one in cells]  # fmt: skip
    return [t or c for t, c in zip(told, cells, strict=True)]


def _thunder(cells: Sequence[ForecastCell], ahead: Weather) -> NDArray[np.bool_] | None:
    """Hours (1, cell, hour) in which rain would come with thunder; None where nothing tells."""
    out = np.zeros((1, len(cells), ahead.shape[2]), dtype=np.bool_)
    told = False
    for at, cell in enumerate(cells):
        begin = cell.payload.weather.start
        told |= bool(np.isfinite(cell.payload.thunder).any())
        for h in np.flatnonzero(cell.payload.thunder >= THUNDER_PCT):
            i = int((begin + int(h) * HOUR - ahead.start).astype(int))
            if 0 <= i < out.shape[2]:
                out[0, at, i] = True
    return out if told else None


def _alerts(
    folder: Path, farm: Farm, first: np.datetime64, now: datetime, notes: list[str]
) -> list[tuple[NDArray[np.bool_], Alert]]:
    """Last stored alerts of each place not over by `first`, noted, with the fields (field,)."""
    young = [s for s in stored_answers(folder, "alerts")
             if -CLOCK_SLACK <= now - s.issued <= timedelta(hours=ALERT_AGE_H)]  # fmt: skip
    places = sorted({(s.lat, s.lon) for s in young})
    if not places:
        return []
    place_of = np.array(nearest_places(farm.fields, places)[0])
    out = []
    for i, place in enumerate(places):
        last = next(s for s in young if (s.lat, s.lon) == place)
        try:
            held = parse_alerts(read_answer(last.path).payload)
        except (WeatherError, PayloadError) as error:
            notes.append(f"Passed over {last.path.name}: {error}.")
            continue
        out += [(place_of == i, one) for one in held if one.stop > first]
    for _, one in out:
        end = pd.Timestamp(str(one.stop), tz="UTC").tz_convert(str(farm.tz))
        notes.append(f"{one.event} until {end:%a %H:%M}: {one.headline or 'see the warning'}.")
    return out
