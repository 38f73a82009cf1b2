"""Units against NIST SP 811 (2008), appendix B.8, and against trade facts."""

import math

import pytest

from readiness.grain.crops import CROPS
from scheduler.farm import units as u

GALLON_L = 3.785411784  # published: NIST SP 811 (U.S. gallon, 3.785412 E-03 m3)


# published: NIST SP 811, B.8, to the digits printed there
@pytest.mark.parametrize(
    ("value", "printed", "digits"),
    [
        (u.BUSHEL_M3, 3.523907e-2, 7),  # bushel (U.S.) to cubic metre
        (u.LB_KG, 4.535924e-1, 7),  # pound (avoirdupois) to kilogram
        (u.MILE_KM, 1.609344, 7),  # mile to kilometre
        (u.INCH_MM, 25.4, 7),  # inch to millimetre
        (u.FOOT_M, 3.048e-1, 7),  # foot to metre
        (u.SHORT_TON_T * 1000, 9.071847e2, 7),  # ton, short, to kilogram
        (u.SI_PER_UNIT["wind"]["mph"], 4.4704e-1, 7),  # mile per hour to metre per second
        # acre (based on U.S. survey foot) 4.046873 E+03 m2; the international acre, in use since
        # 2023, is less by 4 parts in a million
        (u.ACRE_HA * 1e4, 4.046873e3, 5),
        # pound per (U.S.) bushel: 0.45359237 kg / 35.23907 L
        (u.LB_BU_KG_HL, 1.2872, 5),
    ],
)
def test_factors(value, printed, digits):
    assert float(f"{value:.{digits}g}") == pytest.approx(
        float(f"{printed:.{digits}g}"), rel=10.0 ** (1 - digits)
    )


def test_wheat_yield():
    # hand: 60 lb x 0.45359237 kg / 0.40468564 ha = 67.25 kg/ha
    assert u.si_per_unit("yield", "bu_ac", "wheat_hard") == pytest.approx(0.06725, abs=5e-6)
    # hand: 56 lb x 0.45359237 / 0.40468564 = 62.77 kg/ha (extension tables print the same; memory)
    assert u.si_per_unit("yield", "bu_ac", "corn") * 1000 == pytest.approx(62.77, abs=0.005)


def test_test_weight():
    # published second hand (FGIS, memory): 60 lb/bu wheat is 78.94 kg/hL, 58 is 76.36
    assert u.kg_hl(60, "wheat_hard") == pytest.approx(78.94, abs=0.005)
    assert u.kg_hl(58, "wheat_soft") == pytest.approx(76.36, abs=0.005)
    assert u.kg_hl(60, "wheat_durum") == pytest.approx(78.15, abs=0.005)
    assert u.kg_hl(48, "barley") == pytest.approx(61.78, abs=0.005)


@pytest.mark.parametrize("quantity", sorted(u.DEFAULT_UNITS))
@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize("crop", ["wheat_hard", "barley", None])
def test_there_and_back(quantity, units, crop):
    unit = u.DEFAULT_UNITS[quantity][units == "metric"]
    si = 7.3 * u.si_per_unit(quantity, unit, crop)
    assert u.from_si(si, quantity, units, crop) == pytest.approx(7.3)


def test_metric_units_are_si_but_wind_and_unloading():
    for quantity, (_, metric) in u.DEFAULT_UNITS.items():
        if quantity not in ("wind", "unloading"):
            assert u.si_per_unit(quantity, metric, "barley") == 1.0
    assert u.si_per_unit("wind", "km_h") == pytest.approx(1 / 3.6)


@pytest.mark.parametrize(
    ("shown", "text"),
    [
        (u.show_area(64.75, "us"), "160 ac"),
        (u.show_area(64.75, "metric"), "64.8 ha"),
        (u.show_area(8.0, "us"), "19.8 ac"),
        (u.show_area(1619.0, "us"), "4,001 ac"),
        (u.show_depth(10.7, "us"), "0.42 in"),
        (u.show_depth(10.7, "metric"), "10.7 mm"),
        (u.show_depth(math.nan, "us"), "unknown"),
        (u.show_temp(22.2, "us"), "72 °F"),
        (u.show_temp(-0.2, "metric"), "0 °C"),
        (u.show_distance(20.0, "us"), "12.4 mi"),
        (u.show_distance(20.0, "metric"), "20.0 km"),
        (u.show_mass(261.27, "wheat_hard", "us"), "9,600 bu"),
        (u.show_mass(261.27, "barley", "us"), "12,000 bu"),
        (u.show_mass(261.27, "barley", "metric"), "261 t"),
        (u.show_rate(8.6, "us"), "21.3 ac/h"),
        (u.show_test_weight(76.36, "wheat_soft", "us"), "58.0 lb/bu"),
        (u.show_test_weight(76.36, "wheat_soft", "metric"), "76.4 kg/hL"),
        (u.show_wind(5.36, "us"), "12 mph"),
        (u.show_wind(5.36, "metric"), "19 km/h"),
        (u.show_price(259.04, "wheat_hard", "us", "$"), "$7.05/bu"),
        (u.show_price(259.04, "wheat_hard", "metric", "EUR"), "EUR 259.04/t"),
        (u.show_money(12340.4, "$"), "$12,340"),
        (u.show_money(-120.0, "$"), "-$120"),
        (u.show_money(-0.4, "$"), "$0"),
        (u.show_money(math.nan, "$"), "unknown"),
    ],
)
def test_shown(shown, text):
    assert shown == text


@pytest.mark.parametrize(
    ("name", "normalized"),
    [
        ("Area (ac)", "area_ac"),
        ("  Expected  Yield ", "expected_yield"),
        ("Sample %", "sample_pct"),
        ("tank m³", "tank_m3"),
        ("SPEED_km/h", "speed_km_h"),
    ],
)
def test_normalized_name(name, normalized):
    assert u.normalized_name(name) == normalized


# Trade facts: common practice, no source.
def test_bushel_of_wheat_is_sixty_pounds():
    assert all(CROPS[c].lb_per_bu == u.WHEAT_LB == 60 for c in CROPS if c.startswith("wheat"))


def test_full_400_bushel_tank_of_wheat_holds_24000_pounds():
    assert 400 * u.bushel_t("wheat_hard") / (u.LB_KG / 1000) == pytest.approx(24_000)
    # and by its volume at the crop's test weight, within 3 %
    tonnes = (
        400
        * u.si_per_unit("volume", u.DEFAULT_UNITS["volume"][0])
        * CROPS["wheat_hard"].test_weight
        / 100
    )
    assert tonnes / (u.LB_KG / 1000) == pytest.approx(24_000, rel=0.03)


def test_bushel_is_about_a_million_kernels():
    # published (University of Kentucky): 20 kernels per square foot are about 1 bu/ac
    by_count = 20 * 43_560
    # hand: a kernel of 31 mg (the same count by the pound: 14,520 to the pound)
    by_weight = u.bushel_t("wheat_hard") * 1e9 / 31
    assert by_count == pytest.approx(1e6, rel=0.15)
    assert by_weight == pytest.approx(by_count, rel=0.02)


def test_bushel_is_about_two_five_gallon_buckets():
    assert pytest.approx(2 * 5 * GALLON_L, rel=0.08) == u.BUSHEL_M3 * 1000


def test_hundred_pounds_of_seed_return_three_thousand():
    # 3,000 lb/ac is 50 bu/ac, thirtyfold
    back = 3000 / 60 * u.si_per_unit("yield", "bu_ac", "wheat_hard")
    seed = 100 * u.LB_KG / 1000 / u.ACRE_HA
    assert back / seed == pytest.approx(30)
