"""Slots of time in farm time, across clock changes and midnight."""

from dataclasses import replace
from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from scheduler.farm.model import Cart, Crew
from scheduler.farm.opening_hours import down_slots, forbidden_slots, open_slots
from scheduler.farm.slots import farm_time, slot_times
from scheduler.farm.working_time import (
    crew_slots,
    machine_slots,
    meal_share,
    service_slots,
    work_start_slots,
)

CHICAGO = ZoneInfo("America/Chicago")
DAY = ((time(8), time(20)),) * 7


def hours(slots, mask, tz=CHICAGO):
    return [f"{farm_time(s, tz):%d %H:%M}" for s in slots[mask]]


def test_first_slot_is_the_first_whole_one_after_now():
    now = datetime(2026, 8, 12, 6, 10, tzinfo=CHICAGO)
    slots = slot_times(now, 1, 30)
    assert farm_time(slots[0], CHICAGO) == datetime(2026, 8, 12, 6, 30, tzinfo=CHICAGO)
    assert len(slots) == 48
    even = slot_times(datetime(2026, 8, 12, 6, tzinfo=CHICAGO), 1, 30)
    assert farm_time(even[0], CHICAGO).hour == 6


def test_windows_start_up_and_end_down():
    slots = slot_times(datetime(2026, 8, 12, 0, tzinfo=CHICAGO), 1, 30)
    mask = open_slots(((time(7, 40), time(9, 20)),) * 7, slots, CHICAGO)
    assert hours(slots, mask) == ["12 08:00", "12 08:30"]


def test_hours_past_midnight_belong_to_the_day_before():
    slots = slot_times(datetime(2026, 8, 12, 0, tzinfo=CHICAGO), 2, 60)
    week = (None, None, (time(22), time(2)), None, None, None, None)  # Wednesday night only
    assert hours(slots, open_slots(week, slots, CHICAGO)) == [
        "12 22:00",
        "12 23:00",
        "13 00:00",
        "13 01:00",
    ]


def test_open_to_midnight():
    slots = slot_times(datetime(2026, 8, 12, 20, tzinfo=CHICAGO), 1, 60)
    mask = open_slots(((time(21), time(0)),) * 7, slots, CHICAGO)
    assert hours(slots, mask) == ["12 21:00", "12 22:00", "12 23:00"]


@pytest.mark.parametrize(
    ("day", "count"), [(date(2026, 3, 8), 23), (date(2026, 11, 1), 25), (date(2026, 8, 12), 24)]
)
def test_a_day_of_the_clock_change_has_its_own_hours(day, count):
    slots = slot_times(datetime(day.year, day.month, day.day, tzinfo=CHICAGO), 2, 60)
    open_all_day = open_slots(((time(0), time(0)),) * 7, slots, CHICAGO)
    days = [farm_time(s, CHICAGO).date() for s in slots[open_all_day]]
    assert days.count(day) == count


def test_a_crew_rests_and_keeps_its_last_hours():
    slots = slot_times(datetime(2026, 8, 12, 0, tzinfo=CHICAGO), 2, 60)
    crew = Crew(
        id="A", combines=("C",), week=DAY, people=3, hours_max_day=10, absent=(date(2026, 8, 13),)
    )
    mask = crew_slots(crew, slots, CHICAGO)
    assert hours(slots, mask) == [f"12 {h}:00" for h in range(10, 20)]


def test_a_crew_away_for_part_of_a_day_works_the_rest():
    slots = slot_times(datetime(2026, 8, 12, 0, tzinfo=CHICAGO), 1, 60)
    away = (
        datetime(2026, 8, 12, 12, tzinfo=CHICAGO).astimezone(UTC),
        datetime(2026, 8, 12, 15, 30, tzinfo=CHICAGO).astimezone(UTC),
    )
    crew = Crew(id="A", combines=("C",), week=DAY, people=3, hours_max_day=24, away=(away,))
    worked = hours(slots, crew_slots(crew, slots, CHICAGO))
    whole = hours(slots, crew_slots(replace(crew, away=()), slots, CHICAGO))
    # the slot from 15:00 is touched by the absence
    assert [h for h in whole if h not in worked] == [f"12 {h}:00" for h in range(12, 16)]


def test_a_machine_is_up_between_joining_and_leaving():
    slots = slot_times(datetime(2026, 8, 12, 0, tzinfo=UTC), 1, 60)
    cart = Cart(id="hired", capacity_m3=30.0, unload_m3_s=0.2)
    assert machine_slots(cart, slots).all()
    cart = replace(
        cart,
        joins=datetime(2026, 8, 12, 3, 30, tzinfo=UTC),
        leaves=datetime(2026, 8, 12, 9, tzinfo=UTC),
        down=((datetime(2026, 8, 12, 5, tzinfo=UTC), datetime(2026, 8, 12, 6, tzinfo=UTC)),),
    )
    # joins within the slot from 3:00, is down from 5:00 to 6:00, and is gone at 9:00
    assert np.flatnonzero(machine_slots(cart, slots)).tolist() == [4, 6, 7, 8]


def test_down_spans_touch_their_slots():
    slots = slot_times(datetime(2026, 8, 12, 0, tzinfo=UTC), 1, 60)
    span = (datetime(2026, 8, 12, 3, 10, tzinfo=UTC), datetime(2026, 8, 12, 5, tzinfo=UTC))
    assert np.flatnonzero(down_slots([span], slots)).tolist() == [3, 4]


def test_forbidden_hours_are_touched_slots():
    slots = slot_times(datetime(2026, 8, 12, 0, tzinfo=CHICAGO), 1, 60)
    mask = forbidden_slots([(time(21, 30), time(6))], slots, CHICAGO)
    assert np.flatnonzero(mask).tolist() == [0, 1, 2, 3, 4, 5, 21, 22, 23]


def test_a_move_waits_until_roads_open():
    # shut in slots 3-5; a move takes up to 2 slots
    shut = np.array([0, 0, 0, 1, 1, 1, 0, 0, 0, 0], dtype=bool)
    # arriving at 3 moved in 1-2: fine; at 4 the move touched 3: sets off at 6, there at 8
    assert work_start_slots(shut, 2).tolist() == [0, 1, 2, 3, 8, 8, 8, 8, 8, 9]
    assert work_start_slots(shut, 0).tolist() == list(range(10))


def test_later_arrivals_never_start_earlier():
    rng = np.random.default_rng(5)
    for _ in range(200):
        shut = rng.random(40) < 0.3
        got = work_start_slots(shut, int(rng.integers(0, 6)))
        assert (np.diff(got) >= 0).all()
        assert (got >= np.arange(40)).all()


def served(now, service_min, **other):
    """Slots of service over two days of a crew that works 8 to 20 h."""
    crew = Crew(id="A", combines=(), week=DAY, people=1, service_min=service_min, **other)
    slots = slot_times(datetime(2026, 8, 12, *now, tzinfo=CHICAGO), 2, 30)
    return hours(slots, service_slots(crew, slots, CHICAGO))


def test_service_takes_the_first_slots_of_each_day():
    assert served((6,), 30.0) == ["12 08:00", "13 08:00"]
    assert served((6,), 45.0) == ["12 08:00", "12 08:30", "13 08:00", "13 08:30"]
    assert served((6,), 0.0) == []
    # at most eleven hours a day: a longer one loses its first
    assert served((6,), 30.0, hours_max_day=11.0) == ["12 09:00", "13 09:00"]


def test_a_day_that_has_begun_is_not_served_again():
    assert served((12,), 30.0) == ["13 08:00", "14 08:00"]


def test_hours_after_midnight_belong_to_the_evening_and_take_no_service():
    late = ((time(7), time(2)),) * 7
    crew = Crew(id="A", combines=(), week=late, people=1, hours_max_day=24.0, service_min=30.0)
    slots = slot_times(datetime(2026, 8, 12, 0, tzinfo=CHICAGO), 2, 30)
    assert hours(slots, service_slots(crew, slots, CHICAGO)) == ["12 07:00", "13 07:00"]


def test_hand_meals_are_a_share_of_the_day():
    crew = Crew(id="A", combines=(), week=DAY, people=1, meal_min=36.0)
    assert meal_share(crew) == pytest.approx(0.05)  # 0.6 of 12 h
    assert meal_share(replace(crew, hours_max_day=6.0)) == pytest.approx(0.1)
    assert meal_share(replace(crew, week=(None,) * 7)) == 0.0
