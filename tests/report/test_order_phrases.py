"""Every reason code has its words, and words of an issued plan pass unchanged."""

import math
from dataclasses import replace
from datetime import timedelta

import mornings
import pytest

from readiness.season.codes import Reason
from scheduler.explanation.own_order import OwnOrderPrice
from scheduler.farm.model import Rules
from scheduler.orders.changes import changes_since, machine_moves
from scheduler.orders.decision import Difference
from scheduler.orders.model import (
    SHUT,
    TURNED_AWAY,
    Change,
    ChangeKind,
    Deciding,
    DecidingCause,
    Delivery,
    MachineMove,
)
from scheduler.orders.reasons import (
    Barred,
    FallbackAction,
    IdleNote,
    LeftOutKind,
    LeftOutReason,
    OrderReason,
    Otherwise,
    Wait,
)
from scheduler.report.order_phrases import (
    chance_text,
    change_text,
    deciding_lines,
    fallback_text,
    finish_clock,
    left_out_text,
    left_unfinished,
    machine_change_text,
    makeup_lines,
    note_text,
    other_forecast,
    own_order_lines,
    points_text,
    reason_text,
    short_change,
    short_fallback,
    start_text,
    way_lines,
)

TEN = mornings.NOW.replace(hour=10)
FARM = mornings.farm()
REASON = OrderReason(
    done=1.0,
    closed_by=Reason.GRAIN,
    opens=TEN,
    cheapest=Otherwise.LATER,
    swap_with="Hilltop",
    cost=488.0,
)


@pytest.mark.parametrize(
    ("changes", "text"),
    [
        ({}, "dry enough about 10 am; cheapest change: swap with Hilltop after it, $488"),
        (
            {"done": 0.4, "cheapest": None},
            "finished within the days planned in 40 % of the forecasts; dry enough about 10 am",
        ),
        (
            {"closed_by": None, "opens": None, "cheapest": Otherwise.LEAVE},
            "fit already, next in line; leaving it would cost $488",
        ),
        (
            {"closed_by": Reason.WIND, "cheapest": Otherwise.OTHER_CREW, "cost": 0.4},
            "wind falls by about 10 am; cheapest change: the other crew, at no cost: your call",
        ),
        (
            {"waits_pct": 16.5, "cheapest": Otherwise.EARLIER},
            "dry enough about 10 am; waits for 16.5 %, when the grain loses less; cheapest change: "
            "swap with Hilltop before it, $488",
        ),
    ],
)
def test_reason_of_an_order(changes, text):
    assert reason_text(replace(REASON, **changes), FARM) == text


def test_every_cause_but_open_has_its_words():
    for cause in set(Reason) - {Reason.OPEN}:
        assert reason_text(replace(REASON, closed_by=cause), FARM)
        assert left_out_text(LeftOutReason(kind=LeftOutKind.CLOSED, closed_by=cause))


@pytest.mark.parametrize(
    ("reason", "text"),
    [
        (
            LeftOutReason(kind=LeftOutKind.CLOSED, closed_by=Reason.GREEN),
            "cannot be cut in the days planned: mostly not ripe",
        ),
        (
            LeftOutReason(kind=LeftOutKind.TURNED_AWAY),
            "too wet for every delivery point whenever it can be cut",
        ),
        (
            LeftOutReason(kind=LeftOutKind.DATES),
            "its dates for harvest leave no hour in the days planned",
        ),
        (
            LeftOutReason(kind=LeftOutKind.QUALITY),
            "its grain is beyond the limits of every delivery point, and none pays for it as feed",
        ),
        (
            LeftOutReason(kind=LeftOutKind.NO_DELIVERY_POINT),
            "no crew has a truck that hauls it to a delivery point",
        ),
        (
            LeftOutReason(kind=LeftOutKind.LOSES_MORE_ELSEWHERE),
            "no crew gets to it in the days planned without losing more elsewhere",
        ),
    ],
)
def test_reason_of_a_field_left_out(reason, text):
    assert left_out_text(reason) == text


def test_fallback_waits_or_goes_elsewhere():
    stay = FallbackAction(first_name="Home", wait=Wait.THREE_HOURS)
    assert fallback_text(stay) == "wait three hours at Home: no other field is worth the move"
    tomorrow = replace(stay, wait=Wait.TOMORROW)
    assert fallback_text(tomorrow) == "wait for tomorrow at Home: no other field is worth the move"
    go = replace(stay, other_name="Hill", other_field="F2", other_parcel="wet hollow")
    assert fallback_text(go) == "go to Hill (F2, wet hollow) and come back to Home after"
    short = [short_fallback(a) for a in (stay, tomorrow, go)]
    assert short == ["wait 3 h", "wait for tomorrow", "Hill (F2, wet hollow), then back"]


def test_idle_note():
    assert note_text(IdleNote(first_start=None), "us") == "nothing to cut within the days planned"
    assert note_text(IdleNote(first_start=TEN, ordered=True), "us") == (
        "nothing to cut today; first start Sat 16 Aug 10 am"
    )
    assert note_text("", "us") == ""


def test_an_idle_note_says_what_else_bars_the_crew_today_and_tomorrow():
    full = IdleNote(first_start=None, ordered=True, barred=Barred.NO_POINT)
    assert note_text(full, "us") == "nothing to cut today: the delivery points are shut or full"
    off = IdleNote(first_start=None, tomorrow=True, barred=Barred.OFF)
    assert note_text(off, "us") == "nothing to cut: the crew is off"
    down = replace(off, barred=Barred.NO_COMBINE)
    assert note_text(down, "us") == "nothing to cut: no combine of the crew is up"
    rain = replace(off, barred=None, closed_by=Reason.GROUND, rain_mm=18.0)
    assert note_text(rain, "us") == "nothing to cut: rain, about 0.7 in"
    assert note_text(replace(off, barred=None), "us") == "nothing to cut"


def test_an_idle_note_says_rain_and_when_the_first_field_may_open():
    wet = IdleNote(first_start=TEN, ordered=True, closed_by=Reason.GROUND, rain_mm=18.0)
    early = replace(wet, opens=TEN.replace(hour=8))
    rain = "nothing to cut today: rain, about 0.7 in; first start Sat 16 Aug 10 am"
    assert note_text(wet, "us") == rain
    assert note_text(replace(wet, opens=TEN), "us") == rain
    assert note_text(early, "us") == (
        f"{rain}; in one forecast of ten some field opens by Sat 16 Aug 8 am"
    )
    waiting = replace(wet, closed_by=None, waits_pct=14.5)
    assert note_text(waiting, "us") == (
        "nothing to cut today: waits for 14.5 %, when the grain loses less; first start Sat 16 Aug "
        "10 am"
    )
    dry = replace(wet, rain_mm=0.2)
    assert note_text(dry, "us") == (
        "nothing to cut today: ground too soft; first start Sat 16 Aug 10 am"
    )
    green = replace(early, first_start=None, ordered=False, closed_by=Reason.GREEN)
    assert note_text(green, "metric") == (
        "nothing to cut within the days planned: not ripe; in one forecast of ten some field opens "
        "by Sat 16 Aug 08:00"
    )


def test_changes_against_the_previous_orders():
    north, south = mornings.crews(mornings.farm(fields=6))
    first, second, third = north.orders
    moved = replace(
        second,
        start=mornings.spread(second.start.mid + timedelta(hours=5), 1),
        parcel="wet hollow",
    )
    before = (replace(north, orders=(replace(second, parcel="wet hollow"), third)), south)
    after = (
        replace(north, orders=(first, moved)),
        replace(south, orders=(*south.orders, third)),
    )
    changes = changes_since(before, after, now=mornings.NOW)
    assert [c.kind for c in changes] == [
        ChangeKind.NEW,
        ChangeKind.OTHER_TIME,
        ChangeKind.OTHER_CREW,
    ]
    why = reason_text(first.reason, FARM)
    start = "Sat 16 Aug 8 pm"
    assert [change_text(c, FARM) for c in changes] == [
        f"{first.name}: new with North, place 1: {why}",
        f"{second.name}, wet hollow: starts 5 h later, {start}: {why}",
        f"{third.name}: now South, was North: {why}",
    ]
    assert [short_change(c) for c in changes] == [
        f"{first.name} new with North",
        f"{second.name}, wet hollow 5 h later",
        f"{third.name} now South",
    ]
    assert changes_since(before, before, now=mornings.NOW) == ()
    later = mornings.NOW - timedelta(hours=72)  # both starts are more than two days off
    kinds = [c.kind for c in changes_since(before, after, now=later)]
    assert kinds == [ChangeKind.NEW, ChangeKind.OTHER_CREW]
    without = (before[0], replace(south, orders=south.orders[1:]))
    (dropped,) = changes_since(before, without, now=mornings.NOW)
    assert change_text(dropped, FARM) == (
        f"{south.orders[0].name}: no longer ordered (was South); it is cut, or left out below"
    )


def test_machines_move_against_the_previous_orders_or_else_the_farm_file():
    place = mornings.farm()
    north, south = mornings.crews(place)
    joined = (replace(north, combines=("C1", "C2", "C3")), replace(south, combines=()))
    moved = (MachineMove(machine="C3", from_crew="South", to_crew="North"),)
    assert machine_moves(place, None, joined) == moved
    assert machine_moves(place, joined, joined) == ()
    assert machine_moves(place, joined, (north, south)) == (
        MachineMove(machine="C3", from_crew="North", to_crew="South"),
    )


def test_a_start_days_sooner():
    order = mornings.crews(mornings.farm())[0].orders[0]
    change = Change(kind=ChangeKind.OTHER_TIME, order=order, crew="North", place=1, later_h=-48.0)
    assert "starts 2 days sooner, " in change_text(change, FARM)


# hand: a difference is real where it exceeds two standard errors; 250 > 2 * 100, 250 < 2 * 130
@pytest.mark.parametrize(
    ("more", "error", "verdict"),
    [
        (250.0, 100.0, "yours costs $250 more, give or take $100"),
        (250.0, 130.0, "yours costs $250 more, give or take $130: no real difference"),
        (-200.0, 40.0, "yours saves $200, give or take $40: take it"),
        (-200.0, 120.0, "yours saves $200, give or take $120: no real difference"),
        (250.0, math.inf, "yours costs $250 more, error unknown: no real difference"),
        (0.4, 0.0, "yours is as good as the plan"),
    ],
)
def test_own_order_against_the_plan(more, error, verdict):
    made = OwnOrderPrice(
        loss=1000.0 + more,
        plan_loss=1000.0,
        more=Difference(mean=more, error=error),
        left_uncut=(),
    )
    assert own_order_lines(made, "$") == [
        f"your order loses ${1000 + more:,.0f}; the plan $1,000",
        verdict,
    ]
    price = replace(made, left_uncut=("Hill", "Home"))
    assert own_order_lines(price, "$")[2] == "left uncut, though the plan cuts them: Hill, Home"


def test_start_moisture_of_today_and_of_later_days():
    # hand: 16 today, 18 later; both points take up to 17 %
    morning = mornings.morning(fields=6)
    wheat, canola, hill = morning.crews[0].orders
    assert start_text(wheat, morning) == "at 16 % or drier"
    assert hill.start.mid.date() > morning.now.date()
    assert start_text(hill, morning) == "at 17 % or drier"
    assert start_text(replace(hill, later_pct=15.46), morning) == "at 15.5 % or drier"
    assert start_text(replace(hill, later_pct=math.nan), morning) == ""
    lower = replace(morning.farm, rules=Rules(thresh_limit_pct={"wheat_hard": 15.0}))
    assert start_text(wheat, replace(morning, farm=lower)) == "at 15 % or drier"
    assert canola.start_pct == 16.0


def test_grain_goes_by_its_moisture():
    farm = mornings.farm(fields=3)
    elevator, bins = farm.points
    wet = {k: replace(m, moisture_limit_pct=20.0) for k, m in bins.markets.items()}
    farm = replace(farm, points=(elevator, replace(bins, markets=wet)))
    order = mornings.order(farm, 0, 0)
    both = tuple(
        Delivery(point=p.id, tonnes=10.0, loads=1.0, why=why)
        for p, why in ((elevator, ""), (bins, TURNED_AWAY))
    )
    assert points_text(order, farm) == "Elevator"
    assert points_text(replace(order, deliveries=both), farm) == (
        "up to 17 %: Elevator; wetter: Home bins"
    )
    shut = replace(order, deliveries=(both[0], replace(both[1], why=SHUT)))
    assert points_text(shut, farm) == "Elevator; Home bins when Elevator is shut"
    assert points_text(shut, farm, shut=False) == "Elevator"
    either = replace(order, deliveries=(both[0], replace(both[1], why="")))
    assert points_text(either, farm) == "Elevator or Home bins"


def test_the_share_beside_a_day_is_that_of_finished_forecasts():
    order = mornings.morning().crews[0].orders[0]
    assert chance_text(replace(order, chance=0.714)) == "cut by Sat 16 Aug in 71 % of the forecasts"
    assert chance_text(replace(order, chance=math.nan)) == "chance unknown"


def test_a_field_left_for_the_next_and_a_finish_beyond_the_days_planned():
    morning = mornings.morning(fields=6)
    crew = morning.crews[0]
    first = replace(crew.orders[0], finish=crew.orders[2].finish)
    late = replace(crew.orders[2], finish=mornings.spread(morning.until, 0))
    changed = replace(morning, crews=(replace(crew, orders=(first, crew.orders[1], late)),))
    assert left_unfinished(first, changed) == "left for order 2 and finished later"
    assert left_unfinished(late, changed) == left_unfinished(crew.orders[1], changed) == ""
    elsewhere = replace(crew.orders[1], shown=False)
    odd = replace(morning, crews=(replace(crew, orders=(first, elsewhere, late)),))
    assert left_unfinished(first, odd) == ""  # the times of another forecast say nothing
    assert other_forecast(first) == ""
    assert other_forecast(elsewhere).startswith("only in other forecasts than the one shown")
    assert finish_clock(late, changed, late.start.mid.date()) == "after Fri 6 am"
    assert finish_clock(crew.orders[1], changed, morning.now.date()) == "7:30 pm"


def test_machines_that_change_crews_are_named_in_both_and_the_rest_are_named():
    whole = mornings.morning(fields=3)
    moved = MachineMove(machine="C3", from_crew="South", to_crew="North")
    north = replace(whole.crews[0], combines=("C1", "C2", "C3"))
    alone = replace(whole, crews=(north,), machine_moves=(moved,))
    assert machine_change_text("North", alone) == "C3 from South"
    assert machine_change_text("South", alone) == "C3 to North"
    assert makeup_lines(alone) == [
        "North: C3 from South",
        "South: no orders, because no combine works with it; C3 to North",
        "In no crew: cart South, T3",
    ]
    assert makeup_lines(whole) == []


def test_how_a_crew_goes_through_its_orders():
    north, south = mornings.crews(mornings.farm())
    assert way_lines(north) == [
        "At a field that is not fit: do not wait where another field on the list is fit.",
        "Stop where the grain is wetter than 0.5 points above its start moisture.",
        "Leave a field only when it is finished or no longer fit.",
    ]
    assert way_lines(south)[0] == (
        "At a field that is not fit: wait 30 min, then go to the next that is fit."
    )
    assert way_lines(south)[2:] == [
        "Leave for a field higher on the list once it is fit, if the move takes at most 40 min.",
        "Of two fields that are fit, a nearer one may come first.",
    ]
    nearest = way_lines(replace(south, move_weight=1e4))
    assert nearest[-1] == "Of the fields that are fit, the nearest comes first."
    driest = way_lines(replace(south, moisture_weight=1e4))
    assert driest[-1] == "Of the fields that are fit, the driest comes first."
    old = replace(south, orders=tuple(replace(o, later_pct=math.nan) for o in south.orders))
    assert way_lines(old) == []  # a plan of an earlier version does not say


def test_words_of_an_issued_plan_pass_unchanged():
    words = "in other words"
    assert reason_text(words, FARM) == words
    assert left_out_text(words) == fallback_text(words) == note_text(words, "us") == words
    assert change_text(words, FARM) == words


def test_hand_what_would_change_the_first_field():
    cause = Deciding(
        crew="north crew",
        field_name="Hilltop",
        cause=DecidingCause.GRAIN_WETTER,
        other_name="Sandhill",
        saving=1460.4,
        error=582.7,
    )
    assert deciding_lines((cause,), "$") == (
        "north crew, Hilltop first: if a sample in Hilltop is a point wetter than the model has "
        "it, Sandhill first would save $1,460, give or take $583.",
    )


def test_time_taken_off_a_day_is_printed():
    (crew, *_) = mornings.morning(fields=5).crews
    assert not any("Counted a day" in line for line in way_lines(crew))
    busy = replace(crew, service_min=45.0, meal_min=30.0)
    assert way_lines(busy)[-1] == (
        "Counted a day: 45 min of grease and fuel before the first move, 30 min of meals."
    )
