"""Chances of workable days by field and half-month, which hang together from day to day."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from readiness.season.windows import daily_windows
from scheduler.simulation.past_season import PastSeason

#: Hours that can be cut of which a day counts as workable; assumed, as 'a major portion of the
#: day' (USDA-NASS, days suitable for fieldwork) of a harvest day of eight.
WORKABLE_H = 4
#: Fewest pairs of days from which persistence is told; assumed.
FEWEST_PAIRS = 30


@dataclass(frozen=True, kw_only=True)
class WorkableDays:
    """Days of one season: `hours` (field, day) that can be cut, uint8; `first` day."""

    first: np.datetime64
    hours: NDArray[np.uint8]

    @property
    def workable(self) -> NDArray[np.bool_]:
        """(field, day) days with enough hours."""
        return np.asarray(self.hours >= WORKABLE_H)


@dataclass(frozen=True, kw_only=True)
class HalfMonth:
    """One field in one half-month, over all years.

    `share` of its days workable; `persistence` is the chance after a workable day less that after
    another, NaN with too few pairs of days; `days` counted.
    """

    field: str
    month: int
    half: int
    share: float
    persistence: float
    days: int


def workable_days(past: PastSeason) -> WorkableDays:
    """Hours that can be cut of each whole day of a season."""
    found = daily_windows(past.season, tz=past.farm.tz)
    whole = found.hours >= 23
    return WorkableDays(first=found.dates[whole][0], hours=found.harvestable[0][:, whole])


def half_months(seasons: Iterable[WorkableDays], names: Mapping[str, int]) -> list[HalfMonth]:
    """Every field (`names` to rows) in every half-month met, over all seasons."""
    rows: dict[tuple[str, int, int], list[NDArray[np.int64]]] = {}
    for s in seasons:
        on = s.workable.astype(np.int64)
        dates = s.first + np.arange(on.shape[1])
        month = dates.astype("datetime64[M]").astype(int) % 12 + 1
        second = (dates - dates.astype("datetime64[M]")).astype(int) >= 15
        for m, h in sorted(set(zip(month.tolist(), second.tolist(), strict=True))):
            here = np.flatnonzero((month == m) & (second == h))
            for name, row in names.items():
                rows.setdefault((name, m, 1 + int(h)), []).append(on[row, here])
    return [_half_month(key, runs) for key, runs in sorted(rows.items())]


def _half_month(key: tuple[str, int, int], runs: list[NDArray[np.int64]]) -> HalfMonth:
    days = np.concatenate(runs)
    before, after = (np.concatenate([r[cut] for r in runs]) for cut in (np.s_[:-1], np.s_[1:]))
    return HalfMonth(field=key[0], month=key[1], half=key[2], share=float(days.mean()),
                     persistence=persistence(before, after), days=len(days))  # fmt: skip


def persistence(before: NDArray[np.int64], after: NDArray[np.int64]) -> float:
    """Chance of a workable day after one less that after another; NaN where it cannot be told."""
    on = before == 1
    if len(before) < FEWEST_PAIRS or on.all() or not on.any():
        return float("nan")
    return float(after[on].mean() - after[~on].mean())


def chance_of_days(need: int, days: int, *, share: float, persistence: float = 0.0) -> float:
    """Chance of at least `need` workable days among `days` in a row.

    A stationary two-state Markov chain: after a workable day the next is workable with chance
    p + r (1 - p), after another with p (1 - r); p `share`, r `persistence`. r = 0 is the binomial.
    """
    stay, turn = share + persistence * (1.0 - share), share * (1.0 - persistence)
    if not (0.0 <= share <= 1.0 and 0.0 <= stay <= 1.0 and 0.0 <= turn <= 1.0):
        raise ValueError(f"no chain has share {share} and persistence {persistence}")
    # on[n], off[n]: chance that n days were workable and the last was, was not
    on, off = np.zeros(days + 2), np.zeros(days + 2)
    if days:
        on[1], off[0] = share, 1.0 - share
    else:
        off[0] = 1.0
    for _ in range(days - 1):
        workable = on * stay + off * turn
        on, off = np.append(0.0, workable[:-1]), on * (1.0 - stay) + off * (1.0 - turn)
    return float((on + off)[need:].sum())
