"""Benchmark of the solver.

python tests/bench_solver.py FOLDER [part ...]: parts are published, farms, large, members, side,
growth. Prints cost, bound, gap, wall and CPU seconds; the first line says how many cores. `growth`
writes growth.png into FOLDER.

python tests/bench_solver.py --settings [name ...]: doubles and halves each number of `Settings`,
or those named, and prints the change of cost, gap and CPU time over generated tables.
"""

from __future__ import annotations

import dataclasses
import os
import sys
import time
from functools import cache
from pathlib import Path

import numpy as np
from benchmark_log import record
from farms import farm_tables, tardiness_tables, wt40
from ortools.sat.python import cp_model
from places import DATA

from scheduler.solver.check import check
from scheduler.solver.evaluation import evaluate
from scheduler.solver.lagrangian_bound import bound_members
from scheduler.solver.settings import DEFAULTS
from scheduler.solver.solve import solve
from scheduler.solver.tables import CAUTIOUS, MEAN

RECORDS = DATA / "weighted_tardiness"
SEEDS = (11, 12, 13)


def timed(run):
    """Result of `run`, wall seconds and CPU seconds."""
    wall, cpu = time.perf_counter(), time.process_time()
    out = run()
    return out, time.perf_counter() - wall, time.process_time() - cpu


def report(name, plan, wall, cpu, target=None):
    aim = "" if target is None else f"  (aim {100 * target:.0f} %)"
    gap = "none" if plan.gap is None else f"{100 * plan.gap:.2f} %"
    print(
        f"{name:32s} cost {plan.cost:14.0f}  bound {plan.bound or 0:14.0f}  gap {gap}{aim}"
        f"  wall {wall:.1f} s  cpu {cpu:.1f} s  {plan.status}",
        flush=True,
    )
    figures = {"cost": plan.cost, "gap": plan.gap, "wall_s": wall, "cpu_s": cpu}
    record(f"solver, {name}", figures)


def published():
    """All 125 instances of wt40 against the published optima."""
    numbers, best = wt40(RECORDS)
    missed, walls, cpus, proved = [], [], [], 0
    for i in range(len(best)):
        plan, wall, cpu = timed(lambda i=i: solve(tardiness_tables(*numbers[i]), effort=0.25))
        walls.append(wall)
        cpus.append(cpu)
        proved += plan.status == "optimal"
        if plan.cost != best[i]:
            missed.append((i + 1, plan.cost, int(best[i])))
    print(
        f"wt40: {len(best) - len(missed)} of {len(best)} at the published optimum, {proved} proved;"
        f" wall mean {np.mean(walls):.2f} s, most {max(walls):.2f} s;"
        f" cpu mean {np.mean(cpus):.2f} s; missed {missed}",
        flush=True,
    )
    figures = {"missed": len(missed), "proved": int(proved), "cpu_mean_s": float(np.mean(cpus))}
    record("solver, published", figures)


def farms(sizes=((30, 3, 0.01), (60, 4, 0.01), (60, 6, 0.02), (100, 8, 0.02)), **options):
    """Generated farms with one member, against the gap aimed at."""
    for fields, crews, aim in sizes:
        for seed in SEEDS:
            tables = farm_tables(fields, crews, seed=seed)
            plan, wall, cpu = timed(lambda tables=tables: solve(tables, **options))
            assert not check(tables, plan)
            report(f"{fields} x {crews}, seed {seed}", plan, wall, cpu, aim)


def large():
    """A farm of 300 fields and 15 crews."""
    farms(((300, 15, 0.05),))


def members():
    """31 members, against the bound over one order for all of them."""
    for effort in (1.0, 3.0):
        for seed in SEEDS:
            tables = farm_tables(40, 3, members=31, seed=seed)
            plan, wall, cpu = timed(lambda t=tables, e=effort: solve(t, effort=e))
            report(f"40 x 3, 31 members, seed {seed}, effort {effort:.0f}", plan, wall, cpu, 0.02)


def time_indexed(tables, limit):
    """The time-indexed model alone in CP-SAT: one start per job, one job per crew and slot.

    The smallest move into a job is folded into its length, so it bounds and gives no plan.
    """
    model = cp_model.CpModel()
    _, crews, jobs, slots = tables.shape
    load = [[[] for _ in range(slots + 1)] for _ in range(crews)]
    money = []
    for j in range(jobs):
        mine = [model.new_bool_var("")]
        money.append(int(tables.leave_cost[j]) * mine[0])
        for k in range(crews):
            near = int(np.delete(tables.move[k, :, j], j).min())
            ends = tables.finish[0, k, j]
            for s in np.flatnonzero(ends >= 0):
                if s + 1 < slots and ends[s + 1] == ends[s] and s + 1 - near > 0:
                    continue  # the same stay, begun later
                x = model.new_bool_var("")
                mine.append(x)
                money.append(int(tables.cost[0, k, j, s]) * x)
                for t in range(max(0, s - near), ends[s]):
                    load[k][t].append(x)
        model.add_exactly_one(mine)
    for k in range(crews):
        for t in range(slots):
            if load[k][t]:
                model.add_at_most_one(load[k][t])
    model.minimize(sum(money))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = limit
    solver.parameters.num_workers = 2
    solver.solve(model)
    return solver.best_objective_bound


def circuit(tables, wall):
    """One member's tables as a circuit over crews and jobs in CP-SAT: orders or None, and bound."""
    _, crews, jobs, _ = tables.shape
    model = cp_model.CpModel()
    visits, left, costs = _visits(model, tables)
    follows = _circuit(model, tables, visits, left)
    model.minimize(
        sum(costs) + sum(int(c) * b for c, b in zip(tables.leave_cost, left, strict=True))
    )
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_time_in_seconds = wall
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return None, max(0.0, solver.best_objective_bound)
    after = {(k, i): j for (k, i, j), var in follows.items() if solver.value(var)}
    rows = []
    for k in range(crews):
        row, at = [], jobs
        while (k, at) in after:
            at = after[k, at]
            row.append(at)
        rows.append(row)
    return rows, solver.best_objective_bound


def _visits(model, tables):
    """Per (crew, job) that can be: whether, from when, until when; per job whether it is left.

    The third are the costs paid. The tables' rows are the only triples of start, end and cost.
    """
    _, crews, jobs, _ = tables.shape
    visits = {}
    left = [model.new_bool_var("") for _ in range(jobs)]
    costs = []
    for j in range(jobs):
        for k in range(crews):
            able = np.flatnonzero(tables.finish[0, k, j] >= 0)
            if able.size:
                end, paid = tables.finish[0, k, j, able], tables.cost[0, k, j, able]
                here = model.new_bool_var("")
                at = [model.new_int_var(0, int(x.max()), "") for x in (able, end, paid)]
                rows = np.stack([np.ones_like(able), able, end, paid], axis=1).tolist()
                model.add_allowed_assignments([here, *at], [*rows, [0, 0, 0, 0]])
                visits[k, j] = here, at[0], at[1]
                costs.append(at[2])
        model.add_exactly_one([left[j], *(v[0] for (_, i), v in visits.items() if i == j)])
    return visits, left, costs


def _circuit(model, tables, visits, left):
    """One circuit: each crew's node, its jobs, the next crew's node. Steps as (crew, i, j)."""
    _, crews, jobs, _ = tables.shape
    follows = {}
    arcs = [(crews + j, crews + j, left[j]) for j in range(jobs)]
    for k in range(crews):
        arcs.append((k, (k + 1) % crews, model.new_bool_var("")))
    for (k, j), (here, start, _) in visits.items():
        last = model.new_bool_var("")
        model.add_implication(last, here)
        arcs.append((crews + j, (k + 1) % crews, last))
        for i in (*(i for c, i in visits if c == k and i != j), jobs):
            step = follows[k, i, j] = model.new_bool_var("")
            model.add_implication(step, here)
            arcs.append((k if i == jobs else crews + i, crews + j, step))
            free = int(tables.ready[k]) if i == jobs else visits[k, i][2]
            model.add(start == free + int(tables.move[k, i, j])).only_enforce_if(step)
            if i != jobs:
                model.add_implication(step, visits[k, i][0])
    model.add_circuit(arcs)
    return follows


def dispatch(tables, key):
    """Dispatching rule: the crew first free takes the job of least key that it can finish."""
    crews, jobs, slots = tables.shape[1:]
    free, at, rows = tables.ready.astype(int).tolist(), [jobs] * crews, [[] for _ in range(crews)]
    todo, busy = set(range(jobs)), set(range(crews))
    while busy and todo:
        k = min(busy, key=lambda c: (free[c], c))
        ends = {}
        for j in todo:
            s = free[k] + tables.move[k, at[k], j]
            if s < slots and tables.finish[0, k, j, s] >= 0:
                ends[j] = int(tables.finish[0, k, j, s])
        if not ends:
            busy.discard(k)
            continue
        j = min(ends, key=lambda i: (key(k, at[k], i, free[k]), i))
        rows[k].append(j)
        free[k], at[k] = ends[j], j
        todo.discard(j)
    return evaluate(tables, rows)


def side():
    """Side by side on the same tables: models alone, dispatching rules, `solve`."""
    for fields, crews, seed in ((30, 3, 11), (60, 4, 11)):
        tables = farm_tables(fields, crews, seed=seed)
        print(f"-- {fields} x {crews}, seed {seed}")
        (orders, bound), wall, _ = timed(lambda t=tables: circuit(t, 40.0))
        cost = evaluate(tables, orders).cost if orders else float("nan")
        print(f"circuit alone in CP-SAT           cost {cost:.0f}  bound {bound:.0f}  {wall:.0f} s")
        bound, wall, _ = timed(lambda t=tables: time_indexed(t, 60.0))
        print(f"time-indexed alone in CP-SAT      cost none  bound {bound:.0f}  {wall:.0f} s")
        length = np.where(tables.finish >= 0, tables.finish - np.arange(tables.shape[3]), 10**6)
        length = length.min(axis=(0, 1, 3))
        slope = tables.cost[0, 0].max(axis=1)
        rules = {
            "nearest first": lambda k, i, j, t, tables=tables: tables.move[k, i, j],
            "first open first": lambda k, i, j, t, tables=tables: tables.finish[0, k, j, t],
            "largest first": lambda k, i, j, t, length=length: -length[j],
            "dearest first": lambda k, i, j, t, slope=slope, n=length: -slope[j] / n[j],
        }
        for name, key in rules.items():
            plan, wall, _ = timed(lambda t=tables, key=key: dispatch(t, key))
            print(f"{name:33s} cost {plan.cost:.0f}  bound none  {wall:.2f} s")
        report("ours", *timed(lambda t=tables: solve(t)))


#: Fields, crews, members, days, seed, effort and objective of the tables that settings are measured
#: on; no test uses these tables.
MEASURED = (
    (7, 2, 2, 12, 201, 1.0, MEAN),
    (20, 2, 1, 8, 202, 0.3, MEAN),
    (40, 3, 1, 8, 203, 0.1, MEAN),
    (60, 4, 1, 6, 204, 0.05, MEAN),
    (10, 2, 8, 8, 205, 0.1, MEAN),
    (16, 2, 10, 8, 206, 0.03, CAUTIOUS),
)
#: Further table for settings whose names begin so: they act on large farms or many members only.
FURTHER = {
    "growth": (160, 5, 1, 3, 207, 0.01, MEAN),
    "test": (26, 2, 31, 8, 208, 0.01, MEAN),
}


@cache
def measured_tables(fields, crews, members, days, seed):
    return farm_tables(fields, crews, members=members, days=days, seed=seed)


def measured(settings, *, seed=0, further=()):
    """Costs, gaps and CPU seconds of the measured tables, and of further ones."""
    out = []
    for *shape, effort, objective in (*MEASURED, *further):
        tables = measured_tables(*shape)
        plan, _, cpu = timed(
            lambda t=tables, e=effort, o=objective: solve(
                t, effort=e, objective=o, seed=seed, settings=settings
            )
        )
        out.append((plan.cost, plan.gap, cpu))
    return np.array(out).T


def compared(name, usual, now):
    """A line: change of the mean cost, gap and time, and the number of tables that changed."""
    cost, gap = 100 * (now[0] / usual[0] - 1), 100 * (now[1] - usual[1])
    changed = int(((now[0] != usual[0]) | (now[1] != usual[1])).sum())
    print(
        f"{name:32s} cost {cost.mean():+.2f} % ({cost.min():+.2f} to {cost.max():+.2f})"
        f"  gap {gap.mean():+.2f} points  time {100 * (now[2].sum() / usual[2].sum() - 1):+.0f} %"
        f"  {changed} of {cost.size} tables changed",
        flush=True,
    )


def settings_effects(names):
    """Double and halve settings, all where none is named; first the noise of seed and clock."""
    measured(DEFAULTS)  # loads or compiles the kernels
    usual = measured(DEFAULTS)
    print(f"usual: gaps {np.round(100 * usual[1], 2)} %, CPU {usual[2].sum():.1f} s", flush=True)
    compared("same again", usual, measured(DEFAULTS))
    for seed in () if names else (1, 2, 3):
        compared(f"seed {seed}", usual, measured(DEFAULTS, seed=seed))
    for field in dataclasses.fields(DEFAULTS):
        if names and field.name not in names:
            continue
        value = getattr(DEFAULTS, field.name)
        further = [table for prefix, table in FURTHER.items() if field.name.startswith(prefix)]
        base = measured(DEFAULTS, further=further) if further else usual
        for factor in (2, 0.5):
            other = type(value)(value * factor)
            settings = dataclasses.replace(DEFAULTS, **{field.name: other})
            compared(f"{field.name} {other}", base, measured(settings, further=further))


def growth(folder):
    """Seconds against fields, crews and members, as a picture."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    series = {
        "fields (4 crews, 1 member)": [(n, (n, 4, 1)) for n in (10, 20, 40, 80, 160)],
        "crews (60 fields, 1 member)": [(k, (60, k, 1)) for k in (1, 2, 4, 8)],
        "members (30 fields, 3 crews)": [(m, (30, 3, m)) for m in (1, 3, 10, 31)],
    }
    figure, axes = plt.subplots(1, 3, figsize=(11, 3.4), sharey=True, constrained_layout=True)
    for axis, (name, points) in zip(axes, series.items(), strict=True):
        done = []
        for x, (fields, crews, many) in points:
            tables = farm_tables(fields, crews, members=many, seed=SEEDS[0])
            plan, wall, cpu = timed(lambda tables=tables: solve(tables))
            report(f"{fields} x {crews} x {many}", plan, wall, cpu)
            done.append((x, wall, cpu))
        x, wall, cpu = zip(*done, strict=True)
        axis.loglog(x, wall, "ko-", label="wall")
        axis.loglog(x, cpu, "k^:", label="CPU")
        axis.set_xticks(x, [str(n) for n in x])
        axis.minorticks_off()
        axis.set_xlabel(name)
    axes[0].set_ylabel("seconds")
    axes[0].legend(frameon=False)
    figure.savefig(folder / "growth.png", dpi=150)


def main():
    folder, *parts = sys.argv[1:] or ["."]
    if folder == "--settings":
        settings_effects(parts)
        return
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}, seeds {SEEDS}")
    _, wall, cpu = timed(lambda: solve(farm_tables(9, 2, seed=1), effort=0.01))
    tables = farm_tables(9, 2, seed=1)
    bound_members(tables, evaluate(tables, tables.prefixes), iterations=1)
    print(f"first call, kernels compiled or loaded: wall {wall:.1f} s, cpu {cpu:.1f} s")
    for part in parts or ("published", "farms", "large", "members", "side", "growth"):
        print(f"== {part}")
        growth(Path(folder)) if part == "growth" else globals()[part]()


if __name__ == "__main__":
    main()
