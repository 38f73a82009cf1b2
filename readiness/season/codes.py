"""Codes of ground tiers, of the reasons that close an hour, and of other work."""

from __future__ import annotations

from enum import IntEnum
from typing import Literal


class Tier(IntEnum):
    """Tier of the ground: the machines that it bears."""

    SOFT = 0  # nothing may drive
    HEADLAND_ONLY = 1  # combines may cut, carts and trucks stay at the edge
    FIRM = 2  # everything
    UNKNOWN = 3


class Reason(IntEnum):
    """First binding cause that closes an hour, in the order in which causes are charged."""

    OPEN = 0
    UNKNOWN = 1  # weather, ground or grain unknown; unknown is not dry
    GROUND = 2  # rain falling, or ground too soft
    APPROACH = 3  # the dirt road to the field is too soft
    GRAIN = 4  # free water on the ear, or grain too wet to thresh or to deliver
    STRAW = 5  # grain fit, straw too tough to thresh
    GREEN = 6  # before maturity
    WIND = 7
    FIRE = 8
    LIGHTNING = 9
    HEAT = 10
    NIGHT = 11  # outside daylight, where the user asks for daylight only


class OtherWorkReason(IntEnum):
    """First cause that closes an hour to other work.

    The first two codes and the last are those of `Reason`.
    """

    OPEN = Reason.OPEN
    UNKNOWN = Reason.UNKNOWN
    GROUND = 2  # too soft
    RAIN = 3
    WET = 4  # topsoil too wet to work
    COLD = 5
    DRY = 6  # too little water in the seed zone
    WIND = 7
    SUN = Reason.NIGHT  # sun too low: dark, or an inversion is likely


#: Field work other than cutting.
OtherWork = Literal["tillage", "planting", "spraying"]
