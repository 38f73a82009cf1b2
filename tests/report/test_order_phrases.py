"""Every reason code has its words, and words of an issued plan pass unchanged."""

from dataclasses import replace
from datetime import timedelta

import mornings
import pytest

from readiness.season.codes import Reason
from scheduler.explanation.own_order import OwnOrderPrice
from scheduler.orders.changes import changes_since
from scheduler.orders.model import Change, ChangeKind
from scheduler.orders.reasons import (
    FallbackAction,
    IdleNote,
    LeftOutKind,
    LeftOutReason,
    OrderReason,
    Otherwise,
    Wait,
)
from scheduler.report.order_phrases import (
    change_text,
    fallback_text,
    left_out_text,
    note_text,
    own_order_lines,
    reason_text,
)

TEN = mornings.NOW.replace(hour=10)
REASON = OrderReason(
    done=1.0, closed_by=Reason.GRAIN, opens=TEN, dearest=Otherwise.LATER, extra_loss=1240.0
)


@pytest.mark.parametrize(
    ("changes", "text"),
    [
        ({}, "dew off and grain fit from about 10:00; one place later would cost $1,240 more"),
        (
            {"done": 0.4, "dearest": None},
            "got to in 40% of the forecasts; dew off and grain fit from about 10:00",
        ),
        (
            {"closed_by": None, "opens": None, "dearest": Otherwise.LEAVE},
            "open since the day before, begun when the crew is free; leaving it would cost $1,240",
        ),
        (
            {"closed_by": Reason.WIND, "dearest": Otherwise.OTHER_CREW},
            "wind falls by about 10:00; the other crew would cost $1,240 more",
        ),
    ],
)
def test_reason_of_an_order(changes, text):
    assert reason_text(replace(REASON, **changes), "$") == text


def test_every_cause_but_open_has_its_words():
    for cause in set(Reason) - {Reason.OPEN}:
        assert reason_text(replace(REASON, closed_by=cause), "$")
        assert left_out_text(LeftOutReason(kind=LeftOutKind.CLOSED, closed_by=cause))


@pytest.mark.parametrize(
    ("reason", "text"),
    [
        (
            LeftOutReason(kind=LeftOutKind.CLOSED, closed_by=Reason.GREEN),
            "cannot be finished in the days planned: mostly not ripe",
        ),
        (
            LeftOutReason(kind=LeftOutKind.TOO_LARGE),
            "too large to finish in the days planned",
        ),
        (
            LeftOutReason(kind=LeftOutKind.NO_DELIVERY_POINT),
            "no delivery point with room takes this crop at the moisture expected",
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


def test_idle_note():
    assert note_text(IdleNote(first_start=None)) == "nothing to cut within the days planned"
    assert note_text(IdleNote(first_start=TEN)) == (
        "nothing to cut today; first start Sat 16 Aug 10:00"
    )
    assert note_text("") == ""


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
    changes = changes_since(before, after)
    assert [c.kind for c in changes] == [
        ChangeKind.NEW,
        ChangeKind.OTHER_TIME,
        ChangeKind.OTHER_CREW,
    ]
    why = reason_text(first.reason, "$")
    start = f"{moved.start.mid:%a %d %b %H:%M}"
    assert [change_text(c, "$") for c in changes] == [
        f"{first.name}: new with North, place 1: {why}",
        f"{second.name}, wet hollow: starts 5 h later, {start}: {why}",
        f"{third.name}: now South, was North: {why}",
    ]
    assert changes_since(before, before) == ()
    (dropped,) = changes_since(before, (before[0], replace(south, orders=south.orders[1:])))
    assert change_text(dropped, "$") == (
        f"{south.orders[0].name}: no longer ordered (was South); it is cut, or left out below"
    )


def test_a_start_days_sooner():
    order = mornings.crews(mornings.farm())[0].orders[0]
    change = Change(kind=ChangeKind.OTHER_TIME, order=order, crew="North", place=1, later_h=-48.0)
    assert "starts 2 days sooner, " in change_text(change, "$")


@pytest.mark.parametrize(
    ("loss", "verdict"),
    [
        (1250.0, "yours costs $250 more"),
        (800.0, "yours saves $200: take it"),
        (1000.4, "yours is as good as the plan"),
    ],
)
def test_own_order_against_the_plan(loss, verdict):
    lines = own_order_lines(OwnOrderPrice(loss=loss, plan_loss=1000.0, left_uncut=()), "$")
    assert lines == [f"your order loses ${loss:,.0f}; the plan $1,000", verdict]
    price = OwnOrderPrice(loss=loss, plan_loss=1000.0, left_uncut=("Hill", "Home"))
    assert own_order_lines(price, "$")[2] == "left uncut, though the plan cuts them: Hill, Home"


def test_words_of_an_issued_plan_pass_unchanged():
    words = "in other words"
    assert reason_text(words, "$") == words
    assert left_out_text(words) == fallback_text(words) == note_text(words) == words
    assert change_text(words, "$") == words
