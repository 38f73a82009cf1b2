"""Text messages: first things first, within their length and alphabet."""

from dataclasses import replace
from datetime import timedelta

import mornings
import pytest

from scheduler.orders.model import TURNED_AWAY, Delivery, Fallback, MachineMove
from scheduler.orders.reasons import FallbackAction, Wait
from scheduler.report.messages import MESSAGE_CHARS, idle_message, message


@pytest.fixture
def morning():
    return mornings.morning(fields=4, days=3, members=5)


def test_message_has_first_things_first(morning):
    text = message(morning.crews[0], morning)
    assert text.startswith(
        "North Sat 16 Aug: 1) Home quarter (F01): leave 9:20 am, cut from 10 am at 16% or "
        "drier, 98.8 ac. Tough: wait 3 h. Soft: Mail road north (F03), then back. Grain Elevator. "
        "Caution: fire, long day. Cut by Sat 16 Aug in 90% of the forecasts."
    )
    assert text.endswith("See sheet.")


def test_a_crew_that_begins_on_another_day_reads_so(morning):
    early = replace(morning, now=morning.now - timedelta(days=1))
    text = message(morning.crews[0], early)
    assert text.startswith(
        "North Fri 15 Aug: nothing to cut today. 1) Home quarter (F01): leave Sat 9:20 am, cut"
    )


def test_a_metric_farm_has_a_clock_of_24_hours():
    text = message((m := mornings.morning(fields=4, units="metric")).crews[0], m)
    assert "leave 09:20, cut from 10:00 at 16% or drier, 40.0 ha." in text


def test_message_says_where_grain_goes_how_long_to_wait_and_who_has_which_machine(morning):
    north, south = mornings.morning(fields=6).crews
    farm = morning.farm
    elevator, bins = farm.points
    wet = {k: replace(m, moisture_limit_pct=20.0) for k, m in bins.markets.items()}
    farm = replace(farm, points=(elevator, replace(bins, markets=wet)))
    deliveries = tuple(
        Delivery(point=p, tonnes=10.0, loads=1.0, why=why)
        for p, why in (("Elevator", ""), ("Home bins", TURNED_AWAY))
    )
    go = FallbackAction(
        first_name="x", wait=Wait.TOMORROW, other_name="Mail road north", other_field="F03"
    )
    crew = replace(
        south,
        orders=(replace(south.orders[0], deliveries=deliveries), *south.orders[1:]),
        fallback=Fallback(if_tough=go, if_soft=go),
    )
    moves = (MachineMove(machine="C2", from_crew="North", to_crew="South"),)
    text = message(crew, replace(morning, farm=farm, machine_moves=moves, cautions=()))
    assert text.startswith("South Sat 16 Aug: C2 from North. 1) ")
    assert "Grain up to 17%: Elevator; wetter: Home bins." in text
    assert "Tough or soft: wait 30 min, then Mail road north (F03), then back." in text
    assert message(north, replace(morning, machine_moves=moves)).startswith(
        "North Sat 16 Aug: C2 to South. 1) "
    )


def test_message_of_a_crew_that_has_lost_its_combine(morning):
    moves = (MachineMove(machine="C3", from_crew="South", to_crew="North"),)
    alone = replace(morning, crews=morning.crews[:1], machine_moves=moves)
    assert idle_message("South", alone) == (
        "South Sat 16 Aug: no orders, because no combine works with it; C3 to North."
    )


@pytest.mark.parametrize("name", ["x" * 400, "Señor Müller's Zuñi ground", "F"])
def test_message_fits_two_joined_texts(morning, name):
    text = message(mornings.with_first_order(morning, name=name).crews[0], morning)
    assert len(text) <= MESSAGE_CHARS <= 306
    assert "leave 9:20 am, cut from 10 am at 16% or drier" in text
    assert text.isascii()  # the 7-bit alphabet of GSM 03.38 holds every letter used


def test_message_never_skips_an_order_to_name_a_later_one(morning):
    crew = mornings.morning(fields=12).crews[0]
    same = crew.orders[0].start
    orders = [
        replace(
            o, start=same, name=o.name * (8 if i == 1 else 1), field=o.field * (20 if i == 1 else 1)
        )
        for i, o in enumerate(crew.orders)
    ]
    text = message(replace(crew, orders=tuple(orders)), morning)
    assert "1) " in text
    assert "2) " not in text
    assert "3) " not in text


def test_message_of_a_crew_without_work(morning):
    idle = replace(morning.crews[0], orders=(), note="nothing to cut within the days planned")
    assert message(idle, morning) == "North Sat 16 Aug: nothing to cut within the days planned"
