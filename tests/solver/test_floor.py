"""The floor is the value of its linear program, and below the loss of every policy."""

from dataclasses import replace

import numpy as np
import pytest
from ortools.linear_solver import pywraplp
from work_tables import one_crew_work, random_work, slots_to_open

from scheduler.field_work.play import play
from scheduler.field_work.policy import ranked_lists
from scheduler.solver.crew_path_pricing import Prices, best_paths, crew_network, crew_weather
from scheduler.solver.floor import floor


def tight_floor(tables):
    """Floor with the smallest gap that the linear solver's tolerance allows."""
    return floor(tables, gap=1e-9, iterations=400)


def short_days(tables):
    """The same work in slots of 6 min instead of 30, five times as fast, from 9:00 to 17:00."""
    hour = np.arange(tables.shape[4]) % 48 / 2.0
    return replace(
        tables,
        slot_min=6.0,
        move=tables.move / 5.0,
        cut_rate=5.0 * tables.cut_rate,
        haul_rate=5.0 * tables.haul_rate,
        works=tables.works & (hour >= 9.0) & (hour < 17.0),
    )


def random_policies(tables, count, rng):
    """Random ranked lists with random start moistures, patience and leave."""
    crews, jobs = tables.shape[1:3]
    for _ in range(count):
        order = rng.permutation(jobs)
        policy = ranked_lists(
            tuple(tuple(order[k::crews].tolist()) for k in range(crews)),
            jobs,
            start=rng.uniform(14.5, 20.0, jobs),
            patience=rng.choice([0.0, 60.0, 500.0]),
            leave=rng.choice([0.0, 20.0, 500.0]),
        )
        yield replace(policy, stop_margin=rng.uniform(0.0, 2.0))


class ArcFlow:
    """The floor's linear program on all arcs of the minutes, solved at once.

    A crew is a unit flow over (minute, place). In each slot it cuts at most its rate times the flow
    that stays at a place. Truck limits hold in every window of work slots.
    """

    def __init__(self, tables, m):
        self.tables, self.m = tables, m
        self.solver = pywraplp.Solver.CreateSolver("GLOP")
        self.cut = [[] for _ in tables.area]
        self.into = [[] for _ in tables.room]
        self.cost = []
        for k in range(tables.shape[1]):
            self.add_crew(k)
        leave = tables.leave_cost / tables.area
        for j, area in enumerate(tables.area):
            left = self.solver.NumVar(0.0, area, "")
            self.solver.Add(sum(self.cut[j]) + left == area)
            self.cost.append(leave[j] * left)
        for q in np.flatnonzero(np.isfinite(tables.room)):
            self.solver.Add(self.solver.Sum(self.into[q]) <= float(tables.room[q]))

    def add_crew(self, k):
        t = self.tables
        jobs, steps = t.area.size, int(t.slot_min)
        minutes = [(s, bool(t.road[s])) for s in np.flatnonzero(t.works[k]) for _ in range(steps)]
        road = [n for n, (_, can) in enumerate(minutes) if can]
        inflow = {(0, jobs): [1.0]}
        outflow = {}
        stays = {}
        for n in range(len(minutes) + 1):
            after = [r for r in road if r >= n]
            for i in range(jobs + 1):
                if n < len(minutes):
                    x = self.solver.NumVar(0.0, 1.0, "")
                    stays.setdefault((minutes[n][0], i), []).append(x)
                    outflow.setdefault((n, i), []).append(x)
                    inflow.setdefault((n + 1, i), []).append(x)
                for j in range(jobs):
                    whole = int(np.floor(t.move[k, i, j] + 1e-9))
                    if j != i and 0 < whole <= len(after):
                        x = self.solver.NumVar(0.0, 1.0, "")
                        outflow.setdefault((n, i), []).append(x)
                        inflow.setdefault((after[whole - 1] + 1, j), []).append(x)
        for node, flows in outflow.items():
            self.solver.Add(sum(flows) <= sum(inflow.get(node, [0.0])))
        self.add_cutting(k, stays)

    def add_cutting(self, k, stays):
        t, m = self.tables, self.m
        use = {}
        for (s, i), flows in stays.items():
            if i == t.area.size or not np.isfinite(t.wet[m, s, i]):
                continue
            up = t.machines[k, s]
            rate = t.cut_rate[k, up, i] * (t.edge_factor if t.edge[m, s, i] else 1.0)
            parts = []
            for q in range(t.room.size):
                if t.accepts[k, i, q] and np.isfinite(t.loss[m, s, i, q]):
                    x = self.solver.NumVar(0.0, self.solver.infinity(), "")
                    parts.append(x)
                    self.cut[i].append(x)
                    tonnes = float(t.yield_t[i]) * x
                    self.into[q].append(float(t.room_factor[i]) * tonnes)
                    self.cost.append(float(t.loss[m, s, i, q]) * x)
                    slots = tonnes * (60.0 / t.slot_min / float(t.haul_rate[k, up, i, q]))
                    use.setdefault((s, q), []).append(slots)
            if parts:
                self.solver.Add(sum(parts) <= float(rate / t.yield_t[i] / 60.0) * sum(flows))
        self.add_windows(k, use)

    def add_windows(self, k, use):
        t = self.tables
        worked = np.flatnonzero(t.works[k])
        slow = np.zeros(t.room.size)
        for j, q in zip(*np.nonzero(t.accepts[k]), strict=True):
            ups = np.unique(t.machines[k, worked])
            slow[q] = max(slow[q], *(60.0 / t.slot_min / t.haul_rate[k, u, j, q] for u in ups))
        taken = t.accepts[k].any(axis=0)
        for points in [*([q] for q in range(t.room.size)), list(range(t.room.size))]:
            opens = (t.point_open[points] & taken[points, None]).any(axis=0)
            full = slow[points].max() * t.buffer[k].max()
            total = [
                self.solver.NumVar(0.0, self.solver.infinity(), "") for _ in range(worked.size)
            ]
            for n, s in enumerate(worked):
                before = total[n - 1] if n else 0.0
                now = [x for q in points for x in use.get((s, q), [])]
                self.solver.Add(total[n] == before + sum(now))
                for first in range(n + 1):
                    limit = float(opens[worked[first] : s + 1].sum() + full)
                    if np.isfinite(limit):
                        self.solver.Add(total[n] - (total[first - 1] if first else 0.0) <= limit)

    def value(self):
        self.solver.Minimize(sum(self.cost))
        assert self.solver.Solve() == pywraplp.Solver.OPTIMAL
        return self.solver.Objective().Value()


@pytest.mark.parametrize("seed", range(4))
def test_floor_is_the_value_of_the_linear_program_on_all_arcs(seed):
    tables = short_days(random_work(3, 1 + seed % 2, days=2, seed=seed, points=1 + seed % 3))
    found = tight_floor(tables)
    np.testing.assert_allclose(found.bound, ArcFlow(tables, 0).value(), rtol=1e-6)
    np.testing.assert_allclose(found.restricted, found.bound, rtol=1e-6)


def test_a_crew_may_split_by_hand():
    # hand: 60 min in a day, 2 ha/h, two fields of 1 ha with a move of 15 min between them; the crew
    # stands in the first. Half of it stays and cuts 1 ha there, half moves and cuts 0.75 ha. Cut:
    # 1.75 ha at 1 each; left: 0.25 ha at 10 each.
    tables = one_crew_work(jobs=2, slots=2)
    move = np.array([[0.0, 15.0], [15.0, 0.0], [0.0, 15.0]])[None]
    tables = replace(tables, cut_rate=2.0 * tables.cut_rate, move=move)
    np.testing.assert_allclose(tight_floor(tables).bound, [1.75 + 2.5], rtol=1e-9)


def test_trucks_limit_what_is_cut_after_a_point_closes_by_hand():
    # hand: 4 h at 1 t/h, the point is open in the first hour, carts hold 1.5 t, trucks haul 2 t/h:
    # 1 t is hauled and 1.5 t stay on board. Of 4 ha with 1 t each, 2.5 are cut at 1, 1.5 left
    # at 10.
    tables = one_crew_work()
    opens = np.arange(8)[None] < 2
    tables = replace(
        tables,
        area=np.full(1, 4.0),
        leave_cost=np.full(1, 40.0),
        haul_rate=np.full((1, 1, 1, 1), 2.0),
        buffer=np.full((1, 1), 1.5),
        point_open=opens,
        slots_to_open=slots_to_open(opens),
    )
    np.testing.assert_allclose(tight_floor(tables).bound, [2.5 + 15.0], rtol=1e-9)
    np.testing.assert_allclose(play(tables, ranked_lists(((0,),), 1, start=20.0)).loss, [17.5])


@pytest.mark.parametrize("seed", range(5))
def test_one_field_one_crew_without_limits_meets_the_best_start_moisture(seed):
    # loss rises with moisture, and the field takes a whole number of slots: the best that anyone
    # can do is to cut in the driest slots, which a start moisture says
    rng = np.random.default_rng(seed)
    wet = rng.uniform(12.0, 20.0, (1, 40, 1)).astype(np.float32)
    tables = one_crew_work(slots=40, loss=(wet.astype(np.float64) - 10.0)[..., None])
    area = np.full(1, rng.integers(2, 30) / 2.0)
    tables = replace(
        tables, wet=wet, area=area, leave_cost=area * 50.0, day=np.repeat(np.arange(4), 10)
    )
    levels = np.unique(wet)
    best = min(play(tables, ranked_lists(((0,),), 1, start=level)).loss[0] for level in levels)
    np.testing.assert_allclose(tight_floor(tables).bound, [best], rtol=1e-6)


def farms_and_policies(seeds, policies):
    """Loss of random policies less the floor, as a share of what stands, over random farms."""
    for seed in seeds:
        rng = np.random.default_rng(seed)
        jobs, crews, points = (int(rng.integers(*span)) for span in ((3, 10), (1, 4), (1, 4)))
        tables = random_work(
            jobs,
            crews,
            members=2,
            days=int(rng.integers(2, 6)),
            points=points,
            seed=seed,
            load=rng.uniform(0.4, 1.0),
        )
        bound = floor(tables).bound
        for policy in random_policies(tables, policies, rng):
            yield (play(tables, policy).loss - bound) / tables.leave_cost.sum()


def test_no_random_policy_loses_less():
    assert min(gain.min() for gain in farms_and_policies(range(8), 25)) >= -1e-9


@pytest.mark.slow
def test_no_random_policy_of_ten_thousand_loses_less():
    gains = np.array(list(farms_and_policies(range(1000, 1100), 50)))
    assert gains.size == 10_000
    assert gains.min() >= -1e-9


@pytest.fixture(scope="module")
def base():
    """A farm whose hours are short, and its floor."""
    tables = random_work(8, 2, days=5, seed=4, load=0.9)
    return tables, tight_floor(tables).bound[0]


def test_more_rain_never_lowers_the_floor(base):
    tables, bound = base
    rng = np.random.default_rng(0)
    for share in (0.05, 0.2, 0.6):
        rain = rng.random(tables.wet.shape) < share
        wetter = replace(tables, wet=np.where(rain, np.float32(np.inf), tables.wet))
        assert tight_floor(wetter).bound[0] >= bound * (1.0 - 1e-7)


@pytest.mark.parametrize("share", [0.9, 0.5, 0.0])
def test_a_combine_lost_never_lowers_the_floor(base, share):
    tables, bound = base
    rate = tables.cut_rate.copy()
    rate[0] *= share
    worse = tight_floor(replace(tables, cut_rate=rate)).bound[0]
    assert worse >= bound * (1.0 - 1e-7)
    assert worse > 1.01 * bound or share > 0.0


def test_a_nearer_closing_hour_never_lowers_the_floor(base):
    tables, bound = base
    hour = np.arange(tables.shape[4]) % 48 / 2.0
    for closing in (18.0, 15.0, 12.0):
        opens = tables.point_open & (hour < closing)
        earlier = replace(tables, point_open=opens, slots_to_open=slots_to_open(opens))
        now = tight_floor(earlier).bound[0]
        assert now >= bound * (1.0 - 1e-7)
        bound = now


def test_longer_moves_never_lower_the_floor(base):
    tables, bound = base
    for factor in (1.5, 3.0):
        now = tight_floor(replace(tables, move=factor * tables.move)).bound[0]
        assert now >= bound * (1.0 - 1e-7)
        bound = now


def test_floor_repeats_and_takes_members():
    tables = random_work(6, 2, members=5, days=4, seed=9)
    whole, again = floor(tables), floor(tables)
    assert whole.bound.tolist() == again.bound.tolist()
    some = floor(tables, members=[3, 1])
    np.testing.assert_allclose(some.bound, whole.bound[[3, 1]], rtol=2e-3)
    assert (whole.bound <= whole.restricted).all()
    assert (whole.bound >= 0.998 * whole.restricted).all()


def test_no_work_no_crew_time_leaves_everything():
    tables = random_work(4, 2, days=2, seed=1)
    idle = replace(tables, works=np.zeros_like(tables.works))
    np.testing.assert_allclose(tight_floor(idle).bound, tables.leave_cost.sum(), rtol=1e-9)


@pytest.mark.parametrize("seed", range(6))
def test_days_of_the_best_path_add_up_to_its_gain(seed):
    tables = random_work(7, 2, days=4, seed=seed)
    rng = np.random.default_rng(seed)
    network = crew_network(tables, 1)
    weather = crew_weather(tables, network, 1, 0)
    room = rng.random(3)  # per ha, the same for all jobs
    prices = Prices(
        area=tables.leave_cost / tables.area * rng.random(7),
        room=np.tile(room, (7, 1)),
        truck=rng.random((network.slot.size, 3)),
    )
    nowhere = np.zeros((0, 2), np.int64)
    paths = best_paths(network, weather, prices, np.ones(7), nowhere)
    assert paths.day.tolist() == [0, 1, 2, 3]
    assert paths.begin[1:].tolist() == paths.end[:-1].tolist()
    hauling = sum(
        (paths.hauling[d, : stop - start] * prices.truck[start:stop]).sum()
        for d, (start, stop) in enumerate(
            zip(network.day_start, network.day_start[1:], strict=False)
        )
    )
    earned = (paths.cut @ prices.area).sum() - paths.cost.sum() - hauling
    np.testing.assert_allclose(earned - (paths.room @ room).sum(), paths.gain, rtol=1e-9)
    assert paths.gain > 0.0
