"""Words for reason codes. A plan read back holds the words already; they pass unchanged."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import TYPE_CHECKING

from readiness.grain.crops import CROPS
from readiness.season.codes import Reason
from scheduler.farm.model import Farm
from scheduler.farm.units import show_money
from scheduler.farm.wording import REASON_TEXT, clock, day_name, one_line, percent
from scheduler.language.locale_formats import number
from scheduler.language.translation import _
from scheduler.orders.document import IssuedPlan
from scheduler.orders.model import (
    SHUT,
    TURNED_AWAY,
    Change,
    ChangeKind,
    CrewOrders,
    Deciding,
    DecidingCause,
    Morning,
    Order,
    Stint,
)
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
#: Standard errors that a real difference exceeds.
REAL_ERRORS = 2.0
#: Places in the list for a minute of move from which distance alone decides.
NEAREST_WEIGHT = 100.0
#: Share of members below which an order says how often the field is finished at all.
SURELY = 0.9
#: What would change a crew's first field; the field's name stands in the braces.
DECIDING = {
    DecidingCause.GRAIN_WETTER: "if a sample in {} is a point wetter than the model has it",
    DecidingCause.GRAIN_DRIER: "if a sample in {} is a point drier than the model has it",
    DecidingCause.UNCUT_WORTH_MORE: "if grain left uncut loses half of what is assumed",
    DecidingCause.UNCUT_WORTH_LESS: "if grain left uncut loses twice what is assumed",
    DecidingCause.WETTER_WEATHER: "in the wetter half of the forecasts",
    DecidingCause.DRIER_WEATHER: "in the drier half of the forecasts",
}
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
    """How often the field is finished, what opens the field, what decides its place."""
    if isinstance(reason, str):
        return reason
    parts = []
    if reason.done < SURELY:
        parts.append(f"finished within the days planned in {percent(reason.done)} of the forecasts")
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


def deciding_lines(causes: Sequence[Deciding], currency: str) -> tuple[str, ...]:
    """What would change a crew's first field, and by how much."""
    return tuple(
        f"{c.crew}, {c.field_name} first: {DECIDING[c.cause].format(c.field_name)}, "
        f"{c.other_name} first would save {currency}{c.saving:,.0f}, give or take "
        f"{currency}{c.error:,.0f}."
        for c in causes
    )


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
    more = price.more
    loss, plan = show_money(price.loss, currency), show_money(price.plan_loss, currency)
    lines = [f"your order loses {loss}; the plan {plan}"]
    if is_nothing(more.mean, more.error):
        lines.append("yours is as good as the plan")
    else:
        amount = show_money(abs(more.mean), currency)
        words = f"costs {amount} more" if more.mean > 0.0 else f"saves {amount}"
        better = ": take it" if more.mean < 0.0 and more.real else ""
        lines.append(f"yours {words}{give_or_take(more.mean, more.error, currency)}{better}")
    if price.left_uncut:
        lines.append("left uncut, though the plan cuts them: " + ", ".join(price.left_uncut))
    return lines


def is_nothing(mean: float, error: float) -> bool:
    """Whether a difference and its standard error both round to no money."""
    return abs(mean) < SAME_MONEY and error < SAME_MONEY


def give_or_take(mean: float, error: float, currency: str) -> str:
    """', give or take $300', the standard error of a difference, and whether it is real.

    An error that is not finite is unknown.
    """
    if not math.isfinite(error):
        return ", error unknown: no real difference"
    real = abs(mean) > REAL_ERRORS * error
    return f", give or take {show_money(error, currency)}{'' if real else ': no real difference'}"


def own_order_kept(plan: Morning | IssuedPlan) -> str:
    """' with your order kept' where the plan holds an order of the farmer's own, else ""."""
    held = plan.money.held_cost is not None or any(o.locked for c in plan.crews for o in c.orders)
    return " with your order kept" if held else ""


def kept_note(plan: Morning | IssuedPlan) -> str:
    """A sentence on what the plan claims where it holds an order of the farmer's own, else ""."""
    kept = own_order_kept(plan)
    return f"All that follows is reckoned{kept}: money, times and reasons." if kept else ""


def threshing_limit(farm: Farm, crop: str) -> float:
    """Moisture up to which a crop is threshed, percent; infinite for an unknown crop."""
    known = CROPS.get(crop)
    return farm.rules.thresh_limit_pct.get(crop, known.thresh_limit if known else math.inf)


def start_moisture_text(start_pct: float, limit: float) -> str:
    """'at 19.5 % or drier', or 'as soon as it threshes' where the threshing limit is reached."""
    if start_pct >= limit:
        return "as soon as it threshes"
    return f"at {round(start_pct, 1):g} % or drier"


def start_at_text(order: Order | Stint, farm: Farm, start_pct: float) -> str:
    """'at 19.5 % or drier': the start moisture, or what threshes and some point takes."""
    taken = [
        p.markets[order.crop].moisture_limit_pct for p in farm.points if order.crop in p.markets
    ]
    most = min(start_pct, threshing_limit(farm, order.crop), max(taken, default=math.inf))
    return _("at {moisture} % or drier", moisture=short_number(most))


def start_text(order: Order, plan: Morning | IssuedPlan) -> str:
    """At what moisture an order starts; "" where the plan does not say."""
    today = order.start.mid.date() == plan.now.date()
    start = order.start_pct if today else order.later_pct
    return "" if math.isnan(start) else start_at_text(order, plan.farm, start)


def short_number(value: float) -> str:
    """A number to a tenth, without a zero behind the point: '16', '16.5'."""
    rounded = round(value, 1)
    return number(rounded, 0 if rounded == int(rounded) else 1)


def points_text(order: Order | Stint, farm: Farm, *, shut: bool = True) -> str:
    """Where the grain goes by its moisture, 'up to 15 %: Rail; 15-16 %: Junction; wetter: home'.

    The limits are those of the delivery points that the order uses.

    Parameters
    ----------
    shut : whether to name the points that take grain while the first choice is shut.
    """
    markets = {p.id: p.markets.get(order.crop) for p in farm.points}
    by_why: dict[str, list[str]] = {}
    for d in order.deliveries:
        by_why.setdefault(d.why, []).append(d.point)
    first, *others = by_why.get("") or [order.point]
    drier = {q: m.moisture_limit_pct for q, m in markets.items() if m is not None}
    chain = sorted([first, *by_why.get(TURNED_AWAY, ())], key=lambda q: drier.get(q, math.inf))
    parts = []
    if len(chain) > 1 and all(q in drier for q in chain):
        parts = [_limit_text(chain, drier, place) for place in range(len(chain))]
    else:
        parts.append(_(" or ").join(map(one_line, chain)))
    if others:
        parts[0] += _(" or ") + _(" or ").join(map(one_line, others))
    if shut and (instead := by_why.get(SHUT)):
        parts.append(
            _(
                "{others} when {first} is shut",
                others=_(" or ").join(map(one_line, instead)),
                first=one_line(first),
            )
        )
    return "; ".join(parts)


def _limit_text(chain: Sequence[str], limits: Mapping[str, float], place: int) -> str:
    """The point at a place of a chain, with the moistures for which grain goes there."""
    point, limit = one_line(chain[place]), short_number(limits[chain[place]])
    if place == 0:
        return _("up to {limit} %: {point}", limit=limit, point=point)
    if place == len(chain) - 1:
        return _("wetter: {point}", point=point)
    below = short_number(limits[chain[place - 1]])
    return _("{below}-{limit} %: {point}", below=below, limit=limit, point=point)


def chance_text(order: Order) -> str:
    """'cut by Sat 16 Aug in 71 % of the forecasts'."""
    if math.isnan(order.chance):
        return "chance unknown"
    return f"cut by {day_name(order.finish.mid)} in {percent(order.chance)} of the forecasts"


def beyond_forecast(order: Order, forecast_until: datetime | None) -> str:
    """A remark on an order that begins after the end of the forecast, else ""."""
    if forecast_until is None or order.start.mid < forecast_until:
        return ""
    return "beyond the forecast; from past weather"


def finish_clock(order: Order, plan: Morning | IssuedPlan, beside: date) -> str:
    """Clock time of the finish; 'after Mon 06:00' where it is beyond the days planned."""
    if order.finish.mid < plan.until:
        return clock(order.finish.mid, beside)
    return f"after {clock(plan.until, beside)}"


def left_unfinished(order: Order, plan: Morning | IssuedPlan) -> str:
    """A remark on a field that its crew leaves for the next order and finishes later, else ""."""
    for crew in plan.crews:
        for place, (one, following) in enumerate(itertools.pairwise(crew.orders), 2):
            if one is order and following.shown and following.start.mid < order.finish.mid:
                return f"left for order {place} and finished later"
    return ""


def other_forecast(order: Order) -> str:
    """A remark on a field that the crew does not cut in the forecast shown, else ""."""
    return (
        "" if order.shown else "only in other forecasts than the one shown; times from one of them"
    )


def wait_first_text(crew: CrewOrders) -> str:
    """'wait 60 min, then ' where the crew waits at a field that is not fit, else ""."""
    if crew.patience_min <= 0.0 or all(math.isnan(o.later_pct) for o in crew.orders):
        return ""
    return _("wait {minutes} min, then ", minutes=round(crew.patience_min))


def wait_text(crew: CrewOrders) -> str:
    """How long the crew waits at a field that is not fit."""
    if crew.patience_min <= 0.0:
        return "do not wait where another field on the list is fit"
    return f"wait {crew.patience_min:.0f} min, then go to the next that is fit"


def way_lines(crew: CrewOrders) -> list[str]:
    """How the crew goes through its orders; none where the plan does not say."""
    if all(math.isnan(o.later_pct) for o in crew.orders):
        return []
    lines = [f"At a field that is not fit: {wait_text(crew)}."]
    points = "point" if crew.stop_margin == 1.0 else "points"
    above = "" if crew.stop_margin <= 0.0 else f"{crew.stop_margin:g} {points} above "
    lines.append(f"Stop where the grain is wetter than {above}its start moisture.")
    if crew.leave_min > 0.0:
        lines.append(
            "Leave for a field higher on the list once it is fit, if the move takes at most "
            f"{crew.leave_min:.0f} min."
        )
    else:
        lines.append("Leave a field only when it is finished or no longer fit.")
    if crew.moisture_weight >= NEAREST_WEIGHT:
        lines.append("Of the fields that are fit, the driest comes first.")
    elif crew.move_weight >= NEAREST_WEIGHT:
        lines.append("Of the fields that are fit, the nearest comes first.")
    elif crew.move_weight > 0.0:
        lines.append(_("Of two fields that are fit, a nearer one may come first."))
    return lines


def machine_change_text(crew: str, plan: Morning | IssuedPlan) -> str:
    """Machines that join and leave a crew, 'C2 from South; T1 to North'; "" where none does."""
    joining: dict[str, list[str]] = {}
    leaving: dict[str, list[str]] = {}
    for move in plan.machine_moves:
        if move.to_crew == crew:
            joining.setdefault(move.from_crew, []).append(move.machine)
        elif move.from_crew == crew:
            leaving.setdefault(move.to_crew, []).append(move.machine)
    parts = [f"{', '.join(ids)} from {other}" for other, ids in joining.items()]
    parts += [f"{', '.join(ids)} to {other}" for other, ids in leaving.items()]
    return one_line("; ".join(parts))


def idle_crews(plan: Morning | IssuedPlan) -> list[str]:
    """Crews of the farm that are not in the plan, because no combine works with them."""
    return [c.id for c in plan.farm.crews if c.id not in {made.crew for made in plan.crews}]


def makeup_lines(plan: Morning | IssuedPlan) -> list[str]:
    """Machines that change crews, crews without orders, machines without a driver or a crew."""
    lines = [
        f"{one_line(crew.crew)}: {text}"
        for crew in plan.crews
        if (text := machine_change_text(crew.crew, plan))
    ]
    lines += [f"{one_line(crew)}: {idle_crew_text(crew, plan)}" for crew in idle_crews(plan)]
    used = {m for c in plan.crews for m in (*c.combines, *c.carts, *c.trucks)}
    farm = plan.farm
    if plan.undriven:
        lines.append(f"Nobody drives today: {', '.join(map(one_line, plan.undriven))}")
        used.update(plan.undriven)
    parked = [m.id for m in (*farm.combines, *farm.carts, *farm.trucks) if m.id not in used]
    if parked:
        lines.append(f"In no crew: {', '.join(map(one_line, parked))}")
    return lines


def idle_crew_text(crew: str, plan: Morning | IssuedPlan) -> str:
    """What becomes of a crew without orders."""
    moves = machine_change_text(crew, plan)
    return f"no orders, because no combine works with it{f'; {moves}' if moves else ''}"


def note_text(note: IdleNote | str) -> str:
    """Why a crew cuts nothing today."""
    if isinstance(note, str):
        return note
    if note.first_start is None:
        return "nothing to cut within the days planned"
    return f"nothing to cut today; first start {note.first_start:%a %d %b %H:%M}"
