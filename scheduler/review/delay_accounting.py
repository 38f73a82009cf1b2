"""Where the hours went: every hour charged once, to its first binding cause.

The order is fixed: weather unknown or grain green, rain or ground, dew or grain moisture, wind,
fire, lightning or heat, breakdown, waiting for cart, truck or delivery point, crew, move. What
is left after all of these was open and not used. Pure: arrays in, new arrays out.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array
from readiness.season.codes import Reason

BoolArray = NDArray[np.bool_]
CodeArray = NDArray[np.int64]


class Cause(IntEnum):
    """What an hour of a field and a crew went to, in the order in which causes are charged."""

    DONE = 0  # the field is cut already
    CUT = 1
    UNKNOWN = 2
    GREEN = 3
    GROUND = 4
    GRAIN = 5
    WIND = 6
    FIRE = 7
    HEAT = 8
    DOWN = 9
    WAIT = 10
    CREW = 11
    MOVE = 12
    ELSEWHERE = 13  # the crew was cutting another field
    SPARE = 14  # everything was open and nobody cut


CAUSE_NAMES: dict[Cause, str] = {
    Cause.DONE: "already cut",
    Cause.CUT: "cutting",
    Cause.UNKNOWN: "weather unknown",
    Cause.GREEN: "not ripe",
    Cause.GROUND: "rain or ground",
    Cause.GRAIN: "dew or grain moisture",
    Cause.WIND: "wind",
    Cause.FIRE: "fire",
    Cause.HEAT: "lightning or heat",
    Cause.DOWN: "breakdown",
    Cause.WAIT: "waiting for cart, truck or elevator",
    Cause.CREW: "crew off or away",
    Cause.MOVE: "move",
    Cause.ELSEWHERE: "crew in another field",
    Cause.SPARE: "open, not used",
}
#: Causes that lose hours; the others are work or no harvest at all.
DELAY_CAUSES = tuple(c for c in Cause if c not in (Cause.DONE, Cause.CUT))
WEATHER_CAUSES = (
    Cause.UNKNOWN, Cause.GREEN, Cause.GROUND, Cause.GRAIN, Cause.WIND, Cause.FIRE, Cause.HEAT,
)  # fmt: skip
_CAUSE_OF = {
    Reason.OPEN: Cause.SPARE,
    Reason.UNKNOWN: Cause.UNKNOWN,
    Reason.GROUND: Cause.GROUND,
    Reason.APPROACH: Cause.GROUND,
    Reason.GRAIN: Cause.GRAIN,
    Reason.GREEN: Cause.GREEN,
    Reason.WIND: Cause.WIND,
    Reason.FIRE: Cause.FIRE,
    Reason.LIGHTNING: Cause.HEAT,
    Reason.HEAT: Cause.HEAT,
    Reason.NIGHT: Cause.CREW,
}
_OPEN = int(Cause.HEAT)  # codes above are not the weather's


def cause_codes(reason: NDArray[np.uint8]) -> CodeArray:
    """`Reason` codes as `Cause` codes, any shape."""
    table = np.array([_CAUSE_OF[r] for r in Reason], dtype=np.int64)
    return np.asarray(table[reason], dtype=np.int64)


@dataclass(frozen=True, kw_only=True)
class HourStates:
    """What is known of every hour.

    Attributes
    ----------
    closed : (field, hour) `Cause` codes by weather and ripeness; SPARE where open.
    done : bool (field, hour) the field is cut already.
    cut : (field, crew, hour) share of the hour in which the crew cut the field; over fields at
        most 1.
    wait : (field, crew) share of cutting time lost to carts and trucks.
    down : (crew, hour) share of the crew's combines that is down.
    shut : bool (field, hour) no delivery point takes the crop.
    off : (crew, hour) share of the hour in which the crew does not work.
    move : (crew, hour) share spent on the road; with `cut` over fields at most 1.
    """

    closed: CodeArray
    done: BoolArray
    cut: Array
    wait: Array
    down: Array
    shut: BoolArray
    off: Array
    move: Array


def field_account(h: HourStates) -> Array:
    """Shares of every hour, (cause, field, crew, hour), each summing to 1 over causes."""
    out = np.zeros((len(Cause), *h.cut.shape))
    _work(out, h)
    rest = np.where(h.done[:, None], 0.0, 1.0 - h.cut)
    out[Cause.DONE] = np.where(h.done[:, None], 1.0 - h.cut, 0.0)
    for cause in WEATHER_CAUSES:
        out[cause] += np.where((h.closed == cause)[:, None], rest, 0.0)
    rest = np.where((h.closed <= _OPEN)[:, None], 0.0, rest)
    busy = h.cut.sum(axis=0)[None] - h.cut
    _charge_open(out, h, rest, busy)
    return out


def _work(out: Array, h: HourStates) -> None:
    """Cutting time: combines that stood broken and time waited are charged as such."""
    up = h.cut * (1.0 - h.down[None])
    out[Cause.DOWN] += h.cut * h.down[None]
    out[Cause.WAIT] += up * h.wait[:, :, None]
    out[Cause.CUT] += up * (1.0 - h.wait[:, :, None])


def _charge_open(out: Array, h: HourStates, rest: Array, busy: Array) -> None:
    """Time that weather left open: breakdown, delivery points, crew, move, other field, spare."""
    out[Cause.DOWN] += rest * h.down[None]
    rest = rest * (1.0 - h.down[None])
    shut = h.shut[:, None]
    out[Cause.WAIT] += np.where(shut, rest, 0.0)
    rest = np.where(shut, 0.0, rest)
    # what the crew did in this time, as parts of what is left of the hour
    part = np.minimum(1.0, h.off[None] + np.zeros_like(rest))
    out[Cause.CREW] += rest * part
    rest = rest * (1.0 - part)
    whole = np.maximum(1.0 - h.cut, 1e-12)
    moving = np.minimum(1.0, h.move[None] / whole)
    away = np.minimum(1.0 - moving, busy / whole)
    out[Cause.MOVE] += rest * moving
    out[Cause.ELSEWHERE] += rest * away
    out[Cause.SPARE] += rest * (1.0 - moving - away)


def crew_account(h: HourStates) -> Array:
    """Shares of every hour of each crew, (cause, crew, hour), each summing to 1 over causes.

    A crew that does not cut is held by whatever holds the field it could go to soonest: the
    standing field whose cause comes last in the order.
    """
    fields, crews, hours = h.cut.shape
    work = np.zeros((len(Cause), fields, crews, hours))
    _work(work, h)
    best: CodeArray = np.where(h.done, -1, h.closed).max(axis=0)
    could = np.asarray(~h.done & (h.closed > _OPEN))
    one = HourStates(
        closed=best[None],
        done=np.asarray(best < 0)[None],
        cut=h.cut.sum(axis=0, keepdims=True),
        wait=np.zeros((1, crews)),
        down=h.down,
        shut=np.asarray(could.any(axis=0) & ~(could & ~h.shut).any(axis=0))[None],
        off=h.off,
        move=h.move,
    )
    out = field_account(one)[:, 0]
    for cause in (Cause.CUT, Cause.DOWN, Cause.WAIT):
        out[cause] += work[cause].sum(axis=0)
    mine = np.zeros((len(Cause), 1, crews, hours))
    _work(mine, one)
    return np.asarray(out - mine[:, 0], dtype=np.float64)


def by_day(shares: Array, day: CodeArray) -> Array:
    """Hours summed over the last axis into days 0, 1, ...; `day` (hour,) is each hour's."""
    out = np.zeros((*shares.shape[:-1], int(day.max()) + 1))
    for d in range(out.shape[-1]):
        out[..., d] = shares[..., day == d].sum(axis=-1)
    return out
