"""The text message that each crew gets on its own phone."""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterator

from scheduler.farm.units import show_area
from scheduler.farm.wording import clock, day_name, one_line, sentence
from scheduler.orders.model import CrewOrders, Morning, Order
from scheduler.orders.reasons import FallbackAction, Wait
from scheduler.report.caution_phrases import day_caution_lines
from scheduler.report.order_phrases import (
    beyond_forecast,
    chance_text,
    fallback_text,
    idle_crew_text,
    machine_change_text,
    note_text,
    points_text,
    start_text,
)
from scheduler.report.phrases import field_title

END = " See sheet."
MESSAGE_CHARS = 306  # what two joined text messages carry of the GSM 7-bit alphabet
TITLE_CHARS = 34  # of a field; a longer name gives way to the field's id
WAITS = {Wait.THREE_HOURS: "wait 3 h", Wait.TOMORROW: "wait for tomorrow"}


def message(crew: CrewOrders, morning: Morning) -> str:
    """Write the crew's next day of work in at most `MESSAGE_CHARS` characters.

    What is needed first comes first: machines that change crews; the first field, when to leave
    and from what moisture to cut; what to do where it is not fit; where its grain goes; cautions;
    then the other fields of the day.
    """
    head = f"{crew.crew} {day_name(morning.now)}:"
    if moves := machine_change_text(crew.crew, morning):
        head += f" {moves}."
    if not crew.orders:
        return _seven_bit(f"{head} {note_text(crew.note) or 'nothing to cut'}")[:MESSAGE_CHARS]
    day = crew.orders[0].start.mid.date()
    if day > morning.now.date():
        head += " nothing to cut today."
    orders = [o for o in crew.orders if o.start.mid.date() == day]
    longest = MESSAGE_CHARS - len(END)
    text = _seven_bit(f"{head} {_first_order(orders[0], morning)}")[:longest]
    for extra in _extras(crew, morning):
        longer = f"{text} {_seven_bit(extra)}"
        text = longer if len(longer) <= longest else text
    for place, order in enumerate(orders[1:], 2):
        longer = f"{text} {_seven_bit(_next_order(place, order, morning))}"
        if len(longer) > longest:
            break
        text = longer
    return text + END


def idle_message(crew: str, morning: Morning) -> str:
    """Text for a crew that is in no orders."""
    text = f"{crew} {day_name(morning.now)}: {idle_crew_text(crew, morning)}."
    return _seven_bit(text)[:MESSAGE_CHARS]


def _seven_bit(text: str) -> str:
    """Drop accents, so that the text keeps to the 7-bit alphabet."""
    decomposed = unicodedata.normalize("NFKD", one_line(text).replace("°", ""))
    kept = "".join(c for c in decomposed if not unicodedata.combining(c))
    return kept.replace(" %", "%")


def _extras(crew: CrewOrders, morning: Morning) -> Iterator[str]:
    """Sentences for the space that is left, the most needed first."""
    first = crew.orders[0]
    yield from _not_fit(crew)
    yield f"Grain {points_text(first, morning.farm, shut=False)}."
    if first.headland_only:
        yield "Carts at edge."
    topics = [c.split(":")[0].lower() for c in day_caution_lines(morning)]
    if topics:
        yield f"Caution: {', '.join(topics)}."
    yield f"{sentence(chance_text(first))}."


def _not_fit(crew: CrewOrders) -> Iterator[str]:
    """What to do where the first field is tough or soft, and how long to wait before."""
    waits = crew.patience_min > 0.0 and not math.isnan(crew.orders[0].later_pct)
    first = f"wait {crew.patience_min:.0f} min, then " if waits else ""
    if crew.fallback is None:
        yield f"Not fit: {first}next fit field."
        return
    tough, soft = crew.fallback.if_tough, crew.fallback.if_soft
    if _action(tough) == _action(soft):
        yield f"Tough or soft: {first}{_action(tough)}."
        return
    for state, action in (("Tough", tough), ("Soft", soft)):
        goes = isinstance(action, FallbackAction) and action.other_field
        yield f"{state}: {first if goes else ''}{_action(action)}."


def _action(action: FallbackAction | str) -> str:
    """What a crew does when its first field is not fit, in few words."""
    if isinstance(action, str):
        return fallback_text(action)
    if not action.other_field:
        return WAITS[action.wait]
    parcel = f", {action.other_parcel}" if action.other_parcel else ""
    return f"{_short(action.other_name, f'{action.other_field}{parcel}')}, then back"


def _short(name: str, field: str) -> str:
    """'Home quarter (F01)', or the id alone where that is too long."""
    title = one_line(f"{name} ({field})")
    return title if len(title) <= TITLE_CHARS else one_line(field)[:TITLE_CHARS]


def _title(order: Order) -> str:
    title = field_title(order)
    parcel = f", {order.parcel}" if order.parcel else ""
    return title if len(title) <= TITLE_CHARS else f"{one_line(order.field)}{parcel}"[:TITLE_CHARS]


def _cut(order: Order, morning: Morning) -> str:
    """When and from what moisture to cut, and how much."""
    units = morning.farm.units
    start = start_text(order, morning)
    beyond = beyond_forecast(order, morning.forecast_until)
    return (
        f"cut from {clock(order.start.mid, order.leave_at, units)}{f' {start}' if start else ''}, "
        f"{show_area(order.area_ha, units)}{' (beyond the forecast)' if beyond else ''}."
    )


def _first_order(order: Order, morning: Morning) -> str:
    leave = clock(order.leave_at, morning.now, morning.farm.units)
    return f"1) {_title(order)}: leave {leave}, {_cut(order, morning)}"


def _next_order(place: int, order: Order, morning: Morning) -> str:
    return f"{place}) {_title(order)}: {_cut(order, morning)}"
