"""Rehearsal and what-if at full size; run as `python tests/bench_rehearsal.py [score|whatif|dask]`.

`score` simulates the sample farm in two seasons (the first complete ones from 2012 and from 2016)
at each of six stations and prints every season; no setting was chosen on these stations. `whatif`
times 30 seasons with one more combine on two processes. `dask` simulates four seasons in this
process and on two workers, and compares the outcomes to the last digit.
"""

import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context

import numpy as np
from benchmark_log import record
from places import DATA, ROOT

from readiness.sources.uscrn import read_uscrn_daily
from scheduler.farm_files.folder import read_farm
from scheduler.simulation.alterations import Alteration
from scheduler.simulation.parallel import parallel_map
from scheduler.simulation.past_season import complete_years, hourly_records, past_season
from scheduler.simulation.rehearsal import RehearsalSettings, compare_season, rehearse
from scheduler.simulation.season_results import RehearsalSummary
from scheduler.simulation.whatif import WHATIF_SETTINGS, completion, what_if

RECORDS = DATA / "soil_moisture"
STATIONS = (
    "ND_Northgate_5_ESE",
    "MN_Goodridge_12_NNW",
    "SD_Sioux_Falls_14_NNE",
    "MT_Wolf_Point_29_ENE",
    "NE_Lincoln_8_ENE",
    "KS_Manhattan_6_SSW",
)


def station(name):
    return read_uscrn_daily(RECORDS / f"CRND0103_{name}.csv.gz")


def _season(task):
    name, year = task
    daily = station(name)
    past = past_season(read_farm(ROOT / "sample_forecasts"), daily, hourly_records(daily), year)
    planned = compare_season(past, name, RehearsalSettings())
    perfect = rehearse(past, RehearsalSettings(perfect=True))
    return planned, replace(planned, planner=perfect)


def score():
    farm = read_farm(ROOT / "sample_forecasts")
    tasks = []
    for name in STATIONS:
        daily = station(name)
        years = complete_years(farm, daily, hourly_records(daily))
        first = next(y for y in years if y >= 2012)
        tasks += [(name, first), (name, next(y for y in years if y >= max(2016, first + 1)))]
    print(tasks, flush=True)
    planned, perfect = [], []
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        for a, b in pool.map(_season, tasks):
            planned.append(a)
            perfect.append(b)
            rules = "  ".join(f"{n}: {v:,.0f}" for n, v in a.rules.items())
            print(
                f"{a.station:24s} {a.year}  ours {a.planner.loss:9,.0f}"
                f"  hindsight {a.best_fixed_order:9,.0f}"
                f"  {rules}  share {a.share:.2f}  perfect {b.share:.2f}",
                flush=True,
            )
    emulated, known = (RehearsalSummary(seasons=tuple(s)) for s in (planned, perfect))
    print(
        f"median share {emulated.median_share:.3f}; rule best on average: "
        f"{emulated.best_rule}; ours worse than it by at most {100 * emulated.worst_excess:+.1f} %"
    )
    print(
        f"perfect forecast: median {known.median_share:.3f}, least "
        f"{min(s.share for s in known.seasons):.3f}"
    )
    figures = {"median_share": emulated.median_share, "worst_excess": emulated.worst_excess}
    record("rehearsal, score", figures | {"perfect_median_share": known.median_share})


def whatif():
    farm = read_farm(ROOT / "sample_forecasts")
    names = ("NE_Lincoln_8_ENE", "SD_Buffalo_13_ESE", "ND_Jamestown_38_WSW")
    stations, seasons = [], 0
    for name in names:
        stations.append(station(name))
        seasons += len(complete_years(farm, stations[-1], hourly_records(stations[-1])))
    begin = time.perf_counter()
    with parallel_map(workers=2) as run:
        found = what_if(farm, Alteration(combines=("C1",)), stations, run=run)
    took = time.perf_counter() - begin
    n = len(found.base)
    print(f"{n} seasons twice: {took:.0f} s; 30 seasons: {took * 30 / n:.0f} s")
    record("rehearsal, what if", {"wall_s_30_seasons": took * 30 / n})
    print("value of the change", np.percentile(found.values, [10, 50, 90]).round())
    print(
        "done by",
        [completion(found.base, s) for s in (0.5, 0.8, 0.9)],
        [completion(found.changed, s) for s in (0.5, 0.8, 0.9)],
    )


def dask():
    from distributed import LocalCluster

    farm, daily = read_farm(ROOT / "sample_forecasts"), station("ND_Jamestown_38_WSW")
    wanted = {"years": range(2015, 2017), "settings": replace(WHATIF_SETTINGS, members=3, days=6)}
    change = Alteration(combines=("C1",))
    here = what_if(farm, change, [daily], **wanted)
    with (
        LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=":0") as cluster,
        parallel_map(cluster=cluster.scheduler_address) as run,
    ):
        there = what_if(farm, change, [daily], run=run, **wanted)
    same = [
        a.loss == b.loss and a.done == b.done
        for a, b in zip(here.base + here.changed, there.base + there.changed, strict=True)
    ]
    print(f"{len(same)} seasons on two worker processes; the same to the last digit: {all(same)}")
    print([o.loss for o in here.base + here.changed])


if __name__ == "__main__":
    {"score": score, "whatif": whatif, "dask": dask}[sys.argv[1] if sys.argv[1:] else "score"]()
