"""Entries as people read them, in the farm's units."""

from __future__ import annotations

from datetime import datetime

from scheduler.farm.model import Farm
from scheduler.farm.units import (
    DEFAULT_UNITS,
    SI_PER_UNIT,
    from_si,
    lb_bu,
    short_number,
    show_area,
    show_depth,
    show_mass,
    show_money,
    show_number,
    show_price,
    show_test_weight,
    unit_name,
)
from scheduler.farm.wording import clock, day_and_time, mid_sentence
from scheduler.language.locale_formats import decimal_mark
from scheduler.language.translation import _
from scheduler.season_book.entry_kinds import KINDS, Entry, Fact, Value, crop_of, is_day


def default_unit(fact: Fact, farm: Farm) -> str:
    """The unit of a number that is written without one."""
    special = {
        "percent": "%",
        "test_weight": "kg/hL" if farm.units == "metric" else "lb/bu",
        "money": farm.currency,
        "number": "",
        "hours": "h",
    }
    if fact.quantity in special:
        return special[fact.quantity]
    if fact.quantity not in DEFAULT_UNITS:
        return ""
    return unit_name(fact.quantity, farm.units).replace("per_", f"{farm.currency}/")


def is_time(fact: Fact, value: str) -> bool:
    """Whether the text of a fact is a time, and no day."""
    return fact.quantity == "time" or (fact.quantity == "day_or_time" and not is_day(value))


def show_fact(fact: Fact, value: Value, farm: Farm, crop: str) -> str:
    """A value as people read it; `crop` is for units by the bushel."""
    if isinstance(value, tuple):
        return ", ".join(value)
    if isinstance(value, str):
        if is_time(fact, value):
            return day_and_time(datetime.fromisoformat(value).astimezone(farm.tz), farm.units)
        if fact.quantity == "day_or_time":
            return _("the end of {day}", day=value)
        return _(value) if fact.quantity == "choice" else value
    units, number = farm.units, float(value)
    if fact.quantity == "depth":
        return show_depth(number, units)
    if fact.quantity == "area":
        return show_area(number, units)
    if fact.quantity == "mass":
        return show_mass(number, crop, units)
    if fact.quantity == "price":
        return show_price(number, crop, units, farm.currency)
    if fact.quantity == "money":
        return show_money(number, farm.currency)
    if fact.quantity == "percent":
        return f"{show_number(number, 1)} %"
    if fact.quantity == "test_weight":
        return show_test_weight(number, crop, units)
    return f"{short_number(number)} h" if fact.quantity == "hours" else short_number(number)


def write_value(fact: Fact, value: Value, farm: Farm, crop: str) -> str:
    """A value in the farm's units as `read_value` reads it back, without loss, in that language."""
    if isinstance(value, tuple):
        return "; ".join(value)
    if isinstance(value, str):
        if is_time(fact, value):
            return datetime.fromisoformat(value).astimezone(farm.tz).isoformat(timespec="minutes")
        return value
    number = float(value)
    if fact.quantity == "test_weight" and farm.units == "us":
        number = lb_bu(number, crop)
    elif fact.quantity in SI_PER_UNIT:
        number = from_si(number, fact.quantity, farm.units, crop)
    return f"{number:.12f}".rstrip("0").rstrip(".").replace(".", decimal_mark())


def entry_text(entry: Entry, farm: Farm) -> str:
    """An entry in one line: 'grain sample F07: moisture 16.8 %, test weight 59.0 lb/bu'."""
    kind = KINDS[entry.kind]
    crop = crop_of(farm, entry.subject, entry.facts)
    values = [(f, entry.facts[f.name]) for f in kind.facts if f.name in entry.facts]
    parts = [
        show_fact(f, v, farm, crop)
        if f.quantity in ("choice", "text", "fields") or f.label == kind.label
        else f"{mid_sentence(_(f.label))} {show_fact(f, v, farm, crop)}"
        for f, v in values
    ]
    head = f"{mid_sentence(_(kind.label))} {entry.subject}".strip()
    return f"{head}: {', '.join(parts)}" if parts else head


def entry_time_text(entry: Entry, farm: Farm, now: datetime) -> str:
    """Farm time of an entry; see `wording.clock`."""
    return clock(entry.at.astimezone(farm.tz), now.astimezone(farm.tz), farm.units)
