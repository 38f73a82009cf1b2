"""The plan's money by cause: what each cause takes, and that the causes sum to the loss."""

from dataclasses import replace

import numpy as np
import pytest
import small_farm

from scheduler.explanation.money import loss_by_part
from scheduler.planning.dispatch_rules import NEAREST_FIRST, rule_policy


def parts(the_farm, the_season, start=40.0):
    """Loss by part of a rule of thumb, and its loss."""
    work = small_farm.compiled(the_farm, the_season)
    policy = rule_policy(work, NEAREST_FIRST, start)
    decision = small_farm.decided(work, policy)
    found = dict(loss_by_part(decision, the_season))
    assert sum(found.values()) == pytest.approx(decision.outcome.loss.mean(), rel=1e-9)
    return found


def test_at_base_moisture_only_standing_costs():
    found = parts(small_farm.farm(), small_farm.season(3, members=2))
    assert found["yield"] > 0.0
    for cause in ("test_weight", "sprouted_before", "sprouting", "moisture", "over_dry", "ruts"):
        assert found[cause] == pytest.approx(0.0, abs=1e-9)
    # what is lost standing needs no haul
    assert abs(found["other"]) < 0.02 * found["yield"] + 1.0
    assert found["uncut"] == pytest.approx(0.0, abs=1e-9)


def test_each_cause_takes_what_it_costs():
    market = small_farm.farm().points[0].markets["wheat_hard"]
    dear = replace(market, drying_t_point=4.0)
    point = replace(small_farm.farm().points[0], markets={"wheat_hard": dear})
    the_farm = small_farm.farm(points=(point,))
    wet = small_farm.season(3, moisture=15.5)
    found = parts(the_farm, wet)
    # hand: 10 x 4 + 40 x 4 + 25 x 6 t at base; two points cost 8 a tonne as cut, and shrink is the
    # water; a little less for what is lost standing
    tonnes = (10 * 4 + 40 * 4 + 25 * 6) * (100 - 13.5) / (100 - 15.5)
    assert found["moisture"] == pytest.approx(8.0 * tonnes, rel=0.02)
    sprouted = replace(wet, sprout=np.full_like(wet.sprout, 0.05))
    steps = replace(dear, sprout_discount=replace(dear.sprout_discount, steps=((0.01, 30.0),)))
    poor = replace(the_farm, points=(replace(point, markets={"wheat_hard": steps}),))
    before = parts(poor, sprouted)
    assert before["sprouted_before"] == pytest.approx(30.0 * 350.0, rel=0.02)
    assert before["sprouting"] == pytest.approx(0.0, abs=1e-9)


def test_what_nobody_cuts_is_a_cause_of_its_own():
    found = parts(small_farm.farm(), small_farm.season(3, moisture=30.0), start=16.0)
    assert found["uncut"] > 0.0
    assert sum(abs(v) for k, v in found.items() if k != "uncut") == pytest.approx(0.0, abs=1e-6)
