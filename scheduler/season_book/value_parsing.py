"""Values of entries from the texts that people write. All raise UnreadableError for wrong text."""

from __future__ import annotations

import difflib
import math
import re
import unicodedata
from collections.abc import Callable, Iterable
from datetime import UTC, datetime, timedelta
from fractions import Fraction

from scheduler.errors import UnreadableError
from scheduler.farm.model import Farm
from scheduler.farm.units import (
    SI_PER_UNIT,
    TRACE_MM,
    kg_hl,
    normalized_name,
    show_number,
    si_per_unit,
    unit_name,
)
from scheduler.farm.wording import mid_sentence, one_line
from scheduler.farm_files import rain_csv
from scheduler.farm_files.csv_table import read_number
from scheduler.farm_files.dates import read_time
from scheduler.language.locale_formats import decimal_mark
from scheduler.language.translation import _
from scheduler.season_book.entry_kinds import SUBJECT_LABELS, Fact, Value, subject_ids
from scheduler.season_book.formatting import show_fact

#: Longest text of a fact, characters; assumed, because nobody reads a longer remark in a cab.
MAX_TEXT_CHARACTERS = 200


def identify(farm: Farm, subject_type: str, text: str) -> str:
    """The id that a text stands for.

    Case does not matter. A field may go by its name. A beginning that only one id has will do.

    Parameters
    ----------
    subject_type : see `kinds.Kind`.
    """
    ids = subject_ids(farm, subject_type)
    by_name = {normalized_name(i): i for i in ids}
    if subject_type == "field":
        names = {normalized_name(f.name): f.id for f in farm.fields}
        by_name = names | by_name
    if text in ids:
        return text
    word = normalized_name(text)
    if (exact := by_name.get(word)) is not None:
        return exact
    begins = {i for name, i in by_name.items() if word and name.startswith(word)}
    if len(begins) == 1:
        return begins.pop()
    if not text.strip():
        raise UnreadableError(
            _("{subject} is missing", subject=mid_sentence(_(SUBJECT_LABELS[subject_type]))),
            _("name one of {known}", known=_listed(ids)),
        )
    message = _(
        '{subject} "{text}" is not known',
        subject=mid_sentence(_(SUBJECT_LABELS[subject_type])),
        text=one_line(text)[:40],
    )
    near = difflib.get_close_matches(word, by_name, n=1)
    if near:
        remedy = _(
            'did you mean "{near}"? known are {known}',
            near=by_name[near[0]],
            known=_listed(ids),
        )
    else:
        remedy = _("known are {known}", known=_listed(ids))
    raise UnreadableError(message, remedy)


def _listed(ids: Iterable[str]) -> str:
    """Ids as a list in a sentence."""
    names = list(ids)
    return ", ".join(names) if names else _("none: the farm file has none")


def read_value(fact: Fact, text: str, farm: Farm, *, crop: str, now: datetime) -> Value:
    """The value of a fact, numbers in SI.

    Parameters
    ----------
    crop : for units by the bushel and for test weight.
    now : for times such as 'yesterday 18:00'.
    """
    if fact.quantity in _READERS:
        return _READERS[fact.quantity](fact, text, farm, now)
    return _read_number(fact, text, farm, crop)


#: A gauge that is wet and shows no mark.
TRACE_WORDS = (*rain_csv.TRACE_WORDS, "spur", "traza")
#: '1/4', '1 1/2' or '1-1/2'.
_FRACTION = re.compile(r"(?:(\d{1,3})[\s-]+)?(\d{1,3})\s*/\s*([1-9]\d{0,2})")
#: '0,25': no depth of rain has thousands separators.
_COMMA_DECIMAL = re.compile(r"\d*,\d+")
#: A number and the unit behind it; matches any text.
_NUMBER_AND_UNIT = re.compile(r"([^A-Za-z%\"]*)([A-Za-z%\"].*)?", re.DOTALL)


def _read_number(fact: Fact, text: str, farm: Farm, crop: str) -> float:
    """A number with or without a unit, SI, within the bounds of the fact."""
    if fact.quantity == "depth" and text.strip().lower() in TRACE_WORDS:
        return TRACE_MM
    match = _NUMBER_AND_UNIT.fullmatch(text.strip())
    assert match is not None
    not_a_number = UnreadableError(
        _('"{text}" is not a number', text=one_line(text)[:40]),
        _("write digits, as {example}", example=show_number(12.5, 1)),
    )
    if not match[1].strip():
        raise not_a_number
    to_si = _to_si(fact, (match[2] or "").strip(), farm, crop)
    try:
        value = to_si(_read_amount(fact, match[1].strip()))
    except (OverflowError, ValueError):
        raise not_a_number from None
    if not (math.isfinite(value) and fact.low <= value <= fact.high):
        low, high = (show_fact(fact, bound, farm, crop) for bound in (fact.low, fact.high))
        raise UnreadableError(
            _("{text} is outside of {low} to {high}", text=one_line(text)[:40], low=low, high=high),
            _("check the number and its unit"),
        )
    return value


def _read_amount(fact: Fact, text: str) -> float:
    """Read a number; of rain also as a fraction, '1/4' or '1 1/2', with a comma or a point."""
    if fact.quantity != "depth":
        return read_number(text, decimal_mark())
    # compatibility forms turn one sign into digits and a fraction slash: ½ is 1⁄2
    plain = re.sub(r"(\d)([¼-¾⅐-⅞])", r"\1 \2", text)
    plain = unicodedata.normalize("NFKC", plain).replace("\N{FRACTION SLASH}", "/")
    if m := _FRACTION.fullmatch(plain):
        return float(m[1] or 0) + float(Fraction(int(m[2]), int(m[3])))
    if re.search(r"\d\s+\d", plain):
        raise ValueError("a depth is one number")
    if _COMMA_DECIMAL.fullmatch(plain):
        return float(plain.replace(",", "."))
    return read_number(plain, decimal_mark())


def _to_si(fact: Fact, unit: str, farm: Farm, crop: str) -> Callable[[float], float]:
    """From a number in `unit` to SI; '' is the farm's own unit."""
    word = normalized_name(unit.replace('"', "in").replace("/", "_"))
    if fact.quantity == "test_weight":
        us = farm.units == "us" if not word else word in ("lb", "lb_bu", "lbs", "lbs_bu")
        if word and not us and word != "kg_hl":
            raise UnreadableError(
                _('"{unit}" is not a unit of test weight', unit=unit), _("use lb/bu or kg/hL")
            )
        return (lambda v: kg_hl(v, crop)) if us else (lambda v: v)
    if fact.quantity not in SI_PER_UNIT:
        own = {"percent": ("pct", "percent"), "hours": ("h", "hours")}.get(fact.quantity, ())
        if word and word not in own:
            raise UnreadableError(
                _('"{unit}" is not a unit of this value', unit=unit), _("write the number alone")
            )
        return lambda v: v
    default = unit_name(fact.quantity, farm.units)
    if word and word not in SI_PER_UNIT[fact.quantity]:
        units = ", ".join(SI_PER_UNIT[fact.quantity])
        raise UnreadableError(
            _('"{unit}" is not a unit of this value', unit=unit),
            _("use one of {choices}", choices=units),
        )
    scale = si_per_unit(fact.quantity, word or default, crop)
    return lambda v: v * scale


def read_text(text: str) -> str:
    """Text on one line, at most `MAX_TEXT_CHARACTERS` long."""
    clean = one_line(text)
    if len(clean) > MAX_TEXT_CHARACTERS:
        raise UnreadableError(
            _("has {n} characters", n=len(clean)), _("keep to {most}", most=MAX_TEXT_CHARACTERS)
        )
    return clean


def _read_choice(fact: Fact, text: str) -> str:
    """One of the fact's choices."""
    words = {normalized_name(_(c)): c for c in fact.choices}
    words |= {normalized_name(c): c for c in fact.choices}
    if (choice := words.get(normalized_name(text))) is not None:
        return choice
    raise UnreadableError(
        _('"{text}" is not known', text=one_line(text)[:40]),
        _("use one of {choices}", choices=", ".join(_(c) for c in fact.choices)),
    )


def _read_fields(text: str, farm: Farm) -> tuple[str, ...]:
    """Fields or parcels in order, divided by commas, semicolons, lines or spaces."""
    divided = re.search(r"[;,\n]", text) or one_line(text) in subject_ids(farm, "field")
    words = re.split(r"[;,\n]", text) if divided else text.split()
    ids = tuple(_parcel(farm, word.strip()) for word in words if word.strip())
    twice = sorted({i for i in ids if ids.count(i) > 1})
    if twice:
        raise UnreadableError(
            _("field {field} is there twice", field=twice[0]), _("name each field once")
        )
    if not ids:
        raise UnreadableError(_("no field is named"), _("name fields in order, as F07 F03"))
    return ids


def _parcel(farm: Farm, text: str) -> str:
    """A field's id, or a parcel of it as 'id/parcel'."""
    field, slash, parcel = text.partition("/")
    if not slash or text in subject_ids(farm, "field"):
        return identify(farm, "field", text)
    if not re.fullmatch(r"[a-z0-9 ]{1,30}", parcel.strip()):
        raise UnreadableError(
            _('"{text}" is not a parcel', text=one_line(parcel)[:40]),
            _("write it as the orders do"),
        )
    return f"{identify(farm, 'field', field)}/{parcel.strip()}"


def _read_day_or_time(text: str, farm: Farm, now: datetime) -> str:
    """A day, or a time (UTC) where the text holds a clock time, in ISO format."""
    moment = read_moment(text, farm, now=now)
    return moment.isoformat() if has_clock(text) else moment.astimezone(farm.tz).date().isoformat()


_READERS: dict[str, Callable[[Fact, str, Farm, datetime], Value]] = {
    "choice": lambda fact, text, farm, now: _read_choice(fact, text),
    "text": lambda fact, text, farm, now: read_text(text),
    "fields": lambda fact, text, farm, now: _read_fields(text, farm),
    "field": lambda fact, text, farm, now: identify(farm, "field", text),
    "crew": lambda fact, text, farm, now: identify(farm, "crew", text),
    "time": lambda fact, text, farm, now: read_moment(text, farm, now=now).isoformat(),
    "day_or_time": lambda fact, text, farm, now: _read_day_or_time(text, farm, now),
}
_CLOCK = re.compile(r"(\d{1,2}):(\d{2})")


def has_clock(text: str) -> bool:
    """Whether a text that `read_moment` reads holds a time of day."""
    return ":" in text or one_line(text).lower() == "now"


def read_moment(text: str, farm: Farm, *, now: datetime) -> datetime:
    """A time, UTC: 'now', '06:40' (today), 'yesterday 18:00'; a day alone stands for its noon."""
    today = now.astimezone(farm.tz).date()
    words = re.sub(r"(?<=\d)T(?=\d)", " ", one_line(text))
    if words.lower() == "now":
        return now.astimezone(UTC)
    for word, days in (("yesterday", -1), ("today", 0), ("tomorrow", 1)):
        if words.lower().startswith(word):
            words = f"{today + timedelta(days=days)}{words[len(word) :]}"
    if _CLOCK.fullmatch(words):
        words = f"{today} {words}"
    when, with_clock = read_time(words, farm.tz)
    return when if with_clock else when + timedelta(hours=12)
