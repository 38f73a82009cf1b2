"""Phrases about orders, the same in every output."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import TYPE_CHECKING

from readiness.grain.crops import CROPS
from readiness.grain.grade import SAMPLE_GRADE
from readiness.season.codes import OtherWork, OtherWorkReason
from scheduler.costs.loss_parts import LossPart
from scheduler.farm.model import Farm
from scheduler.farm.units import (
    Units,
    show_area,
    show_mass,
    show_money,
    show_number,
    show_test_weight,
)
from scheduler.farm.wording import REASON_TEXT, clock, crop_name, one_line, percent, sentence
from scheduler.language.translation import N_, _, ngettext
from scheduler.orders.document import IssuedPlan
from scheduler.orders.model import (
    SHUT,
    TURNED_AWAY,
    UNCUT,
    CrewOrders,
    Delivery,
    Morning,
    Order,
    RuleComparison,
    Spread,
    Stint,
    TimeSpread,
)
from scheduler.planning.stages import PlanStage
from scheduler.report.order_phrases import (
    error_text,
    give_or_take,
    is_nothing,
    own_order_kept,
    start_moisture_text,
    threshing_limit,
)
from scheduler.solver.stages import Stage

if TYPE_CHECKING:  # the page words orders and loads neither models nor solver
    from scheduler.windows.daily_hours import DayHours
    from scheduler.work_tables.crew_makeup import MakeUp

#: What limits the pace of an order; `_` translates it, as it does the texts below.
LIMIT_TEXT = {
    "combine": N_("as fast as the combines cut"),
    "cart": N_("held up by carts"),
    "haul": N_("held up by trucks"),
    "person": N_("one person cuts and hauls in turn"),
}
#: Parts of a loss.
PART_NAMES: dict[LossPart, str] = {
    LossPart.YIELD: N_("yield"),
    LossPart.TEST_WEIGHT: N_("test weight"),
    LossPart.SPROUTED_BEFORE: N_("sprouted before"),
    LossPart.SPROUTING: N_("sprouting"),
    LossPart.MOISTURE: N_("moisture"),
    LossPart.OVER_DRY: N_("over-dry"),
    LossPart.RUTS: N_("ruts"),
    LossPart.OTHER: N_("other"),
}
#: The parts of a plan's loss by their names in `MoneyAtStake.parts`.
PLAN_PARTS = {
    **{part.name.lower(): name for part, name in PART_NAMES.items()},
    LossPart.YIELD.name.lower(): N_("yield (shatter, lodged and header loss)"),
    LossPart.MOISTURE.name.lower(): N_("moisture (discount, shrink and drying)"),
    LossPart.OTHER.name.lower(): N_("haul, and points that pay less"),
    UNCUT: N_("grain left uncut"),
}
#: What keeps an hour from other work.
OTHER_WORK_REASON_TEXT: dict[int, str] = {
    OtherWorkReason.UNKNOWN: N_("weather unknown"),
    OtherWorkReason.GROUND: N_("ground too soft"),
    OtherWorkReason.RAIN: N_("rain falling"),
    OtherWorkReason.WET: N_("topsoil too wet to work"),
    OtherWorkReason.COLD: N_("soil too cold for its crop"),
    OtherWorkReason.DRY: N_("seed zone too dry"),
    OtherWorkReason.WIND: N_("wind too light or too strong"),
    OtherWorkReason.SUN: N_("dark, or inversions likely"),
}
#: Work of `ready`, None is cutting: heading of its hours, the meaning of the table, texts of what
#: closes hours.
WORK_TEXT: dict[OtherWork | None, tuple[str, str, dict[int, str]]] = {
    None: (
        N_("cut"),
        N_(
            "drive: hours the ground bears a combine, day and night. cut: hours the field can be "
            "cut while a crew works, with the 10th to 90th percentile over forecasts. from: the "
            "first. {least}: chance of at least so many hours to cut."
        ),
        REASON_TEXT,
    ),
    "tillage": (
        N_("till"),
        N_(
            "drive: hours the ground bears a combine, day and night. till: hours the topsoil can "
            "be worked while a crew works, with the 10th to 90th percentile over forecasts. from: "
            "the first. {least}: chance of at least so many hours to till."
        ),
        OTHER_WORK_REASON_TEXT,
    ),
    "planting": (
        N_("plant"),
        N_(
            "drive: hours the ground bears a combine, day and night. plant: hours the field's crop "
            "can be sown while a crew works, with the 10th to 90th percentile over forecasts. "
            "from: the first. {least}: chance of at least so many hours to plant."
        ),
        OTHER_WORK_REASON_TEXT,
    ),
    "spraying": (
        N_("spray"),
        N_(
            "drive: hours the ground bears a combine, day and night. spray: hours wind and sun are "
            "fit for spraying while a crew works, with the 10th to 90th percentile over forecasts. "
            "from: the first. {least}: chance of at least so many hours to spray."
        ),
        OTHER_WORK_REASON_TEXT,
    ),
}
#: What the planner does in each stage, beside its progress bar.
STAGE_TEXT: dict[Stage, str] = {
    PlanStage.READINESS: N_("running soil and grain"),
    PlanStage.MAKEUPS: N_("comparing make-ups"),
    PlanStage.SEARCH: N_("searching for orders"),
    PlanStage.CHECK: N_("checking them on other forecasts"),
    PlanStage.FLOOR: N_("reckoning the money"),
    PlanStage.BRIEFING: N_("putting it into words"),
}
#: The road to a field, by its surface.
APPROACH_TEXT = {
    "paved": N_("Paved approach"),
    "gravel": N_("Gravel approach"),
    "dirt": N_("Dirt approach"),
}
#: Length of a move from which its parts are told, min; assumed: shorter ones surprise nobody.
LONG_MOVE_MIN = 60.0
EDGE_ONLY = N_("keep cart and trucks on the headland")


def approach_text(approach: str) -> str:
    """The road to a field, 'Gravel approach'."""
    return _(APPROACH_TEXT[approach])


def row_title(farm: Farm, row: int) -> str:
    """Title of a row of the season: 'Home quarter (F01), wet hollow'."""
    from scheduler.windows.daily_hours import HOLLOW  # both load the models
    from scheduler.windows.model_inputs import season_rows

    field, hollow = season_rows(farm)[row]
    return _title(field.name, field.id, HOLLOW if hollow else "")


def lost_to_text(hours: DayHours, texts: Mapping[int, str] = REASON_TEXT) -> str:
    """Text of the cause of most of a day's lost hours; empty where none is lost."""
    return "" if hours.lost_to is None else _(texts[hours.lost_to])


def time_range(spread: TimeSpread, beside: datetime | date, units: Units, dash: str = "-") -> str:
    """10th to 90th percentile, '09:30-11:30'; a day other than that of `beside` is named."""
    low = clock(spread.low, beside, units)
    named = beside if spread.low.date() == beside else spread.low
    return f"{low}{dash}{clock(spread.high, named, units)}"


def times_note(members: int) -> str:
    """What clock times, their ranges and the share beside 'cut by' mean."""
    return _(
        "Clock times are those of one forecast near the middle of {members}; fields that the crew "
        "cuts only in other forecasts come last. A range holds that time and eight in ten of the "
        "forecasts in which the crew cuts the field. 'Cut by' counts the forecasts in which the "
        "whole field is cut by the end of that day.",
        members=members,
    )


def moisture_range(spread: Spread, dash: str = "-") -> str:
    """10th to 90th percentile of moisture, '13.2-15.9 %'."""
    return f"{show_number(spread.low, 1)}{dash}{show_number(spread.high, 1)} %"


def quality_note(farm: Farm) -> str:
    """Explain what test weights start from and, in US units, what the grade rests on."""
    text = _(
        "Test weight when cut starts from the last weighed load, or from sound grain, less what "
        "every rain and heavy dew since then took."
    )
    if farm.units != "us":
        return text
    grade = _(
        "A U.S. grade is by it and sprouted kernels alone; other damage or foreign material can "
        "lower it."
    )
    return f"{text} {grade}"


def grade_name(grade: int) -> str:
    """Name of a U.S. grade, 'U.S. No. 2'."""
    return _("U.S. Sample grade") if grade == SAMPLE_GRADE else _("U.S. No. {grade}", grade=grade)


def quality_text(order: Order, morning: Morning | IssuedPlan) -> str:
    """Grain quality when cut, '58.7 lb/bu, 1.4 % sprouted: U.S. No. 2 by these alone'.

    Only wheat in US units whose test weight was weighed has a grade.
    """
    if math.isnan(order.test_weight_kg_hl):
        return _("test weight unknown")
    sown = next((f for f in morning.farm.fields if f.id == order.field), None)
    sprouted = f"{show_number(order.sprouted_pct, 1)} %"
    if sown is not None and sown.test_weight_kg_hl is None:
        return _(
            "model: {sprouted} sprouted; test weight not weighed: take a sample", sprouted=sprouted
        )
    fields = {
        "weight": show_test_weight(order.test_weight_kg_hl, order.crop, morning.farm.units),
        "sprouted": sprouted,
    }
    if order.us_grade is None:
        return _("{weight}, {sprouted} sprouted", **fields)
    grade = grade_name(order.us_grade)
    return _("{weight}, {sprouted} sprouted: {grade} by these alone", grade=grade, **fields)


def loads_text(loads: float) -> str:
    """Number of loads, '5.1 loads' or '12 loads'."""
    number = show_number(loads, 1 if loads < 9.95 else 0)
    return ngettext(
        "{number} load", "{number} loads", 1 if round(loads, 1) == 1.0 else 2, number=number
    )


def whole_loads(loads: float) -> str:
    """Loads that a driver counts, 'about 9 loads': rounded up."""
    return ngettext("about {n} load", "about {n} loads", max(1, math.ceil(loads - 0.05)))


def move_text(minutes: float) -> str:
    """Length of a move, '44 min' or '1 h 32 min', rounded up."""
    whole = math.ceil(minutes - 1e-6)
    if whole < 60:
        return _("{minutes} min", minutes=whole)
    return _("{hours} h {minutes} min", hours=whole // 60, minutes=whole % 60)


def move_parts(order: Order | Stint, farm: Farm) -> str:
    """A move of an hour or more by its parts: '3 h 0 min: road 64, headers 20, cleaning 96'."""
    whole = move_text(order.move_min)
    if order.move_min < LONG_MOVE_MIN:
        return whole
    road = order.move_km / farm.moves.road_kmh * 60.0
    both = farm.moves.header_off_min + farm.moves.header_on_min
    rest = max(0.0, order.move_min - road)
    headers = both if rest >= both - 0.5 else min(rest, farm.moves.header_on_min)
    parts = _("road {road}, headers {headers}", road=round(road), headers=round(headers))
    if (cleaning := round(rest - headers)) > 0:
        parts += ", " + _("cleaning {minutes}", minutes=cleaning)
    return f"{whole}: {parts}"


def haul_text(order: Order) -> str:
    """Loads by delivery point, '7 loads to Rail; 3.2 loads to home bins when Rail is shut'."""
    first = one_line(order.point)
    if not order.deliveries:
        return _("{loads} to {point}", loads=loads_text(order.loads), point=first)
    return "; ".join(_delivery_text(d, first) for d in order.deliveries)


def _delivery_text(delivery: Delivery, first: str) -> str:
    """Loads to a delivery point, and when they go there; `first` is the point of first choice."""
    fields = {"loads": loads_text(delivery.loads), "point": one_line(delivery.point)}
    if delivery.why == SHUT:
        return _("{loads} to {point} when {first} is shut", first=first, **fields)
    if delivery.why == TURNED_AWAY:
        return _("{loads} to {point} while {first} turns it away", first=first, **fields)
    return _("{loads} to {point}", **fields)


def delivery_lines(morning: Morning) -> list[str]:
    """Grain to each delivery point by the plan, with its room, and where the rest goes."""
    units = morning.farm.units
    room = {p.id: p.capacity_t for p in morning.farm.points}
    lines = []
    for total in morning.totals:
        # bushels of different crops add up as tonnes of wheat
        grain = show_mass(total.wheat_t if units == "us" else total.tonnes, None, units)
        text = _(
            "{point}: {grain}, {loads}",
            point=one_line(total.point),
            grain=grain,
            loads=whole_loads(total.loads),
        )
        capacity = room[total.point]
        if capacity is not None:
            text += "; " + _("room for {grain}", grain=show_mass(capacity, None, units))
        if total.full > 0.0:
            others = ", ".join(map(one_line, total.overflow))
            text += "; " + _("full in {share} of the forecasts", share=percent(total.full))
            text += ", " + (
                _("then the grain goes to {others}", others=others)
                if others
                else _("then fields stay uncut")
            )
        lines.append(text)
    return lines


def field_title(order: Order | Stint) -> str:
    """Title of an order's field or parcel, 'Home quarter (F01), wet hollow'."""
    return _title(order.name, order.field, order.parcel)


def _title(name: str, field: str, parcel: str) -> str:
    """Name of a field and its id, the id alone where there is no other name, then the parcel."""
    label = one_line(field)
    shown = one_line(name) or label
    title = shown if shown == label else f"{shown} ({label})"
    return f"{title}, {_(parcel)}" if parcel else title


def own_crop(order: Order | Stint, farm: Farm) -> str:
    """Name of an order's crop as the user entered it, else the usual one."""
    field = next((f for f in farm.fields if f.id == order.field), None)
    return crop_name(order.crop, field.entered if field is not None else "")


def grain_text(order: Order, morning: Morning) -> str:
    """Grain of an order, '4,900 bu' or '133.1 t'."""
    return show_mass(order.tonnes, order.crop, morning.farm.units)


def driven(crew: CrewOrders, ids: Sequence[str]) -> str:
    """Machines of a crew with the names of their drivers, 'T1 (Jo), T2'."""
    driver = dict(crew.drivers)
    return one_line(", ".join(f"{m} ({driver[m]})" if m in driver else m for m in ids))


def machines(crew: CrewOrders, plan: Morning | IssuedPlan) -> str:
    """Machines and people of a crew, 'C1 (Ann), C2 with cart North; truck T1; 5 people'.

    A machine that is down or away comes last, with its return: 'C2 joins Fri 9 am'.
    """
    back = dict(crew.joins)
    combines, carts, trucks = (
        [m for m in ids if m not in back] for ids in (crew.combines, crew.carts, crew.trucks)
    )
    parts = [driven(crew, combines) or _("no combine")]
    if carts:
        parts[0] = _("{combines} with {carts}", combines=parts[0], carts=driven(crew, carts))
    if trucks:
        ids = driven(crew, trucks)
        parts.append(ngettext("truck {ids}", "trucks {ids}", len(trucks), ids=ids))
    parts.append(ngettext("{n} person", "{n} people", crew.people))
    for machine, at in crew.joins:
        time = clock(at, plan.now, plan.farm.units)
        parts.append(_("{machine} joins {time}", machine=machine, time=time))
    return one_line("; ".join(parts))


def makeup_text(makeup: MakeUp) -> str:
    """Crews of a make-up, 'North: C1, C2 + 1 cart + 2 trucks; South: C3 + 1 cart + 1 truck'."""
    return "; ".join(
        "{crew}: {combines} + {carts} + {trucks}".format(
            crew=crew.crew,
            combines=", ".join(c.id for c in crew.combines),
            carts=ngettext("{n} cart", "{n} carts", len(crew.carts)),
            trucks=ngettext("{n} truck", "{n} trucks", len(crew.trucks)),
        )
        for crew in makeup
    )


def total_area(crew: CrewOrders, morning: Morning) -> str:
    """Area of all orders of a crew."""
    return show_area(sum(o.area_ha for o in crew.orders), morning.farm.units)


def money_lines(plan: Morning | IssuedPlan) -> tuple[str, ...]:
    """Sentences about the plan's money.

    Lost already, at stake, lost by the plan; the price of the farmer's own orders; what rules of
    thumb lose more; what perfect knowledge of the weather would save.
    """
    money, currency = plan.money, plan.farm.currency
    if math.isnan(money.already_lost):
        return (_("Expected loss of this plan: {loss}.", loss=show_money(money.loss, currency)),)
    kept = own_order_kept(plan)
    lines = [
        _(
            "Already lost: {lost}. Still at stake: {stake}, of which this plan{kept} is expected "
            "to lose {ahead}{give}.",
            lost=show_money(money.already_lost, currency),
            stake=show_money(money.at_stake, currency),
            kept=kept,
            ahead=show_money(money.loss - money.already_lost, currency),
            give=error_text(money.loss_error, currency),
        )
    ]
    if money.held_cost is not None:
        lines.append(held_text(money.held_cost, money.held_error, currency))
    than = _(" than this plan{kept}", kept=kept) if kept else ""
    lines += [_rule_text(rule, plan.farm, than) for rule in money.rules]
    if money.floor is not None:
        saving = show_money(max(0.0, money.loss - money.floor), currency)
        against = _(" against this plan{kept}", kept=kept) if kept else ""
        lines.append(
            _(
                "Knowing the weather beforehand would save at most {saving}{against}.",
                saving=saving,
                against=against,
            )
        )
    lines += parts_lines(plan)
    lines += leaving_lines(plan)
    if money.searches_apart is not None:
        error = math.nan if money.searches_error is None else money.searches_error
        lines.append(
            _(
                "Another seed may give another order that is as good: two separate searches of "
                "this morning lie {amount} apart{give}.",
                amount=show_money(money.searches_apart, currency),
                give=error_text(error, currency),
            )
        )
    return (*lines, _basis_text(plan))


def parts_lines(plan: Morning | IssuedPlan) -> list[str]:
    """The plan's loss by cause, the largest first; the parts sum to what is lost and expected."""
    currency = plan.farm.currency
    parts = sorted(plan.money.parts, key=lambda part: -part[1])
    shown = [(_(PLAN_PARTS[name]), amount) for name, amount in parts if abs(amount) >= 0.5]
    if not shown:
        return []
    return [
        _(
            "What is lost and expected to be lost, {total}, by cause: {parts}.",
            total=show_money(plan.money.loss, currency),
            parts="; ".join(f"{name} {show_money(amount, currency)}" for name, amount in shown),
        )
    ]


def leaving_lines(plan: Morning | IssuedPlan) -> list[str]:
    """What the price of a field that nobody cuts assumes, and that haul is part of the money."""
    lines = []
    for leave in plan.money.leaving:
        fields = {"days": round(leave.days), "share": percent(leave.share)}
        if len(plan.money.leaving) == 1:
            lines.append(
                _(
                    "Grain left uncut counts as sold {days} days after the days planned, for "
                    "{share} less.",
                    **fields,
                )
            )
        else:
            crops = ", ".join(_(CROPS[c].name) for c in leave.crops)
            lines.append(
                _(
                    "Grain left uncut ({crops}) counts as sold {days} days after the days planned, "
                    "for {share} less.",
                    crops=crops,
                    **fields,
                )
            )
    if lines:
        lines.append(
            _(
                "That share is for the risk that it is never cut. Shatter and rain until then come "
                "off as well. Your own days and share: leave_days and leave_share in farm.toml."
            )
        )
        lines.append(_("The haul to each delivery point is part of all these amounts."))
    return lines


def held_text(cost: float, error: float | None, currency: str) -> str:
    """What the farmer's own orders cost."""
    error = math.nan if error is None else error
    if is_nothing(cost, error):
        return _("Keeping your order costs nothing.")
    fields = {
        "amount": show_money(abs(cost), currency),
        "error": give_or_take(cost, error, currency),
    }
    if cost > 0.0:
        return _("Keeping your order costs {amount} more{error}.", **fields)
    return _("Keeping your order saves {amount}{error}.", **fields)


def _rule_text(rule: RuleComparison, farm: Farm, than: str) -> str:
    """What a rule of thumb loses more than the plan; `than` follows the amount."""
    limit = max(threshing_limit(farm, f.crop) for f in farm.fields)
    start = start_moisture_text(rule.start_pct, limit)
    fields = {"rule": sentence(one_line(_(rule.name))), "start": start}
    if is_nothing(rule.more, rule.error):
        return _("{rule}, started {start}, would lose just as much as this plan.", **fields)
    fields |= {
        "amount": show_money(abs(rule.more), farm.currency),
        "than": than,
        "error": give_or_take(rule.more, rule.error, farm.currency),
    }
    if rule.more > 0.0:
        return _("{rule}, started {start}, would lose {amount} more{than}{error}.", **fields)
    return _("{rule}, started {start}, would lose {amount} less{than}{error}.", **fields)


def _basis_text(plan: Morning | IssuedPlan) -> str:
    """What the money is a mean of, and what 'give or take' means."""
    money = plan.money
    if money.judged == 1:
        basis = _(
            "All this is in the one forecast there is, so its error is unknown; 'give or take' is "
            "one standard error."
        )
    elif money.unseen and money.stay_checked:
        basis = _(
            "All this is the mean of {n} forecasts that neither the plan nor the start moisture of "
            "a rule was chosen on, but that settled whether crews and orders stay as they were; "
            "'give or take' is one standard error.",
            n=money.judged,
        )
    elif money.unseen:
        basis = _(
            "All this is the mean of {n} forecasts that neither the plan nor the start moisture of "
            "a rule was chosen on; 'give or take' is one standard error.",
            n=money.judged,
        )
    else:
        basis = _(
            "All this is the mean of the {n} forecasts that the plan was chosen on, which flatters "
            "it: they are too few to set some aside; 'give or take' is one standard error.",
            n=money.judged,
        )
    if plan.farm.rules.objective != "cautious":
        return basis
    cautious = _("The plan is chosen for the worst fifth of the forecasts.")
    return f"{basis} {cautious}"
