"""What bearing limits that are wrong by 0.03 m³/m³ cost on the sample morning.

Run by hand: `python tests/bench_bearing_regret.py`, a minute or two. The script plans with the
limits as they are and with limits moved on every field, and plays the first plan where the moved
limits hold. The regret is its loss less that of the plan made for them. Crews replan every morning,
so the regret of one plan kept for all days is an upper bound. 0.03 m³/m³ is a tenth of the field
capacity of loam, as much as published criteria differ (0.90-1.00).
"""

import tempfile
from dataclasses import replace
from datetime import date, datetime, time
from pathlib import Path

import numpy as np
from benchmark_log import record
from farm_folder import copy_sample

from scheduler.costs.standing_loss import standing_loss_of
from scheduler.farm.slots import SLOT_MIN, slot_times
from scheduler.farm.working_time import MORNING_HOUR
from scheduler.farm_files.folder import read_farm
from scheduler.planning.information import gather, simulated_season
from scheduler.planning.plan import DAYS, situation_of
from scheduler.planning.policy_choice import FAST, compile_makeup, decide
from scheduler.solver.policy_search import Evaluator
from scheduler.windows.lessons import Learnt

MORNING = date(2026, 8, 12)
ERROR = 0.03  # m³/m³


def moved(farm, error: float):
    """The farm with bearing limits moved on every field."""
    fields = tuple(
        replace(
            f,
            calibration={
                **f.calibration,
                Learnt.BEARING: f.calibration.get(Learnt.BEARING, 0.0) + error,
            },
        )
        for f in farm.fields
    )
    return replace(farm, fields=fields)


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        sample = copy_sample(Path(folder) / "farm")
        now = datetime.combine(MORNING, time(MORNING_HOUR), tzinfo=read_farm(sample).tz)
        plain = gather(sample, now, forecast=None, days=DAYS, seed=0)
    situation = situation_of(plain)
    standing, decision = {}, {}
    for error in (0.0, -ERROR, ERROR):
        farm = moved(plain.farm, error)
        season, _ = simulated_season(replace(plain, farm=farm), seed=0)
        slots = slot_times(plain.now, DAYS, SLOT_MIN)
        slots = slots[slots < season.start + np.timedelta64(season.moisture.shape[2], "h")]
        standing[error] = standing_loss_of(farm, season, slots)
        decision[error] = decide(standing[error], situation, seed=0, effort=FAST)
    mine, regrets = decision[0.0], dict[str, object]()
    for error in (-ERROR, ERROR):
        own = decision[error]
        there = compile_makeup(standing[error], situation, mine.work.makeup)
        kept = float(there.tables.weight @ Evaluator(there.tables).loss(mine.policy))
        best = float(own.work.tables.weight @ Evaluator(own.work.tables).loss(own.policy))
        print(
            f"{error:+.2f} m³/m³: plan for these limits loses {best:,.0f}, plan as is {kept:,.0f}"
        )
        regrets[f"regret at {error:+.2f} m3/m3"] = kept - best
    record("bearing, sample morning", regrets)


if __name__ == "__main__":
    main()
