"""Text messages: first things first, within their length and alphabet."""

from dataclasses import replace

import mornings
import pytest

from scheduler.report.messages import MESSAGE_CHARS, message


@pytest.fixture
def morning():
    return mornings.morning(fields=4, days=3, members=5)


def test_message_has_first_things_first(morning):
    text = message(morning.crews[0], morning)
    assert text.startswith("North Sat 16 Aug: 1) Home quarter (F01) leave 09:20 cut 10:00-14:30")
    assert "98.8 ac 14.4% 5.1 loads to Elevator, chance 90%" in text
    assert text.endswith("See sheet.")


@pytest.mark.parametrize("name", ["x" * 400, "Señor Müller's Zuñi ground", "F"])
def test_message_fits_two_joined_texts(morning, name):
    text = message(mornings.with_first_order(morning, name=name).crews[0], morning)
    assert len(text) <= MESSAGE_CHARS
    assert text.isascii()  # the 7-bit alphabet of GSM 03.38 holds every letter used


def test_message_never_skips_an_order_to_name_a_later_one(morning):
    crew = mornings.morning(fields=12).crews[0]
    same = crew.orders[0].start
    orders = [
        replace(o, start=same, name=o.name * (8 if i == 1 else 1))
        for i, o in enumerate(crew.orders)
    ]
    text = message(replace(crew, orders=tuple(orders)), morning)
    assert "1) " in text
    assert "2) " not in text
    assert "3) " not in text


def test_message_of_a_crew_without_work(morning):
    idle = replace(morning.crews[0], orders=(), note="nothing to cut within the days planned")
    assert message(idle, morning) == "North Sat 16 Aug: nothing to cut within the days planned"
