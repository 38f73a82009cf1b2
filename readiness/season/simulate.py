"""Hourly soil water, ground, grain and windows for every member and field in one pass."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Array, Weather
from readiness.grain.crops import CROPS, Crop
from readiness.season import kernel as lanes
from readiness.season import kernel_arrays as facts
from readiness.season.inputs import Observation, OperatingLimits, Stand
from readiness.season.kernel_arrays import RunState
from readiness.soil.properties import Land


@dataclass(frozen=True, kw_only=True)
class Season:
    """Result of a run, arrays (member, field, hour) on the hours of the weather given.

    Attributes
    ----------
    start : first hour, datetime64[h], UTC.
    water_top, water_below : volumetric water 0-15 cm and 15-30 cm, m³/m³.
    moisture : grain moisture, percent wet basis.
    film : free water on the ear, mm.
    tier : `Tier` codes, uint8.
    approach : `Tier` codes of the field's approach road, uint8 (FIRM where it is not dirt).
    reason : `Reason` codes, uint8; OPEN means the hour can be cut.
    wettings : wetting events of ripe grain so far, count.
    sprout : sprouted fraction of the grain so far, 0-1.
    surprises : (index of the observation, mean surprise in standard errors) of observations
        that were damped because they lay beyond `lanes.SURPRISE`.
    end : opaque state after the last hour, to continue from (see `simulate`).
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
    surprises: tuple[tuple[int, float], ...] = ()
    end: object


def simulate(
    weather: Weather,
    land: Land,
    stand: Stand,
    limits: OperatingLimits,
    *,
    state: object = None,
    observations: Sequence[Observation] = (),
    seed: int = 0,
    site: NDArray[np.int64] | None = None,
    crops: Mapping[str, Crop] = CROPS,
) -> Season:
    """Run soil water, bearing, grain and the reasons of lost hours for every member and field.

    Parameters
    ----------
    weather : hourly, (member, site, hour).
    land, stand, limits : facts of each field.
    state : `Season.end` of a run that ended where this one begins, of one member or as many as
        the weather. One member's state is spread over more by its own uncertainty.
    observations : those within the hours of the weather move the state as the run passes them;
        members see them through noise of their own, so that they keep their spread.
    seed : of that noise and spread; the same seed gives the same season.
    site : (field,) site of the weather for each field; by default site i is field i, or the one
        site all share.
    crops : constants, for example with another isotherm.

    Notes
    -----
    Missing weather: an hour with any of rain, temperature, humidity, wind or radiation unknown
    is unknown, and the state waits. After more than `lanes.GAP_MAX` such hours a soaking is
    assumed and the grain stays unknown for 72 h and the ground for 240 h of weather, or until a
    sample or a check. Unknown hours are NaN, `Tier.UNKNOWN` and `Reason.UNKNOWN`: never workable.
    """
    fields, hours = len(stand.crop), weather.shape[2]
    have = state.lane.shape[0] if isinstance(state, RunState) else 1
    members = max(weather.shape[0], have, 1 if limits.lightning is None else len(limits.lightning))
    where = facts.site_of(weather.shape[1], fields, site)
    names = sorted(set(stand.crop))
    kind = np.array([names.index(name) for name in stand.crop], dtype=np.int64)
    table = facts.field_table(weather.times[0], land, stand, limits, crops)
    end = facts.begin(state, table, land, stand, crops, members=members, seed=seed)
    seen = facts.seen_table(observations, weather.times[0], hours, fields=fields)
    first, rows, numbers = seen
    noise = facts.noise_of(rows, numbers, members=members, seed=seed)
    surprise = np.zeros_like(noise)
    values = np.empty((members, fields, lanes.VALUES, hours))
    codes = np.empty((members, fields, lanes.CODES, hours), dtype=np.uint8)
    air = (weather.rain, weather.temp, weather.humidity, weather.wind, weather.radiation)
    at = facts.first_field(weather.shape[1], where)
    lightning = (
        np.zeros((1, 1, 1), dtype=np.bool_) if limits.lightning is None else limits.lightning
    )
    rain, temp, humidity, wind, radiation = (np.ascontiguousarray(x) for x in air)
    clear, gamma = facts.sky(weather.times, land, at)
    lanes.walk(
        values, codes, end.water, end.lane, rain, temp, humidity, wind, radiation, clear, gamma,
        facts.closed_hours(weather, limits, land, at), np.ascontiguousarray(lightning),
        np.lexsort((kind, where)), where, kind, table,
        facts.crop_table([crops[name] for name in names]), land.soil_table(),
        first, rows, noise, surprise,
    )  # fmt: skip
    return Season(
        start=weather.times[0],
        water_top=values[:, :, lanes.WATER_TOP],
        water_below=values[:, :, lanes.WATER_BELOW],
        moisture=values[:, :, lanes.MOISTURE],
        film=values[:, :, lanes.FILM_MM],
        tier=codes[:, :, lanes.TIER],
        approach=codes[:, :, lanes.APPROACH],
        reason=codes[:, :, lanes.REASON],
        wettings=values[:, :, lanes.WETTED],
        sprout=values[:, :, lanes.SPROUTED],
        surprises=facts.surprises_of(surprise, numbers),
        end=end,
    )
