"""Words for cautions: those of the day by their codes, then the standing ones.

Usual published cautions only. Local codes, warnings in force, the machines' manuals and trained
or licensed people decide; no line here says that an hour is safe.
"""

from __future__ import annotations

from collections.abc import Sequence

from readiness.atmosphere.hazards import FIRE_STOP, LIGHTNING_WAIT_MIN
from scheduler.farm.units import Units, show_temp, show_wind
from scheduler.orders.cautions import (
    DayCaution,
    FireDanger,
    FireOverStop,
    FireWarning,
    Gusts,
    Heat,
    Lightning,
    LongDay,
    UnknownWeather,
    WindOverStop,
    WorkAfterDark,
)
from scheduler.orders.model import Morning

#: Shown every day. Sources: power lines, Ohio State University Agricultural Safety, 2019; fire,
#: North Dakota State University AE1991 (2021) and University of Wisconsin (two extinguishers of
#: 10 lb); firefighting unit, South Australian Grain Harvesting Code of Practice; flowing grain,
#: Clemson University Agricultural Safety, 2024 (22 s to go under); road, U.S. state rules on the
#: slow-moving-vehicle emblem (below 25 or 30 mph).
STANDING = (
    "Machine fire: clear chaff from engine and exhaust every day, let a hot engine cool 15 min "
    "before adding fuel, two charged extinguishers on each combine, water in the field as the "
    "local code asks (one code: 66 US gal, 250 L). Call for help first.",
    "Fatigue: keep the hours and breaks your rules and the drivers' licences allow; whoever is "
    "too tired to judge says so and stops.",
    "Road: wide loads, lights, emblem, escort and hours as the state requires; header off where "
    "the road is narrow.",
    "Power lines: look up before raising a box, auger or unloading spout; stay 10 ft (3 m) off in "
    "all directions, more where the utility says so. If a machine touches one, stay "
    "in the cab unless it burns, keep others away, call the utility.",
    "Flowing grain: nobody in a bin, box or pit while grain can move; it buries a person in about "
    "20 seconds. Lock out first; entry only by trained people with harness and observer, by the "
    "site's rules.",
    "Dust and noise: mask and ear protection at bins and augers; guards on; engine off before "
    "clearing a blockage.",
)
DEFERENCE = (
    "These are the usual cautions, not a finding that any hour is safe. Local codes, bans and "
    "warnings in force, manuals and trained people come first."
)


def caution_lines(morning: Morning) -> tuple[str, ...]:
    """All cautions: those of the day, the standing ones, and who comes before them."""
    return (*day_caution_lines(morning), *STANDING, DEFERENCE)


def day_caution_lines(morning: Morning) -> tuple[str, ...]:
    """Cautions of the day's weather and rosters."""
    return tuple(caution_text(c, morning.farm.units) for c in morning.cautions)


def issued_day_cautions(lines: Sequence[str]) -> tuple[str, ...]:
    """Keep the cautions of the day of the lines of an issued plan."""
    return tuple(line for line in lines if line not in (*STANDING, DEFERENCE))


def caution_text(caution: DayCaution, units: Units) -> str:
    """A caution of the day, its topic before the first colon."""
    match caution:
        case UnknownWeather():
            return (
                "Unknown: temperature, humidity or wind is missing for some hours today; fire and "
                "heat could not be judged there. Measure at the field."
            )
        case FireWarning(event=event, start=start, stop=stop):
            return (
                f"Fire warning: {event} from {start:%a %H:%M} to {stop:%a %H:%M}. Ask whoever has "
                "charge of fire there before cutting."
            )
        case FireOverStop():
            return (
                f"Fire: the index passes your stop rule of {caution.stop:g} in "
                f"{_forecasts(caution.share)}, worst about {caution.peak:%H:%M}; the plan leaves "
                "those hours out. Measure at the field, and obey red-flag warnings and bans."
            )
        case FireDanger():
            return _fire_danger(caution)
        case Heat():
            return _heat(caution, units)
        case Lightning():
            event = "thunderstorms" if caution.storms_known else "rain"
            return (
                f"Lightning: {event} possible from {caution.start:%H:%M} (up to "
                f"{_forecasts(caution.share)}). At the first thunder stop and get into a closed "
                f"cab or building; wait {LIGHTNING_WAIT_MIN:.0f} min after the last."
            )
        case WindOverStop():
            return (
                f"Wind: gusts pass your stop rule of {show_wind(caution.stop_ms, units)} in "
                f"{_forecasts(caution.share)}, worst about {caution.peak:%H:%M}; the plan leaves "
                "those hours out."
            )
        case Gusts():
            return (
                f"Wind: gusts up to {show_wind(caution.gust_ms, units)} about "
                f"{caution.peak:%H:%M}: take care with raised boxes and augers, on the road, and "
                "with fire."
            )
        case WorkAfterDark():
            return (
                f"Dark: sunset about {caution.sunset:%H:%M} and {', '.join(caution.crews)} may "
                "work on: check lights and emblems before, and whether wide loads may be moved "
                "after it."
            )
        case LongDay():
            crews = ", ".join(f"{crew} {hours:g} h" for crew, hours in caution.hours)
            return (
                f"Long day: {crews}. Plan breaks and reliefs now; truck drivers may have a lower "
                "limit."
            )


def _forecasts(share: float) -> str:
    return f"{100 * share:.0f} % of forecasts"


def _fire_danger(fire: FireDanger) -> str:
    rule = (
        f"no stop rule of yours is set (one published code stops above {FIRE_STOP:g})"
        if fire.stop is None
        else f"your stop rule is {fire.stop:g}"
    )
    return (
        f"Fire: the index may reach {fire.index:.0f} ({fire.hazard_class}) about "
        f"{fire.peak:%H:%M}; {rule}. The local code, red-flag warnings and bans decide."
    )


def _heat(heat: Heat, units: Units) -> str:
    in_sun = "15 °F" if units == "us" else "8 °C"
    limit = ""
    if heat.passed_stop_c is not None:
        stop = show_temp(heat.passed_stop_c, units)
        limit = f" Hours over your stop rule of {stop} are left out."
    return (
        f"Heat: heat index up to {show_temp(heat.index_c, units)} ({heat.hazard_class}) in the "
        f"shade about {heat.peak:%H:%M}, up to {in_sun} more in the sun: water, shade, breaks, and "
        f"watch each other.{limit}"
    )
