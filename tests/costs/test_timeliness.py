"""Closed-form timeliness cost.

Formula and meaning of Z: ASABE EP496 as restated in Srivastava et al. 2006, ch. 15. The figures
are worked from the formula.
"""

import pytest

from scheduler.costs.timeliness import least_cost_capacity, timeliness_cost

FARM = {"loss_day": 0.005, "yield_": 4.0, "value": 200.0, "hours_day": 10.0, "working_share": 0.6}


def test_hand_cost_of_starting_at_the_best_date():
    # 0.005 x 400^2 x 4 x 200 / (2 x 10 x 4 x 0.6) = 640000 / 48
    assert timeliness_cost(400, 4, **FARM) == pytest.approx(13333.33, abs=0.01)
    assert timeliness_cost(400, 4, z=4, **FARM) == pytest.approx(6666.67, abs=0.01)


def test_hand_second_combine_halves_it():
    saved = timeliness_cost(400, 4, **FARM) - timeliness_cost(400, 8, **FARM)
    assert saved == pytest.approx(6666.67, abs=0.01)


def test_closed_form_equals_loss_added_hectare_by_hectare():
    days = 400 / (10 * 4 * 0.6)  # A / (G C pwd)
    steps = 4000
    loss = sum(0.005 * days * (i + 0.5) / steps * 4 * 200 * 400 / steps for i in range(steps))
    assert loss == pytest.approx(timeliness_cost(400, 4, **FARM), rel=1e-9)


def test_hand_least_cost_capacity_balances_ownership_with_the_rest():
    c = least_cost_capacity(400, own_share=0.16, price_per_capacity=60000, labour_hour=25, **FARM)
    assert c == pytest.approx(2.5685, abs=5e-5)
    lost = timeliness_cost(400, c, **FARM)
    own = 0.16 * 60000 * c
    assert own == pytest.approx(24657.66, abs=0.01)
    assert own == pytest.approx(25 * 400 / c + lost, rel=1e-9)


@pytest.mark.parametrize(("capacity", "total"), [(2, 50866.67), (3, 49911.11), (4, 54233.33)])
def test_hand_total_cost(capacity, total):
    lost = timeliness_cost(400, capacity, **FARM)
    cost = 0.16 * 60000 * capacity + 25 * 400 / capacity + lost  # owning, labour, timeliness
    assert cost == pytest.approx(total, abs=0.01)


def test_hand_width_in_us_units():
    # 1000 ac, $9000 per ft, 4 mph, 70 %: price per ac/h = 9000 x 8.25 / (4 x 0.7)
    ca = least_cost_capacity(
        1000,
        own_share=0.16,
        price_per_capacity=9000 * 8.25 / (4 * 0.7),
        labour_hour=30,
        loss_day=0.005,
        yield_=60,
        value=6,
        hours_day=10,
        working_share=0.6,
    )
    assert ca == pytest.approx(6.5134, abs=5e-5)
    assert ca * 8.25 / (4 * 0.7) == pytest.approx(19.191, abs=5e-4)
