"""State of the farm by the entries of the season book, as planner and review take it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta

import pandas as pd

from readiness.grain.grade import sprouting_of_falling_number
from readiness.season.codes import Tier
from readiness.season.inputs import Observation
from scheduler.farm.model import OPEN_ENDED, Farm, Interval
from scheduler.farm.slots import utc_hour
from scheduler.farm.units import wheat_equivalent_t
from scheduler.farm_files.dates import end_of_day, whole_days
from scheduler.season_book.entry_kinds import (
    NOTICE_CLOSING_EARLY,
    NOTICE_OPEN_AGAIN,
    Entry,
    ends_at_a_time,
    field_of,
    field_of_parcel,
)

#: Intervals (UTC) by the id of a machine or a delivery point.
Intervals = dict[str, tuple[Interval, ...]]
TIER_OF_GROUND = {
    "firm": Tier.FIRM,
    "headland-only": Tier.HEADLAND_ONLY,
    "soft": Tier.SOFT,
    "ruts": Tier.SOFT,
}
#: Kinds of entries that show that a field was being cut, or that cutting began.
CUTTING_KINDS = ("begun", "cut")
#: Error of a hand-held meter, points; assumed, because makers state about half a point.
SAMPLE_SD = 0.5
#: Error of tough grain felt by hand and ear, points; assumed, because hands tell grain that is fit
#: from grain two points wetter. It decides for how long a field called too tough stays shut.
TOUGH_SD = 1.0
#: Error of a ground check, tiers; assumed, because two people differ by half a class.
TIER_SD = 0.5
#: Fraction cut from which a field is finished; assumed, because turning strips are left.
FINISHED_FRACTION = 0.995
#: Days for which a begun field counts as being cut; assumed.
RECENT_DAYS = 3.0


def observations(entries: Sequence[Entry], farm: Farm, until: datetime) -> list[Observation]:
    """What entries say of the farm's fields, sorted by time.

    Samples, tough grain, ground checks, weighed loads, falling numbers, and hours in which a crew
    was cutting.
    """
    row = {f.id: i for i, f in enumerate(farm.fields)}
    out = []
    for e in entries:
        place = row.get(field_of(e))
        if place is None or e.at > until:
            continue
        hour = utc_hour(e.at)
        out += [
            Observation(field=place, time=hour, kind=kind, value=value, sd=sd)
            for kind, value, sd in _observed(e)
        ]
    return sorted(out, key=lambda o: (o.time, o.field))


def _observed(entry: Entry) -> list[tuple[str, float, float]]:
    """Kind, value and standard error of each observation that an entry holds."""
    out: list[tuple[str, float, float]] = []
    wet, falling = entry.number("moisture"), entry.number("falling_number")
    if entry.kind == "sample" and wet is not None:
        out.append(("moisture", wet, SAMPLE_SD))
    if entry.kind == "tough":
        out.append(("wetter", entry.number("above") or 0.0, TOUGH_SD))
    if entry.kind == "ground":
        out.append(("tier", float(TIER_OF_GROUND[entry.text("ground")]), TIER_SD))
    if entry.number("test_weight") is not None:
        out.append(("weighed", 0.0, 1.0))
    if falling is not None:
        low, high = sprouting_of_falling_number(falling)
        out += [("sprout at least", low, 1.0), ("sprout at most", high, 1.0)]
    if entry.kind in CUTTING_KINDS:
        out.append((entry.kind, 0.0, 1.0))
    return out


def gauges(entries: Sequence[Entry], until: datetime) -> pd.DataFrame:
    """Gauge readings: gauge, time (start of the reading, UTC), hours, mm."""
    rows = []
    for e in entries:
        hours = e.number("hours") or 24.0
        if e.at <= until:
            rows.append((e.subject, e.at - timedelta(hours=hours), hours, e.number("rain")))
    frame = pd.DataFrame(rows, columns=["gauge", "time", "hours", "mm"])
    return frame.astype({"time": "datetime64[s, UTC]", "hours": float, "mm": float})


def progress(entries: Sequence[Entry], farm: Farm, until: datetime) -> dict[str, float]:
    """Fraction cut by field id: that of fields.csv plus every area entered since."""
    out = {f.id: f.cut_fraction for f in farm.fields}
    area = {f.id: f.area_ha for f in farm.fields}
    for e in entries:
        if e.kind == "cut" and e.subject in out and e.at <= until:
            out[e.subject] += (e.number("area") or 0.0) / area[e.subject]
    return {k: 1.0 if v >= FINISHED_FRACTION else v for k, v in out.items()}


def harvest_begins(entries: Sequence[Entry], until: datetime) -> dict[str, datetime]:
    """When each field that was sprayed before harvest may be cut, UTC: by its last interval."""
    out: dict[str, datetime] = {}
    for e in entries:
        if e.kind == "spray" and e.at <= until:
            begin = e.at + timedelta(days=e.number("days") or 0.0)
            out[e.subject] = max(begin, out.get(e.subject, begin))
    return out


def in_progress(entries: Sequence[Entry], farm: Farm, until: datetime) -> dict[str, str]:
    """Crews by unfinished field begun or cut in the last `RECENT_DAYS`, last first.

    The crew is '' where it is unknown.
    """
    cut = progress(entries, farm, until)
    recent = [e for e in entries if until - timedelta(days=RECENT_DAYS) < e.at <= until]
    out: dict[str, str] = {}
    for e in sorted(recent, key=lambda e: (e.at, e.id), reverse=True):
        if e.kind in CUTTING_KINDS and e.subject not in out and cut.get(e.subject, 1.0) < 1.0:
            out[e.subject] = e.text("crew")
    return out


def _intervals(starts: Sequence[Entry], stops: Sequence[Entry]) -> Intervals:
    """Intervals by subject, from each start to its own end or the first stop after it."""
    out: Intervals = {}
    for e in sorted(starts, key=lambda e: (e.at, e.id)):
        ends = [s.at for s in stops if s.subject == e.subject and (s.at, s.id) > (e.at, e.id)]
        end = min([e.time("until") or OPEN_ENDED, *ends])
        if end > e.at:
            out[e.subject] = (*out.get(e.subject, ()), (e.at, end))
    return out


def breakdowns(entries: Sequence[Entry]) -> Intervals:
    """Breakdowns by machine id: until the entered end or the repair, else `OPEN_ENDED`."""
    return _intervals(
        [e for e in entries if e.kind == "down"], [e for e in entries if e.kind == "repaired"]
    )


def closures(entries: Sequence[Entry], farm: Farm) -> Intervals:
    """Closures by id of the delivery point; after closing early it opens again at midnight."""
    shut = [e for e in entries if e.text("notice") != NOTICE_OPEN_AGAIN]
    spans = _intervals(shut, [e for e in entries if e.text("notice") == NOTICE_OPEN_AGAIN])
    early = {(e.subject, e.at) for e in shut if e.text("notice") == NOTICE_CLOSING_EARLY}

    def end(point: str, a: datetime, b: datetime) -> datetime:
        day = a.astimezone(farm.tz).date()
        return min(b, end_of_day(day, farm.tz)) if (point, a) in early and b == OPEN_ENDED else b

    return {p: tuple((a, end(p, a, b)) for a, b in pairs) for p, pairs in spans.items()}


def absences(entries: Sequence[Entry], farm: Farm) -> dict[str, tuple[date, ...]]:
    """Whole days away by crew id."""
    out: dict[str, set[date]] = {}
    for e in entries:
        if ends_at_a_time(e):
            days = whole_days(e.at, datetime.fromisoformat(e.text("until")), farm.tz)
        else:
            first = e.at.astimezone(farm.tz).date()
            last = date.fromisoformat(e.text("until")) if e.text("until") else first
            days = [first + timedelta(days=n) for n in range((last - first).days + 1)]
        out.setdefault(e.subject, set()).update(days)
    return {crew: tuple(sorted(days)) for crew, days in out.items()}


def absent_intervals(entries: Sequence[Entry]) -> Intervals:
    """Absences that end at a time, by crew id; they may hold parts of days."""
    return _intervals([e for e in entries if ends_at_a_time(e)], [])


def delivered(entries: Sequence[Entry], farm: Farm, until: datetime) -> dict[str, float]:
    """Storage that loads on tickets fill, tonnes of wheat, by delivery point id."""
    crops = {f.id: f.crop for f in farm.fields}
    out: dict[str, float] = {}
    for e in entries:
        if e.kind == "ticket" and e.at <= until:
            filled = wheat_equivalent_t(e.number("weight") or 0.0, crops.get(e.text("field")))
            out[e.subject] = out.get(e.subject, 0.0) + filled
    return out


def manual_orders(
    entries: Sequence[Entry], farm: Farm, until: datetime
) -> dict[str, tuple[str, ...]]:
    """Orders by hand that hold, by crew id: fields or parcels not yet cut, in order.

    The last order of a crew counts until its fields are cut or its entry is struck, because a
    farmer's order must not end unnoticed. A field in the orders of two crews belongs to the later
    order.
    """
    cut = progress(entries, farm, until)
    out: dict[str, tuple[str, ...]] = {}
    for e in entries:
        fields = e.facts.get("fields")
        if e.kind == "order" and isinstance(fields, tuple) and e.at <= until:
            out.pop(e.subject, None)  # keeps crews in the order of writing
            out[e.subject] = tuple(f for f in fields if cut.get(field_of_parcel(f), 1.0) < 1.0)
    taken: set[str] = set()
    for crew in reversed(out):
        out[crew] = tuple(f for f in out[crew] if not taken & {f, field_of_parcel(f)})
        taken |= set(out[crew])
    return {crew: fields for crew, fields in out.items() if fields}
