"""Phrases about orders, the same in every output."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date, datetime

from readiness.grain.grade import SAMPLE_GRADE
from readiness.season.codes import OtherWork, OtherWorkReason
from scheduler.cut_tables.crew_makeup import MakeUp
from scheduler.farm.model import Farm
from scheduler.farm.units import (
    show_area,
    show_mass,
    show_money,
    show_test_weight,
    wheat_equivalent_t,
)
from scheduler.farm.wording import REASON_TEXT, clock, one_line
from scheduler.orders.document import IssuedPlan
from scheduler.orders.model import (
    SHUT,
    TURNED_AWAY,
    CrewOrders,
    Morning,
    Order,
    Spread,
    TimeSpread,
)
from scheduler.planning.stages import PlanStage
from scheduler.solver.stages import SolveStage, Stage
from scheduler.windows.daily_hours import HOLLOW, DayHours
from scheduler.windows.model_inputs import season_rows

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
    PlanStage.MAKEUPS: "pricing make-ups",
    SolveStage.SEARCH: "searching for orders",
    SolveStage.BOUND: "proving how good they are",
    SolveStage.IMPROVE: "looking for better orders",
    SolveStage.POLISH: "polishing",
    SolveStage.COMMON_BOUND: "proving how good one order can be",
    SolveStage.DONE: "done",
    PlanStage.UNCERTAINTY: "weighing what is not known",
    PlanStage.BRIEFING: "putting it into words",
}
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


def field_title(order: Order) -> str:
    """Title of an order's field or parcel, 'Home quarter (F01), wet hollow'."""
    name = one_line(order.name) or order.field
    title = name if name == order.field else f"{name} ({one_line(order.field)})"
    return f"{title}, {order.parcel}" if order.parcel else title


def grain_text(order: Order, morning: Morning) -> str:
    """Grain of an order, '4,900 bu' or '133.1 t'."""
    return show_mass(order.tonnes, order.crop, morning.farm.units)


def machines(crew: CrewOrders) -> str:
    """Machines and people of a crew, 'C1, C2 with cart North; trucks T1, T2; 5 people'."""
    parts = [", ".join(crew.combines) or "no combine"]
    if crew.carts:
        parts[0] += f" with {', '.join(crew.carts)}"
    if crew.trucks:
        parts.append(f"truck{'s' if len(crew.trucks) > 1 else ''} {', '.join(crew.trucks)}")
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


def weather_line(morning: Morning | IssuedPlan) -> str:
    """Source, members and age of the weather, and the end of planning."""
    age = "age unknown" if morning.age_h is None else f"{morning.age_h:.0f} h old"
    issued = (
        ""
        if morning.issued is None
        else f", issued {clock(morning.issued.astimezone(morning.farm.tz), morning.now)}"
    )
    return (
        f"{one_line(morning.source)}, {morning.members} member{'s' if morning.members != 1 else ''}"
        f"{issued}, {age}; planned to {clock(morning.until, morning.now)}"
    )


def objective_text(morning: Morning | IssuedPlan) -> str:
    """Name of the loss that the plan minimises."""
    if morning.farm.rules.objective == "cautious":
        return "loss averaged over the worst fifth of the forecasts"
    return "expected loss"


def loss_lines(morning: Morning | IssuedPlan) -> tuple[str, ...]:
    """Sentences about the loss, the best rule of thumb, and the lower bound."""
    money = morning.farm.currency
    objective = objective_text(morning).capitalize()
    lines = [f"{objective} of this plan: {show_money(morning.loss, money)}."]
    if morning.rule_losses:
        name, rule = min(morning.rule_losses.items(), key=lambda item: item[1])
        saved = rule - morning.loss
        verdict = (
            f"the plan saves {show_money(saved, money)}"
            if saved > 0.5
            else f"the plan loses {show_money(-saved, money)} more"
            if saved < -0.5
            else "the plan is as good"
        )
        lines.append(
            f"Best of {len(morning.rule_losses)} rules of thumb, {name}: "
            f"{show_money(rule, money)}; {verdict}."
        )
    lines.append(proof_text(morning))
    return tuple(lines)


def proof_text(morning: Morning | IssuedPlan) -> str:
    """The optimality gap in plain words, rounded so that the plan never looks better than it is."""
    if morning.bound is None or morning.gap is None:
        return "Not proven: no limit was found in time to what the best order could lose."
    if morning.status == "optimal" or morning.gap <= 0.0:
        return "Proven: no order of these fields can lose less in these forecasts."
    money = show_money(math.floor(morning.bound), morning.farm.currency)
    within = math.ceil(round(morning.gap * 1000.0, 6)) / 10.0
    return (
        f"No order of these fields can lose less than {money}; this one is within {within:.1f} %."
    )


def worth_lines(morning: Morning) -> tuple[str, ...]:
    """Sentences about the value of perfect information and of the stochastic solution."""
    money = morning.farm.currency
    lines = []
    if morning.value_of_perfect_information is not None:
        lines.append(
            "Knowing the weather beforehand would save another "
            f"{show_money(morning.value_of_perfect_information, money)}."
        )
    if morning.value_of_stochastic_solution is not None:
        lines.append(
            "Planning on the average forecast alone would lose "
            f"{show_money(morning.value_of_stochastic_solution, money)} more."
        )
    return tuple(lines)
