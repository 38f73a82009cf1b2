"""Emulated forecast: members that a morning of a past season might have had.

No archive holds the forecasts of many years at a place. The emulator makes one by the model of
`dressing`. It blurs the true daily amounts once: the forecast's normal score is
z_f = r z + sqrt(1 - r²) e, with z that of the truth, e that of a window of days of other years, and
r the correlation at that lead (`dressing.CORRELATION`). It then dresses that forecast by the same
r. So truth and members are exchangeable given the forecast: the ensemble is reliable by
construction, and its skill falls with lead as r does.

Assumed, for want of a source that says more: r by lead (see there; from memory: Brier skill of
rain days about 0.45 on day 1, 0.3 on day 3, 0.15 on day 5, none by day 10). Errors of successive
mornings are independent here, so these forecasts change more from day to day than real ones. In
`forecast_evolution` errors persist.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from readiness.atmosphere.weather import HOUR, VARIABLES, Weather
from readiness.forecasts.analogues import ShortRecordError
from readiness.forecasts.dressing import dress


def other_years(records: Weather, year: int) -> Weather:
    """Climatology of a year: all other whole years, relabelled as if they came before it.

    The whole years of `records` (1, site, hour) except `year` stand end to end in their order and
    end where `year` begins, so that the day of the year stays the same to within two days.

    Raises
    ------
    ShortRecordError
        Where the records hold no other whole year.
    """
    first = records.times[0].astype("datetime64[Y]").astype(int) + 1970
    last = records.times[-1].astype("datetime64[Y]").astype(int) + 1970
    parts = []
    for other in range(int(first), int(last) + 1):
        a, b = (np.datetime64(f"{y}-01-01T00", "h") for y in (other, other + 1))
        if other != year and a >= records.times[0] and b <= records.stop:
            parts.append(records.between(a, b))
    if not parts:
        raise ShortRecordError(f"no whole year of records besides {year}")
    joined = {
        n: np.concatenate([getattr(p, n) for p in parts], axis=2) for n in (*VARIABLES, "estimated")
    }
    start = np.datetime64(f"{year}-01-01T00", "h") - joined["rain"].shape[2] * HOUR
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
    """Members of a forecast that one morning might have had, (member, site, 24 × days).

    Parameters
    ----------
    truth : (1, site, hour) true weather from the morning on, every variable known but gust; its
        whole days are forecast. Beyond the last lead of `correlation` members are analogues.
    climate : (1, site, hour) records that end before the truth begins; see `other_years`.
    seed : the same seed gives the same forecast.
    perfect : return the true weather as a single member.
    correlation : of forecast and truth by variable and lead day; `dressing.CORRELATION`.

    Raises
    ------
    ShortRecordError
        Where the climate has too few whole days.
    """
    whole = truth.between(truth.times[0], truth.times[0] + 24 * (truth.shape[2] // 24) * HOUR)
    if perfect:
        return whole
    issued = dress(whole, climate, members=1, correlation=correlation, seed=2 * seed)
    issued = replace(issued, estimated=whole.estimated)
    return dress(issued, climate, members=members, correlation=correlation, seed=2 * seed + 1)
