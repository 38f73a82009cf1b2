"""What people write into the season book: one table of kinds for terminal, page and CSV alike."""

from __future__ import annotations

import math
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime

from scheduler.farm.model import Farm

Value = float | str | tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Fact:
    """One thing an entry says. `quantity` is one of `units.SCALES` or a word `entry_reading` knows.

    `low` and `high` bound the value in SI; outside of them it is a slip, not a measurement.
    """

    name: str
    label: str
    quantity: str
    low: float = 0.0
    high: float = math.inf
    needed: bool = False
    usual: str = ""  # what a form starts with
    choices: tuple[str, ...] = ()
    hint: str = ""  # beside the label on a form


@dataclass(frozen=True, kw_only=True)
class Kind:
    """A kind of entry. `about` is what its subject names; `ahead` allows a time to come.

    Of a `single` kind two people must not write at once about one subject without seeing it.
    """

    name: str
    label: str
    about: str  # gauge | field | machine | crew | point | farm
    facts: tuple[Fact, ...] = ()
    ahead: bool = False
    single: bool = False
    by_hand: bool = True


GROUNDS = ("firm", "headland-only", "soft", "ruts")
NOTICE_FULL, NOTICE_CLOSING_EARLY, NOTICE_OPEN_AGAIN = "full", "closing early", "open again"

_GRAIN = (
    Fact(name="test_weight", label="Test weight", quantity="test_weight", low=30.0, high=95.0),
    Fact(name="protein", label="Protein", quantity="percent", low=2.0, high=60.0),
)
REMARK = Fact(name="reason", label="Remark", quantity="text")
_WET = Fact(name="moisture", label="Moisture", quantity="percent", low=3.0, high=60.0)

KINDS: dict[str, Kind] = {
    k.name: k
    for k in (
        Kind(name="rain", label="Rain gauge", about="gauge", facts=(
            Fact(name="rain", label="Rain", quantity="depth", high=500.0, needed=True),
            Fact(name="hours", label="Over", hint="hours since the last reading",
                 quantity="hours", low=0.25, high=240.0, usual="24"))),
        Kind(name="sample", label="Grain sample", about="field",
             facts=(replace(_WET, needed=True), *_GRAIN)),
        Kind(name="ground", label="Ground check", about="field", facts=(
            Fact(name="ground", label="Ground", quantity="choice", needed=True,
                 choices=GROUNDS), REMARK)),
        Kind(name="cut", label="Area cut", about="field", single=True, facts=(
            Fact(name="area", label="Area cut", hint="since the last entry, or: all",
                 quantity="area", high=5000.0, needed=True),
            Fact(name="crew", label="Crew", quantity="crew"))),
        Kind(name="down", label="Breakdown", about="machine", ahead=True, facts=(
            Fact(name="until", label="Running again", hint="blank: not known", quantity="time"),
            REMARK)),
        Kind(name="repaired", label="Repaired", about="machine", ahead=True, facts=(REMARK,)),
        Kind(name="absent", label="Crew absent", about="crew", ahead=True, facts=(
            Fact(name="until", label="Last day away", hint="blank: that day only",
                 quantity="day"),
            REMARK)),
        Kind(name="ticket", label="Load ticket", about="point", facts=(
            Fact(name="field", label="Field", quantity="field", needed=True),
            Fact(name="weight", label="Weight", quantity="mass", low=0.01, high=200.0,
                 needed=True),
            _WET, *_GRAIN,
            Fact(name="dockage", label="Dockage", quantity="percent", high=50.0),
            Fact(name="price", label="Price", quantity="price", high=5000.0))),
        Kind(name="notice", label="Delivery point notice", about="point", ahead=True, facts=(
            Fact(name="notice", label="Notice", quantity="choice", needed=True,
                 choices=(NOTICE_FULL, NOTICE_CLOSING_EARLY, NOTICE_OPEN_AGAIN)),
            Fact(name="until", label="Open again", hint="blank: not known, or the next day",
                 quantity="time"),
            REMARK)),
        Kind(name="order", label="Own order", about="crew", single=True, facts=(
            Fact(name="fields", label="Fields in order", quantity="fields", needed=True),
            Fact(name="why", label="Why", quantity="text"),
            Fact(name="cost", label="Cost against the plan", quantity="money",
                 low=-1e9, high=1e9))),
        Kind(name="forecast", label="Forecast", about="farm", by_hand=False, facts=tuple(
            Fact(name=n, label=n.capitalize(), quantity="text")
            for n in ("path", "source", "issued", "version"))),
        Kind(name="plan", label="Plan issued", about="farm", by_hand=False, facts=(
            Fact(name="seen", label="Entries seen", quantity="number"),
            Fact(name="loss", label="Expected loss", quantity="money"),
            Fact(name="status", label="Status", quantity="text"))),
    )
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One line of the season book. `at` is when it was so, `noted` when it was written, UTC.

    `id`, `noted` and `gone` (superseded or taken back) are the book's; `replaces` is the id of
    the entry that this one corrects; `withdrawn` means that it takes that entry back.
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
    gone: bool = False

    def number(self, name: str) -> float | None:
        """A fact that is a number, None where it was not told."""
        value = self.facts.get(name)
        return float(value) if isinstance(value, (int, float)) else None

    def text(self, name: str) -> str:
        """A fact that is a text, '' where it was not told."""
        value = self.facts.get(name, "")
        return value if isinstance(value, str) else ""

    def time(self, name: str) -> datetime | None:
        """A fact that is a time."""
        text = self.text(name)
        return datetime.fromisoformat(text) if text else None


def subject_ids(farm: Farm, about: str) -> tuple[str, ...]:
    """The ids a subject may have."""
    machines = [m.id for group in (farm.combines, farm.carts, farm.trucks) for m in group]
    return {
        "gauge": tuple(farm.gauges),
        "field": tuple(f.id for f in farm.fields),
        "machine": tuple(machines),
        "crew": tuple(c.id for c in farm.crews),
        "point": tuple(p.id for p in farm.points),
        "farm": ("",),
    }[about]


def crop_of(farm: Farm, subject: str, facts: Mapping[str, object]) -> str:
    """The crop an entry speaks of: of its field, else the farm's first."""
    place = facts.get("field", subject)
    crops = [f.crop for f in farm.fields if f.id == place] or [f.crop for f in farm.fields[:1]]
    return crops[0] if crops else "wheat_hard"


def field_of_parcel(name: str) -> str:
    """The field of a parcel: 'F04' of 'F04/part 1 of 2'."""
    return name.partition("/")[0]
