"""A crew's calendar: events, revisions and what was withdrawn, read back through icalendar.

RFC 5545: 3.8.4.7 UID, 3.8.7.4 SEQUENCE, 3.8.7.2 DTSTAMP, 3.8.7.3 LAST-MODIFIED, 3.8.1.11 STATUS.
RFC 5546: 2.1.5, the highest SEQUENCE of a UID obsoletes all others, then the latest DTSTAMP;
3.2.1, a published event needs UID, DTSTAMP, DTSTART and SUMMARY, and its STATUS may be CANCELLED.
"""

from dataclasses import replace
from datetime import timedelta
from types import SimpleNamespace

import icalendar
import mornings
import pytest

from scheduler.orders.model import MachineMove
from scheduler.report.crew_calendar import calendar, uid, withdrawn
from scheduler.report.files import plan_files, write_plan
from scheduler.report.phrases import field_title

NEXT = timedelta(hours=24)
HOUR = timedelta(hours=1)


def events(data):
    return icalendar.Calendar.from_ical(data).walk("VEVENT")


def by_title(data):
    return {str(e["LOCATION"]): e for e in events(data)}


def cancelled(data):
    return {str(e["LOCATION"]) for e in events(data) if e["STATUS"] == "CANCELLED"}


def ordered(morning, *orders, later=timedelta(0)):
    """The morning with these orders by crew, made so much later."""
    crews = zip(morning.crews, orders, strict=True)
    now = morning.now + later
    return replace(morning, now=now, crews=tuple(mornings.with_orders(c, o, now) for c, o in crews))


@pytest.fixture
def work(morning):
    """Orders of the two crews, three days on: not over on the next morning, nor by the clock."""

    def put_off(order):
        start, finish = (replace(t, mid=t.mid + 3 * NEXT) for t in (order.start, order.finish))
        leave_at = order.leave_at + 3 * NEXT
        return replace(order, leave_at=leave_at, start=start, finish=finish, locked=False)

    north, south = ([put_off(o) for o in c.orders] for c in morning.crews)
    return SimpleNamespace(north=north, south=south)


# the events


def test_calendar_has_the_orders_and_what_the_standard_requires(morning):
    data = calendar(morning.crews[0], morning)
    whole = icalendar.Calendar.from_ical(data)
    assert whole["VERSION"] == "2.0"
    assert whole["PRODID"]
    assert whole["METHOD"] == "PUBLISH"
    found = events(data)
    assert len(found) == len(morning.crews[0].orders)
    for event, order in zip(found, morning.crews[0].orders, strict=True):
        assert {"UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY", "SEQUENCE"} <= set(event)
        assert event.decoded("dtstart") == order.leave_at
        assert event.decoded("dtend") == order.finish.mid
        assert field_title(order) in event["DESCRIPTION"].replace("\n", " ")
        assert event.decoded("dtstamp") == morning.now
        assert event.decoded("last-modified") == morning.now
    for row in data.split(b"\r\n"):
        assert len(row) <= 75  # octets, RFC 5545 3.1


def test_calendar_carries_odd_names(morning):
    name = "Émile; his, \\ field\r\nBEGIN:VEVENT"
    crew = morning.crews[0]
    crew = mornings.with_orders(crew, (replace(crew.orders[0], name=name), *crew.orders[1:]))
    data = calendar(crew, morning)
    assert len(events(data)) == len(crew.orders)
    assert events(data)[0]["SUMMARY"] == "Émile; his, \\ field BEGIN:VEVENT (F01)"
    again = calendar(mornings.with_orders(crew, ()), morning, data)
    assert events(again)[0]["SUMMARY"] == (
        "No longer ordered: Émile; his, \\ field BEGIN:VEVENT (F01)"
    )


# revisions


def test_importing_again_moves_the_same_event(morning):
    later = replace(morning, now=morning.now + HOUR)
    crew = mornings.with_orders(morning.crews[0], morning.crews[0].orders[::-1])
    first = calendar(morning.crews[0], morning)
    old = {e["UID"]: e["SEQUENCE"] for e in events(first)}
    new = {e["UID"]: e["SEQUENCE"] for e in events(calendar(crew, later, first))}
    assert set(old) == set(new)
    assert all(new[k] > old[k] for k in old)
    assert max(new.values()) < 2**31
    other = {e["UID"] for e in events(calendar(morning.crews[1], morning))}
    assert not other & set(old)


def test_calendar_repeats_byte_by_byte(morning, work):
    crew = morning.crews[0]
    first = calendar(crew, morning)
    assert calendar(crew, morning) == first
    assert calendar(crew, morning, first) == first
    few = ordered(morning, work.north[:1], [])
    second = calendar(few.crews[0], few, first)
    assert cancelled(second)
    assert calendar(few.crews[0], few, second) == second


# law, RFC 5545 3.8.7.4 and RFC 5546 2.1.5: of two issues that differ the later one wins,
# whatever the time each was planned for
@pytest.mark.parametrize("later", [timedelta(0), timedelta(seconds=20), HOUR, -HOUR, -NEXT])
def test_sequence_grows_with_each_issue_that_differs(morning, later):
    crew = morning.crews[0]
    first = calendar(crew, morning)
    turned = replace(morning, now=morning.now + later)
    second = calendar(mornings.with_orders(crew, crew.orders[::-1]), turned, first)
    third = calendar(crew, turned, second)
    numbers = [{int(e["SEQUENCE"]) for e in events(data)} for data in (first, second, third)]
    assert all(len(n) == 1 for n in numbers)
    assert max(numbers[0]) < min(numbers[1]) <= max(numbers[1]) < min(numbers[2])


# what was withdrawn


def test_the_first_plan_of_all_withdraws_nothing(morning, drawn, tmp_path):
    write_plan(morning, tmp_path)
    for crew in ("north", "south"):
        data = (tmp_path / "plans" / "2025-08-16" / f"crew-{crew}.ics").read_bytes()
        assert events(data)
        assert cancelled(data) == set()


@pytest.mark.parametrize("later", [timedelta(0), HOUR, NEXT])
def test_a_field_moved_to_the_other_crew_is_withdrawn_from_the_first(
    morning, work, drawn, tmp_path, later
):
    write_plan(ordered(morning, work.north, work.south), tmp_path)
    before = (tmp_path / "plans" / "2025-08-16" / "crew-north.ics").read_bytes()
    moved = work.north[0]
    after = ordered(morning, work.north[1:], [*work.south, moved], later=later)
    new = write_plan(after, tmp_path)[0].parent
    north, south = (by_title((new / f"crew-{n}.ics").read_bytes()) for n in ("north", "south"))
    title = f"{moved.name} ({moved.field})"
    event, was = north[title], by_title(before)[title]
    assert event["STATUS"] == "CANCELLED"
    assert event["UID"] == was["UID"]
    assert event["SEQUENCE"] > was["SEQUENCE"]
    assert event.decoded("dtstamp") == after.now
    assert event.decoded("last-modified") == after.now
    assert event.decoded("dtstart") == was.decoded("dtstart")
    assert event["SUMMARY"] == f"No longer ordered: {title}"
    assert cancelled((new / "crew-north.ics").read_bytes()) == {title}
    assert south[title]["STATUS"] == "TENTATIVE"
    assert south[title]["UID"] == uid("South", moved, after) != event["UID"]
    assert cancelled((new / "crew-south.ics").read_bytes()) == set()


def test_a_dropped_field_stays_withdrawn_until_its_hours_are_over(morning, work):
    first = calendar(morning.crews[0], ordered(morning, work.north, work.south))
    title = f"{work.north[0].name} ({work.north[0].field})"
    data = calendar(ordered(morning, work.north, []).crews[0], morning, first)
    ends = (work.north[0].finish.mid + NEXT).replace(hour=0, minute=0)  # of the day by which
    for now in (morning.now + HOUR, morning.now + NEXT, ends - HOUR):
        plan = ordered(replace(morning, now=now), work.north[1:], [])
        data = calendar(plan.crews[0], plan, data)
        assert cancelled(data) == {title}
    over = ordered(replace(morning, now=ends), work.north[1:], [])
    assert title not in by_title(calendar(over.crews[0], over, data))


def test_a_field_that_is_back_is_an_event_again(morning, work):
    whole = ordered(morning, work.north, work.south)
    first = calendar(whole.crews[0], whole)
    without = ordered(morning, work.north[1:], work.south, later=HOUR)
    second = calendar(without.crews[0], without, first)
    again = ordered(morning, work.north, work.south, later=2 * HOUR)
    third = calendar(again.crews[0], again, second)
    title = f"{work.north[0].name} ({work.north[0].field})"
    old, gone, back = (by_title(data)[title] for data in (first, second, third))
    assert [str(e["STATUS"]) for e in (old, gone, back)] == ["TENTATIVE", "CANCELLED", "TENTATIVE"]
    assert old["UID"] == gone["UID"] == back["UID"]
    assert old["SEQUENCE"] < gone["SEQUENCE"] < back["SEQUENCE"]
    assert cancelled(third) == set()


def test_a_crew_in_no_plan_any_more_gets_a_calendar_that_withdraws_all(
    morning, work, drawn, tmp_path
):
    write_plan(ordered(morning, work.north, work.south), tmp_path)
    moves = (MachineMove(machine="C3", from_crew="South", to_crew="North"),)
    alone = replace(morning, now=morning.now + HOUR, crews=morning.crews[:1], machine_moves=moves)
    first = events(calendar(alone.crews[0], alone))[0]["DESCRIPTION"]
    assert first.splitlines()[0] == "Machines moved: C3 from South"
    for _ in range(2):  # a phone that missed the first learns it from the second
        home = write_plan(alone, tmp_path)[0].parent
        data = (home / "crew-south.ics").read_bytes()
        assert icalendar.Calendar.from_ical(data)["NAME"] == "Cutting order South"
        assert cancelled(data) == {f"{o.name} ({o.field})" for o in work.south}
        text = (home / "crew-south.txt").read_text()
        assert "South" in text
        assert "no orders, because no combine works with it; C3 to North." in text
        for event in events(data):
            assert event["DESCRIPTION"].splitlines()[-1] == "Machines moved: C3 to North"
        alone = replace(alone, now=alone.now + HOUR)
    write_plan(replace(alone, now=morning.now + 9 * NEXT), tmp_path)
    assert not (tmp_path / "plans" / "2025-08-25" / "crew-south.ics").exists()


def test_last_years_events_are_over(morning, drawn, tmp_path):
    write_plan(morning, tmp_path)
    home = write_plan(replace(morning, now=morning.now + 365 * NEXT), tmp_path)[0].parent
    assert cancelled((home / "crew-north.ics").read_bytes()) == set()


# an earlier plan that is broken or away


BROKEN = {
    "empty": lambda data: b"",
    "no text": lambda data: b"\xff\xfe\x00" * 40,
    "half": lambda data: data[: len(data) // 2],
    "two in one": lambda data: data + data,
    "no calendar": lambda data: b'{"schema": "afterrain plan"}',
    "no times": lambda data: data.replace(b"DTEND:2025", b"DTEND:soon"),
    "days": lambda data: data.replace(b"DTEND:", b"DTEND;VALUE=DATE:").replace(b"T193000Z", b""),
    "no number": lambda data: data.replace(b"SEQUENCE:2", b"SEQUENCE:x"),
    "twice": lambda data: data.replace(b"\r\nUID:", b"\r\nUID:a\r\nUID:"),
}


@pytest.mark.parametrize("how", BROKEN)
def test_a_broken_earlier_calendar_counts_as_not_issued(morning, how):
    crew = morning.crews[0]
    broken = BROKEN[how](calendar(crew, morning))
    later = replace(morning, now=morning.now + HOUR)
    assert calendar(crew, later, broken) == calendar(crew, later)
    assert calendar(mornings.with_orders(crew, ()), later, broken).count(b"VEVENT") <= 2
    assert withdrawn(broken, later).count(b"BEGIN:VEVENT") <= 1


def test_plans_whose_calendars_are_away_or_cannot_be_read(morning, drawn, tmp_path):
    home = write_plan(morning, tmp_path)[0].parent
    whole = {p.name: p.read_bytes() for p in home.iterdir()}
    (home / "crew-north.ics").unlink()
    (home / "crew-south.ics").unlink()
    (home / "crew-south.ics").mkdir()
    (home / "crew-other.ics").write_bytes(b"\x00")
    write_plan(morning, tmp_path)
    assert {p.name: p.read_bytes() for p in home.iterdir()} == whole


def test_an_interrupted_run_does_not_hide_the_plan_before(morning, work, drawn, tmp_path):
    home = write_plan(ordered(morning, work.north, work.south), tmp_path)[0].parent
    home.rename(home.with_name(".2025-08-16.previous"))  # killed between the two renames
    write_plan(ordered(morning, work.north[1:], work.south), tmp_path)
    title = f"{work.north[0].name} ({work.north[0].field})"
    assert cancelled((home / "crew-north.ics").read_bytes()) == {title}


def test_a_plan_for_an_earlier_day_does_not_know_later_ones(morning, drawn, tmp_path):
    write_plan(replace(morning, now=morning.now + NEXT), tmp_path)
    home = write_plan(morning, tmp_path)[0].parent
    assert {n: (home / n).read_bytes() for n in plan_files(morning, {})} == plan_files(morning, {})
