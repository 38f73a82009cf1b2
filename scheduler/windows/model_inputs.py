"""Farm facts in the form that readiness takes, and the season simulated from them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from hashlib import sha256
from typing import Any

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import HOUR, Array, Weather
from readiness.grain.crops import CROPS
from readiness.season.codes import OtherWork
from readiness.season.inputs import GRAIN_KINDS, Observation, OperatingLimits, Stand
from readiness.season.other_work import other_work_reasons
from readiness.season.simulate import Season, simulate
from readiness.soil.land import Land
from readiness.soil.running_gear import USUAL_COMBINE, hardest
from readiness.soil.trafficability import WaterLimits, land_limits
from scheduler.farm.model import Farm, Field
from scheduler.farm.slots import BoolArray, utc_hour
from scheduler.season_book.farm_state import CUTTING_KINDS, SAMPLE_SD
from scheduler.windows.lessons import Learnt

DRAINAGE = {"poor": 0, "moderate": 1, "good": 2}
APPROACH = {"paved": 0, "gravel": 1, "dirt": 2}
#: Clay added to a wet hollow's texture, weight fraction; assumed, because fines wash downhill.
HOLLOW_CLAY = 0.05
#: Days of the past that a season keeps before the days ahead.
HISTORY_DAYS = 10


def season_rows(farm: Farm) -> list[tuple[Field, bool]]:
    """Rows of a season: every field (False), then the wet hollow of each field with one (True)."""
    return [(f, False) for f in farm.fields] + [(f, True) for f in farm.fields if f.wet_fraction]


def land_of(farm: Farm) -> Land:
    """Soil and site of every row; a hollow has more clay, poor drainage and no slope."""
    rows = season_rows(farm)

    def column(get: Callable[[Field], float]) -> Array:
        return np.array([get(f) for f, _ in rows], dtype=np.float64)

    def calibrated(name: str, default: float) -> Array:
        return column(lambda f: f.calibration.get(name, default))

    wet = np.array([hollow for _, hollow in rows])
    drainage = np.array([DRAINAGE[f.drainage] for f, _ in rows])
    clay = np.minimum(column(lambda f: f.clay) + np.where(wet, HOLLOW_CLAY, 0.0), 0.6)
    sand = np.minimum(column(lambda f: f.sand), 1.0 - clay)
    return Land(
        sand=sand,
        clay=clay,
        organic_pct=column(lambda f: f.organic_pct),
        drainage=np.where(wet, 0, drainage),
        tile=np.array([f.tile for f, _ in rows]),
        tile_spacing_m=np.array([f.tile_spacing_m or np.nan for f, _ in rows]),
        tile_depth_m=np.array([f.tile_depth_m or np.nan for f, _ in rows]),
        slope_pct=np.where(wet, 0.0, column(lambda f: f.slope_pct)),
        residue=column(lambda f: f.residue),
        latitude=column(lambda f: f.lat),
        longitude=column(lambda f: f.lon),
        elevation_m=np.full(len(rows), farm.elevation_m),
        water_offset=calibrated("water_offset", 0.0),
        drain_factor=calibrated("drain_factor", 1.0),
        evap_factor=calibrated("evap_factor", 1.0),
        bearing_offset=calibrated(Learnt.BEARING, 0.0),
    )


def stream_of(field: Field, hollow: bool) -> int:
    """Key of the random draws of a field or its hollow: a hash of the field's id, >= 0."""
    name = f"{field.id} {'hollow' if hollow else 'upland'}"
    return int.from_bytes(sha256(name.encode()).digest()[:8], "big") >> 1


def ripe_time(farm: Farm, field: Field) -> np.datetime64:
    """Hour of physiological maturity; NaT where it is unknown, and the crop counts as ripe.

    A swathed crop is ripe from the swathing on at the latest.

    Raises
    ------
    ValueError
        Where only the heading is known: `ripe_dates.with_ripe_dates` comes first.
    """
    if field.ripe is None and field.heading is not None:
        raise ValueError(f"{field.id}: its date of maturity has to be computed from its heading")
    days = [d for d in (field.ripe, field.swathed) if d is not None]
    if not days:
        return np.datetime64("NaT", "h")
    day = min(days)
    return utc_hour(datetime(day.year, day.month, day.day, 12, tzinfo=farm.tz))


def stand_of(farm: Farm) -> Stand:
    """Standing crop of every row.

    The threshing limit is lowered by the learnt grain offset, the straw's moved by its own.
    """
    rows = season_rows(farm)
    fields = [f for f, _ in rows]
    limit = [
        farm.rules.thresh_limit_pct.get(f.crop, CROPS[f.crop].thresh_limit) - offset
        for f, offset in zip(fields, _grain_offset(farm), strict=True)
    ]
    return Stand(
        crop=tuple(f.crop for f in fields),
        ripe=np.array([ripe_time(farm, f) for f in fields], dtype="datetime64[h]"),
        moisture=np.full(len(fields), np.nan),
        limit=np.array(limit),
        dormancy_days=np.array(
            [np.nan if f.dormancy_days is None else f.dormancy_days for f in fields]
        ),
        lodged=np.array([f.lodged for f in fields]),
        swathed=np.array([f.swathed is not None for f in fields]),
        straw_limit=np.array([straw_limit(farm, f) for f in fields]),
        stream=np.array([stream_of(f, hollow) for f, hollow in rows], dtype=np.int64),
    )


def straw_limit(farm: Farm, field: Field) -> float:
    """Highest humidity in equilibrium with straw that is threshed, percent, as learnt."""
    usual = farm.rules.straw_limit_pct.get(field.crop, CROPS[field.crop].straw_limit)
    return usual + field.calibration.get(Learnt.STRAW, 0.0)


def limits_of(
    farm: Farm, lightning: BoolArray | None, field_of_row: NDArray[np.int64]
) -> OperatingLimits:
    """Limits that close hours besides ground and grain.

    Parameters
    ----------
    lightning : (member, field, hour), a thunderstorm is expected.
    field_of_row : (row,), index of the field of every row of the season.
    """
    rules = farm.rules
    storms = None
    if lightning is not None and rules.lightning_stop:
        storms = lightning[:, field_of_row]
    return OperatingLimits(
        combine=hardest([c.ground_load for c in farm.combines]) or USUAL_COMBINE,
        cart=hardest([c.ground_load for c in farm.carts]),
        truck=hardest([t.ground_load for t in farm.trucks]),
        approach=np.array([APPROACH[f.approach] for f, _ in season_rows(farm)]),
        wind_stop=rules.wind_stop_ms,
        fire_stop=rules.fire_index_stop,
        heat_stop=rules.heat_index_stop_c,
        lightning=storms,
        daylight_only=rules.daylight_only,
    )


def samples(farm: Farm) -> list[Observation]:
    """The last sample of each field in the field table, as an observation of each of its rows."""
    return [
        Observation(
            field=i, time=utc_hour(f.sample_at), kind="moisture", value=f.sample_pct, sd=SAMPLE_SD
        )
        for i, (f, _) in enumerate(season_rows(farm))
        if f.sample_pct is not None and f.sample_at is not None
    ]


def spread_to_hollows(farm: Farm, seen: Sequence[Observation]) -> list[Observation]:
    """Repeat what a field's grain showed for its hollow; a ground check holds for the upland."""
    hollow = {farm.fields.index(f): i for i, (f, wet) in enumerate(season_rows(farm)) if wet}
    return [
        *seen,
        *(
            replace(o, field=hollow[o.field])
            for o in seen
            if o.field in hollow and o.kind not in ("tier", *CUTTING_KINDS)
        ),
    ]


def model_observations(farm: Farm, seen: Sequence[Observation]) -> list[Observation]:
    """Each observation once, samples less the learnt offset of their field.

    The models run without the grain offset, so samples must be given to them without it. Hours of
    cutting teach offsets and are no state of the models.
    """
    offset = _grain_offset(farm)
    return [
        replace(o, value=o.value - offset[o.field]) if o.kind in GRAIN_KINDS else o
        for o in dict.fromkeys(seen)
        if o.kind not in CUTTING_KINDS
    ]


def with_grain_offset(farm: Farm, season: Season) -> Season:
    """The season with the learnt grain offset, which the models leave out."""
    return replace(season, moisture=season.moisture + np.array(_grain_offset(farm))[:, None])


def _grain_offset(farm: Farm) -> list[float]:
    """Learnt offset of every row, percent points."""
    return [f.calibration.get(Learnt.GRAIN, 0.0) for f, _ in season_rows(farm)]


def open_loop(farm: Farm, past: Weather) -> tuple[Season, WaterLimits]:
    """Simulate the past of every field, without hollows, on weather alone.

    Returns
    -------
    The season, and the limits of soil water that its tiers rest on.
    """
    every = np.arange(len(farm.fields))
    upland = replace(farm, fields=tuple(replace(f, wet_fraction=0.0) for f in farm.fields))
    land, limits = land_of(upland), limits_of(upland, None, every)
    season = simulate(past.sites(every), land, stand_of(upland), limits)
    water = land_limits(land, combine=limits.combine, cart=limits.cart, truck=limits.truck)
    return season, water


def simulate_farm(
    farm: Farm,
    past: Weather,
    ahead: Weather,
    *,
    lightning: BoolArray | None = None,
    observations: Sequence[Observation] = (),
    seed: int = 0,
) -> tuple[Season, Weather]:
    """Simulate all rows: the past once, then the days ahead for every member.

    Parameters
    ----------
    past, ahead : weather, (member, field, hour).
    lightning : (member, field, hour) ahead, a thunderstorm is expected.

    Returns
    -------
    The season over the last `HISTORY_DAYS` and the days ahead, and the weather of each field on
    the same hours.
    """
    field_of_row = np.array([farm.fields.index(f) for f, _ in season_rows(farm)])
    land, stand = land_of(farm), stand_of(farm)
    seen = model_observations(farm, [*samples(farm), *spread_to_hollows(farm, observations)])
    old = simulate(
        past.sites(field_of_row),
        land,
        stand,
        limits_of(farm, None, field_of_row),
        observations=seen,
        seed=seed,
    )
    new = simulate(
        ahead.sites(field_of_row),
        land,
        stand,
        limits_of(farm, lightning, field_of_row),
        state=old.end,
        observations=[o for o in seen if o.time >= ahead.start],
        seed=seed,
    )
    keep = min(HISTORY_DAYS * 24, past.shape[2])
    recent = past.between(past.stop - keep * HOUR, past.stop)
    return with_grain_offset(farm, with_history(old, new, keep)), recent.append(ahead)


def season_for_work(farm: Farm, season: Season, sky: Weather, *, work: OtherWork) -> Season:
    """The season with its hours open or closed for other work; each field is sown to its own crop.

    Parameters
    ----------
    sky : weather on the season's hours, (member, field, hour).

    Returns
    -------
    A season whose reasons are codes of `OtherWorkReason`.
    """
    fields = [f for f, _ in season_rows(farm)]
    weather = sky.sites([farm.fields.index(f) for f in fields])
    crop = [f.crop for f in fields]
    reason = other_work_reasons(season, weather, land_of(farm), work=work, crop=crop)
    return replace(season, reason=reason)


def with_history(old: Season, new: Season, keep: int) -> Season:
    """The last `keep` hours of `old`, of one member, before every member of `new`."""
    members = new.moisture.shape[0]

    def both(name: str) -> Array:
        tail = getattr(old, name)[:, :, -keep:]
        repeated = np.broadcast_to(tail, (members, *tail.shape[1:]))
        return np.concatenate([repeated, getattr(new, name)], axis=2)

    joined: dict[str, Any] = {name: both(name) for name in new.by_hour}
    return replace(new, start=new.start - keep * HOUR, **joined)
