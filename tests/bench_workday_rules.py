"""Choose the rules of days suitable again on a part of the weeks, and test them on the others.

Run by hand: `python tests/bench_workday_rules.py [../shared/data]`, some minutes. Each split of the
weeks is used both ways. The water of the fields is modelled once; drained water moves only limits.
"""

import itertools
import sys
from pathlib import Path
from typing import NamedTuple

import numpy as np
from benchmark_log import record
from places import DATA

from readiness.soil import land, trafficability
from readiness.validation import days_suitable
from readiness.validation.soil_moisture import soil_results
from readiness.validation.stations import prepare_station, read_stations

#: Hours of drainage (clay: half as many more), share for combines, humidity, rain, hours of work.
VARIANTS = tuple(
    itertools.product(
        (24.0, 48.0, 72.0),
        (0.95, 1.00, 1.05),
        (65.0, 70.0, 75.0, 80.0, 101.0),
        (0.2, 1.0),
        ((9, 19), (8, 20)),
    )
)
IN_USE = (48.0, 1.00, 70.0, 0.2, (9, 19))


def set_rules(variant: tuple) -> None:
    """Set the constants that a variant changes."""
    drained, share, humidity, rain, hours = variant
    land.DRAINED_HOURS, land.DRAINED_HOURS_CLAY = drained, 1.5 * drained
    trafficability.COMBINE_SHARE = share
    days_suitable.MAX_HUMIDITY, days_suitable.MAX_RAIN_MM = humidity, rain
    days_suitable.DAY_HOURS = hours


class Score(NamedTuple):
    """Correlation and RMSE, days."""

    r: float
    rmse: float

    def __str__(self) -> str:
        return f"r {self.r:.3f}, {self.rmse:.3f} d"


def score(modelled: np.ndarray, reported: np.ndarray) -> Score:
    """Score of modelled days."""
    error = modelled - reported
    return Score(float(np.corrcoef(modelled, reported)[0, 1]), float(np.sqrt(np.mean(error**2))))


def main() -> None:
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else DATA
    stations = [prepare_station(d) for d in read_stations(folder / "soil_moisture")]
    soils = [soil_results(s) for s in stations]
    reports = days_suitable.read_reports(folder / "days_suitable")
    run, waters = days_suitable.run_water, {}

    def run_once(weather, fields, **rest):
        key = (float(fields.latitude[0]), float(fields.longitude[0]))
        if key not in waters:
            theta, flux, state = run(weather, fields, **rest)
            waters[key] = theta.astype(np.float32), flux, state
        return waters[key]

    days_suitable.run_water = run_once
    modelled = []
    for variant in VARIANTS:
        set_rules(variant)
        weeks = days_suitable.state_weeks(stations, soils, reports)
        modelled.append(weeks["modelled"].to_numpy())
    reported, year = weeks["reported"].to_numpy(), weeks["week_ending"].dt.year
    in_use = modelled[VARIANTS.index(IN_USE)]
    print(f"in use, all weeks: {score(in_use, reported)}")
    splits = {
        f"outside {days_suitable.TEST_STATE}": weeks["state"] != days_suitable.TEST_STATE,
        "up to 2018": year <= 2018,
        "odd years": year % 2 == 1,
    }
    for name, part in splits.items():
        out = np.full(reported.size, np.nan)
        for chooses, side in ((part.to_numpy(), name), (~part.to_numpy(), f"not {name}")):
            scores = [score(m[chooses], reported[chooses]) for m in modelled]
            best = int(np.argmin([x.rmse for x in scores]))
            out[~chooses] = modelled[best][~chooses]
            print(f"{side} chooses {VARIANTS[best]}: {scores[best]}")
            print(f"  in use there {scores[VARIANTS.index(IN_USE)]}")
            print(f"  on the others {score(out[~chooses], reported[~chooses])}")
        rest = score(out, reported)
        print(f"  weeks that did not choose: {rest}")
        record(f"workday rules, split {name}", {"r": rest.r, "rmse_d": rest.rmse})


if __name__ == "__main__":
    main()
