"""The morning in five lines: the same for terminal, page, text and sheet."""

from dataclasses import replace
from datetime import timedelta

import mornings
import pytest

from readiness.season.codes import Reason
from scheduler.farm.wording import clock
from scheduler.orders.document import read_issued_plan
from scheduler.orders.model import SHUT, TURNED_AWAY, Delivery, MachineMove
from scheduler.orders.reasons import IdleNote
from scheduler.report.plan_document import document
from scheduler.report.today import clock_span, crew_days


@pytest.fixture
def morning():
    return mornings.morning(fields=6, days=3, members=5)


def test_five_lines_of_a_crew(morning):
    day = crew_days(morning)[0]
    assert (day.title, day.crew, day.day) == ("Crew North", "North", morning.now.date())
    assert day.five == (
        ("Who", "C1, C2 with cart North; trucks T1, T2; 5 people"),
        ("Go", "Leave 9:20 am for Home quarter (F01), hard wheat: 5.9 mi, 40 min."),
        ("Cut", "Start 10 am at 16 % or drier, cut until 2:30 pm: all 98.8 ac."),
        ("Grain", "Elevator. Expect about 6 loads."),
        ("Not fit", "Tough: wait 3 h. Soft: Mail road north (F03), then back."),
    )
    assert day.then == ("Mail road north (F03): leave 2:20 pm, cut 3-7:30 pm, 158 ac (78 %)",)


def test_a_machine_that_changes_crews_is_in_the_first_line_of_both(morning):
    moves = (MachineMove(machine="C2", from_crew="North", to_crew="South"),)
    north, south = crew_days(replace(morning, machine_moves=moves))
    assert north.five[0][1].startswith("C2 to South. Crew: ")
    assert south.five[0][1].startswith("C2 from North. Crew: ")


def test_a_machine_that_is_down_stands_with_its_return_and_not_among_those_that_leave(morning):
    crew = morning.crews[0]
    back = morning.now + timedelta(days=2, hours=3)
    joined = replace(crew, joins=((crew.combines[0], back),))
    north, _ = crew_days(replace(morning, crews=(joined, *morning.crews[1:])))
    whole, _ = crew_days(morning)
    day = f"{back:%a}"
    assert north.who.endswith(f"; {crew.combines[0]} joins {day} 9 am")
    assert whole.who.startswith(crew.combines[0])
    assert not north.who.startswith(crew.combines[0])


def test_an_own_order_that_waits_says_when_it_begins(morning):
    north = morning.crews[0]
    first, second = (replace(o, locked=False) for o in north.orders[:2])
    assert crew_days(morning)[0].held == ""  # the crew begins the day with the held field
    later = first.start.mid + timedelta(days=2)
    held = replace(second, locked=True, start=mornings.spread(later, 1))
    waits = replace(north, orders=(first, held, *north.orders[2:]))
    day = crew_days(replace(morning, crews=(waits, *morning.crews[1:])))[0]
    title = f"{second.name} ({second.field})"
    assert day.held == f"Your order: {title} from {clock(later, day.day, 'us')}."
    assert dict(day.five)["Go"].endswith(day.held)
    idle = replace(waits, stints=())
    day = crew_days(replace(morning, crews=(idle, *morning.crews[1:])))[0]
    assert day.held
    assert dict(day.five)["Go"].endswith(day.held)


def test_tomorrow_says_nothing_of_today(morning):
    moves = (MachineMove(machine="C2", from_crew="North", to_crew="South"),)
    (north, _) = crew_days(replace(morning, machine_moves=moves), ahead=1)
    assert north.moved == north.otherwise == ""
    assert [s.stint.field for s in north.stints] == ["F05"]


def test_a_crew_that_cuts_nothing_and_one_without_a_combine(morning):
    crew = replace(mornings.with_orders(morning.crews[0], ()), note=IdleNote(first_start=None))
    moves = (MachineMove(machine="C3", from_crew="South", to_crew="North"),)
    north, south = crew_days(replace(morning, crews=(crew,), machine_moves=moves))
    assert north.five[1] == ("Go", "Nothing to cut within the days planned.")
    assert south.five == (
        ("Who", "C3 to North. Crew: nobody"),
        ("Go", "No orders, because no combine works with it; C3 to North."),
    )


def test_a_crew_that_cuts_nothing_tomorrow_says_why(morning):
    note = IdleNote(first_start=None, tomorrow=True, closed_by=Reason.STRAW)
    crew = replace(morning.crews[0], stints=(), note="nothing to cut today", note_tomorrow=note)
    crew = replace(crew, orders=())
    dull = replace(morning, crews=(crew, morning.crews[1]))
    assert crew_days(dull, ahead=1)[0].stays == "Nothing to cut: straw too tough."
    assert crew_days(dull)[0].stays == "Nothing to cut today."
    issued = read_issued_plan(document(dull), morning.farm)
    assert crew_days(issued, ahead=1)[0].stays == "Nothing to cut: straw too tough."


def test_a_field_that_opens_in_some_forecasts_only_is_named(morning):
    (first, *_) = morning.crews[0].orders
    crew = replace(morning.crews[0], stints=(), note="nothing to cut today")
    crew = replace(crew, orders=(replace(first, start=mornings.spread(first.start.mid, 2)),))
    (north, _) = crew_days(replace(morning, crews=(crew, morning.crews[1])))
    assert north.idle == (
        "Nothing to cut today. In one forecast of ten Home quarter (F01) opens by 8 am."
    )


def lines_of(morning, **changes):
    """The lines of the first stay of the first crew with other attributes."""
    crew = morning.crews[0]
    crew = replace(crew, stints=(replace(crew.stints[0], **changes), *crew.stints[1:]))
    return crew_days(replace(morning, crews=(crew, *morning.crews[1:])))[0].stints[0]


def test_a_part_of_a_field_is_said_to_be_unfinished(morning):
    lines = lines_of(morning, finished=False, area_ha=20.0, begun=0.6)
    assert lines.start == (
        "Start 10 am at 16 % or drier, cut until 2:30 pm: 49.4 of 98.8 ac, not finished. Cut that "
        "day in 60 % of the forecasts."
    )
    assert ": the last 49.4 ac." in lines_of(morning, area_ha=20.0).start
    doubtful = lines_of(morning, done=0.4).start
    assert doubtful.endswith("Done by the end of that day in 40 % of the forecasts.")


def test_grain_goes_by_moisture_band(morning):
    elevator, bins = morning.farm.points
    markets = {k: replace(m, moisture_limit_pct=15.0) for k, m in elevator.markets.items()}
    middle = replace(
        elevator,
        id="Junction",
        markets={k: replace(m, moisture_limit_pct=16.0) for k, m in markets.items()},
    )
    wet = {k: replace(m, moisture_limit_pct=20.0) for k, m in markets.items()}
    points = (replace(elevator, markets=markets), middle, replace(bins, markets=wet))
    farm = replace(morning.farm, points=points)
    deliveries = tuple(
        Delivery(point=p, tonnes=t, loads=t / 10, why=why)
        for p, t, why in (
            ("Elevator", 0.0, ""),
            ("Junction", 12.0, TURNED_AWAY),
            ("Home bins", 61.0, TURNED_AWAY),
        )
    )
    made = replace(morning, farm=farm)
    assert lines_of(made, deliveries=deliveries).grain == (
        "Up to 15 %: Elevator; 15-16 %: Junction; wetter: Home bins. Expect about 2 loads to "
        "Junction, about 7 loads to Home bins."
    )
    one = (deliveries[0], replace(deliveries[2], why=SHUT))
    assert lines_of(made, deliveries=one).grain == (
        "Elevator; Home bins when Elevator is shut. Expect about 7 loads to Home bins."
    )
    soft = lines_of(morning, headland_only=True).grain
    assert soft.endswith("Cart, trucks on the headland.")


def test_start_moisture_is_what_some_point_takes(morning):
    # hand: the policy starts at 40 %, wheat threshes to 20 %, the points take up to 17 %
    assert "at 17 % or drier" in lines_of(morning, start_pct=40.0).start


def test_an_issued_plan_has_the_same_lines(morning):
    issued = read_issued_plan(document(morning), morning.farm)
    planned, read = crew_days(morning), crew_days(issued)
    assert [d.five[:4] for d in planned] == [d.five[:4] for d in read]
    assert [d.then for d in planned] == [d.then for d in read]


def test_clock_spans():
    at = mornings.NOW.replace(hour=20, minute=55)
    late = at.replace(hour=22, minute=30)
    assert clock_span(at, late, "us") == "8:55-10:30 pm"
    assert clock_span(at.replace(hour=11), late, "us") == "11:55 am-10:30 pm"
    assert clock_span(at.replace(hour=12, minute=0), late, "us") == "noon-10:30 pm"
    assert clock_span(at, late, "metric") == "20:55-22:30"
