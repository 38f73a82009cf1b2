"""What each crew gets on its own phone: a text of two messages' length and a calendar."""

from __future__ import annotations

import hashlib
import unicodedata
from collections.abc import Iterator
from datetime import UTC

import icalendar

from scheduler.cautions import day_cautions
from scheduler.orders import CrewOrders, Morning, Order
from scheduler.units import show_area, show_distance
from scheduler.words import (
    EDGE_ONLY,
    clock,
    crop_name,
    day_name,
    field_title,
    grain_text,
    loads_text,
    moisture_range,
    percent,
    plain,
    time_range,
)

SEE = " See sheet."
MESSAGE_CHARS = 300  # two joined text messages carry 306 characters of the GSM 7-bit alphabet


def _folded(text: str) -> str:
    """Accents dropped, so that a text message keeps to the 7-bit alphabet."""
    spread = unicodedata.normalize("NFKD", plain(text).replace("°", ""))
    return "".join(c for c in spread if not unicodedata.combining(c))


def message(crew: CrewOrders, morning: Morning) -> str:
    """The crew's next day of work in at most `MESSAGE_CHARS` characters, first things first."""
    head = f"{crew.crew} {day_name(morning.now)}:"
    if not crew.orders:
        return _folded(f"{head} {crew.note or 'nothing to cut'}")[:MESSAGE_CHARS]
    day = crew.orders[0].start.mid.date()
    orders = [o for o in crew.orders if o.start.mid.date() == day]
    room = MESSAGE_CHARS - len(SEE)
    text = _folded(f"{head} {_short(1, orders[0], morning)}")[:room]
    for place, order in enumerate(orders[1:], 2):
        longer = f"{text} {_folded(_short(place, order, morning))}"
        if len(longer) > room:
            break
        text = longer
    for extra in _extras(crew, morning):
        longer = f"{text} {_folded(extra)}"
        text = longer if len(longer) <= room else text
    return text + SEE


def _extras(crew: CrewOrders, morning: Morning) -> Iterator[str]:
    """What else a text says where there is room, most needed first."""
    topics = [c.split(":")[0].lower() for c in day_cautions(morning.cautions)]
    if topics:
        yield f"Caution: {', '.join(topics)}."
    if crew.fallback:
        yield f"If tough: {crew.fallback.if_tough}."
        yield f"If soft: {crew.fallback.if_soft}."


def _short(place: int, order: Order, morning: Morning) -> str:
    edge = " carts at edge" if order.headland_only else ""
    return (
        f"{place}) {field_title(order)} leave {clock(order.leave_at, morning.now)} cut "
        f"{clock(order.start.mid, order.leave_at)}-{clock(order.finish.mid, order.leave_at)} "
        f"{show_area(order.area_ha, morning.farm.units)} {order.moisture_pct.mid:.1f}% "
        f"{loads_text(order.loads)} to {order.point}{edge}, chance {percent(order.chance)}."
    ).replace(" %", "%")


def calendar(crew: CrewOrders, morning: Morning) -> bytes:
    """The crew's orders as events (RFC 5545), from setting off to the middle finish.

    An event keeps its UID from morning to morning, and SEQUENCE rises with the time of planning,
    so that importing again moves it.
    """
    out = icalendar.Calendar()
    out.add("prodid", "-//afterrain//cutting order//EN")
    out.add("version", "2.0")
    out.add("method", "PUBLISH")
    out.add("name", f"Cutting order {plain(crew.crew)}")
    out.add("x-wr-calname", f"Cutting order {plain(crew.crew)}")
    for place, order in enumerate(crew.orders, 1):
        out.add_component(_event(crew, place, order, morning))
    return bytes(out.to_ical())


def uid(crew: str, order: Order, morning: Morning) -> str:
    """Identity of an event: farm, harvest year, crew, field and parcel."""
    key = "\n".join((morning.farm.name, str(morning.now.year), crew, order.field, order.parcel))
    return f"{hashlib.sha256(key.encode()).hexdigest()[:32]}@afterrain.invalid"


def _event(crew: CrewOrders, place: int, order: Order, morning: Morning) -> icalendar.Event:
    event = icalendar.Event()
    made = morning.now.astimezone(UTC).replace(microsecond=0)
    event.add("uid", uid(crew.crew, order, morning))
    event.add("dtstamp", made)
    event.add("last-modified", made)
    event.add("sequence", int(made.timestamp()) // 60)  # minutes fit the 32 bits until 6053
    event.add("dtstart", order.leave_at.astimezone(UTC))
    event.add("dtend", max(order.finish.mid, order.leave_at).astimezone(UTC))
    event.add("summary", f"{place}. {field_title(order)}")
    event.add("description", "\n".join(_details(order, morning)))
    spot = next((f for f in morning.farm.fields if f.id == order.field), None)
    if spot is not None:
        event.add("geo", (spot.lat, spot.lon))
    event.add("location", field_title(order))
    event.add("status", "CONFIRMED" if order.locked else "TENTATIVE")
    return event


def _details(order: Order, morning: Morning) -> Iterator[str]:
    units, day = morning.farm.units, order.leave_at.date()
    yield (
        f"Leave {clock(order.leave_at, day)}, move {order.move_min:.0f} min "
        f"({show_distance(order.move_km, units)})"
    )
    yield f"Start {clock(order.start.mid, day)} ({time_range(order.start, day)})"
    yield f"Finish {clock(order.finish.mid, day)} ({time_range(order.finish, day)})"
    area = show_area(order.area_ha, units)
    yield f"{crop_name(order.crop)}, {area}, {grain_text(order, morning)}"
    yield f"Moisture {order.moisture_pct.mid:.1f} % ({moisture_range(order.moisture_pct)})"
    yield f"Chance that it goes as said {percent(order.chance)}"
    yield f"{loads_text(order.loads)} to {plain(order.point)}"
    if order.headland_only:
        yield EDGE_ONLY.capitalize()
    yield f"Why: {plain(order.reason)}"
