"""Words for reason codes. A plan read back holds the words already; they pass unchanged."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING

from readiness.grain.crops import CROPS
from readiness.season.codes import Reason
from scheduler.farm.model import Farm
from scheduler.farm.units import Units, short_number, show_money
from scheduler.farm.wording import (
    REASON_TEXT,
    clock,
    closed_text,
    day_and_time,
    day_name,
    one_line,
    percent,
    time_of_day,
)
from scheduler.language.translation import N_, _, ngettext
from scheduler.orders.document import IssuedPlan
from scheduler.orders.model import (
    CLOCK_DAYS,
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
    Barred,
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

#: How a field opens after each cause; `_` translates it and gives the time.
OPENS: dict[Reason, str] = {
    Reason.UNKNOWN: N_("weather is known from about {time}"),
    Reason.GROUND: N_("ground bears from about {time}"),
    Reason.APPROACH: N_("approach road opens about {time}"),
    Reason.GRAIN: N_("dry enough about {time}"),
    Reason.STRAW: N_("straw no longer tough about {time}"),
    Reason.GREEN: N_("ripe from about {time}"),
    Reason.WIND: N_("wind falls by about {time}"),
    Reason.FIRE: N_("fire index falls by about {time}"),
    Reason.LIGHTNING: N_("storm past by about {time}"),
    Reason.HEAT: N_("cooler from about {time}"),
    Reason.NIGHT: N_("daylight from about {time}"),
}
#: Two amounts that differ by no more are the same, as rounded to whole money.
SAME_MONEY = 0.5
#: Standard errors that a real difference exceeds.
REAL_ERRORS = 2.0
#: Places in the list for a minute of move from which distance alone decides.
NEAREST_WEIGHT = 100.0
#: Hours of a shift from which it is told in days; assumed, a day and a half.
DAYS_FROM_H = 36.0
#: Share of members below which a line says how often it comes true.
SURELY = 0.9
#: What would change a crew's first field; `_` translates it and names the crew's first field, the
#: other one, and the money that it would save.
DECIDING = {
    DecidingCause.GRAIN_WETTER: N_(
        "{crew}, {field} first: if a sample in {field} is a point wetter than the model has it, "
        "{other} first would save {money}, give or take {error}."
    ),
    DecidingCause.GRAIN_DRIER: N_(
        "{crew}, {field} first: if a sample in {field} is a point drier than the model has it, "
        "{other} first would save {money}, give or take {error}."
    ),
    DecidingCause.UNCUT_WORTH_MORE: N_(
        "{crew}, {field} first: if grain left uncut loses half of what is assumed, {other} first "
        "would save {money}, give or take {error}."
    ),
    DecidingCause.UNCUT_WORTH_LESS: N_(
        "{crew}, {field} first: if grain left uncut loses twice what is assumed, {other} first "
        "would save {money}, give or take {error}."
    ),
    DecidingCause.WETTER_WEATHER: N_(
        "{crew}, {field} first: in the wetter half of the forecasts, {other} first would save "
        "{money}, give or take {error}."
    ),
    DecidingCause.DRIER_WEATHER: N_(
        "{crew}, {field} first: in the drier half of the forecasts, {other} first would save "
        "{money}, give or take {error}."
    ),
}
SWAPS = {
    Otherwise.LATER: N_("swap with {field} after it"),
    Otherwise.EARLIER: N_("swap with {field} before it"),
    Otherwise.OTHER_CREW: N_("the other crew"),
}
WAITS = {
    Wait.THREE_HOURS: N_("wait three hours at {field}: no other field is worth the move"),
    Wait.TOMORROW: N_("wait for tomorrow at {field}: no other field is worth the move"),
}
BARRED_TEXT = {
    Barred.OFF: N_("the crew is off"),
    Barred.NO_COMBINE: N_("no combine of the crew is up"),
    Barred.NO_POINT: N_("the delivery points are shut or full"),
}
SHORT_WAITS = {Wait.THREE_HOURS: N_("wait 3 h"), Wait.TOMORROW: N_("wait for tomorrow")}
LEFT_OUT = {
    LeftOutKind.DATES: N_("its dates for harvest leave no hour in the days planned"),
    LeftOutKind.NO_PICKUP: N_(
        "it lies in swaths, and no crew has a combine with a pickup header (pickup in farm.toml)"
    ),
    LeftOutKind.NO_DELIVERY_POINT: N_("no crew has a truck that hauls it to a delivery point"),
    LeftOutKind.FULL: N_("the delivery points that buy this crop are full"),
    LeftOutKind.FILLED: N_("other fields fill the delivery points that take it"),
    LeftOutKind.QUALITY: N_(
        "its grain is beyond the limits of every delivery point, and none pays for it as feed"
    ),
    LeftOutKind.TURNED_AWAY: N_("too wet for every delivery point whenever it can be cut"),
    LeftOutKind.LOSES_MORE_ELSEWHERE: N_(
        "no crew gets to it in the days planned without losing more elsewhere"
    ),
}


def reason_text(reason: OrderReason | str, farm: Farm) -> str:
    """How often the field is finished, what opens it, what it waits for, the cheapest change."""
    if isinstance(reason, str):
        return reason
    parts = []
    if reason.done < SURELY:
        parts.append(
            _(
                "finished within the days planned in {share} of the forecasts",
                share=percent(reason.done),
            )
        )
    if reason.allowed_from is not None:
        time = time_of_day(reason.allowed_from, farm.units)
        parts.append(_("may not be cut before {time}", time=time))
    elif reason.closed_by is None or reason.opens is None:
        parts.append(_("fit already, next in line"))
    else:
        time = time_of_day(reason.opens, farm.units)
        parts.append(_(OPENS[reason.closed_by], time=time))
    if reason.waits_pct is not None:
        parts.append(_waits_text(reason.waits_pct))
    if cheapest := _cheapest_text(reason, farm.currency):
        parts.append(cheapest)
    return "; ".join(parts)


def _cheapest_text(reason: OrderReason, currency: str) -> str:
    """The cheapest change to an order, and its price."""
    money = show_money(reason.cost, currency)
    if reason.cheapest is None:
        return ""
    if reason.cheapest is Otherwise.LEAVE:
        return _("leaving it would cost {money}", money=money)
    swap = _(SWAPS[reason.cheapest], field=one_line(reason.swap_with))
    if reason.cost <= SAME_MONEY:
        return _("cheapest change: {swap}, at no cost: your call", swap=swap)
    return _("cheapest change: {swap}, {money}", swap=swap, money=money)


def left_out_text(reason: LeftOutReason | str) -> str:
    """What keeps a field out of all orders."""
    if isinstance(reason, str):
        return reason
    if reason.closed_by is not None:
        cause = _(REASON_TEXT[reason.closed_by])
        return _("cannot be cut in the days planned: mostly {cause}", cause=cause)
    return _(LEFT_OUT[reason.kind])


def deciding_lines(causes: Sequence[Deciding], currency: str) -> tuple[str, ...]:
    """What would change a crew's first field, and by how much."""
    return tuple(
        _(
            DECIDING[c.cause],
            crew=c.crew,
            field=c.field_name,
            other=c.other_name,
            money=show_money(c.saving, currency),
            error=show_money(c.error, currency),
        )
        for c in causes
    )


def fallback_text(action: FallbackAction | str) -> str:
    """What a crew does when its first field is not fit."""
    if isinstance(action, str):
        return action
    if not action.other_field:
        return _(WAITS[action.wait], field=action.first_name)
    return _(
        "go to {other} and come back to {field} after",
        other=_other_field(action),
        field=action.first_name,
    )


def short_fallback(action: FallbackAction | str) -> str:
    """What a crew does when its first field is not fit, in few words."""
    if isinstance(action, str):
        return action
    if not action.other_field:
        return _(SHORT_WAITS[action.wait])
    return _("{other}, then back", other=_other_field(action))


def _other_field(action: FallbackAction) -> str:
    """'East bottom (F08, wet hollow)'."""
    parcel = f", {_(action.other_parcel)}" if action.other_parcel else ""
    return f"{action.other_name} ({action.other_field}{parcel})"


def short_change(change: Change) -> str:
    """What differs from the previous orders, in a few words."""
    field = _changed_field(change)
    if change.kind is ChangeKind.DROPPED:
        return _("{field} no longer ordered", field=field)
    if change.kind is ChangeKind.NEW:
        return _("{field} new with {crew}", field=field, crew=change.crew)
    if change.kind is ChangeKind.OTHER_CREW:
        return _("{field} now {crew}", field=field, crew=change.crew)
    if change.later_h > 0.0:
        return _("{field} {span} later", field=field, span=_span(change))
    return _("{field} {span} sooner", field=field, span=_span(change))


def _changed_field(change: Change) -> str:
    """The field that a change is about, and which part of it."""
    order = change.order
    return f"{order.name}, {_(order.parcel)}" if order.parcel else order.name


def _span(change: Change) -> str:
    """How far a start moves, in hours or days."""
    hours = abs(change.later_h)
    if hours < DAYS_FROM_H:
        return f"{round(hours)} h"
    return ngettext("{n} day", "{n} days", round(hours / 24))


def change_text(change: Change | str, farm: Farm) -> str:
    """What differs from the previous orders, and why."""
    if isinstance(change, str):
        return change
    order, crew = change.order, change.crew
    title = _changed_field(change)
    if change.kind is ChangeKind.DROPPED:
        return _(
            "{field}: no longer ordered (was {crew}); it is cut, or left out below",
            field=title,
            crew=crew,
        )
    fields = {"field": title, "reason": reason_text(order.reason, farm)}
    if change.kind is ChangeKind.NEW:
        return _(
            "{field}: new with {crew}, place {place}: {reason}",
            crew=crew,
            place=change.place,
            **fields,
        )
    if change.kind is ChangeKind.OTHER_CREW:
        before = change.previous_crew
        return _("{field}: now {crew}, was {before}: {reason}", crew=crew, before=before, **fields)
    fields |= {
        "span": _span(change),
        "day": day_name(order.start.mid),
        "time": time_of_day(order.start.mid, farm.units),
    }
    if change.later_h > 0:
        return _("{field}: starts {span} later, {day} {time}: {reason}", **fields)
    return _("{field}: starts {span} sooner, {day} {time}: {reason}", **fields)


def own_order_lines(price: OwnOrderPrice, currency: str) -> list[str]:
    """What a user's own order loses, the difference to the plan, and what it leaves uncut."""
    more = price.more
    loss, plan = show_money(price.loss, currency), show_money(price.plan_loss, currency)
    lines = [_("your order loses {loss}; the plan {plan}", loss=loss, plan=plan)]
    if is_nothing(more.mean, more.error):
        lines.append(_("yours is as good as the plan"))
    else:
        fields = {
            "amount": show_money(abs(more.mean), currency),
            "error": give_or_take(more.mean, more.error, currency),
        }
        if more.mean > 0.0:
            lines.append(_("yours costs {amount} more{error}", **fields))
        elif more.real:
            lines.append(_("yours saves {amount}{error}: take it", **fields))
        else:
            lines.append(_("yours saves {amount}{error}", **fields))
    if price.left_uncut:
        fields_left = ", ".join(price.left_uncut)
        lines.append(_("left uncut, though the plan cuts them: {fields}", fields=fields_left))
    return lines


def is_nothing(mean: float, error: float) -> bool:
    """Whether a difference and its standard error both round to no money."""
    return abs(mean) < SAME_MONEY and error < SAME_MONEY


def give_or_take(mean: float, error: float, currency: str) -> str:
    """', give or take $300', the standard error of a difference, and whether it is real.

    An error that is not finite is unknown.
    """
    if not math.isfinite(error):
        return _(", error unknown: no real difference")
    if abs(mean) > REAL_ERRORS * error:
        return error_text(error, currency)
    amount = show_money(error, currency)
    return _(", give or take {error}: no real difference", error=amount)


def error_text(error: float, currency: str) -> str:
    """', give or take $300', the standard error of an amount; "" where it is unknown."""
    if not math.isfinite(error):
        return ""
    return _(", give or take {error}", error=show_money(error, currency))


def own_order_kept(plan: Morning | IssuedPlan) -> str:
    """' with your order kept' where the plan holds an order of the farmer's own, else ""."""
    held = plan.money.held_cost is not None or any(o.locked for c in plan.crews for o in c.orders)
    return _(" with your order kept") if held else ""


def kept_note(plan: Morning | IssuedPlan) -> str:
    """A sentence on what the plan claims where it holds an order of the farmer's own, else ""."""
    if not own_order_kept(plan):
        return ""
    return _("All that follows is reckoned with your order kept: money, times and reasons.")


def threshing_limit(farm: Farm, crop: str) -> float:
    """Moisture up to which a crop is threshed, percent; infinite for an unknown crop."""
    known = CROPS.get(crop)
    return farm.rules.thresh_limit_pct.get(crop, known.thresh_limit if known else math.inf)


def start_moisture_text(start_pct: float, limit: float) -> str:
    """'at 19.5 % or drier', or 'as soon as it threshes' where the threshing limit is reached."""
    if start_pct >= limit:
        return _("as soon as it threshes")
    return _("at {moisture} % or drier", moisture=short_number(start_pct, 1))


def start_at_text(order: Order | Stint, farm: Farm, start_pct: float) -> str:
    """'at 19.5 % or drier': the start moisture, or what threshes and some point takes."""
    most = start_at(order, farm, start_pct)
    return _("at {moisture} % or drier", moisture=short_number(most, 1))


def start_at(order: Order | Stint, farm: Farm, start_pct: float) -> float:
    """Moisture at or below which to start, percent, no more than threshes and some point takes."""
    return min(start_pct, threshing_limit(farm, order.crop), farm.wettest_taken(order.crop))


def start_text(order: Order, plan: Morning | IssuedPlan) -> str:
    """At what moisture an order starts; "" where the plan does not say."""
    today = order.start.mid.date() == plan.now.date()
    start = order.start_pct if today else order.later_pct
    return "" if math.isnan(start) else start_at_text(order, plan.farm, start)


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
    point, limit = one_line(chain[place]), short_number(limits[chain[place]], 1)
    if place == 0:
        return _("up to {limit} %: {point}", limit=limit, point=point)
    if place == len(chain) - 1:
        return _("wetter: {point}", point=point)
    below = short_number(limits[chain[place - 1]], 1)
    return _("{below}-{limit} %: {point}", below=below, limit=limit, point=point)


def chance_text(order: Order) -> str:
    """'cut by Sat 16 Aug in 71 % of the forecasts'."""
    if math.isnan(order.chance):
        return _("chance unknown")
    return _(
        "cut by {day} in {share} of the forecasts",
        day=day_name(last_day(order)),
        share=percent(order.chance),
    )


def by_clock(order: Order, plan: Morning | IssuedPlan) -> bool:
    """Whether an order has clock times worth printing: today's and tomorrow's have."""
    return order.shown and (order.start.mid.date() - plan.now.date()).days < CLOCK_DAYS


def last_day(order: Order) -> date:
    """Day of 'cut by'; plans of earlier versions have it from the clock."""
    return order.cut_by or order.finish.mid.date()


def finish_clock(order: Order, plan: Morning | IssuedPlan, beside: date) -> str:
    """Clock time of the finish; 'after Mon 06:00' where it is beyond the days planned."""
    if order.finish.mid < plan.until:
        return clock(order.finish.mid, beside, plan.farm.units)
    return _("after {time}", time=clock(plan.until, beside, plan.farm.units))


def left_unfinished(order: Order, plan: Morning | IssuedPlan) -> str:
    """A remark on a field that its crew leaves for the next order and finishes later, else ""."""
    for crew in plan.crews:
        for place, (one, following) in enumerate(itertools.pairwise(crew.orders), 2):
            if one is order and following.shown and following.start.mid < order.finish.mid:
                return _("left for order {place} and finished later", place=place)
    return ""


def other_forecast(order: Order) -> str:
    """A remark on a field that the crew does not cut in the forecast shown, else ""."""
    if order.shown:
        return ""
    return _("only in other forecasts than the one shown; times from one of them")


def wait_first_text(crew: CrewOrders) -> str:
    """'wait 60 min, then ' where the crew waits at a field that is not fit, else ""."""
    if crew.patience_min <= 0.0 or all(math.isnan(o.later_pct) for o in crew.orders):
        return ""
    return _("wait {time}, then ", time=minutes_text(crew.patience_min))


def minutes_text(minutes: float) -> str:
    """'30 min', or '1.5 h' from an hour on."""
    if minutes < 60.0:
        return _("{minutes} min", minutes=round(minutes))
    return _("{hours} h", hours=short_number(minutes / 60.0, 1))


def way_lines(crew: CrewOrders) -> list[str]:
    """How the crew goes through its orders; none where the plan does not say."""
    if all(math.isnan(o.later_pct) for o in crew.orders):
        return []
    if crew.patience_min <= 0.0:
        wait = _("At a field that is not fit: do not wait where another field on the list is fit.")
    else:
        wait = _(
            "At a field that is not fit: wait {time}, then go to the next that is fit.",
            time=minutes_text(crew.patience_min),
        )
    lines = [wait]
    if crew.stop_margin <= 0.0:
        lines.append(_("Stop where the grain is wetter than its start moisture."))
    elif crew.stop_margin == 1.0:
        lines.append(_("Stop where the grain is wetter than 1 point above its start moisture."))
    else:
        lines.append(
            _(
                "Stop where the grain is wetter than {points} points above its start moisture.",
                points=short_number(crew.stop_margin, 1),
            )
        )
    if crew.leave_min > 0.0:
        lines.append(
            _(
                "Leave for a field higher on the list once it is fit, if the move takes at most "
                "{time}.",
                time=minutes_text(crew.leave_min),
            )
        )
    else:
        lines.append(_("Leave a field only when it is finished or no longer fit."))
    if crew.moisture_weight >= NEAREST_WEIGHT:
        lines.append(_("Of the fields that are fit, the driest comes first."))
    elif crew.move_weight >= NEAREST_WEIGHT:
        lines.append(_("Of the fields that are fit, the nearest comes first."))
    elif crew.move_weight > 0.0:
        lines.append(_("Of two fields that are fit, a nearer one may come first."))
    if crew.service_min or crew.meal_min:
        lines.append(
            _(
                "Counted a day: {service} min of grease and fuel before the first move, {meals} "
                "min of meals.",
                service=round(crew.service_min),
                meals=round(crew.meal_min),
            )
        )
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
    return one_line(
        "; ".join(
            _moves_text(other, joining.get(other, []), leaving.get(other, []))
            for other in dict.fromkeys((*joining, *leaving))
        )
    )


def _moves_text(other: str, joining: Sequence[str], leaving: Sequence[str]) -> str:
    """Machines that come from another crew, or go there: 'C3 from South, C2 to South'."""
    come, go = ", ".join(joining), ", ".join(leaving)
    if not go:
        return _("{machines} from {crew}", machines=come, crew=other)
    if not come:
        return _("{machines} to {crew}", machines=go, crew=other)
    return _("{come} from and {go} to {crew}", come=come, go=go, crew=other)


def idle_crews(plan: Morning | IssuedPlan) -> list[str]:
    """Crews of the farm that are not in the plan, because no combine works with them."""
    return [c.id for c in plan.farm.crews if c.id not in {made.crew for made in plan.crews}]


def undriven_text(plan: Morning | IssuedPlan) -> str:
    """Machines that are up and that nobody drives today."""
    return _("Nobody drives today: {machines}", machines=", ".join(map(one_line, plan.undriven)))


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
        lines.append(undriven_text(plan))
        used.update(plan.undriven)
    parked = [m.id for m in (*farm.combines, *farm.carts, *farm.trucks) if m.id not in used]
    if parked:
        lines.append(_("In no crew: {machines}", machines=", ".join(map(one_line, parked))))
    return lines


def idle_crew_text(crew: str, plan: Morning | IssuedPlan) -> str:
    """What becomes of a crew without orders."""
    moves = machine_change_text(crew, plan)
    text = _("no orders, because no combine works with it")
    return f"{text}; {moves}" if moves else text


def note_text(note: IdleNote | str, units: Units) -> str:
    """Why a crew cuts nothing on a day, when it starts, and when the first field may open."""
    if isinstance(note, str):
        return note
    if note.tomorrow:
        text = _("nothing to cut")
    elif not note.ordered:
        text = _("nothing to cut within the days planned")
    else:
        text = _("nothing to cut today")
    if note.closed_by is not None:
        text += ": " + closed_text(note.closed_by, note.rain_mm, units)
    elif note.barred is not None:
        text += ": " + _(BARRED_TEXT[note.barred])
    elif note.waits_pct is not None:
        text += ": " + _waits_text(note.waits_pct)
    if note.first_start is not None:
        text += "; " + _("first start {time}", time=day_and_time(note.first_start, units))
    if note.opens is not None and (note.first_start is None or note.opens < note.first_start):
        time = day_and_time(note.opens, units)
        text += "; " + _("in one forecast of ten some field opens by {time}", time=time)
    return text


def _waits_text(start_pct: float) -> str:
    """The start moisture that a crew waits for."""
    moisture = short_number(start_pct, 1)
    return _("waits for {moisture} %, when the grain loses less", moisture=moisture)
