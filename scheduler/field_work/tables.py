"""Work tables: what can be cut, at what rate and at what loss, in every member and slot."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from scheduler.field_work.kernel import PointChoice, fill_points

Bool = NDArray[np.bool_]
Float = NDArray[np.float64]
Float32 = NDArray[np.float32]
Int = NDArray[np.int64]


class WorkArrays(NamedTuple):
    """Arrays of `WorkTables` that compiled code takes; shapes and units as there."""

    wet: Float32
    prospect: Float32
    edge: Bool
    loss: Float32
    point: NDArray[np.int8]
    day: Int
    works: Bool
    road: Bool
    point_open: Bool
    slots_to_open: Int
    machines: Int
    cut_rate: Float
    haul_rate: Float
    full_haul: Float
    trucks_up: Float
    accepts: Bool
    buffer: Float
    delay: Float
    move: Float
    yield_t: Float
    shared: Bool
    room_factor: Float
    dry_limit: Float
    holding: Float
    dried: Float
    edge_rate: Float
    tough_from: Float
    tough_slower: float
    slot_min: float


@dataclass(frozen=True, kw_only=True)
class WorkTables:
    """Field work to simulate: all that the simulator, the search and the floor take in.

    Axes: member (weather), job (field or wet hollow), crew, point (delivery point), slot, and
    state (which machines of a crew are up).

    Attributes
    ----------
    wet : (member, slot, job), grain moisture, percent wet basis, where ground, grain and safety
        limits let the job be cut; infinite elsewhere.
    prospect : (member, slot, job), grain moisture where the ground bears and the grain is ripe, so
        that the job may open during the day; infinite elsewhere.
    edge : (member, slot, job), carts stay at the field's edge.
    loss : (member, slot, job, point), money lost per ha cut, ruts included; NaN where the load is
        not taken.
    day : (slot,), ordinal of the day in farm time.
    works : (crew, slot), the crew works.
    road : (slot,), moves on the road are allowed.
    point_open : (point, slot), the delivery point is open.
    slots_to_open : (point, slot), slots until it is open; at most the number of slots.
    machines : (crew, slot), state of the crew's machines.
    cut_rate : (crew, state, job), t/h that combines and carts bring off the field.
    edge_rate : (crew, state, job), the same while carts stay at the edge.
    tough_from : (job,), percent: moisture above which the crop threshes more slowly.
    haul_rate : (crew, state, job, point), t/h that the trucks haul.
    accepts : (crew, job, point), the point takes the job's grain from the crew at some moisture.
    buffer : (crew, job), t that carts and trucks hold.
    delay : (crew, job, point), money that the crew's time for a ha is worth; it weighs points.
    move : (crew, job + 1, job), min; the last row from where the crew stands at the first slot.
    area : (job,), ha to cut.
    yield_t : (job,), t/ha as cut.
    leave_cost : (job,), money lost where the job is left whole; a part costs its share.
    crop : (job,), number of the crop; start moistures of one crop are searched together.
    shared : (job,), two crews may work in it at once.
    room : (point,), t of wheat that the point still takes; infinite where unlimited.
    room_factor : (job,), t of wheat whose volume a tonne takes.
    dry_limit : (job, point), percent: wetter grain waits there for the dryer; infinite where none
        waits.
    holding : (point,), t of wheat that can wait for the dryer; infinite where unlimited.
    dried : (point, slot), water that the dryer takes out in a slot, t of wheat times points of
        moisture.
    weight : (member,), probabilities, summing to 1.
    tough_slower : share of the rate lost per point above `tough_from`.
    slot_min : length of a slot, min.

    Raises
    ------
    ValueError
        Where shapes do not agree.
    """

    wet: Float32
    prospect: Float32
    edge: Bool
    loss: Float32
    day: Int
    works: Bool
    road: Bool
    point_open: Bool
    slots_to_open: Int
    machines: Int
    cut_rate: Float
    edge_rate: Float
    tough_from: Float
    haul_rate: Float
    accepts: Bool
    buffer: Float
    delay: Float
    move: Float
    area: Float
    yield_t: Float
    leave_cost: Float
    crop: Int
    shared: Bool
    room: Float
    room_factor: Float
    dry_limit: Float
    holding: Float
    dried: Float
    weight: Float
    tough_slower: float = 0.0
    slot_min: float = 30.0

    def __post_init__(self) -> None:
        if self.loss.ndim != 4:
            raise ValueError(f"loss: want (member, slot, job, point), got {self.loss.shape}")
        m, s, j, q = self.loss.shape
        k, states = self.cut_rate.shape[:2]
        want = {
            "wet": (m, s, j),
            "prospect": (m, s, j),
            "edge": (m, s, j),
            "day": (s,),
            "works": (k, s),
            "road": (s,),
            "point_open": (q, s),
            "slots_to_open": (q, s),
            "machines": (k, s),
            "cut_rate": (k, states, j),
            "edge_rate": (k, states, j),
            "tough_from": (j,),
            "haul_rate": (k, states, j, q),
            "accepts": (k, j, q),
            "buffer": (k, j),
            "delay": (k, j, q),
            "move": (k, j + 1, j),
            "area": (j,),
            "yield_t": (j,),
            "leave_cost": (j,),
            "crop": (j,),
            "shared": (j,),
            "room": (q,),
            "room_factor": (j,),
            "dry_limit": (j, q),
            "holding": (q,),
            "dried": (q, s),
            "weight": (m,),
        }
        for name, shape in want.items():
            if (got := getattr(self, name).shape) != shape:
                raise ValueError(f"{name}: want shape {shape}, got {got}")

    @property
    def shape(self) -> tuple[int, int, int, int, int]:
        """(members, crews, jobs, points, slots)."""
        m, s, j, q = self.loss.shape
        return m, self.works.shape[0], j, q, s

    @cached_property
    def point(self) -> NDArray[np.int8]:
        """Delivery point of a job's grain while all points have room, (crew, member, slot, job)."""
        m, k, j, q, s = self.shape
        out = np.empty((k, m, s, j), np.int8)
        unlimited = np.full(q, np.inf)
        choice = PointChoice(self.loss, self.delay, self.accepts, self.slots_to_open)
        fill_points(choice, unlimited, out)
        return out

    @cached_property
    def full_haul(self) -> Float:
        """t/h that all trucks of a crew haul, (crew, job, point)."""
        return np.asarray(self.haul_rate.max(axis=1))

    @cached_property
    def trucks_up(self) -> Float:
        """Share of `full_haul` in each state of the machines, (crew, state, point)."""
        full = np.broadcast_to(self.full_haul[:, None], self.haul_rate.shape)
        share = np.divide(self.haul_rate, full, out=np.zeros(full.shape), where=full > 0.0)
        return np.asarray(share.max(axis=2))

    @property
    def arrays(self) -> WorkArrays:
        """The arrays as compiled code takes them."""
        return WorkArrays(*(getattr(self, name) for name in WorkArrays._fields))

    def of_members(self, members: Int | list[int]) -> WorkTables:
        """The same work in some of the members, equally likely."""
        picked = np.asarray(members, np.int64)
        by_member = ("wet", "prospect", "edge", "loss")
        part = {name: np.ascontiguousarray(getattr(self, name)[picked]) for name in by_member}
        weight = np.full(len(picked), 1.0 / len(picked))
        return replace(self, weight=weight, **part)  # type: ignore[arg-type]
