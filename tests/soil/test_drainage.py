"""Hooghoudt's equation, its equivalent depth, and the usual spacing of tile."""

import numpy as np
import pytest

from readiness.soil.drainage import (
    DRAINAGE_COEFFICIENT,
    SPACINGS,
    equivalent_depth,
    hooghoudt_terms,
    usual_spacing,
)
from readiness.soil.land import Land
from readiness.soil.properties import saturated_conductivity


def test_flow_to_tile_by_hand():
    # hand: K 10 mm/h, spacing 20 m, tile at 1.0 m, barrier at 3.0 m: D = 2 m, D / L = 0.1,
    # d = 2 / (1 + 0.1 (8/pi ln(2 / 0.005) - 3.4)) = 2 / (1 + 0.1 (15.257 - 3.4)) = 0.9151 m
    assert equivalent_depth(20.0, 2.0) == pytest.approx(0.9151, abs=1e-4)
    linear, square = hooghoudt_terms(np.array([10.0]), np.array([20.0]), np.array([1.0]))
    # q = (8 x 10 x 0.9151 h + 4 x 10 h²) / 400 = 0.18302 h + 0.1 h²
    assert linear[0] == pytest.approx(0.18302, abs=1e-4)
    assert square[0] == pytest.approx(0.1)


def test_the_barrier_counts_less_the_deeper_it_lies():
    # law: d never exceeds the depth below tile, and settles where the barrier is deep
    depth = np.array([0.5, 1.0, 2.0, 5.0, 50.0, 500.0])
    found = equivalent_depth(20.0, depth)
    assert (found <= depth).all()
    assert found[-1] == pytest.approx(found[-2])
    # the two branches meet at D / L = 0.3 within a few percent
    assert equivalent_depth(20.0, 5.999) == pytest.approx(
        float(equivalent_depth(20.0, 6.001)), 0.05
    )


def test_usual_spacings_lie_as_guides_say():
    # published: 25 ft in Fargo clay, about 100 ft in fine sandy loam (University of Minnesota
    # Extension)
    land = Land.of(4, sand=[0.25, 0.10, 0.40, 0.65], clay=[0.50, 0.35, 0.20, 0.10])
    ksat = saturated_conductivity(land.sand, land.clay, land.organic_pct)
    depth = np.full(4, 1.07)
    found = usual_spacing(ksat, depth)
    assert found == pytest.approx(np.sort(found))
    assert found[0] / 0.3048 == pytest.approx(25.0, abs=1.0)
    assert 80.0 < found[3] / 0.3048 <= 101.0
    linear, square = hooghoudt_terms(ksat, found, depth)
    inside = (found > SPACINGS[0]) & (found < SPACINGS[1])
    rate = linear * 0.57 + square * 0.57**2
    assert rate[inside] == pytest.approx(DRAINAGE_COEFFICIENT, rel=0.01)
