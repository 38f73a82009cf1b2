"""Parts of farm.toml, each from its table: machines, crews, delivery points and their markets."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from itertools import pairwise

from readiness.grain.crops import CROPS
from scheduler.errors import UnreadableError
from scheduler.farm.model import (
    Cart,
    Combine,
    Crew,
    DailySpan,
    DeliveryPoint,
    Market,
    Schedule,
    Truck,
    Week,
)
from scheduler.farm.units import kg_hl, normalized_name, si_per_unit
from scheduler.farm_files.dates import read_daily_span, read_date
from scheduler.farm_files.record import Record
from scheduler.farm_files.vocabulary import CROP_NAMES

_DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_GROUPS = {"daily": range(7), "weekdays": range(5), "weekend": range(5, 7)}
_PAIRS = "write it as [[13.5, 0.05], [14.0, 0.10]]"


def read_combine(r: Record) -> Combine | None:
    """A combine, None where its table has a problem. Bounds are assumed, to catch wrong units."""
    values = {
        "header_m": r.number("header", "length", low=1.0, high=20.0),
        "speed_kmh": r.number("speed", "speed", low=0.5, high=15.0),
        "efficiency": r.share("efficiency", 0.70),
        "tank_m3": r.number("tank", "volume", low=1.0, high=30.0),
        "unload_m3_s": r.number("unload", "unloading", low=0.005, high=0.5),
        "loaded_t": r.number(
            "loaded_weight", "weight", default=Combine.loaded_t, low=3.0, high=60.0
        ),
    }
    flow = r.maybe("grain_flow", "flow", low=1.0, high=200.0)
    down = read_down(r)
    return None if r.failed else Combine(id=r.text("id"), flow_t_h=flow, down=down, **values)


def read_cart(r: Record) -> Cart | None:
    """A grain cart, None where its table has a problem."""
    values = {
        "capacity_m3": r.number("capacity", "volume", low=2.0, high=120.0),
        "unload_m3_s": r.number("unload", "unloading", low=0.01, high=1.5),
        "loaded_t": r.number("loaded_weight", "weight", default=Cart.loaded_t, low=2.0, high=110.0),
    }
    down = read_down(r)
    return None if r.failed else Cart(id=r.text("id"), down=down, **values)


def read_truck(r: Record) -> Truck | None:
    """A truck, None where its table has a problem."""
    loaded, empty = Truck.loaded_kmh, Truck.empty_kmh
    values = {
        "capacity_m3": r.number("capacity", "volume", low=1.0, high=120.0),
        "payload_t": r.number("payload", "weight", low=0.5, high=70.0),
        "loaded_kmh": r.number("loaded_speed", "speed", default=loaded, low=5.0, high=130.0),
        "empty_kmh": r.number("empty_speed", "speed", default=empty, low=5.0, high=130.0),
    }
    down = read_down(r)
    return None if r.failed else Truck(id=r.text("id"), down=down, **values)


def read_crew(r: Record) -> Crew | None:
    """A crew, None where its table has a problem."""
    people = r.number("people", low=1.0, high=200.0)
    most = r.number("hours_max_day", default=Crew.hours_max_day, low=1.0, high=24.0)
    week, fixed, absent = read_week(r), r.truth("fixed"), read_days(r, "absent")
    combines, carts, trucks = r.ids("combines"), r.ids("carts"), r.ids("trucks")
    if r.failed:
        return None
    return Crew(
        id=r.text("id"), combines=combines, carts=carts, trucks=trucks, week=week,
        people=int(people), fixed=fixed, hours_max_day=most, absent=absent,
    )  # fmt: skip


def read_point(r: Record) -> DeliveryPoint | None:
    """A delivery point with its markets, None where its tables have a problem."""
    lat, lon = r.maybe("lat", low=-90.0, high=90.0), r.maybe("lon", low=-180.0, high=180.0)
    distance = r.maybe("distance", "distance", low=0.0, high=2000.0)
    if (lat is None) != (lon is None) or (lat is None and distance is None):
        r.fault("lat", "has no place", "give lat and lon, or its distance from the base")
    queue = r.number("queue_min", default=DeliveryPoint.queue_min, low=0.0, high=1440.0)
    unload = r.number("unload_min", default=DeliveryPoint.unload_min, low=0.0, high=240.0)
    room, own, week = r.maybe("room", "mass", low=0.0), r.truth("own"), read_week(r)
    markets = _markets(r)
    if r.failed:
        return None
    return DeliveryPoint(
        id=r.text("id"), lat=lat, lon=lon, week=week, markets=markets, queue_min=queue,
        unload_min=unload, distance_km=distance, capacity_t=room, own=own,
    )  # fmt: skip


def _markets(r: Record) -> dict[str, Market]:
    markets: dict[str, Market] = {}
    count = 0
    for count, m in enumerate(r.tables("market", f"{r.row} "), start=1):  # noqa: B007
        crop = m.choice("crop", CROP_NAMES)
        if crop in markets:
            m.fault("crop", f'crop "{crop}" has two markets here', "keep one")
        if crop is not None:
            markets[crop] = read_market(m, crop)
            m.rest()
        r.failed = r.failed or m.failed
    if not count:
        r.fault("market", "takes no crop", "add [[point.market]] with crop and price")
    return markets


def read_market(r: Record, crop: str) -> Market:
    """What a point pays for a crop; where `r` failed, not to be used."""
    base = r.percent("moisture_base", low=5.0, high=25.0)
    limit = r.percent("moisture_limit", low=5.0, high=40.0)
    if limit is None:
        r.missing("moisture_limit", "the moisture in % above which loads are turned away")
    base = CROPS[crop].base_moisture if base is None else base
    if limit is not None and limit < base:
        r.fault("moisture_limit", f"moisture_limit {limit:g}% is below the base {base:g}%",
                "correct one of them")  # fmt: skip
    return Market(
        price_t=r.number("price", "price", above=0.0, crop=crop),
        moisture_base_pct=base,
        moisture_limit_pct=limit or base,
        moisture_discount=read_schedule(r, "moisture_discount", crop, lambda a: a),
        drying_t_point=r.maybe("drying", "price", low=0.0, crop=crop),
        test_weight_discount=read_schedule(
            r,
            "test_weight_discount",
            crop,
            lambda a: kg_hl(a, crop) if r.custom.units == "us" else a,
        ),
        sprout_discount=read_schedule(r, "sprout_discount", crop, lambda a: a / 100.0),
        shrink_pct_point=r.percent("shrink_a_point", low=0.0, high=5.0),
    )


def read_schedule(r: Record, name: str, crop: str, scale: Callable[[float], float]) -> Schedule:
    """Steps [threshold, money off], thresholds rising and the worse grain losing more."""
    hit = r.found(name, ("per_bu", "per_t"))
    if hit is None:
        return Schedule()
    value, key, unit = hit
    try:
        steps = [(float(a), float(b)) for a, b in value]  # type: ignore[attr-defined]
    except (TypeError, ValueError, OverflowError):
        r.fault(key, f"{name} is not a list of pairs", _PAIRS)
        return Schedule()
    money = si_per_unit("price", unit or r.usual("price"), crop)
    at = [a for a, _ in steps]
    off = [b for _, b in steps][:: -1 if name == "test_weight_discount" else 1]
    if not all(0 <= a <= 100 for a in at) or not all(0 <= b < 1e6 for b in off):
        r.fault(key, f"{name} has a number below 0 or out of reason", _PAIRS)
    elif any(b <= a for a, b in pairwise(at)):
        r.fault(key, f"the thresholds of {name} do not rise", "put them in rising order")
    elif any(b < a for a, b in pairwise(off)):
        r.fault(key, f"{name} takes less off worse grain", "correct the money of its steps")
    return Schedule(steps=tuple((scale(a), b * money) for a, b in steps))


def read_week(r: Record) -> Week:
    """Hours by weekday: one text for every day, or a table by day, weekdays, weekend."""
    value = r.plain("hours")
    if value is None:
        r.missing("hours", 'them as "07:00-21:00", or by weekday')
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
            r.fault("hours", f'"{name}" is not a day', "use mon to sun, weekdays or weekend")
    spans = {text: read_hours(r, "hours", text) for text in dict.fromkeys(texts.values())}
    return tuple(spans[texts[i]] if i in texts else None for i in range(7))


def read_hours(r: Record, key: str, text: str) -> DailySpan | None:
    """Hours of a day, None where closed or (noted) wrong."""
    try:
        return read_daily_span(text)
    except UnreadableError as error:
        r.fault(key, error.message, error.remedy)
        return None


def read_days(r: Record, name: str) -> tuple[date, ...]:
    """A list of dates."""
    out = []
    for value in r.listed(name):
        try:
            day = value if isinstance(value, date) else read_date(str(value), r.custom.order)
            out.append(day.date() if isinstance(day, datetime) else day)
        except UnreadableError as error:
            r.fault(name, error.message, error.remedy)
    return tuple(out)


def read_down(r: Record) -> tuple[tuple[datetime, datetime], ...]:
    """Breakdowns: a list of [from, until], UTC."""
    out = []
    for pair in r.listed("down"):
        try:
            first, last = (r.instant_of(v, "down")[0] for v in pair)
            if last <= first:
                raise UnreadableError(f"{pair[1]} is not after {pair[0]}", "swap them")
            out.append((first, last))
        except UnreadableError as error:
            r.fault("down", error.message, error.remedy)
        except (TypeError, ValueError):
            r.fault("down", f"{pair} is not a pair of times",
                    'write it as [["2026-08-12 06:00", "2026-08-13 12:00"]]')  # fmt: skip
    return tuple(out)
