"""Codes of the day's cautions. Times are farm time; `share` is that of members.

`scheduler.report.caution_phrases` words them.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, kw_only=True)
class UnknownWeather:
    """Temperature, humidity or wind is missing in some hours of the day."""


@dataclass(frozen=True, kw_only=True)
class FireWarning:
    """An official fire weather warning or watch that holds today."""

    event: str
    start: datetime
    stop: datetime


@dataclass(frozen=True, kw_only=True)
class FireOverStop:
    """The fire index passes the farm's stop rule."""

    stop: float
    share: float
    peak: datetime


@dataclass(frozen=True, kw_only=True)
class FireDanger:
    """The fire index is high and passes no stop rule of the farm."""

    index: float
    hazard_class: str
    peak: datetime
    stop: float | None  # the farm's stop rule


@dataclass(frozen=True, kw_only=True)
class Heat:
    """The heat index is in a class of danger."""

    index_c: float
    hazard_class: str
    peak: datetime
    passed_stop_c: float | None  # the farm's stop rule where some hours pass it


@dataclass(frozen=True, kw_only=True)
class Lightning:
    """Thunderstorms are forecast, or rain where the forecast does not tell thunder."""

    storms_known: bool
    start: datetime
    share: float


@dataclass(frozen=True, kw_only=True)
class WindOverStop:
    """Gusts pass the farm's stop rule."""

    stop_ms: float
    share: float
    peak: datetime


@dataclass(frozen=True, kw_only=True)
class Gusts:
    """Gusts reach those of a wind advisory."""

    gust_ms: float
    peak: datetime


@dataclass(frozen=True, kw_only=True)
class WorkAfterDark:
    """Crews that are rostered beyond sunset."""

    sunset: datetime
    crews: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class LongDay:
    """Rostered hours of the crews that work a long day."""

    hours: tuple[tuple[str, float], ...]


@dataclass(frozen=True, kw_only=True)
class RoadMoves:
    """Crews that move machines on the road today."""

    crews: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class PowerLines:
    """Machines move, or augers go up at the farm's own storage, today."""


@dataclass(frozen=True, kw_only=True)
class FlowingGrain:
    """Grain goes into the farm's own storage today."""

    points: tuple[str, ...]


DayCaution = (
    UnknownWeather
    | FireWarning
    | FireOverStop
    | FireDanger
    | Heat
    | Lightning
    | WindOverStop
    | Gusts
    | WorkAfterDark
    | LongDay
    | RoadMoves
    | PowerLines
    | FlowingGrain
)
