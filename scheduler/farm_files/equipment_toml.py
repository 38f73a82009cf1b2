"""Tables of farm.toml: machines, crews, delivery points and their markets.

A reader gives None for a table with a problem, which is noted. Bounds of numbers are assumed, to
catch wrong units.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from datetime import date, datetime, time
from itertools import pairwise
from typing import NamedTuple

from readiness.grain.crops import CROPS
from readiness.soil.running_gear import Gear
from scheduler.errors import UnreadableError
from scheduler.farm.model import (
    BELOW,
    Cart,
    Combine,
    Crew,
    CropHeader,
    DailySpan,
    DeliveryPoint,
    Interval,
    Market,
    Person,
    Schedule,
    Truck,
    Week,
)
from scheduler.farm.units import kg_hl, normalized_name, si_per_unit
from scheduler.farm_files.dates import end_of_day, read_daily_span, whole_days
from scheduler.farm_files.named_values import Raw
from scheduler.farm_files.record import SMALLEST_PCT, Record
from scheduler.farm_files.vocabulary import CROP_NAMES, GEAR_NAMES

_DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_GROUPS = {"daily": range(7), "weekdays": range(5), "weekend": range(5, 7)}
_DASH = re.compile(r"\s+[-\u2013]\s+")
_CLOCK = re.compile(r"\d{1,2}:\d{2}")
_ABSENCE = 'write a day, or "2026-08-14 12:00 - 2026-08-14 18:00"'
#: Fewest days in which natural air dries a bin; less is a slip of the pen. NDSU 2009: 35 days for
#: wheat from 18 to 13 % at 0.75 cubic feet a minute and bushel in a September of North Dakota.
LEAST_AIR_DAYS = 5.0
#: Daily service of a crew before its first move, and its meals while it could cut, min. Common
#: practice, no source: half an hour of grease and fuel, and half an hour for the meal in the field.
#: They decide how early the first field is begun, and how much a day cuts.
USUAL_SERVICE_MIN, USUAL_MEAL_MIN = 30.0, 30.0
#: Largest threshold of a schedule: a falling number, s.
MAX_THRESHOLD = 900.0
#: Where a table of discounts ends: a buyer has no price for grain with so many times the sprouted
#: kernels or the vomitoxin of the last threshold. Assumed, because a schedule for malting barley
#: that stops at 2 % says nothing of 19 %. It decides what badly sprouted grain is worth; a limit
#: of the user's own comes first.
END_OF_TABLE = 2.0
#: Least moisture limit, percent: lower ones are fractions of 1.
LEAST_LIMIT_PCT = 5.0
_PAIRS = "write it as [[13.5, 0.05], [14.0, 0.10]]"


def read_combine(r: Record) -> Combine | None:
    """A combine."""
    values = {
        "header_m": r.number("header", "length", low=1.0, high=20.0),
        "speed_kmh": r.number("speed", "speed", low=0.5, high=15.0),
        "efficiency": r.fraction("efficiency", 0.70, above=0.0, from_pct=SMALLEST_PCT),
        "tank_m3": r.number("tank", "volume", low=1.0, high=30.0),
        "unload_m3_s": r.number("unload", "unloading", low=0.005, high=0.5),
        "loaded_t": r.number(
            "loaded_weight", "weight", default=Combine.loaded_t, low=3.0, high=60.0
        ),
    }
    flow = r.optional_number("grain_flow", "flow", low=1.0, high=200.0)
    pickup = r.optional_number("pickup", "length", low=1.0, high=20.0)
    times, (gear, axle) = read_presence(r), read_running_gear(r, Combine.running_gear)
    by_crop = tuple(_crop_headers(r))
    if r.failed:
        return None
    return Combine(
        id=r.text("id"),
        by_crop=by_crop,
        pickup_m=pickup,
        running_gear=gear,
        axle_load_t=axle,
        flow_t_h=flow,
        down=times.down,
        joins=times.joins,
        leaves=times.leaves,
        **values,
    )


def _crop_headers(r: Record) -> Iterator[CropHeader]:
    """Headers, speeds and efficiencies of a combine by crop."""
    seen: set[str] = set()
    for c in r.tables("crop", f"{r.row} "):
        crop = c.choice("crop", CROP_NAMES)
        header = c.optional_number("header", "length", low=1.0, high=20.0)
        speed = c.optional_number("speed", "speed", low=0.5, high=15.0)
        efficiency = c.optional_fraction("efficiency", above=0.0)
        if crop in seen:
            c.note("crop", f'crop "{crop}" is there twice', "keep one")
        c.note_unused()
        r.failed = r.failed or c.failed
        if crop is not None:
            seen.add(crop)
            yield CropHeader(crop=crop, header_m=header, speed_kmh=speed, efficiency=efficiency)


def read_cart(r: Record) -> Cart | None:
    """A grain cart."""
    values = {
        "capacity_m3": r.number("capacity", "volume", low=2.0, high=120.0),
        "unload_m3_s": r.number("unload", "unloading", low=0.01, high=1.5),
        "loaded_t": r.number("loaded_weight", "weight", default=Cart.loaded_t, low=2.0, high=110.0),
    }
    times, (gear, axle) = read_presence(r), read_running_gear(r, Cart.running_gear)
    if r.failed:
        return None
    return Cart(
        id=r.text("id"),
        running_gear=gear,
        axle_load_t=axle,
        down=times.down,
        joins=times.joins,
        leaves=times.leaves,
        **values,
    )


def read_truck(r: Record) -> Truck | None:
    """A road truck."""
    loaded, empty = Truck.loaded_kmh, Truck.empty_kmh
    values = {
        "capacity_m3": r.number("capacity", "volume", low=1.0, high=120.0),
        "payload_t": r.number("payload", "weight", low=0.5, high=70.0),
        "loaded_kmh": r.number("loaded_speed", "speed", default=loaded, low=5.0, high=130.0),
        "empty_kmh": r.number("empty_speed", "speed", default=empty, low=5.0, high=130.0),
    }
    times, (gear, axle) = read_presence(r), read_running_gear(r, Truck.running_gear)
    if r.failed:
        return None
    return Truck(
        id=r.text("id"),
        running_gear=gear,
        axle_load_t=axle,
        down=times.down,
        joins=times.joins,
        leaves=times.leaves,
        **values,
    )


def read_running_gear(r: Record, usual: Gear) -> tuple[Gear, float | None]:
    """Running gear of a machine, and the load on its main axle, t."""
    gear = r.choice("running_gear", GEAR_NAMES, usual)
    return gear or usual, r.optional_number("axle_load", "weight", low=1.0, high=110.0)


def read_person(r: Record) -> tuple[str, Person] | None:
    """The crew of a person with a name, and the person; `drives` are kinds and ids of machines."""
    crew, drives = r.text("crew", None), r.id_list("drives")
    hours = r.optional_number("hours_max_day", low=0.5, high=24.0)
    off, (absent, away) = read_days_off(r), read_absences(r)
    kinds = {kind + s: kind for kind in ("combine", "cart", "truck") for s in ("", "s")}
    if r.failed:
        return None
    return crew, Person(
        id=r.text("id"),
        drives=tuple(kinds.get(normalized_name(name), name) for name in drives),
        hours_max_day=hours,
        days_off=off,
        absent=absent,
        away=away,
    )


def read_days_off(r: Record) -> tuple[int, ...]:
    """Weekdays without work, 0 for Monday; wrong names are noted."""
    days = []
    for name in r.id_list("days_off"):
        day = normalized_name(name)
        if day[:3] in _DAYS and day not in _GROUPS:
            days.append(_DAYS.index(day[:3]))
        else:
            r.note("days_off", f'"{name}" is not a day', 'write it as ["sun"]')
    return tuple(sorted(set(days)))


def without_days(week: Week, off: Iterable[int]) -> Week:
    """A week with no work on some weekdays; the evening before ends at midnight."""
    out = list(week)
    for day in off:
        out[day] = None
        before = out[day - 1]
        if before is not None and time(0) < before[1] < before[0]:
            out[day - 1] = (before[0], time(0))
    return tuple(out)


def read_crew(r: Record) -> Crew | None:
    """A crew; one without `people` has those with a name alone, counted as 0 here."""
    people = r.number("people", default=0.0, low=1.0, high=200.0)
    hours = r.number("hours_max_day", default=Crew.hours_max_day, low=1.0, high=24.0)
    week = without_days(read_week(r), read_days_off(r))
    service = r.number("service_min", default=USUAL_SERVICE_MIN, low=0.0, high=300.0)
    meals = r.number("meal_min", default=USUAL_MEAL_MIN, low=0.0, high=300.0)
    fixed, (absent, away) = r.yes_no("fixed"), read_absences(r)
    combines, carts, trucks = r.id_list("combines"), r.id_list("carts"), r.id_list("trucks")
    if r.failed:
        return None
    return Crew(
        id=r.text("id"),
        combines=combines,
        carts=carts,
        trucks=trucks,
        week=week,
        people=int(people),
        fixed=fixed,
        hours_max_day=hours,
        absent=absent,
        away=away,
        service_min=service,
        meal_min=meals,
    )


def read_point(r: Record) -> DeliveryPoint | None:
    """A delivery point with its markets."""
    lat = r.optional_number("lat", low=-90.0, high=90.0)
    lon = r.optional_number("lon", low=-180.0, high=180.0)
    distance = r.optional_number("distance", "distance", low=0.0, high=2000.0)
    if (lat is None) != (lon is None) or (lat is None and distance is None):
        r.note("lat", "has no position", "give lat and lon, or its distance from the base")
    queue = r.number("queue_min", default=DeliveryPoint.queue_min, low=0.0, high=1440.0)
    unload = r.number("unload_min", default=DeliveryPoint.unload_min, low=0.0, high=240.0)
    capacity = r.optional_number("room", "mass", low=0.0)
    own, seed_only, week = r.yes_no("own"), r.yes_no("seed_only"), read_week(r)
    dryer = r.optional_number("dryer", "flow", above=0.0)
    points = r.number("dryer_points", default=DeliveryPoint.dryer_points, low=0.5, high=25.0)
    air_days = r.optional_number("natural_air_days", low=LEAST_AIR_DAYS, high=120.0)
    wet_room = r.optional_number("wet_room", "mass", above=0.0)
    dryer_week = read_week(r, "dryer_hours") if r.raw("dryer_hours") is not None else None
    if dryer is not None and wet_room is None:
        r.note("wet_room", "wet_room is missing", "give the wet grain that can wait for the dryer")
    if dryer is not None and air_days is not None:
        r.note("natural_air_days", "dryer is there too", "keep one: heated or natural air")
    if dryer is None and air_days is not None:
        if wet_room is None:
            r.note("wet_room", "wet_room is missing", "give the grain that the fans dry at once")
        else:
            dryer = wet_room / (24.0 * air_days)
    elif dryer is None and wet_room is not None:
        r.note("dryer", "dryer is missing", "give what it dries in an hour, or remove wet_room")
    markets = _markets(r)
    if r.failed:
        return None
    return DeliveryPoint(
        id=r.text("id"),
        lat=lat,
        lon=lon,
        week=week,
        markets=markets,
        queue_min=queue,
        unload_min=unload,
        distance_km=distance,
        capacity_t=capacity,
        dryer_t_h=dryer,
        dryer_points=points,
        wet_room_t=math.inf if wet_room is None else wet_room,
        dryer_week=dryer_week,
        seed_only=seed_only,
        own=own,
    )


def _markets(r: Record) -> dict[str, Market]:
    """The markets of a delivery point by crop; at least one is required."""
    markets: dict[str, Market] = {}
    tables = list(r.tables("market", f"{r.row} "))
    for m in tables:
        crop = m.choice("crop", CROP_NAMES)
        begins = m.begin("from")
        if crop in markets and begins is None:
            remedy = "keep one, or give the later one a date: from"
            m.note("crop", f'crop "{crop}" has two markets here', remedy)
        if crop is not None:
            market = read_market(m, crop)
            before = markets.get(crop)
            if before is None or begins is None:
                markets[crop] = market
            else:
                later = sorted((*before.later, (begins, market)), key=lambda x: x[0])
                markets[crop] = replace(before, later=tuple(later))
            m.note_unused()
        r.failed = r.failed or m.failed
    if not tables:
        r.note("market", "takes no crop", "add [[point.market]] with crop and price")
    return markets


def read_market(r: Record, crop: str) -> Market:
    """Prices of a delivery point for a crop; not to be used where `r` failed."""
    base = r.percent("moisture_base", low=5.0, high=25.0)
    limit = r.percent("moisture_limit", low=LEAST_LIMIT_PCT, high=40.0)
    if limit is None:
        r.note_missing("moisture_limit", "the moisture in % above which loads are turned away")
    base = CROPS[crop].base_moisture if base is None else base
    if limit is not None and LEAST_LIMIT_PCT <= limit < base:
        r.note(
            "moisture_limit",
            f"moisture_limit {limit:g}% is below the base {base:g}%",
            "correct one of them",
        )
    us = r.notation.units == "us"

    def schedule(name: str, scale: Callable[[float], float] = lambda a: a) -> Schedule:
        return read_schedule(r, name, crop, scale)

    sprout = schedule("sprout_discount", lambda a: a / 100.0)
    vomitoxin = schedule("vomitoxin_discount")
    limits = {
        "sprout": r.optional_fraction("sprout_limit"),
        "vomitoxin": r.optional_number("vomitoxin_limit_ppm", low=0.0, high=100.0),
        "test_weight": r.test_weight("test_weight_min", crop),
        "falling_number": r.optional_number("falling_number_min", low=0.0, high=900.0),
        "protein": r.percent("protein_min", low=0.0, high=60.0),
        "vitreous": r.percent("vitreous_min", low=0.0, high=100.0),
    }
    for name, steps in (("sprout", sprout.steps), ("vomitoxin", vomitoxin.steps)):
        if limits[name] is None and steps:
            limits[name] = END_OF_TABLE * steps[-1][0]
    return Market(
        price_t=r.number("price", "price", above=0.0, crop=crop),
        moisture_base_pct=base,
        moisture_limit_pct=limit or base,
        moisture_discount=schedule("moisture_discount"),
        drying_t_point=r.optional_number("drying", "price", low=0.0, crop=crop),
        test_weight_discount=schedule(
            "test_weight_discount", lambda a: kg_hl(a, crop) if us else a
        ),
        sprout_discount=sprout,
        falling_number_discount=schedule("falling_number_discount"),
        protein_discount=schedule("protein_discount"),
        vitreous_discount=schedule("vitreous_discount"),
        vomitoxin_discount=vomitoxin,
        protein_premium=schedule("protein_premium"),
        seed_premium_t=r.number("seed_premium", "price", default=0.0, low=0.0, crop=crop),
        limits={name: limit for name, limit in limits.items() if limit is not None},
        feed_price_t=r.optional_number("feed_price", "price", above=0.0, crop=crop),
        shrink_pct_point=r.percent("shrink_a_point", low=0.0, high=5.0),
    )


def read_schedule(r: Record, name: str, crop: str, scale: Callable[[float], float]) -> Schedule:
    """Steps [threshold, money off]: thresholds rise, and worse grain loses more money.

    Parameters
    ----------
    name : key of the schedule, which may end in per_bu or per_t.
    scale : from a threshold as written to SI.
    """
    found = r.find(name, ("per_bu", "per_t"))
    if found is None:
        return Schedule()
    value, key, unit = found
    try:
        if not isinstance(value, list):
            raise TypeError
        steps = [tuple(map(_number, _pair(step))) for step in value]
    except (TypeError, ValueError, OverflowError):
        r.note(key, f"{name} is not a list of pairs", _PAIRS)
        return Schedule()
    money = si_per_unit("price", unit or r.default_unit("price"), crop)
    at = [a for a, _ in steps]
    off = [b for _, b in steps][:: -1 if name.removesuffix("_discount") in BELOW else 1]
    if not all(0 <= a <= MAX_THRESHOLD for a in at) or not all(0 <= b < 1e6 for b in off):
        r.note(key, f"{name} has a number that is below 0 or too large", _PAIRS)
    elif any(b <= a for a, b in pairwise(at)):
        r.note(key, f"the thresholds of {name} do not rise", "put them in rising order")
    elif any(b < a for a, b in pairwise(off)):
        r.note(key, f"{name} takes less off worse grain", "correct the money of its steps")
    return Schedule(steps=tuple((scale(a), b * money) for a, b in steps))


def _pair(value: Raw) -> tuple[Raw, Raw]:
    """The two values of a list; TypeError where it holds others than two."""
    if not isinstance(value, list) or len(value) != 2:
        raise TypeError
    return value[0], value[1]


def _number(value: Raw) -> float:
    """A number, or text of one; TypeError for other types, ValueError for other text."""
    if not isinstance(value, (int, float, str)):
        raise TypeError
    return float(value)


def read_week(r: Record, key: str = "hours") -> Week:
    """Hours by weekday: one text for every day, or a table of days, weekdays and weekend."""
    value = r.raw(key)
    if value is None:
        r.note_missing(key, 'them as "07:00-21:00", or by weekday')
        return (None,) * 7
    by_name = value if isinstance(value, dict) else {"daily": value}
    texts: dict[int, str] = {}
    for name in sorted(by_name, key=lambda n: -len(_GROUPS.get(normalized_name(n), ()))):
        day = normalized_name(name)
        if day in _GROUPS:
            texts |= {i: str(by_name[name]) for i in _GROUPS[day]}
        elif day[:3] in _DAYS:
            texts[_DAYS.index(day[:3])] = str(by_name[name])
        else:
            r.note(key, f'"{name}" is not a day', "use mon to sun, weekdays or weekend")
    spans = {text: read_hours(r, key, text) for text in dict.fromkeys(texts.values())}
    return tuple(spans[texts[i]] if i in texts else None for i in range(7))


def read_hours(r: Record, key: str, text: str) -> DailySpan | None:
    """Hours of a day; None where closed, or wrong and noted."""
    try:
        return read_daily_span(text)
    except UnreadableError as error:
        r.note(key, error.message, error.remedy)
        return None


def read_absences(r: Record) -> tuple[tuple[date, ...], tuple[Interval, ...]]:
    """Whole days away, and intervals (UTC) that hold parts of days; wrong ones are noted.

    An absence is a day, or the text of two days or times with a dash between them.
    """
    days: list[date] = []
    away: list[Interval] = []
    for value in r.raw_list("absent"):
        try:
            first, last, has_clock = _absence(r, value)
            if last <= first:
                raise UnreadableError(f'"{value}" ends before it begins', "swap its times")
            days += whole_days(first, last, r.notation.tz)
            if has_clock:
                away.append((first, last))
        except UnreadableError as error:
            r.note("absent", error.message, error.remedy)
    return tuple(days), tuple(away)


def _absence(r: Record, value: Raw) -> tuple[datetime, datetime, bool]:
    """Begin and end of an absence, UTC, and whether it holds a clock time."""
    parts = [value] if not isinstance(value, str) else _DASH.split(value.strip(), maxsplit=1)
    first, first_clock = r.as_moment(parts[0], "absent")
    end = parts[-1]
    if _CLOCK.fullmatch(str(end)):  # the end is a time of the first day
        end = f"{first.astimezone(r.notation.tz):%Y-%m-%d} {end}"
    last, last_clock = r.as_moment(end, "absent")
    if len(parts) == 1 and first_clock:
        raise UnreadableError(f'"{value}" is a time, not a day', _ABSENCE)
    if not last_clock:
        last = end_of_day(last.astimezone(r.notation.tz).date(), r.notation.tz)
    return first, last, first_clock or last_clock


class Presence(NamedTuple):
    """When a machine is not to be had; see `scheduler.farm.model.Machine`."""

    down: tuple[Interval, ...]
    joins: datetime | None
    leaves: datetime | None


def read_presence(r: Record) -> Presence:
    """Breakdowns of a machine, and from when until when it is on the farm."""
    joins, leaves = r.begin("from"), r.end("until")
    if joins is not None and leaves is not None and leaves <= joins:
        begin, end = (r.raw(name) for name in ("from", "until"))
        r.note("until", f"{end} is not after {begin}", "correct one of them")
    return Presence(down=read_down(r), joins=joins, leaves=leaves)


def read_down(r: Record) -> tuple[Interval, ...]:
    """Breakdowns, UTC: a list of [from, until]; wrong ones are noted."""
    out = []
    for pair in r.raw_list("down"):
        try:
            begin, end = _pair(pair)
            first, last = (r.as_moment(v, "down")[0] for v in (begin, end))
            if last <= first:
                raise UnreadableError(f"{end} is not after {begin}", "swap them")
            out.append((first, last))
        except UnreadableError as error:
            r.note("down", error.message, error.remedy)
        except (TypeError, ValueError):
            r.note(
                "down",
                f"{pair} is not a pair of times",
                'write it as [["2026-08-12 06:00", "2026-08-13 12:00"]]',
            )
    return tuple(out)
