"""Machine rates: cycles of combines, carts and trucks, and the rate of a crew in a field."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from readiness.atmosphere.weather import Array
from scheduler.farm.model import Cart, Combine, DeliveryPoint, Field, Truck

#: Rate left when combines unload at the field's edge, of that when they stop to unload where they
#: stand (Delchev et al. 2016: about 11 % is lost). With a cart the combine unloads on the go; the
#: edge then leaves 0.75-0.85 of its rate. It decides whether a crew waits for firm ground.
EDGE_FACTOR = 0.89
#: Share of its rate that a combine loses per point of grain moisture above the base of the trade.
#: Assumed, because tough straw and wet grain fill rotor and sieves (common practice, no figure
#: found): a fifth at 20 % in wheat. It decides how early in the day a crew begins.
TOUGH_SLOWER = 0.03
#: Share of its speed that a combine loses where all of the crop lies. Assumed, because lodged wheat
#: is cut slower, at times from one side only (Kansas State 2025, no figure). It decides how long a
#: lodged field holds a crew.
LODGED_SLOWER = 0.4
POSITION_S = 30.0  # positioning to unload, s; assumed, because no table gives it
APPROACH_MIN = 2.0  # cart to the next combine, min; published-practice example
CART_TRAVEL_MIN = 5.0  # cart to the truck and back, min; published-practice example
TRUCK_AVAILABLE = 0.85  # availability of a truck, 0-1, as in the published cycle example


def capacity_ha_h(speed_kmh: float, width_m: float, efficiency: float) -> float:
    """Effective field capacity, ha/h (ASABE EP496: v w e / 10; v km/h, w m, e decimal)."""
    return speed_kmh * width_m * efficiency / 10.0


def combine_t_h(
    combine: Combine, yield_t_ha: float, *, has_cart: bool, density: float, lodged: float = 0.0
) -> float:
    """Grain that a combine harvests, t/h: the lesser of field capacity and its grain-flow limit.

    Its field efficiency holds for unloading on the go. Without a cart the combine stops to unload.
    `density` is t/m³ of grain, `lodged` the share of the crop that lies.
    """
    speed = combine.speed_kmh * (1.0 - LODGED_SLOWER * lodged)
    rate = capacity_ha_h(speed, combine.header_m, combine.efficiency) * yield_t_ha
    if combine.flow_t_h is not None:
        rate = min(rate, combine.flow_t_h)
    return rate if has_cart else rate * unload_efficiency(combine, rate, density)


def unload_efficiency(combine: Combine, rate_t_h: float, density: float) -> float:
    """Share of time spent cutting when the combine stops to unload: fill / (fill + stop), 0-1."""
    fill_s = combine.tank_m3 * density / rate_t_h * 3600.0
    stop_s = combine.tank_m3 / combine.unload_m3_s + POSITION_S
    return fill_s / (fill_s + stop_s)


def cart_t_h(cart: Cart, tank_m3: float, unload_m3_s: float, density: float) -> float:
    """Grain that a cart moves from combines to trucks, t/h: capacity over cycle time.

    Cycle = tanks x (tank / unloading rate + approach) + travel + capacity / auger rate.
    """
    tanks = cart.capacity_m3 / tank_m3
    cycle_min = (
        tanks * (tank_m3 / unload_m3_s / 60.0 + APPROACH_MIN)
        + CART_TRAVEL_MIN
        + cart.capacity_m3 / cart.unload_m3_s / 60.0
    )
    return cart.capacity_m3 * density * 60.0 / cycle_min


def truck_load_t(truck: Truck, density: float) -> float:
    """Grain in a full truck, t: the lesser of box volume and payload."""
    return min(truck.capacity_m3 * density, truck.payload_t)


def truck_t_h(
    truck: Truck, point: DeliveryPoint, km: float, fill_m3_s: float, density: float
) -> float:
    """Grain that a truck hauls, t/h: load over cycle time (load, drive, queue, unload, return)."""
    load = truck_load_t(truck, density)
    cycle_h = (
        load / density / fill_m3_s / 3600.0
        + km / truck.loaded_kmh
        + (point.queue_min + point.unload_min) / 60.0
        + km / truck.empty_kmh
    )
    return load * TRUCK_AVAILABLE / cycle_h


@dataclass(frozen=True, kw_only=True)
class CrewMachines:
    """The machines of one crew for the day, as a make-up gives them.

    `in_turn` is whether one person drives the combine and the truck in turn: cuts until the truck
    at the field's edge is full, hauls the load, and cuts on.
    """

    crew: str
    combines: tuple[Combine, ...]
    carts: tuple[Cart, ...]
    trucks: tuple[Truck, ...]
    in_turn: bool = False


class MachinesUp(NamedTuple):
    """Machines of one crew by slot, each (machine, slot): 1.0 where up, 0.0 where down."""

    combines: Array
    carts: Array
    trucks: Array

    def at(self, slot: int) -> MachinesUp:
        """The same in one slot, (machine, 1)."""
        return MachinesUp(*(kind[:, slot : slot + 1] for kind in self))


class SlotRates(NamedTuple):
    """t/h of machines that are up, each (slot,): combines, the same at the edge, carts, trucks."""

    combine: Array
    edge: Array
    cart: Array
    haul: Array


@dataclass(frozen=True, kw_only=True)
class Rates:
    """Rates of a crew in a field with one delivery point, t/h of grain as cut.

    Rates stand machine by machine, so that a machine that is down can be left out.

    Attributes
    ----------
    combine : of each combine with the crew's carts up.
    alone : of each combine with no cart up.
    edge : of each combine while carts stay at the field's edge.
    cart : of each cart.
    haul : of each truck while the point is open.
    buffer : grain that carts and trucks hold while the point is closed, t.
    in_turn : whether these are the rates of one person who cuts and hauls in turn.
    """

    combine: tuple[float, ...]
    alone: tuple[float, ...]
    edge: tuple[float, ...]
    cart: tuple[float, ...]
    haul: tuple[float, ...]
    buffer: float
    in_turn: bool = False

    @property
    def limited_by(self) -> str:
        """The bottleneck with all machines up: 'combine', 'cart', 'haul' or 'person'."""
        if self.in_turn:
            return "person"
        return min(self._all_up, key=lambda name: self._all_up[name])

    @property
    def t_h(self) -> float:
        """Sustained rate with all machines up while the delivery point is open, t/h."""
        return min(self._all_up.values())

    @property
    def in_field_t_h(self) -> float:
        """Rate of all combines with all carts, whatever trucks haul, t/h."""
        return min(self._all_up["combine"], self._all_up["cart"])

    @property
    def at_edge_t_h(self) -> float:
        """The same while carts stay at the field's edge."""
        return min(sum(self.edge), self._all_up["cart"])

    @property
    def _all_up(self) -> dict[str, float]:
        cart = sum(self.cart) if self.cart else math.inf
        return {"combine": sum(self.combine), "cart": cart, "haul": sum(self.haul)}

    def by_slot(self, up: MachinesUp) -> SlotRates:
        """t/h of the machines that are up.

        Without a cart the combines unload by themselves, and carts are no limit.
        """
        carted = up.carts.any(axis=0)
        return SlotRates(
            combine=np.where(carted, self.combine @ up.combines, self.alone @ up.combines),
            edge=self.edge @ up.combines,
            cart=np.where(carted, self.cart @ up.carts, np.inf),
            haul=self.haul @ up.trucks,
        )


def crew_rates(
    machines: CrewMachines,
    field: Field,
    point: DeliveryPoint,
    *,
    km: float,
    density: float,
    wet_yield: float,
    carts_usual: bool = True,
) -> Rates:
    """Rates of a crew in a field; 0 for a combine that cannot work there.

    Parameters
    ----------
    km : road from the field to the point.
    density : of grain, t/m³.
    wet_yield : yield as cut, t/ha.
    carts_usual : whether the field efficiency of combines holds for work with carts; without carts
        on the farm it holds for combines that stop to unload.
    """

    def rate(combine: Combine, *, has_cart: bool) -> float:
        here, cart = combine.in_field(field), has_cart or not carts_usual
        if here is None:
            return 0.0
        return combine_t_h(here, wet_yield, has_cart=cart, density=density, lodged=field.lodged)

    combine, alone = (
        tuple(rate(c, has_cart=cart) for c in machines.combines)
        for cart in (bool(machines.carts), False)
    )
    tank = sum(c.tank_m3 for c in machines.combines) / len(machines.combines)
    unload = sum(c.unload_m3_s for c in machines.combines) / len(machines.combines)
    cart = tuple(cart_t_h(c, tank, unload, density) for c in machines.carts)
    fill = max((c.unload_m3_s for c in machines.carts), default=unload)
    haul = tuple(truck_t_h(t, point, km, fill, density) for t in machines.trucks)
    buffer = sum(c.capacity_m3 for c in machines.carts) * density
    buffer += sum(truck_load_t(t, density) for t in machines.trucks)
    edge = tuple(EDGE_FACTOR * rate for rate in alone)
    if machines.in_turn:
        # the truck stands at the edge; a tonne takes the time to cut it and the time to haul it
        both = (sum(edge) * sum(haul) / (sum(edge) + sum(haul)),)
        return Rates(
            combine=both, alone=both, edge=both, cart=(), haul=both, buffer=buffer, in_turn=True
        )
    return Rates(combine=combine, alone=alone, edge=edge, cart=cart, haul=haul, buffer=buffer)


def loads(tonnes: float, trucks: Sequence[Truck], density: float) -> float:
    """Loads of the crew's mean truck that carry `tonnes`; 0 without a truck."""
    if not trucks:
        return 0.0
    return tonnes / (sum(truck_load_t(t, density) for t in trucks) / len(trucks))
