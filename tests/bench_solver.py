"""Benchmark of the search over policies.

python tests/bench_solver.py [part ...]: parts are published, large, command, settings; without a
part, the first three. Prints losses and seconds; the first line says how many cores there are.

- `published`: OR-Library weighted tardiness against the published optima;
- `large`: random farms of 120 and 400 fields, seconds and peak memory;
- `command`: `plan` against `ready` on the sample farm grown to 120 fields, 6 combines and 3 crews;
- `settings [name ...]`: doubles and halves each number of `SearchSettings`, or those named, on
  random tables that no test uses.
"""

from __future__ import annotations

import dataclasses
import os
import re
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import numpy as np
import pandas as pd
from benchmark_log import record
from farm_folder import copy_sample
from places import DATA
from published_schedules import tardiness_starts, tardiness_work, wt40
from random_policies import random_policy
from small_tables import random_work

from scheduler.field_work.policy import Policy, ranked_lists
from scheduler.field_work.tables import WorkTables
from scheduler.solver.floor import floor
from scheduler.solver.policy_search import search
from scheduler.solver.settings import DEFAULTS, SearchSettings

Result = TypeVar("Result")
#: Policies that each search tries on the published instances: the usual number, and ten times it.
PUBLISHED_ITERATIONS = (DEFAULTS.iterations, 10 * DEFAULTS.iterations)
#: Fields, crews and members of the large farms.
LARGE = ((120, 3, 7), (120, 3, 31), (400, 8, 7))
#: Fields, crews, members and seed of the tables that settings are measured on.
MEASURED = ((8, 1, 20, 201), (16, 2, 20, 202), (28, 2, 20, 203), (28, 3, 20, 204))
#: Seeds of the searches that a setting is measured by.
SEEDS = (11, 12)


def timed(run: Callable[[], Result]) -> tuple[Result, float]:
    """Result of `run` and wall seconds."""
    began = time.perf_counter()
    out = run()
    return out, time.perf_counter() - began


def published(*_: str) -> None:
    """All 125 instances of wt40 against the published optima."""
    numbers, best = wt40(DATA / "weighted_tardiness")
    for iterations in PUBLISHED_ITERATIONS:
        found, seconds = timed(lambda n=iterations: [_tardiness(x, n) for x in numbers])
        excess = np.array(found) - best
        above = excess[best > 0] / best[best > 0]
        print(
            f"wt40, {iterations} policies: {(excess == 0).sum()} of {best.size} at the optimum; "
            f"of those above 0, mean gap {100 * above.mean():.2f} %, median "
            f"{100 * np.median(above):.2f} %; {seconds:.0f} s",
            flush=True,
        )
        figures = {"at_optimum": int((excess == 0).sum()), "gap": above.mean(), "wall_s": seconds}
        record(f"search, wt40, {iterations} policies", figures)


def _tardiness(instance: np.ndarray, iterations: int) -> float:
    """Weighted tardiness that the search finds."""
    tables, starts = tardiness_work(*instance), tardiness_starts(*instance)
    return float(search(tables, starts, seed=0, iterations=iterations)[0].loss[0])


def start_policies(tables: WorkTables) -> list[Policy]:
    """Lists by leave cost and by area, shared out to the crews in turn, and nearest first."""
    _, crews, jobs, _, _ = tables.shape
    out = []
    for key in (-tables.leave_cost, -tables.area):
        row = np.argsort(key, kind="stable").tolist()
        orders = tuple(tuple(row[k::crews]) for k in range(crews))
        out.append(ranked_lists(orders, jobs, start=18.0))
    return [*out, dataclasses.replace(out[0], move_weight=1.0)]


def large(*_: str) -> None:
    """Search on large random farms, each in a process of its own for its peak memory."""
    for shape in LARGE:
        subprocess.run([sys.executable, __file__, "one", *map(str, shape)], check=True)


def one(*shape: str) -> None:
    """Search and floor of one member on one large farm."""
    jobs, crews, members = (int(x) for x in shape)
    tables = random_work(jobs, crews, members=members, seed=11)
    starts = start_policies(tables)
    search(tables, starts, seed=0, iterations=2)  # loads or compiles the kernel
    found, seconds = timed(lambda: search(tables, starts, seed=0))
    bound, floor_s = timed(lambda: floor(tables, members=[0], gap=0.01).bound[0])
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    loss = found[0].loss
    name = f"{jobs} fields x {crews} crews x {members} members"
    print(
        f"{name:34s} loss {loss.mean():12.0f}  search {seconds:.1f} s; member 0 loses "
        f"{loss[0]:.0f}, floor {bound:.0f} in {floor_s:.1f} s; peak {peak:.0f} MB",
        flush=True,
    )
    record(f"search, {name}", {"loss": loss.mean(), "wall_s": seconds, "peak_mb": peak})


def command(*_: str) -> None:
    """Seconds and peak memory of `ready` and `plan` on a large farm folder."""
    with tempfile.TemporaryDirectory() as folder:
        farm = grown_sample(Path(folder) / "farm")
        for words in (["ready"], ["plan", "--fast"], ["plan"]):
            call = [*words, str(farm), "--on", "2026-08-12"]
            code = (
                "import resource, sys; from scheduler.command import main; "
                f"status = main({call!r}); "
                "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024); "
                "sys.exit(status)"
            )
            run, seconds = timed(
                lambda c=code: subprocess.run(
                    [sys.executable, "-c", c], capture_output=True, text=True, check=True
                )
            )
            peak = int(run.stdout.split()[-1])
            print(f"{' '.join(words):12s} {seconds:.1f} s, peak {peak} MB", flush=True)
            record(f"command {' '.join(words)}, 120 fields", {"wall_s": seconds, "peak_mb": peak})


def grown_sample(folder: Path, *, fields: int = 120) -> Path:
    """The sample farm with each field several times, and a third crew like the others together."""
    copy_sample(folder)
    (folder / "fields.geojson").unlink()
    table = pd.read_csv(folder / "fields.csv", dtype=str, keep_default_na=False)
    more = [table]
    for n in range(1, -(-fields // len(table))):
        part = table.assign(id=table["id"] + f"-{n}", name=table["name"] + f" {n + 1}")
        part["lat"] = (table["lat"].astype(float) + 0.011 * n).map("{:.5f}".format)
        more.append(part)
    pd.concat(more).head(fields).to_csv(folder / "fields.csv", index=False)
    text = (folder / "farm.toml").read_text(encoding="utf-8")
    tables = re.findall(
        r"^\[\[(?:combine|cart|truck)\]\]\n(?:[^\[\n].*\n)+", text, flags=re.MULTILINE
    )
    third = [re.sub(r'^id = "(.*)"$', r'id = "\1b"', part, flags=re.MULTILINE) for part in tables]
    ids = {
        kind: re.findall(
            r'^id = "(.*)"$', "".join(x for x in third if x.startswith(f"[[{kind}")), re.MULTILINE
        )
        for kind in ("combine", "cart", "truck")
    }
    crew = [
        '[[crew]]\nid = "third crew"',
        *(f"{kind}s = {names}".replace("'", '"') for kind, names in ids.items()),
        'people = 11\nhours = "07:00-22:30"\nhours_max_day = 14\n',
    ]
    whole = "\n".join([text, *third, *crew])
    (folder / "farm.toml").write_text(whole, encoding="utf-8")
    return folder


def measured(settings: SearchSettings) -> tuple[np.ndarray, float]:
    """Mean loss that the search finds on each of the measured tables and seeds, and seconds."""
    out, began = [], time.perf_counter()
    for jobs, crews, members, seed in MEASURED:
        tables = random_work(jobs, crews, members=members, seed=seed)
        starts = [*start_policies(tables), random_policy(tables, seed)]
        for n in SEEDS:
            found = search(
                tables, starts, seed=n, iterations=settings.iterations, settings=settings
            )
            out.append(found[0].loss.mean())
    return np.array(out), time.perf_counter() - began


def settings(*names: str) -> None:
    """Change of the loss found by doubling and halving each setting."""
    measured(dataclasses.replace(DEFAULTS, iterations=10))  # loads or compiles the kernel
    usual, seconds = measured(DEFAULTS)
    print(f"usual: {seconds:.0f} s for {usual.size} searches", flush=True)
    for field in dataclasses.fields(DEFAULTS):
        if names and field.name not in names:
            continue
        value = getattr(DEFAULTS, field.name)
        for factor in (2.0, 0.5):
            if isinstance(value, tuple):
                other = tuple(max(2, int(v * factor)) for v in value)
            else:
                other = type(value)(value * factor)
            now, took = measured(dataclasses.replace(DEFAULTS, **{field.name: other}))
            change = 100.0 * (now / usual - 1.0)
            error = change.std(ddof=1) / np.sqrt(change.size)
            print(
                f"{field.name} {other}: loss {change.mean():+.3f} % (standard error {error:.3f}), "
                f"time {100.0 * (took / seconds - 1.0):+.0f} %",
                flush=True,
            )


def main() -> None:
    """Run the parts named."""
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
    parts = {
        "published": published,
        "large": large,
        "command": command,
        "settings": settings,
        "one": one,
    }
    asked = sys.argv[1:]
    if asked and asked[0] in ("settings", "one"):
        parts[asked[0]](*asked[1:])
        return
    for part in asked or ("published", "large", "command"):
        print(f"== {part}")
        parts[part]()


if __name__ == "__main__":
    main()
