"""Codes: what the ground bears, what closes an hour, other work."""

from __future__ import annotations

from enum import IntEnum
from typing import Literal


class Tier(IntEnum):
    """What the ground bears."""

    SOFT = 0  # nothing may drive
    HEADLAND_ONLY = 1  # combines may cut, carts and trucks stay at the edge
    FIRM = 2  # everything
    UNKNOWN = 3


class Reason(IntEnum):
    """First binding cause that closes an hour, in the order in which causes are charged."""

    OPEN = 0
    UNKNOWN = 1  # weather missing: unknown is not dry
    GROUND = 2  # rain falling, or ground too soft
    APPROACH = 3  # the dirt road to the field is shut
    GRAIN = 4  # dew or rain on the ear, or grain too wet to thresh or to deliver
    GREEN = 5  # not ripe yet
    WIND = 6
    FIRE = 7
    LIGHTNING = 8
    HEAT = 9
    NIGHT = 10  # outside daylight, where the user asks for daylight only


class OtherWorkReason(IntEnum):
    """First cause that keeps an hour from other work; `Reason` has the same first two and last."""

    OPEN = Reason.OPEN
    UNKNOWN = Reason.UNKNOWN
    GROUND = 2  # too soft
    RAIN = 3
    WET = 4  # topsoil too wet to work
    COLD = 5
    DRY = 6  # too little water in the seed zone
    WIND = 7
    SUN = Reason.NIGHT  # too low: dark, or an inversion is likely


#: Field work other than cutting.
OtherWork = Literal["tillage", "planting", "spraying"]
