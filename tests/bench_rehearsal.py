"""Rehearsal and what-if at full size: `python tests/bench_rehearsal.py [score|whatif|dask] ...`.

`score dev` plays two seasons at each of six stations, on which settings may be chosen. `score test`
plays three seasons at each of ten other stations, which decide no setting. `score STATION:YEAR ...`
plays single seasons. Each prints a season as soon as it is played, with both kinds of forecast
errors, and the headline of each kind; `score test` also that of the wet stations. `whatif` times 30
seasons with one more combine on two processes. `dask` simulates four seasons in this process and on
two workers, and compares the outcomes to the last digit.
"""

import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context

import numpy as np
from benchmark_log import record
from places import DATA, ROOT

from readiness.sources.daily_to_hourly import hourly_records
from readiness.sources.uscrn import read_uscrn_daily
from scheduler.farm_files.folder import read_farm
from scheduler.simulation.alterations import Alteration
from scheduler.simulation.parallel import parallel_map
from scheduler.simulation.past_season import complete_years, past_season
from scheduler.simulation.phrases import rehearsal_lines
from scheduler.simulation.rehearsal import RehearsalSettings, compare_season, rehearse
from scheduler.simulation.season_results import RehearsalSummary
from scheduler.simulation.whatif import WHATIF_SETTINGS, completion, what_if

RECORDS = DATA / "soil_moisture"
#: Stations for choices of settings.
DEV = (
    "ND_Jamestown_38_WSW",
    "SD_Buffalo_13_ESE",
    "MO_Joplin_24_N",
    "OK_Stillwater_2_W",
    "NE_Whitman_5_ENE",
    "IA_Des_Moines_17_E",
)
#: Stations that decide no setting, the wet ones first.
WET_TEST = (
    "IL_Champaign_9_SW",
    "KS_Manhattan_6_SSW",
    "NE_Lincoln_8_ENE",
    "MN_Goodridge_12_NNW",
    "SD_Sioux_Falls_14_NNE",
)
TEST = (
    *WET_TEST,
    "ND_Northgate_5_ESE",
    "MT_Wolf_Point_29_ENE",
    "WA_Spokane_17_SSW",
    "CO_Nunn_7_NNE",
    "TX_Muleshoe_19_S",
)


def station(name):
    return read_uscrn_daily(RECORDS / f"CRND0103_{name}.csv.gz")


def seasons_of(names, count):
    """So many of the complete years of each station, from the first to the last, evenly spaced."""
    farm, tasks = read_farm(ROOT / "sample_forecasts"), []
    for name in names:
        daily = station(name)
        years = complete_years(farm, daily, hourly_records(daily))
        picked = np.linspace(0, len(years) - 1, count).round().astype(int)
        tasks += [(name, years[i]) for i in picked]
    return tasks


def _season(task):
    """A season with persistent errors, the same with independent ones, and s of CPU for each."""
    name, year = task
    daily, settings = station(name), RehearsalSettings()
    past = past_season(read_farm(ROOT / "sample_forecasts"), daily, hourly_records(daily), year)
    begin = time.process_time()
    independent = rehearse(past, replace(settings, errors="independent"))
    middle = time.process_time()
    persistent = compare_season(past, name, settings)
    cpu_s = {"independent": middle - begin, "comparison": time.process_time() - middle}
    return persistent, replace(persistent, planner=independent), cpu_s


def score(*words):
    if words in ((), ("dev",)):
        kind, tasks = "dev", seasons_of(DEV, 2)
    elif words == ("test",):
        kind, tasks = "test", seasons_of(TEST, 3)
    else:
        kind = "single seasons"
        tasks = [(name, int(year)) for name, year in (w.split(":") for w in words)]
    print(tasks, flush=True)
    by_kind = {"persistent": [], "independent": []}
    cpu_s, seasons = [], []
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        for persistent, independent, took in pool.map(_season, tasks):
            by_kind["persistent"].append(persistent)
            by_kind["independent"].append(independent)
            cpu_s.append(took)
            rule, least = min(persistent.rules.items(), key=lambda x: x[1])
            seasons.append(
                {
                    "station": persistent.station,
                    "year": persistent.year,
                    "persistent": persistent.planner.loss,
                    "independent": independent.planner.loss,
                    "perfect": persistent.perfect.loss,
                    "floor": persistent.floor,
                    "rules": {f"{n} {s:g}": v for (n, s), v in persistent.rules.items()},
                }
            )
            print(
                f"{persistent.station:24s} {persistent.year}"
                f"  persistent {persistent.planner.loss:9,.0f}"
                f"  independent {independent.planner.loss:9,.0f}"
                f"  perfect {persistent.perfect.loss:9,.0f}"
                f"  floor {persistent.floor:9,.0f}"
                f"  least rule of the season {least:9,.0f} ({rule[0]}, {rule[1]:g} %)"
                f"  cpu {took['independent']:.0f} + {took['comparison']:.0f} s",
                flush=True,
            )
    figures = {"cpu_s": float(np.mean([sum(took.values()) for took in cpu_s]))}
    for errors, found in by_kind.items():
        figures |= _headline(f"{errors} errors", found)
        wet = [s for s in found if s.station in WET_TEST]
        if wet and len(wet) < len(found):
            figures |= _headline(f"{errors} errors, wet stations", wet)
    record(f"rehearsal, score {kind}", figures | {"seasons": seasons})


def _headline(name, found):
    """Print the headline of some seasons; its figures by name."""
    summary = RehearsalSummary(seasons=tuple(found))
    farm = read_farm(ROOT / "sample_forecasts")
    print("\n".join(["", name.upper(), *rehearsal_lines(summary, farm)]), flush=True)
    mean, low, high = summary.saving
    return {
        f"{name}: mean_saving": mean,
        f"{name}: saving_low": low,
        f"{name}: saving_high": high,
        f"{name}: rule_loss": summary.rule_loss,
        f"{name}: rule": " ".join(map(str, summary.best_rule)),
        f"{name}: share": summary.share,
        f"{name}: lower": summary.lower,
        f"{name}: worst_excess": summary.worst_excess,
        f"{name}: perfect_over_floor": summary.perfect_over_floor,
    }


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
    wanted = {"years": range(2015, 2017), "settings": replace(WHATIF_SETTINGS, members=3, days=12)}
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
    command, *words = sys.argv[1:] or ["score"]
    {"score": score, "whatif": whatif, "dask": dask}[command](*words)
