"""Lessons: what the readings of the season taught the models, as data."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum


class Learnt(StrEnum):
    """A lasting offset that is learnt; the value is its key in `Field.calibration`."""

    GRAIN = "grain_offset"  # points of moisture, wetter than modelled where positive
    STRAW = "straw_offset"  # percent of humidity up to which straw is threshed beyond its limit
    BEARING = "bearing_offset"  # m³/m³ of water that the ground bears beyond its texture's limits


@dataclass(frozen=True, kw_only=True)
class Outlier:
    """A reading that does not fit its field: it counts little until another one agrees.

    Attributes
    ----------
    learnt : the offset that the reading speaks of.
    field : id of the field.
    time : hour of the reading, farm time.
    value : moisture, percent, the `Tier` of a ground check, or the humidity of straw, percent.
    low : least offset that the reading allows, in the offset's unit.
    """

    learnt: Learnt
    field: str
    time: datetime
    value: float
    low: float


@dataclass(frozen=True, kw_only=True)
class OffsetChange:
    """The offset of one field now and a day before.

    Attributes
    ----------
    learnt : the offset.
    field : id of the field.
    readings : own readings of the field; 0 where only fields of the same soil were read.
    before, after : the offset, in its unit; `before` is None where it was too small to report.
    """

    learnt: Learnt
    field: str
    readings: int
    before: float | None
    after: float


Lesson = Outlier | OffsetChange
