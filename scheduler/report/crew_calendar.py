"""A crew's calendar: its orders as events, and earlier events cancelled (RFC 5545).

An event keeps its UID from plan to plan. An event of the calendar before that is no longer
ordered is given again with STATUS:CANCELLED (RFC 5545, 3.8.1.11) until it is over, so that a
phone that missed a calendar still cancels it.

SEQUENCE is the minute of planning; it is one more than before where the minute is not later
(3.8.7.4). The same plan made again gives the same calendar. A calendar has one METHOD, and
PUBLISH may carry events of any status (RFC 5546, 3.2.1).
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

import icalendar

from scheduler.farm.units import show_area, show_distance
from scheduler.farm.wording import clock, crop_name, day_name, one_line, sentence
from scheduler.language.translation import _
from scheduler.orders.model import CrewOrders, Morning, Order
from scheduler.report.order_phrases import (
    beyond_forecast,
    chance_text,
    finish_clock,
    idle_crews,
    left_unfinished,
    machine_change_text,
    other_forecast,
    points_text,
    reason_text,
    start_text,
    way_lines,
)
from scheduler.report.phrases import (
    EDGE_ONLY,
    field_title,
    grain_text,
    haul_text,
    moisture_range,
    time_range,
)

TITLE = "Cutting order "


@dataclass(frozen=True, kw_only=True)
class IssuedEvent:
    """An event of an earlier calendar, as far as its cancelling needs it."""

    uid: str
    begin: datetime
    end: datetime
    field: str  # title of the field
    sequence: int


def calendar(crew: CrewOrders, morning: Morning, earlier: bytes = b"") -> bytes:
    """Write the crew's orders as events, each from leaving to the middle finish.

    Parameters
    ----------
    earlier : the calendar that the crew got before; events that cannot be read are ignored.
    """
    ordered = [_event(crew, place, order, morning) for place, order in enumerate(crew.orders, 1)]
    machine_lines = _machine_lines(crew.crew, morning)
    return _issue(f"{TITLE}{one_line(crew.crew)}", ordered, morning, earlier, machine_lines)


def withdrawn(earlier: bytes, morning: Morning) -> bytes:
    """Write the calendar of a crew that is in no plan any more; empty where nothing is to cancel.

    Parameters
    ----------
    earlier : the calendar that the crew got before; events that cannot be read are ignored.
    """
    if not any(e.end > morning.now for e in _issued_events(earlier)):
        return b""
    before = icalendar.Calendar.from_ical(earlier)
    title = str(before.get("name", TITLE))
    machine_lines = [
        line
        for crew in idle_crews(morning)
        if title == f"{TITLE}{one_line(crew)}"
        for line in _machine_lines(crew, morning)
    ]
    return _issue(title, [], morning, earlier, machine_lines)


def uid(crew: str, order: Order, morning: Morning) -> str:
    """Identity of an event: farm, harvest year, crew, field and parcel."""
    key = "\n".join((morning.farm.name, str(morning.now.year), crew, order.field, order.parcel))
    return f"{hashlib.sha256(key.encode()).hexdigest()[:32]}@afterrain.invalid"


def _issue(
    title: str,
    ordered: Sequence[icalendar.Event],
    morning: Morning,
    earlier: bytes,
    machine_lines: Sequence[str],
) -> bytes:
    """Write ordered and cancelled events; SEQUENCE rises unless the calendar is the earlier one."""
    issued = _issued_events(earlier)
    uids = {str(e["uid"]) for e in ordered}
    gone = [
        _cancelled(e, morning, machine_lines)
        for e in issued
        if e.end > morning.now and e.uid not in uids
    ]
    minute = int(morning.now.timestamp()) // 60  # fits into 32 bits until 6053
    last = max((e.sequence for e in issued), default=0)
    again = _written(title, (*ordered, *gone), max(minute, last))
    if again == earlier or last < minute:
        return again
    return _written(title, (*ordered, *gone), last + 1)


def _written(title: str, events: Iterable[icalendar.Event], sequence: int) -> bytes:
    out = icalendar.Calendar()
    out.add("prodid", "-//afterrain//cutting order//EN")
    out.add("version", "2.0")
    out.add("method", "PUBLISH")
    out.add("name", title)
    out.add("x-wr-calname", title)
    for event in events:
        event["sequence"] = icalendar.vInt(sequence)
        out.add_component(event)
    return bytes(out.to_ical())


def _issued_events(earlier: bytes) -> list[IssuedEvent]:
    """Read the events of an earlier calendar, as far as they can be read."""
    try:
        found = icalendar.Calendar.from_ical(earlier).walk("VEVENT")
    except ValueError:
        return []
    return [issued for e in found if not e.errors and (issued := _issued_event(e)) is not None]


def _issued_event(event: icalendar.Component) -> IssuedEvent | None:
    """Read one event; None where it lacks a property."""
    begin, end = (getattr(event.get(name), "dt", None) for name in ("dtstart", "dtend"))
    if not (isinstance(begin, datetime) and isinstance(end, datetime)):
        return None
    name, field, number = (event.get(name) for name in ("uid", "location", "sequence"))
    if not (isinstance(name, str) and isinstance(field, str) and isinstance(number, int)):
        return None
    if not (begin.tzinfo and end.tzinfo):
        return None
    return IssuedEvent(uid=str(name), begin=begin, end=end, field=str(field), sequence=number)


def _event(crew: CrewOrders, place: int, order: Order, morning: Morning) -> icalendar.Event:
    event = _stamped(uid(crew.crew, order, morning), morning)
    event.add("dtstart", order.leave_at.astimezone(UTC))
    event.add("dtend", max(order.finish.mid, order.leave_at).astimezone(UTC))
    event.add("summary", f"{place}. {field_title(order)}")
    lines = list(_description(order, morning))
    if place == 1:
        lines = [*_machine_lines(crew.crew, morning), *lines, *way_lines(crew)]
    event.add("description", "\n".join(lines))
    spot = next((f for f in morning.farm.fields if f.id == order.field), None)
    if spot is not None:
        event.add("geo", (spot.lat, spot.lon))
    event.add("location", field_title(order))
    event.add("status", "CONFIRMED" if order.locked else "TENTATIVE")
    return event


def _machine_lines(crew: str, morning: Morning) -> list[str]:
    """Machines that join or leave the crew."""
    moves = machine_change_text(crew, morning)
    return [f"Machines: {moves}"] if moves else []


def _cancelled(
    issued: IssuedEvent, morning: Morning, machine_lines: Sequence[str]
) -> icalendar.Event:
    """Cancel an event, in words too, because not every program reads STATUS."""
    event = _stamped(issued.uid, morning)
    event.add("dtstart", issued.begin)
    event.add("dtend", issued.end)
    event.add("location", issued.field)
    event.add("summary", f"No longer ordered: {issued.field}")
    made = f"{day_name(morning.now)} {morning.now:%H:%M}"
    lines = [f"Not among this crew's orders in the plan of {made}", *machine_lines]
    event.add("description", "\n".join(lines))
    event.add("status", "CANCELLED")
    return event


def _stamped(identity: str, morning: Morning) -> icalendar.Event:
    """Make an event with its UID and the time of planning."""
    event = icalendar.Event()
    made = morning.now.astimezone(UTC).replace(microsecond=0)
    event.add("uid", identity)
    event.add("dtstamp", made)
    event.add("last-modified", made)
    return event


def _description(order: Order, morning: Morning) -> Iterator[str]:
    units, day = morning.farm.units, order.leave_at.date()
    yield (
        f"Leave {clock(order.leave_at, day)}, move {order.move_min:.0f} min "
        f"({show_distance(order.move_km, units)})"
    )
    yield f"Start {clock(order.start.mid, day)} ({time_range(order.start, day)})"
    yield f"Finish {finish_clock(order, morning, day)} ({time_range(order.finish, day)})"
    area = show_area(order.area_ha, units)
    yield f"{crop_name(order.crop)}, {area}, {grain_text(order, morning)}"
    yield f"Moisture {order.moisture_pct.mid:.1f} % ({moisture_range(order.moisture_pct)})"
    yield sentence(chance_text(order))
    if other := other_forecast(order):
        yield sentence(other)
    if left := left_unfinished(order, morning):
        yield sentence(left)
    if start := start_text(order, morning):
        yield f"Start {start}"
    if beyond := beyond_forecast(order, morning.forecast_until):
        yield sentence(beyond)
    yield haul_text(order)
    if len(order.deliveries) > 1:
        yield f"Grain {points_text(order, morning.farm)}"
    if order.headland_only:
        yield sentence(_(EDGE_ONLY))
    yield f"Why: {one_line(reason_text(order.reason, morning.farm.currency))}"
