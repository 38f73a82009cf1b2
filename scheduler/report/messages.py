"""The text message that each crew gets on its own phone."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator

from scheduler.farm.units import show_area
from scheduler.farm.wording import clock, day_name, one_line, percent
from scheduler.orders.model import CrewOrders, Morning, Order
from scheduler.report.caution_phrases import day_caution_lines
from scheduler.report.order_phrases import fallback_text, note_text
from scheduler.report.phrases import field_title, haul_text

END = " See sheet."
MESSAGE_CHARS = 300  # two joined text messages carry 306 characters of the GSM 7-bit alphabet


def message(crew: CrewOrders, morning: Morning) -> str:
    """Write the crew's next day of work in at most `MESSAGE_CHARS` characters.

    What is needed first comes first: orders in their order, then cautions, then fallbacks.
    """
    head = f"{crew.crew} {day_name(morning.now)}:"
    if not crew.orders:
        return _seven_bit(f"{head} {note_text(crew.note) or 'nothing to cut'}")[:MESSAGE_CHARS]
    day = crew.orders[0].start.mid.date()
    orders = [o for o in crew.orders if o.start.mid.date() == day]
    longest = MESSAGE_CHARS - len(END)
    text = _seven_bit(f"{head} {_order_text(1, orders[0], morning)}")[:longest]
    for place, order in enumerate(orders[1:], 2):
        longer = f"{text} {_seven_bit(_order_text(place, order, morning))}"
        if len(longer) > longest:
            break
        text = longer
    for extra in _extras(crew, morning):
        longer = f"{text} {_seven_bit(extra)}"
        text = longer if len(longer) <= longest else text
    return text + END


def _seven_bit(text: str) -> str:
    """Drop accents, so that the text keeps to the 7-bit alphabet."""
    decomposed = unicodedata.normalize("NFKD", one_line(text).replace("°", ""))
    return "".join(c for c in decomposed if not unicodedata.combining(c))


def _extras(crew: CrewOrders, morning: Morning) -> Iterator[str]:
    """Sentences for the space that is left, the most needed first."""
    topics = [c.split(":")[0].lower() for c in day_caution_lines(morning)]
    if topics:
        yield f"Caution: {', '.join(topics)}."
    if crew.fallback:
        yield f"If tough: {fallback_text(crew.fallback.if_tough)}."
        yield f"If soft: {fallback_text(crew.fallback.if_soft)}."


def _order_text(place: int, order: Order, morning: Morning) -> str:
    edge = " carts at edge" if order.headland_only else ""
    return (
        f"{place}) {field_title(order)} leave {clock(order.leave_at, morning.now)} cut "
        f"{clock(order.start.mid, order.leave_at)}-{clock(order.finish.mid, order.leave_at)} "
        f"{show_area(order.area_ha, morning.farm.units)} {order.moisture_pct.mid:.1f}% "
        f"{haul_text(order)}{edge}, chance {percent(order.chance)}."
    ).replace(" %", "%")
