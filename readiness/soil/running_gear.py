"""Running gear of machines: contact pressure and axle load, and how they compare with usual ones.

The contact area of a tyre on soft ground is half of diameter times width, as in the mobility index
of the U.S. Army (FM 5-430-00-1 ch. 7: contact pressure factor w / (0.5 n d b)).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, NamedTuple

G = 9.81  # m/s²
#: Peak over mean pressure under a track. Half-tracks of a combine at 10 psi on average compacted
#: like tyres at 26-34 psi, duals at 6 psi slightly less than tracks at 6 psi (Ohio State, Reeder,
#: in Corn and Soybean Digest); two is between. Moves when tracked machines may drive.
TRACK_PEAK = 2.0
#: Share of a combine's weight on its front axle (Ohio State, Reeder: 80-85 %).
FRONT_SHARE = 0.82


#: Kinds of running gear that people name.
Gear = Literal["single", "dual", "tandem", "tracks"]


class RunningGear(NamedTuple):
    """Tyres or tracks that carry the main load of a machine."""

    number: int  # of tyres or tracks
    length_m: float  # diameter of a tyre, length of a track on the ground
    width_m: float
    tracks: bool = False


#: Usual running gear by machine and kind: common sizes (common practice, no source), dimensions
#: from memory. Diameters lie within 6 % of the nominal one of the size (rim and twice the side
#: wall). The gear of a tandem carries both axles. Moves the limits of 0-15 cm of machines on other
#: gear than the usual, by at most `LOAD_SPAN`.
GEARS: dict[str, dict[Gear, RunningGear]] = {
    "combine": {
        "single": RunningGear(2, 1.956, 0.899),  # 900/60R32
        "dual": RunningGear(4, 1.95, 0.528),  # 20.8R42
        "tandem": RunningGear(4, 1.85, 0.80),  # 800/65R32 on two axles
        "tracks": RunningGear(2, 2.5, 0.91, tracks=True),  # 36 in. wide
    },
    "cart": {
        "single": RunningGear(2, 1.95, 1.25),  # 1250/50R32
        "dual": RunningGear(4, 2.03, 0.716),  # 710/70R42
        "tandem": RunningGear(4, 1.956, 0.899),
        "tracks": RunningGear(2, 2.8, 0.91, tracks=True),
    },
    "truck": {
        "single": RunningGear(4, 1.04, 0.28),  # 11R22.5, twin tyres
        "dual": RunningGear(4, 1.04, 0.28),
        "tandem": RunningGear(8, 1.04, 0.28),
        "tracks": RunningGear(2, 2.0, 0.6, tracks=True),
    },
}


def contact_pressure(load_t: float, gear: RunningGear) -> float:
    """Contact pressure on soft ground, kPa, of a load on tyres or tracks; the peak of tracks."""
    if gear.tracks:
        return TRACK_PEAK * load_t * G / (gear.number * gear.length_m * gear.width_m)
    return load_t * G / (0.5 * gear.number * gear.length_m * gear.width_m)


class GroundLoad(NamedTuple):
    """What a machine asks of the ground."""

    pressure_kpa: float  # at the contact, which decides in 0-5 and 5-15 cm
    axle_t: float  # on one axle, which decides below


def hardest(loads: Sequence[GroundLoad]) -> GroundLoad | None:
    """The largest pressure and the largest axle load of several machines; None without any."""
    if not loads:
        return None
    return GroundLoad(max(x.pressure_kpa for x in loads), max(x.axle_t for x in loads))


def ground_load(machine: str, kind: Gear, load_t: float) -> GroundLoad:
    """Ground load of a machine.

    Parameters
    ----------
    machine : 'combine', 'cart' or 'truck'.
    kind : of running gear.
    load_t : on the main axle, of a tandem on both axles, t.
    """
    axles = 2.0 if kind in ("tandem", "tracks") else 1.0  # tracks spread a load along their length
    return GroundLoad(contact_pressure(load_t, GEARS[machine][kind]), load_t / axles)


#: The machines that validation rests on, with a full tank or load, t: a combine (400-bu machines
#: weigh over 50,000 lb) and a cart (1,000-1,200 bu: 65,000-70,000 lb), both on single tyres.
USUAL_COMBINE_T, USUAL_CART_T = 25.0, 30.0
#: Load on the tandem of a full truck, t: 34,000 lb, the usual U.S. limit (memory).
USUAL_TRUCK_T = 15.4
USUAL_COMBINE = ground_load("combine", "single", FRONT_SHARE * USUAL_COMBINE_T)
USUAL_CART = ground_load("cart", "single", USUAL_CART_T)
USUAL_TRUCK = ground_load("truck", "tandem", USUAL_TRUCK_T)
