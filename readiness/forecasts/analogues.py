"""Analogues: windows of successive recorded days that continue or carry a forecast."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import HOUR, VARIABLES, Weather, day_of_year

#: Half width of the season that counts as climatology, days; assumed: wide enough to hold sixty
#: days in one year of records, narrow enough not to mix spring into harvest.
SEASON_HALF_WIDTH = 45
#: Years of records from which whole analogue years replace windows of one season.
FEWEST_YEARS = 5
#: Half width of the start dates of an analogue year, days; assumed.
START_HALF_WIDTH = 10
#: Shortest record that windows are cut from, days; assumed.
FEWEST_DAYS = 30
#: Longest piece of a window where the records are too short for whole windows, days; assumed: rain
#: spells of the plains seldom last longer.
PIECE_DAYS = 5


class ShortRecordError(ValueError):
    """The records are too short to continue the weather."""


@dataclass(frozen=True, kw_only=True)
class RecordDays:
    """Records cut into days that begin at one hour.

    Attributes
    ----------
    weather : (1, site, 24 × days).
    index : (n,) days, counted from the first, on which every variable but gust is known.
    season : (n,) day of the year of each.
    """

    weather: Weather
    index: NDArray[np.int64]
    season: NDArray[np.int64]

    def season_days(self, start: np.datetime64) -> NDArray[np.int64]:
        """Days of the season around a date; all days where the season has too few.

        Raises
        ------
        ShortRecordError
            With fewer than `FEWEST_DAYS` whole days of records.
        """
        near = self.index[_within(self.season, _day(start), SEASON_HALF_WIDTH)]
        if len(near) < FEWEST_DAYS:
            near = self.index
        if len(near) < FEWEST_DAYS:
            raise ShortRecordError(f"{len(near)} whole days of records, {FEWEST_DAYS} needed")
        return near


def cut_days(records: Weather, start: np.datetime64) -> RecordDays:
    """Cut records into days that begin at the hour of day of `start` and end before it."""
    last = min(start, records.stop)
    short = int((last - records.times[0]).astype(int)) % 24
    lag = int((start - last).astype(int)) % 24
    first = records.times[0] + (short + 24 - lag) % 24 * HOUR
    days = max(0, int((last - first).astype(int)) // 24)
    if days < 1:
        raise ShortRecordError("no whole day of records")
    weather = records.between(first, first + 24 * days * HOUR)
    known = np.all(
        [np.isfinite(getattr(weather, n)) for n in VARIABLES if n != "gust"], axis=(0, 1, 2)
    )
    index = np.flatnonzero(known.reshape(days, 24).all(axis=1))
    return RecordDays(weather=weather, index=index, season=day_of_year(first + 24 * index * HOUR))


def _day(start: np.datetime64) -> int:
    """Day of the year of a date."""
    return int(day_of_year(np.array([start]))[0])


def _within(season: NDArray[np.int64], day: int, half_width: int) -> NDArray[np.bool_]:
    """Days within `half_width` of a day of the year, across the turn of the year."""
    away = np.abs(season - day)
    return np.asarray(np.minimum(away, 365 - away) <= half_width)


def analogue_windows(
    days: RecordDays,
    start: np.datetime64,
    length: int,
    *,
    members: int,
    rng: np.random.Generator,
) -> NDArray[np.int64]:
    """Draw the recorded days that each member follows, (member, length).

    With `FEWEST_YEARS` of records or more, each window is an analogue year from about the same
    date. With fewer, windows come from the season, whole or in pieces of at most `PIECE_DAYS`.

    Raises
    ------
    ShortRecordError
        With fewer than `FEWEST_DAYS` whole days of records.
    """
    near = days.season_days(start)
    years = {int(d) // 365 for d in near}
    if len(years) >= FEWEST_YEARS:
        close = days.index[_within(days.season, _day(start), START_HALF_WIDTH)]
        starts = _starts_of_runs(days.index, close, length)
        if len(starts) >= members // 2:
            return _draw(starts, members, rng)[:, None] + np.arange(length)
    out = np.empty((members, 0), dtype=np.int64)
    while out.shape[1] < length:
        piece = length - out.shape[1]
        starts = _starts_of_runs(days.index, near, piece)
        while len(starts) < min(members, FEWEST_DAYS) // 2 and piece > 1:
            piece = max(1, min(piece - 1, PIECE_DAYS if piece > PIECE_DAYS else piece - 1))
            starts = _starts_of_runs(days.index, near, piece)
        out = np.hstack([out, _draw(starts, members, rng)[:, None] + np.arange(piece)])
    return out


def _starts_of_runs(
    known: NDArray[np.int64], starts: NDArray[np.int64], length: int
) -> NDArray[np.int64]:
    """Starts that `length` known days in a row follow, the start included."""
    whole = np.isin(starts[:, None] + np.arange(length), known).all(axis=1)
    return starts[whole]


def _draw(starts: NDArray[np.int64], members: int, rng: np.random.Generator) -> NDArray[np.int64]:
    """Draw one start a member, each start as often as any other, to within one."""
    rounds = [rng.permutation(starts) for _ in range(-(-members // len(starts)))]
    return np.concatenate(rounds)[:members]


def analogue_weather(days: RecordDays, window: NDArray[np.int64], start: np.datetime64) -> Weather:
    """Weather of the windows, labelled from `start` on, (member, site, 24 × length)."""
    hours = (24 * window[:, :, None] + np.arange(24)).reshape(len(window), -1)
    picked = {
        n: np.moveaxis(getattr(days.weather, n)[0][:, hours], 1, 0)
        for n in (*VARIABLES, "estimated")
    }
    picked["estimated"] = np.ones_like(picked["estimated"])
    return Weather(start=start, **picked)


def extend_with_analogues(
    members: Weather, records: Weather, *, hours: int, seed: int = 0
) -> Weather:
    """Cut members to `hours`, or continue each by an analogue from the records."""
    have = members.shape[2]
    if have >= hours:
        return members.between(members.times[0], members.times[0] + hours * HOUR)
    rng = np.random.default_rng((seed, 13))
    days = cut_days(records, members.start)
    window = analogue_windows(
        days, members.start, -(-hours // 24), members=members.shape[0], rng=rng
    )
    tail = analogue_weather(days, window, members.start)
    if not have:
        return tail.between(tail.times[0], tail.times[0] + hours * HOUR)
    return members.append(tail.between(tail.times[0] + have * HOUR, tail.times[0] + hours * HOUR))
