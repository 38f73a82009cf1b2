"""The cautions of the day: what can hurt people in its weather and by its orders.

Usual published cautions only. Local codes, warnings in force, the machines' manuals and trained
or licensed people decide; no code here says that an hour is safe.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from readiness.atmosphere.hazards import (
    FIRE_CLASSES,
    HEAT_CLASSES,
    grassland_fire_index,
    hazard_class,
    heat_index,
)
from readiness.atmosphere.solar import SUNRISE_ELEVATION, solar_elevation
from readiness.atmosphere.weather import HOUR, Array, Weather
from readiness.sources.nws import Alert
from scheduler.farm.model import Farm
from scheduler.farm.slots import farm_time, utc_hour
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
from scheduler.orders.model import CrewOrders

#: Hours looked at; assumed, because orders given at six run to midnight.
AHEAD_H = 18
#: Share of members from which rain or thunder is named; assumed, one in ten.
WORTH_NAMING = 0.1
#: Rain, mm/h, that counts as rain in cautions and figures; assumed, a hundredth of an inch rounded.
RAIN_MM = 0.2
#: Gusts of a U.S. National Weather Service wind advisory, 46 mph (value from memory).
GUST_MS = 20.6
#: Hours of a day's orders from which fatigue is named; assumed, the long end of a shift.
LONG_DAY_H = 12.0


def day_cautions(
    farm: Farm,
    weather: Weather,
    *,
    now: datetime,
    lightning: NDArray[np.bool_] | None = None,
    warnings: Sequence[Alert] = (),
    crews: Sequence[CrewOrders] = (),
) -> tuple[DayCaution, ...]:
    """Cautions for the next `AHEAD_H` hours.

    Parameters
    ----------
    weather : (member, field, hour), holding `now`.
    now : aware time.
    lightning : thunderstorm expected, on the hours of `weather`, where the forecast tells.
    warnings : official warnings.
    crews : orders of the day, whose hours make a day long or dark, and whose moves and deliveries
        lead onto the road and to the farm's own storage.
    """
    first = max(0, int((utc_hour(now) - weather.start).astype(int)))
    hours = slice(first, first + AHEAD_H)
    sky = weather.between(
        weather.times[first], weather.times[min(first + AHEAD_H, weather.shape[2]) - 1] + HOUR
    )
    storm = None if lightning is None else lightning[..., hours]
    found = (
        _unknown(sky),
        *_fire_warnings(farm, sky, warnings),
        _fire(farm, sky),
        _heat(farm, sky),
        _lightning(farm, sky, storm),
        _wind(farm, sky),
        _after_dark(farm, now, crews),
        _long_day(farm, now, crews),
        *_moves_and_storage(farm, now, crews),
    )
    return tuple(caution for caution in found if caution is not None)


def _worst(values: Array) -> Array:
    """Highest over fields, (member, hour); unknown hours never count, see `_unknown`."""
    worst: Array = np.where(np.isnan(values), -np.inf, values).max(axis=1)
    return worst


def _peak(worst: Array, times: NDArray[np.datetime64], farm: Farm) -> tuple[float, datetime]:
    """Day's highest value that one member in ten exceeds, and the median hour of the highest."""
    high = float(np.quantile(worst.max(axis=1), 0.9, method="inverted_cdf"))
    hour = int(np.median(worst.argmax(axis=1)))
    return high, farm_time(times[hour], farm.tz)


def _share(over: NDArray[np.bool_]) -> float:
    """Share of members with such an hour."""
    return float(over.any(axis=1).mean())


def _unknown(sky: Weather) -> UnknownWeather | None:
    known = np.isfinite(sky.temp + sky.humidity + sky.wind)
    return None if known.all() else UnknownWeather()


def _fire_warnings(farm: Farm, sky: Weather, warnings: Sequence[Alert]) -> Iterator[FireWarning]:
    """Fire weather warnings and watches that hold in an hour of `sky`."""
    for w in warnings:
        if w.fire and w.start <= sky.times[-1] and w.stop > sky.times[0]:
            yield FireWarning(
                event=w.event, start=farm_time(w.start, farm.tz), stop=farm_time(w.stop, farm.tz)
            )


def _fire(farm: Farm, sky: Weather) -> FireOverStop | FireDanger | None:
    worst = _worst(grassland_fire_index(sky.temp, sky.humidity, sky.wind))
    index, peak = _peak(worst, sky.times, farm)
    stop = farm.rules.fire_index_stop
    if stop is not None and (worst > stop).any():
        return FireOverStop(stop=stop, share=_share(worst > stop), peak=peak)
    if index < FIRE_CLASSES[1][0]:
        return None
    return FireDanger(
        index=index, hazard_class=hazard_class(index, FIRE_CLASSES), peak=peak, stop=stop
    )


def _heat(farm: Farm, sky: Weather) -> Heat | None:
    worst = _worst(heat_index(sky.temp, sky.humidity))
    index, peak = _peak(worst, sky.times, farm)
    danger, stop = hazard_class(index * 1.8 + 32.0, HEAT_CLASSES), farm.rules.heat_index_stop_c
    if not danger:
        return None
    passed = stop is not None and bool((worst > stop).any())
    return Heat(
        index_c=index, hazard_class=danger, peak=peak, passed_stop_c=stop if passed else None
    )


def _lightning(farm: Farm, sky: Weather, storm: NDArray[np.bool_] | None) -> Lightning | None:
    wet = (sky.rain > RAIN_MM) if storm is None else storm
    share = wet.any(axis=1).mean(axis=0)
    if not (share >= WORTH_NAMING).any():
        return None
    first = int(np.argmax(share >= WORTH_NAMING))
    return Lightning(
        storms_known=storm is not None,
        start=farm_time(sky.times[first], farm.tz),
        share=float(share.max()),
    )


def _wind(farm: Farm, sky: Weather) -> WindOverStop | Gusts | None:
    worst = _worst(sky.gust)
    gust, peak = _peak(worst, sky.times, farm)
    stop = farm.rules.wind_stop_ms
    if stop is not None and (worst > stop).any():
        return WindOverStop(stop_ms=stop, share=_share(worst > stop), peak=peak)
    return None if gust < GUST_MS else Gusts(gust_ms=gust, peak=peak)


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


def _after_dark(farm: Farm, now: datetime, crews: Sequence[CrewOrders]) -> WorkAfterDark | None:
    """Crews whose orders of today end after sunset."""
    down = sunset(farm, now)
    if down is None:
        return None
    today = now.astimezone(farm.tz).date()
    late = tuple(c.crew for c in crews if any(s.until > down for s in c.stints_on(today)))
    return WorkAfterDark(sunset=down, crews=late) if late else None


def _long_day(farm: Farm, now: datetime, crews: Sequence[CrewOrders]) -> LongDay | None:
    """Crews whose orders of today, from leaving to the end, take `LONG_DAY_H` or more."""
    today = now.astimezone(farm.tz).date()
    hours = []
    for crew in crews:
        if mine := crew.stints_on(today):
            span = (max(s.until for s in mine) - min(s.leave_at for s in mine)) / timedelta(hours=1)
            if span >= LONG_DAY_H:
                hours.append((crew.crew, round(span, 1)))
    return LongDay(hours=tuple(hours)) if hours else None


def _moves_and_storage(
    farm: Farm, now: datetime, crews: Sequence[CrewOrders]
) -> Iterator[RoadMoves | PowerLines | FlowingGrain]:
    """Crews on the road today, and own storage that grain goes to."""
    today = now.astimezone(farm.tz).date()
    moving = tuple(c.crew for c in crews if any(s.move_km > 0.0 for s in c.stints_on(today)))
    used = {d.point for c in crews for s in c.stints_on(today) for d in s.deliveries if d.loads}
    storage = tuple(p.id for p in farm.points if p.own and p.id in used)
    if moving:
        yield RoadMoves(crews=moving)
    if moving or storage:
        yield PowerLines()
    if storage:
        yield FlowingGrain(points=storage)
