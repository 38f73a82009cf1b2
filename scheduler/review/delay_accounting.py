"""Delay accounting: each hour is attributed once, to the first binding cause in a fixed order.

The order is that of `Cause`: unknown weather or unripe grain, ground, grain moisture, straw, wind,
fire, lightning or heat, breakdown, waiting for a cart, truck or delivery point, crew, move, another
field, grain above the plan's start moisture. The remainder was open and not used. Pure functions:
arrays in, new arrays out.
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
    """Causes of an hour of a field and a crew, in the order of precedence."""

    DONE = 0  # nothing is left to cut
    CUT = 1
    UNKNOWN = 2
    GREEN = 3
    GROUND = 4
    GRAIN = 5
    STRAW = 6
    WIND = 7
    FIRE = 8
    HEAT = 9
    DOWN = 10
    WAIT = 11
    CREW = 12
    MOVE = 13
    ELSEWHERE = 14  # the crew was cutting another field
    HELD = 15  # the grain was above the moisture at which the plan has crews start
    SPARE = 16  # nothing prevented cutting, and nobody cut


#: Causes that take hours from cutting; `CUT` is work, and after `DONE` there is no harvest.
DELAY_CAUSES = tuple(c for c in Cause if c not in (Cause.DONE, Cause.CUT))
WEATHER_CAUSES = (
    Cause.UNKNOWN,
    Cause.GREEN,
    Cause.GROUND,
    Cause.GRAIN,
    Cause.STRAW,
    Cause.WIND,
    Cause.FIRE,
    Cause.HEAT,
)
_CAUSE_OF = {
    Reason.OPEN: Cause.SPARE,
    Reason.UNKNOWN: Cause.UNKNOWN,
    Reason.GROUND: Cause.GROUND,
    Reason.APPROACH: Cause.GROUND,
    Reason.GRAIN: Cause.GRAIN,
    Reason.STRAW: Cause.STRAW,
    Reason.GREEN: Cause.GREEN,
    Reason.WIND: Cause.WIND,
    Reason.FIRE: Cause.FIRE,
    Reason.LIGHTNING: Cause.HEAT,
    Reason.HEAT: Cause.HEAT,
    Reason.NIGHT: Cause.CREW,
}
_LAST_WEATHER = int(Cause.HEAT)  # higher codes are not due to weather or ripeness


def cause_codes(reason: NDArray[np.uint8]) -> CodeArray:
    """`Reason` codes as `Cause` codes, any shape."""
    table = np.array([_CAUSE_OF[r] for r in Reason], dtype=np.int64)
    return np.asarray(table[reason], dtype=np.int64)


@dataclass(frozen=True, kw_only=True)
class HourStates:
    """State of fields and crews in every hour of a season.

    Attributes
    ----------
    closed
        (field, hour) `Cause` codes due to weather and ripeness; `Cause.SPARE` where open.
    done
        bool (field, hour), true once nothing is left to cut.
    cut
        (field, crew, hour) share of the hour in which the crew cut the field; the sum over fields
        is at most 1.
    wait
        (field, crew) share of cutting time in which combines wait for carts and trucks.
    down
        (crew, hour) share of the crew's combines that are broken down.
    shut
        bool (field, hour), true where no open delivery point with room takes the grain as it is.
    held
        bool (field, hour), true where the field is open and its grain above the plan's start
        moisture.
    off
        (crew, hour) share of the hour in which the crew does not work.
    move
        (crew, hour) share spent on the road; with `cut` summed over fields at most 1.
    """

    closed: CodeArray
    done: BoolArray
    cut: Array
    wait: Array
    down: Array
    shut: BoolArray
    held: BoolArray
    off: Array
    move: Array


def field_account(states: HourStates) -> Array:
    """Attribute each hour of every field and crew to causes.

    Returns
    -------
    Array
        (cause, field, crew, hour) shares of the hour, summing to 1 over causes.
    """
    out = np.zeros((len(Cause), *states.cut.shape))
    _attribute_cutting(out, states)
    rest = np.where(states.done[:, None], 0.0, 1.0 - states.cut)
    out[Cause.DONE] = np.where(states.done[:, None], 1.0 - states.cut, 0.0)
    for cause in WEATHER_CAUSES:
        out[cause] += np.where((states.closed == cause)[:, None], rest, 0.0)
    rest = np.where((states.closed <= _LAST_WEATHER)[:, None], 0.0, rest)
    busy = states.cut.sum(axis=0)[None] - states.cut
    _attribute_open_time(out, states, rest, busy)
    return out


def _attribute_cutting(out: Array, states: HourStates) -> None:
    """Add cutting time to `out`, split into cutting, breakdown and waiting."""
    up = states.cut * (1.0 - states.down[None])
    out[Cause.DOWN] += states.cut * states.down[None]
    out[Cause.WAIT] += up * states.wait[:, :, None]
    out[Cause.CUT] += up * (1.0 - states.wait[:, :, None])


def _attribute_open_time(out: Array, states: HourStates, rest: Array, busy: Array) -> None:
    """Add the time that weather left open to `out`; `rest` is its share of each hour."""
    out[Cause.DOWN] += rest * states.down[None]
    rest = rest * (1.0 - states.down[None])
    shut = states.shut[:, None]
    out[Cause.WAIT] += np.where(shut, rest, 0.0)
    rest = np.where(shut, 0.0, rest)
    # shares of the time still left in the hour
    part = np.minimum(1.0, states.off[None] + np.zeros_like(rest))
    out[Cause.CREW] += rest * part
    rest = rest * (1.0 - part)
    whole = np.maximum(1.0 - states.cut, 1e-12)
    moving = np.minimum(1.0, states.move[None] / whole)
    away = np.minimum(1.0 - moving, busy / whole)
    out[Cause.MOVE] += rest * moving
    out[Cause.ELSEWHERE] += rest * away
    spare, held = rest * (1.0 - moving - away), states.held[:, None]
    out[Cause.HELD] += np.where(held, spare, 0.0)
    out[Cause.SPARE] += np.where(held, 0.0, spare)


def crew_account(states: HourStates) -> Array:
    """Attribute each hour of every crew to causes.

    An idle crew takes the cause of the field that it could have cut soonest: the uncut field
    whose cause comes last in the order of `Cause`.

    Returns
    -------
    Array
        (cause, crew, hour) shares of the hour, summing to 1 over causes.
    """
    fields, crews, hours = states.cut.shape
    by_field = np.zeros((len(Cause), fields, crews, hours))
    _attribute_cutting(by_field, states)
    last_cause: CodeArray = np.where(states.done, -1, states.closed).max(axis=0)
    could_cut = np.asarray(~states.done & (states.closed > _LAST_WEATHER))
    merged = HourStates(
        closed=last_cause[None],
        done=np.asarray(last_cause < 0)[None],
        cut=states.cut.sum(axis=0, keepdims=True),
        wait=np.zeros((1, crews)),
        down=states.down,
        shut=_all_of(could_cut, states.shut),
        held=_all_of(could_cut & ~states.shut, states.held),
        off=states.off,
        move=states.move,
    )
    out = field_account(merged)[:, 0]
    for cause in (Cause.CUT, Cause.DOWN, Cause.WAIT):
        out[cause] += by_field[cause].sum(axis=0)
    merged_cutting = np.zeros((len(Cause), 1, crews, hours))
    _attribute_cutting(merged_cutting, merged)
    return np.asarray(out - merged_cutting[:, 0], dtype=np.float64)


def _all_of(fields: BoolArray, true: BoolArray) -> BoolArray:
    """Whether there are such fields in an hour, all of them `true`; (1, hour)."""
    return np.asarray(fields.any(axis=0) & ~(fields & ~true).any(axis=0))[None]


def by_day(shares: Array, day: CodeArray) -> Array:
    """Sum hours into days.

    Parameters
    ----------
    shares
        (..., hour).
    day
        (hour,) number of the day that each hour belongs to, from 0.

    Returns
    -------
    Array
        (..., day).
    """
    out = np.zeros((*shares.shape[:-1], int(day.max()) + 1))
    for d in range(out.shape[-1]):
        out[..., d] = shares[..., day == d].sum(axis=-1)
    return out
