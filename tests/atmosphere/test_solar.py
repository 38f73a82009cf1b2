"""Position of the sun and clear-sky radiation against published values."""

import numpy as np
import pytest
import refet

from readiness.atmosphere.solar import (
    clear_sky_by_transmissivity,
    daylight,
    extraterrestrial_daily,
    extraterrestrial_hourly,
    mean_sine_of_elevation,
    solar_elevation,
)
from readiness.atmosphere.weather import day_and_hour


# published: FAO-56 examples 9 and 18 print daylight of 11.7 h (20 S, 3 September) and 16.1 h
# (50.8 N, 6 July), for the sun's centre without refraction.
@pytest.mark.parametrize(
    ("lat", "day", "hours"), [(-20.0, "2023-09-03", 11.7), (50.8, "2023-07-06", 16.1)]
)
def test_day_length(lat, day, hours):
    longitude = np.linspace(0, 14.9, 150)  # a tenth of an hour's turn apart
    times = np.datetime64(day, "h") + np.arange(24)
    up = solar_elevation(times, np.full(150, lat), longitude) > 0
    assert abs(up.sum() / 150 - hours) < 0.1


def test_noon_is_highest_and_night_is_dark():
    times = np.datetime64("2023-08-15T00", "h") + np.arange(24)
    height = solar_elevation(times, np.array([48.0]), np.array([-97.5]))[0]
    # hand: 97.5 W is 6.5 h behind UTC, so the sun is highest in the hour from 18 UTC; its height
    # is 90 - 48 + declination (about 14 degrees in mid-August).
    assert height.argmax() == 18
    assert abs(height.max() - 56) < 1.0
    assert not daylight(times, np.array([48.0]), np.array([-97.5]))[0, 6]


# law: the radiation of the hours adds up to that of the day
def test_hours_add_up_to_the_day() -> None:
    for day in (10, 100, 190, 280):
        hours, _ = extraterrestrial_hourly(46.0, -100.0, day, np.arange(24.0))
        assert hours.sum() == pytest.approx(float(extraterrestrial_daily(46.0, day)), rel=0.002)


# law: the elevation of an hour is the same wherever it is computed
def test_elevation_of_radiation_and_of_daylight_agree() -> None:
    times = np.datetime64("2024-01-01T00", "h") + np.arange(366 * 24)
    latitude, longitude = np.array([-35.0, 12.0, 47.3]), np.array([149.0, 0.0, -99.1])
    day, hour = day_and_hour(times)
    _, radians = extraterrestrial_hourly(latitude[:, None], longitude[:, None], day, hour)
    degrees = solar_elevation(times, latitude, longitude)
    assert np.degrees(radians) == pytest.approx(degrees, abs=1e-9)


# published: the open library refet, ASCE 2005 Appendix D
def test_clear_sky_by_transmissivity_agrees_with_library() -> None:
    day, ea = np.array([15, 105, 196, 288]), np.array([0.4, 0.8, 1.8, 1.0])
    theirs = refet.Daily(
        tmin=np.full(4, 5.0),
        tmax=np.full(4, 20.0),
        ea=ea,
        rs=np.full(4, 10.0),
        uz=np.full(4, 2.0),
        zw=2.0,
        elev=600.0,
        lat=41.0,
        doy=day,
        method="asce",
        rso_type="full",
    )
    ra = extraterrestrial_daily(41.0, day)
    ours = clear_sky_by_transmissivity(ra, ea, 600.0, mean_sine_of_elevation(41.0, day))
    assert ours == pytest.approx(np.asarray(theirs.rso), rel=0.005)
