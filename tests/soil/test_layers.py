"""Layers of the soil profile and the zones that bear machines."""

import numpy as np
import pytest

from readiness.soil import layers


# hand: layers end at 5, 15, 30, 60 and 100 cm; their middles lie 7.5, 12.5, 22.5 and 35 cm apart
def test_everything_about_layers_follows_from_their_table() -> None:
    assert layers.BOTTOMS_MM == (50.0, 150.0, 300.0, 600.0, 1000.0)
    assert pytest.approx((1.0, 7.5 / 12.5, 7.5 / 22.5, 7.5 / 35.0)) == layers.NEARNESS
    assert pytest.approx(0.5) == layers.SECOND_PART  # 5 of 10 cm lie above 10 cm
    assert sum(layers.ROOT_SHARES) == pytest.approx(1.0)


# hand: the wetter of the first two layers, 0-5 and 5-15 cm, and the third, 15-30 cm
def test_water_of_the_zones_that_bear_machines() -> None:
    assert layers.BOTTOMS_MM[1] == 150.0
    theta = np.array([[0.3, 0.2], [0.24, 0.2], [0.1, 0.4], [0.0, 0.0], [0.0, 0.0]])
    top, below = layers.bearing_water(theta)
    assert top == pytest.approx([0.3, 0.2])
    assert list(below) == [0.1, 0.4]
