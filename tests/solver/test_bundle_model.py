"""The cutting-plane model bounds the bound from above; its weights solve the quadratic program."""

import numpy as np
import pytest
from farms import farm_tables
from scipy.optimize import minimize

from scheduler.solver.annealing import search
from scheduler.solver.bundle_model import NO_PATH
from scheduler.solver.common_order.common_walk import KNOTS, Walks
from scheduler.solver.evaluation import evaluate
from scheduler.solver.lagrangian_bound import bound_members


def climbing(seed=5, members=4, turns=3):
    """A farm's paths, their model and the multipliers after some iterations."""
    tables = farm_tables(10, 2, members=members, seed=seed)
    plan = evaluate(tables, search(tables, tables.prefixes, moves=3000))
    bounds = bound_members(tables, plan, iterations=30)
    walks = Walks(tables, plan, np.arange(members), tables.weight)
    prize = tables.weight @ bounds.multiplier
    prices = np.repeat((prize - bounds.multiplier)[:, None, None, :], tables.shape[1], axis=1)
    prices = np.repeat(prices, KNOTS, axis=2)
    model = walks.model(prize)
    values = []
    for _ in range(turns):
        values.append(walks.walks(prize, prices))
        model.add(walks.met, prize, prices)
        prize, prices = model.step(values[-1], prize, prices)
    return tables, walks, model, prize, prices, values


@pytest.mark.parametrize("seed", range(5, 11))
def test_the_model_is_never_below_the_bound(seed):
    tables, walks, model, prize, prices, _ = climbing(seed)
    rng = np.random.default_rng(seed)
    for size in (0.0, 0.01, 0.1):
        other = prize * (1.0 + size * rng.normal(size=prize.size))
        ways = size * prize.mean() * rng.normal(size=prices.shape)
        ways -= np.einsum("m,mkbj->kbj", tables.weight, ways)
        promised = model.model_value(other, prices + ways)
        assert walks.walks(other, prices + ways) <= promised + 1e-6 * abs(promised)
        # at multipliers whose paths are in the bundle the model is exact
        model.add(walks.met, other, prices + ways)
        promised = model.model_value(other, prices + ways)
        assert walks.walks(other, prices + ways) == pytest.approx(promised, rel=1e-9)


def test_place_multipliers_sum_to_zero_over_members():
    tables, _, _, _, prices, _ = climbing(turns=6)
    total = np.einsum("m,mkbj->kbj", tables.weight, prices)
    assert np.abs(total).max() < 1e-9 * np.abs(prices).max()


def test_the_bound_rises_within_few_iterations():
    *_, values = climbing(turns=8, members=6)
    assert max(values[4:]) > values[0]
    assert max(values) == max(values[2:])


def test_weights_are_as_good_as_those_of_a_general_solver():
    # the same quadratic program at fixed multipliers, by SciPy's SLSQP
    tables, walks, model, prize, prices, _ = climbing(members=3, turns=2)
    model.scaling = np.linspace(0.5, 1.5, prize.size)
    for _ in range(40):
        model.solve_weights(prize, prices, np.full(prize.size, -1))
    kept = [tuple(x) for x in np.argwhere(model.bundle.cost < NO_PATH)]
    visits = np.zeros((len(kept), *prices.shape[1:]))
    for x, (m, k, b) in enumerate(kept):
        for j, w in zip(model.bundle.job[m, k, b], model.bundle.level[m, k, b], strict=True):
            if j < 0:
                break
            visits[x, k, :, j] += walks.share[:, w]
    member = np.array([m for m, _, _ in kept])
    paid = (visits * (prize - prices[member])).sum(axis=(1, 2, 3))
    worth = np.array([model.bundle.cost[x] for x in kept]) - paid
    weight = tables.weight[member]
    crews = sorted({x[:2] for x in kept})
    own = np.array([[x[:2] == crew for x in kept] for crew in crews], float)
    flat = visits.reshape(len(kept), -1)
    size_of = np.tile(model.scaling, prices.shape[1] * prices.shape[2])

    def apart(shares):
        seen = np.array([shares[member == m] @ flat[member == m] for m in range(3)])
        return seen - tables.weight @ seen

    def goal(shares):
        far = (size_of * apart(shares) ** 2).sum(axis=1)
        return shares @ (weight * worth) + model.step_size / 2 * tables.weight @ far

    def slope(shares):
        return weight * (
            worth + model.step_size * (size_of * apart(shares)[member] * flat).sum(axis=1)
        )

    ours = np.array([model.bundle.weight[x] for x in kept])
    assert (ours >= 0).all()
    assert own @ ours == pytest.approx(np.ones(len(own)))
    even = own.T @ (1.0 / own.sum(axis=1))
    size = abs(goal(even))
    best = (
        size
        * minimize(
            lambda x: goal(x) / size,
            even,
            jac=lambda x: slope(x) / size,
            method="SLSQP",
            bounds=[(0, 1)] * len(kept),
            options={"maxiter": 300, "ftol": 1e-10},
            constraints={"type": "eq", "fun": lambda x: own @ x - 1.0, "jac": lambda x: own},
        ).fun
    )
    assert goal(ours) - best < 0.01 * (goal(even) - best)
