"""Manning: who drives which machine, by day, so that nobody sits in two seats.

Each combine, cart and truck takes one person. Where a crew has one person for a combine and a
truck, that person drives them in turn. A crew that the plan may not share keeps its own people. The
people of the other crews form a pool, like their machines.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import product
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from readiness.atmosphere.weather import Array
from scheduler.costs.machine_rates import CrewMachines, capacity_ha_h
from scheduler.farm.model import Cart, Combine, Crew, Farm, Person, Truck
from scheduler.farm.slots import BoolArray, farm_time
from scheduler.farm.working_time import crew_slots

Machine = Combine | Cart | Truck
KINDS: dict[type[Machine], str] = {Combine: "combine", Cart: "cart", Truck: "truck"}
#: Penalty of a machine that nobody drives: the first combine and the first truck of a crew, without
#: which the crew cannot work, and the others by kind, one row for each way to run short. Only their
#: order counts; make-ups of all ways are priced.
NEEDED = 1000.0
SHORT_OF = (
    {"combine": 100.0, "cart": 70.0, "truck": 50.0},
    {"combine": 100.0, "cart": 30.0, "truck": 50.0},
    {"combine": 20.0, "cart": 70.0, "truck": 50.0},
)
#: Cost of a seat for somebody of another crew, and for somebody who sat elsewhere the day before;
#: below any penalty, so that they only choose between people who man as much.
OTHER_CREW, OTHER_SEAT = 0.1, 0.01
FORBIDDEN = 1e9


class Seat(NamedTuple):
    """A machine of a make-up; `crew` is the number of the crew."""

    crew: int
    machine: Machine


class Driver(NamedTuple):
    """Somebody of a crew; `number` tells those without a name apart."""

    crew: Crew
    number: int
    person: Person


@dataclass(frozen=True, kw_only=True)
class Manning:
    """Who drives what.

    Attributes
    ----------
    seats : machines of the make-up: of each crew combines, carts, trucks.
    drivers : the people who may be called on.
    day : (slot,), ordinal of the day in farm time.
    driver : (seat, slot), number of the driver; -1 where nobody drives.
    """

    seats: tuple[Seat, ...]
    drivers: tuple[Driver, ...]
    day: NDArray[np.int64]
    driver: NDArray[np.int64]

    def manned(self, crew: int, kind: type[Machine]) -> BoolArray:
        """Whether each machine of a kind of a crew is driven, (machine, slot)."""
        rows = [
            n for n, s in enumerate(self.seats) if s.crew == crew and isinstance(s.machine, kind)
        ]
        return np.asarray(self.driver[rows] >= 0)

    @property
    def first_day(self) -> BoolArray:
        """Slots of the first day on which anybody drives, (slot,); else of the first day."""
        driven = np.flatnonzero((self.driver >= 0).any(axis=0))
        return np.asarray(self.day == self.day[driven[0] if driven.size else 0])

    @property
    def first_driver(self) -> tuple[int, ...]:
        """Driver of each seat on the first day; -1 for nobody."""
        return tuple(self.driver[:, self.first_day].max(axis=1, initial=-1).tolist())

    def names(self, crew: int) -> tuple[tuple[str, str], ...]:
        """Pairs of machine and person with a name of a crew on the first day."""
        pairs = zip(self.seats, self.first_driver, strict=True)
        return tuple(
            (seat.machine.id, self.drivers[n].person.id)
            for seat, n in pairs
            if seat.crew == crew and n >= 0 and self.drivers[n].person.id
        )

    def people(self, crew: int, crew_id: str) -> int:
        """People with a crew on the first day: its drivers, and its own who drive nothing."""
        seated = self.first_driver
        own = len({n for s, n in zip(self.seats, seated, strict=True) if s.crew == crew and n >= 0})
        spare = [n for n, d in enumerate(self.drivers) if d.crew.id == crew_id and n not in seated]
        return own + len(spare)


def seats_of(makeup: Sequence[CrewMachines]) -> tuple[Seat, ...]:
    """Machines of a make-up: of each crew combines, carts, trucks."""
    return tuple(
        Seat(k, machine)
        for k, crew in enumerate(makeup)
        for kind in (crew.combines, crew.carts, crew.trucks)
        for machine in kind
    )


def may_drive(driver: Driver, seat: Seat, crews: Sequence[Crew]) -> bool:
    """Whether a driver may sit in a seat: by licence, and by crew where one of two is fixed.

    `crews` are those of the make-up, by number.
    """
    crew = crews[seat.crew]
    if driver.crew.id != crew.id and (driver.crew.fixed or crew.fixed):
        return False
    can = driver.person.drives
    return not can or seat.machine.id in can or KINDS[type(seat.machine)] in can


def _allowed(seats: Sequence[Seat], drivers: Sequence[Driver], crews: Sequence[Crew]) -> BoolArray:
    """Whether each driver may sit in each seat, (seat, driver)."""
    may = [may_drive(d, s, crews) for s in seats for d in drivers]
    return np.array(may, np.bool_).reshape(len(seats), len(drivers))


def driver_slots(driver: Driver, slots: NDArray[np.datetime64], tz: ZoneInfo) -> BoolArray:
    """Slots that somebody works, (slot,): the crew's, less days off and hours over the limit."""
    return _driver_slots(
        replace(driver.crew, named=()), driver.person, slots.astype("datetime64[m]").tobytes(), tz
    )


@lru_cache(maxsize=512)  # every make-up of a morning asks for the same people
def _driver_slots(crew: Crew, person: Person, stamps: bytes, tz: ZoneInfo) -> BoolArray:
    slots = np.frombuffer(stamps, "datetime64[m]")
    own = crew.hours_max_day if person.hours_max_day is None else person.hours_max_day
    works = crew_slots(
        replace(
            crew,
            week=tuple(None if d in person.days_off else span for d, span in enumerate(crew.week)),
            hours_max_day=min(own, crew.hours_max_day),
            absent=(*crew.absent, *person.absent),
            away=(*crew.away, *person.away),
        ),
        slots,
        tz,
    )
    works.flags.writeable = False
    return works


def drivers_of(crews: Sequence[Crew]) -> tuple[Driver, ...]:
    """All people of some crews."""
    return tuple(Driver(c, n, p) for c in crews for n, p in enumerate(c.staff))


def man(
    farm: Farm,
    makeup: Sequence[CrewMachines],
    slots: NDArray[np.datetime64],
    up: Sequence[BoolArray],
) -> Manning:
    """Assign the people of the farm to the machines of a make-up, day by day.

    Parameters
    ----------
    up : (slot,) for each machine in the order of `seats_of`: it is on the farm and not down.
    """
    seats, by_id = seats_of(makeup), {c.id: c for c in farm.crews}
    crews = [by_id[m.crew] for m in makeup]
    drivers = drivers_of(farm.crews)
    works = np.array([driver_slots(d, slots, farm.tz) for d in drivers])
    days = np.array([farm_time(s, farm.tz).toordinal() for s in slots])
    allowed = _allowed(seats, drivers, crews)
    turns = _turns(makeup, seats)
    for combine, truck in turns:
        allowed[combine] &= allowed[truck]
    lent = np.array([[d.crew.id != crews[s.crew].id for d in drivers] for s in seats])
    # of two who may sit in a seat, the one who works longer; in combines first
    longer = 1e-4 * np.array([2.0 if isinstance(s.machine, Combine) else 1.0 for s in seats])
    usable = np.array(up)
    usable[[truck for _, truck in turns]] = False  # whoever drives the combine has the truck too
    out = np.full((len(seats), len(slots)), -1, np.int64)
    before = np.full(len(seats), -1, np.int64)
    known: dict[bytes, NDArray[np.int64]] = {}
    for day in np.unique(days):
        today = np.asarray(days == day)
        need = np.asarray(usable[:, today].any(axis=1))
        there = works[:, today].sum(axis=1)
        key = need.tobytes() + there.tobytes() + before.tobytes()
        if key not in known:
            cost = OTHER_CREW * lent + OTHER_SEAT * (np.arange(len(drivers)) != before[:, None])
            cost = cost - longer[:, None] * there
            cost = np.where(allowed & need[:, None] & (there > 0), cost, FORBIDDEN)
            known[key] = assign(cost, penalties(seats, SHORT_OF[0], need))
        sits = known[key]
        before = np.where(sits >= 0, sits, before)
        for n in np.flatnonzero(sits >= 0):
            out[n, today] = np.where(works[sits[n], today], sits[n], -1)
    for combine, truck in turns:
        out[truck] = out[combine]
    return Manning(seats=seats, drivers=drivers, day=days, driver=out)


def _turns(makeup: Sequence[CrewMachines], seats: Sequence[Seat]) -> list[tuple[int, int]]:
    """Seats of combine and truck of each crew in which one person drives both."""
    rows = {(s.crew, type(s.machine)): n for n, s in enumerate(seats)}
    return [(rows[k, Combine], rows[k, Truck]) for k, crew in enumerate(makeup) if crew.in_turn]


def assign(cost: Array, penalty: Array) -> NDArray[np.int64]:
    """Number of the driver in each seat, -1 for nobody, at least total cost.

    Parameters
    ----------
    cost : (seat, driver), `FORBIDDEN` where the driver may not sit.
    penalty : (seat,), of a seat that nobody takes.
    """
    seats, drivers = cost.shape
    nobody = np.full((seats, seats), FORBIDDEN)
    np.fill_diagonal(nobody, penalty)
    rows, columns = linear_sum_assignment(np.hstack([cost, nobody]))
    out = np.full(seats, -1, np.int64)
    out[rows] = np.where(columns < drivers, columns, -1)
    return out


def penalties(seats: Sequence[Seat], by_kind: Mapping[str, float], need: BoolArray) -> Array:
    """Penalty of each seat that nobody takes, (seat,); `need` are machines that are up."""
    first: set[tuple[int, type[Machine]]] = set()
    out = np.zeros(len(seats))
    for n in sorted(np.flatnonzero(need).tolist(), key=lambda n: (-_size(seats[n].machine), n)):
        crew, machine = seats[n]
        kind = type(machine)
        out[n] = by_kind[KINDS[kind]] + _size(machine)
        if kind is not Cart and (crew, kind) not in first:
            first.add((crew, kind))
            out[n] += NEEDED
    return out


def _size(machine: Machine) -> float:
    """What a machine does, below 10, to leave the smaller of two of a kind unmanned."""
    if isinstance(machine, Combine):
        return min(9.0, capacity_ha_h(machine.speed_kmh, machine.header_m, machine.efficiency) / 5)
    if isinstance(machine, Cart):
        return min(9.0, machine.capacity_m3 / 15.0)
    return min(9.0, machine.payload_t / 10.0)


def manned_makeups(
    crews: Sequence[Crew], makeup: tuple[CrewMachines, ...]
) -> Iterator[tuple[CrewMachines, ...]]:
    """The make-up where people suffice, else the ways to leave machines without a driver.

    Of a crew whose people man a combine and no truck, one person drives both in turn, or they help
    others, and the crew is left without work. A crew that mans no combine always helps others.

    Parameters
    ----------
    crews : those that are there on some day planned.
    """
    drivers = drivers_of(crews)
    by_id = {c.id: c for c in crews}
    for by_kind, in_turn in product(SHORT_OF, (True, False)):
        left = makeup
        while left:
            seats = seats_of(left)
            own = [by_id[m.crew] for m in left]
            cost = np.where(_allowed(seats, drivers, own), 0.0, FORBIDDEN)
            need = np.ones(len(seats), np.bool_)
            sits = assign(cost, penalties(seats, by_kind, need))
            if (sits >= 0).all():
                break
            kept = [s for s, driver in zip(seats, sits, strict=True) if driver >= 0]
            trimmed = [
                _only(m, {s.machine.id for s in kept if s.crew == k}) for k, m in enumerate(left)
            ]
            if in_turn:
                pairs = zip(seats, sits, strict=True)
                sitting = {s.machine.id: drivers[n] for s, n in pairs if n >= 0}
                trimmed = [
                    _in_turn(k, few, whole, sitting, own)
                    for k, (few, whole) in enumerate(zip(trimmed, left, strict=True))
                ]
            works = [bool(m.combines and m.trucks) for m in trimmed]
            if all(works):
                left = tuple(trimmed)
                break
            # the weakest crew that cannot work gives its people to the others
            idle = [k for k, w in enumerate(works) if not w]
            gone = min(idle, key=lambda k: sum(_size(c) for c in left[k].combines))
            left = tuple(m for k, m in enumerate(left) if k != gone)
        yield left
        if left == makeup:
            return


def _in_turn(
    crew: int,
    few: CrewMachines,
    whole: CrewMachines,
    sitting: Mapping[str, Driver],
    crews: Sequence[Crew],
) -> CrewMachines:
    """A crew with a combine and no truck as one person who drives both, if there is such a one.

    Parameters
    ----------
    few, whole : the crew with the machines that are manned, and with all.
    sitting : driver of each machine.
    """
    if few.trucks:
        return few
    for combine in few.combines:
        for truck in whole.trucks:
            if may_drive(sitting[combine.id], Seat(crew, truck), crews):
                return replace(few, combines=(combine,), carts=(), trucks=(truck,), in_turn=True)
    return few


def _only(machines: CrewMachines, ids: set[str]) -> CrewMachines:
    """The crew with some of its machines."""
    return replace(
        machines,
        combines=tuple(m for m in machines.combines if m.id in ids),
        carts=tuple(m for m in machines.carts if m.id in ids),
        trucks=tuple(m for m in machines.trucks if m.id in ids),
    )
