"""Dressing, analogues and rain calibration: members are calibrated on independent years."""

import numpy as np
import pandas as pd
import pytest
from places import DATA
from rank_histogram import flatness, rank_histogram
from scipy.special import ndtr, ndtri

from readiness.atmosphere.weather import HOUR, VARIABLES, Weather
from readiness.forecasts.analogues import (
    ShortRecordError,
    analogue_windows,
    cut_days,
    extend_with_analogues,
)
from readiness.forecasts.dressing import CORRELATION, dress
from readiness.forecasts.normal_scores import climate_quantile
from readiness.forecasts.rain_calibration import fit_correlation, frequency_match
from readiness.forecasts.synthetic_records import synthetic_records

RECORDS = DATA / "soil_moisture"
need_data = pytest.mark.skipif(
    not RECORDS.is_dir(), reason="open data of station records (../shared/data) are not here"
)
LEADS = 10
STATIONS = ("ND_Jamestown_38_WSW", "KS_Manhattan_6_SSW", "MT_Wolf_Point_29_ENE")


def made(days=120, start="2026-04-14T06", sites=1, seed=0):
    """Random weather with storms, a daily cycle and a slow random walk of temperature."""
    rng = np.random.default_rng(seed)
    h = np.arange(24 * days)
    slow = np.repeat(np.cumsum(rng.normal(0, 1, days)) * 0.6, 24)
    temp = 18 + 7 * np.cos((h - 15) * np.pi / 12) + slow
    rain = np.zeros((sites, 24 * days))
    for d in np.flatnonzero(rng.random(days) < 0.3):
        at = 24 * d + rng.integers(0, 20)
        rain[:, at : at + 4] = rng.gamma(0.8, 2.0, (sites, 1))
    rows = {
        "rain": rain,
        "temp": np.tile(temp, (sites, 1)),
        "humidity": np.where(rain > 0, 95.0, 60.0 + 5 * np.sin(h / 24)),
        "wind": np.tile(3.0 + np.sin(h / 40), (sites, 1)),
        "gust": np.tile(5.0 + np.sin(h / 40), (sites, 1)),
        "radiation": np.tile(np.maximum(0, 700 * np.cos((h - 12) * np.pi / 12)), (sites, 1)),
    }
    return Weather(
        start=np.datetime64(start, "h"),
        **{n: v[None] for n, v in rows.items()},
        estimated=np.zeros((1, sites, 24 * days), dtype=bool),
    )


def daily(weather):
    m, f, h = weather.shape
    return weather.rain.reshape(m, f, h // 24, 24).sum(axis=3)


@pytest.fixture(scope="module")
def case():
    whole = made(130, sites=2)
    cut = whole.start + 24 * 120 * HOUR
    return whole.between(whole.start, cut), whole.between(cut, cut + 240 * HOUR)


def test_members_are_repeatable_and_physical(case):
    records, forecast = case
    a, b = (dress(forecast, records, seed=5) for _ in range(2))
    assert a.shape == (31, 2, 240)
    for name in VARIABLES:
        np.testing.assert_array_equal(getattr(a, name), getattr(b, name))
        assert np.isfinite(getattr(a, name)).all()
    assert (a.rain >= 0).all()
    assert ((a.humidity >= 0) & (a.humidity <= 100)).all()
    assert (a.radiation >= 0).all()
    assert a.radiation.max() <= 701
    assert a.estimated.all()
    assert not np.array_equal(a.rain, dress(forecast, records, seed=6).rain)


def test_members_spread_from_the_forecast_with_lead(case):
    records, forecast = case
    out = dress(forecast, records, seed=1)
    off = np.abs(out.temp - forecast.temp).reshape(31, 2, 10, 24).mean(axis=(0, 1, 3))
    assert off[0] < 0.5 * off[-1]
    certain = dress(forecast, records, correlation=dict.fromkeys(CORRELATION, (1.0,) * 10), seed=1)
    np.testing.assert_allclose(
        daily(certain), np.broadcast_to(daily(forecast), (31, 2, 10)), atol=0.3
    )
    np.testing.assert_allclose(
        certain.temp, np.broadcast_to(forecast.temp, certain.temp.shape), atol=1
    )


def test_age_counts_as_lead(case):
    """A forecast two days old is dressed as widely as the third day of a new one."""
    records, forecast = case
    young, old = (dress(forecast, records, lead=h, seed=1) for h in (0.0, 48.0))
    assert old.temp[:, 0, :24].std(axis=0).mean() > 1.2 * young.temp[:, 0, :24].std(axis=0).mean()


def test_ranks_correlate_between_sites_and_in_time(case):
    """Members rank alike at both sites, and warm days follow warm days."""
    records, forecast = case
    out = dress(forecast, records, seed=2)
    assert np.corrcoef(out.temp[:, 0, 180], out.temp[:, 1, 180])[0, 1] > 0.95
    mean = out.temp[:, 0].reshape(31, 10, 24).mean(axis=2)
    rank = mean.argsort(axis=0).argsort(axis=0).astype(float)
    later = [np.corrcoef(rank[:, d], rank[:, d + 1])[0, 1] for d in range(4, 9)]
    assert np.mean(later) > 0.4  # about that of the random walk of the records


def test_without_skill_members_are_climatology(case):
    """At r = 0 daily amounts have the wet share and the mean of climatology."""
    records, forecast = case
    zero = dict.fromkeys(CORRELATION, (0.0,) * 10)
    out = daily(dress(forecast, records, members=200, correlation=zero, seed=3))
    past = daily(records)
    assert (out > 0.2).mean() == pytest.approx((past > 0.2).mean(), abs=0.06)
    assert out.mean() == pytest.approx(past[:, :, 30:].mean(), rel=0.25)


def test_short_records_are_refused(case):
    _, forecast = case
    with pytest.raises(ShortRecordError, match="30 needed"):
        dress(forecast, made(20, start=str(forecast.start - 480 * HOUR)), seed=0)


# ---- analogues -----------------------------------------------------------------------------------


def test_days_begin_at_the_hour_of_the_forecast():
    records = made(60, start="2026-05-01T03")
    days = cut_days(records, np.datetime64("2026-06-29T17"))
    assert str(days.weather.start).endswith("T17")
    assert days.weather.stop <= np.datetime64("2026-06-29T17")
    assert len(days.index) == 59


def test_windows_avoid_unknown_days():
    records = made(90)
    records.rain[0, 0, 40 * 24 + 5] = np.nan
    start = records.stop
    days = cut_days(records, start)
    bad = 40
    assert bad not in days.index
    out = analogue_windows(days, start, 12, members=40, rng=np.random.default_rng(0))
    assert bad not in out
    assert out.shape == (40, 12)


def test_many_years_give_analogue_years():
    records = made(365 * 6, start="2019-01-01T00")
    start = np.datetime64("2024-12-28T00") - np.timedelta64(24 * 140, "h")
    days = cut_days(records.between(records.start, start), start)
    out = analogue_windows(days, start, 12, members=31, rng=np.random.default_rng(0))
    assert (np.diff(out, axis=1) == 1).all()  # successive days
    first = (days.weather.start + 24 * out[:, 0] * HOUR).astype("datetime64[D]")
    season = (first - first.astype("datetime64[Y]")).astype(int)
    want = int((start.astype("datetime64[D]") - start.astype("datetime64[Y]")).astype(int))
    assert np.abs(season - want).max() <= 11
    assert len(np.unique(first.astype("datetime64[Y]"))) >= 4


def test_members_continue_as_analogues():
    records = made(100)
    start = records.stop
    forecast = made(3, start=str(start), seed=9)
    out = extend_with_analogues(forecast, records, hours=24 * 9, seed=1)
    assert out.shape == (1, 1, 24 * 9)
    np.testing.assert_array_equal(out.rain[:, :, :72], forecast.rain)
    assert out.estimated[:, :, 72:].all()
    assert np.isin(out.temp[0, 0, 72:], records.temp).all()  # hours of the records
    whole = extend_with_analogues(forecast, records, hours=48)
    assert whole.shape[2] == 48


def test_synthetic_records_have_rain_and_a_daily_cycle(case):
    _, forecast = case
    out = synthetic_records(forecast, seed=0)
    assert out.stop == forecast.start
    wet = (daily(out)[0, 0] > 0).mean()
    assert 0.15 < wet < 0.4  # stationary share of the Markov chain: 0.2 / (0.2 + 0.6) = 0.25
    assert dress(forecast, out, seed=0).shape == (31, 2, 240)


# ---- correlation and matching --------------------------------------------------------------------


@pytest.mark.parametrize("r", [0.0, 0.3, 0.6, 0.9])
def test_correlation_is_recovered_from_censored_rain(r):
    rng = np.random.default_rng(0)
    z = rng.normal(size=3000)
    y = r * z + np.sqrt(1 - r * r) * rng.normal(size=3000)
    forecast = np.where(z > 0.6, np.exp(z), 0.0)
    observed = np.where(y > 0.4, np.exp(2 * y), 0.0)
    assert fit_correlation(forecast, observed) == pytest.approx(r, abs=0.05)


# hand: forecasts 1 to 10, observations twice that: an amount keeps its rank; beyond the sample the
# ratio of the largest values applies
def test_frequency_matching_by_hand():
    forecast = np.arange(1.0, 11.0)
    out = frequency_match(np.array([0.0, 1.0, 5.0, 5.5, 10.0, 20.0]), forecast, 2 * forecast)
    assert out == pytest.approx([0.0, 2.0, 10.0, 11.0, 20.0, 40.0])


def test_frequency_matching_removes_bias_and_drizzle_on_independent_days():
    rng = np.random.default_rng(2)
    observed = np.where(rng.random(800) < 0.3, rng.gamma(0.8, 8.0, 800), 0.0)
    forecast = np.where(observed > 0, 1.6 * observed, np.where(rng.random(800) < 0.4, 0.4, 0.0))
    old, new = slice(0, 400), slice(400, 800)
    out = frequency_match(forecast[new], forecast[old], observed[old])
    before = abs(forecast[new].mean() / observed[new].mean() - 1)
    after = abs(out.mean() / observed[new].mean() - 1)
    assert before > 0.5
    assert after < 0.15
    assert (forecast[new] > 0.1).mean() > 0.5  # drizzle on dry days
    assert (out > 0.1).mean() == pytest.approx((observed[new] > 0.1).mean(), abs=0.06)


def test_quantile_is_the_inverse_of_rank():
    assert climate_quantile(
        np.array([1.0, 2.0, 3.0, 4.0]), np.array([0.125, 0.5, 0.875])
    ) == pytest.approx([1.0, 2.5, 4.0])


# ---- calibration on real rain --------------------------------------------------------------------


def station(name):
    table = pd.read_csv(RECORDS / f"CRND0103_{name}.csv.gz", dtype={"LST_DATE": str})
    table.index = pd.to_datetime(table["LST_DATE"])
    rain = table["P_DAILY_CALC"]
    return rain.where(rain >= 0).asfreq("D")


def hourly(amounts, start):
    """Daily rain as an hourly frame; the other variables do not matter here."""
    d = np.asarray(amounts, dtype=float)
    rain = np.zeros((len(d), 24))
    rain[:, 14:18] = d[:, None] / 4
    rows = {
        n: np.full((1, 1, 24 * len(d)), v)
        for n, v in {"humidity": 60.0, "wind": 3.0, "gust": 5.0, "radiation": 200.0}.items()
    }
    wave = np.tile(5 * np.sin(np.arange(24) * np.pi / 12), len(d)) + 20
    return Weather(
        start=np.datetime64(start, "h"),
        rain=rain.reshape(1, 1, -1),
        temp=wave.reshape(1, 1, -1),
        **rows,
        estimated=np.zeros((1, 1, 24 * len(d)), dtype=bool),
    )


def emulated(rain, kind, rng):
    """Forecasts of each lead for each day: noisy, or persistence (rain as the day before)."""
    v = rain.to_numpy()
    if kind == "the day before":
        return [pd.Series(np.roll(v, 1), index=rain.index)] * LEADS
    ordered = np.sort(v[np.isfinite(v)])
    low, high = (np.searchsorted(ordered, v, side=s) for s in ("left", "right"))
    z = ndtri(np.clip((low + rng.random(len(v)) * (high - low)) / len(ordered), 1e-4, 1 - 1e-4))
    out = []
    for r in CORRELATION["rain"]:
        noisy = r * z + np.sqrt(1 - r * r) * rng.normal(size=len(v))
        out.append(pd.Series(climate_quantile(ordered, ndtr(noisy)).round(1), index=rain.index))
    return out


@pytest.mark.slow
@need_data
@pytest.mark.parametrize("kind", ["noisy", "the day before"])
@pytest.mark.parametrize("name", STATIONS)
def test_dressed_members_are_calibrated_on_other_years(name, kind):
    """Rank histogram of station rain (U.S. Climate Reference Network) among dressed members.

    Correlation and climatology come from odd years, the histogram from the summers of even years.
    'The day before' is a real, poor forecast that does not follow the assumed model.
    """
    rng = np.random.default_rng(0)
    rain = station(name)
    forecast = emulated(rain, kind, rng)
    odd = rain.index.year % 2 == 1
    warm = odd & (rain.index.month >= 5) & (rain.index.month <= 9)
    rho = []
    for by_lead in forecast:
        a, b = by_lead[warm].to_numpy(), rain[warm].to_numpy()
        known = np.isfinite(a) & np.isfinite(b)
        rho.append(fit_correlation(a[known], b[known]))
    records = hourly(rain.where(odd)[:"2023"], rain.index[0].to_datetime64())
    members, observed = [], []
    for year in range(2010, 2024, 2):
        for first in pd.date_range(f"{year}-05-10", f"{year}-09-01", freq="11D"):
            days = pd.date_range(first, periods=LEADS)
            issued = np.array([forecast[i].get(d, np.nan) for i, d in enumerate(days)])
            truth = rain.reindex(days).to_numpy()
            if np.isnan(issued).any() or np.isnan(truth).any():
                continue
            start = first.replace(year=2024).to_datetime64()  # after the records, same season
            out = dress(
                hourly(issued, start),
                records,
                correlation={"rain": rho},
                seed=int(rng.integers(1 << 30)),
            )
            members.append(daily(out)[:, 0].T)
            observed.append(truth)
    x, y = np.array(members), np.array(observed)
    assert y.size > 500
    x = np.where(x < 0.1, 0.0, x)  # the gauges measure tenths
    counts = np.array([rank_histogram(a, b, rng=rng) for a, b in zip(x, y, strict=True)])
    assert flatness(counts, bins=8) > 0.01, counts.sum(axis=0)
    assert (x >= 1.0).mean() == pytest.approx((y >= 1.0).mean(), abs=0.04)
