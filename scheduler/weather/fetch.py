"""Fetching for the whole farm: one set of questions, what came of each, and what is kept."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from readiness.sources.nws import nearest_station, parse_alerts, point_links
from readiness.sources.open_meteo import HOURLY_NAMES
from readiness.sources.payload import PayloadError
from readiness.sources.responses import parse_response
from readiness.sources.service_errors import ServiceError
from readiness.sources.services import Reply, Services
from readiness.sources.soil_survey import SurveySoil, read_survey, survey_query
from scheduler.atomic import write_file
from scheduler.errors import WeatherError
from scheduler.farm.model import Farm, Field
from scheduler.farm_files.soil_csv import FILE as SOIL_FILE
from scheduler.farm_files.soil_csv import soil_table
from scheduler.weather.selection import CLOCK_SLACK, read_cell
from scheduler.weather.store import (
    Answer,
    StoredAnswer,
    read_answer,
    store_answer,
    stored_answers,
)

#: Grid that fields are grouped by, degrees: that of the ensemble (GEFS) and of ERA5 records.
GRID_DEGREES = 0.25
#: Days asked for: what the services give at most (ensemble, forecast), and how much of the days
#: just gone comes with the forecast.
DAYS_AHEAD, DAYS_BACK = 16, 7
#: Records of the first fetch, days; assumed: the top metre has forgotten what was before.
SEASON_DAYS = 180
#: Records are asked for again this many days back, for the archive's first figures are corrected
#: later (ERA5T by about five days; documentation of Open-Meteo's archive).
AGAIN_DAYS = 7
#: Where the metadata do not tell the run: one that is surely out, of those every six hours;
#: assumed from the usual delay of global ensembles.
RUN_DELAY_H = 6.0
ENSEMBLE_MODEL = "gfs_seamless"
#: Where Open-Meteo tells the last run of that model (its metadata API; path from memory).
ENSEMBLE_RUN = "data/ncep_gefs025/static/meta.json"
#: Fields of one question; assumed: keeps the query well under the service's limit of length.
FIELDS_PER_QUERY = 20
KM_DEGREE = 111.195
PRODUCTS = ("ensemble", "forecast", "archive", "gridpoint", "observations", "alerts")

GridCell = tuple[float, float]
#: Source, reply, issue time (None: the time of fetching stands for it), version.
Came = tuple[str, Reply, datetime | None, str]


@dataclass(frozen=True, kw_only=True)
class FetchOutcome:
    """What came of one product at one cell.

    `state` is 'stored' (new), 'same' (what came is stored already), 'older' (what came is older
    than what is stored, which is kept), 'stale' (an expired copy out of the cache, nothing newer)
    or 'failed'; `text` says why. `issued` is of what came.
    """

    product: str
    cell: GridCell
    state: str
    text: str = ""
    issued: datetime | None = None


def grid_cells(farm: Farm) -> list[GridCell]:
    """Centres of the grid cells that hold the farm's fields."""
    return sorted({(_grid(f.lat), _grid(f.lon)) for f in farm.fields})


def _grid(degrees: float) -> float:
    return round(round(degrees / GRID_DEGREES) * GRID_DEGREES, 2) + 0.0


def fetch(
    folder: Path, farm: Farm, services: Services, *, now: datetime | None = None, years: int = 0
) -> list[FetchOutcome]:
    """Ask for every product once for each grid cell and store the answers that are sound.

    Parameters
    ----------
    years : years of records to ask for besides this season, for analogue years.
    """
    farm_round = FetchRound(folder, farm, services, now or datetime.now(UTC), years)
    return [farm_round.one(product, cell) for product in PRODUCTS for cell in grid_cells(farm)]


class FetchRound:
    """One round of questions."""

    def __init__(
        self, folder: Path, farm: Farm, services: Services, now: datetime, years: int
    ) -> None:
        self.folder, self.farm, self.services = folder, farm, services
        self.now, self.years = now, years
        self.links: dict[GridCell, tuple[str, str]] = {}
        self.run: datetime | None = None
        self.run_asked = False
        self.questions: dict[str, Callable[[GridCell], Came]] = {
            "ensemble": self._ensemble, "forecast": self._forecast, "archive": self._archive,
            "gridpoint": self._gridpoint, "observations": self._observations,
            "alerts": self._alerts,
        }  # fmt: skip

    def one(self, product: str, cell: GridCell) -> FetchOutcome:
        """Ask for one product of one cell and store it."""
        try:
            source, reply, issued, version = self.questions[product](cell)
            return self._kept(product, cell, source, reply, issued, version)
        except (ServiceError, PayloadError, WeatherError) as error:
            return FetchOutcome(product=product, cell=cell, state="failed", text=str(error))

    def _kept(
        self, product: str, cell: GridCell, source: str, reply: Reply, issued: datetime | None,
        version: str,
    ) -> FetchOutcome:  # fmt: skip
        issue = (issued or reply.fetched).replace(second=0, microsecond=0)

        def outcome(state: str, text: str = "") -> FetchOutcome:
            return FetchOutcome(product=product, cell=cell, state=state, text=text, issued=issue)

        if issue > max(reply.fetched, self.now) + timedelta(hours=1) + CLOCK_SLACK:
            return outcome("failed", "it says it was issued in the future; not stored")
        kept = [s for s in stored_answers(self.folder, product) if (s.lat, s.lon) == cell]
        good = next((s for s in kept if self._sound(s)), None)
        if good is not None and reply.cached and read_answer(good.path).fetched == reply.fetched:
            state = "same" if reply.fresh else "stale"
            return replace(outcome(state, reply.failure), issued=good.issued)
        if good is not None and good.issued > issue:
            return outcome("older", "older than what is stored, which is kept")
        answer = Answer(
            source=source, product=product, version=version, issued=issue, fetched=reply.fetched,
            url=reply.url, lat=cell[0], lon=cell[1], payload=reply.payload,
        )  # fmt: skip
        new = store_answer(self.folder, answer)
        if not reply.fresh:
            return outcome("stale", reply.failure)
        return outcome("stored" if new else "same")

    def _sound(self, one: StoredAnswer) -> bool:
        if one.product == "alerts":
            try:
                parse_alerts(read_answer(one.path).payload)
            except (WeatherError, PayloadError):
                return False
            return True
        return read_cell(one, []) is not None

    def _ensemble(self, cell: GridCell) -> Came:
        run = self._ensemble_run()  # first, so that the run told is never newer than the answer
        reply = self._open_meteo(
            "open-meteo-ensemble", "v1/ensemble", "ensemble", cell,
            {"models": ENSEMBLE_MODEL, "forecast_days": DAYS_AHEAD},
        )  # fmt: skip
        if run is not None and not reply.cached:
            return "open-meteo", reply, run, f"v1 {ENSEMBLE_MODEL}, run told by its metadata"
        sure = reply.fetched - timedelta(hours=RUN_DELAY_H)
        guess = sure.replace(hour=sure.hour // 6 * 6, minute=0)
        return "open-meteo", reply, guess, f"v1 {ENSEMBLE_MODEL}, run estimated"

    def _forecast(self, cell: GridCell) -> Came:
        reply = self._open_meteo(
            "open-meteo", "v1/forecast", "forecast", cell,
            {"forecast_days": DAYS_AHEAD, "past_days": DAYS_BACK}, "cloud_cover", "weather_code",
        )  # fmt: skip
        return "open-meteo", reply, None, "v1 best match, issue taken as time of fetching"

    def _archive(self, cell: GridCell) -> Came:
        reply = self._open_meteo(
            "open-meteo-archive", "v1/archive", "archive", cell,
            {"start_date": f"{self._records_from(cell):%Y-%m-%d}",
             "end_date": f"{self.now.astimezone(UTC):%Y-%m-%d}"},
        )  # fmt: skip
        return "open-meteo", reply, None, "v1 archive"

    def _gridpoint(self, cell: GridCell) -> Came:
        link, _ = self._links(cell)
        reply = self.services.ask("nws", link, product="gridpoint", check=parse_response)
        at = parse_response(reply.payload).issued
        issued = None if at is None else at.astype("datetime64[s]").item().replace(tzinfo=UTC)
        return "nws", reply, issued, "api.weather.gov gridpoint"

    def _observations(self, cell: GridCell) -> Came:
        _, link = self._links(cell)
        listed = self.services.ask("nws", link, product="stations", check=nearest_station)
        station = nearest_station(listed.payload)
        since = (self.now.astimezone(UTC) - timedelta(days=DAYS_BACK)).replace(minute=0, second=0)
        reply = self.services.ask(
            "nws",
            f"/stations/{station}/observations",
            product="observations",
            check=parse_response,
            params={"start": f"{since:%Y-%m-%dT%H:%M:%SZ}"},
        )
        return "nws", reply, None, f"api.weather.gov station {station}"

    def _alerts(self, cell: GridCell) -> Came:
        reply = self.services.ask(
            "nws", "/alerts/active", product="alerts", check=parse_alerts,
            params={"point": f"{cell[0]:g},{cell[1]:g}"},
        )  # fmt: skip
        return "nws", reply, None, "api.weather.gov alerts"

    def _links(self, cell: GridCell) -> tuple[str, str]:
        if cell not in self.links:
            path = f"/points/{cell[0]:g},{cell[1]:g}"
            reply = self.services.ask("nws", path, product="points", check=point_links)
            self.links[cell] = point_links(reply.payload)
        return self.links[cell]

    def _open_meteo(
        self, service: str, path: str, product: str, cell: GridCell,
        params: dict[str, str | int], *more: str,
    ) -> Reply:  # fmt: skip
        names = ",".join([*(key for key, _ in HOURLY_NAMES.values()), *more])
        place: dict[str, str | int | float] = {"latitude": cell[0], "longitude": cell[1]}
        return self.services.ask(
            service, f"/{path}", product=product, check=_complete,
            params={**place, "hourly": names, "timezone": "GMT", **params},
        )  # fmt: skip

    def _ensemble_run(self) -> datetime | None:
        """When the last run of the ensemble was begun; None where it is not told. Asked once."""
        if not self.run_asked:
            self.run_asked = True
            try:
                reply = self.services.ask(
                    "open-meteo-ensemble", f"/{ENSEMBLE_RUN}", product="issue", check=_run_time
                )
                self.run = _run_time(reply.payload) if reply.fresh else None
            except ServiceError:
                self.run = None
        return self.run

    def _records_from(self, cell: GridCell) -> datetime:
        """First day of records to ask for: only what is not stored yet, and a few days again."""
        wanted = self.now - timedelta(days=SEASON_DAYS + 365 * self.years)
        have = [c for s in stored_answers(self.folder, "archive")
                if (s.lat, s.lon) == cell and (c := read_cell(s, [])) is not None]  # fmt: skip
        frames = [c.payload.weather for c in have]
        target = np.datetime64(wanted.replace(tzinfo=None), "h") + np.timedelta64(48, "h")
        if not any(f.start <= target for f in frames):
            return wanted
        last = max(f.times[np.isfinite(f.rain[0, 0])].max() for f in frames)
        at: datetime = last.astype("datetime64[s]").item()
        return min(self.now, at.replace(tzinfo=UTC)) - timedelta(days=AGAIN_DAYS)


def _complete(payload: Any) -> None:
    """Check that an answer holds what is asked for, in known units.

    Gusts, radiation, cloud and weather codes may be lacking.
    """
    parse_response(payload)
    for name in ("humidity", "wind"):
        key = HOURLY_NAMES[name][0]
        if not any(k.startswith(key) for k in payload["hourly"]):
            raise PayloadError(f"{key} is missing")


def _run_time(payload: Any) -> datetime:
    value = payload.get("last_run_initialisation_time") if isinstance(payload, dict) else None
    if isinstance(value, bool) or not isinstance(value, int) or not 0 < value < 2**33:
        raise PayloadError("the metadata do not tell the last run")
    return datetime.fromtimestamp(value, UTC)


def fetch_soil(folder: Path, farm: Farm, services: Services) -> tuple[Path, dict[str, SurveySoil]]:
    """Ask for the soil of every field and write soil.csv; fields.csv is not touched.

    Raises
    ------
    ServiceError
        Where the service gives nothing; a soil.csv that is there stays as it is.
    """
    found: dict[str, SurveySoil] = {}
    for first in range(0, len(farm.fields), FIELDS_PER_QUERY):
        some = farm.fields[first : first + FIELDS_PER_QUERY]
        body = {
            "query": survey_query([boundary_ring(f) for f in some]),
            "format": "JSON+COLUMNNAME",
        }
        reply = services.ask(
            "soil", "/Tabular/post.rest", product="soil", check=read_survey, body=body
        )
        found |= {some[n].id: soil for n, soil in read_survey(reply.payload).items()}
    write_file(folder / SOIL_FILE, soil_table(farm, found))
    return folder / SOIL_FILE, found


def boundary_ring(field: Field) -> list[tuple[float, float]]:
    """Boundary (lon, lat); a field without one is a square of its area around its position."""
    if field.boundary:
        return list(field.boundary)
    half = math.sqrt(field.area_ha / 100.0) / 2 / KM_DEGREE
    wide = half / math.cos(math.radians(field.lat))
    corners = ((-1, -1), (1, -1), (1, 1), (-1, 1))
    return [(field.lon + x * wide, field.lat + y * half) for x, y in corners]
