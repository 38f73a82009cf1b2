"""Forecasts of successive mornings of a past season, with errors that evolve as a martingale.

The forecast of a day changes from one morning to the next by what is new, and the new cannot be
foreseen: a martingale of forecast evolution (Heath & Jackson 1994, IIE Transactions 26(3):17-30).
With v = r², r the correlation of forecast and truth at a lead, the signal of a target day is

    W(v) = v z + B(v),   variance of B(v) = v (1 - v),

with z the normal score of the truth and B a Brownian bridge. The forecast's normal score is
z_f = W / r = r z + sqrt(1 - r²) e, with e = B / sqrt(v (1 - v)) a standard normal error. So the
forecast of each day, taken alone, has the distribution of `emulate_forecast`. From one morning to
the next v grows from v1 to v2, and the bridge gives

    e2 = c e1 + sqrt(1 - c²) η,   c² = v1 (1 - v2) / (v2 (1 - v1)).

η are the normal scores of a fresh window of recorded days each morning. W is the mean of z given
every forecast so far, so the latest forecast holds all that is known, and `dress` states its
uncertainty correctly. With independent errors older forecasts would still hold information.

z, e and η are meant as departures from the mean score of the date, as in `dressing`.

Two limits. Errors of two neighbouring days correlate a little less than in one window, because
their windows have had different weights. A day's z moves slightly as the season of the climate
moves with the morning.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from readiness.atmosphere.weather import HOUR, Array, Weather
from readiness.forecasts.analogues import RecordDays, cut_days
from readiness.forecasts.dressing import (
    DaysAhead,
    MemberDraws,
    correlation_by_day,
    draw_members,
    dress,
    dress_days,
)


@dataclass(frozen=True, kw_only=True)
class ForecastEvolution:
    """Forecasts of the mornings of one season; make it by `of`.

    Any morning can be issued at any time, any number of times: the draws of all mornings are made
    first, so a forecast does not depend on which others were asked for.

    Attributes
    ----------
    truth
        (1, site, hour) true weather from the first morning.
    climate
        (1, site, hour) records that end before the truth begins.
    days
        Days of a forecast; fewer where the truth ends.
    seed
        Seed of all mornings.
    correlation
        Of forecast and truth by variable and lead day.
    draws
        Random part of the single forecast of each morning.
    """

    truth: Weather
    climate: Weather
    days: int
    seed: int
    correlation: Mapping[str, Sequence[float]] | None
    draws: tuple[MemberDraws, ...]

    @classmethod
    def of(
        cls,
        truth: Weather,
        climate: Weather,
        *,
        days: int,
        seed: int = 0,
        correlation: Mapping[str, Sequence[float]] | None = None,
    ) -> ForecastEvolution:
        """Draw the errors of every morning of a season.

        Parameters
        ----------
        truth
            (1, site, hour) true weather from the first morning, every variable known but gust. A
            morning is each 24th hour.
        climate
            (1, site, hour) records that end before the truth begins; see `other_years`.
        days
            Days of a forecast.
        seed
            The same seed gives the same forecasts.
        correlation
            Of forecast and truth by variable and lead day; `dressing.CORRELATION`.

        Raises
        ------
        ShortRecordError
            Where the climate has too few whole days.
        ValueError
            Where the correlation of a variable rises with lead.
        """
        recorded = cut_days(climate, truth.start)
        draws: list[MemberDraws] = []
        for morning in range(truth.shape[2] // 24):
            ahead = _days_ahead(truth, recorded, morning, days)
            rng = np.random.default_rng((seed, morning, 19))
            fresh = draw_members(ahead, recorded, members=1, rng=rng)
            rho = correlation_by_day(correlation, ahead.length + 1)
            draws.append(_evolved(draws[-1], fresh, rho) if draws else fresh)
        return cls(
            truth=truth,
            climate=climate,
            days=days,
            seed=seed,
            correlation=correlation,
            draws=tuple(draws),
        )

    def single_forecast(self, morning: int) -> Weather:
        """The single forecast of a morning, (1, site, 24 × days), before it is dressed."""
        recorded = cut_days(self.climate, self.truth.start)
        ahead = _days_ahead(self.truth, recorded, morning, self.days)
        rho = correlation_by_day(self.correlation, ahead.length)
        forecast = dress_days(ahead, self.draws[morning], rho)
        return replace(forecast, estimated=ahead.forecast.estimated)

    def issue(self, morning: int, *, members: int) -> Weather:
        """Members of the forecast of a morning, (member, site, 24 × days).

        Parameters
        ----------
        morning
            0 is the first hour of the truth, 1 the same hour of the next day.
        """
        return dress(
            self.single_forecast(morning),
            self.climate,
            members=members,
            correlation=self.correlation,
            seed=int(np.random.default_rng((self.seed, morning, 23)).integers(2**31)),
        )


def persistence(earlier: Array, later: Array) -> Array:
    """Correlation c of a target day's errors on two mornings, from the correlations r of each.

    Parameters
    ----------
    earlier, later
        Correlation of forecast and truth on the earlier and on the later morning.

    Returns
    -------
    Array
        0 where a forecast has no skill or no error.

    Raises
    ------
    ValueError
        Where `earlier` exceeds `later`: a martingale does not lose skill as a day draws near.
    """
    if (earlier > later).any():
        raise ValueError("the correlation of forecast and truth must not rise with lead")
    v1, v2 = earlier**2, later**2
    rest = v2 * (1.0 - v1)
    square = np.divide(v1 * (1.0 - v2), rest, out=np.zeros_like(rest), where=rest > 0.0)
    return np.asarray(np.sqrt(square))


def _days_ahead(truth: Weather, recorded: RecordDays, morning: int, days: int) -> DaysAhead:
    """The true days that the forecast of a morning covers."""
    start = truth.times[0] + 24 * morning * HOUR
    stop = min(start + 24 * days * HOUR, truth.stop)
    return DaysAhead.of(truth.between(start, stop), recorded)


def _evolved(before: MemberDraws, fresh: MemberDraws, rho: Mapping[str, Array]) -> MemberDraws:
    """Draws of a morning, from those of the morning before and fresh ones.

    Day d of the morning before is day d - 1 now; `rho` reaches one day beyond the fresh draws. A
    target day keeps its rank among equal amounts, and its draw for the hours of rain.
    """
    shared = min(before.rain_hours.shape[1] - 1, fresh.rain_hours.shape[1])

    def kept(old: Array, new: Array) -> Array:
        return np.concatenate([old[..., 1 : shared + 1], new[..., shared:]], axis=-1)

    errors = {}
    for name, new in fresh.errors.items():
        c = persistence(rho[name][1:], rho[name][:-1])
        c[shared:] = 0.0
        mean = fresh.means[name]
        old = kept(before.errors[name] - before.means[name], new - mean)
        errors[name] = mean + c * old + np.sqrt(1.0 - c**2) * (new - mean)
    return MemberDraws(
        windows=fresh.windows,
        errors=errors,
        means=fresh.means,
        ties={n: kept(before.ties[n], new) for n, new in fresh.ties.items()},
        rain_hours=kept(before.rain_hours, fresh.rain_hours),
    )
