"""From farm and weather to the season ahead: the farm's facts as readiness takes them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.weather import Weather
from readiness.grain.crops import CROPS
from readiness.season.codes import OtherWork
from readiness.season.inputs import Observation, OperatingLimits, Stand
from readiness.season.other_work import other_work_reasons
from readiness.season.simulate import Season, simulate
from readiness.soil.properties import Land
from readiness.soil.trafficability import WaterLimits, water_limits
from scheduler.farm.model import Farm, Field
from scheduler.farm.working_time import utc_hour
from scheduler.season_book.farm_state import SAMPLE_SD

DRAINAGE = {"poor": 0, "moderate": 1, "good": 2}
APPROACH = {"paved": 0, "gravel": 1, "dirt": 2}
#: Clay added to a wet hollow's texture, weight fraction; assumed, because fines wash downhill.
HOLLOW_CLAY = 0.05
#: Days of the past shown and kept beside the days ahead.
HISTORY_DAYS = 10


def season_rows(farm: Farm) -> list[tuple[Field, bool]]:
    """The season's rows: every field, then the wet hollow of each field that has one."""
    return [(f, False) for f in farm.fields] + [(f, True) for f in farm.fields if f.wet_fraction]


def land_of(farm: Farm) -> Land:
    """Soil and site of every row."""
    picked = season_rows(farm)

    def column(get: object) -> NDArray[np.float64]:
        return np.array([get(f) for f, _ in picked], dtype=np.float64)  # type: ignore[operator]

    wet = np.array([hollow for _, hollow in picked])
    drainage = np.array([DRAINAGE[f.drainage] for f, _ in picked])
    clay = np.minimum(column(lambda f: f.clay) + np.where(wet, HOLLOW_CLAY, 0.0), 0.6)
    sand = np.minimum(column(lambda f: f.sand), 1.0 - clay)
    learnt = {
        name: column(lambda f, n=name, d=default: f.calibration.get(n, d))
        for name, default in (
            ("water_offset", 0.0),
            ("drain_factor", 1.0),
            ("evap_factor", 1.0),
            ("bearing_offset", 0.0),
        )
    }
    return Land(
        sand=sand,
        clay=clay,
        organic_pct=column(lambda f: f.organic_pct),
        drainage=np.where(wet, 0, drainage),
        tile=np.array([f.tile for f, _ in picked]),
        slope_pct=np.where(wet, 0.0, column(lambda f: f.slope_pct)),
        residue=column(lambda f: f.residue),
        latitude=column(lambda f: f.lat),
        longitude=column(lambda f: f.lon),
        elevation_m=np.full(len(picked), farm.elevation_m),
        **learnt,
    )


def ripe_time(farm: Farm, field: Field) -> np.datetime64:
    """Hour of physiological maturity: as given, or heading plus the crop's published days."""
    if field.ripe is not None:
        day = field.ripe
    elif field.heading is not None:
        day = field.heading + timedelta(days=CROPS[field.crop].heading_to_ripe_days)
    else:
        return np.datetime64("NaT", "h")
    return utc_hour(datetime(day.year, day.month, day.day, 12, tzinfo=farm.tz))


def stand_of(farm: Farm) -> Stand:
    """What stands on every row."""
    picked = [f for f, _ in season_rows(farm)]
    limit = [
        farm.rules.thresh_limit_pct.get(f.crop, CROPS[f.crop].thresh_limit)
        - f.calibration.get("grain_offset", 0.0)
        for f in picked
    ]
    return Stand(
        crop=tuple(f.crop for f in picked),
        ripe=np.array([ripe_time(farm, f) for f in picked], dtype="datetime64[h]"),
        moisture=np.full(len(picked), np.nan),
        limit=np.array(limit),
    )


def limits_of(
    farm: Farm, lightning: NDArray[np.bool_] | None, row_of: NDArray[np.int64]
) -> OperatingLimits:
    """What closes hours besides ground and grain."""
    rules = farm.rules
    return OperatingLimits(
        combine_t=max(c.loaded_t for c in farm.combines),
        cart_t=max((c.loaded_t for c in farm.carts), default=0.0),
        approach=np.array([APPROACH[f.approach] for f, _ in season_rows(farm)]),
        wind_stop=rules.wind_stop_ms,
        fire_stop=rules.fire_index_stop,
        heat_stop=rules.heat_index_stop_c,
        lightning=lightning[:, row_of] if lightning is not None and rules.lightning_stop else None,
        daylight_only=rules.daylight_only,
    )


def samples(farm: Farm) -> list[Observation]:
    """The last samples in the field table, as observations of every row of their field."""
    return [
        Observation(
            field=i,
            time=utc_hour(f.sample_at),
            kind="moisture",
            value=f.sample_pct,
            sd=SAMPLE_SD,
        )
        for i, (f, _) in enumerate(season_rows(farm))
        if f.sample_pct is not None and f.sample_at is not None
    ]


def spread_to_hollows(farm: Farm, seen: Sequence[Observation]) -> list[Observation]:
    """Repeat grain observations of a field for its hollow; a ground check speaks of the upland."""
    out = list(seen)
    extra = {farm.fields.index(f): i for i, (f, wet) in enumerate(season_rows(farm)) if wet}
    out += [
        replace(o, field=extra[o.field]) for o in seen if o.field in extra and o.kind == "moisture"
    ]
    return out


def model_observations(farm: Farm, seen: Sequence[Observation]) -> list[Observation]:
    """Each observation once, samples less the learnt offset of their field."""
    offset = [f.calibration.get("grain_offset", 0.0) for f, _ in season_rows(farm)]
    return [
        replace(o, value=o.value - offset[o.field]) if o.kind == "moisture" else o
        for o in dict.fromkeys(seen)
    ]


def open_loop(farm: Farm, past: Weather) -> tuple[Season, WaterLimits]:
    """The past of every field on weather alone, and the limits of water it was judged by."""
    every = np.arange(len(farm.fields))
    upland = replace(farm, fields=tuple(replace(f, wet_fraction=0.0) for f in farm.fields))
    land, limits = land_of(upland), limits_of(upland, None, every)
    season = simulate(past.sites(every), land, stand_of(upland), limits)
    water = water_limits(
        land.field_capacity, land.saturation, sand=land.sand, clay=land.clay,
        combine_t=limits.combine_t, cart_t=limits.cart_t, offset=land.bearing_offset,
    )  # fmt: skip
    return season, water


def with_grain_offset(farm: Farm, season: Season) -> Season:
    """The season with the grain's learnt offset, which the run itself leaves out."""
    offset = np.array([f.calibration.get("grain_offset", 0.0) for f, _ in season_rows(farm)])
    return replace(season, moisture=season.moisture + offset[:, None])


def simulate_farm(
    farm: Farm,
    past: Weather,
    ahead: Weather,
    *,
    lightning: NDArray[np.bool_] | None = None,
    observations: Sequence[Observation] = (),
    seed: int = 0,
) -> tuple[Season, Weather]:
    """Run the past once and the days ahead for every member.

    `past` and `ahead` are (member, field, hour). Returns the season of all rows over the last
    `HISTORY_DAYS` and the days ahead, and the weather on the same hours per field.
    """
    row_of = np.array([farm.fields.index(f) for f, _ in season_rows(farm)])
    land, stand = land_of(farm), stand_of(farm)
    seen = model_observations(farm, [*samples(farm), *spread_to_hollows(farm, observations)])
    old = simulate(
        past.sites(row_of), land, stand, limits_of(farm, None, row_of), observations=seen, seed=seed
    )
    new = simulate(
        ahead.sites(row_of),
        land,
        stand,
        limits_of(farm, lightning, row_of),
        state=old.end,
        observations=[o for o in seen if o.time >= ahead.start],
        seed=seed,
    )
    keep = min(HISTORY_DAYS * 24, past.shape[2])
    recent = past.between(past.times[-1] + 1 - keep, past.times[-1] + 1)
    return with_grain_offset(farm, with_history(old, new, keep)), recent.then(ahead)


def season_for_work(farm: Farm, season: Season, sky: Weather, *, work: OtherWork) -> Season:
    """The season with its hours open or closed for other work.

    The reasons are those of `readiness.season.codes.OtherWorkReason`.

    `sky` (member, field, hour) on the season's hours; each field is sown with its own crop.
    """
    picked = [f for f, _ in season_rows(farm)]
    weather = sky.sites([farm.fields.index(f) for f in picked])
    crop = [f.crop for f in picked]
    reason = other_work_reasons(season, weather, land_of(farm), work=work, crop=crop)
    return replace(season, reason=reason)


def with_history(old: Season, new: Season, keep: int) -> Season:
    """The last `keep` hours of `old` (one member) before `new`."""
    m = new.moisture.shape[0]

    def both(name: str) -> NDArray[np.float64]:
        tail = getattr(old, name)[:, :, -keep:]
        return np.concatenate(
            [np.broadcast_to(tail, (m, *tail.shape[1:])), getattr(new, name)], axis=2
        )

    names = ("water_top", "water_below", "moisture", "film", "tier", "approach", "reason")
    counts = ("wettings", "sprout")
    start = new.start - keep
    return replace(new, start=start, **{n: both(n) for n in (*names, *counts)})  # type: ignore[arg-type]
