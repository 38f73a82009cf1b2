"""Ensemble dressing: many equally likely weathers from a single forecast.

Each member follows a window of recorded days. Within the records' climatology, a daily amount has
the normal score z_f in the forecast and e in the member's window. The member takes
z = r z_f + sqrt(1 - r²) e back to an amount: a Gaussian dependence between forecast and truth
(meta-Gaussian model: Kelly & Krzysztofowicz 1997; Herr & Krzysztofowicz 2005). r falls with lead.
All three are departures from the mean score of the date, which is warmer or wetter than the season
around it. Since e comes from real successive days, of all variables and places at once, members
keep their rank correlation in time, between variables and between places (Schaake shuffle: Clark et
al. 2004, J. Hydrometeorology 5:243-262). At r = 0 a member equals its window, an analogue.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from readiness.atmosphere.air import dew_point, relative_humidity
from readiness.atmosphere.weather import HOUR, VARIABLES, Array, Weather
from readiness.forecasts.analogues import (
    RecordDays,
    analogue_weather,
    analogue_windows,
    cut_days,
)
from readiness.forecasts.normal_scores import climate_quantile, normal_score

#: Windows that give the mean score of a date; assumed: the mean is known to 1/8 of a deviation.
MEAN_WINDOWS = 64
#: Members made of a single forecast: as many as the ensemble that is fetched.
MEMBERS = 31
#: Correlation of forecast and truth (normal scores) by lead day. Rain: chosen so that the Brier
#: skill of rain days falls from about 0.45 on day 1 through 0.3 on day 3 to none by day 10
#: (from memory; no table by lead was found). The others: assumed, falling slower, as temperature
#: is forecast better than rain. `fit_correlation` replaces them by the farm's own numbers.
CORRELATION = {
    "rain": (0.84, 0.79, 0.73, 0.65, 0.56, 0.47, 0.38, 0.29, 0.20, 0.11),
    "temp": (0.97, 0.95, 0.92, 0.87, 0.81, 0.73, 0.64, 0.54, 0.43, 0.32),
    "deficit": (0.90, 0.86, 0.80, 0.73, 0.64, 0.55, 0.45, 0.35, 0.25, 0.15),
    "wind": (0.85, 0.80, 0.73, 0.64, 0.54, 0.44, 0.34, 0.25, 0.17, 0.10),
    "radiation": (0.82, 0.76, 0.69, 0.60, 0.51, 0.42, 0.33, 0.24, 0.16, 0.08),
}
#: Daily values by variable of `CORRELATION`, (member, site, day).
DailyValues = Mapping[str, Array]


@dataclass(frozen=True, kw_only=True)
class DaysAhead:
    """The whole days of a single forecast, within the climate of their season.

    Attributes
    ----------
    forecast
        (1, site, 24 × days).
    season
        Recorded days of the season, end to end, (1, site, hour).
    amounts
        Daily amounts of the forecast.
    climate
        Sorted daily amounts of the season and the forecast by variable, (site, day).
    """

    forecast: Weather
    season: Weather
    amounts: DailyValues
    climate: Mapping[str, Array]

    @classmethod
    def of(cls, forecast: Weather, days: RecordDays) -> DaysAhead:
        """Days of a forecast whose climate is that of recorded days."""
        length = forecast.shape[2] // 24
        whole = forecast.between(forecast.times[0], forecast.times[0] + 24 * length * HOUR)
        season = _season(days, forecast.start)
        amounts, past = _daily(whole), _daily(season)
        climate = {
            n: np.sort(np.concatenate([past[n][0], amounts[n][0]], axis=1), axis=1)
            for n in CORRELATION
        }
        return cls(forecast=whole, season=season, amounts=amounts, climate=climate)

    @property
    def length(self) -> int:
        """Number of days."""
        return self.forecast.shape[2] // 24


@dataclass(frozen=True, kw_only=True)
class MemberDraws:
    """The random part of dressed members.

    Attributes
    ----------
    windows
        Recorded weather that each member follows, (member, site, 24 × days).
    errors
        Normal scores by variable, (member, site, day).
    means
        Mean score of the windows of that date by variable, (1, site, day).
    ties
        Rank of the forecast among equal amounts by variable, 0-1, (member, day).
    rain_hours
        0-1, (member, day). A member rains at the hours of the forecast where this value is below
        the correlation of rain, else at the hours of its window.
    """

    windows: Weather
    errors: DailyValues
    means: DailyValues
    ties: Mapping[str, Array]
    rain_hours: Array


def dress(
    forecast: Weather,
    records: Weather,
    *,
    members: int = MEMBERS,
    lead: float = 0.0,
    correlation: Mapping[str, Sequence[float]] | None = None,
    seed: int = 0,
) -> Weather:
    """Members from the whole days of a single forecast, (member, site, 24 × days).

    Parameters
    ----------
    forecast
        (1, site, hour), every variable known but gust.
    records
        (1, site, hour) of the same sites, ending before the forecast begins.
    lead
        Age of the forecast at its first hour here, h.
    correlation
        By variable and lead day; `CORRELATION` for variables without an entry.

    Raises
    ------
    ShortRecordError
        With fewer than `analogues.FEWEST_DAYS` whole days of records.
    """
    rng = np.random.default_rng((seed, 11))
    days = cut_days(records, forecast.start)
    ahead = DaysAhead.of(forecast, days)
    draws = draw_members(ahead, days, members=members, rng=rng)
    return dress_days(ahead, draws, correlation_by_day(correlation, ahead.length, lead=lead))


def correlation_by_day(
    correlation: Mapping[str, Sequence[float]] | None, length: int, *, lead: float = 0.0
) -> Mapping[str, Array]:
    """Correlation of forecast and truth by variable, (day,); 0 beyond the table's last lead.

    Parameters
    ----------
    correlation
        By variable and lead day; `CORRELATION` for variables without an entry.
    length
        Number of days.
    lead
        Age of the forecast at its first hour, h.
    """
    leads = (lead / 24.0 + np.arange(length)).astype(int)
    tables = {n: (correlation or {}).get(n, CORRELATION[n]) for n in CORRELATION}
    return {
        n: np.array([row[d] if d < len(row) else 0.0 for d in leads]) for n, row in tables.items()
    }


def draw_members(
    ahead: DaysAhead, days: RecordDays, *, members: int, rng: np.random.Generator
) -> MemberDraws:
    """Draw the windows of the members, and their errors as scores of the windows' days.

    Raises
    ------
    ShortRecordError
        With fewer than `analogues.FEWEST_DAYS` whole days of records.
    """
    start, length = ahead.forecast.start, ahead.length
    window = analogue_windows(days, start, length, members=members, rng=rng)
    windows = analogue_weather(days, window, start)
    drawn = _daily(windows)
    ties = {n: rng.random((2, members, length)) for n in CORRELATION}
    errors = {n: _scores(ahead, n, drawn[n], ties[n][1]) for n in CORRELATION}
    rain_hours = rng.random((members, length))
    return MemberDraws(
        windows=windows,
        errors=errors,
        means=_mean_scores(ahead, days, rng),
        ties={n: t[0] for n, t in ties.items()},
        rain_hours=rain_hours,
    )


def _mean_scores(ahead: DaysAhead, days: RecordDays, rng: np.random.Generator) -> DailyValues:
    """Mean score of the windows of the date by variable, (1, site, day)."""
    start, length = ahead.forecast.start, ahead.length
    window = analogue_windows(days, start, length, members=MEAN_WINDOWS, rng=rng)
    each, place = np.unique(window, return_inverse=True)
    of_day = _daily(analogue_weather(days, each[None], start))
    ties = rng.random((MEAN_WINDOWS, length))
    amounts = {
        n: np.moveaxis(a[0][:, place.reshape(window.shape)], 1, 0) for n, a in of_day.items()
    }
    return {n: _scores(ahead, n, amounts[n], ties).mean(axis=0)[None] for n in CORRELATION}


def _scores(ahead: DaysAhead, name: str, amounts: Array, ties: Array) -> Array:
    """Normal scores of daily amounts, (member, site, day); all sites share the ranks `ties`."""
    rows = [
        normal_score(amounts[:, s], climate, ties) for s, climate in enumerate(ahead.climate[name])
    ]
    return np.stack(rows, axis=1)


def dress_days(ahead: DaysAhead, draws: MemberDraws, rho: Mapping[str, Array]) -> Weather:
    """Members (member, site, 24 × days) that follow the forecast by `rho`, else their draws.

    Parameters
    ----------
    rho
        Correlation of forecast and truth by variable, (day,).
    """
    new = {n: _mixed(ahead, draws, n, rho[n]) for n in CORRELATION}
    return _hourly(ahead, draws, new, rho["rain"])


def _season(days: RecordDays, start: np.datetime64) -> Weather:
    """Recorded days of the season around `start`, end to end."""
    return analogue_weather(days, days.season_days(start)[None], start)


def _daily(weather: Weather) -> DailyValues:
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


def _mixed(ahead: DaysAhead, draws: MemberDraws, name: str, rho: Array) -> Array:
    """Amounts of a variable, (member, site, day), that follow the forecast by `rho`."""
    errors, mean = draws.errors[name], draws.means[name]
    forecast = np.broadcast_to(ahead.amounts[name], errors.shape)
    z_f = _scores(ahead, name, forecast, draws.ties[name])
    z = mean + rho * (z_f - mean) + np.sqrt(1.0 - rho**2) * (errors - mean)
    rows = [climate_quantile(c, ndtr(z[:, s])) for s, c in enumerate(ahead.climate[name])]
    return np.stack(rows, axis=1)


def _hourly(ahead: DaysAhead, draws: MemberDraws, new: DailyValues, rho_rain: Array) -> Weather:
    """Hours of the forecast, shifted and scaled so that each day has its new amount."""
    forecast, predicted = ahead.forecast, ahead.amounts
    m, f, h = draws.windows.shape
    temp = forecast.temp + _through_noons(new["temp"] - predicted["temp"])
    deficit = np.maximum(forecast.temp - dew_point(forecast.temp, forecast.humidity), 0.05)
    ratio = np.clip(new["deficit"] / np.maximum(predicted["deficit"], 0.1), 0.05, 20.0)
    wind = np.clip(new["wind"] / np.maximum(predicted["wind"], 0.2), 0.2, 5.0).repeat(24, axis=-1)
    sun = np.clip(new["radiation"] / np.maximum(predicted["radiation"], 1.0), 0.1, 10.0)
    brightest = ahead.season.radiation.reshape(f, -1, 24).max(axis=1)[:, np.arange(h) % 24]
    return Weather(
        start=forecast.start,
        rain=_rain_hours(ahead, draws, new["rain"], rho_rain),
        temp=temp,
        humidity=relative_humidity(temp, temp - deficit * np.exp(_through_noons(np.log(ratio)))),
        wind=forecast.wind * wind,
        gust=forecast.gust * wind,
        radiation=np.minimum(
            forecast.radiation * sun.repeat(24, axis=-1),
            np.maximum(forecast.radiation, brightest),
        ),
        estimated=np.ones((m, f, h), dtype=np.bool_),
    )


def _through_noons(daily: Array) -> Array:
    """Daily values interpolated linearly through the days' noons, hour by hour."""
    m, f, d = daily.shape
    noon = 24 * np.arange(d) + 11.5
    hours = np.arange(24 * d)
    rows = [np.interp(hours, noon, row) for row in daily.reshape(-1, d)]
    return np.array(rows).reshape(m, f, 24 * d)


def _rain_hours(ahead: DaysAhead, draws: MemberDraws, amount: Array, rho: Array) -> Array:
    """Daily rain spread over hours: as forecast with chance `rho`, else as on a recorded day.

    The recorded day is that of the member's window where it was wet, else the wet day whose amount
    is nearest.
    """
    m, f, length = amount.shape
    predicted = ahead.forecast.rain[0].reshape(f, length, 24)
    drawn = draws.windows.rain.reshape(m, f, length, 24)
    wet = ahead.season.rain[0].reshape(f, -1, 24)
    totals = wet.sum(axis=-1)
    follow = draws.rain_hours < rho
    out = np.zeros((m, f, length, 24))
    for i, s, d in np.argwhere(amount > 0.0):
        pattern = predicted[s, d] if follow[i, d] else drawn[i, s, d]
        if not pattern.sum() > 0.0:
            pattern = drawn[i, s, d]
        if not pattern.sum() > 0.0:
            away = np.where(totals[s] > 0.0, np.abs(totals[s] - amount[i, s, d]), np.inf)
            pattern = wet[s, int(np.argmin(away))]
        if not pattern.sum() > 0.0:
            pattern = predicted[s].sum(axis=0)
        out[i, s, d] = amount[i, s, d] * pattern / pattern.sum()
    return out.reshape(m, f, 24 * length)
