"""The one line that says why: what opens a field, what decides its place, what leaves it out."""

from __future__ import annotations

from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from readiness.season.codes import Reason
from readiness.season.simulate import Season
from scheduler.cut_tables.compiled import Compiled
from scheduler.explanation.timing import first_hour
from scheduler.farm.wording import REASON_TEXT
from scheduler.farm.working_time import farm_time, utc_hour
from scheduler.orders.model import Alternative

AFTER = {
    Reason.UNKNOWN: "weather is known from",
    Reason.GROUND: "ground bears from",
    Reason.APPROACH: "approach road opens",
    Reason.GRAIN: "dew off and grain fit from",
    Reason.GREEN: "ripe from",
    Reason.WIND: "wind falls by",
    Reason.FIRE: "fire index falls by",
    Reason.LIGHTNING: "storm past by",
    Reason.HEAT: "cooler from",
    Reason.NIGHT: "daylight from",
}
#: Share below which an order says how often the crew gets to it.
SURELY = 0.9


def reason(
    compiled: Compiled,
    season: Season,
    row: int,
    begin: datetime,
    alternative: Alternative | None,
    done: float,
) -> str:
    """How often the crew gets to it, what opens the field, and what decides its place."""
    parts = [f"got to in {done:.0%} of the forecasts" if done < SURELY else ""]
    parts += [_opened(compiled, season, row, begin)]
    money = compiled.farm.currency
    if alternative is not None:
        costs = {
            "one place later": alternative.later,
            "one place earlier": alternative.earlier,
            "the other crew": alternative.other_crew,
        }
        known = {k: v for k, v in costs.items() if v is not None and v > 0.5}
        if known:
            worst = max(known, key=lambda k: known[k])
            parts.append(f"{worst} would cost {money}{known[worst]:,.0f} more")
        elif alternative.leave is not None:
            parts.append(f"leaving it would cost {money}{alternative.leave:,.0f}")
    return "; ".join(p for p in parts if p) or "next on the way"


def _opened(compiled: Compiled, season: Season, row: int, begin: datetime) -> str:
    """The cause that last closed the field, in most members, on the day it is begun."""
    hour = int((utc_hour(begin) - season.start).astype(int))
    codes = season.reason[:, row, : hour + 1]
    first = hour - begin.hour
    for h in range(hour - 1, max(0, first) - 1, -1):
        closed = codes[:, h] != Reason.OPEN
        if closed.mean() > 0.5:
            cause = Reason(int(np.bincount(codes[closed, h]).argmax()))
            opens = farm_time(season.start + np.timedelta64(h + 1, "h"), compiled.farm.tz)
            return f"{AFTER[cause]} about {opens:%H:%M}"
    return "open since the day before, begun when the crew is free"


def why_left(compiled: Compiled, season: Season, j: int) -> str:
    """What keeps a job out of everybody's orders."""
    if (compiled.point[:, :, j] < 0).all():
        return "no delivery point with room takes this crop at the moisture expected"
    share = (compiled.tables.finish[:, :, j, 0] >= 0).any(axis=1).mean()
    if share < 0.5:
        ahead = season.reason[:, :, first_hour(compiled, season) :]
        codes: NDArray[np.uint8] = ahead[:, compiled.jobs[j].row]
        shut = codes[codes != Reason.OPEN]
        if shut.size:
            cause = Reason(int(np.bincount(shut.ravel()).argmax()))
            return f"cannot be finished in the days planned: mostly {REASON_TEXT[cause]}"
        return "too large to finish in the days planned"
    return "no crew gets to it in the days planned without losing more elsewhere"
