"""Entries from the texts that people write, all of it checked."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import partial
from typing import TypeVar

from scheduler.errors import EntryError, UnreadableError
from scheduler.farm.model import Farm
from scheduler.farm.units import normalized_name, show_area
from scheduler.farm.wording import mid_sentence, one_line
from scheduler.farm_files.dates import end_of_day, start_of_day
from scheduler.language.translation import _
from scheduler.season_book.entry_kinds import KINDS, Entry, Kind, Value, crop_of, is_day
from scheduler.season_book.value_parsing import (
    has_clock,
    identify,
    read_moment,
    read_text,
    read_value,
)

T = TypeVar("T")
#: Greatest age of an entry; assumed, a season.
MAX_AGE = timedelta(days=400)
#: Farthest ahead of an absence or a closure; assumed.
MAX_AHEAD = timedelta(days=60)
#: How far ahead of the clock a time may lie; assumed, because the clocks of phones differ.
CLOCK_SLACK = timedelta(minutes=10)


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
    """An entry from texts.

    Parameters
    ----------
    kind : key of `KINDS`.
    facts : texts by the name of the fact; a blank leaves the fact out. The area 'all' is the area
        left of the field.
    at, by, token : time, writer and token; '' for now, nobody and a new token.
    left_ha : area of a field left uncut, ha, by id; None skips that check.

    Raises
    ------
    EntryError
        With every problem by fact name, and 'subject', 'at', 'by' for the rest.
    """
    known = KINDS.get(kind)
    if known is None:
        raise _unknown_kind(kind)
    problems: dict[str, str] = {}

    def attempt(name: str, read: Callable[[], T]) -> T | None:
        try:
            return read()
        except UnreadableError as error:
            problems[name] = str(error)
            return None

    who = attempt("subject", lambda: identify(farm, known.subject_type, subject)) or ""
    when = attempt("at", lambda: _time_of_entry(at, farm, known, now)) or now
    writer = attempt("by", lambda: read_text(by)) or ""
    crop = crop_of(farm, who, {name: text.strip() for name, text in facts.items()})
    values: dict[str, Value] = {}
    for fact in known.facts:
        text = facts.get(fact.name, "").strip()
        is_area = kind == "cut" and fact.name == "area"
        if is_area and normalized_name(text) in _all_words() and left_ha and who:
            values["area"] = left_ha(who)
        elif text:
            # an end such as '15:00' is told on the clock of the entry
            clock = when if fact.name == "until" and one_line(text).lower() != "now" else now
            read = partial(read_value, fact, text, farm, crop=crop, now=clock)
            value = attempt(fact.name, read)
            if value is not None and value != "":
                values[fact.name] = value
        elif fact.required:
            problems[fact.name] = _("{fact} is missing", fact=mid_sentence(_(fact.label)))
    for name in facts:
        if name not in {f.name for f in known.facts}:
            problems[name] = _(
                "{kind} has no {fact}",
                kind=mid_sentence(_(known.label)),
                fact=one_line(name)[:40],
            )
    if kind == "absent":
        values |= _end_of_absence(when, str(values.get("until", "")), farm)
    area, until = values.get("area"), values.get("until")
    if kind == "cut" and left_ha and who and isinstance(area, float):
        problems |= _area_problem(area, left_ha(who), who, farm)
    if isinstance(until, str) and not _is_later(until, when, farm):
        problems.setdefault("until", _("ends before it begins; give a later time"))
    if problems:
        raise EntryError(problems)
    entry = Entry(kind=kind, subject=who, at=when, facts=values, by=writer)
    return replace(entry, token=token) if token else entry


def _all_words() -> tuple[str, str]:
    """Words for the whole area that is left."""
    return "all", normalized_name(_("all"))


def _unknown_kind(kind: str) -> EntryError:
    """The error for a kind that does not exist."""
    near = difflib.get_close_matches(kind, KINDS, n=1)
    hint = f'did you mean "{near[0]}"? ' if near else ""
    names = ", ".join(k.name for k in KINDS.values() if k.by_hand)
    return EntryError({"kind": f'"{one_line(kind)[:40]}" is not known; {hint}known are {names}'})


def _time_of_entry(at: str, farm: Farm, kind: Kind, now: datetime) -> datetime:
    """Time of an entry, UTC: within a season back, and ahead only where the kind allows it."""
    if not at.strip() and kind.name != "absent":
        return now.astimezone(UTC).replace(microsecond=0)
    when = read_moment(at, farm, now=now) if at.strip() else now
    if kind.name == "absent" and not has_clock(at):
        when = start_of_day(when.astimezone(farm.tz).date(), farm.tz)
    same_day = when.astimezone(farm.tz).date() == now.astimezone(farm.tz).date()
    if same_day and ":" not in at and not kind.may_be_future:
        when = min(when, now.astimezone(UTC))  # today stands for noon, in the morning for now
    if when < now - MAX_AGE:
        raise UnreadableError(
            _("{time} is more than a season ago", time=one_line(at)[:40]), _("check the year")
        )
    if when > now + (MAX_AHEAD if kind.may_be_future else CLOCK_SLACK):
        raise UnreadableError(
            _("{time} is still to come", time=one_line(at)[:40]), _("check day and hour")
        )
    return when


def _end_of_absence(begin: datetime, until: str, farm: Farm) -> dict[str, Value]:
    """End of an absence that begins within a day and ends with one, as a time; else nothing."""
    day = begin.astimezone(farm.tz).date()
    if begin == start_of_day(day, farm.tz) or (until and not is_day(until)):
        return {}
    last = date.fromisoformat(until) if until else day
    return {"until": end_of_day(last, farm.tz).isoformat()}


def _area_problem(area: float, left: float, field: str, farm: Farm) -> dict[str, str]:
    """A problem where more is cut than is left; a twentieth of the field is allowed (assumed)."""
    total = next(f.area_ha for f in farm.fields if f.id == field)
    if 0.0 < area <= left + total / 20.0:
        return {}
    if left <= 0.0:
        text = _("{field} is cut already; correct the entry that says so if it is not", field=field)
        return {"area": text}
    text = _(
        "{area}, {left} are left of {field}; check the number, or correct an earlier entry",
        area=show_area(area, farm.units),
        left=show_area(left, farm.units),
        field=field,
    )
    return {"area": text}


def _is_later(until: str, at: datetime, farm: Farm) -> bool:
    """Whether a time, or a day (which may be the same), comes after `at`."""
    if is_day(until):
        return date.fromisoformat(until) >= at.astimezone(farm.tz).date()
    return datetime.fromisoformat(until) > at
