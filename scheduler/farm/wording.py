"""Base text: how every output writes times, names, shares and reasons."""

from __future__ import annotations

import math
import unicodedata
from datetime import date, datetime

from readiness.grain.crops import CROPS
from readiness.season.codes import Reason
from scheduler.farm.units import Units

#: Text of each reason that closes an hour.
REASON_TEXT: dict[int, str] = {
    Reason.UNKNOWN: "weather unknown",
    Reason.GROUND: "ground too soft or rain falling",
    Reason.APPROACH: "dirt approach shut",
    Reason.GRAIN: "dew on the ear or grain too wet",
    Reason.GREEN: "not ripe",
    Reason.WIND: "wind over your stop rule",
    Reason.FIRE: "fire index over your stop rule",
    Reason.LIGHTNING: "thunderstorm expected",
    Reason.HEAT: "heat over your stop rule",
    Reason.NIGHT: "dark",
}


def one_line(text: str) -> str:
    """Text that people entered, on one line, without control or broken characters."""
    swap = {"Cc": " ", "Cf": "", "Cs": ""}
    return " ".join("".join(swap.get(unicodedata.category(c), c) for c in text).split())


def sentence(text: str) -> str:
    """The text with a capital first letter; the others stay."""
    return text[:1].upper() + text[1:]


def formula_safe(text: str) -> str:
    """The text of a table cell, quoted where a spreadsheet would take it for a formula."""
    clean = one_line(text)
    return f"'{clean}" if clean.startswith(("=", "+", "-", "@")) else clean


def day_name(when: datetime | date) -> str:
    """'Sat 16 Aug'."""
    return f"{when:%a} {when.day} {when:%b}"


def clock(when: datetime, reference: datetime | date, units: Units = "metric") -> str:
    """'10:00' on the day of `reference`, 'Sat 10:00' within six days, else 'Sat 16 Aug 10:00'.

    With US units a 12-hour clock, '10:00 am'.
    """
    day = reference.date() if isinstance(reference, datetime) else reference
    days = abs((when.date() - day).days)
    prefix = "" if days == 0 else f"{when:%a} " if days < 6 else f"{day_name(when)} "
    if units == "us":
        return f"{prefix}{when.hour % 12 or 12}:{when:%M} {'am' if when.hour < 12 else 'pm'}"
    return f"{prefix}{when:%H:%M}"


def percent(share: float) -> str:
    """A chance as '78 %'; NaN is 'unknown'."""
    return "unknown" if math.isnan(share) else f"{100 * share:.0f} %"


def crop_name(crop: str) -> str:
    """The name of a crop, by its key."""
    return CROPS[crop].name if crop in CROPS else one_line(crop)


def crew_title(crew: str) -> str:
    """'crew North', or the id alone where the word crew is part of it."""
    name = one_line(crew)
    return name if "crew" in name.lower() else f"crew {name}"
