"""Reference ET against FAO-56 examples, a library and the output of a program."""

import numpy as np
import pytest
import refet
from places import DATA

from readiness.atmosphere import air, solar
from readiness.atmosphere import evapotranspiration as et
from readiness.validation.reference_et import compare_reference_et

RECORDS = DATA / "reference_et"


# published: FAO-56 Example 18 (Brussels, 6 July), with its intermediate values
def test_daily_et_of_brussels() -> None:
    u2 = air.wind_at_2m(2.78, 10.0)
    assert u2 == pytest.approx(2.078, abs=0.002)
    assert air.air_pressure(100.0) == pytest.approx(100.1, abs=0.05)
    assert air.psychrometric_constant(100.0) == pytest.approx(0.0666, abs=5e-5)
    assert air.pressure_slope(16.9) == pytest.approx(0.122, abs=5e-4)
    high, low = air.saturation_pressure(21.5), air.saturation_pressure(12.3)
    assert 0.5 * (high + low) == pytest.approx(1.997, abs=1e-3)
    ea = (low * 0.84 + high * 0.63) / 2
    assert ea == pytest.approx(1.409, abs=1e-3)
    ra = solar.extraterrestrial_daily(50.8, 187)
    assert ra == pytest.approx(41.09, abs=0.05)
    rs, rso = 22.07, solar.clear_sky_by_elevation(ra, 100.0)
    assert rso == pytest.approx(30.90, abs=0.05)
    assert et.net_radiation_daily(rs, 21.5, 12.3, ea, rso) == pytest.approx(13.28, abs=0.02)
    found = et.reference_et_daily(
        21.5, 12.3, ea, rs=rs, wind=2.78, day=187, latitude=50.8, elevation=100.0, wind_height=10.0
    )
    assert found == pytest.approx(3.88, abs=0.01)


# published: FAO-56 Examples 2, 3, 8, 11, 14
def test_printed_examples() -> None:
    assert air.air_pressure(1800.0) == pytest.approx(81.8, abs=0.05)
    assert air.saturation_pressure([24.5, 15.0]) == pytest.approx([3.075, 1.705], abs=1e-3)
    assert solar.inverse_sun_distance(246) == pytest.approx(0.985, abs=1e-3)
    assert solar.declination(246) == pytest.approx(0.120, abs=1e-3)
    assert solar.sunset_hour_angle(-20.0, 246) == pytest.approx(1.527, abs=1e-3)
    assert solar.extraterrestrial_daily(-20.0, 246) == pytest.approx(32.2, abs=0.05)
    assert air.wind_at_2m(3.2, 10.0) == pytest.approx(2.4, abs=0.01)
    lost = 0.77 * 14.5 - et.net_radiation_daily(14.5, 25.1, 19.1, 2.1, 18.8)
    assert lost == pytest.approx(3.5, abs=0.1)


# published: the open library refet, ASCE, on random days
@pytest.mark.parametrize("surface", ["short", "tall"])
def test_daily_et_agrees_with_library(surface: et.Surface) -> None:
    rng = np.random.default_rng(1)
    n = 200
    tmin, day = rng.uniform(-10, 20, n), rng.integers(1, 366, n)
    tmax, wind = tmin + rng.uniform(2, 20, n), rng.uniform(0.5, 8, n)
    ea = air.saturation_pressure(tmin) * rng.uniform(0.5, 1.0, n)
    rs = solar.extraterrestrial_daily(41.0, day) * rng.uniform(0.2, 0.75, n)
    theirs = refet.Daily(
        tmin=tmin,
        tmax=tmax,
        ea=ea,
        rs=rs,
        uz=wind,
        zw=3.0,
        elev=600.0,
        lat=41.0,
        doy=day,
        method="asce",
        rso_type="simple",
    )
    ours = et.reference_et_daily(
        tmax,
        tmin,
        ea,
        rs=rs,
        wind=wind,
        day=day,
        latitude=41.0,
        elevation=600.0,
        wind_height=3.0,
        surface=surface,
    )
    expected = theirs.eto() if surface == "short" else theirs.etr()
    assert ours == pytest.approx(expected, abs=0.02)


# published: output of the program Ref-ET; limits are the targets of the validation
@pytest.mark.skipif(not RECORDS.is_dir(), reason="open data ../shared/data/reference_et not there")
def test_agrees_with_program_output() -> None:
    comparisons = compare_reference_et(RECORDS)
    assert len(comparisons) == 6
    for c in comparisons:
        assert c.rmse <= {"mm/d": 0.05, "mm/h": 0.01}[c.unit], c.name
        assert c.steps > 360
