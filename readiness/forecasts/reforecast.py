"""Forecasts as they might have been issued: past weather seen through an error grown with lead.

There is no archive of what was forecast at a place years ago. The emulator makes one, by the model
that `forecasts.ensemble` gives every single forecast its members with. The daily amounts that came
are blurred once: a forecast's normal score is z_f = r z + sqrt(1 - r²) e, z that of the truth, e
of a window of days out of other years, r the correlation at that lead (`ensemble.CORRELATION`).
Members are then dressed on that forecast by the same r. So truth and members are alike given the
forecast: the ensemble is reliable by construction, and its skill falls with lead as r does.

Assumed, because nothing was found that says more: r by lead (see there; from memory: Brier skill
of rain days about 0.45 on day 1, 0.3 on day 3, 0.15 on day 5, none by day 10), and errors of
successive mornings that do not depend on each other, so that forecasts jump more than real ones.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from readiness.atmosphere.weather import VARIABLES, Weather
from readiness.forecasts.ensemble import ShortRecordError, dress


def other_years(records: Weather, year: int) -> Weather:
    """Records without a year, as if they had all come before it: the climate the year knows.

    Whole years of `records` (1, site, hour) but `year` are put one after the other in their order
    and labelled so that they end as `year` begins, so that days of the year stay what they are to
    within two days.

    Raises
    ------
    ShortRecordError
        Where there is no other whole year.
    """
    first = records.times[0].astype("datetime64[Y]").astype(int) + 1970
    last = records.times[-1].astype("datetime64[Y]").astype(int) + 1970
    parts = []
    for other in range(int(first), int(last) + 1):
        a, b = (np.datetime64(f"{y}-01-01T00", "h") for y in (other, other + 1))
        if other != year and a >= records.times[0] and b <= records.times[-1] + 1:
            parts.append(records.between(a, b))
    if not parts:
        raise ShortRecordError(f"no whole year of records besides {year}")
    joined = {
        n: np.concatenate([getattr(p, n) for p in parts], axis=2) for n in (*VARIABLES, "estimated")
    }
    start = np.datetime64(f"{year}-01-01T00", "h") - joined["rain"].shape[2]
    return Weather(start=start, **joined)


def emulate_forecast(
    truth: Weather,
    climate: Weather,
    *,
    members: int,
    seed: int = 0,
    perfect: bool = False,
    correlation: dict[str, Sequence[float]] | None = None,
) -> Weather:
    """Members of the forecast that a morning might have had, (member, site, 24 × days).

    Parameters
    ----------
    truth : (1, site, hour) the weather that came, from the morning on, all known but gusts; its
        whole days are forecast. Beyond the last lead of `correlation` members are analogues.
    climate : (1, site, hour) records that end before, without the truth; see `other_years`.
    members, seed : how many; the same seed gives the same forecast.
    perfect : the weather that came, as one member.
    correlation : of forecast and truth by variable and lead day; `ensemble.CORRELATION`.

    Raises
    ------
    ShortRecordError
        Where the climate has too few whole days.
    """
    whole = truth.between(truth.times[0], truth.times[0] + 24 * (truth.shape[2] // 24))
    if perfect:
        return whole
    told = dress(whole, climate, members=1, correlation=correlation, seed=2 * seed)
    told = replace(told, estimated=whole.estimated)
    return dress(told, climate, members=members, correlation=correlation, seed=2 * seed + 1)
