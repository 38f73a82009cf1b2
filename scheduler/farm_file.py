"""farm.toml: everything about the farm but its fields."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time
from itertools import pairwise
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from readiness.crops import CROPS
from scheduler.dates import read_date, read_span
from scheduler.errors import Unreadable
from scheduler.farm import (
    Cart,
    Combine,
    Crew,
    DeliveryPoint,
    Market,
    Moves,
    Rules,
    Schedule,
    Span,
    Truck,
    Week,
)
from scheduler.record import Custom, Problem, Record
from scheduler.units import factor, kg_hl, spelled
from scheduler.vocabulary import CROP_NAMES

FILE = "farm.toml"
T = TypeVar("T")
DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_GROUPS = {"weekdays": range(5), "weekend": range(5, 7), "daily": range(7)}
_CURRENCY = "$"


@dataclass(frozen=True, kw_only=True)
class Gauge:
    """A rain gauge. Days of one that is read by hand run from `read_at` to `read_at`."""

    lat: float
    lon: float
    read_at: time = time(0)


@dataclass(frozen=True, kw_only=True)
class Settings:
    """What farm.toml says; the parts that could be read."""

    custom: Custom
    name: str
    currency: str
    base_lat: float
    base_lon: float
    elevation_m: float
    combines: tuple[Combine, ...]
    carts: tuple[Cart, ...]
    trucks: tuple[Truck, ...]
    crews: tuple[Crew, ...]
    points: tuple[DeliveryPoint, ...]
    rules: Rules
    moves: Moves
    losses: dict[str, dict[str, float]] = field(default_factory=dict)
    gauges: dict[str, Gauge] = field(default_factory=dict)
    ids: dict[str, tuple[str, ...]] = field(default_factory=dict)  # all named, readable or not


def read_settings(text: str, problems: list[Problem]) -> Settings | None:
    """Read farm.toml, adding whatever is wrong to `problems`; None if it is no TOML at all."""
    try:
        tree = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        line = re.search(r"line (\d+)", str(error))
        what = re.sub(r" \(at .*\)", "", str(error))
        problems.append(
            Problem(file=FILE, row=line[1] if line else "", column="",
                    message=f"is not valid TOML: {what[:1].lower()}{what[1:120]}",
                    remedy="correct that line, or the one above it")
        )  # fmt: skip
        return None
    except (RecursionError, ValueError):
        problems.append(
            Problem(file=FILE, row="", column="", message="is not valid TOML",
                    remedy="start from the file that `afterrain new` writes")
        )  # fmt: skip
        return None
    return _Reader(tree, problems).settings()


class _Reader:
    """The parsed file on its way to `Settings`."""

    def __init__(self, tree: dict[str, Any], problems: list[Problem]) -> None:
        self.problems = problems
        self.ids: dict[str, tuple[str, ...]] = {}
        self.custom = Custom(units="us", tz=ZoneInfo("UTC"))
        self.top = self.record(tree, "")
        self.custom = self.top.custom = self.how()

    def record(self, values: Mapping[str, Any], row: str) -> Record:
        return Record(values, self.custom, self.problems, file=FILE, row=row)

    def how(self) -> Custom:
        """Units, time zone and order of dates."""
        top = self.top
        units = top.choice("units", {"us": "us", "metric": "metric"})
        order = top.choice("date_order", {"mdy": "mdy", "dmy": "dmy", "": None}, default=None) \
            if top.text("date_order") else None  # fmt: skip
        name, tz = top.text("time_zone", None), ZoneInfo("UTC")
        try:
            tz = ZoneInfo(name) if name else tz
        except (ValueError, OSError, LookupError):
            top.fault("time_zone", f'time zone "{name}" is not known',
                      'use a name such as "America/Chicago"')  # fmt: skip
        return Custom(units=units or "us", tz=tz, order=order)  # type: ignore[arg-type]

    def table(self, owner: Record, name: str, row: str) -> Record:
        """A sub-table as a record; empty where absent."""
        value = owner.values.get(name, {})
        owner.used.add(name)
        if not isinstance(value, dict):
            owner.fault(name, f"{name} is not a table", f"write it under a line [{name}]")
            value = {}
        return self.record(value, row)

    def tables(self, owner: Record, name: str, row: str = "") -> Iterator[Record]:
        """A list of tables as records, named after their ids."""
        value = owner.values.get(name, [])
        owner.used.add(name)
        if not isinstance(value, list) or not all(isinstance(v, dict) for v in value):
            owner.fault(name, f"{name} is not a list of tables", f"begin each with [[{name}]]")
            value = []
        for n, one in enumerate(value, start=1):
            label = one.get("id", one.get("crop", n))
            yield self.record(one, f'{row}[[{name}]] "{label}"')

    def settings(self) -> Settings:
        top = self.top
        base = self.table(top, "base", "[base]")
        lat, lon = position(base)
        elevation = base.number("elevation", "length", default=300.0, low=-500.0, high=5000.0)
        out = Settings(
            custom=self.custom,
            name=top.text("name", None),
            currency=top.text("currency") or _CURRENCY,
            base_lat=lat,
            base_lon=lon,
            elevation_m=elevation,
            combines=self.each("combine", self.combine),
            carts=self.each("cart", self.cart),
            trucks=self.each("truck", self.truck),
            crews=self.each("crew", self.crew),
            points=self.each("point", self.point),
            rules=self.rules(),
            moves=self.moves(),
            losses=self.losses(),
            gauges=self.gauges(),
            ids=self.ids,
        )
        for record in (base, top):
            record.rest(["combine", "cart", "truck", "crew", "point", "gauge", "rules", "moves"])
        return out

    def each(self, name: str, read: Callable[[Record], T]) -> tuple[T, ...]:
        """Every table of a list that can be read, ids being unique."""
        out: list[T] = []
        seen: dict[str, None] = {}
        for record in self.tables(self.top, name):
            own = record.text("id", None)
            if own and own in seen:
                record.fault("id", f'{name} "{own}" stands there twice', "give each its own id")
            seen[own] = None
            thing = read(record)
            record.rest()
            if not record.failed:
                out.append(thing)
        self.ids[name] = tuple(seen)
        return tuple(out)

    def combine(self, r: Record) -> Combine:
        return _built(r, Combine, {
            "id": r.text("id"),
            "header_m": r.number("header", "length", low=1.0, high=20.0),
            "speed_kmh": r.number("speed", "speed", low=0.5, high=15.0),
            "efficiency": r.share("efficiency", 0.70),
            "tank_m3": r.number("tank", "volume", low=1.0, high=30.0),
            "unload_m3_s": r.number("unload", "unloading", low=0.005, high=0.5),
            "flow_t_h": r.maybe("grain_flow", "flow", low=1.0, high=200.0),
            "loaded_t": r.number(
                "loaded_weight", "weight", default=Combine.loaded_t, low=3.0, high=60.0),
            "down": self.down(r),
        })  # fmt: skip

    def cart(self, r: Record) -> Cart:
        return _built(r, Cart, {
            "id": r.text("id"),
            "capacity_m3": r.number("capacity", "volume", low=2.0, high=120.0),
            "unload_m3_s": r.number("unload", "unloading", low=0.01, high=1.5),
            "loaded_t": r.number(
                "loaded_weight", "weight", default=Cart.loaded_t, low=2.0, high=110.0),
            "down": self.down(r),
        })  # fmt: skip

    def truck(self, r: Record) -> Truck:
        return _built(r, Truck, {
            "id": r.text("id"),
            "capacity_m3": r.number("capacity", "volume", low=1.0, high=120.0),
            "payload_t": r.number("payload", "weight", low=0.5, high=70.0),
            "loaded_kmh": r.number(
                "loaded_speed", "speed", default=Truck.loaded_kmh, low=5.0, high=130.0),
            "empty_kmh": r.number(
                "empty_speed", "speed", default=Truck.empty_kmh, low=5.0, high=130.0),
            "down": self.down(r),
        })  # fmt: skip

    def crew(self, r: Record) -> Crew:
        people = r.number("people", low=1.0, high=200.0)
        return _built(r, Crew, {
            "id": r.text("id"),
            "combines": r.ids("combines"),
            "carts": r.ids("carts"),
            "trucks": r.ids("trucks"),
            "week": self.week(r),
            "people": int(people) if people == people else 0,
            "fixed": r.truth("fixed"),
            "hours_max_day": r.number(
                "most_hours_a_day", default=Crew.hours_max_day, low=1.0, high=24.0),
            "absent": self.days(r, "absent"),
        })  # fmt: skip

    def point(self, r: Record) -> DeliveryPoint:
        lat, lon = r.maybe("lat", low=-90.0, high=90.0), r.maybe("lon", low=-180.0, high=180.0)
        distance = r.maybe("distance", "distance", low=0.0, high=2000.0)
        if (lat is None) != (lon is None) or (lat is None and distance is None):
            r.fault("lat", "has no place", "give lat and lon, or its distance from the base")
        markets: dict[str, Market] = {}
        for m in self.tables(r, "market", f"{r.row} "):
            crop = m.choice("crop", CROP_NAMES)
            if crop in markets:
                m.fault("crop", f'crop "{crop}" has two markets here', "keep one")
            if crop is not None:
                markets[crop] = self.market(m, crop)
            m.rest()
            r.failed = r.failed or m.failed
        if not markets:
            r.fault("market", "takes no crop", "add [[point.market]] with crop and price")
        return _built(r, DeliveryPoint, {
            "id": r.text("id"), "lat": lat, "lon": lon, "distance_km": distance,
            "week": self.week(r),
            "markets": markets,
            "queue_min": r.number(
                "queue_min", default=DeliveryPoint.queue_min, low=0.0, high=1440.0),
            "unload_min": r.number(
                "unload_min", default=DeliveryPoint.unload_min, low=0.0, high=240.0),
            "capacity_t": r.maybe("room", "mass", low=0.0),
            "own": r.truth("own"),
        })  # fmt: skip

    def market(self, r: Record, crop: str) -> Market:
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
            moisture_discount=self.schedule(r, "moisture_discount", crop),
            drying_t_point=r.maybe("drying", "price", low=0.0, crop=crop),
            test_weight_discount=self.schedule(r, "test_weight_discount", crop),
            sprout_discount=self.schedule(r, "sprout_discount", crop),
            shrink_pct_point=r.percent("shrink_a_point", low=0.0, high=5.0),
        )

    def schedule(self, r: Record, name: str, crop: str) -> Schedule:
        """Steps [threshold, money], thresholds rising and the worse grain losing more."""
        hit = r.found(name, ("per_bu", "per_t"))
        if hit is None:
            return Schedule()
        value, key, unit = hit
        form = "write it as [[13.5, 0.05], [14.0, 0.10]]"
        try:
            steps = [(float(a), float(b)) for a, b in value]  # type: ignore[attr-defined]
        except (TypeError, ValueError, OverflowError):
            r.fault(key, f"{name} is not a list of pairs", form)
            return Schedule()
        money = factor("price", unit or r._unit("price"), crop)
        at = [a for a, _ in steps]
        off = [b for _, b in steps][:: -1 if name == "test_weight_discount" else 1]
        if not all(0 <= a < 101 for a in at) or not all(0 <= b < 1e9 for b in off):
            r.fault(key, f"{name} has a number below 0 or out of reason", form)
        elif any(b <= a for a, b in pairwise(at)):
            r.fault(key, f"the thresholds of {name} do not rise", "put them in rising order")
        elif any(b < a for a, b in pairwise(off)):
            r.fault(key, f"{name} takes less off worse grain", "correct the money of its steps")
        us = self.custom.units == "us"
        scale: Callable[[float], float] = {
            "moisture_discount": lambda a: a,
            "test_weight_discount": lambda a: kg_hl(a, crop) if us else a,
            "sprout_discount": lambda a: a / 100.0,
        }[name]
        return Schedule(steps=tuple((scale(a), b * money) for a, b in steps))

    def rules(self) -> Rules:
        r = self.table(self.top, "rules", "[rules]")
        limits = self.table(r, "thresh_limit_pct", "[rules.thresh_limit_pct]")
        by_crop: dict[str, float] = {}
        for name in list(limits.values):
            crop = CROP_NAMES.get(name)
            if crop is None:
                continue
            if (value := limits.percent(name, low=5.0, high=40.0)) is not None:
                by_crop[crop] = value
        limits.rest(CROP_NAMES)
        objective = r.choice("objective", {"mean": "mean", "cautious": "cautious"}, "mean")
        out = _built(r, Rules, {
            "thresh_limit_pct": by_crop,
            "tough_allowed": r.truth("tough_allowed", True),
            "fire_index_stop": r.maybe("fire_index_stop", above=0.0, high=200.0),
            "wind_stop_ms": r.maybe("wind_stop", "wind", above=0.0, high=60.0),
            "heat_index_stop_c": r.temperature("heat_index_stop"),
            "lightning_stop": r.truth("lightning_stop", True),
            "daylight_only": r.truth("daylight_only"),
            "road_forbidden": self.spans(r, "no_road_hours"),
            "objective": objective or "mean",
            "forecast_age_max_h": r.number(
                "oldest_forecast_h", default=Rules.forecast_age_max_h, above=0.0),
            "change_price": r.number("change_price", default=Rules.change_price, low=0.0),
        })  # fmt: skip
        r.rest()
        return out

    def moves(self) -> Moves:
        r = self.table(self.top, "moves", "[moves]")
        minutes = ("header_off_min", "header_on_min", "clean_variety_min", "clean_crop_min",
                   "clean_seed_min")  # fmt: skip
        given: dict[tuple[str, str], float] = {}
        for d in self.tables(r, "distance", "[moves] "):
            pair = d.text("from", None), d.text("to", None)
            given[pair] = d.number("distance", "distance", low=0.0, high=2000.0)
            d.rest()
        out = _built(r, Moves, {
            "road_kmh": r.number(
                "road_speed", "speed", default=Moves.road_kmh, low=3.0, high=100.0),
            **{n: r.number(n, default=getattr(Moves, n), low=0.0, high=600.0) for n in minutes},
            "distances_km": given,
        })  # fmt: skip
        r.rest()
        return out

    def losses(self) -> dict[str, dict[str, float]]:
        """The user's own loss terms per crop, named as in `scheduler.money.LOSSES`."""
        top = self.table(self.top, "losses", "[losses]")
        out: dict[str, dict[str, float]] = {}
        for name in list(top.values):
            crop = CROP_NAMES.get(name)
            if crop is None:
                continue
            r = self.table(top, name, f"[losses.{name}]")
            change = "test_weight_change"
            terms = {
                "test_weight_per_wetting": r.maybe("test_weight_per_wetting", change, low=0.0),
                "test_weight_loss_max": r.maybe("test_weight_loss_max", change, low=0.0),
                "rut_ha": r.maybe("rut", "money_area", low=0.0),
                "leave_days": r.maybe("leave_days", low=0.0, high=365.0),
                "leave_share": self.share(r, "leave_share"),
                "leave_wettings_day": r.maybe("leave_wettings_day", low=0.0, high=24.0),
                "shatter_day": self.share(r, "shatter_day"),
            }
            r.rest()
            out[crop] = {k: v for k, v in terms.items() if v is not None}
        top.rest(CROP_NAMES)
        return out

    def share(self, r: Record, name: str) -> float | None:
        """A share, None where absent."""
        return r.share(name) if r.found(name, ("pct", "percent")) else None

    def gauges(self) -> dict[str, Gauge]:
        out: dict[str, Gauge] = {}
        for r in self.tables(self.top, "gauge"):
            own = r.text("id", None)
            if own in out:
                r.fault("id", f'gauge "{own}" stands there twice', "give each its own id")
            lat, lon = position(r)
            at = r.values.get("read_at", time(0))
            r.used.add("read_at")
            try:
                read_at = at if isinstance(at, time) else time.fromisoformat(str(at))
            except ValueError:
                r.fault("read_at", f'"{at}" is not a time of day', "write it as 07:00")
                read_at = time(0)
            r.rest()
            if not r.failed:
                out[own] = Gauge(lat=lat, lon=lon, read_at=read_at)
        return out

    def week(self, r: Record) -> Week:
        """Hours by weekday: one text for every day, or a table by day, weekdays, weekend."""
        value = r.values.get("hours")
        r.used.add("hours")
        if value is None:
            r.missing("hours", 'them as "07:00-21:00", or by weekday')
            return (None,) * 7
        by_name = value if isinstance(value, dict) else {"daily": value}
        week: list[Span | None] = [None] * 7
        ordered = sorted(by_name.items(), key=lambda kv: -len(_GROUPS.get(spelled(kv[0]), ())))
        for name, text in ordered:
            day = spelled(name)
            if day not in _GROUPS and day[:3] not in DAYS:
                r.fault("hours", f'"{name}" is not a day', "use mon to sun, weekdays or weekend")
                continue
            span = self.span(r, "hours", text)
            for i in _GROUPS.get(day, (DAYS.index(day[:3]),) if day not in _GROUPS else ()):
                week[i] = span
        return tuple(week)

    def span(self, r: Record, key: str, text: object) -> Span | None:
        try:
            return read_span(str(text))
        except Unreadable as error:
            r.fault(key, error.message, error.remedy)
            return None

    def spans(self, r: Record, name: str) -> tuple[Span, ...]:
        found = [self.span(r, name, text) for text in r.ids(name)]
        return tuple(s for s in found if s is not None)

    def listed(self, r: Record, name: str) -> list[Any]:
        value = r.values.get(name, [])
        r.used.add(name)
        if not isinstance(value, list):
            r.fault(name, f"{name} is not a list", "write it in square brackets")
            return []
        return value

    def days(self, r: Record, name: str) -> tuple[date, ...]:
        """A list of dates."""
        out = []
        for value in self.listed(r, name):
            try:
                day = value if isinstance(value, date) else read_date(str(value), self.custom.order)
                out.append(day.date() if isinstance(day, datetime) else day)
            except Unreadable as error:
                r.fault(name, error.message, error.remedy)
        return tuple(out)

    def down(self, r: Record) -> tuple[tuple[datetime, datetime], ...]:
        """Breakdowns: a list of [from, until]."""
        out = []
        for pair in self.listed(r, "down"):
            try:
                first, last = (r.instant_of(v, "down")[0] for v in pair)
                if last <= first:
                    raise Unreadable(f"{pair[1]} is not after {pair[0]}", "swap them")
                out.append((first, last))
            except Unreadable as error:
                r.fault("down", error.message, error.remedy)
            except (TypeError, ValueError):
                r.fault("down", f"{pair} is not a pair of times",
                        'write it as [["2026-08-12 06:00", "2026-08-13 12:00"]]')  # fmt: skip
        return tuple(out)


def position(r: Record) -> tuple[float, float]:
    """Latitude and longitude of a record, needed."""
    return (r.number("lat", low=-90.0, high=90.0), r.number("lon", low=-180.0, high=180.0))


def _built(record: Record, kind: Callable[..., T], values: dict[str, Any]) -> T:
    """Build a part of the farm; of a failed record an unchecked shell that is thrown away."""
    if record.failed:
        return object.__new__(kind)  # type: ignore[arg-type]
    return kind(**values)
