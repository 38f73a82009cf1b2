"""Kinds of season book entries: one table serves terminal, page and CSV."""

from __future__ import annotations

import math
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from scheduler.farm.model import Farm
from scheduler.language.translation import N_

#: A number (SI), a text, or the field ids of an order.
Value = float | str | tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Fact:
    """One value of an entry.

    Attributes
    ----------
    name : key in `Entry.facts` and in the CSV heading.
    label : words on forms and in lists; `_` translates label, hint and choices.
    quantity : key of `units.SI_PER_UNIT`, or one of percent, test_weight, money, number, hours,
        choice, text, fields, field, crew, time, day_or_time.
    low, high : bounds of a number, SI. A value outside is taken for a slip of the pen.
    required : whether an entry needs this fact.
    default : text that a form starts with.
    choices : words allowed, for a choice.
    hint : text beside the label on a form.
    """

    name: str
    label: str
    quantity: str
    low: float = 0.0
    high: float = math.inf
    required: bool = False
    default: str = ""
    choices: tuple[str, ...] = ()
    hint: str = ""


@dataclass(frozen=True, kw_only=True)
class Kind:
    """A kind of entry.

    Attributes
    ----------
    name : key in `KINDS` and in the book's file.
    label : words on forms and in lists; `_` translates it.
    subject_type : type of the subject, a key of `SUBJECT_LABELS`.
    facts : values that an entry of this kind may hold.
    may_be_future : whether the time of an entry may lie ahead of the clock.
    exclusive : whether a writer must have seen the newest entry about the subject.
    by_hand : whether people write entries of this kind; the program writes the others.
    """

    name: str
    label: str
    subject_type: str
    facts: tuple[Fact, ...] = ()
    may_be_future: bool = False
    exclusive: bool = False
    by_hand: bool = True


GROUNDS = (N_("firm"), N_("headland-only"), N_("soft"), N_("ruts"))
NOTICE_FULL, NOTICE_CLOSED, NOTICE_CLOSING_EARLY = N_("full"), N_("closed"), N_("closing early")
NOTICE_OPEN_AGAIN = N_("open again")

#: Words on forms for the types of subjects; `_` translates them.
SUBJECT_LABELS = {
    "gauge": N_("Gauge"),
    "field": N_("Field"),
    "machine": N_("Machine"),
    "crew": N_("Crew"),
    "who": N_("Crew or person"),
    "point": N_("Delivery point"),
    "farm": N_("Farm"),
}
REMARK = Fact(name="reason", label=N_("Remark"), quantity="text")
_CREW = Fact(name="crew", label=N_("Crew"), quantity="crew")
_MOISTURE = Fact(name="moisture", label=N_("Moisture"), quantity="percent", low=3.0, high=60.0)
#: A tube of water falls in about 60 s, sound dry grain takes up to some 500 s.
_FALLING_NUMBER = Fact(
    name="falling_number",
    label=N_("Falling number"),
    hint=N_("seconds"),
    quantity="number",
    low=60.0,
    high=900.0,
)
_QUALITY = (
    Fact(name="test_weight", label=N_("Test weight"), quantity="test_weight", low=30.0, high=95.0),
    Fact(name="protein", label=N_("Protein"), quantity="percent", low=2.0, high=60.0),
    Fact(
        name="vomitoxin",
        label=N_("Vomitoxin"),
        hint=N_("ppm"),
        quantity="number",
        high=100.0,
    ),
    Fact(name="vitreous", label=N_("Vitreous kernels"), quantity="percent", high=100.0),
    _FALLING_NUMBER,
)
#: A reading of a gauge within this time of another is questioned; assumed: nobody empties a gauge
#: twice in an hour.
SAME_READING = timedelta(hours=1)
_RAIN = (
    Fact(name="rain", label=N_("Rain"), quantity="depth", high=500.0, required=True),
    Fact(
        name="hours",
        label=N_("Over"),
        hint=N_("hours since the last reading"),
        quantity="hours",
        low=0.25,
        high=240.0,
        default="24",
    ),
)
_GROUND = (
    Fact(name="ground", label=N_("Ground"), quantity="choice", required=True, choices=GROUNDS),
    REMARK,
)
_CUT = (
    Fact(
        name="area",
        label=N_("Area cut"),
        hint=N_("since the last entry, or: all"),
        quantity="area",
        high=5000.0,
        required=True,
    ),
    _CREW,
)
_TOUGH = (
    Fact(
        name="above",
        label=N_("Wetter than"),
        hint=N_("the moisture at which the crew was to start"),
        quantity="percent",
        low=3.0,
        high=60.0,
        required=True,
    ),
)
_LODGED = (
    Fact(
        name="share",
        label=N_("Lies"),
        hint=N_("share of the field, 0 where it stands again"),
        quantity="percent",
        high=100.0,
        required=True,
    ),
    REMARK,
)
_DOWN = (
    Fact(name="until", label=N_("Running again"), hint=N_("blank: not known"), quantity="time"),
    REMARK,
)
_ABSENT = (
    Fact(
        name="until",
        label=N_("Away until"),
        hint=N_("last day, and the hour if back that day; blank: that day only"),
        quantity="day_or_time",
    ),
    REMARK,
)
_SPRAY = (
    Fact(
        name="days",
        label=N_("Days to harvest"),
        hint=N_("by the label, which comes first; never on seed or malt where it says so"),
        quantity="number",
        high=120.0,
        required=True,
    ),
    REMARK,
)
_TICKET = (
    Fact(name="field", label=N_("Field"), quantity="field", required=True),
    Fact(name="weight", label=N_("Weight"), quantity="mass", low=0.01, high=200.0, required=True),
    _MOISTURE,
    *_QUALITY,
    Fact(name="dockage", label=N_("Dockage"), quantity="percent", high=50.0),
    Fact(name="price", label=N_("Price"), quantity="price", high=5000.0),
)
_NOTICE = (
    Fact(
        name="notice",
        label=N_("Notice"),
        quantity="choice",
        required=True,
        choices=(NOTICE_FULL, NOTICE_CLOSED, NOTICE_CLOSING_EARLY, NOTICE_OPEN_AGAIN),
    ),
    Fact(
        name="until",
        label=N_("Open again"),
        hint=N_("blank: not known, or the next day"),
        quantity="time",
    ),
    REMARK,
)
_ORDER = (
    Fact(name="fields", label=N_("Fields in order"), quantity="fields", required=True),
    Fact(name="why", label=N_("Why"), quantity="text"),
    Fact(name="cost", label=N_("Cost against the plan"), quantity="money", low=-1e9, high=1e9),
)
_FORECAST = tuple(
    Fact(name=n, label=n.capitalize(), quantity="text")
    for n in ("path", "source", "issued", "version")
)
_PLAN = (
    Fact(name="seen", label=N_("Entries seen"), quantity="number"),
    Fact(name="loss", label=N_("Expected loss"), quantity="money"),
    Fact(name="status", label=N_("Status"), quantity="text"),
)


_KINDS = (
    Kind(name="rain", label=N_("Rain gauge"), subject_type="gauge", facts=_RAIN),
    Kind(
        name="sample",
        label=N_("Grain sample"),
        subject_type="field",
        facts=(replace(_MOISTURE, required=True), *_QUALITY),
    ),
    Kind(name="tough", label=N_("Too tough"), subject_type="field", facts=_TOUGH),
    Kind(name="ground", label=N_("Ground check"), subject_type="field", facts=_GROUND),
    Kind(
        name="falling",
        label=N_("Falling number"),
        subject_type="field",
        facts=(replace(_FALLING_NUMBER, required=True), REMARK),
    ),
    Kind(name="lodged", label=N_("Lodged crop"), subject_type="field", facts=_LODGED),
    Kind(name="swathed", label=N_("Cut into swaths"), subject_type="field", facts=(REMARK,)),
    Kind(name="begun", label=N_("Field begun"), subject_type="field", facts=(_CREW,)),
    Kind(name="cut", label=N_("Area cut"), subject_type="field", facts=_CUT, exclusive=True),
    Kind(name="spray", label=N_("Sprayed before harvest"), subject_type="field", facts=_SPRAY),
    Kind(
        name="down", label=N_("Breakdown"), subject_type="machine", facts=_DOWN, may_be_future=True
    ),
    Kind(
        name="repaired",
        label=N_("Repaired"),
        subject_type="machine",
        facts=(REMARK,),
        may_be_future=True,
    ),
    Kind(
        name="absent",
        label=N_("Absent"),
        subject_type="who",
        facts=_ABSENT,
        may_be_future=True,
    ),
    Kind(name="ticket", label=N_("Load ticket"), subject_type="point", facts=_TICKET),
    Kind(
        name="notice",
        label=N_("Delivery point notice"),
        subject_type="point",
        facts=_NOTICE,
        may_be_future=True,
    ),
    Kind(name="order", label=N_("Own order"), subject_type="crew", facts=_ORDER, exclusive=True),
    Kind(
        name="forecast", label=N_("Forecast"), subject_type="farm", facts=_FORECAST, by_hand=False
    ),
    Kind(name="plan", label=N_("Plan issued"), subject_type="farm", facts=_PLAN, by_hand=False),
)
KINDS: dict[str, Kind] = {kind.name: kind for kind in _KINDS}


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One line of the season book.

    Attributes
    ----------
    kind : key of `KINDS`.
    subject : id of the gauge, field, machine, crew or delivery point; '' for the farm.
    at : when the facts held, UTC.
    facts : values by name, numbers in SI.
    by : who wrote the entry.
    token : unique text; an entry whose token the book has is not written again.
    replaces : id of the entry that this one corrects or takes back.
    withdrawn : whether this entry takes `replaces` back.
    id : number in the book, in the order of writing; 0 before it is written.
    noted : when the entry was written, UTC; None before.
    superseded : whether a later entry corrects this one or takes it back.
    """

    kind: str
    subject: str
    at: datetime
    facts: dict[str, Value] = field(default_factory=dict)
    by: str = ""
    token: str = field(default_factory=lambda: uuid.uuid4().hex)
    replaces: int | None = None
    withdrawn: bool = False
    id: int = 0
    noted: datetime | None = None
    superseded: bool = False

    def number(self, name: str) -> float | None:
        """A fact that is a number; None where it is absent."""
        value = self.facts.get(name)
        return float(value) if isinstance(value, (int, float)) else None

    def text(self, name: str) -> str:
        """A fact that is a text; '' where it is absent."""
        value = self.facts.get(name, "")
        return value if isinstance(value, str) else ""

    def time(self, name: str) -> datetime | None:
        """A fact that is a time; None where it is absent."""
        text = self.text(name)
        return datetime.fromisoformat(text) if text else None


def is_day(text: str) -> bool:
    """Whether a text in ISO format is a day, and no time."""
    return len(text) == 10


def ends_at_a_time(absence: Entry) -> bool:
    """Whether an absence ends at a time; else it takes whole days."""
    until = absence.text("until")
    return bool(until) and not is_day(until)


def subject_ids(farm: Farm, subject_type: str) -> tuple[str, ...]:
    """Ids of the farm that a subject of a type may have."""
    machines = [m.id for group in (farm.combines, farm.carts, farm.trucks) for m in group]
    people = [*(c.id for c in farm.crews), *(p.id for c in farm.crews for p in c.named)]
    return {
        "gauge": tuple(farm.gauges),
        "field": tuple(f.id for f in farm.fields),
        "machine": tuple(machines),
        "crew": tuple(c.id for c in farm.crews),
        "who": tuple(dict.fromkeys(people)),
        "point": tuple(p.id for p in farm.points),
        "farm": ("",),
    }[subject_type]


def crop_of(farm: Farm, subject: str, facts: Mapping[str, Value]) -> str:
    """The crop of an entry's field; of the farm's first field where the entry names none."""
    place = facts.get("field", subject)
    crops = [f.crop for f in farm.fields if f.id == place] or [f.crop for f in farm.fields[:1]]
    return crops[0] if crops else "wheat_hard"


def field_of(entry: Entry) -> str:
    """The field that an entry is about: the subject, or that of a ticket's load."""
    return entry.text("field") if entry.kind == "ticket" else entry.subject


def field_of_parcel(name: str) -> str:
    """The field of a parcel: 'F04' of 'F04/part 1 of 2'."""
    return name.partition("/")[0]
