"""State of a run between two hours: a fresh one, and one member's state spread over many."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array
from readiness.grain.crops import Crop
from readiness.grain.moisture import DORMANCY_CLASSES, GREEN_MAX, dry_to_wet, wet_to_dry
from readiness.season.inputs import Stand
from readiness.season.kernel_layout import FieldFact, GrainState, GroundState
from readiness.season.random_streams import Draws, keyed_normal
from readiness.season.uncertainty import GRAIN_SD, RIPENING_SD, WATER_SD
from readiness.soil.land import Land

#: Share of a state's variance that all fields of a member have in common; assumed, because they
#: share weather and model.
COMMON_SHARE = 0.5
#: Driest grain, percent wb, and driest soil, m³/m³, that the spread of a state reaches.
MIN_MOISTURE, MIN_WATER = 2.0, 0.02
#: Share of the hours between maturity and the first hour of a run in which grain was dry enough to
#: lose dormancy. Assumed, because nothing is known of that weather. It decides whether a run that
#: begins long after maturity can sprout at once.
EARLIER_DRY_SHARE = 0.5
#: Columns of a grain state that a correction or a spread moves together.
_MOISTURES = (GrainState.SKIN, GrainState.CORE, GrainState.TURN)


class RunState(NamedTuple):
    """State between two hours, arrays (member, field, column); opaque to callers."""

    water: Array  # layers, snow, temperature and canopy, as in `readiness.soil.land`
    grain: Array  # `GrainState`
    soak: Array  # hours that count towards sprouting, by class of dormancy, h
    ground: Array  # `GroundState`
    cloudiness: Array  # (member, field), function of cloudiness of the last hour that measured it

    def fields(self, rows: slice | Sequence[int]) -> RunState:
        """State of the fields in `rows`."""
        return RunState(*(part[:, rows] for part in self))

    def repeated(self, times: int) -> RunState:
        """State with each member repeated, in new arrays."""
        return RunState(*(np.repeat(part, times, axis=0) for part in self))


def fresh_state(facts: Array, land: Land, stand: Stand, crops: Mapping[str, Crop]) -> RunState:
    """State before the first hour of a run without a past, one member.

    Parameters
    ----------
    facts : (field, `FieldFact`).
    land, stand : of the same fields.
    crops : constants by key.
    """
    own = [crops[name] for name in stand.crop]
    ripe, mature = facts[:, FieldFact.RIPE], facts[:, FieldFact.MATURE]
    given = np.isfinite(stand.moisture) & (ripe <= 0.0)
    ripening = np.isfinite(ripe) & ~given
    slope = np.array(
        [c.filling_rate if r > 0 else c.drydown_rate for c, r in zip(own, ripe, strict=True)]
    )
    lowest = np.array([crop.base_moisture for crop in own])
    with np.errstate(invalid="ignore"):
        curve = np.clip(mature + slope * ripe / 24.0, lowest, GREEN_MAX)
    moisture = np.where(given, stand.moisture, np.where(ripening, curve, mature))
    grain = np.zeros((1, moisture.size, len(GrainState)))
    for column in _MOISTURES:
        grain[..., column] = wet_to_dry(moisture)
    moist = moisture > [crop.thresh_limit for crop in own]
    grain[..., GrainState.ARMED] = 1.0
    grain[..., GrainState.RIPENING] = ripening
    grain[..., GrainState.STRAW] = np.nan
    dry = EARLIER_DRY_SHARE * np.maximum(-ripe, 0.0)
    grain[..., GrainState.REST] = dry
    grain[..., GrainState.VARIANCE] = np.where(moist, RIPENING_SD, GRAIN_SD) ** 2
    ground = np.zeros((1, moisture.size, len(GroundState)))
    ground[..., GroundState.VARIANCE] = WATER_SD**2
    return RunState(
        water=land.initial_state()[None],
        grain=grain,
        soak=np.zeros((1, moisture.size, DORMANCY_CLASSES)),
        ground=ground,
        cloudiness=np.full((1, moisture.size), np.nan),
    )


def centred_normal(stream: NDArray[np.int64], *, members: int, seed: int) -> tuple[Array, Array]:
    """Two independent standard normals (member, field), less their means over the members.

    The fields of a member share `COMMON_SHARE` of the variance.

    Parameters
    ----------
    stream : (field,), key of each field's own draws, >= 0.
    """
    common = keyed_normal(Draws.COMMON_STATE, [()], 2 * members, seed=seed)
    own = keyed_normal(Draws.OWN_STATE, stream[:, None], 2 * members, seed=seed)
    z = np.sqrt(COMMON_SHARE) * common + np.sqrt(1.0 - COMMON_SHARE) * own
    first, second = z[:, :members].T, z[:, members:].T
    return first - first.mean(axis=0), second - second.mean(axis=0)


def state_for_members(
    state: RunState, land: Land, stream: NDArray[np.int64], *, members: int, seed: int
) -> RunState:
    """Copy of `state` for `members`; one member's state is spread by its own variances.

    Parameters
    ----------
    stream : (field,), key of each field's own draws.

    Raises
    ------
    TypeError
        Where `state` is no RunState.
    ValueError
        Where `state` holds other fields than `land`, or neither one member nor `members`.
    """
    if not isinstance(state, RunState):
        raise TypeError(f"state must be the `end` of a Season, got {type(state).__name__}")
    have, fields = state.cloudiness.shape
    if fields != land.sand.size:
        raise ValueError(f"state has {fields} fields, this run {land.sand.size}")
    if have not in (1, members):
        raise ValueError(f"state has {have} members, this run {members}")
    out = state.repeated(members // have)
    if have < members:
        grain, ground = centred_normal(stream, members=members, seed=seed)
        points = grain * np.sqrt(out.grain[..., GrainState.VARIANCE])
        for column in _MOISTURES:
            wb = dry_to_wet(out.grain[..., column]) + points
            out.grain[..., column] = wet_to_dry(np.clip(wb, MIN_MOISTURE, GREEN_MAX))
        shift = ground * np.sqrt(out.ground[..., GroundState.VARIANCE])
        top = out.water[..., :2] + shift[..., None]  # the two layers of 0-15 cm
        out.water[..., :2] = np.clip(top, MIN_WATER, land.saturation[None, :, None])
    return out
