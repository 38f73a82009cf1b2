"""Speed of readiness on one core: `python tests/bench_readiness.py [--large]`.

Prints field-hours per second of CPU for soil, grain and windows together, and the ratio to copying
results of the same size in memory. With --large also the time and peak memory of 10,000 fields x 51
members x 384 hours.
"""

import argparse
import resource
import time
from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
from benchmark_log import record
from small_fields import land, limits, stand, weather

from readiness.season.kernel_layout import Code, Value
from readiness.season.simulate import simulate
from readiness.season.windows import daily_windows

TZ = ZoneInfo("America/Chicago")
CROPS = ("wheat_hard", "barley", "canola")
MEMBERS, DAYS = 51, 16


def frame(sites, seed=0):
    """Summer weather in which rain falls in three hours of a hundred."""
    rng = np.random.default_rng(seed)
    w = weather(DAYS, members=MEMBERS, sites=sites)
    w.rain[:] = np.where(rng.random(w.shape) < 0.03, rng.exponential(2.0, w.shape), 0.0)
    w.temp[:] += rng.normal(0.0, 1.0, (MEMBERS, sites, 1))
    return w


def run(w, fields, site, block):
    """CPU and wall seconds over all fields in blocks, and the mean harvestable hours a day."""
    cpu, wall, hours = time.process_time(), time.perf_counter(), []
    for first in range(0, fields, block):
        crops = tuple(CROPS[i % 3] for i in range(first, min(first + block, fields)))
        n = len(crops)
        used, where = np.unique(site[first : first + n], return_inverse=True)
        season = simulate(
            w.sites(used),
            land(n),
            replace(stand(n), crop=crops),
            limits(n),
            site=where.astype(np.int64),
        )
        hours.append(daily_windows(season, tz=TZ).harvestable.mean())
    return time.process_time() - cpu, time.perf_counter() - wall, float(np.mean(hours))


def copying(fields, hours, block):
    """CPU seconds to copy results of the same size, block by block."""
    values = np.ones((MEMBERS, block, len(Value), hours))
    codes = np.ones((MEMBERS, block, len(Code), hours), dtype=np.uint8)
    to = values.copy(), codes.copy()
    start = time.process_time()
    for _ in range(0, fields, block):
        np.copyto(to[0], values)
        np.copyto(to[1], codes)
    return time.process_time() - start


def main():
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--large", action="store_true", help="10,000 fields x 51 members")
    parser.add_argument("--block", type=int, default=24, help="fields run at once")
    options = parser.parse_args()
    fields, hours = 96, 24 * DAYS
    for each in (1, 24):
        w, site = frame(fields // each), np.arange(fields) // each
        run(w, fields, site, options.block)  # compiles
        cpu, wall, mean = min(run(w, fields, site, options.block) for _ in range(3))
        size = MEMBERS * fields * hours
        ratio = cpu / copying(fields, hours, options.block)
        print(
            f"{each:3d} fields a site: {size / cpu / 1e6:5.2f} M field-hours/s of CPU "
            f"({size / wall / 1e6:.2f} of wall), {ratio:.1f} x copying; "
            f"{mean:.1f} h a day can be cut"
        )
        figures = {"field_hours_per_cpu_s": size / cpu, "ratio_to_copying": ratio}
        record(f"readiness, {each} fields a site", figures)
    if options.large:
        fields, each = 10_000, 20
        w, site = frame(fields // each), np.arange(fields) // each
        cpu, wall, _ = run(w, fields, site, options.block)
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
        size = MEMBERS * fields * hours
        print(
            f"large: {size / 1e6:.0f} M field-hours in {cpu:.0f} s of CPU ({wall:.0f} s wall), "
            f"{size / cpu / 1e6:.2f} M/s, peak {peak:.2f} GiB"
        )
        record("readiness, large", {"cpu_s": cpu, "wall_s": wall, "peak_GiB": peak})


if __name__ == "__main__":
    main()
