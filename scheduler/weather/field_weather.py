"""Weather of every field: records up to now, members from now on, and notes for the user."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from readiness.atmosphere.gaps import fill_gaps
from readiness.atmosphere.weather import HOUR, VARIABLES, Weather
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
from scheduler.farm.slots import farm_time, utc_hour
from scheduler.farm.wording import day_and_time, weekday_clock
from scheduler.language.translation import _
from scheduler.weather.bias_correction import (
    RainPairs,
    bias_corrected,
    learnt_correlation,
    rain_pairs,
)
from scheduler.weather.doubts import OLD_FORECAST_H, WeatherDoubts
from scheduler.weather.history import (
    FRAME_VARIABLES,
    gauge_readings,
    hour_text,
    joined_sites,
    past_or_stand_in,
    records,
    with_gauges,
)
from scheduler.weather.selection import (
    CLOCK_SLACK,
    MAX_DISTANCE_KM,
    ForecastCell,
    answers_near,
    cells_from_file,
    choose_forecast,
    nearest_places,
    read_cell,
)
from scheduler.weather.store import StoredAnswer, read_answer, stored_answers

#: Chance of thunder from which a member's rain counts as a thunderstorm, percent; assumed, low for
#: the safety of people.
THUNDER_PCT = 20.0
#: Age from which stored alerts are not shown, h; assumed: services renew them within the hour, and
#: they seldom hold longer than a day.
ALERT_AGE_H = 24.0
#: Fewest hours of forecast that a plan is made on; assumed: shorter ones tell nothing of today's
#: evening and tomorrow morning, which decide where a crew goes.
LEAST_FORECAST_H = 24


@dataclass(frozen=True, kw_only=True)
class FarmWeather:
    """Weather on the farm's fields.

    Attributes
    ----------
    past : (1, field, hour), from the start of the records to now.
    forecast : (member, field, hour), from now to now + days.
    lightning : (member or 1, field, hour of `forecast`) whether a thunderstorm is expected; None
        where no source says.
    source : service and product of the forecast, or name of the file.
    issued, age_h : time of issue (UTC) and age now, h; None where unknown.
    forecast_until : end of the forecast itself (UTC); None where `forecast` holds no later hours.
    doubts : where the weather is not a forecast for this farm.
    notes : sentences that the user must know.
    warnings : official warnings that are not over for all fields.
    """

    past: Weather
    forecast: Weather
    lightning: NDArray[np.bool_] | None
    source: str
    issued: datetime | None
    age_h: float | None
    notes: tuple[str, ...]
    warnings: tuple[Alert, ...] = ()
    forecast_until: datetime | None = None
    doubts: WeatherDoubts = field(default_factory=WeatherDoubts)


def weather_for(
    folder: Path,
    farm: Farm,
    now: datetime,
    *,
    days: int,
    forecast: Path | None = None,
    elsewhere: bool = False,
    seed: int = 0,
    gauges: pd.DataFrame | None = None,
) -> FarmWeather:
    """Weather of a farm at an hour, from stored answers; nothing is fetched.

    Parameters
    ----------
    now : aware time; only forecasts issued by then are used.
    days : horizon; beyond the forecast's end members follow analogues from the records.
    forecast : a forecast file to use instead of the stored forecasts.
    elsewhere : whether that file may be for a place far from the fields.
    seed : of the random draws.
    gauges : readings: gauge, time (start, UTC), hours, mm.

    Raises
    ------
    WeatherError
        Where no forecast is there, is young enough, or covers `now`.
    """
    folder, notes = Path(folder), list[str]()
    hour = utc_hour(now)
    if forecast is not None:
        cells = cells_from_file(folder, Path(forecast), farm, now, notes, elsewhere=elsewhere)
    else:
        cells = choose_forecast(folder, farm, now, notes)
    issued = min((c.issued for c in cells if c.issued), default=None)
    _note_age(farm, cells[0].source, issued, now, notes)
    cell_of = np.array(nearest_places(farm.fields, [(c.lat, c.lon) for c in cells])[0])
    recorded = records(folder, cells, hour, notes, farm.tz)
    readings = gauge_readings(farm, gauges)
    pairs = rain_pairs(folder, readings, cells[0].source.rpartition(" ")[2], until=now)
    try:
        ahead, hole = _forecast(cells, hour, farm, notes)
    except WeatherError as error:
        raise WeatherError(f"{forecast}: {error}" if forecast else str(error)) from None
    climate = recorded if recorded is not None and _has_enough_days(recorded, hour) else None
    members, stop = _members(ahead, climate, _lead(cells, hour), days, seed, pairs, farm, notes)
    past = past_or_stand_in(recorded, members, hour, notes, readings=readings).sites(cell_of)
    ahead = members.sites(cell_of)
    thunder = _thunder(_with_thunder(folder, cells, now, notes), ahead)
    warnings = _warnings(folder, farm, ahead.start, now, notes)
    return FarmWeather(
        past=with_gauges(past, farm, gauges, notes),
        forecast=ahead,
        lightning=_lightning(None if thunder is None else thunder[:, cell_of], warnings, ahead),
        source=cells[0].source,
        issued=issued,
        age_h=None if issued is None else (now - issued) / timedelta(hours=1),
        notes=tuple(dict.fromkeys(notes)),
        warnings=tuple(dict.fromkeys(w.alert for w in warnings)),
        forecast_until=_utc(stop) if stop < members.stop else None,
        doubts=WeatherDoubts(
            past_stored=recorded is not None and recorded.shape[2] > 0,
            outlook_stored=climate is not None,
            hole=hole,
            elsewhere_km=_far_away(cells, farm),
        ),
    )


def _far_away(cells: Sequence[ForecastCell], farm: Farm) -> float | None:
    """Distance of the forecast's place from the farthest field, km; None where it is near."""
    places = [(c.payload.lat, c.payload.lon) for c in cells]
    far = float(nearest_places(farm.fields, places)[1].max())
    return far if far > MAX_DISTANCE_KM else None


def _utc(time: np.datetime64) -> datetime:
    """A UTC hour as an aware datetime."""
    return pd.Timestamp(str(time), tz="UTC").to_pydatetime()


def _note_age(
    farm: Farm, source: str, issued: datetime | None, now: datetime, notes: list[str]
) -> None:
    """Note an unknown or great age of the forecast."""
    if issued is None:
        notes.append(_("The forecast does not say when it was issued; its age is unknown."))
    elif (age := (now - issued) / timedelta(hours=1)) > OLD_FORECAST_H:
        notes.append(
            _(
                "The forecast ({source}) is {hours} h old, issued {time}; run `afterrain fetch` "
                "when there is a line.",
                source=source,
                hours=round(age),
                time=day_and_time(issued.astimezone(farm.tz), farm.units),
            )
        )


def _forecast(
    cells: Sequence[ForecastCell], hour: np.datetime64, farm: Farm, notes: list[str]
) -> tuple[Weather, tuple[datetime, datetime] | None]:
    """The forecast from now to its end or its first hole, (member, cell, hour), and the hole.

    Raises
    ------
    WeatherError
        Where less than `LEAST_FORECAST_H` of it lie ahead.
    """
    common = _common([c.payload.weather for c in cells], hour, farm.tz)
    filled = fill_gaps(common, lat=cells[0].lat, lon=cells[0].lon)
    known, hole = _without_unknown(filled, farm, notes)
    if (hours := known.shape[2]) < LEAST_FORECAST_H:
        raise WeatherError(
            f"the forecast reaches {hours} h ahead, to {hour_text(known.stop, farm.tz)}; a plan "
            f"needs {LEAST_FORECAST_H} h: run `afterrain fetch`, or give a longer one with "
            "--forecast FILE"
        )
    return known, hole


def _members(
    members: Weather,
    recorded: Weather | None,
    lead: float,
    days: int,
    seed: int,
    pairs: RainPairs,
    farm: Farm,
    notes: list[str],
) -> tuple[Weather, np.datetime64]:
    """Weather of the members from now to the horizon, (member, cell, hour); the forecast's end."""
    rain, groups = bias_corrected(members.rain, pairs, lead=lead)
    if groups:
        members = replace(members, rain=rain)
        notes.append(
            _(
                "Forecast rain is corrected by {days} days of past forecasts and your gauges.",
                days=pairs.days,
            )
        )
    has_records = recorded is not None
    if recorded is None:
        recorded = synthetic_records(members, seed=seed)
        notes.append(
            _(
                "Without a month of records the forecast's spread and the days beyond its end are "
                "a rough guess."
            )
        )
    if members.shape[0] == 1:
        members = dress(
            members, recorded, lead=lead, correlation=learnt_correlation(pairs), seed=seed
        )
        notes.append(
            _(
                "A single forecast was dressed with its usual error into {members} members.",
                members=members.shape[0],
            )
        )
    if members.shape[2] < 24 * days:
        notes.append(
            _(
                "The forecast ends {time}. Days after that follow weather of your records: nothing "
                "said of them is forecast.",
                time=day_and_time(farm_time(members.stop, farm.tz), farm.units),
            )
            if has_records
            else _(
                "The forecast ends {time}. Days after that follow made-up weather: nothing said "
                "of them is forecast.",
                time=day_and_time(farm_time(members.stop, farm.tz), farm.units),
            )
        )
    return extend_with_analogues(members, recorded, hours=24 * days, seed=seed), members.stop


def _has_enough_days(recorded: Weather, hour: np.datetime64) -> bool:
    """Whether the records hold days enough for analogues."""
    try:
        return len(cut_days(recorded, hour).index) >= FEWEST_DAYS
    except ShortRecordError:
        return False


def _lead(cells: Sequence[ForecastCell], hour: np.datetime64) -> float:
    """Age of the oldest cell's forecast at `hour`, h; 0 where unknown."""
    issues = [c.issued for c in cells if c.issued]
    return max([(_utc(hour) - i) / timedelta(hours=1) for i in issues] + [0.0])


def _common(parts: Sequence[Weather], hour: np.datetime64, tz: ZoneInfo) -> Weather:
    """One frame of all cells from `hour` on, with the members and hours that they share."""
    late = max(p.start for p in parts)
    stop = min(p.stop for p in parts)
    if late > hour:
        raise WeatherError(
            f"the forecast begins {hour_text(late, tz)}, {int((late - hour).astype(int))} h after "
            "the planning time; plan from then on, or give one that covers now"
        )
    if stop <= hour:
        raise WeatherError(
            f"the forecast ends {hour_text(stop, tz)}, before the planning time; run "
            "`afterrain fetch`, or give a later one with --forecast FILE"
        )
    members = min(p.shape[0] for p in parts)
    cut = []
    for part in parts:
        ahead = part.between(hour, stop)
        rows: dict[str, Any] = {n: getattr(ahead, n)[:members] for n in FRAME_VARIABLES}
        cut.append(replace(ahead, **rows))
    return joined_sites(cut)


def _without_unknown(
    forecast: Weather, farm: Farm, notes: list[str]
) -> tuple[Weather, tuple[datetime, datetime] | None]:
    """The forecast up to its first hour with an unknown value, and the hole that ends it.

    Gusts may be unknown. There is no hole where nothing is known after it.
    """
    unknown = np.any(
        [np.isnan(getattr(forecast, n)).any(axis=(0, 1)) for n in VARIABLES if n != "gust"], axis=0
    )
    hours = int(unknown.argmax()) if unknown.any() else len(unknown)
    if hours == 0:
        names = [
            n for n in VARIABLES if n != "gust" and np.isnan(getattr(forecast, n)[:, :, 0]).any()
        ]
        raise WeatherError(
            f"the forecast does not give {', '.join(names)} for the next hour; fetch another, or "
            "give one with --forecast FILE"
        )
    rest, hole = unknown[hours:], None
    if not rest.all():
        begin = forecast.start + hours * HOUR
        end = begin + int(rest.argmin()) * HOUR
        hole = farm_time(begin, farm.tz), farm_time(end, farm.tz)
        notes.append(
            _(
                "The forecast has a hole from {begin} to {end}: only the hours before it are used.",
                begin=day_and_time(hole[0], farm.units),
                end=day_and_time(hole[1], farm.units),
            )
        )
    return forecast.between(forecast.start, forecast.start + hours * HOUR), hole


class _Warning(NamedTuple):
    """An alert and the fields that it holds for, (field,)."""

    fields: NDArray[np.bool_]
    alert: Alert


def _lightning(
    thunder: NDArray[np.bool_] | None, warnings: Sequence[_Warning], ahead: Weather
) -> NDArray[np.bool_] | None:
    """Hours of thunderstorm: rain of a member where thunder is likely, and hours of warnings."""
    mask = None if thunder is None else thunder & (ahead.rain > 0.0)
    for fields, alert in warnings:
        if alert.storm:
            if mask is None:
                mask = np.zeros((1, *ahead.shape[1:]), dtype=np.bool_)
            first, stop = (int((t - ahead.start).astype(int)) for t in (alert.start, alert.stop))
            mask[:, np.flatnonzero(fields), max(0, first) : stop] = True
    return mask


def _with_thunder(
    folder: Path, cells: Sequence[ForecastCell], now: datetime, notes: list[str]
) -> list[ForecastCell]:
    """The cells; where none holds chances of thunder, the gridpoints near them that do."""
    if any(np.isfinite(c.payload.thunder).any() for c in cells):
        return list(cells)
    gridpoints = _young(folder, "gridpoint", now)
    near = [
        next((c for s in answers_near(gridpoints, cell) if (c := read_cell(s, notes))), None)
        for cell in cells
    ]
    return [n or c for n, c in zip(near, cells, strict=True)]


def _young(folder: Path, product: str, now: datetime) -> list[StoredAnswer]:
    """Stored answers of a product that are younger than `ALERT_AGE_H`."""
    return [
        s
        for s in stored_answers(folder, product)
        if -CLOCK_SLACK <= now - s.issued <= timedelta(hours=ALERT_AGE_H)
    ]


def _thunder(cells: Sequence[ForecastCell], ahead: Weather) -> NDArray[np.bool_] | None:
    """Hours (1, cell, hour) in which rain comes with thunder; None where no cell says."""
    if not any(np.isfinite(cell.payload.thunder).any() for cell in cells):
        return None
    mask = np.zeros((1, len(cells), ahead.shape[2]), dtype=np.bool_)
    for at, cell in enumerate(cells):
        begin = cell.payload.weather.start
        for h in np.flatnonzero(cell.payload.thunder >= THUNDER_PCT):
            i = int((begin + int(h) * HOUR - ahead.start).astype(int))
            if 0 <= i < mask.shape[2]:
                mask[0, at, i] = True
    return mask


def _warnings(
    folder: Path, farm: Farm, first: np.datetime64, now: datetime, notes: list[str]
) -> list[_Warning]:
    """The last stored alerts of each place that are not over by `first`, noted for the user."""
    young = _young(folder, "alerts", now)
    places = sorted({(s.lat, s.lon) for s in young})
    if not places:
        return []
    place_of = np.array(nearest_places(farm.fields, places)[0])
    warnings = []
    for i, place in enumerate(places):
        last = next(s for s in young if (s.lat, s.lon) == place)
        try:
            alerts = parse_alerts(read_answer(last.path).payload)
        except (WeatherError, PayloadError) as error:
            notes.append(_("Passed over {file}: {error}.", file=last.path.name, error=error))
            continue
        warnings += [_Warning(place_of == i, alert) for alert in alerts if alert.stop > first]
    for _place, alert in warnings:
        end = farm_time(alert.stop, farm.tz)
        notes.append(
            _(
                "{event} until {time}: {headline}.",
                event=alert.event,
                time=weekday_clock(end, farm.units),
                headline=alert.headline or _("see the warning"),
            )
        )
    return warnings
