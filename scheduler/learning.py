"""What the book teaches: the farm as it stands now, and offsets that are learnt slowly."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from readiness.bearing import WaterLimits
from readiness.season import Observation, Season, Tier
from readiness.weather import Array, Weather
from scheduler.book import Book
from scheduler.farm import Farm, Field
from scheduler.offsets import Prior, offsets, surprise
from scheduler.outlook import open_loop
from scheduler.slots import local, utc_hour


def apply_book(farm: Farm, book: Book, now: datetime) -> Farm:
    """The farm as the book has it: what is cut, down, away, shut and delivered; last samples."""
    down, away = book.down(now), book.absences(farm, now)
    shut, brought = book.notices(farm, now), book.delivered(farm, now)
    cut = book.progress(farm, now)
    samples = {e.subject: e for e in book.entries("sample", until=now) if e.at <= now}

    def sampled(field: Field) -> Field:
        field = replace(field, cut_fraction=min(1.0, cut[field.id]))
        last = samples.get(field.id)
        if last is None or (field.sample_at is not None and field.sample_at > last.at):
            return field
        return replace(
            field,
            sample_pct=last.number("moisture"),
            sample_at=last.at,
            test_weight_kg_hl=last.number("test_weight") or field.test_weight_kg_hl,
        )

    return replace(
        farm,
        fields=tuple(sampled(f) for f in farm.fields),
        combines=tuple(replace(m, down=(*m.down, *down.get(m.id, ()))) for m in farm.combines),
        carts=tuple(replace(m, down=(*m.down, *down.get(m.id, ()))) for m in farm.carts),
        trucks=tuple(replace(m, down=(*m.down, *down.get(m.id, ()))) for m in farm.trucks),
        crews=tuple(
            replace(c, absent=tuple(sorted({*c.absent, *away.get(c.id, ())}))) for c in farm.crews
        ),
        points=tuple(
            replace(
                p,
                closed=(*p.closed, *shut.get(p.id, ())),
                capacity_t=None
                if p.capacity_t is None
                else max(0.0, p.capacity_t - brought.get(p.id, 0.0)),
            )
            for p in farm.points
        ),
    )


#: Percent points of grain; assumed, because equilibrium curves of varieties differ by about a
#: point, and the hourly model misses single samples by one or two.
GRAIN = Prior(soil_sd=0.5, own_sd=0.7, error_sd=1.5)
#: m³/m³ of the bearing limits; assumed, because published strength relations differ by a factor
#: of two, which is about 0.04 of water, and a ground check is one place in a field.
GROUND = Prior(soil_sd=0.02, own_sd=0.02, error_sd=0.04)
RIPENING_PCT = 25.0  # wetter grain may still be filling, which is no offset; assumed
FLAGGED = 2.5  # standard errors beyond which a reading is named; assumed
TOLD = {"grain_offset": 0.1, "bearing_offset": 0.002}  # smallest offsets worth a line; assumed
PRIORS = {"grain_offset": GRAIN, "bearing_offset": GROUND}
SEEN = {"grain_offset": "sample", "bearing_offset": "ground check"}


@dataclass(frozen=True, kw_only=True)
class Taught:
    """The farm with its learnt offsets, and what to say of them."""

    farm: Farm
    lessons: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Bound:
    """What one observation says of its field's offset: between `low` and `high`."""

    observation: Observation
    low: float
    high: float


def learn(
    farm: Farm, observations: Sequence[Observation], past: Weather, *, now: datetime
) -> Taught:
    """Lasting offsets of grain and ground from all observations, before and after the last day.

    What was observed is set against the past run on weather alone, so that the same book always
    teaches the same.
    """
    if not observations:
        return Taught(farm=farm, lessons=())
    seen = [o for o in observations if past.start <= o.time <= past.times[-1] + 1]
    season, limits = open_loop(farm, past)
    lessons: list[str] = []
    learnt: dict[str, Array] = {}
    for name, bounds in (
        ("grain_offset", grain_bounds(season, seen)),
        ("bearing_offset", ground_bounds(season, limits, seen)),
    ):
        yesterday = utc_hour(now) - np.timedelta64(24, "h")
        before = _offsets(farm, [b for b in bounds if b.observation.time < yesterday], name)
        learnt[name] = _offsets(farm, bounds, name)
        lessons += flags(farm, bounds, learnt[name], name)
        lessons += told(farm, bounds, before, learnt[name], name)
    fields = tuple(
        replace(f, calibration={**f.calibration, **{n: f.calibration.get(n, 0.0) + float(b[i])
                                                    for n, b in learnt.items() if b[i]}})
        for i, f in enumerate(farm.fields)
    )  # fmt: skip
    return Taught(farm=replace(farm, fields=fields), lessons=tuple(lessons))


def _hour(season: Season, seen: Observation) -> int:
    """Index of the hour of an observation; that of the hour begun is the last known one."""
    last: int = season.moisture.shape[2] - 1
    return min(last, int((seen.time - season.start).astype(int)))


def grain_bounds(season: Season, seen: Sequence[Observation]) -> list[Bound]:
    """Samples of ripe grain against the run: the offset is the difference."""
    out = []
    for o in seen:
        said = float(season.moisture[0, o.field, _hour(season, o)])
        if o.kind == "moisture" and max(o.value, said) < RIPENING_PCT:  # False for NaN too
            out.append(Bound(observation=o, low=o.value - said, high=o.value - said))
    return out


def ground_bounds(season: Season, limits: WaterLimits, seen: Sequence[Observation]) -> list[Bound]:
    """Ground checks against the run: how far the limits must shift for the tier that was seen."""
    out = []
    for o in seen:
        f, h = o.field, _hour(season, o)
        top, below = season.water_top[0, f, h], season.water_below[0, f, h]
        firm = float(max(top - limits.firm_top[f], below - limits.firm_below[f]))
        edge = float(max(top - limits.headland_top[f], below - limits.headland_below[f]))
        if o.kind != "tier" or not np.isfinite(firm + edge):
            continue
        low = {Tier.FIRM: firm, Tier.HEADLAND_ONLY: edge}.get(Tier(int(o.value)), -np.inf)
        high = {Tier.HEADLAND_ONLY: firm, Tier.SOFT: edge}.get(Tier(int(o.value)), np.inf)
        out.append(Bound(observation=o, low=min(low, high), high=max(low, high)))
    return out


def _offsets(farm: Farm, bounds: Sequence[Bound], name: str) -> Array:
    """Offsets of all fields; what was seen in one field on one day counts as one observation."""
    soils = [(f.texture or f"{f.sand:.1f} {f.clay:.1f}", f.drainage) for f in farm.fields]
    group = np.array([sorted(set(soils)).index(s) for s in soils])
    days = [(b.observation.field, b.observation.time.astype("datetime64[D]")) for b in bounds]
    return offsets(
        np.array([b.observation.field for b in bounds], dtype=np.int64),
        np.array([b.low for b in bounds]),
        np.array([b.high for b in bounds]),
        np.array([1.0 / days.count(d) for d in days]),
        group,
        prior=PRIORS[name],
    )


def flags(farm: Farm, bounds: Sequence[Bound], learnt: Array, name: str) -> list[str]:
    """Readings that do not fit: they count for little until another agrees."""
    if not bounds:
        return []
    field = np.array([b.observation.field for b in bounds], dtype=np.int64)
    low, high = (np.array([getattr(b, side) for b in bounds]) for side in ("low", "high"))
    away = surprise(field, low, high, learnt, prior=PRIORS[name])
    out = []
    for b, by in zip(bounds, away, strict=True):
        if abs(by) > FLAGGED:
            o, f = b.observation, farm.fields[b.observation.field]
            when = local(o.time, farm.tz)
            what = (
                f"the sample of {o.value:.1f} % is {abs(b.low):.1f} points "
                f"{'above' if b.low > 0 else 'below'} what the weather tells"
                if o.kind == "moisture"
                else f"the ground check ({Tier(int(o.value)).name.lower().replace('_', '-')}) is "
                "far from what the weather tells"
            )
            out.append(
                f"{f.name} ({f.id}), {when:%a %H:%M}: {what}; it counts little, take another"
            )
    return out


def told(farm: Farm, bounds: Sequence[Bound], before: Array, after: Array, name: str) -> list[str]:
    """Offsets before and after the last day, field by field, and what neighbours share."""
    counts = Counter(b.observation.field for b in bounds)
    lines: list[str] = []
    shared: dict[str, list[str]] = {}
    for i, f in enumerate(farm.fields):
        if max(abs(after[i]), abs(before[i])) < TOLD[name]:
            continue
        if not counts[i]:
            shared.setdefault(_said(after[i], name), []).append(f.id)
            continue
        of = f"{counts[i]} {SEEN[name]}{'s' if counts[i] > 1 else ''}"
        earlier = _said(before[i], name) if abs(before[i]) >= TOLD[name] else "nothing"
        lines.append(
            f"{f.name} ({f.id}): {_said(after[i], name)}, from {of}; the day before: {earlier}"
        )
    lines += [f"By the same soil, {said}: {', '.join(ids)}" for said, ids in shared.items()]
    return lines


def _said(offset: float, name: str) -> str:
    """An offset in words."""
    if name == "grain_offset":
        way = "wetter" if offset > 0 else "drier"
        return f"grain {abs(offset):.1f} points {way} than the weather tells"
    way = "more" if offset > 0 else "less"
    return f"ground bears {100.0 * abs(offset):.1f} % {way} water than its texture tells"
