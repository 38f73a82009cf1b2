"""Client of public weather and soil services over an unreliable line: cache, time limits, retries.

Only documented public interfaces are asked: the U.S. National Weather Service API
(api.weather.gov), Open-Meteo (forecast, ensemble, archive and their metadata; data CC BY 4.0) and
the USDA Soil Data Access tabular service. `responses` and `soil_survey` parse their answers.
"""

from __future__ import annotations

import logging
import os
import sqlite3
from collections.abc import Callable, Mapping
from contextlib import closing, suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import requests
from requests.adapters import HTTPAdapter
from requests_cache import CachedSession
from requests_cache.backends.sqlite import SQLiteCache

from readiness.sources.service_errors import (
    BACK_OFF_S,
    CONTACT_VARIABLE,
    ServiceError,
    failing_part,
    failure_text,
    require_sound,
    retry_policy,
)

#: Address of each service; see `Services` to put another in its place.
BASES = {
    "nws": "https://api.weather.gov",
    "open-meteo": "https://api.open-meteo.com",
    "open-meteo-ensemble": "https://ensemble-api.open-meteo.com",
    "open-meteo-archive": "https://archive-api.open-meteo.com",
    "soil": "https://sdmdataaccess.sc.egov.usda.gov",
}
#: Environment variable with one address under which all services are found by the names in `BASES`
#: (a mirror, a proxy, a test).
BASE_VARIABLE = "AFTERRAIN_SERVICES_URL"
#: Time that an answer stays fresh; assumed from how often each product is renewed.
EXPIRY = {
    "points": timedelta(days=30),
    "stations": timedelta(days=30),
    "gridpoint": timedelta(hours=1),
    "observations": timedelta(minutes=20),
    "alerts": timedelta(minutes=5),
    "forecast": timedelta(hours=1),
    "ensemble": timedelta(hours=3),
    "archive": timedelta(hours=12),
    "issue": timedelta(minutes=10),
    "soil": timedelta(days=180),
}
#: Limits of connecting and of waiting for bytes, s; assumed: enough for a slow phone line.
TIMEOUT = (6.0, 30.0)
#: Difference of this computer's clock from a service's that is noted, s.
CLOCK_ERROR_S = 300.0


@dataclass(frozen=True, kw_only=True)
class Reply:
    """A sound answer.

    Attributes
    ----------
    payload : the decoded JSON, unchanged.
    fetched : time of the answer, by the service's clock where it states one.
    cached : whether the answer came from the cache.
    fresh : False for an expired answer from the cache, used because of `failure`.
    """

    payload: Any
    url: str
    fetched: datetime
    cached: bool = False
    fresh: bool = True
    failure: str = ""


class Services:
    """A session with all services.

    Parameters
    ----------
    cache : folder of the cache. A broken cache is set aside; a cache that another program locks is
        not used; `notes` says so.
    base : address that replaces all of `BASES`, see `BASE_VARIABLE`.
    back_off_s, timeout : see `BACK_OFF_S`, `TIMEOUT`.

    Notes
    -----
    The session asks a service that could not be reached, or that asked to wait, no second time.
    The same holds for a product that failed on the service's side after all retries. So a dead
    line costs one wait, not one for every cell.
    """

    def __init__(
        self,
        cache: Path,
        *,
        base: str | None = None,
        back_off_s: float = BACK_OFF_S,
        timeout: tuple[float, float] = TIMEOUT,
    ) -> None:
        base = base or os.environ.get(BASE_VARIABLE) or ""
        self.bases = {k: f"{base.rstrip('/')}/{k}" for k in BASES} if base else dict(BASES)
        self.timeout, self.back_off_s = timeout, back_off_s
        self.notes: list[str] = []
        self.failed: dict[str | tuple[str, str], str] = {}
        for name in ("requests_cache", "urllib3.connectionpool"):
            logging.getLogger(name).setLevel(logging.CRITICAL)  # failures have lines of ours
        self.session = self._open_session(cache)

    def __enter__(self) -> Services:
        return self

    def __exit__(self, *_: object) -> None:
        with suppress(sqlite3.Error):
            self.session.close()

    def ask(
        self,
        service: str,
        path: str,
        *,
        product: str,
        check: Callable[[Any], object],
        params: Mapping[str, str | int | float] | None = None,
        body: Mapping[str, str] | None = None,
    ) -> Reply:
        """Send one request, by POST where it has a body.

        Parameters
        ----------
        service, path : key of `BASES`; path or full address below it (only its path is used).
        product : key of `EXPIRY`.
        check : raises ValueError where the decoded answer is not sound; such an answer never
            enters the cache.

        Raises
        ------
        ServiceError
            Where no sound answer came and the cache holds none, not even an expired one.
        """
        request = requests.Request(
            "POST" if body else "GET",
            self.bases[service] + urlsplit(path).path,
            params={k: str(v) for k, v in (params or {}).items()},
            json=body,
            hooks={"response": lambda r, **_: require_sound(r, check)},
        )
        prepared = self.session.prepare_request(request)
        failure = self.failed.get(service) or self.failed.get((service, product))
        if failure is None:
            try:
                return self._reply(self._send(prepared, product))
            except requests.RequestException as error:
                failure = failure_text(error, service, read_timeout_s=self.timeout[1])
                if (part := failing_part(error, service, product)) is not None:
                    self.failed[part] = failure
        expired = self._from_cache(prepared)
        if expired is None:
            raise ServiceError(failure)
        return replace(self._reply(expired), cached=True, fresh=False, failure=failure)

    def _open_session(self, cache: Path) -> requests.Session:
        """A session with cache, retries and headers."""
        session: requests.Session
        path = cache / "services.sqlite"
        try:
            cache.mkdir(parents=True, exist_ok=True)
            session = _cached_session(path)
        except (sqlite3.Error, OSError) as error:
            session = self._session_after(error, path)
        for scheme in ("https://", "http://"):
            session.mount(scheme, HTTPAdapter(max_retries=retry_policy(self.back_off_s)))
        session.headers["User-Agent"] = user_agent()
        session.headers["Accept"] = "application/geo+json, application/json"
        return session

    def _session_after(self, error: Exception, path: Path) -> requests.Session:
        """A session on a new cache where the old one is broken, else without cache."""
        broken = isinstance(error, sqlite3.DatabaseError)
        if broken and not isinstance(error, sqlite3.OperationalError):
            with suppress(sqlite3.Error, OSError):
                os.replace(path, path.with_suffix(".broken"))
                self.notes.append("The cache was broken; it was set aside and begun anew.")
                return _cached_session(path)
        return self._session_without_cache(error)

    def _session_without_cache(self, error: Exception) -> requests.Session:
        """A plain session, and a note why."""
        self.notes.append(f"The cache cannot be used ({error}); going on without it.")
        return requests.Session()

    def _send_options(self, prepared: requests.PreparedRequest) -> dict[str, Any]:
        """Time limits, and the proxies and certificates of this computer."""
        environment = self.session.merge_environment_settings(prepared.url, {}, False, None, None)
        return {"timeout": self.timeout, **environment}

    def _send(self, prepared: requests.PreparedRequest, product: str) -> requests.Response:
        """Send a request through the cache; without it once it fails."""
        options = self._send_options(prepared)
        if isinstance(self.session, CachedSession):
            try:
                return self.session.send(prepared, expire_after=EXPIRY[product], **options)
            except sqlite3.Error as error:
                old = self.session
                self.session = self._session_without_cache(error)
                self.session.headers, self.session.adapters = old.headers, old.adapters
        return self.session.send(prepared, **options)

    def _from_cache(self, prepared: requests.PreparedRequest) -> requests.Response | None:
        """Answer in the cache, however old; None without one."""
        if not isinstance(self.session, CachedSession):
            return None
        with suppress(sqlite3.Error):
            key = self.session.cache.create_key(prepared, **self._send_options(prepared))
            return self.session.cache.get_response(key)
        return None

    def _reply(self, response: requests.Response) -> Reply:
        """Reply of a response; notes a wrong clock of this computer once."""
        answered = _answer_time(response)
        cached = bool(getattr(response, "from_cache", False))
        off = 0.0 if cached else (answered - datetime.now(UTC)).total_seconds()
        if abs(off) > CLOCK_ERROR_S and not any("clock" in n for n in self.notes):
            self.notes.append(
                f"This computer's clock is {abs(off) / 60:.0f} min "
                f"{'behind' if off > 0 else 'ahead of'} the service's; the service's time is kept."
            )
        return Reply(
            payload=response.json(), url=str(response.url), fetched=answered, cached=cached
        )


def user_agent() -> str:
    """User-Agent: program, version and, where set, a contact address."""
    try:
        number = version("afterrain")
    except PackageNotFoundError:
        number = "0"
    contact = os.environ.get(CONTACT_VARIABLE, "").strip()
    return f"afterrain/{number} (farm harvest planning{f'; {contact}' if contact else ''})"


def _cached_session(path: Path) -> CachedSession:
    """A session on a SQLite cache, which is first checked to be whole and writable."""
    with closing(sqlite3.connect(path, timeout=1.0)) as connection:
        connection.execute("BEGIN IMMEDIATE")
        (verdict,) = connection.execute("PRAGMA quick_check(1)").fetchone()
        connection.rollback()
    if verdict != "ok":
        raise sqlite3.DatabaseError(verdict)
    backend = SQLiteCache(path, busy_timeout=1000)
    return CachedSession(backend=backend, allowable_methods=("GET", "POST"), expire_after=3600)


def _answer_time(response: requests.Response) -> datetime:
    """Time of an answer by its Date header; else the time it was cached, or now."""
    with suppress(KeyError, TypeError, ValueError):
        at = parsedate_to_datetime(response.headers["Date"])
        return at.astimezone(UTC) if at.tzinfo else at.replace(tzinfo=UTC)
    cached_at = getattr(response, "created_at", None)
    return cached_at.astimezone(UTC) if isinstance(cached_at, datetime) else datetime.now(UTC)
