"""A day of each crew in five lines, the same on terminal, page, text and sheet.

Who leaves, and which machines join or leave the crew; when and where to; from which moisture,
until when and how much; where the grain goes by its moisture; what if it is tough or soft.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import groupby

from scheduler.farm.model import Farm
from scheduler.farm.units import Units, show_area, show_distance, show_part
from scheduler.farm.wording import clock, crew_title, one_line, percent, sentence, time_of_day
from scheduler.language.translation import N_, _
from scheduler.orders.document import IssuedPlan
from scheduler.orders.model import CrewOrders, Morning, Order, Stint
from scheduler.report.order_phrases import (
    SURELY,
    idle_crew_text,
    idle_crews,
    machine_change_text,
    note_text,
    points_text,
    short_fallback,
    start_at_text,
    wait_first_text,
)
from scheduler.report.phrases import field_title, machines, move_text, own_crop, whole_loads

#: Names of the five lines.
WHO, GO, START, GRAIN, OTHERWISE = (
    N_("Who"),
    N_("Go"),
    N_("Cut"),
    N_("Grain"),
    N_("Not fit"),
)


@dataclass(frozen=True, kw_only=True)
class StintLines:
    """One stay in a field: the lines that tell a crew where to go, what to cut, where it goes.

    Attributes
    ----------
    go, cut, grain : when to leave and where to; from which moisture, until when and how much;
        where the grain goes.
    chance : how often the stay comes true, "" where that is sure.
    short : the whole stay in few words.
    """

    stint: Stint
    go: str
    cut: str
    chance: str
    grain: str
    short: str

    @property
    def start(self) -> str:
        """What to cut, and how often that comes true."""
        return f"{self.cut} {self.chance}".strip()


@dataclass(frozen=True, kw_only=True)
class CrewDay:
    """A day of a crew in words.

    Attributes
    ----------
    title, crew : crew as shown, and its id.
    day : the day, farm time.
    moved : machines that join or leave the crew, "" for none.
    who : machines and people.
    idle : why the crew cuts nothing on the day, "" where it does.
    held : when the farmer's own order begins, "" where the crew begins the day with it.
    stints : the day's stays in order; the first holds the day's first order.
    otherwise : what the crew does where its first field is tough or soft; "" tomorrow, or where it
        cuts nothing.
    """

    title: str
    crew: str
    day: date
    moved: str
    who: str
    idle: str
    held: str
    stints: tuple[StintLines, ...]
    otherwise: str

    @property
    def five(self) -> tuple[tuple[str, str], ...]:
        """The five lines, each with its name; fewer for a crew that cuts nothing."""
        who = _("{moved}. Crew: {who}", moved=self.moved, who=self.who) if self.moved else self.who
        if not self.stints:
            return (_(WHO), who), (_(GO), f"{self.idle} {self.held}".strip())
        first = self.stints[0]
        lines = (
            (_(WHO), who),
            (_(GO), f"{first.go} {self.held}".strip()),
            (_(START), first.start),
            (_(GRAIN), first.grain),
            (_(OTHERWISE), self.otherwise),
        )
        return tuple(line for line in lines if line[1])

    @property
    def then(self) -> tuple[str, ...]:
        """The stays after the first, a text each."""
        return tuple(stay.short for stay in self.stints[1:])

    @property
    def stays(self) -> str:
        """The whole day in few words, or why the crew cuts nothing."""
        return "; ".join(stay.short for stay in self.stints) or self.idle


def crew_days(plan: Morning | IssuedPlan, *, ahead: int = 0) -> tuple[CrewDay, ...]:
    """The day of every crew, crews without orders last; `ahead` is 0 for today, 1 for tomorrow."""
    day = plan.now.date() + timedelta(days=ahead)
    idle = () if ahead else idle_crews(plan)
    return (
        *(crew_day(crew, plan, day) for crew in plan.crews),
        *(_idle_day(crew, plan, day) for crew in idle),
    )


def crew_day(crew: CrewOrders, plan: Morning | IssuedPlan, day: date) -> CrewDay:
    """The day of one crew that has machines."""
    mine = crew.stints_on(day)
    today = day == plan.now.date()
    return CrewDay(
        title=sentence(crew_title(crew.crew)),
        crew=crew.crew,
        day=day,
        moved=machine_change_text(crew.crew, plan) if today else "",
        who=machines(crew, plan),
        idle="" if mine else idle_text(crew, day, plan),
        held=_own_order_text(crew, day, plan.farm.units) if today else "",
        stints=tuple(stint_lines(s, plan.farm) for s in mine),
        otherwise=otherwise_text(crew) if mine and today else "",
    )


def _idle_day(crew: str, plan: Morning | IssuedPlan, day: date) -> CrewDay:
    return CrewDay(
        title=sentence(crew_title(crew)),
        crew=crew,
        day=day,
        moved=machine_change_text(crew, plan),
        who=_("nobody"),
        idle=sentence(idle_crew_text(crew, plan)) + ".",
        held="",
        stints=(),
        otherwise="",
    )


def _own_order_text(crew: CrewOrders, day: date, units: Units) -> str:
    """When a field that the farmer holds is begun, where the crew begins the day with another."""
    held = [o for o in crew.orders if o.locked]
    begun = {(s.field, s.parcel) for s in crew.stints_on(day)[:1]}
    if not held or begun & {(o.field, o.parcel) for o in held}:
        return ""
    first = min(held, key=lambda o: o.start.mid)
    return _(
        "Your order: {field} from {time}.",
        field=field_title(first),
        time=clock(first.start.mid, day, units),
    )


def idle_text(crew: CrewOrders, day: date, plan: Morning | IssuedPlan) -> str:
    """Why a crew cuts nothing on a day, and the earliest that it may."""
    note = crew.note if day == plan.now.date() else crew.note_tomorrow
    if note:
        text = _("{note}.", note=sentence(one_line(note_text(note, plan.farm.units))))
    else:
        text = _("Nothing to cut.")
    early = min(crew.orders, key=lambda o: o.start.low, default=None)
    if early is None or early.start.low.date() != day:
        return text
    return (
        text
        + " "
        + _(
            "In one forecast of ten {field} opens by {time}.",
            field=field_title(early),
            time=clock(early.start.low, day, plan.farm.units),
        )
    )


def stint_lines(stint: Stint, farm: Farm) -> StintLines:
    """The lines of one stay in a field."""
    return StintLines(
        stint=stint,
        go=go_text(stint, farm),
        cut=cut_text(stint, farm),
        chance=chance_of_day(stint),
        grain=grain_text(stint, farm),
        short=stay_text(stint, farm.units),
    )


def go_text(stint: Stint, farm: Farm) -> str:
    """When to leave and where to: 'Leave 11:15 am for Stone pile (F08), durum: 9.5 mi, 44 min'."""
    field = _("{field}, {crop}", field=field_title(stint), crop=own_crop(stint, farm))
    if stint.move_min <= 0.0:
        return _("At {field}: you are there.", field=field)
    return _(
        "Leave {time} for {field}: {distance}, {move}.",
        time=clock(stint.leave_at, stint.start, farm.units),
        field=field,
        distance=show_distance(stint.move_km, farm.units),
        move=move_text(stint.move_min),
    )


def cut_text(stint: Stint, farm: Farm) -> str:
    """From which moisture, until when and how much: 'Start 12 pm at 20 % or drier, ...'."""
    words = {
        "start": time_of_day(stint.start, farm.units),
        "moisture": start_at_text(stint, farm, stint.start_pct),
        "until": clock(stint.until, stint.start, farm.units),
        "area": area_text(stint, farm.units),
    }
    if stint.finished and stint.area_ha >= 0.99 * stint.field_ha:
        return _("Start {start} {moisture}, cut until {until}: all {area}.", **words)
    if stint.finished:
        return _("Start {start} {moisture}, cut until {until}: the last {area}.", **words)
    return _("Start {start} {moisture}, cut until {until}: {area}, not finished.", **words)


def area_text(stint: Stint, units: Units) -> str:
    """Area that a stay cuts, '98.8 ac', or its part of a field that is not finished."""
    if stint.finished:
        return show_area(stint.area_ha, units)
    return show_part(stint.area_ha, stint.field_ha, units)


def stay_text(stint: Stint, units: Units) -> str:
    """A stay in few words: 'West ridge (F17): leave 7:20 pm, cut 8:55-10:30 pm, 35.9 of 148 ac'."""
    words = {
        "field": field_title(stint),
        "span": clock_span(stint.start, stint.until, units),
        "area": area_text(stint, units),
    }
    if stint.move_min > 0.0:
        leave = clock(stint.leave_at, stint.start, units)
        text = _("{field}: leave {leave}, cut {span}, {area}", leave=leave, **words)
    else:
        text = _("{field}: cut {span}, {area}", **words)
    share = _share(stint)
    if math.isnan(share) or share >= SURELY:
        return text
    return text + " " + _("({share})", share=percent(share))


def clock_span(start: datetime, until: datetime, units: Units) -> str:
    """From one clock time to another, '8:55-10:30 pm' or '20:55-22:30'."""
    first, last = time_of_day(start, units), clock(until, start, units)
    half = first[-3:] if first[-3:] in (" am", " pm") else None
    if half and last.endswith(half):
        first = first.removesuffix(half)
    return f"{first}-{last}"


def _share(stint: Stint) -> float:
    """Share of members in which the job is finished that day, or else cut at all."""
    return stint.done if stint.finished else stint.begun


def chance_of_day(stint: Stint) -> str:
    """How often the stint comes true on its day, "" where that is sure."""
    share = _share(stint)
    if math.isnan(share) or share >= SURELY:
        return ""
    if stint.finished:
        return _("Done by the end of that day in {share} of the forecasts.", share=percent(share))
    return _("Cut that day in {share} of the forecasts.", share=percent(share))


def grain_text(stint: Stint, farm: Farm) -> str:
    """Where the grain goes: 'Up to 16 %: Junction; wetter: home bins. Expect about 9 loads'."""
    where = sentence(points_text(stint, farm))
    brought = [d for d in stint.deliveries if d.loads > 0.0]
    if brought and len(stint.deliveries) > 1:
        each = ", ".join(
            _("{loads} to {point}", loads=whole_loads(d.loads), point=one_line(d.point))
            for d in brought
        )
    else:
        each = whole_loads(sum(d.loads for d in brought))
    text = _("{where}. Expect {each}.", where=where, each=each)
    if stint.headland_only:
        text += " " + _("Cart, trucks on the headland.")
    return text


def otherwise_text(crew: CrewOrders) -> str:
    """What the crew does where its first field is tough, or its ground soft."""
    first = wait_first_text(crew)
    if crew.fallback is None:
        return _("Tough or soft: {first}the next field that is fit.", first=first)
    tough, soft = (
        one_line(short_fallback(a)) for a in (crew.fallback.if_tough, crew.fallback.if_soft)
    )
    if tough == soft:
        return _("Tough or soft: {first}{action}.", first=first, action=tough)
    return _("Tough: {tough}. Soft: {soft}.", tough=first + tough, soft=soft)


def by_day(crew: CrewOrders) -> list[tuple[date, list[tuple[int, Order]]]]:
    """Group the numbered orders of a crew by the day of their middle start."""
    numbered = enumerate(crew.orders, 1)
    return [(d, list(g)) for d, g in groupby(numbered, key=lambda x: x[1].start.mid.date())]


def later_orders(plan: Morning | IssuedPlan, crew: CrewOrders) -> list[tuple[int, Order]]:
    """Orders of a crew that nobody finishes by tomorrow, each with its place from 1."""
    done = {(s.field, s.parcel) for c in plan.crews for s in c.stints if s.finished}
    return [(n, o) for n, o in enumerate(crew.orders, 1) if (o.field, o.parcel) not in done]
