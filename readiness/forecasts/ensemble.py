"""Many equally likely weathers out of one forecast, or beyond the end of any.

One model does both. Each member follows a window of days out of the records. A day's amount is
turned into a standard normal score within the records' climatology, z_f for the forecast and e
for the member's window, and the member takes z = r z_f + sqrt(1 - r²) e back to an amount: a
Gaussian dependence between forecast and truth (meta-Gaussian: Kelly & Krzysztofowicz 1997;
Herr & Krzysztofowicz 2005). r falls with lead. Because e comes from real successive days, of all
variables and places at once, the members keep their rank correlation in time, between variables
and between places (Schaake shuffle: Clark et al. 2004, J. Hydrometeorology 5:243-262). At r = 0,
beyond the forecast's end, a member simply is its window: an analogue out of the records.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, ndtr, ndtri

from readiness.atmosphere.air import dew_point, relative_humidity
from readiness.atmosphere.weather import VARIABLES, Array, Weather

#: Members made of a single forecast: as many as the ensemble that is fetched.
MEMBERS = 31
#: Correlation of forecast and truth (normal scores) by lead day. Rain: chosen so that the Brier
#: skill of rain days falls from about 0.45 on day 1 through 0.3 on day 3 to none by day 10
#: (memory; no table by lead was found). The others: assumed, falling slower, as temperature is
#: forecast better than rain. `fit_correlation` puts the farm's own numbers in their place.
CORRELATION = {
    "rain": (0.84, 0.79, 0.73, 0.65, 0.56, 0.47, 0.38, 0.29, 0.20, 0.11),
    "temp": (0.97, 0.95, 0.92, 0.87, 0.81, 0.73, 0.64, 0.54, 0.43, 0.32),
    "deficit": (0.90, 0.86, 0.80, 0.73, 0.64, 0.55, 0.45, 0.35, 0.25, 0.15),
    "wind": (0.85, 0.80, 0.73, 0.64, 0.54, 0.44, 0.34, 0.25, 0.17, 0.10),
    "radiation": (0.82, 0.76, 0.69, 0.60, 0.51, 0.42, 0.33, 0.24, 0.16, 0.08),
}
#: Half width of the season that counts as climatology, days; assumed: wide enough to have
#: sixty days in one year of records, narrow enough not to mix spring into harvest.
SEASON_HALF = 45
#: Years of records from which whole analogue years are used instead of windows of one season.
YEARS = 5
#: Half width of the start of an analogue year's window, days; assumed.
START_HALF = 10
#: Most that frequency matching may raise an amount beyond the largest past forecast; assumed.
MOST_RATIO = 3.0
#: Shortest stretch of records that windows are cut from, days; assumed.
FEWEST_DAYS = 30
#: Longest piece of a window where the records are too short for whole ones, days; assumed: rain
#: spells of the plains seldom last longer.
PIECE = 5


class ShortRecordError(ValueError):
    """The records are too short to tell how weather goes on."""


@dataclass(frozen=True, kw_only=True)
class RecordDays:
    """Records cut into days that begin at one hour. `index` are whole days, counted from `start`.

    Attributes
    ----------
    weather : (1, site, 24 × days).
    index : (n,) days with all that is needed known.
    season : (n,) days of the year of each.
    """

    weather: Weather
    index: NDArray[np.int64]
    season: NDArray[np.int64]


def cut_days(records: Weather, start: np.datetime64) -> RecordDays:
    """Cut records into days that begin at the hour of day of `start` and end before it."""
    last = min(start, records.times[-1] + 1)
    short = int((last - records.times[0]).astype(int)) % 24
    lag = int((start - last).astype(int)) % 24
    first = records.times[0] + (short + 24 - lag) % 24
    days = max(0, int((last - first).astype(int)) // 24)
    if days < 1:
        raise ShortRecordError("no whole day of records")
    weather = records.between(first, first + 24 * days)
    known = np.all(
        [np.isfinite(getattr(weather, n)) for n in VARIABLES if n != "gust"], axis=(0, 1, 2)
    )
    index = np.flatnonzero(known.reshape(days, 24).all(axis=1))
    dates = (first + 24 * index).astype("datetime64[D]")
    return RecordDays(weather=weather, index=index, season=_day_of_year(dates))


def _day_of_year(dates: NDArray[np.datetime64]) -> NDArray[np.int64]:
    return np.asarray(
        (dates - dates.astype("datetime64[Y]").astype("datetime64[D]")).astype(np.int64) + 1
    )


def _near(season: NDArray[np.int64], day: int, half: int) -> NDArray[np.bool_]:
    """Days within `half` of a day of the year, round the turn of the year."""
    away = np.abs(season - day)
    return np.asarray(np.minimum(away, 365 - away) <= half)


def analogue_windows(
    days: RecordDays, start: np.datetime64, length: int, *, members: int, rng: np.random.Generator
) -> NDArray[np.int64]:
    """Days of the records that each member follows, (member, length).

    With `YEARS` or more years of records each window is one analogue year from about the same
    date; with fewer, windows of the season, whole or in pieces of at least `PIECE` days.
    """
    day = int(_day_of_year(np.array([start], dtype="datetime64[D]"))[0])
    near = days.index[_near(days.season, day, SEASON_HALF)]
    if len(near) < FEWEST_DAYS:
        near = days.index
    if len(near) < FEWEST_DAYS:
        raise ShortRecordError(f"{len(near)} whole days of records, {FEWEST_DAYS} needed")
    years = {int(d) // 365 for d in near}
    if len(years) >= YEARS:
        close = days.index[_near(days.season, day, START_HALF)]
        starts = _runs(days.index, close, length)
        if len(starts) >= members // 2:
            return _drawn(starts, members, rng)[:, None] + np.arange(length)
    out = np.empty((members, 0), dtype=np.int64)
    while out.shape[1] < length:
        piece = length - out.shape[1]
        starts = _runs(days.index, near, piece)
        while len(starts) < min(members, FEWEST_DAYS) // 2 and piece > 1:
            piece = max(1, min(piece - 1, PIECE if piece > PIECE else piece - 1))
            starts = _runs(days.index, near, piece)
        out = np.hstack([out, _drawn(starts, members, rng)[:, None] + np.arange(piece)])
    return out


def _runs(known: NDArray[np.int64], starts: NDArray[np.int64], length: int) -> NDArray[np.int64]:
    """Those starts that begin `length` known days in a row."""
    held = np.isin(starts[:, None] + np.arange(length), known).all(axis=1)
    return starts[held]


def _drawn(starts: NDArray[np.int64], members: int, rng: np.random.Generator) -> NDArray[np.int64]:
    """One start a member, spread over all of them as evenly as their number allows."""
    rounds = [rng.permutation(starts) for _ in range(-(-members // len(starts)))]
    return np.concatenate(rounds)[:members]


def analogue_weather(days: RecordDays, window: NDArray[np.int64], start: np.datetime64) -> Weather:
    """The members' windows as weather from `start` on, (member, site, 24 × length)."""
    hours = (24 * window[:, :, None] + np.arange(24)).reshape(len(window), -1)
    picked = {
        n: np.moveaxis(getattr(days.weather, n)[0][:, hours], 1, 0)
        for n in (*VARIABLES, "estimated")
    }
    picked["estimated"] = np.ones_like(picked["estimated"])
    return Weather(start=start, **picked)


def dress(
    forecast: Weather,
    records: Weather,
    *,
    members: int = MEMBERS,
    lead: float = 0.0,
    correlation: dict[str, Sequence[float]] | None = None,
    seed: int = 0,
) -> Weather:
    """Members out of a single forecast; its whole days, (member, site, 24 × days).

    Parameters
    ----------
    forecast : (1, site, hour), all known but gusts.
    records : (1, site, hour) of the same sites, ending before the forecast begins.
    lead : age of the forecast at its first hour here, h.
    correlation : see `CORRELATION`.

    Raises
    ------
    ShortRecordError
        With fewer than `FEWEST_DAYS` whole days of records.
    """
    rng = np.random.default_rng((seed, 11))
    length = forecast.shape[2] // 24
    days = cut_days(records, forecast.start)
    window = analogue_windows(days, forecast.start, length, members=members, rng=rng)
    own = analogue_weather(days, window, forecast.start)
    base = forecast.between(forecast.times[0], forecast.times[0] + 24 * length)
    table = correlation or CORRELATION
    leads = (lead / 24.0 + np.arange(length)).astype(int)
    rho = {
        name: np.array([row[d] if d < len(row) else 0.0 for d in leads])
        for name, row in ((n, table.get(n, CORRELATION[n])) for n in CORRELATION)
    }
    climate = _near_days(days, forecast.start)
    told, seen, past = (_daily(w) for w in (base, own, climate))
    new = {n: _mixed(told[n], seen[n], past[n], rho[n], rng) for n in CORRELATION}
    return _hourly(base, own, climate, told, new, rho["rain"], rng)


def _near_days(days: RecordDays, start: np.datetime64) -> Weather:
    """Whole days of the season around `start`, one after the other as if consecutive."""
    day = int(_day_of_year(np.array([start], dtype="datetime64[D]"))[0])
    near = days.index[_near(days.season, day, SEASON_HALF)]
    return analogue_weather(days, (near if len(near) >= FEWEST_DAYS else days.index)[None], start)


def _daily(weather: Weather) -> dict[str, Array]:
    """Daily amounts (member, site, day): rain total, means of the others."""
    m, f, h = weather.shape
    cut = {n: getattr(weather, n).reshape(m, f, h // 24, 24) for n in VARIABLES}
    deficit = cut["temp"] - dew_point(cut["temp"], cut["humidity"])
    return {
        "rain": cut["rain"].sum(axis=-1),
        "temp": cut["temp"].mean(axis=-1),
        "deficit": deficit.mean(axis=-1),
        "wind": cut["wind"].mean(axis=-1),
        "radiation": cut["radiation"].mean(axis=-1),
    }


def _mixed(told: Array, seen: Array, past: Array, rho: Array, rng: np.random.Generator) -> Array:
    """Amounts (member, site, day) that follow `told` by rho and the windows' `seen` otherwise."""
    members, sites, length = seen.shape
    draw = rng.random((2, members, length))  # one for all sites, so that they stay alike
    out = np.empty_like(seen)
    for s in range(sites):
        climate = np.sort(np.concatenate([past[0, s], told[0, s]]))
        z_f = _score(np.broadcast_to(told[:, s], (members, length)), climate, draw[0])
        z = rho * z_f + np.sqrt(1.0 - rho**2) * _score(seen[:, s], climate, draw[1])
        out[:, s] = climate_quantile(climate, ndtr(z))
    return out


def _score(values: Array, climate: Array, draw: Array) -> Array:
    """Normal score of values within a sorted climate; ties (dry days) share their range by draw."""
    below = np.searchsorted(climate, values, side="left")
    ties = np.searchsorted(climate, values, side="right") - below
    share = (below + np.where(ties > 1, draw * ties, 0.5)) / len(climate)
    return np.asarray(ndtri(np.clip(share, 1e-4, 1.0 - 1e-4)), dtype=np.float64)


def climate_quantile(climate: Array, share: Array) -> Array:
    """Value of a sorted climate at a share 0-1, between neighbours by a line."""
    n = len(climate)
    return np.interp(share, (np.arange(n) + 0.5) / n, climate)


def _hourly(
    base: Weather,
    own: Weather,
    climate: Weather,
    told: dict[str, Array],
    new: dict[str, Array],
    rho: Array,
    rng: np.random.Generator,
) -> Weather:
    """The forecast's hours, moved and scaled so that each day has its new amount."""
    m, f, h = own.shape
    temp = base.temp + _through(new["temp"] - told["temp"])
    deficit = np.maximum(base.temp - dew_point(base.temp, base.humidity), 0.05)
    ratio = new["deficit"] / np.maximum(told["deficit"], 0.1)
    wind = np.clip(new["wind"] / np.maximum(told["wind"], 0.2), 0.2, 5.0).repeat(24, axis=-1)
    sun = np.clip(new["radiation"] / np.maximum(told["radiation"], 1.0), 0.1, 10.0)
    ceiling = np.maximum(
        base.radiation, climate.radiation.reshape(f, -1, 24).max(axis=1)[:, np.arange(h) % 24]
    )
    return Weather(
        start=base.start,
        rain=_rain_hours(base, own, climate, new["rain"], rho, rng),
        temp=temp,
        humidity=relative_humidity(
            temp, temp - deficit * np.exp(_through(np.log(np.clip(ratio, 0.05, 20.0))))
        ),
        wind=base.wind * wind,
        gust=base.gust * wind,
        radiation=np.minimum(base.radiation * sun.repeat(24, axis=-1), ceiling),
        estimated=np.ones((m, f, h), dtype=np.bool_),
    )


def _through(daily: Array) -> Array:
    """Daily values as a line through the days' noons, hour by hour."""
    m, f, d = daily.shape
    noon = 24 * np.arange(d) + 11.5
    hours = np.arange(24 * d)
    rows = [np.interp(hours, noon, row) for row in daily.reshape(-1, d)]
    return np.array(rows).reshape(m, f, 24 * d)


def _rain_hours(
    base: Weather,
    own: Weather,
    climate: Weather,
    amount: Array,
    rho: Array,
    rng: np.random.Generator,
) -> Array:
    """Daily rain spread over hours: as forecast with chance rho, else as on a day of records.

    The day of records is the member's own window where it rained, else the wet day whose amount
    is nearest.
    """
    m, f, length = amount.shape
    told = base.rain[0].reshape(f, length, 24)
    seen = own.rain.reshape(m, f, length, 24)
    wet = climate.rain[0].reshape(f, -1, 24)
    totals = wet.sum(axis=-1)
    follow = rng.random((m, length)) < rho
    out = np.zeros((m, f, length, 24))
    for i, s, d in np.argwhere(amount > 0.0):
        pattern = told[s, d] if follow[i, d] else seen[i, s, d]
        if not pattern.sum() > 0.0:
            pattern = seen[i, s, d]
        if not pattern.sum() > 0.0:
            away = np.where(totals[s] > 0.0, np.abs(totals[s] - amount[i, s, d]), np.inf)
            pattern = wet[s, int(np.argmin(away))]
        if not pattern.sum() > 0.0:
            pattern = told[s].sum(axis=0)
        out[i, s, d] = amount[i, s, d] * pattern / pattern.sum()
    return out.reshape(m, f, 24 * length)


def extend_with_analogues(
    members: Weather, records: Weather, *, hours: int, seed: int = 0
) -> Weather:
    """Members, and beyond their end each one's analogue out of the records, to `hours` in all."""
    have = members.shape[2]
    if have >= hours:
        return members.between(members.times[0], members.times[0] + hours)
    rng = np.random.default_rng((seed, 13))
    days = cut_days(records, members.start)
    window = analogue_windows(
        days, members.start, -(-hours // 24), members=members.shape[0], rng=rng
    )
    tail = analogue_weather(days, window, members.start)
    if not have:
        return tail.between(tail.times[0], tail.times[0] + hours)
    return members.then(tail.between(tail.times[0] + have, tail.times[0] + hours))


def fit_correlation(told: Array, fell: Array) -> float:
    """Correlation of normal scores between forecasts and what fell, dry days as censored.

    Greatest likelihood of a bivariate normal cut off at the dry shares of both (a Tobit form of
    the meta-Gaussian model), over a grid of 0 to 0.99.

    Parameters
    ----------
    told, fell : (n,) daily rain, mm, of one lead.
    """
    z_f, z_o = _middle_score(told), _middle_score(fell)
    dry_f, dry_o = told <= 0.0, fell <= 0.0
    cut_f, cut_o = ndtri(_inner(dry_f.mean())), ndtri(_inner(dry_o.mean()))
    grid = np.linspace(0.0, 0.99, 100)
    return float(
        grid[
            int(
                np.argmax(
                    [
                        _likelihood(float(r), z_f, z_o, dry_f, dry_o, float(cut_f), float(cut_o))
                        for r in grid
                    ]
                )
            )
        ]
    )


def _inner(share: float) -> float:
    return float(np.clip(share, 1e-6, 1.0 - 1e-6))


def _middle_score(values: Array) -> Array:
    """Normal score of the middle rank of each value within its own sample."""
    ordered = np.sort(values)
    low = np.searchsorted(ordered, values, side="left")
    high = np.searchsorted(ordered, values, side="right")
    return np.asarray(ndtri((low + high) / 2.0 / len(values)), dtype=np.float64)


def _likelihood(
    r: float,
    z_f: Array,
    z_o: Array,
    dry_f: NDArray[np.bool_],
    dry_o: NDArray[np.bool_],
    cut_f: float,
    cut_o: float,
) -> float:
    """Log likelihood of a correlation, up to what does not depend on it."""
    s = np.sqrt(1.0 - r * r)
    wet = ~dry_f & ~dry_o
    x, y = z_f[wet], z_o[wet]
    both = -np.log(s) - (r * r * (x * x + y * y) - 2.0 * r * x * y) / (2.0 * s * s)
    missed = log_ndtr((cut_f - r * z_o[dry_f & ~dry_o]) / s)
    false = log_ndtr((cut_o - r * z_f[~dry_f & dry_o]) / s)
    nodes, weights = np.polynomial.legendre.leggauss(64)
    x = (nodes + 1.0) / 2.0 * (cut_f + 8.0) - 8.0  # from far below up to the cut
    dense = np.exp(-0.5 * x * x) / np.sqrt(2.0 * np.pi) * ndtr((cut_o - r * x) / s)
    dry = np.log(max(float((weights * dense).sum()) * (cut_f + 8.0) / 2.0, 1e-300))
    return float(both.sum() + missed.sum() + false.sum() + (dry_f & dry_o).sum() * dry)


def frequency_match(amounts: Array, told: Array, fell: Array) -> Array:
    """Amounts moved so that their distribution is that of what fell (Zhu & Luo 2015).

    Each amount keeps its rank: the share of `told` (past forecasts of about this lead) below it
    is read off `fell` (what the gauges caught at those times). Beyond the largest past forecast
    the largest ratio goes on, so that extremes are not cut off. Dry forecasts stay dry.

    Parameters
    ----------
    amounts : daily rain, mm, any shape. told, fell : (n,) pairs, mm.
    """
    told, fell = np.sort(told), np.sort(fell)
    if not told[-1] > 0.0:
        return amounts
    value, count = np.unique(told, return_counts=True)
    middle = (np.cumsum(count) - count / 2.0) / len(told)
    moved = climate_quantile(fell, np.interp(amounts, value, middle))
    top = min(fell[-1] / told[-1], MOST_RATIO)
    moved = np.where(amounts > told[-1], amounts * top, moved)
    return np.where(amounts > 0.0, moved, 0.0)


def synthetic_records(told: Weather, *, days: int = 120, seed: int = 0) -> Weather:
    """Records made up where there are none: the forecast's first day, over and over, with showers.

    Rain comes with a chance of 0.2 after a dry and 0.4 after a wet day, 7 mm in the mean
    (assumed: what a first-order chain, Richardson 1981, gives for summer on the plains);
    temperature and wind differ from day to day by 3 °C and 30 % (assumed).
    """
    rng = np.random.default_rng((seed, 17))
    sites, first = told.shape[1], min(24, told.shape[2])
    day = {n: getattr(told, n)[:, :, :first].mean(axis=0) for n in VARIABLES}
    rows = {n: np.tile(np.resize(v, (sites, 24)), (1, days))[None] for n, v in day.items()}
    rows["temp"] = rows["temp"] + rng.normal(0.0, 3.0, days).repeat(24)
    breeze = np.exp(rng.normal(0.0, 0.3, days)).repeat(24)
    rows["wind"], rows["gust"] = rows["wind"] * breeze, rows["gust"] * breeze
    rows["rain"], wet = np.zeros((1, sites, 24 * days)), False
    for d in range(days):
        wet = bool(rng.random() < (0.4 if wet else 0.2))
        if wet:
            at = 24 * d + int(rng.integers(0, 17))
            rows["rain"][:, :, at : at + 4] = rng.exponential(7.0) / 4.0
            rows["humidity"][:, :, at : at + 8] = 95.0
            rows["radiation"][:, :, 24 * d : 24 * d + 24] *= 0.5
    return Weather(
        start=told.start - np.timedelta64(24 * days, "h"),
        **rows,
        estimated=np.ones((1, sites, 24 * days), dtype=np.bool_),
    )
