"""Cautions of the day: what can hurt people, chosen by the day's weather, then the standing ones.

Usual published cautions only. Local codes, warnings in force, the machines' manuals and trained
or licensed people decide; nothing here says that an hour is safe.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, time, timedelta

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.hazards import (
    FIRE_CLASSES,
    FIRE_STOP,
    HEAT_CLASSES,
    LIGHTNING_WAIT_MIN,
    grassland_fire_index,
    hazard_class,
    heat_index,
)
from readiness.atmosphere.solar import SUNRISE_ELEVATION, solar_elevation
from readiness.atmosphere.weather import Array, Weather
from readiness.sources.nws import Alert
from scheduler.farm.model import Crew, Farm
from scheduler.farm.units import show_temp, show_wind
from scheduler.farm.working_time import farm_time, utc_hour

#: Hours looked at; assumed, because orders given at six run to midnight.
AHEAD_H = 18
#: Share of members from which rain or thunder is named; assumed, one in ten.
WORTH_NAMING = 0.1
RAIN_MM = 0.2  # mm/h that counts as rain here; assumed, a hundredth of an inch rounded
#: Gusts of a U.S. National Weather Service wind advisory, 46 mph (value from memory).
GUST_MS = 20.6
#: Rostered hours from which fatigue is named with its number; assumed, the long end of a shift.
LONG_DAY_H = 12.0

#: Said every day. Sources: power lines, Ohio State University Agricultural Safety, 2019; fire,
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


def cautions(
    farm: Farm,
    weather: Weather,
    *,
    now: datetime,
    lightning: NDArray[np.bool_] | None = None,
    warnings: Sequence[Alert] = (),
) -> tuple[str, ...]:
    """Cautions for the next `AHEAD_H` hours: those of the day first, then the standing ones.

    Parameters
    ----------
    weather : (member, field, hour), holding `now`.
    now : aware time.
    lightning : thunderstorm expected, on the hours of `weather`, where the forecast says so.
    warnings : official ones.
    """
    first = max(0, int((utc_hour(now) - weather.start).astype(int)))
    hours = slice(first, first + AHEAD_H)
    sky = weather.between(
        weather.times[first], weather.times[min(first + AHEAD_H, weather.shape[2]) - 1] + 1
    )
    storm = None if lightning is None else lightning[..., hours]
    day = (
        _unknown(sky),
        *_fire_warnings(farm, sky, warnings),
        _fire(farm, sky),
        _heat(farm, sky),
        _lightning(farm, sky, storm),
        _wind(farm, sky),
        _dark(farm, now),
        _long_day(farm, now),
    )
    return (*(line for line in day if line), *STANDING, DEFERENCE)


def day_cautions(lines: Sequence[str]) -> tuple[str, ...]:
    """Those of the day's weather and rosters, without the standing ones."""
    return tuple(c for c in lines if c not in (*STANDING, DEFERENCE))


def _worst(values: Array) -> Array:
    """Highest over fields, (member, hour); unknown counts as nothing here, see `_unknown`."""
    worst: Array = np.where(np.isnan(values), -np.inf, values).max(axis=1)
    return worst


def _peak(worst: Array, times: NDArray[np.datetime64], farm: Farm) -> tuple[float, str]:
    """What one member in ten exceeds today, and the usual hour of the peak."""
    high = float(np.quantile(worst.max(axis=1), 0.9, method="inverted_cdf"))
    at = int(np.median(worst.argmax(axis=1)))
    return high, f"{farm_time(times[at], farm.tz):%H:%M}"


def _share(over: NDArray[np.bool_]) -> str:
    return f"{100 * over.any(axis=1).mean():.0f} % of forecasts"


def _unknown(sky: Weather) -> str:
    known = np.isfinite(sky.temp + sky.humidity + sky.wind)
    if known.all():
        return ""
    return (
        "Unknown: temperature, humidity or wind is missing for some hours today; fire and heat "
        "could not be judged there. Measure at the field."
    )


def _fire_warnings(farm: Farm, sky: Weather, warnings: Sequence[Alert]) -> list[str]:
    """Fire weather warnings and watches that hold in some hour of `sky`."""
    held = [w for w in warnings if w.fire and w.start <= sky.times[-1] and w.stop > sky.times[0]]
    return [
        f"Fire warning: {w.event} from {farm_time(w.start, farm.tz):%a %H:%M} to "
        f"{farm_time(w.stop, farm.tz):%a %H:%M}. Ask whoever has charge of fire there before "
        "cutting."
        for w in held
    ]


def _fire(farm: Farm, sky: Weather) -> str:
    worst = _worst(grassland_fire_index(sky.temp, sky.humidity, sky.wind))
    high, at = _peak(worst, sky.times, farm)
    word, stop = hazard_class(high, FIRE_CLASSES), farm.rules.fire_index_stop
    if stop is not None and (worst > stop).any():
        return (
            f"Fire: the index passes your stop rule of {stop:g} in {_share(worst > stop)}, worst "
            f"about {at}; the plan leaves those hours out. Measure at the field, and obey red-flag "
            "warnings and bans."
        )
    if high < FIRE_CLASSES[1][0]:
        return ""
    rule = f"your stop rule is {stop:g}" if stop is not None else (
        f"no stop rule of yours is set (one published code stops above {FIRE_STOP:g})"
    )  # fmt: skip
    return (
        f"Fire: the index may reach {high:.0f} ({word}) about {at}; {rule}. The local code, "
        "red-flag warnings and bans decide."
    )


def _heat(farm: Farm, sky: Weather) -> str:
    worst = _worst(heat_index(sky.temp, sky.humidity))
    high, at = _peak(worst, sky.times, farm)
    word, stop = hazard_class(high * 1.8 + 32.0, HEAT_CLASSES), farm.rules.heat_index_stop_c
    if not word:
        return ""
    more = "15 °F" if farm.units == "us" else "8 °C"
    limit = (
        f" Hours over your stop rule of {show_temp(stop, farm.units)} are left out."
        if stop is not None and (worst > stop).any()
        else ""
    )
    return (
        f"Heat: heat index up to {show_temp(high, farm.units)} ({word}) in the shade about {at}, "
        f"up to {more} more in the sun: water, shade, breaks, and watch each other.{limit}"
    )


def _lightning(farm: Farm, sky: Weather, storm: NDArray[np.bool_] | None) -> str:
    named = "thunderstorms" if storm is not None else "rain"
    wet = (sky.rain > RAIN_MM) if storm is None else storm
    share = wet.any(axis=1).mean(axis=0)
    if not (share >= WORTH_NAMING).any():
        return ""
    first = int(np.argmax(share >= WORTH_NAMING))
    return (
        f"Lightning: {named} possible from {farm_time(sky.times[first], farm.tz):%H:%M} "
        f"(up to {100 * share.max():.0f} % of forecasts). At the first thunder stop and get into a "
        f"closed cab or building; wait {LIGHTNING_WAIT_MIN:.0f} min after the last."
    )


def _wind(farm: Farm, sky: Weather) -> str:
    stop = farm.rules.wind_stop_ms
    worst = _worst(sky.gust)
    high, at = _peak(worst, sky.times, farm)
    if stop is not None and (worst > stop).any():
        return (
            f"Wind: gusts pass your stop rule of {show_wind(stop, farm.units)} in "
            f"{_share(worst > stop)}, worst about {at}; the plan leaves those hours out."
        )
    if high < GUST_MS:
        return ""
    return (
        f"Wind: gusts up to {show_wind(high, farm.units)} about {at}: take care with raised boxes "
        "and augers, on the road, and with fire."
    )


def sunset(farm: Farm, now: datetime) -> datetime | None:
    """Today's sunset at the base, farm time to five minutes; None where the sun does not set."""
    noon = now.astimezone(farm.tz).replace(hour=12, minute=0, second=0, microsecond=0)
    times = utc_hour(noon) + np.arange(14)
    height = solar_elevation(times, np.array([farm.base_lat]), np.array([farm.base_lon]))[0]
    down = np.flatnonzero((height[:-1] > SUNRISE_ELEVATION) & (height[1:] <= SUNRISE_ELEVATION))
    if not down.size:
        return None
    h = int(down[0])
    part = (height[h] - SUNRISE_ELEVATION) / (height[h] - height[h + 1])
    minutes = 5 * round((60 * (h + part) + 30) / 5)
    return farm_time(times[0], farm.tz) + timedelta(minutes=minutes)


def _hours(crew: Crew, now: datetime) -> float:
    """Hours the crew is rostered on the day of `now`, at most its own limit."""
    span = crew.week[now.weekday()]
    if span is None or now.date() in crew.absent:
        return 0.0
    first, last = (t.hour + t.minute / 60.0 for t in span)
    return min(crew.hours_max_day, (last - first) % 24.0 or 24.0)


def _dark(farm: Farm, now: datetime) -> str:
    down = sunset(farm, now)
    here = now.astimezone(farm.tz)
    late = [
        c.id
        for c in farm.crews
        if (span := c.week[here.weekday()]) is not None
        and here.date() not in c.absent
        and down is not None
        and (span[1] <= span[0] or span[1] > down.time() or span[1] == time(0))
    ]
    if down is None or not late:
        return ""
    return (
        f"Dark: sunset about {down:%H:%M} and {', '.join(late)} may work on: check lights and "
        "emblems before, and whether wide loads may be moved after it."
    )


def _long_day(farm: Farm, now: datetime) -> str:
    here = now.astimezone(farm.tz)
    long = {c.id: h for c in farm.crews if (h := _hours(c, here)) >= LONG_DAY_H}
    if not long:
        return ""
    named = ", ".join(f"{crew} {hours:g} h" for crew, hours in long.items())
    return f"Long day: {named}. Plan breaks and reliefs now; truck drivers may have a lower limit."
