"""Slots until a delivery point opens."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def slots_to_open(point_open: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Slots until a point is open, (point, slot); to the horizon if it does not open again."""
    slots = point_open.shape[1]
    opening = np.where(point_open, np.arange(slots), slots)
    soonest = np.minimum.accumulate(opening[:, ::-1], axis=1)[:, ::-1]
    return np.asarray(soonest - np.arange(slots))
