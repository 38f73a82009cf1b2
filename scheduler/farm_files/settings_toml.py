"""farm.toml: the whole farm but its fields."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import time
from typing import TypeVar
from zoneinfo import ZoneInfo

from scheduler.errors import Problem
from scheduler.farm.model import (
    Cart,
    Combine,
    Crew,
    DeliveryPoint,
    Moves,
    Person,
    Position,
    Rules,
    Truck,
)
from scheduler.farm.units import SI_PER_UNIT, Units, normalized_name
from scheduler.farm_files.dates import DateOrder
from scheduler.farm_files.equipment_toml import (
    read_cart,
    read_combine,
    read_crew,
    read_days_off,
    read_hours,
    read_person,
    read_point,
    read_truck,
    without_days,
)
from scheduler.farm_files.fields_csv import MAX_FIELD_HA
from scheduler.farm_files.named_values import Notation
from scheduler.farm_files.record import Record
from scheduler.farm_files.vocabulary import CROP_NAMES
from scheduler.language.translation import LANGUAGES, SOURCE

FILE = "farm.toml"
T = TypeVar("T")
_UNITS: dict[str, Units] = {"us": "us", "metric": "metric"}
_ORDERS: dict[str, DateOrder] = {"mdy": "mdy", "dmy": "dmy"}
_LANGUAGES = {code: code for code in LANGUAGES}
_PARTS = (
    "combine",
    "cart",
    "truck",
    "crew",
    "person",
    "point",
    "gauge",
    "rules",
    "moves",
    "losses",
    "base",
)


@dataclass(frozen=True, kw_only=True)
class Gauge:
    """A rain gauge; a reading by date alone covers the day that ends at `read_at`, farm time."""

    lat: float
    lon: float
    read_at: time = time(0)


@dataclass(frozen=True, kw_only=True)
class Settings:
    """The content of farm.toml, as far as it can be read; see `scheduler.farm.model.Farm`.

    `ids` are all ids by kind of table, those of tables with a problem included.
    """

    notation: Notation
    name: str
    currency: str
    language: str
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
    losses: dict[str, dict[str, float]]
    gauges: dict[str, Gauge]
    ids: dict[str, tuple[str, ...]]


def read_settings(text: str, problems: list[Problem]) -> Settings | None:
    """The content of farm.toml; None where it is no TOML. Problems are added to `problems`."""
    try:
        tree = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # a TOML error is a ValueError
        line = re.search(r"line (\d+)", str(error))
        fault = re.sub(r" \(at .*\)", "", str(error))
        problems.append(
            Problem(
                file=FILE,
                row=line[1] if line else "",
                message=f"is not valid TOML: {fault[:1].lower()}{fault[1:120]}",
                remedy="correct that line, or the one above it",
            )
        )
        return None
    if not tree:
        remedy = "write it, or start from the one that `afterrain new` writes"
        problems.append(Problem(file=FILE, message="is empty", remedy=remedy))
        return None
    top = Record(tree, Notation(units="us", tz=ZoneInfo("UTC")), problems, file=FILE)
    top.notation = _notation(top)
    settings = _settings(top)
    top.note_unused(_PARTS)
    return settings


def _notation(top: Record) -> Notation:
    """Units, time zone and order of dates."""
    units = top.choice("units", _UNITS)
    order = top.choice("date_order", _ORDERS) if top.text("date_order") else None
    name, tz = top.text("time_zone"), ZoneInfo("UTC")
    if not name:
        top.note_missing("time_zone", 'a name such as "America/Chicago"')
    try:
        tz = ZoneInfo(name) if name else tz
    except (ValueError, OSError, LookupError):
        top.note(
            "time_zone", f'time zone "{name}" is not known', 'use a name such as "America/Chicago"'
        )
    return Notation(units=units or "us", tz=tz, order=order)


def _settings(top: Record) -> Settings:
    """Everything but the notation, which `top` carries."""
    base = top.table("base", "[base]")
    lat, lon = _position(base)
    elevation = base.number("elevation", "length", default=300.0, low=-500.0, high=5000.0)
    base.note_unused()
    ids: dict[str, tuple[str, ...]] = {}
    crews = _each(top, "crew", read_crew, ids)
    people = _each(top, "person", read_person, ids)
    rules = top.table("rules", "[rules]")
    off = read_days_off(rules)
    return Settings(
        notation=top.notation,
        name=top.text("name", None),
        currency=top.text("currency", "$"),
        language=top.choice("language", _LANGUAGES, SOURCE) or SOURCE,
        base_lat=lat,
        base_lon=lon,
        elevation_m=elevation,
        combines=tuple(_each(top, "combine", read_combine, ids).values()),
        carts=tuple(_each(top, "cart", read_cart, ids).values()),
        trucks=tuple(_each(top, "truck", read_truck, ids).values()),
        crews=_staffed(top, crews, people, ids["crew"], off),
        points=tuple(_each(top, "point", read_point, ids).values()),
        gauges=_each(top, "gauge", read_gauge, ids),
        rules=read_rules(rules),
        moves=read_moves(top.table("moves", "[moves]")),
        losses=read_losses(top.table("losses", "[losses]")),
        ids=ids,
    )


def _each(
    top: Record, name: str, read: Callable[[Record], T | None], ids: dict[str, tuple[str, ...]]
) -> dict[str, T]:
    """The tables of a list that can be read, by id.

    `ids` takes up all ids under `name`, those of tables with a problem included.
    """
    parts: dict[str, T] = {}
    seen: list[str] = []
    spelled: dict[str, str] = {}
    for record in top.tables(name):
        own = record.text("id", None)
        key = normalized_name(own) or own
        if own and own in seen:
            record.note("id", f'{name} "{own}" is there twice', "give each its own id")
        elif (other := spelled.setdefault(key, own)) != own:
            message = f'"{own}" and "{other}" differ in capitals or signs only'
            record.note("id", message, "give each its own id")
        seen.append(own)
        part = read(record)
        record.note_unused()
        if part is not None and not record.failed:
            parts[own] = part
    ids[name] = tuple(dict.fromkeys(seen))
    return parts


def _staffed(
    top: Record,
    crews: dict[str, Crew],
    people: dict[str, tuple[str, Person]],
    known: Sequence[str],
    off: Sequence[int],
) -> tuple[Crew, ...]:
    """The crews with their people, and without work on the farm's days off.

    Parameters
    ----------
    crews : crews that can be read, by id, with 0 people where the file gives no number.
    people : persons with a name, each with the id of the crew.
    known : ids of all crews, those with a problem included.
    """
    named: dict[str, list[Person]] = {}
    for crew_id, person in people.values():
        named.setdefault(crew_id, []).append(person)
        if crew_id not in known:
            where = f'[[person]] "{person.id}"'
            message = f'there is no crew "{crew_id}"'
            top.note_at(where, "crew", message, "use the id of a [[crew]]")
    out = []
    for crew in crews.values():
        own = tuple(named.get(crew.id, ()))
        count, where = crew.people or len(own), f'[[crew]] "{crew.id}"'
        if count == 0:
            remedy = "give their number, or a [[person]] for each"
            top.note_at(where, "people", "people is missing", remedy)
        elif count < len(own):
            message = f"people is {count}, but {len(own)} have a name"
            top.note_at(where, "people", message, "correct the number, or leave it out")
            count = len(own)
        week = without_days(crew.week, off)
        out.append(replace(crew, people=count, named=own, week=week))
    return tuple(out)


def _position(r: Record) -> Position:
    """The required position of a table."""
    return (r.number("lat", low=-90.0, high=90.0), r.number("lon", low=-180.0, high=180.0))


def read_gauge(r: Record) -> Gauge | None:
    """A rain gauge; None where its table has a problem."""
    lat, lon = _position(r)
    written = r.raw("read_at", time(0))
    try:
        read_at = written if isinstance(written, time) else time.fromisoformat(str(written))
    except ValueError:
        r.note("read_at", f'"{written}" is not a time of day', "write it as 07:00:00")
        return None
    return None if r.failed else Gauge(lat=lat, lon=lon, read_at=read_at)


def read_rules(r: Record) -> Rules:
    """Limits and stop rules."""
    thresh = _percent_by_crop(r, "thresh_limit_pct", low=5.0, high=40.0)
    straw = _percent_by_crop(r, "straw_limit_pct", low=30.0, high=100.0)
    spans = [read_hours(r, "no_road_hours", text) for text in r.id_list("no_road_hours")]
    objective = r.choice("objective", {"mean": "mean", "cautious": "cautious"}, "mean")
    age = r.number("forecast_age_max_h", default=Rules.forecast_age_max_h, above=0.0)
    rules = Rules(
        thresh_limit_pct=thresh,
        # at 100 straw never stops the combine
        straw_limit_pct={c: v if v < 100.0 else math.inf for c, v in straw.items()},
        tough_allowed=r.yes_no("tough_allowed", True),
        fire_index_stop=r.optional_number("fire_index_stop", above=0.0, high=200.0),
        wind_stop_ms=r.optional_number("wind_stop", "wind", above=0.0, high=60.0),
        heat_index_stop_c=r.temperature("heat_index_stop"),
        lightning_stop=r.yes_no("lightning_stop", True),
        daylight_only=r.yes_no("daylight_only"),
        road_forbidden=tuple(s for s in spans if s is not None),
        objective="cautious" if objective == "cautious" else "mean",
        forecast_age_max_h=age,
        change_price=r.number("change_price", default=Rules.change_price, low=0.0),
        share_from_ha=read_share_from(r),
    )
    r.note_unused()
    return rules


def _percent_by_crop(r: Record, name: str, *, low: float, high: float) -> dict[str, float]:
    """Percentages of a table of [rules], by crop."""
    table = r.table(name, f"[rules.{name}]")
    out: dict[str, float] = {}
    for word in sorted(CROP_NAMES.keys() & table.values.keys()):
        value = table.percent(word, low=low, high=high)
        if value is not None:
            out[CROP_NAMES[word]] = value
    table.note_unused(CROP_NAMES)
    return out


def read_share_from(r: Record) -> float | None:
    """Area from which two crews may cut a field at once, ha; None for never."""
    found = r.find("share_from", SI_PER_UNIT["area"])
    if found is not None and str(found.value).strip().lower() in ("false", "never"):
        return None
    area = r.optional_number("share_from", "area", low=0.0, high=MAX_FIELD_HA)
    return Rules.share_from_ha if area is None else area


def read_moves(r: Record) -> Moves:
    """Road speed, times of moving and cleaning, and the user's own distances."""

    def minutes(name: str) -> float:
        return r.number(name, default=getattr(Moves, name), low=0.0, high=600.0)

    distances: dict[tuple[str, str], float] = {}
    for d in r.tables("distance", "[moves] "):
        pair = d.text("from", None), d.text("to", None)
        distances[pair] = d.number("distance", "distance", low=0.0, high=2000.0)
        d.note_unused()
    moves = Moves(
        road_kmh=r.number("road_speed", "speed", default=Moves.road_kmh, low=3.0, high=100.0),
        header_off_min=minutes("header_off_min"),
        header_on_min=minutes("header_on_min"),
        header_change_min=minutes("header_change_min"),
        clean_variety_min=minutes("clean_variety_min"),
        clean_crop_min=minutes("clean_crop_min"),
        clean_seed_min=minutes("clean_seed_min"),
        distances_km=distances,
    )
    r.note_unused()
    return moves


def read_losses(top: Record) -> dict[str, dict[str, float]]:
    """The user's own loss terms by crop, named as in `scheduler.costs.grain_value.LOSSES`."""
    out: dict[str, dict[str, float]] = {}
    for name in sorted(CROP_NAMES.keys() & top.values.keys()):
        r = top.table(name, f"[losses.{name}]")
        change = "test_weight_change"
        terms = {
            "test_weight_per_wetting": r.optional_number(
                "test_weight_per_wetting", change, low=0.0
            ),
            "test_weight_loss_max": r.optional_number("test_weight_loss_max", change, low=0.0),
            "rut_ha": r.optional_number("rut", "money_area", low=0.0),
            "leave_days": r.optional_number("leave_days", low=0.0, high=365.0),
            "leave_share": r.optional_fraction("leave_share"),
            "leave_wettings_day": r.optional_number("leave_wettings_day", low=0.0, high=24.0),
            "shatter_day": r.optional_fraction("shatter_day"),
            "lodged_loss": r.optional_fraction("lodged_loss"),
            "header_dry_pct": r.percent("header_dry", low=0.0, high=25.0),
            "header_loss_point": r.optional_fraction("header_loss_point"),
            "header_loss_max": r.optional_fraction("header_loss_max"),
        }
        r.note_unused()
        crop = CROP_NAMES[name]
        out[crop] = {k: v for k, v in terms.items() if v is not None}
    top.note_unused(CROP_NAMES)
    return out
