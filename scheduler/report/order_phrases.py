"""Words for reason codes. A plan read back holds the words already; they pass unchanged."""

from __future__ import annotations

from typing import TYPE_CHECKING

from readiness.season.codes import Reason
from scheduler.farm.wording import REASON_TEXT
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

if TYPE_CHECKING:  # loads the solver, which a page that words orders does without
    from scheduler.explanation.own_order import OwnOrderPrice

#: How a field opens after each cause; a clock time follows.
OPENS: dict[Reason, str] = {
    Reason.UNKNOWN: "weather is known from",
    Reason.GROUND: "ground bears from",
    Reason.APPROACH: "approach road opens",
    Reason.GRAIN: "dew off and grain fit from",
    Reason.GREEN: "ripe from",
    Reason.WIND: "wind falls by",
    Reason.FIRE: "fire index falls by",
    Reason.LIGHTNING: "storm past by",
    Reason.HEAT: "cooler from",
    Reason.NIGHT: "daylight from",
}
#: Two amounts that differ by no more are the same, as rounded to whole money.
SAME_MONEY = 0.5
#: Share of members below which an order says how often the crew gets to the field.
SURELY = 0.9
SWAPS = {
    Otherwise.LATER: "one place later",
    Otherwise.EARLIER: "one place earlier",
    Otherwise.OTHER_CREW: "the other crew",
}
WAITS = {Wait.THREE_HOURS: "wait three hours", Wait.TOMORROW: "wait for tomorrow"}
LEFT_OUT = {
    LeftOutKind.NO_DELIVERY_POINT: "no delivery point with room buys this crop",
    LeftOutKind.TURNED_AWAY: "too wet for every delivery point whenever it can be cut",
    LeftOutKind.LOSES_MORE_ELSEWHERE: "no crew gets to it in the days planned without losing more "
    "elsewhere",
}


def reason_text(reason: OrderReason | str, currency: str) -> str:
    """How often the crew gets to the field, what opens the field, what decides its place."""
    if isinstance(reason, str):
        return reason
    parts = [f"got to in {reason.done:.0%} of the forecasts"] if reason.done < SURELY else []
    if reason.closed_by is None:
        parts.append("open since the day before, begun when the crew is free")
    else:
        parts.append(f"{OPENS[reason.closed_by]} about {reason.opens:%H:%M}")
    money = f"{currency}{reason.extra_loss:,.0f}"
    if reason.dearest is Otherwise.LEAVE:
        parts.append(f"leaving it would cost {money}")
    elif reason.dearest is not None:
        parts.append(f"{SWAPS[reason.dearest]} would cost {money} more")
    return "; ".join(parts)


def left_out_text(reason: LeftOutReason | str) -> str:
    """What keeps a field out of all orders."""
    if isinstance(reason, str):
        return reason
    if reason.closed_by is not None:
        cause = REASON_TEXT[reason.closed_by]
        return f"cannot be cut in the days planned: mostly {cause}"
    return LEFT_OUT[reason.kind]


def fallback_text(action: FallbackAction | str) -> str:
    """What a crew does when its first field is not fit."""
    if isinstance(action, str):
        return action
    if not action.other_field:
        return f"{WAITS[action.wait]} at {action.first_name}: no other field is worth the move"
    parcel = f", {action.other_parcel}" if action.other_parcel else ""
    return (
        f"go to {action.other_name} ({action.other_field}{parcel}) "
        f"and come back to {action.first_name} after"
    )


def change_text(change: Change | str, currency: str) -> str:
    """What differs from the previous orders, and why."""
    if isinstance(change, str):
        return change
    order, crew = change.order, change.crew
    title = f"{order.name}, {order.parcel}" if order.parcel else order.name
    if change.kind is ChangeKind.DROPPED:
        return f"{title}: no longer ordered (was {crew}); it is cut, or left out below"
    if change.kind is ChangeKind.NEW:
        what = f"new with {crew}, place {change.place}"
    elif change.kind is ChangeKind.OTHER_CREW:
        what = f"now {crew}, was {change.previous_crew}"
    else:
        hours = abs(change.later_h)
        by = f"{hours:.0f} h" if hours < 36 else f"{hours / 24:.0f} days"
        way = "later" if change.later_h > 0 else "sooner"
        what = f"starts {by} {way}, {order.start.mid:%a %d %b %H:%M}"
    return f"{title}: {what}: {reason_text(order.reason, currency)}"


def own_order_lines(price: OwnOrderPrice, currency: str) -> list[str]:
    """What a user's own order loses, the difference to the plan, and what it leaves uncut."""

    def money(value: float) -> str:
        return f"{currency}{value:,.0f}"

    more = price.loss - price.plan_loss
    lines = [f"your order loses {money(price.loss)}; the plan {money(price.plan_loss)}"]
    if more > SAME_MONEY:
        lines.append(f"yours costs {money(more)} more")
    elif more < -SAME_MONEY:
        lines.append(f"yours saves {money(-more)}: take it")
    else:
        lines.append("yours is as good as the plan")
    if price.left_uncut:
        lines.append("left uncut, though the plan cuts them: " + ", ".join(price.left_uncut))
    return lines


def note_text(note: IdleNote | str) -> str:
    """Why a crew cuts nothing today."""
    if isinstance(note, str):
        return note
    if note.first_start is None:
        return "nothing to cut within the days planned"
    return f"nothing to cut today; first start {note.first_start:%a %d %b %H:%M}"
