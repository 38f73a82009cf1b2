"""Grain on carts and trucks keeps the haul of the field that it comes from."""

from dataclasses import replace

import numpy as np
from small_tables import one_crew_work

from scheduler.field_work.play import play
from scheduler.field_work.policy import ranked_lists


def test_a_near_field_does_not_shorten_the_haul_from_a_far_one():
    # hand: at 10 t/h the crew fills its 10 t with the far field's grain in slots 0 and 1, and cuts
    # 1 t of the near field in slot 2; the point opens in slot 3. The far grain takes 10 t / (5 t/h)
    # = 2 h to haul, the near grain 1 t / (100 t/h) = 0.01 h. After 1.5 h (slots 3 to 5)
    # 11 t * (1 - 1.5 / 2.01) = 2.791 t are on board.
    tables = one_crew_work(jobs=2, slots=6)
    tables = replace(
        tables,
        area=np.array([10.0, 1.0]),
        yield_t=np.ones(2),
        cut_rate=np.full((1, 1, 2), 20.0),
        haul_rate=np.array([5.0, 100.0]).reshape(1, 1, 2, 1),
        buffer=np.full((1, 2), 11.0),
        point_open=np.array([[False, False, False, True, True, True]]),
    )
    state = play(tables, ranked_lists(((0, 1),), 2, start=20.0)).state
    assert state.left[0].tolist() == [0.0, 0.0]
    np.testing.assert_allclose(state.held.sum(), 11.0 * (1.0 - 1.5 / 2.01), rtol=1e-12)
