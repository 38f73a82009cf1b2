"""Calibration on simulated truth: few observations help, a season of a probe finds the field."""

import numpy as np
import pytest

from readiness.atmosphere.weather import Array, Weather
from readiness.soil.calibrate import calibrate
from readiness.soil.land import Land
from readiness.soil.water_balance import run_water
from readiness.soil.water_observations import (
    WaterObservations,
    depth_weights,
    probe_observations,
    water_observations,
)

DAYS = 240
TOP = np.array([1.0, 2.0, 0.0, 0.0, 0.0]) / 3.0


def summer(seed: int, days: int = DAYS) -> tuple[Weather, Array]:
    """Random summer weather of one site, and its reference ET."""
    rng = np.random.default_rng(seed)
    rain = np.zeros((days, 24))
    for day in np.flatnonzero(rng.random(days) < 0.25):
        rain[day, 10:14] = rng.exponential(10.0) / 4.0
    zero = np.zeros((1, 1, 24 * days))
    clock = np.arange(24 * days) % 24
    eto = np.where((clock >= 8) & (clock < 18), 0.45, 0.0)[None, None]
    weather = Weather(
        start=np.datetime64("2024-04-01", "h"),
        rain=rain.reshape(1, 1, -1),
        temp=zero + 18.0,
        humidity=zero + 60.0,
        wind=zero + 2.0,
        gust=zero,
        radiation=zero + 200.0,
        estimated=zero > 1.0,
    )
    return weather, eto


def top_water(weather: Weather, eto: Array, land: Land, vigour: float = 1.0) -> Array:
    return np.asarray(TOP @ run_water(weather, land, kcb=0.6 * vigour, eto=eto)[0][0, 0])


def draw(rng: np.random.Generator) -> tuple[Land, float]:
    """A true field and its crop factor, drawn around the default loam from the priors."""
    land = Land.of(
        1,
        sand=float(np.clip(rng.normal(0.40, 0.12), 0.1, 0.75)),
        clay=float(np.clip(rng.normal(0.20, 0.07), 0.05, 0.25)),
        water_offset=float(rng.normal(0.0, 0.02)),
        drain_factor=float(np.exp(rng.normal(0.0, 0.7))),
        evap_factor=float(np.exp(rng.normal(0.0, 0.4))),
    )
    return land, float(np.exp(rng.normal(0.0, 0.2)))


# simulated truth: three noisy samples in the first half, judged on the second half
def test_three_samples_help_on_average_and_never_harm_much() -> None:
    before, after = [], []
    for seed in range(12):
        rng = np.random.default_rng(seed)
        weather, eto = summer(seed)
        truth = top_water(weather, eto, *draw(rng))
        hours = np.array([40, 75, 110]) * 24 + 9
        seen = water_observations(hours, truth[hours] + rng.normal(0.0, 0.02, 3), weights=TOP)
        fit = calibrate(weather, Land.of(1), seen, kcb=0.6, eto=eto)
        later = np.s_[24 * DAYS // 2 :]

        def error(land: Land, vigour: float, truth: Array = truth, w=weather, e=eto) -> float:
            miss = top_water(w, e, land, vigour)[later] - truth[later]  # noqa: B023
            return float(np.sqrt((miss**2).mean()))

        before.append(error(Land.of(1), 1.0))
        after.append(error(fit.land, fit.vigour))
    gain = np.array(before) - np.array(after)
    assert np.mean(after) < 0.85 * np.mean(before)
    assert gain.min() > -0.012  # the worst field loses less than the error of a sample


# simulated truth: half a season of a probe with unknown gain and offset
def test_days_of_a_probe_find_water_and_probe() -> None:
    rng = np.random.default_rng(5)
    weather, eto = summer(5)
    truth = Land.of(1, sand=0.25, clay=0.25, evap_factor=0.5)
    theta = run_water(weather, truth, kcb=0.6, eto=eto)[0][0, 0].reshape(5, DAYS, 24).mean(axis=2)
    reading = 0.8 * (depth_weights(0.05) @ theta) + 0.05 + rng.normal(0.0, 0.004, DAYS)
    reading[30:40] = np.nan
    half = np.where(np.arange(DAYS) < DAYS // 2, reading, np.nan)
    seen = probe_observations(half, 0, depth_m=0.05, probe=0)
    assert seen.hour.size == DAYS // 2 - 10
    fit = calibrate(weather, Land.of(1), seen, kcb=0.6, eto=eto)
    model = run_water(weather, fit.land, kcb=0.6 * fit.vigour, eto=eto)[0][0, 0]
    modelled = fit.probe_reading(0, depth_weights(0.05) @ model.reshape(5, DAYS, 24).mean(axis=2))
    miss = (modelled - reading)[DAYS // 2 :]
    assert miss.std() < 0.012
    assert fit.misfit_after < fit.misfit_before


# hand: upper bounds pull the model down where the model is above them, and nowhere else
def test_bounds_pull_only_where_they_are_violated() -> None:
    weather, eto = summer(2)
    plain = top_water(weather, eto, Land.of(1))
    hours = np.array([60, 90, 120, 150]) * 24
    agree = water_observations(hours, plain[hours] + 0.05, weights=TOP, side=-1)
    assert calibrate(weather, Land.of(1), agree, kcb=0.6, eto=eto).misfit_before == 0.0
    dry = water_observations(hours, plain[hours] - 0.05, weights=TOP, side=-1)
    fit = calibrate(weather, Land.of(1), dry, kcb=0.6, eto=eto)
    assert top_water(weather, eto, fit.land, fit.vigour)[hours].mean() < plain[hours].mean() - 0.01


def test_no_observations_change_nothing() -> None:
    weather, eto = summer(1, 10)
    none = water_observations(np.zeros(0, dtype=np.int64), np.zeros(0), weights=TOP)
    fit = calibrate(weather, Land.of(1), none, eto=eto)
    assert np.array_equal(fit.land.sand, Land.of(1).sand)
    assert fit.vigour == 1.0


def test_observations_outside_the_weather_are_refused() -> None:
    weather, eto = summer(1, 10)
    late: WaterObservations = water_observations(np.array([24 * 11]), np.array([0.2]), weights=TOP)
    with pytest.raises(ValueError, match="from hour 264 to 265; the weather covers hours 0 to 240"):
        calibrate(weather, Land.of(1), late, eto=eto)
    with pytest.raises(ValueError, match="one member and one field, got 1 members, 2 sites"):
        calibrate(weather.sites([0, 0]), Land.of(2), late, eto=np.repeat(eto, 2, axis=1))


# hand: 5 cm lies a third of the way from 2.5 to 10 cm, 10 cm is the second layer's middle
def test_weights_of_depths() -> None:
    assert depth_weights(0.05) == pytest.approx([2 / 3, 1 / 3, 0, 0, 0])
    assert depth_weights(0.10) == pytest.approx([0, 1, 0, 0, 0])
    assert depth_weights(0.45) == pytest.approx([0, 0, 0, 1, 0])
