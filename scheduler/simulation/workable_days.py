"""Chances of workable days by field and half-month, with their day-to-day persistence."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from readiness.season.windows import daily_windows
from scheduler.simulation.past_season import PastSeason

#: Harvestable hours from which a day counts as workable; assumed, as 'a major portion of the day'
#: (USDA-NASS, days suitable for fieldwork) of a harvest day of eight hours.
WORKABLE_H = 4
#: Fewest pairs of days from which persistence is estimated; assumed.
FEWEST_PAIRS = 30


@dataclass(frozen=True, kw_only=True)
class WorkableDays:
    """Harvestable hours of one season, uint8 (field, day), from the day `first`."""

    first: np.datetime64
    hours: NDArray[np.uint8]

    @property
    def workable(self) -> NDArray[np.bool_]:
        """Whether each day is workable, (field, day)."""
        return np.asarray(self.hours >= WORKABLE_H)


@dataclass(frozen=True, kw_only=True)
class HalfMonth:
    """Workable days of one field in one half-month, over all seasons.

    Attributes
    ----------
    half
        1 up to day 15 of the month, else 2.
    share
        Share of the days that are workable.
    persistence
        See `persistence`.
    days
        Number of days.
    """

    field: str
    month: int
    half: int
    share: float
    persistence: float
    days: int


def workable_days(past: PastSeason) -> WorkableDays:
    """Harvestable hours of each whole day of a season."""
    windows = daily_windows(past.season, tz=past.farm.tz)
    whole = windows.hours >= 23
    return WorkableDays(first=windows.dates[whole][0], hours=windows.harvestable[0][:, whole])


def half_months(seasons: Iterable[WorkableDays], names: Mapping[str, int]) -> list[HalfMonth]:
    """Workable days of every field and half-month that the seasons hold.

    Parameters
    ----------
    seasons
        The seasons.
    names
        Row of each field by its name.
    """
    rows: dict[tuple[str, int, int], list[NDArray[np.int64]]] = {}
    for season in seasons:
        workable = season.workable.astype(np.int64)
        dates = season.first + np.arange(workable.shape[1])
        month = dates.astype("datetime64[M]").astype(int) % 12 + 1
        second = (dates - dates.astype("datetime64[M]")).astype(int) >= 15
        for m, h in sorted(set(zip(month.tolist(), second.tolist(), strict=True))):
            here = np.flatnonzero((month == m) & (second == h))
            for name, row in names.items():
                rows.setdefault((name, m, 1 + int(h)), []).append(workable[row, here])
    return [_half_month(key, runs) for key, runs in sorted(rows.items())]


def _half_month(key: tuple[str, int, int], runs: list[NDArray[np.int64]]) -> HalfMonth:
    """One field and half-month; `key` is (field, month, half), `runs` its days by season."""
    days = np.concatenate(runs)
    before, after = (np.concatenate([r[cut] for r in runs]) for cut in (np.s_[:-1], np.s_[1:]))
    return HalfMonth(
        field=key[0],
        month=key[1],
        half=key[2],
        share=float(days.mean()),
        persistence=persistence(before, after),
        days=len(days),
    )


def persistence(before: NDArray[np.int64], after: NDArray[np.int64]) -> float:
    """Day-to-day persistence: lag-one autocorrelation of workable days.

    It is the chance of a workable day after a workable day less that after another day.

    Parameters
    ----------
    before, after
        (pair,) 1 where the first, and the second, day of a pair is workable, else 0.

    Returns
    -------
    float
        NaN with fewer than `FEWEST_PAIRS` pairs, or if the first days are all alike.
    """
    workable = before == 1
    if len(before) < FEWEST_PAIRS or workable.all() or not workable.any():
        return float("nan")
    return float(after[workable].mean() - after[~workable].mean())


def chance_of_days(need: int, days: int, *, share: float, persistence: float = 0.0) -> float:
    """Chance of at least `need` workable days among `days` in a row.

    The days are a stationary two-state Markov chain. A day is workable with probability
    p + r (1 - p) after a workable day, and with p (1 - r) after another, where p is `share` and r
    is `persistence`; r = 0 gives the binomial distribution.

    Raises
    ------
    ValueError
        If no chain has that share and persistence.
    """
    stay, turn = share + persistence * (1.0 - share), share * (1.0 - persistence)
    if not (0.0 <= share <= 1.0 and 0.0 <= stay <= 1.0 and 0.0 <= turn <= 1.0):
        raise ValueError(f"no chain has share {share} and persistence {persistence}")
    # on[n], off[n]: probability of n workable days so far, the last of them workable or not
    on, off = np.zeros(days + 2), np.zeros(days + 2)
    if days:
        on[1], off[0] = share, 1.0 - share
    else:
        off[0] = 1.0
    for _ in range(days - 1):
        workable = on * stay + off * turn
        on, off = np.append(0.0, workable[:-1]), on * (1.0 - stay) + off * (1.0 - turn)
    return float((on + off)[need:].sum())
