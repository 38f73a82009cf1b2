"""Weather of the whole farm, asked of the services product by product and stored."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Literal, NamedTuple

import numpy as np

from readiness.sources.nws import nearest_station, parse_alerts, point_links
from readiness.sources.open_meteo import HOURLY_NAMES
from readiness.sources.payload import PayloadError
from readiness.sources.responses import parse_response
from readiness.sources.service_errors import ServiceError
from readiness.sources.services import Reply, Services
from scheduler.errors import WeatherError
from scheduler.farm.model import Farm
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
#: Days of a forecast: the most that the services give, and the days before now that come with it.
DAYS_AHEAD, DAYS_BACK = 16, 7
#: Records of the first fetch, days; assumed: the top metre of soil forgets earlier weather.
SEASON_DAYS = 180
#: Days of records that are asked for again, because the archive corrects its first figures
#: (ERA5T after about five days; documentation of Open-Meteo's archive).
AGAIN_DAYS = 7
#: Delay of a run, h, where the metadata do not name it: the last run of those every six hours
#: that is out for sure; assumed from the usual delay of global ensembles.
RUN_DELAY_H = 6.0
ENSEMBLE_MODEL = "gfs_seamless"
#: Path of Open-Meteo's metadata about that model's last run (path from memory).
ENSEMBLE_RUN = "data/ncep_gefs025/static/meta.json"
PRODUCTS = ("ensemble", "forecast", "archive", "gridpoint", "observations", "alerts")

#: Latitude and longitude of the centre of a grid cell, degrees.
GridCell = tuple[float, float]
Params = dict[str, str | int]


class Fetched(NamedTuple):
    """A reply and its origin; `issued` is None where the service names no time of issue."""

    source: str
    version: str
    reply: Reply
    issued: datetime | None = None


@dataclass(frozen=True, kw_only=True)
class FetchOutcome:
    """What became of one product at one cell.

    Attributes
    ----------
    product, cell : what was asked for.
    state : stored (new), same (stored already), older (than the stored answer, which stays),
        stale (an expired copy from the cache, for want of an answer) or failed.
    text : why, for a state other than stored and same.
    issued : time of issue; None where the question failed.
    """

    product: str
    cell: GridCell
    state: Literal["stored", "same", "older", "stale", "failed"]
    text: str = ""
    issued: datetime | None = None


def grid_cells(farm: Farm) -> list[GridCell]:
    """Centres of the grid cells that hold the farm's fields."""
    return sorted({(_on_grid(f.lat), _on_grid(f.lon)) for f in farm.fields})


def _on_grid(degrees: float) -> float:
    """The nearest multiple of `GRID_DEGREES`; never minus zero."""
    return round(round(degrees / GRID_DEGREES) * GRID_DEGREES, 2) + 0.0


def fetch(
    folder: Path, farm: Farm, services: Services, *, now: datetime | None = None, years: int = 0
) -> list[FetchOutcome]:
    """Ask for every product once for each grid cell and store the answers that are sound.

    Parameters
    ----------
    years : years of records to ask for besides this season, for analogue years.
    """
    this_round = FetchRound(folder, services, now or datetime.now(UTC), years)
    return [this_round.outcome(product, cell) for product in PRODUCTS for cell in grid_cells(farm)]


class FetchRound:
    """One round of questions at one time; answers that several questions share are kept."""

    def __init__(self, folder: Path, services: Services, now: datetime, years: int) -> None:
        self.folder, self.services = folder, services
        self.now, self.years = now, years
        self._links_of: dict[GridCell, tuple[str, str]] = {}
        self._run: datetime | None = None
        self._run_asked = False
        self._ask: dict[str, Callable[[GridCell], Fetched]] = {
            "ensemble": self._ensemble,
            "forecast": self._forecast,
            "archive": self._archive,
            "gridpoint": self._gridpoint,
            "observations": self._observations,
            "alerts": self._alerts,
        }

    def outcome(self, product: str, cell: GridCell) -> FetchOutcome:
        """Ask for one product of one cell and store the answer."""
        try:
            return self._store(product, cell, self._ask[product](cell))
        except (ServiceError, PayloadError, WeatherError) as error:
            return FetchOutcome(product=product, cell=cell, state="failed", text=str(error))

    def _store(self, product: str, cell: GridCell, fetched: Fetched) -> FetchOutcome:
        """Store an answer unless a better one is stored."""
        reply = fetched.reply
        issued = (fetched.issued or reply.fetched).replace(second=0, microsecond=0)
        outcome = FetchOutcome(product=product, cell=cell, state="same", issued=issued)
        if issued > max(reply.fetched, self.now) + timedelta(hours=1) + CLOCK_SLACK:
            text = "it says it was issued in the future; not stored"
            return replace(outcome, state="failed", text=text)
        here = [s for s in stored_answers(self.folder, product) if (s.lat, s.lon) == cell]
        kept = next((s for s in here if _is_sound(s)), None)
        if kept is not None and reply.cached and read_answer(kept.path).fetched == reply.fetched:
            state: Literal["same", "stale"] = "same" if reply.fresh else "stale"
            return replace(outcome, state=state, text=reply.failure, issued=kept.issued)
        if kept is not None and kept.issued > issued:
            text = "older than what is stored, which is kept"
            return replace(outcome, state="older", text=text)
        answer = Answer(
            source=fetched.source,
            product=product,
            version=fetched.version,
            issued=issued,
            fetched=reply.fetched,
            url=reply.url,
            lat=cell[0],
            lon=cell[1],
            payload=reply.payload,
        )
        is_new = store_answer(self.folder, answer)
        if not reply.fresh:
            return replace(outcome, state="stale", text=reply.failure)
        return replace(outcome, state="stored") if is_new else outcome

    def _ensemble(self, cell: GridCell) -> Fetched:
        run = self._ensemble_run()  # asked first, so that it is never newer than the answer
        reply = self._open_meteo(
            "open-meteo-ensemble",
            "ensemble",
            cell,
            {"models": ENSEMBLE_MODEL, "forecast_days": DAYS_AHEAD},
        )
        if run is not None and not reply.cached:
            version = f"v1 {ENSEMBLE_MODEL}, run told by its metadata"
            return Fetched("open-meteo", version, reply, run)
        latest = reply.fetched - timedelta(hours=RUN_DELAY_H)
        estimate = latest.replace(hour=latest.hour // 6 * 6, minute=0)
        return Fetched("open-meteo", f"v1 {ENSEMBLE_MODEL}, run estimated", reply, estimate)

    def _forecast(self, cell: GridCell) -> Fetched:
        params: Params = {"forecast_days": DAYS_AHEAD, "past_days": DAYS_BACK}
        reply = self._open_meteo(
            "open-meteo", "forecast", cell, params, "cloud_cover", "weather_code"
        )
        return Fetched("open-meteo", "v1 best match, issue taken as time of fetching", reply)

    def _archive(self, cell: GridCell) -> Fetched:
        first, last = self._records_from(cell), self.now.astimezone(UTC)
        params: Params = {"start_date": f"{first:%Y-%m-%d}", "end_date": f"{last:%Y-%m-%d}"}
        reply = self._open_meteo("open-meteo-archive", "archive", cell, params)
        return Fetched("open-meteo", "v1 archive", reply)

    def _gridpoint(self, cell: GridCell) -> Fetched:
        link, _ = self._links(cell)
        reply = self.services.ask("nws", link, product="gridpoint", check=parse_response)
        at = parse_response(reply.payload).issued
        issued = None if at is None else at.astype("datetime64[s]").item().replace(tzinfo=UTC)
        return Fetched("nws", "api.weather.gov gridpoint", reply, issued)

    def _observations(self, cell: GridCell) -> Fetched:
        _, link = self._links(cell)
        stations = self.services.ask("nws", link, product="stations", check=nearest_station)
        station = nearest_station(stations.payload)
        since = (self.now.astimezone(UTC) - timedelta(days=DAYS_BACK)).replace(minute=0, second=0)
        reply = self.services.ask(
            "nws",
            f"/stations/{station}/observations",
            product="observations",
            check=parse_response,
            params={"start": f"{since:%Y-%m-%dT%H:%M:%SZ}"},
        )
        return Fetched("nws", f"api.weather.gov station {station}", reply)

    def _alerts(self, cell: GridCell) -> Fetched:
        reply = self.services.ask(
            "nws",
            "/alerts/active",
            product="alerts",
            check=parse_alerts,
            params={"point": f"{cell[0]:g},{cell[1]:g}"},
        )
        return Fetched("nws", "api.weather.gov alerts", reply)

    def _links(self, cell: GridCell) -> tuple[str, str]:
        """Addresses of a cell's gridpoint and stations; asked once."""
        if cell not in self._links_of:
            path = f"/points/{cell[0]:g},{cell[1]:g}"
            reply = self.services.ask("nws", path, product="points", check=point_links)
            self._links_of[cell] = point_links(reply.payload)
        return self._links_of[cell]

    def _open_meteo(
        self, service: str, product: str, cell: GridCell, params: Params, *variables: str
    ) -> Reply:
        """Hourly values of a product; `variables` are asked for besides those of the frame."""
        names = ",".join([*(key for key, _ in HOURLY_NAMES.values()), *variables])
        return self.services.ask(
            service,
            f"/v1/{product}",
            product=product,
            check=_check_complete,
            params={
                "latitude": cell[0],
                "longitude": cell[1],
                "hourly": names,
                "timezone": "GMT",
                **params,
            },
        )

    def _ensemble_run(self) -> datetime | None:
        """Start of the ensemble's last run; None where the metadata do not say. Asked once."""
        if not self._run_asked:
            self._run_asked = True
            try:
                reply = self.services.ask(
                    "open-meteo-ensemble", f"/{ENSEMBLE_RUN}", product="issue", check=_run_time
                )
                self._run = _run_time(reply.payload) if reply.fresh else None
            except ServiceError:
                self._run = None
        return self._run

    def _records_from(self, cell: GridCell) -> datetime:
        """First day of records to ask for: what is not stored yet, and `AGAIN_DAYS` again."""
        wanted = self.now - timedelta(days=SEASON_DAYS + 365 * self.years)
        here = [s for s in stored_answers(self.folder, "archive") if (s.lat, s.lon) == cell]
        frames = [c.payload.weather for s in here if (c := read_cell(s, [])) is not None]
        target = np.datetime64(wanted.replace(tzinfo=None), "h") + np.timedelta64(48, "h")
        if not any(f.start <= target for f in frames):
            return wanted
        last = max(f.times[np.isfinite(f.rain[0, 0])].max() for f in frames)
        at: datetime = last.astype("datetime64[s]").item()
        return min(self.now, at.replace(tzinfo=UTC)) - timedelta(days=AGAIN_DAYS)


def _is_sound(answer: StoredAnswer) -> bool:
    """Whether a stored answer can be read."""
    if answer.product != "alerts":
        return read_cell(answer, []) is not None
    try:
        parse_alerts(read_answer(answer.path).payload)
    except (WeatherError, PayloadError):
        return False
    return True


def _check_complete(payload: Any) -> None:
    """Raise PayloadError where an answer lacks a variable, or has unknown units.

    Gusts, radiation, cloud and weather codes may be missing.
    """
    parse_response(payload)
    for name in ("humidity", "wind"):
        key = HOURLY_NAMES[name][0]
        if not any(k.startswith(key) for k in payload["hourly"]):
            raise PayloadError(f"{key} is missing")


def _run_time(payload: object) -> datetime:
    """Start of the last run in the metadata of a model."""
    value = payload.get("last_run_initialisation_time") if isinstance(payload, dict) else None
    if isinstance(value, bool) or not isinstance(value, int) or not 0 < value < 2**33:
        raise PayloadError("the metadata do not give the last run")
    return datetime.fromtimestamp(value, UTC)
