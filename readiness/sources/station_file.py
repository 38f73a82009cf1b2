"""A station's daily file of either network, told apart by its first line."""

from __future__ import annotations

import gzip
from collections.abc import Callable
from pathlib import Path

from readiness.sources.daily_record import DailyRecord, RecordError
from readiness.sources.ghcn import REQUIRED, read_ghcn_daily
from readiness.sources.uscrn import DAILY01, read_uscrn_daily


def read_station_file(path: Path) -> DailyRecord:
    """Daily record of one station: USCRN daily01, or a GHCN-Daily station CSV; plain or gz.

    Raises
    ------
    RecordError
        Where the file is of neither network, or cannot be read.
    """
    reader = _reader(path)
    if reader is None:
        raise RecordError(
            f"{path.name}: neither a daily01 file of the U.S. Climate Reference Network nor a "
            f"station file of GHCN-Daily (CSV with the columns {', '.join(REQUIRED)})"
        )
    return reader(path)


def is_station_file(path: Path) -> bool:
    """Whether a file is of a network that `read_station_file` knows, by its first line."""
    try:
        return _reader(path) is not None
    except RecordError:
        return False


def _reader(path: Path) -> Callable[[Path], DailyRecord] | None:
    """Reader of the network that a file's first line belongs to; None for neither."""
    columns = _first_line(path).replace('"', "").split(",")
    if {"STATION", "DATE"} <= set(columns):
        return read_ghcn_daily
    if DAILY01[0] in columns or len(columns[0].split()) == len(DAILY01):
        return read_uscrn_daily
    return None


def _first_line(path: Path) -> str:
    """First line of a text file, plain or gz."""
    opener = gzip.open if path.name.endswith(".gz") else open
    try:
        with opener(path, "rt", encoding="utf-8") as file:
            return str(file.readline()).strip()
    except (OSError, UnicodeDecodeError, EOFError) as error:
        raise RecordError(f"{path.name}: {error}") from error
