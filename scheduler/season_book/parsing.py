"""What people write, read: texts to entries, all of it checked."""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

from scheduler.errors import EntryError, UnreadableError
from scheduler.farm.model import Farm
from scheduler.farm.units import (
    DEFAULT_UNITS,
    SI_PER_UNIT,
    kg_hl,
    normalized_name,
    show_area,
    si_per_unit,
)
from scheduler.farm.wording import one_line
from scheduler.farm_files.csv_table import read_number
from scheduler.farm_files.dates import farm_time_to_utc, read_time
from scheduler.season_book.formatting import show_fact
from scheduler.season_book.kinds import (
    KINDS,
    REMARK,
    Entry,
    Fact,
    Kind,
    Value,
    crop_of,
    subject_ids,
)

MAX_TEXT_CHARACTERS = (
    200  # characters; assumed, because a remark longer than that is not read in a cab
)
MAX_AGE = timedelta(days=400)  # a season back; assumed
MAX_AHEAD = timedelta(days=60)  # how far ahead an absence or a closure may be told; assumed
CLOCK_SLACK = timedelta(minutes=10)  # phones' clocks differ; assumed


def identify(farm: Farm, about: str, text: str) -> str:
    """The id a text means: in any case, a field by name too, or by a beginning only one has."""
    ids = subject_ids(farm, about)
    named = {normalized_name(i): i for i in ids}
    if about == "field":
        named |= {
            normalized_name(f.name): f.id
            for f in farm.fields
            if normalized_name(f.name) not in named
        }
    if text in ids:
        return text
    if (hit := named.get(normalized_name(text))) is not None:
        return hit
    begun = {
        i
        for name, i in named.items()
        if normalized_name(text) and name.startswith(normalized_name(text))
    }
    if len(begun) == 1:
        return begun.pop()
    if not text.strip():
        raise UnreadableError(f"the {about} is missing", f"name one of {_listed(ids)}")
    near = difflib.get_close_matches(normalized_name(text), named, n=1)
    hint = f'did you mean "{named[near[0]]}"? ' if near else ""
    raise UnreadableError(
        f'{about} "{one_line(text)[:40]}" is not known', f"{hint}known are {_listed(ids)}"
    )


def _listed(ids: Iterable[str]) -> str:
    names = list(ids)
    return ", ".join(names) if names else "none: the farm file has none"


def _scale(fact: Fact, unit: str, farm: Farm, crop: str) -> Callable[[float], float]:
    """From a number in `unit` ('' for the farm's own) to SI."""
    word = normalized_name(unit.replace('"', "in").replace("/", "_"))
    if fact.quantity == "test_weight":
        us = farm.units == "us" if not word else word in ("lb", "lb_bu", "lbs", "lbs_bu")
        if word and not us and word != "kg_hl":
            raise UnreadableError(f'"{unit}" is no unit of test weight', "use lb/bu or kg/hL")
        return (lambda v: kg_hl(v, crop)) if us else (lambda v: v)
    if fact.quantity not in SI_PER_UNIT:
        own = {"percent": ("pct", "percent"), "hours": ("h", "hours")}.get(fact.quantity, ())
        if word and word not in own:
            raise UnreadableError(f'"{unit}" is no unit here', "write the number alone")
        return lambda v: v
    usual = DEFAULT_UNITS[fact.quantity][farm.units == "metric"]
    if word and word not in SI_PER_UNIT[fact.quantity]:
        units = ", ".join(SI_PER_UNIT[fact.quantity])
        raise UnreadableError(f'"{unit}" is no unit here', f"use one of {units}")
    per = si_per_unit(fact.quantity, word or usual, crop)
    return lambda v: v * per


_NUMBER = re.compile(r"([^A-Za-z%\"]*)([A-Za-z%\"].*)?", re.DOTALL)


def read_value(fact: Fact, text: str, farm: Farm, *, crop: str, now: datetime) -> Value:
    """The value that a text means, SI; raises Unreadable."""
    if fact.quantity in _READ:
        return _READ[fact.quantity](fact, text, farm, now)
    match = _NUMBER.fullmatch(text.strip())
    assert match is not None  # the pattern takes any text
    if not match[1].strip():
        raise UnreadableError(f'"{one_line(text)[:40]}" is not a number', "write digits, as 12.5")
    scale = _scale(fact, (match[2] or "").strip(), farm, crop)
    try:
        number = read_number(match[1].strip(), ".")
    except (OverflowError, ValueError):
        raise UnreadableError(
            f'"{one_line(text)[:40]}" is not a number', "write digits, as 12.5"
        ) from None
    value = scale(number)
    if not (math.isfinite(value) and fact.low <= value <= fact.high):
        low, high = (show_fact(fact, b, farm, crop) for b in (fact.low, fact.high))
        raise UnreadableError(
            f"{one_line(text)[:40]} is outside of {low} to {high}", "check the number and its unit"
        )
    return value


def _choice(fact: Fact, text: str, farm: Farm, now: datetime) -> Value:
    words = {normalized_name(c): c for c in fact.choices}
    if (hit := words.get(normalized_name(text))) is not None:
        return hit
    raise UnreadableError(
        f'"{one_line(text)[:40]}" is not known', f"use one of {', '.join(fact.choices)}"
    )


def _text(fact: Fact, text: str, farm: Farm, now: datetime) -> Value:
    clean = one_line(text)
    if len(clean) > MAX_TEXT_CHARACTERS:
        raise UnreadableError(f"has {len(clean)} characters", f"keep to {MAX_TEXT_CHARACTERS}")
    return clean


def _fields(fact: Fact, text: str, farm: Farm, now: datetime) -> Value:
    listed = re.search(r"[;,\n]", text) or one_line(text) in subject_ids(farm, "field")
    split = re.split(r"[;,\n]", text) if listed else text.split()
    ids = tuple(_parcel(farm, word.strip()) for word in split if word.strip())
    twice = sorted({i for i in ids if ids.count(i) > 1})
    if twice:
        raise UnreadableError(f"field {twice[0]} stands there twice", "name each field once")
    if not ids:
        raise UnreadableError("no field is named", "name fields in order, as F07 F03")
    return ids


def _parcel(farm: Farm, text: str) -> str:
    """A field by its id, or one parcel of it as 'id/parcel'."""
    field, slash, parcel = text.partition("/")
    if not slash or text in subject_ids(farm, "field"):
        return identify(farm, "field", text)
    if not re.fullmatch(r"[a-z0-9 ]{1,30}", parcel.strip()):
        raise UnreadableError(
            f'"{one_line(parcel)[:40]}" is no parcel', "write it as the orders do"
        )
    return f"{identify(farm, 'field', field)}/{parcel.strip()}"


def _time(fact: Fact, text: str, farm: Farm, now: datetime) -> Value:
    return read_moment(text, farm, now=now).isoformat()


def _day(fact: Fact, text: str, farm: Farm, now: datetime) -> Value:
    return read_moment(text, farm, now=now).astimezone(farm.tz).date().isoformat()


_READ: dict[str, Callable[[Fact, str, Farm, datetime], Value]] = {
    "choice": _choice,
    "text": _text,
    "fields": _fields,
    "time": _time,
    "day": _day,
    "field": lambda fact, text, farm, now: identify(farm, "field", text),
    "crew": lambda fact, text, farm, now: identify(farm, "crew", text),
}
_HOUR = re.compile(r"(\d{1,2}):(\d{2})")


def read_moment(text: str, farm: Farm, *, now: datetime) -> datetime:
    """A time (UTC): '06:40' is today's, 'yesterday 18:00' works, a day alone is its noon."""
    today = now.astimezone(farm.tz).date()
    words = re.sub(r"(?<=\d)T(?=\d)", " ", one_line(text))
    if words.lower() == "now":
        return now.astimezone(UTC)
    for word, shift in (("yesterday", -1), ("today", 0), ("tomorrow", 1)):
        if words.lower().startswith(word):
            words = f"{today + timedelta(days=shift)}{words[len(word) :]}"
    if _HOUR.fullmatch(words):
        words = f"{today} {words}"
    when, told = read_time(words, farm.tz)
    return when if told else when + timedelta(hours=12)


def read_entry(
    kind: str,
    subject: str,
    facts: Mapping[str, str],
    farm: Farm,
    *,
    now: datetime,
    at: str = "",
    by: str = "",
    token: str = "",
    left_ha: Callable[[str], float] | None = None,
) -> Entry:
    """An entry from texts, all of it checked; blank texts are facts not told.

    Parameters
    ----------
    facts : texts by the name of the fact. An area 'all' means what is left of the field.
    left_ha : what is left uncut of a field, for 'all'.

    Raises
    ------
    EntryError
        With everything that is wrong, by fact name ('subject', 'at', 'by' for the rest).
    """
    what = KINDS.get(kind)
    if what is None:
        near = difflib.get_close_matches(kind, KINDS, n=1)
        hint = f'did you mean "{near[0]}"? ' if near else ""
        names = ", ".join(k.name for k in KINDS.values() if k.by_hand)
        raise EntryError({"kind": f'"{one_line(kind)[:40]}" is not known; {hint}known are {names}'})
    wrong: dict[str, str] = {}

    def attempt(name: str, read: Callable[[], Value | datetime]) -> Value | datetime | None:
        try:
            return read()
        except UnreadableError as error:
            wrong[name] = str(error)
            return None

    who = attempt("subject", lambda: identify(farm, what.subject_type, subject)) or ""
    when = attempt("at", lambda: _when(at, farm, what, now)) or now
    named = attempt("by", lambda: _text(REMARK, by, farm, now)) or ""
    crop = crop_of(farm, str(who), {k: v.strip() for k, v in facts.items()})
    values: dict[str, Value] = {}
    for fact in what.facts:
        text = facts.get(fact.name, "").strip()
        if (
            kind == "cut"
            and fact.name == "area"
            and normalized_name(text) == "all"
            and left_ha
            and who
        ):
            values["area"] = left_ha(str(who))
        elif text:
            value = attempt(fact.name, lambda f=fact, t=text: read_value(  # type: ignore[misc]
                f, t, farm, crop=crop, now=now))  # fmt: skip
            if value is not None and value != "":
                values[fact.name] = value  # type: ignore[assignment]
        elif fact.required:
            wrong[fact.name] = f"{fact.label.lower()} is missing"
    for name in facts:
        if name not in {f.name for f in what.facts}:
            wrong[name] = f"{what.label.lower()} has no {one_line(name)[:40]}"
    assert isinstance(when, datetime)
    if kind == "cut" and left_ha and who and "area" in values:
        wrong |= _too_much(float(values["area"]), left_ha(str(who)), str(who), farm)  # type: ignore[arg-type]
    if "until" in values and "until" not in wrong and not _later(str(values["until"]), when, farm):
        wrong["until"] = "ends before it begins"
    if wrong:
        raise EntryError(wrong)
    entry = Entry(kind=kind, subject=str(who), at=when, facts=values, by=str(named))
    return replace(entry, token=token) if token else entry


def _when(at: str, farm: Farm, kind: Kind, now: datetime) -> datetime:
    """When it was, within a season back and not ahead of the clock unless the kind may be."""
    if not at.strip():
        return now.astimezone(UTC).replace(microsecond=0)
    when = read_moment(at, farm, now=now)
    if kind.name == "absent":
        day = when.astimezone(farm.tz).date()
        when = farm_time_to_utc(datetime.combine(day, time(0)), farm.tz)
    same_day = when.astimezone(farm.tz).date() == now.astimezone(farm.tz).date()
    if same_day and ":" not in at and not kind.may_be_future:
        when = min(when, now.astimezone(UTC))  # a day alone is its noon, but not before noon
    if when < now - MAX_AGE:
        raise UnreadableError(f"{one_line(at)[:40]} is more than a season ago", "check the year")
    if when > now + (MAX_AHEAD if kind.may_be_future else CLOCK_SLACK):
        raise UnreadableError(f"{one_line(at)[:40]} is still to come", "check day and hour")
    return when


def _too_much(area: float, left: float, field: str, farm: Farm) -> dict[str, str]:
    """More cut than is left, by more than measuring differs (a twentieth of the field, assumed)."""
    whole = next(f.area_ha for f in farm.fields if f.id == field)
    if 0.0 < area <= left + whole / 20.0:
        return {}
    if left <= 0.0:
        return {"area": f"{field} is cut already; correct the entry that says so if it is not"}
    said = f"{show_area(area, farm.units)}, {show_area(left, farm.units)} are left of {field}"
    return {"area": f"{said}; check the number, or correct an earlier entry"}


def _later(until: str, at: datetime, farm: Farm) -> bool:
    if len(until) == 10:
        return date.fromisoformat(until) >= at.astimezone(farm.tz).date()
    return datetime.fromisoformat(until) > at
