"""Public weather and soil services over a bad line: cache, time limits, retries, clear errors.

Only documented public interfaces are asked: the U.S. National Weather Service API
(api.weather.gov), Open-Meteo (forecast, ensemble, archive and their metadata; data CC BY 4.0) and
the USDA Soil Data Access tabular service. `open_meteo` and `soil_survey` read
what they answer.
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
from typing import Any, Self
from urllib.parse import urlsplit

import requests
from requests.adapters import HTTPAdapter
from requests_cache import CachedSession
from requests_cache.backends.sqlite import SQLiteCache
from urllib3.exceptions import InvalidHeader, MaxRetryError, ResponseError
from urllib3.util.retry import Retry

#: Where each service lives; see `Services` to put another in its place.
BASES = {
    "nws": "https://api.weather.gov",
    "open-meteo": "https://api.open-meteo.com",
    "open-meteo-ensemble": "https://ensemble-api.open-meteo.com",
    "open-meteo-archive": "https://archive-api.open-meteo.com",
    "soil": "https://sdmdataaccess.sc.egov.usda.gov",
}
#: Environment variables: one address under which all services are found by their names above
#: (a mirror, a proxy, a test), and who to write to, for the User-Agent.
BASE_VARIABLE, CONTACT_VARIABLE = "AFTERRAIN_SERVICES_URL", "AFTERRAIN_CONTACT"
#: How long an answer is taken for fresh; assumed from how often each is renewed.
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
#: Seconds to connect and to wait for bytes; assumed: a slow phone line still answers in them.
TIMEOUT = (6.0, 30.0)
#: Tries after the first, and the seconds before them: 1, 2 (urllib3: factor × 2^(n-1)).
RETRIES, BACK_OFF_S = 2, 1.0
#: Longest wait a service may ask for by Retry-After before we give up for this time, s.
LONGEST_WAIT_S = 20
#: A clock that is off by more than this is told, s.
SKEW_S = 300.0
AGAIN = (429, 500, 502, 503, 504)


class ServiceError(Exception):
    """A service did not give a sound answer; the message is one plain line."""


class _Unsound(requests.RequestException):
    """An answer that came but cannot be used."""


@dataclass(frozen=True, kw_only=True)
class Reply:
    """A sound answer.

    Attributes
    ----------
    payload : the decoded JSON, untouched.
    fetched : when the service gave it, by its own clock where that differs from ours.
    cached : whether it came out of the cache.
    fresh : False for an expired answer out of the cache, used because of `trouble`.
    """

    payload: Any
    url: str
    fetched: datetime
    cached: bool = False
    fresh: bool = True
    trouble: str = ""


class _Patience(Retry):
    """Retries that give up where a service asks to wait longer than `LONGEST_WAIT_S`."""

    def get_retry_after(self, response: Any) -> float | None:
        try:
            return super().get_retry_after(response)
        except InvalidHeader:
            return None

    def increment(
        self, method: Any = None, url: Any = None, response: Any = None, *rest: Any, **named: Any
    ) -> Self:
        if response is not None and (self.get_retry_after(response) or 0.0) > LONGEST_WAIT_S:
            raise MaxRetryError(named.get("_pool"), str(url), ResponseError("asks to wait"))  # type: ignore[arg-type]
        return super().increment(method, url, response, *rest, **named)


class Services:
    """A session with all services.

    Parameters
    ----------
    cache : folder of the cache. A cache that is broken is set aside, one that is locked by
        another program is done without; `notes` says so.
    base : address that stands for all services, see `BASE_VARIABLE`.
    back_off_s, timeout : see `BACK_OFF_S`, `TIMEOUT`.

    Notes
    -----
    A service that could not be reached, or asked for patience, is not asked again by this
    session, nor is a product that failed on the service's side after all tries: a dead line costs
    one wait and not one for every cell.
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
        self.down: dict[str | tuple[str, str], str] = {}
        for name in ("requests_cache", "urllib3.connectionpool"):
            logging.getLogger(name).setLevel(logging.CRITICAL)  # told in our own lines
        self.session = self._session(cache)

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
        """Ask one question; POST where there is a body.

        Parameters
        ----------
        service, path : key of `BASES`; path or full address below it (only its path is used).
        product : key of `EXPIRY`.
        check : raises ValueError where the decoded answer is not sound; such an answer never
            enters the cache.

        Raises
        ------
        ServiceError
            Where no sound answer came and the cache has none, not even an expired one.
        """
        base = self.bases[service]
        request = requests.Request(
            "POST" if body else "GET",
            base + urlsplit(path).path,
            params={k: str(v) for k, v in (params or {}).items()},
            json=body,
            hooks={"response": lambda r, **_: _sound(r, check)},
        )
        prepared = self.session.prepare_request(request)
        trouble = self.down.get(service) or self.down.get((service, product))
        if trouble is None:
            try:
                return self._reply(self._send(prepared, product))
            except requests.RequestException as error:
                trouble = _told(error, service, self.timeout)
                if (what := _hopeless(error, service, product)) is not None:
                    self.down[what] = trouble
        kept = self._kept(prepared)
        if kept is None:
            raise ServiceError(trouble)
        return replace(self._reply(kept), cached=True, fresh=False, trouble=trouble)

    def _session(self, cache: Path) -> requests.Session:
        session: requests.Session
        try:
            cache.mkdir(parents=True, exist_ok=True)
            session = _cached(cache / "services.sqlite")
        except (sqlite3.Error, OSError) as error:
            session = self._without(cache / "services.sqlite", error)
        retry = _Patience(
            total=RETRIES,
            backoff_factor=self.back_off_s,
            status_forcelist=AGAIN,
            allowed_methods=("GET", "POST"),
            raise_on_status=False,
        )
        session.mount("https://", HTTPAdapter(max_retries=retry))
        session.mount("http://", HTTPAdapter(max_retries=retry))
        session.headers["User-Agent"] = user_agent()
        session.headers["Accept"] = "application/geo+json, application/json"
        return session

    def _without(self, path: Path, error: Exception) -> requests.Session:
        """A broken cache is set aside and begun anew; a locked one is done without."""
        if isinstance(error, sqlite3.DatabaseError) and not isinstance(
            error, sqlite3.OperationalError
        ):
            with suppress(sqlite3.Error, OSError):
                os.replace(path, path.with_suffix(".broken"))
                self.notes.append("The cache was broken; it was set aside and begun anew.")
                return _cached(path)
        self.notes.append(f"The cache cannot be used ({error}); going on without it.")
        return requests.Session()

    def _manner(self, prepared: requests.PreparedRequest) -> dict[str, Any]:
        """How to send: time limits, and the proxies and certificates of this computer."""
        place = self.session.merge_environment_settings(prepared.url, {}, False, None, None)
        return {"timeout": self.timeout, **place}

    def _send(self, prepared: requests.PreparedRequest, product: str) -> requests.Response:
        manner = self._manner(prepared)
        if isinstance(self.session, CachedSession):
            try:
                return self.session.send(prepared, expire_after=EXPIRY[product], **manner)
            except sqlite3.Error as error:
                old = self.session
                self.notes.append(f"The cache cannot be used ({error}); going on without it.")
                self.session = requests.Session()
                self.session.headers, self.session.adapters = old.headers, old.adapters
        return self.session.send(prepared, **manner)

    def _kept(self, prepared: requests.PreparedRequest) -> requests.Response | None:
        """The cache's answer however old, if it has one."""
        if not isinstance(self.session, CachedSession):
            return None
        with suppress(sqlite3.Error):
            key = self.session.cache.create_key(prepared, **self._manner(prepared))
            return self.session.cache.get_response(key)
        return None

    def _reply(self, response: requests.Response) -> Reply:
        made = _made(response)
        cached = bool(getattr(response, "from_cache", False))
        off = 0.0 if cached else (made - datetime.now(UTC)).total_seconds()
        if abs(off) > SKEW_S and not any("clock" in n for n in self.notes):
            self.notes.append(
                f"This computer's clock is {abs(off) / 60:.0f} min "
                f"{'behind' if off > 0 else 'ahead of'} the service's; the service's time is kept."
            )
        return Reply(payload=response.json(), url=str(response.url), fetched=made, cached=cached)


def user_agent() -> str:
    """Who asks: program, version and, where set, whom to write to."""
    try:
        number = version("afterrain")
    except PackageNotFoundError:
        number = "0"
    contact = os.environ.get(CONTACT_VARIABLE, "").strip()
    return f"afterrain/{number} (farm harvest planning{f'; {contact}' if contact else ''})"


def _cached(path: Path) -> CachedSession:
    """A session on a SQLite cache that is known to be whole and writable."""
    with closing(sqlite3.connect(path, timeout=1.0)) as probe:
        probe.execute("BEGIN IMMEDIATE")
        (verdict,) = probe.execute("PRAGMA quick_check(1)").fetchone()
        probe.rollback()
    if verdict != "ok":
        raise sqlite3.DatabaseError(verdict)
    backend = SQLiteCache(path, busy_timeout=1000)
    return CachedSession(backend=backend, allowable_methods=("GET", "POST"), expire_after=3600)


def _sound(response: requests.Response, check: Callable[[Any], object]) -> None:
    """Raise where an answer is not what was asked for."""
    if response.is_redirect:
        return
    status = response.status_code
    if status != 200:
        raise _Unsound(_status(response), response=response)
    try:
        payload = response.json()
    except ValueError:
        start = response.text.lstrip()[:1]
        what = "a web page instead of data" if start == "<" else "data that is cut off"
        raise _Unsound(f"answered with {what}", response=response) from None
    try:
        check(payload)
    except ValueError as error:
        raise _Unsound(f"answered, but {error}", response=response) from None


def _status(response: requests.Response) -> str:
    status = response.status_code
    if status == 429:
        wait = response.headers.get("Retry-After", "")
        return f"asks for patience (429{f', retry after {wait} s' if wait.isdigit() else ''})"
    known = {
        403: "refuses us (403 forbidden); set " + CONTACT_VARIABLE,
        404: "knows no such place or data (404)",
    }
    return known.get(
        status,
        f"has a fault of its own ({status})" if status >= 500 else f"answered with status {status}",
    )


def _told(error: requests.RequestException, service: str, timeout: tuple[float, float]) -> str:
    """One line of what went wrong."""
    if isinstance(error, _Unsound):
        return f"{service} {error}"
    if isinstance(error, requests.Timeout):
        return f"{service} did not answer within {timeout[1]:.0f} s"
    if isinstance(error, requests.exceptions.ChunkedEncodingError):
        return f"{service} broke off in the middle of its answer"
    if "timed out" in str(error).lower():
        return f"{service} did not answer within {timeout[1]:.0f} s"
    return f"{service} cannot be reached (no line, or it refuses)"


def _hopeless(
    error: requests.RequestException, service: str, product: str
) -> str | tuple[str, str] | None:
    """What need not be asked again by this session: the service, one product of it, or nothing."""
    if isinstance(error, _Unsound):
        status = 0 if error.response is None else error.response.status_code
        return service if status in (403, 429) else (service, product) if status >= 500 else None
    return None if isinstance(error, requests.exceptions.ChunkedEncodingError) else service


def _made(response: requests.Response) -> datetime:
    """When the service made an answer, by its Date header; else the time it was kept, or now."""
    with suppress(KeyError, TypeError, ValueError):
        at = parsedate_to_datetime(response.headers["Date"])
        return at.astimezone(UTC) if at.tzinfo else at.replace(tzinfo=UTC)
    kept = getattr(response, "created_at", None)
    return kept.astimezone(UTC) if isinstance(kept, datetime) else datetime.now(UTC)
