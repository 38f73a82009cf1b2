"""Words for cautions: those of the day by their codes, then the standing ones.

Usual published cautions only. Local codes, warnings in force, the machines' manuals and trained
or licensed people decide; no line here says that an hour is safe.
"""

from __future__ import annotations

from collections.abc import Sequence

from readiness.atmosphere.hazards import FIRE_STOP, LIGHTNING_WAIT_MIN
from scheduler.farm.units import Units, short_number, show_temp, show_wind
from scheduler.farm.wording import percent, time_of_day, weekday_clock
from scheduler.language.translation import N_, _
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
    N_(
        "Machine fire: clear chaff from engine and exhaust every day, let a hot engine cool 15 min "
        "before adding fuel, two charged extinguishers on each combine, water in the field as the "
        "local code asks (one code: 66 US gal, 250 L). Call for help first."
    ),
    N_(
        "Fatigue: keep the hours and breaks your rules and the drivers' licences allow; whoever is "
        "too tired to judge says so and stops."
    ),
    N_(
        "Road: wide loads, lights, emblem, escort and hours as the state requires; header off "
        "where the road is narrow."
    ),
    N_(
        "Power lines: look up before raising a box, auger or unloading spout; stay 10 ft (3 m) off "
        "in all directions, more where the utility says so. If a machine touches one, stay in the "
        "cab unless it burns, keep others away, call the utility."
    ),
    N_(
        "Flowing grain: nobody in a bin, box or pit while grain can move; it buries a person in "
        "about 20 seconds. Lock out first; entry only by trained people with harness and observer, "
        "by the site's rules."
    ),
    N_(
        "Dust and noise: mask and ear protection at bins and augers; guards on; engine off before "
        "clearing a blockage."
    ),
)
DEFERENCE = N_(
    "These are the usual cautions, not a finding that any hour is safe. Local codes, bans and "
    "warnings in force, manuals and trained people come first."
)


def standing_cautions() -> tuple[str, ...]:
    """Cautions of every day."""
    return tuple(_(line) for line in STANDING)


def deference() -> str:
    """Who comes before these cautions."""
    return _(DEFERENCE)


def caution_lines(morning: Morning) -> tuple[str, ...]:
    """All cautions: those of the day, the standing ones, and who comes before them."""
    return (*day_caution_lines(morning), *standing_cautions(), deference())


def day_caution_lines(morning: Morning) -> tuple[str, ...]:
    """Cautions of the day's weather and rosters."""
    return tuple(caution_text(c, morning.farm.units) for c in morning.cautions)


def issued_day_cautions(lines: Sequence[str]) -> tuple[str, ...]:
    """Keep the cautions of the day of the lines of an issued plan."""
    return tuple(line for line in lines if line not in (*standing_cautions(), deference()))


def caution_text(caution: DayCaution, units: Units) -> str:
    """A caution of the day, its topic before the first colon."""
    match caution:
        case UnknownWeather():
            return _(
                "Unknown: temperature, humidity or wind is missing for some hours today; fire and "
                "heat could not be judged there. Measure at the field."
            )
        case FireWarning(event=event, start=start, stop=stop):
            return _(
                "Fire warning: {event} from {start} to {stop}. Ask whoever has charge of fire "
                "there before cutting.",
                event=event,
                start=weekday_clock(start, units),
                stop=weekday_clock(stop, units),
            )
        case FireOverStop():
            return _(
                "Fire: the index passes your stop rule of {stop} in {share} of forecasts, worst "
                "about {peak}; the plan leaves those hours out. Measure at the field, and obey "
                "red-flag warnings and bans.",
                stop=short_number(caution.stop),
                share=percent(caution.share),
                peak=time_of_day(caution.peak, units),
            )
        case FireDanger():
            return _fire_danger(caution, units)
        case Heat():
            return _heat(caution, units)
        case Lightning():
            return _lightning(caution, units)
        case WindOverStop():
            return _(
                "Wind: gusts pass your stop rule of {speed} in {share} of forecasts, worst about "
                "{peak}; the plan leaves those hours out.",
                speed=show_wind(caution.stop_ms, units),
                share=percent(caution.share),
                peak=time_of_day(caution.peak, units),
            )
        case Gusts():
            return _(
                "Wind: gusts up to {speed} about {peak}: take care with raised boxes and augers, "
                "on the road, and with fire.",
                speed=show_wind(caution.gust_ms, units),
                peak=time_of_day(caution.peak, units),
            )
        case WorkAfterDark():
            return _(
                "Dark: sunset about {sunset} and {crews} may work on: check lights and emblems "
                "before, and whether wide loads may be moved after it.",
                sunset=time_of_day(caution.sunset, units),
                crews=", ".join(caution.crews),
            )
        case LongDay():
            return _(
                "Long day: {crews}. Plan breaks and reliefs now; truck drivers may have a lower "
                "limit.",
                crews=", ".join(f"{crew} {short_number(hours)} h" for crew, hours in caution.hours),
            )


def _lightning(storm: Lightning, units: Units) -> str:
    fields = {
        "start": time_of_day(storm.start, units),
        "share": percent(storm.share),
        "minutes": f"{LIGHTNING_WAIT_MIN:.0f}",
    }
    if storm.storms_known:
        return _(
            "Lightning: thunderstorms possible from {start} (up to {share} of forecasts). At the "
            "first thunder stop and get into a closed cab or building; wait {minutes} min after "
            "the last.",
            **fields,
        )
    return _(
        "Lightning: rain possible from {start} (up to {share} of forecasts). At the first thunder "
        "stop and get into a closed cab or building; wait {minutes} min after the last.",
        **fields,
    )


def _fire_danger(fire: FireDanger, units: Units) -> str:
    fields = {
        "index": f"{fire.index:.0f}",
        "danger": _(fire.hazard_class),
        "peak": time_of_day(fire.peak, units),
    }
    if fire.stop is None:
        return _(
            "Fire: the index may reach {index} ({danger}) about {peak}; no stop rule of yours is "
            "set (one published code stops above {stop}). The local code, red-flag warnings and "
            "bans decide.",
            stop=short_number(FIRE_STOP),
            **fields,
        )
    return _(
        "Fire: the index may reach {index} ({danger}) about {peak}; your stop rule is {stop}. The "
        "local code, red-flag warnings and bans decide.",
        stop=short_number(fire.stop),
        **fields,
    )


def _heat(heat: Heat, units: Units) -> str:
    text = _(
        "Heat: heat index up to {index} ({danger}) in the shade about {peak}, up to {more} more in "
        "the sun: water, shade, breaks, and watch each other.",
        index=show_temp(heat.index_c, units),
        danger=_(heat.hazard_class),
        peak=time_of_day(heat.peak, units),
        more="15 °F" if units == "us" else "8 °C",
    )
    if heat.passed_stop_c is None:
        return text
    stop = show_temp(heat.passed_stop_c, units)
    return " ".join((text, _("Hours over your stop rule of {stop} are left out.", stop=stop)))
