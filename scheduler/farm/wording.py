"""Base text: how every output writes times, names, shares and reasons."""

from __future__ import annotations

import math
import unicodedata
from datetime import date, datetime, time

from readiness.grain.crops import CROPS
from readiness.season.codes import Reason
from scheduler.farm.units import Units, rough_depth
from scheduler.language.locale_formats import short_day, short_month
from scheduler.language.translation import N_, _, active_language

#: Text of each reason that closes an hour; `_` translates it.
REASON_TEXT: dict[int, str] = {
    Reason.UNKNOWN: N_("weather unknown"),
    Reason.GROUND: N_("ground too soft or rain falling"),
    Reason.APPROACH: N_("dirt approach shut"),
    Reason.GRAIN: N_("dew on the ear or grain too wet"),
    Reason.STRAW: N_("straw too tough"),
    Reason.GREEN: N_("not ripe"),
    Reason.WIND: N_("wind over your stop rule"),
    Reason.FIRE: N_("fire index over your stop rule"),
    Reason.LIGHTNING: N_("thunderstorm expected"),
    Reason.HEAT: N_("heat over your stop rule"),
    Reason.NIGHT: N_("dark"),
}

#: Rain that is told as the cause of closed hours, mm; assumed: less does not stop a crew for a day.
WORTH_TELLING_MM = 1.0


def closed_text(reason: Reason, rain_mm: float, units: Units) -> str:
    """What closes hours in which so much rain falls, 'rain, about 0.9 in' or 'not ripe'."""
    if reason is not Reason.GROUND:
        return _(REASON_TEXT[reason])
    if rain_mm < WORTH_TELLING_MM:
        return _("ground too soft")
    return _("rain, about {depth}", depth=rough_depth(rain_mm, units))


def one_line(text: str) -> str:
    """Text that people entered, on one line, without characters that cannot be shown."""
    swap = {"Cc": " ", "Cf": "", "Cs": "", "Cn": "", "Co": ""}
    return " ".join("".join(swap.get(unicodedata.category(c), c) for c in text).split())


def sentence(text: str) -> str:
    """The text with a capital first letter; the others stay."""
    return text[:1].upper() + text[1:]


def mid_sentence(label: str) -> str:
    """A label inside a sentence: without its capital, but for German nouns."""
    return label if active_language() == "de" else label[:1].lower() + label[1:]


def formula_safe(text: str) -> str:
    """The text of a table cell, quoted where a spreadsheet would take it for a formula."""
    clean = one_line(text)
    return f"'{clean}" if clean.startswith(("=", "+", "-", "@")) else clean


def day_name(when: datetime | date) -> str:
    """'Sat 16 Aug'."""
    return _(
        "{weekday} {day} {month}",
        weekday=short_day(when),
        day=when.day,
        month=short_month(when),
    )


def day_heading(day: date, today: date) -> str:
    """'Today, Sat 16 Aug', or 'Sun 17 Aug'."""
    return _("Today, {day}", day=day_name(day)) if day == today else day_name(day)


def short_date(when: datetime | date) -> str:
    """'16 Aug'."""
    return _("{day} {month}", day=when.day, month=short_month(when))


def clock(when: datetime, reference: datetime | date, units: Units = "metric") -> str:
    """'10:00' on the day of `reference`, 'Sat 10:00' within six days, else 'Sat 16 Aug 10:00'.

    With US units a 12-hour clock: '10 am', '10:15 am', 'noon', 'midnight'.
    """
    day = reference.date() if isinstance(reference, datetime) else reference
    days = abs((when.date() - day).days)
    prefix = "" if days == 0 else f"{short_day(when)} " if days < 6 else f"{day_name(when)} "
    return f"{prefix}{time_of_day(when, units)}"


def time_of_day(when: datetime | time, units: Units) -> str:
    """'10:00'; with US units a 12-hour clock, '10 am'."""
    return _twelve_hour(when) if units == "us" else f"{when:%H:%M}"


def day_and_time(when: datetime, units: Units) -> str:
    """'Sat 16 Aug 10:00', on the clock of the units."""
    return f"{day_name(when)} {time_of_day(when, units)}"


def weekday_clock(when: datetime, units: Units) -> str:
    """'Sat 10:00', on the clock of the units."""
    return f"{short_day(when)} {time_of_day(when, units)}"


def _twelve_hour(when: datetime | time) -> str:
    """Time of day on a 12-hour clock."""
    if when.hour % 12 == 0 and when.minute == 0:
        return _("noon") if when.hour else _("midnight")
    minutes = f":{when:%M}" if when.minute else ""
    return f"{when.hour % 12 or 12}{minutes} {'am' if when.hour < 12 else 'pm'}"


def percent(share: float) -> str:
    """A chance as '78 %'; NaN is 'unknown'."""
    return _("unknown") if math.isnan(share) else f"{100 * share:.0f} %"


def crop_name(crop: str, entered: str = "") -> str:
    """The name of a crop, by its key.

    Parameters
    ----------
    entered : the crop in the user's own words, which come first; English ones are translated.
    """
    if entered:
        words = entered.lower()
        return entered if _(words) == words else _(words)
    return _(CROPS[crop].name) if crop in CROPS else one_line(crop)


def crew_title(crew: str) -> str:
    """'crew North', or the id alone where the word crew, or its translation, is part of it."""
    name = one_line(crew)
    if any(word in name.lower() for word in ("crew", _("crew").lower())):
        return name
    return _("crew {name}", name=name)
