"""The public run: weather, land and crop in; soil water, tiers, grain and reasons out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import HOUR, Array, Weather
from readiness.grain.crops import CROPS, Crop
from readiness.season.inputs import Observation, OperatingLimits, Stand
from readiness.season.kernel import run_kernel
from readiness.season.kernel_arrays import (
    clipped_surprises,
    closures,
    field_table,
    observation_table,
    site_of_fields,
    sky,
)
from readiness.season.kernel_layout import Code, Results, Value
from readiness.season.run_state import RunState, fresh_state, state_for_members
from readiness.soil.land import Land


@dataclass(frozen=True, kw_only=True)
class Season:
    """Result of a run, arrays (member, field, hour) on the hours of its weather.

    Attributes
    ----------
    start : first hour, datetime64[h], UTC.
    water_top, water_below : volumetric water of the wetter of 0-5 and 5-15 cm, and of 15-30 cm,
        m³/m³.
    moisture : grain moisture, percent wet basis.
    film : free water on the ear, mm.
    tier : `Tier` codes, uint8.
    approach : `Tier` codes of the field's approach road, uint8 (FIRM where it is not dirt).
    reason : `Reason` codes, uint8; OPEN means that the field can be cut.
    wettings : wetting events of ripe grain so far, or since it was weighed, count.
    sprout : sprouted fraction of the grain so far, 0-1.
    straw : humidity of air in equilibrium with the straw, percent; above 100 it holds free water.
    surprises : (index of the observation, mean surprise in standard errors) of the observations
        that were clipped because they lay beyond `MAX_SURPRISE`.
    end : state after the last hour, from which `simulate` continues.
    """

    start: np.datetime64
    water_top: Array
    water_below: Array
    moisture: Array
    film: Array
    tier: NDArray[np.uint8]
    approach: NDArray[np.uint8]
    reason: NDArray[np.uint8]
    wettings: Array
    sprout: Array
    straw: Array
    surprises: tuple[tuple[int, float], ...] = ()
    end: RunState | None

    @property
    def by_hour(self) -> dict[str, NDArray[Any]]:
        """Arrays of the season by name, (member, field, hour) each."""
        return {name: v for name, v in vars(self).items() if isinstance(v, np.ndarray)}

    def between(self, first: int, stop: int | None = None) -> Season:
        """The season from hour `first` until hour `stop`, by default until its end."""
        cut: dict[str, Any] = {name: v[:, :, first:stop] for name, v in self.by_hour.items()}
        return replace(self, start=self.start + first * HOUR, **cut)


def simulate(
    weather: Weather,
    land: Land,
    stand: Stand,
    limits: OperatingLimits,
    *,
    state: RunState | None = None,
    observations: Sequence[Observation] = (),
    seed: int = 0,
    site: NDArray[np.int64] | None = None,
    crops: Mapping[str, Crop] = CROPS,
) -> Season:
    """Run soil water, trafficability, grain and reasons for every member and field.

    Parameters
    ----------
    weather : hourly, (member, site, hour).
    land, stand, limits : facts of each field.
    state : `Season.end` of a run that ended where this one begins, of one member or of as many as
        the weather has. The state of one member is spread over more by its own variances. A fresh
        state by default.
    observations : correct the state at the start of their hours. Each member adds noise of its own
        to them, so that the members keep their spread. Those outside the hours have no effect.
    seed : of that noise and spread; the same seed gives the same season, in any order of the fields
        and of the observations.
    site : (field,) site of the weather for each field. By default site i belongs to field i, or
        one site to all.
    crops : constants by key, for example with another isotherm.

    Raises
    ------
    ValueError
        Where site, stream, state or an observation does not fit the fields and members.
    TypeError
        Where `state` is no state of a run.

    Notes
    -----
    An hour is unknown where any of rain, temperature, humidity, wind and radiation is; the state
    then stays as it is. After more than `MAX_GAP` such hours the run assumes a soaking: the grain
    stays unknown for 72 h and the ground for 240 h of weather, or until a sample or a check.
    Unknown hours are NaN, `Tier.UNKNOWN` and `Reason.UNKNOWN`: never workable.
    """
    n, hours = len(stand.crop), weather.shape[2]
    if stand.stream.shape != (n,) or (stand.stream < 0).any():
        raise ValueError(f"stand stream must hold a key >= 0 for each of {n} fields")
    have = state.cloudiness.shape[0] if isinstance(state, RunState) else 1
    members = max(weather.shape[0], have, 1 if limits.lightning is None else len(limits.lightning))
    site = site_of_fields(weather.shape[1], n, site)
    fields = field_table(weather.times[0], land, stand, limits, site=site, crops=crops)
    if state is None:
        state = fresh_state(fields.facts, land, stand, crops)
    end = state_for_members(state, land, stand.stream, members=members, seed=seed)
    table, numbers = observation_table(
        observations,
        weather.times[0],
        hours,
        stream=stand.stream,
        members=members,
        seed=seed,
    )
    results = Results(
        values=np.empty((members, n, len(Value), hours)),
        codes=np.empty((members, n, len(Code), hours), dtype=np.uint8),
    )
    run_kernel(
        results,
        end,
        sky(weather, land, site),
        closures(weather, limits, land, site),
        fields,
        table,
    )
    return Season(
        start=weather.times[0],
        water_top=results.values[:, :, Value.WATER_TOP],
        water_below=results.values[:, :, Value.WATER_BELOW],
        moisture=results.values[:, :, Value.MOISTURE],
        film=results.values[:, :, Value.FILM],
        tier=results.codes[:, :, Code.TIER],
        approach=results.codes[:, :, Code.APPROACH],
        reason=results.codes[:, :, Code.REASON],
        wettings=results.values[:, :, Value.WETTINGS],
        sprout=results.values[:, :, Value.SPROUT],
        straw=results.values[:, :, Value.STRAW],
        surprises=clipped_surprises(table.surprise, numbers),
        end=end,
    )
