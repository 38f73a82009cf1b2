"""Stored answers of weather services, a file each; an older or broken answer replaces none."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from scheduler.atomic import write_file
from scheduler.errors import WeatherError

FORECASTS_FOLDER = "forecasts"
_NAME = re.compile(
    r"(?P<product>[a-z-]+)_(?P<issued>\d{8}T\d{4}Z)_(?P<lat>-?\d+\.\d+)_(?P<lon>-?\d+\.\d+)\.json"
)
#: Largest stored answer that is read, bytes; assumed: an ensemble of 51 members is under 3 MB.
MAX_ANSWER_BYTES = 40_000_000


@dataclass(frozen=True, kw_only=True)
class Answer:
    """A service's own response and its origin.

    Attributes
    ----------
    source, product, version : of the service.
    issued, fetched : times of issue and of fetching.
    url : address of the question.
    lat, lon : centre of the grid cell, degrees.
    payload : JSON of the response.
    """

    source: str
    product: str
    version: str
    issued: datetime
    fetched: datetime
    url: str
    lat: float
    lon: float
    payload: Any

    @property
    def name(self) -> str:
        """Name of the file."""
        stamp = f"{self.issued.astimezone(UTC):%Y%m%dT%H%MZ}"
        return f"{self.product}_{stamp}_{self.lat:.2f}_{self.lon:.2f}.json"


@dataclass(frozen=True, kw_only=True)
class StoredAnswer:
    """A stored answer by the name of its file; `read_answer` reads the content."""

    path: Path
    product: str
    issued: datetime
    lat: float
    lon: float


def stored_answers(folder: Path, product: str | None = None) -> list[StoredAnswer]:
    """Stored answers of a farm folder, of one product or all, latest issue first."""
    found = []
    for path in (folder / FORECASTS_FOLDER).glob("*.json"):
        m = _NAME.fullmatch(path.name)
        if m and product in (None, m["product"]):
            issued = datetime.strptime(m["issued"], "%Y%m%dT%H%MZ").replace(tzinfo=UTC)
            lat, lon = float(m["lat"]), float(m["lon"])
            found.append(
                StoredAnswer(path=path, product=m["product"], issued=issued, lat=lat, lon=lon)
            )
    return sorted(found, key=lambda s: (-s.issued.timestamp(), s.path.name))


def store_answer(folder: Path, answer: Answer) -> bool:
    """Store an answer whose payload the caller has parsed; False where it is stored already.

    An answer replaces the stored one of the same issue and place only if it was fetched later.

    Raises
    ------
    WeatherError
        Where the folder cannot be written; stored answers stay as they are.
    """
    path = folder / FORECASTS_FOLDER / answer.name
    if path.exists():
        try:
            if read_answer(path).fetched >= answer.fetched:
                return False
        except WeatherError:
            pass  # the stored file is broken: a sound answer may take its place
    envelope = {
        "source": answer.source,
        "product": answer.product,
        "version": answer.version,
        "issued": _stamp(answer.issued),
        "fetched": _stamp(answer.fetched),
        "url": answer.url,
        "lat": answer.lat,
        "lon": answer.lon,
        "payload": answer.payload,
    }
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_file(path, json.dumps(envelope, ensure_ascii=False, separators=(",", ":")))
    except OSError as error:
        raise WeatherError(
            f"{path}: cannot be written ({error.strerror}); "
            "make room or give yourself permission, what was stored is untouched"
        ) from None
    return True


def read_answer(path: Path) -> Answer:
    """Read a stored answer.

    Raises
    ------
    WeatherError
        Where the file cannot be read or lacks a part.
    """
    return answer_of(read_json(path), path)


def answer_of(content: Any, path: Path) -> Answer:
    """The stored answer of a file's JSON; WeatherError where the content lacks a part."""
    try:
        return Answer(
            source=str(content["source"]),
            product=str(content["product"]),
            version=str(content.get("version", "")),
            issued=_time(content["issued"]),
            fetched=_time(content.get("fetched", content["issued"])),
            url=str(content.get("url", "")),
            lat=float(content["lat"]),
            lon=float(content["lon"]),
            payload=content["payload"],
        )
    except (KeyError, TypeError, ValueError, AttributeError):
        raise WeatherError(
            f"{path.name}: is not a stored forecast; remove it, then fetch again"
        ) from None


def read_json(path: Path) -> Any:
    """JSON of a file.

    Raises
    ------
    WeatherError
        Where the file is too large, or no JSON.
    """
    try:
        if path.stat().st_size > MAX_ANSWER_BYTES:
            raise WeatherError(f"{path}: is larger than any forecast; remove it")
        return json.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise WeatherError(f"{path}: cannot be read ({error.strerror})") from None
    except (ValueError, RecursionError):
        raise WeatherError(f"{path}: is cut off or not JSON; remove it, then fetch again") from None


def _time(text: str) -> datetime:
    """A time with an offset, as UTC; ValueError without."""
    at = datetime.fromisoformat(text)
    if at.tzinfo is None:
        raise ValueError(text)
    return at.astimezone(UTC)


def _stamp(at: datetime) -> str:
    """UTC to the second."""
    return f"{at.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"
