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
from datetime import UTC, date, datetime, timedelta

import icalendar

from scheduler.farm.units import show_area
from scheduler.farm.wording import day_and_time, one_line, sentence
from scheduler.language.translation import N_, _
from scheduler.orders.model import CLOCK_DAYS, CrewOrders, Morning, Order, Stint
from scheduler.report.order_phrases import (
    chance_text,
    idle_crews,
    last_day,
    machine_change_text,
    points_text,
    reason_text,
    start_text,
    way_lines,
)
from scheduler.report.phrases import (
    EDGE_ONLY,
    field_title,
    grain_text,
    own_crop,
)
from scheduler.report.today import crew_day
from scheduler.report.weather_phrases import beyond_forecast

TITLE = N_("Cutting order {crew}")


@dataclass(frozen=True, kw_only=True)
class IssuedEvent:
    """An event of an earlier calendar, as far as its cancelling needs it."""

    uid: str
    begin: datetime | date
    end: datetime | date
    field: str  # title of the field
    sequence: int

    def ahead(self, now: datetime) -> bool:
        """Whether the event is not over."""
        if isinstance(self.end, datetime):
            return self.end > now
        return self.end > now.date()


def calendar(crew: CrewOrders, morning: Morning, earlier: bytes = b"") -> bytes:
    """Write the crew's stays of today and tomorrow by the clock, its later fields by 'cut by' day.

    Parameters
    ----------
    earlier : the calendar that the crew got before; events that cannot be read are ignored.
    """
    machine_lines = _machine_lines(crew.crew, morning)
    stays = list(_stay_events(crew, morning))
    near = {(s.field, s.parcel) for s in crew.stints}
    later = [
        _later_event(crew, place, order, morning)
        for place, order in enumerate(crew.orders, 1)
        if (order.field, order.parcel) not in near
    ]
    ordered = [*stays, *later]
    if ordered and machine_lines:
        ordered[0]["description"] = icalendar.vText(
            "\n".join([*machine_lines, str(ordered[0]["description"])])
        )
    return _issue(_(TITLE, crew=one_line(crew.crew)), ordered, morning, earlier, machine_lines)


def withdrawn(earlier: bytes, morning: Morning) -> bytes:
    """Write the calendar of a crew that is in no plan any more; empty where nothing is to cancel.

    Parameters
    ----------
    earlier : the calendar that the crew got before; events that cannot be read are ignored.
    """
    if not any(e.ahead(morning.now) for e in _issued_events(earlier)):
        return b""
    before = icalendar.Calendar.from_ical(earlier)
    title = str(before.get("name", ""))
    machine_lines = [
        line
        for crew in idle_crews(morning)
        if title == _(TITLE, crew=one_line(crew))
        for line in _machine_lines(crew, morning)
    ]
    return _issue(title, [], morning, earlier, machine_lines)


def uid(crew: str, order: Order | Stint, morning: Morning, again: int = 0) -> str:
    """Identity of an event: farm, harvest year, crew, field and parcel.

    Parameters
    ----------
    again : the how-many-eth return of the crew to the field; 0 for its first stay.
    """
    parts = (morning.farm.name, str(morning.now.year), crew, order.field, order.parcel)
    key = "\n".join((*parts, *([str(again)] if again else ())))
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
        if e.ahead(morning.now) and e.uid not in uids
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
    if not (isinstance(begin, date) and isinstance(end, date)):  # a datetime is a date, too
        return None
    name, field, number = (event.get(name) for name in ("uid", "location", "sequence"))
    if not (isinstance(name, str) and isinstance(field, str) and isinstance(number, int)):
        return None
    timed = [isinstance(x, datetime) for x in (begin, end)]
    if timed[0] != timed[1] or any(isinstance(x, datetime) and not x.tzinfo for x in (begin, end)):
        return None
    return IssuedEvent(uid=str(name), begin=begin, end=end, field=str(field), sequence=number)


def _stay_events(crew: CrewOrders, morning: Morning) -> Iterator[icalendar.Event]:
    """An event for each stay of today and tomorrow, from leaving to its end."""
    held = {(o.field, o.parcel) for o in crew.orders if o.locked}
    seen: dict[tuple[str, str], int] = {}
    days = [morning.now.date() + timedelta(days=d) for d in range(CLOCK_DAYS)]
    for day in [crew_day(crew, morning, d) for d in days]:
        for place, lines in enumerate(day.stints):
            stint = lines.stint
            key = stint.field, stint.parcel
            event = _stamped(uid(crew.crew, stint, morning, seen.get(key, 0)), morning)
            seen[key] = seen.get(key, 0) + 1
            event.add("dtstart", stint.leave_at.astimezone(UTC))
            event.add("dtend", stint.until.astimezone(UTC))
            event.add("summary", field_title(stint))
            texts = [lines.go, lines.start, lines.grain]
            if place == 0:
                texts += [day.otherwise, day.who, *way_lines(crew)]
            event.add("description", "\n".join(text for text in texts if text))
            _add_place(event, stint, morning)
            event.add("status", "CONFIRMED" if key in held else "TENTATIVE")
            yield event


def _later_event(crew: CrewOrders, place: int, order: Order, morning: Morning) -> icalendar.Event:
    """A field after tomorrow: the whole day by which it is cut."""
    event = _stamped(uid(crew.crew, order, morning), morning)
    day = last_day(order)
    event.add("dtstart", day)
    event.add("dtend", day + timedelta(days=1))
    event.add("summary", _("{place}. {field}, cut by", place=place, field=field_title(order)))
    event.add("description", "\n".join(_description(order, morning)))
    event.add("transp", "TRANSPARENT")  # the day stays free
    _add_place(event, order, morning)
    event.add("status", "CONFIRMED" if order.locked else "TENTATIVE")
    return event


def _add_place(event: icalendar.Event, order: Order | Stint, morning: Morning) -> None:
    """Position and title of the field."""
    spot = next((f for f in morning.farm.fields if f.id == order.field), None)
    if spot is not None:
        event.add("geo", (spot.lat, spot.lon))
    event.add("location", field_title(order))


def _machine_lines(crew: str, morning: Morning) -> list[str]:
    """Machines that join or leave the crew."""
    moves = machine_change_text(crew, morning)
    return [_("Machines moved: {moves}", moves=moves)] if moves else []


def _cancelled(
    issued: IssuedEvent, morning: Morning, machine_lines: Sequence[str]
) -> icalendar.Event:
    """Cancel an event, in words too, because not every program reads STATUS."""
    event = _stamped(issued.uid, morning)
    event.add("dtstart", issued.begin)
    event.add("dtend", issued.end)
    event.add("location", issued.field)
    event.add("summary", _("No longer ordered: {field}", field=issued.field))
    made = day_and_time(morning.now, morning.farm.units)
    lines = [_("Not among this crew's orders in the plan of {made}", made=made), *machine_lines]
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
    """What is known of a field after tomorrow: no clock times, because they change."""
    units = morning.farm.units
    yield sentence(chance_text(order))
    area = show_area(order.area_ha, units)
    yield f"{own_crop(order, morning.farm)}, {area}, {grain_text(order, morning)}"
    if start := start_text(order, morning):
        yield _("Start {moisture}", moisture=start)
    if beyond := beyond_forecast(order, morning):
        yield sentence(beyond)
    yield sentence(points_text(order, morning.farm))
    if order.headland_only:
        yield sentence(_(EDGE_ONLY))
    yield sentence(one_line(reason_text(order.reason, morning.farm)))
