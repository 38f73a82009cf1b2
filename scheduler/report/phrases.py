"""Phrases about orders, the same in every output."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta

from readiness.grain.grade import SAMPLE_GRADE
from readiness.season.codes import OtherWork, OtherWorkReason
from scheduler.farm.model import Farm
from scheduler.farm.units import (
    show_area,
    show_mass,
    show_money,
    show_test_weight,
    wheat_equivalent_t,
)
from scheduler.farm.wording import REASON_TEXT, clock, one_line, sentence
from scheduler.language.translation import _, ngettext
from scheduler.orders.document import IssuedPlan
from scheduler.orders.model import (
    SHUT,
    TURNED_AWAY,
    CrewOrders,
    Morning,
    Order,
    RuleComparison,
    Spread,
    Stint,
    TimeSpread,
)
from scheduler.planning.stages import PlanStage
from scheduler.report.order_phrases import (
    give_or_take,
    is_nothing,
    own_order_kept,
    start_moisture_text,
    threshing_limit,
)
from scheduler.solver.stages import Stage
from scheduler.windows.daily_hours import HOLLOW, DayHours
from scheduler.windows.model_inputs import season_rows
from scheduler.work_tables.crew_makeup import MakeUp

LIMIT_TEXT = {
    "combine": "as fast as the combines cut",
    "cart": "held up by carts",
    "haul": "held up by trucks",
}
#: What keeps an hour from other work.
OTHER_WORK_REASON_TEXT: dict[int, str] = {
    OtherWorkReason.UNKNOWN: "weather unknown",
    OtherWorkReason.GROUND: "ground too soft",
    OtherWorkReason.RAIN: "rain falling",
    OtherWorkReason.WET: "topsoil too wet to work",
    OtherWorkReason.COLD: "soil too cold for its crop",
    OtherWorkReason.DRY: "seed zone too dry",
    OtherWorkReason.WIND: "wind too light or too strong",
    OtherWorkReason.SUN: "dark, or inversions likely",
}
#: Work of `ready`, None is cutting: heading of its hours, what they are, texts of what closes them.
WORK_TEXT: dict[OtherWork | None, tuple[str, str, dict[int, str]]] = {
    None: ("cut", "the field can be cut", REASON_TEXT),
    "tillage": ("till", "the topsoil can be worked", OTHER_WORK_REASON_TEXT),
    "planting": ("plant", "the field's crop can be sown", OTHER_WORK_REASON_TEXT),
    "spraying": ("spray", "wind and sun are fit for spraying", OTHER_WORK_REASON_TEXT),
}
#: What the planner does in each stage, beside its progress bar.
STAGE_TEXT: dict[Stage, str] = {
    PlanStage.READINESS: "running soil and grain",
    PlanStage.MAKEUPS: "comparing make-ups",
    PlanStage.SEARCH: "searching for orders",
    PlanStage.CHECK: "checking them on other forecasts",
    PlanStage.FLOOR: "reckoning the money",
    PlanStage.BRIEFING: "putting it into words",
}
#: End of the forecast up to which the plan warns, h from now; assumed: today and tomorrow, the
#: days that a crew is sent out for.
SHORT_FORECAST_H = 36.0
EDGE_ONLY = "carts and trucks stay at the edge"


def row_title(farm: Farm, row: int) -> str:
    """Title of a row of the season: 'Home quarter (F01), wet hollow'."""
    field, hollow = season_rows(farm)[row]
    name = one_line(field.name) or one_line(field.id)
    title = name if name == field.id else f"{name} ({one_line(field.id)})"
    return f"{title}, {HOLLOW}" if hollow else title


def lost_to_text(hours: DayHours, texts: Mapping[int, str] = REASON_TEXT) -> str:
    """Text of the cause of most of a day's lost hours; empty where none is lost."""
    return "" if hours.lost_to is None else texts[hours.lost_to]


def time_range(spread: TimeSpread, beside: datetime | date, dash: str = "-") -> str:
    """10th to 90th percentile, '09:30-11:30'; a day other than that of `beside` is named."""
    low = clock(spread.low, beside)
    return f"{low}{dash}{clock(spread.high, beside if spread.low.date() == beside else spread.low)}"


def times_note(members: int) -> str:
    """What clock times, their ranges and the share beside 'cut by' mean."""
    return (
        f"Clock times are those of one forecast near the middle of {members}; fields that the crew "
        "cuts only in other forecasts come last. A range holds that time and eight in ten of the "
        "forecasts in which the crew cuts the field. 'Cut by' counts the forecasts in which the "
        "whole field is cut by the end of that day."
    )


def moisture_range(spread: Spread, dash: str = "-") -> str:
    """10th to 90th percentile of moisture, '13.2-15.9 %'."""
    return f"{spread.low:.1f}{dash}{spread.high:.1f} %"


def quality_note(farm: Farm) -> str:
    """Explain what test weights start from and, in US units, what the grade rests on."""
    start = "from the last sample, or from sound grain where none was weighed"
    grade = (
        " A U.S. grade is by it and sprouted kernels alone; other damage or foreign material can "
        "lower it."
    )
    return f"Test weight when cut starts {start}.{grade if farm.units == 'us' else ''}"


def grade_name(grade: int) -> str:
    """Name of a U.S. grade, 'U.S. No. 2'."""
    return "U.S. Sample grade" if grade == SAMPLE_GRADE else f"U.S. No. {grade}"


def quality_text(order: Order, morning: Morning | IssuedPlan) -> str:
    """Grain quality when cut, '58.7 lb/bu, 1.4 % sprouted: U.S. No. 2 by these alone'.

    Only wheat in US units has a grade.
    """
    if math.isnan(order.test_weight_kg_hl):
        return "test weight unknown"
    weight = show_test_weight(order.test_weight_kg_hl, order.crop, morning.farm.units)
    grade = "" if order.us_grade is None else f": {grade_name(order.us_grade)} by these alone"
    return f"{weight}, {order.sprouted_pct:.1f} % sprouted{grade}"


def loads_text(loads: float) -> str:
    """Number of loads, '5.1 loads' or '12 loads'."""
    number = f"{loads:.1f}" if loads < 9.95 else f"{loads:.0f}"
    return f"{number} load{'' if number == '1.0' else 's'}"


def whole_loads(loads: float) -> str:
    """Loads that a driver counts, 'about 9 loads': rounded up."""
    return ngettext("about {n} load", "about {n} loads", max(1, math.ceil(loads - 0.05)))


def move_text(minutes: float) -> str:
    """Length of a move, '44 min' or '1 h 32 min', rounded up."""
    whole = math.ceil(minutes - 1e-6)
    if whole < 60:
        return _("{minutes} min", minutes=whole)
    return _("{hours} h {minutes} min", hours=whole // 60, minutes=whole % 60)


def haul_text(order: Order) -> str:
    """Loads by delivery point, '7 loads to Rail; 3.2 loads to home bins when Rail is shut'."""
    first = one_line(order.point)
    if not order.deliveries:
        return f"{loads_text(order.loads)} to {first}"
    when = {SHUT: f" when {first} is shut", TURNED_AWAY: f" while {first} turns it away"}
    return "; ".join(
        f"{loads_text(d.loads)} to {one_line(d.point)}{when.get(d.why, '')}"
        for d in order.deliveries
    )


def delivery_lines(morning: Morning) -> list[str]:
    """Grain to each delivery point if all orders are cut, with its storage where it is limited."""
    units = morning.farm.units
    hauls = [(o.crop, d) for crew in morning.crews for o in crew.orders for d in o.deliveries]
    lines = []
    for point in morning.farm.points:
        here = [(crop, d) for crop, d in hauls if d.point == point.id]
        if not here:
            continue
        # bushels of different crops add up as tonnes of wheat
        tonnes = sum(
            wheat_equivalent_t(d.tonnes, crop) if units == "us" else d.tonnes for crop, d in here
        )
        text = f"{one_line(point.id)}: {show_mass(tonnes, None, units)}"
        text += f", {loads_text(sum(d.loads for _, d in here))}"
        if point.capacity_t is not None:
            text += f"; room for {show_mass(point.capacity_t, None, units)}"
        lines.append(text)
    return lines


def field_title(order: Order | Stint) -> str:
    """Title of an order's field or parcel, 'Home quarter (F01), wet hollow'."""
    name = one_line(order.name) or order.field
    title = name if name == order.field else f"{name} ({one_line(order.field)})"
    return f"{title}, {order.parcel}" if order.parcel else title


def grain_text(order: Order, morning: Morning) -> str:
    """Grain of an order, '4,900 bu' or '133.1 t'."""
    return show_mass(order.tonnes, order.crop, morning.farm.units)


def machines(crew: CrewOrders) -> str:
    """Machines and people of a crew, 'C1 (Ann), C2 with cart North; truck T1; 5 people'."""
    driver = dict(crew.drivers)

    def driven(ids: Sequence[str]) -> str:
        return ", ".join(f"{m} ({driver[m]})" if m in driver else m for m in ids)

    parts = [driven(crew.combines) or "no combine"]
    if crew.carts:
        parts[0] += f" with {driven(crew.carts)}"
    if crew.trucks:
        parts.append(f"truck{'s' if len(crew.trucks) > 1 else ''} {driven(crew.trucks)}")
    parts.append(f"{crew.people} people" if crew.people != 1 else "1 person")
    return one_line("; ".join(parts))


def makeup_text(makeup: MakeUp) -> str:
    """Crews of a make-up, 'North: C1, C2 + 1 cart + 2 trucks; South: C3 + 1 cart + 1 truck'."""
    return "; ".join(
        f"{crew.crew}: {', '.join(c.id for c in crew.combines)}"
        f" + {_count(len(crew.carts), 'cart')} + {_count(len(crew.trucks), 'truck')}"
        for crew in makeup
    )


def _count(n: int, noun: str) -> str:
    return f"{n} {noun}{'' if n == 1 else 's'}"


def total_area(crew: CrewOrders, morning: Morning) -> str:
    """Area of all orders of a crew."""
    return show_area(sum(o.area_ha for o in crew.orders), morning.farm.units)


def weather_line(plan: Morning | IssuedPlan) -> str:
    """Source, members, age and end of the forecast, and the end of planning."""
    age = "age unknown" if plan.age_h is None else f"{plan.age_h:.0f} h old"
    zone = plan.farm.tz
    issued = (
        "" if plan.issued is None else f", issued {clock(plan.issued.astimezone(zone), plan.now)}"
    )
    until = plan.forecast_until
    reach = "" if until is None else f", forecast to {clock(until.astimezone(zone), plan.now)}"
    return (
        f"{one_line(plan.source)}, {plan.members} member{'s' if plan.members != 1 else ''}"
        f"{issued}, {age}{reach}; planned to {clock(plan.until, plan.now)}"
    )


def short_forecast_text(plan: Morning | IssuedPlan) -> str:
    """A warning where the forecast ends within `SHORT_FORECAST_H`, else ""."""
    if plan.forecast_until is None:
        return ""
    hours = (plan.forecast_until - plan.now) / timedelta(hours=1)
    if hours > SHORT_FORECAST_H:
        return ""
    return (
        f"The forecast reaches only {hours:.0f} hours ahead. Orders after that are a guess from "
        "past weather: fetch a longer forecast before you count on them."
    )


def money_lines(plan: Morning | IssuedPlan) -> tuple[str, ...]:
    """Sentences about the plan's money.

    Lost already, at stake, lost by the plan; the price of the farmer's own orders; what rules of
    thumb lose more; what perfect knowledge of the weather would save.
    """
    money, currency = plan.money, plan.farm.currency
    if math.isnan(money.already_lost):
        return (f"Expected loss of this plan: {show_money(money.loss, currency)}.",)
    kept = own_order_kept(plan)
    ahead = show_money(money.loss - money.already_lost, currency)
    error = money.loss_error
    give = f", give or take {show_money(error, currency)}" if math.isfinite(error) else ""
    lines = [
        f"Already lost: {show_money(money.already_lost, currency)}. Still at stake: "
        f"{show_money(money.at_stake, currency)}, of which this plan{kept} is expected to lose "
        f"{ahead}{give}."
    ]
    if money.held_cost is not None:
        lines.append(_held_text(money.held_cost, money.held_error, currency))
    than = f" than this plan{kept}" if kept else ""
    lines += [_rule_text(rule, plan.farm, than) for rule in money.rules]
    if money.floor is not None:
        saving = show_money(max(0.0, money.loss - money.floor), currency)
        lines.append(
            f"Knowing the weather beforehand would save at most {saving}"
            f"{f' against this plan{kept}' if kept else ''}."
        )
    return (*lines, _basis_text(plan))


def _held_text(cost: float, error: float | None, currency: str) -> str:
    """What the farmer's own orders cost."""
    error = math.nan if error is None else error
    if is_nothing(cost, error):
        return "Keeping your order costs nothing."
    amount = show_money(abs(cost), currency)
    words = f"costs {amount} more" if cost > 0.0 else f"saves {amount}"
    return f"Keeping your order {words}{give_or_take(cost, error, currency)}."


def _rule_text(rule: RuleComparison, farm: Farm, than: str) -> str:
    """What a rule of thumb loses more than the plan; `than` follows the amount."""
    limit = max(threshing_limit(farm, f.crop) for f in farm.fields)
    start = start_moisture_text(rule.start_pct, limit)
    words = "just as much as this plan"
    if not is_nothing(rule.more, rule.error):
        more = "more" if rule.more > 0.0 else "less"
        amount = show_money(abs(rule.more), farm.currency)
        give = give_or_take(rule.more, rule.error, farm.currency)
        words = f"{amount} {more}{than}{give}"
    return f"{sentence(one_line(rule.name))}, started {start}, would lose {words}."


def _basis_text(plan: Morning | IssuedPlan) -> str:
    """What the money is a mean of, and what 'give or take' means."""
    money = plan.money
    if money.judged == 1:
        text = "All this is in the one forecast there is, so its error is unknown"
    elif money.unseen:
        text = (
            f"All this is the mean of {money.judged} forecasts that neither the plan nor the start "
            "moisture of a rule was chosen on"
        )
        if money.stay_checked:
            text += ", but that settled whether yesterday's orders stay"
    else:
        text = (
            f"All this is the mean of the {money.judged} forecasts that the plan was chosen on, "
            "which flatters it: they are too few to set some aside"
        )
    cautious = (
        " The plan is chosen for the worst fifth of the forecasts."
        if plan.farm.rules.objective == "cautious"
        else ""
    )
    return f"{text}; 'give or take' is one standard error.{cautious}"
