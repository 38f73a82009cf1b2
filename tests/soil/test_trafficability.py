"""Water limits of the tiers against published criteria, and the strengths at them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from readiness.soil.trafficability import strengths_at_limits, water_limits


def limits(fc, *, sand=0.4, clay=0.2, combine=25.0, cart=30.0, offset=0.0, sat=0.46):
    return water_limits(
        np.array([fc]),
        np.array([sat]),
        sand=np.array([sand]),
        clay=np.array([clay]),
        combine_t=combine,
        cart_t=cart,
        offset=np.array([offset]),
    )


def test_limits_of_the_reference_combine_are_the_published_criterion():
    # published: no work above 95 % of field capacity (Rutledge & McHardy in Baier 1973); the limit
    # of a cart then lies in the published range of caution, 0.90-0.95
    assert limits(0.28).headland_top[0] == pytest.approx(0.95 * 0.28)
    assert 0.90 * 0.28 < limits(0.28).firm_top[0] < 0.95 * 0.28


@given(
    fc=st.floats(0.1, 0.42),
    combine=st.floats(10, 35),
    cart=st.floats(8, 45),
    sand=st.floats(0.05, 0.8),
)
def test_limits_are_ordered(fc, combine, cart, sand):
    loads = limits(fc, sand=sand, clay=(1 - sand) / 3, combine=combine, cart=cart, sat=0.5)
    assert loads.firm_top <= loads.headland_top
    assert loads.firm_below <= loads.headland_below
    heavier = limits(
        fc, sand=sand, clay=(1 - sand) / 3, combine=combine + 5, cart=cart + 5, sat=0.5
    )
    assert heavier.firm_top <= loads.firm_top
    assert heavier.headland_top <= loads.headland_top


def test_the_plastic_limit_bounds_the_limit_of_clay():
    # published: topsoil begins to stick at 28 % by weight with 53 % clay (Mueller et al. 2003)
    clay = limits(0.425, sand=0.20, clay=0.53, sat=0.50)
    assert clay.headland_top[0] < 0.95 * 0.425
    assert clay.headland_top[0] == pytest.approx(0.28 * 1.33, abs=0.012)


def test_limits_of_sand_rest_on_water_at_10_kpa_in_the_top():
    # hand: 0.103 at 33 kPa and 0.050 at 1500 kPa give 0.103 x 3.3^0.19 = 0.129 at 10 kPa
    sand = limits(0.103, sand=0.88, clay=0.05)
    assert sand.headland_top[0] == pytest.approx(0.95 * 0.129, abs=0.002)
    assert sand.headland_below[0] > 0.2


def test_offset_moves_every_limit_and_saturation_caps_it():
    assert limits(0.28, offset=0.02).headland_top[0] == pytest.approx(0.95 * 0.28 + 0.02)
    assert limits(0.45, offset=0.2).headland_top[0] == pytest.approx(0.99 * 0.46)


def test_without_a_cart_the_combine_decides_on_firm_too():
    without = limits(0.28, cart=0.0)
    assert without.firm_top == without.headland_top


def test_strengths_at_limits_show_both_relations():
    # published conflict: on clayey ground the relations differ by two or more at field capacity
    sand, clay, density = np.array([0.4, 0.1]), np.array([0.2, 0.35]), np.array([1.43, 1.30])
    water = water_limits(
        np.array([0.28, 0.38]),
        np.array([0.46, 0.51]),
        sand=sand,
        clay=clay,
        combine_t=25.0,
        cart_t=30.0,
        offset=np.zeros(2),
    )
    rows = strengths_at_limits(
        ["loam", "silty clay loam"],
        water,
        sand=sand,
        clay=clay,
        density=density,
        combine_t=25.0,
        cart_t=30.0,
    )
    assert [(r.texture, r.limit) for r in rows][:2] == [("loam", "firm"), ("loam", "headland-only")]
    for row in rows:
        assert max(row.strength.values()) > row.needed["combine, 1 pass"]
        assert row.needed["combine, 1 pass"] < row.needed["combine, 50 passes"]
    low, high = sorted(rows[2].strength.values())
    assert high / low > 1.5
