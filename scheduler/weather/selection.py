"""Choice of the forecast to plan on, cell by cell, and when to refuse."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import lru_cache
from pathlib import Path

import numpy as np

from readiness.atmosphere.weather import Array
from readiness.forecasts.gauge_kriging import distance_km
from readiness.sources.payload import Payload, PayloadError
from readiness.sources.responses import parse_response
from scheduler.errors import WeatherError
from scheduler.farm.model import Farm, Field
from scheduler.farm.units import show_distance
from scheduler.language.translation import _
from scheduler.weather.given_file import read_forecast
from scheduler.weather.store import StoredAnswer, read_answer, stored_answers

#: Products that hold a forecast, best first: with members, then single forecasts to dress.
FORECAST_PRODUCTS = ("ensemble", "forecast", "gridpoint")
#: A product newer by this many hours goes before a better one; assumed: two missed runs of an
#: ensemble.
NEWER_BY_H = 12.0
#: Farthest a forecast or record may lie from a field, km; assumed: half the diagonal of a cell of
#: a quarter degree, and some more.
MAX_DISTANCE_KM = 40.0
#: Difference allowed between the clocks of a service and of this computer.
CLOCK_SLACK = timedelta(minutes=5)


@dataclass(frozen=True, kw_only=True)
class ForecastCell:
    """A forecast of one grid cell."""

    lat: float
    lon: float
    payload: Payload
    source: str
    issued: datetime | None


def choose_forecast(
    folder: Path, farm: Farm, now: datetime, notes: list[str]
) -> list[ForecastCell]:
    """The latest readable cells of the product to plan on; every field has one near.

    The product is the first of `FORECAST_PRODUCTS`, unless another is newer by `NEWER_BY_H`.
    Remarks for the user are added to `notes`.

    Raises
    ------
    WeatherError
        Where no stored forecast covers the fields, or all are too old or in the future.
    """
    sets: dict[str, list[ForecastCell]] = {}
    for product in FORECAST_PRODUCTS:
        cells = latest_cells(stored_answers(folder, product), farm, now, notes)
        if cells:
            sets[product] = cells
    if not sets:
        raise _no_forecast(folder, farm, now)
    issue = {p: min(c.issued for c in cells if c.issued) for p, cells in sets.items()}
    newest = max(issue.values())
    product = next(
        p
        for p in FORECAST_PRODUCTS
        if p in sets and newest - issue[p] < timedelta(hours=NEWER_BY_H)
    )
    check_age(farm, issue[product], now)
    return sets[product]


def cells_from_file(
    folder: Path,
    path: Path,
    farm: Farm,
    now: datetime,
    notes: list[str],
    *,
    elsewhere: bool = False,
) -> list[ForecastCell]:
    """The forecast of a file as the cell of the whole farm, repeated at each cell of records.

    Raises
    ------
    WeatherError
        Where it cannot be read, is too old or in the future, or is for a place too far from the
        fields, unless `elsewhere` allows that.
    """
    given = read_forecast(path, farm)
    payload, source, issued = given.payload, given.source, given.issued
    cell = ForecastCell(
        lat=payload.lat, lon=payload.lon, payload=payload, source=source, issued=issued
    )
    if issued is not None:
        if issued > now + CLOCK_SLACK:
            raise WeatherError(
                _(
                    "{file}: was issued {issued}, after the planning time {now}; check the date "
                    "asked for and this computer's clock",
                    file=path,
                    issued=farm_clock(issued, farm),
                    now=farm_clock(now, farm),
                )
            )
        check_age(farm, issued, now)
    km = nearest_places(farm.fields, [(cell.lat, cell.lon)])[1]
    if (far := float(km.max())) > MAX_DISTANCE_KM:
        away = show_distance(far, farm.units)
        if not elsewhere:
            raise WeatherError(
                f"{path}: the forecast is for a place {away} from field "
                f'"{farm.fields[int(km.argmax())].id}", farther than '
                f"{show_distance(MAX_DISTANCE_KM, farm.units)}; give one for the farm, or use this "
                "one all the same with --elsewhere"
            )
        notes.append(
            _(
                "The forecast is for a place {distance} from the farthest field, as you chose.",
                distance=away,
            )
        )
    places = sorted({(s.lat, s.lon) for s in stored_answers(folder, "archive")})
    if not places:
        return [cell]
    near = sorted({places[i] for i in nearest_places(farm.fields, places)[0]})
    return [replace(cell, lat=lat, lon=lon) for lat, lon in near]


def latest_cells(
    found: Sequence[StoredAnswer], farm: Farm, now: datetime, notes: list[str]
) -> list[ForecastCell]:
    """The cells nearest to the fields, latest readable issue; [] where a field has none near."""
    past = [s for s in found if s.issued <= now + CLOCK_SLACK]
    if not past:
        return []
    places = sorted({(s.lat, s.lon) for s in past})
    index, km = nearest_places(farm.fields, places)
    if float(km.max()) > MAX_DISTANCE_KM:
        return []
    cells = []
    for at in sorted(set(index)):
        issues = [s for s in past if (s.lat, s.lon) == places[at]]
        cell = next((c for s in issues if (c := read_cell(s, notes)) is not None), None)
        if cell is None:
            return []
        cells.append(cell)
    return cells


def read_cell(answer: StoredAnswer, notes: list[str]) -> ForecastCell | None:
    """The stored forecast; None, with a note, where it is broken."""
    try:
        stamp = answer.path.stat()
        source, payload = _parsed(answer.path, stamp.st_mtime_ns, stamp.st_size)
    except OSError as error:
        notes.append(
            _(
                "Passed over {file}: cannot be read ({error}).",
                file=answer.path.name,
                error=error.strerror,
            )
        )
        return None
    except WeatherError as error:
        notes.append(_("Passed over {error}.", error=error))
        return None
    except PayloadError as error:
        notes.append(_("Passed over {file}: {error}.", file=answer.path.name, error=error))
        return None
    return ForecastCell(
        lat=answer.lat, lon=answer.lon, payload=payload, source=source, issued=answer.issued
    )


@lru_cache(maxsize=48)
def _parsed(path: Path, mtime: int, size: int) -> tuple[str, Payload]:
    """Source and payload of a file; cached while the file stays as it is."""
    answer = read_answer(path)
    return f"{answer.source} {answer.product}", parse_response(answer.payload)


def answers_near(found: Sequence[StoredAnswer], cell: ForecastCell) -> list[StoredAnswer]:
    """Answers of the place nearest to a cell, in the order given; [] where none is near."""
    places = sorted({(s.lat, s.lon) for s in found})
    if not places:
        return []
    lats, lons = np.array(places).T
    away = distance_km(np.array([cell.lat]), np.array([cell.lon]), lats, lons)[0]
    if away.min() > MAX_DISTANCE_KM:
        return []
    at = places[int(away.argmin())]
    return [s for s in found if (s.lat, s.lon) == at]


def nearest_places(
    fields: Sequence[Field], places: Sequence[tuple[float, float]]
) -> tuple[list[int], Array]:
    """Index of the place nearest to each field, and its distance, km, (field,)."""
    lat, lon = np.array([f.lat for f in fields]), np.array([f.lon for f in fields])
    spots = np.array(places)
    away = distance_km(lat, lon, spots[:, 0], spots[:, 1])
    return [int(i) for i in away.argmin(axis=1)], away.min(axis=1)


def check_age(farm: Farm, issued: datetime, now: datetime) -> None:
    """Raise WeatherError where a forecast is older than the farm's limit."""
    age, limit = (now - issued) / timedelta(hours=1), farm.rules.forecast_age_max_h
    if age > limit:
        raise WeatherError(
            _(
                "the last good forecast is {age} h old (issued {issued}), the farm's limit is "
                "{limit} h; run `afterrain fetch`, give one with --forecast FILE, or raise "
                "forecast_age_max_h under [rules] in farm.toml",
                age=round(age),
                issued=farm_clock(issued, farm),
                limit=round(limit),
            )
        )


def farm_clock(at: datetime, farm: Farm) -> str:
    """A time as the farm's clock shows it, with the date."""
    return f"{at.astimezone(farm.tz):%Y-%m-%d %H:%M}"


def _no_forecast(folder: Path, farm: Farm, now: datetime) -> WeatherError:
    """The error that says why no stored forecast can be used."""
    found = [s for p in FORECAST_PRODUCTS for s in stored_answers(folder, p)]
    later = [s.issued for s in found if s.issued > now]
    if found and len(later) == len(found):
        return WeatherError(
            _(
                "the planning time {now} is before every stored forecast, the first issued "
                "{first}; check the date asked for and this computer's clock",
                now=farm_clock(now, farm),
                first=farm_clock(min(later), farm),
            )
        )
    if found:
        return WeatherError(
            _(
                "{folder}: no stored forecast covers the fields; run `afterrain fetch {folder}`, "
                "or give one with --forecast FILE",
                folder=folder,
            )
        )
    return WeatherError(
        _(
            "{folder}: there is no stored forecast; run `afterrain fetch {folder}`, or give one "
            "with --forecast FILE",
            folder=folder,
        )
    )
