"""Words for cautions: those of the day by their codes, then the standing ones.

Usual published cautions only. Local codes, warnings in force, the machines' manuals and trained
or licensed people decide; no line here says that an hour is safe.
"""

from __future__ import annotations

from collections.abc import Sequence

from readiness.atmosphere.hazards import FIRE_STOP, LIGHTNING_WAIT_MIN
from scheduler.farm.units import Units, short_number, show_temp, show_wind
from scheduler.farm.wording import one_line, percent, time_of_day, weekday_clock
from scheduler.language.translation import N_, _
from scheduler.orders.cautions import (
    DayCaution,
    FireDanger,
    FireOverStop,
    FireWarning,
    FlowingGrain,
    Gusts,
    Heat,
    Lightning,
    LongDay,
    PowerLines,
    RoadMoves,
    UnknownWeather,
    WindOverStop,
    WorkAfterDark,
)
from scheduler.orders.model import Morning

#: Shown every day. Sources: power lines, Ohio State University Agricultural Safety, 2019; fire,
#: North Dakota State University AE1991 (2021) and University of Wisconsin (two extinguishers of
#: 10 lb); firefighting unit, South Australian Grain Harvesting Code of Practice; flowing grain,
#: Clemson University Agricultural Safety, 2024 (22 s to go under); road, U.S. state rules on the
#: slow-moving-vehicle emblem (below 25 or 30 mph); people on foot, common practice, no source.
STANDING = (
    N_(
        "Machine fire: clear chaff from engine and exhaust every day, and let a hot engine cool "
        "15 min before you add fuel. Keep two charged extinguishers on each combine, and water in "
        "the field as the local code asks (one code: 66 US gal, 250 L). Call for help first."
    ),
    N_(
        "Fatigue: keep the hours and breaks that your rules and the drivers' licences allow. "
        "Whoever is too tired to judge says so and stops."
    ),
    N_(
        "Road: keep to the state's rules for wide loads, lights, emblem, escort and hours. Take "
        "the header off where the road is narrow."
    ),
    N_(
        "Power lines: look up before you raise a box, auger or unloading spout. Stay 10 ft (3 m) "
        "off in all directions, more where the utility says so. If a machine touches a line, stay "
        "in the cab unless it burns, keep others away, and call the utility."
    ),
    N_(
        "Flowing grain: nobody enters a bin, box or pit while grain can move; it buries a person "
        "in about 20 seconds. Lock out first. Only trained people with harness and observer enter, "
        "by the site's rules."
    ),
    N_(
        "People on foot: agree by radio before anybody walks to a machine. The driver stops when a "
        "person on foot is out of sight, and switches the engine off before a blockage is cleared."
    ),
    N_(
        "Dust and noise: wear a mask and ear protection at bins and augers, and keep the guards on."
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
                "Unknown: temperature, humidity or wind is missing for some hours today, so fire "
                "and heat could not be judged there. Measure at the field."
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
                "Wind: gusts reach {speed} about {peak}. Keep boxes and augers down, and take care "
                "on the road and with fire.",
                speed=show_wind(caution.gust_ms, units),
                peak=time_of_day(caution.peak, units),
            )
        case WorkAfterDark():
            return _(
                "Dark: the sun sets about {sunset}, and {crews} may work on. Check lights and "
                "emblems before, and switch all of them on. Nobody walks near a machine unless its "
                "driver knows where. Ask whether wide loads may be moved after dark.",
                sunset=time_of_day(caution.sunset, units),
                crews=_and(caution.crews),
            )
        case LongDay():
            return _(
                "Long day: {crews} from leaving to the end. Plan breaks and reliefs now; truck "
                "drivers may have a lower limit.",
                crews=", ".join(f"{crew} {short_number(hours)} h" for crew, hours in caution.hours),
            )
        case RoadMoves(crews=crews):
            return _(
                "Road: machines of {crews} move today. Keep to the state's rules for wide loads, "
                "lights, emblem, escort and hours.",
                crews=_and(crews),
            )
        case PowerLines():
            return _(
                "Power lines: machines move or augers go up today. Look up before you raise or "
                "move anything high, and stay 10 ft (3 m) off, more where the utility says so."
            )
        case FlowingGrain(points=points):
            return _(
                "Flowing grain: grain goes to {points} today. Nobody enters a bin, box or pit "
                "while grain can move.",
                points=", ".join(map(one_line, points)),
            )


def short_caution(caution: DayCaution, units: Units) -> str:
    """A caution of the day in one short sentence that says what to do, for screens and texts."""
    match caution:
        case UnknownWeather():
            return _("Weather unknown for some hours: judge fire and heat at the field.")
        case FireWarning(event=event, stop=stop):
            until = weekday_clock(stop, units)
            return _("{event} until {time}: ask before you cut.", event=event, time=until)
        case FireOverStop(peak=peak) | FireDanger(peak=peak):
            return _(
                "Fire danger about {time}: have extinguishers and water at hand; bans come first.",
                time=time_of_day(peak, units),
            )
        case Heat(peak=peak):
            return _(
                "Heat about {time}: drink, rest in the shade, watch each other.",
                time=time_of_day(peak, units),
            )
        case Lightning(start=start):
            return _(
                "Rain or storms from {time}: at the first thunder stop and take shelter.",
                time=time_of_day(start, units),
            )
        case WindOverStop(peak=peak) | Gusts(peak=peak):
            return _(
                "Strong gusts about {time}: keep boxes and augers down.",
                time=time_of_day(peak, units),
            )
        case WorkAfterDark(sunset=sunset):
            return _(
                "Dark from {time}: lights on, no one on foot.",
                time=time_of_day(sunset, units),
            )
        case LongDay():
            return _("Long day: take breaks, stop when tired.")
        case RoadMoves():
            return _("On the road: lights, emblem and escort as the law asks.")
        case PowerLines():
            return _("Look up for power lines.")
        case FlowingGrain():
            return _("Nobody in a bin or box while grain moves.")


def usual(caution: DayCaution) -> bool:
    """Whether a caution holds on most days of work, whatever the weather."""
    return isinstance(caution, RoadMoves | PowerLines | FlowingGrain)


def _and(names: Sequence[str]) -> str:
    """Names joined, 'north crew and south crew'."""
    *others, last = map(one_line, names)
    return _("{names} and {last}", names=", ".join(others), last=last) if others else last


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
        "Heat: the heat index reaches {index} ({danger}) in the shade about {peak}, and up to "
        "{more} more in the sun. Drink water, rest in the shade, and watch each other.",
        index=show_temp(heat.index_c, units),
        danger=_(heat.hazard_class),
        peak=time_of_day(heat.peak, units),
        more="15 °F" if units == "us" else "8 °C",
    )
    if heat.passed_stop_c is None:
        return text
    stop = show_temp(heat.passed_stop_c, units)
    return " ".join((text, _("Hours over your stop rule of {stop} are left out.", stop=stop)))
