"""How fast a core walks fields through hours: `python tests/bench_readiness.py [--large]`.

Prints field-hours per second of CPU for soil, grain and windows together, the time against
copying the same results in memory, and with --large the time and peak memory of
10,000 fields x 51 members x 384 hours.
"""

import argparse
import resource
import time
from zoneinfo import ZoneInfo

import numpy as np
from small_fields import land, limits, stand, weather

from readiness.season import kernel as lanes
from readiness.season.windows import block_windows

TZ = ZoneInfo("America/Chicago")
CROPS = ("wheat_hard", "barley", "canola")


def frame(members, sites, days, seed=0):
    """Summer weather in which rain falls in three hours of a hundred."""
    rng = np.random.default_rng(seed)
    w = weather(days, members=members, sites=sites)
    w.rain[:] = np.where(rng.random(w.shape) < 0.03, rng.exponential(2.0, w.shape), 0.0)
    w.temp[:] += rng.normal(0.0, 1.0, (members, sites, 1))
    return w


def farm(fields):
    """Land, stand and limits of fields of three crops."""
    crops = tuple(CROPS[i % 3] for i in range(fields))
    one = stand(fields)
    standing = type(one)(crop=crops, ripe=one.ripe, moisture=one.moisture, limit=one.limit)
    return land(fields), standing, limits(fields)


def run(w, facts, site, block):
    """CPU and wall seconds of one pass in blocks, and the mean harvestable hours (for show)."""
    cpu, wall = time.process_time(), time.perf_counter()
    hours = [
        d.harvestable.mean() for _, d in block_windows(w, *facts, site=site, tz=TZ, block=block)
    ]
    return time.process_time() - cpu, time.perf_counter() - wall, float(np.mean(hours))


def copying(members, fields, hours, block):
    """CPU seconds to copy results of the same size, block by block."""
    shape = (members, block, lanes.VALUES, hours)
    values, codes = np.ones(shape), np.ones((*shape[:2], lanes.CODES, hours), dtype=np.uint8)
    to = values.copy(), codes.copy()
    start = time.process_time()
    for _ in range(0, fields, block):
        np.copyto(to[0], values)
        np.copyto(to[1], codes)
    return time.process_time() - start


def main():
    """Print the figures."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--large", action="store_true", help="10,000 fields x 51 members")
    options.add_argument("--block", type=int, default=24)
    options = options.parse_args()
    members, fields, days = 51, 96, 16
    facts = farm(fields)
    for each in (1, 24):
        w, site = frame(members, fields // each, days), np.arange(fields) // each
        run(w, facts, site, options.block)  # compiles
        cpu, wall, mean = min(run(w, facts, site, options.block) for _ in range(3))
        size = members * fields * 24 * days
        ratio = cpu / copying(members, fields, 24 * days, options.block)
        print(f"{each:3d} fields a site: {size / cpu / 1e6:5.2f} M field-hours/s of CPU "
              f"({size / wall / 1e6:.2f} of wall), {ratio:.1f} x copying; "
              f"{mean:.1f} h a day can be cut")  # fmt: skip
    if options.large:
        fields, each = 10_000, 20
        w, site = frame(members, fields // each, days), np.arange(fields) // each
        cpu, wall, _ = run(w, farm(fields), site, options.block)
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
        size = members * fields * 24 * days
        print(f"large: {size / 1e6:.0f} M field-hours in {cpu:.0f} s of CPU ({wall:.0f} s wall), "
              f"{size / cpu / 1e6:.2f} M/s, peak {peak:.2f} GiB")  # fmt: skip


if __name__ == "__main__":
    main()
