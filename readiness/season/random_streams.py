"""Random draws by key: a field keeps its draws wherever it stands among the fields."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from enum import IntEnum

import numpy as np

from readiness.atmosphere.weather import Array


class Draws(IntEnum):
    """What a stream of draws is for; streams of different purposes are independent."""

    COMMON_STATE = 1  # spread of a state that all fields of a member have in common
    OWN_STATE = 2  # spread of a state that each field has to itself
    OBSERVATION = 3  # noise that each member adds to an observation
    GRAIN_OFFSET = 4  # lasting error of a field's modelled grain moisture


def keyed_normal(
    draws: Draws, keys: Iterable[Sequence[int]], count: int, *, seed: int = 0
) -> Array:
    """Standard normal draws of each key, (key, count).

    Equal seeds, purposes and keys give equal draws, whatever the other keys and their order.

    Parameters
    ----------
    keys : integers >= 0 that name each stream; all keys of a purpose have one length.
    count : draws of each key.
    """
    out = [
        np.random.default_rng([seed, draws, *map(int, key)]).standard_normal(count) for key in keys
    ]
    return np.array(out, dtype=np.float64).reshape(len(out), count)
