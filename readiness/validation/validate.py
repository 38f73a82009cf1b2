"""The table of `afterrain validate`: quantity, target, value reached, and whether it is met."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from readiness.validation.days_suitable import TEST_STATE, read_reports, state_weeks
from readiness.validation.grain_events import grain_checks
from readiness.validation.hours_after_rain import (
    HoursAfterRain,
    ground_checks,
    hours_after_rain,
)
from readiness.validation.published_check import PublishedCheck
from readiness.validation.reference_et import EtComparison, compare_reference_et
from readiness.validation.soil_moisture import (
    LAST_TRAINING,
    SoilResult,
    WetDays,
    contingency_table,
    roc_area,
    soil_results,
)
from readiness.validation.stations import prepare_station, read_stations
from readiness.validation.tile_gain import tile_checks, tile_gains
from readiness.validation.wet_grain import wet_grain_checks

#: Rows of soil moisture: score, name, lowest median r and highest median unbiased RMSE, m³/m³.
SOIL_TARGETS = (
    ("5 cm, no calibration", "soil moisture 5 cm, Apr-Oct, no calibration, loam", 0.76, 0.048),
    ("5 cm, calibrated, tested", "5 cm, calibrated up to 2016, tested after", 0.85, 0.040),
    ("10 cm, calibrated, tested", "10 cm, calibrated up to 2016, tested after", 0.85, 0.037),
)
#: Wet days: lowest hit rate and highest false-alarm rate of dry days.
MIN_HIT_RATE, MAX_FALSE_ALARM_RATE = 0.85, 0.15
#: Days suitable: lowest r and highest RMSE, days a week.
MIN_WEEKS_R, MAX_WEEKS_RMSE = 0.80, 0.9
#: Fewest weeks that are scored.
FEWEST_WEEKS = 3
#: Reference ET: highest RMSE by unit.
MAX_ET_RMSE = {"mm/d": 0.05, "mm/h": 0.01}


@dataclass(frozen=True, kw_only=True)
class ValidationRow:
    """One row of the table; `met` is None where data are missing."""

    name: str
    target: str
    reached: str
    met: bool | None


@dataclass(frozen=True, kw_only=True)
class Validation:
    """The table and the results behind it."""

    rows: list[ValidationRow]
    soils: list[SoilResult]
    weeks: pd.DataFrame
    et: list[EtComparison]
    after_rain: list[HoursAfterRain]


def validate(folder: Path, *, workers: int = 2) -> Validation:
    """Compute every row for which the folder holds records.

    Parameters
    ----------
    folder : with any of `soil_moisture` (daily01 files), `days_suitable` (CSV files) and
        `reference_et`.
    workers : threads.
    """
    with ThreadPoolExecutor(workers) as pool:
        stations = list(pool.map(prepare_station, read_stations(folder / "soil_moisture")))
        soils = list(pool.map(soil_results, stations))
    weeks = state_weeks(stations, soils, read_reports(folder / "days_suitable"))
    comparisons = compare_reference_et(folder / "reference_et")
    after_rain = hours_after_rain()
    rows = [
        *soil_rows(soils),
        *week_rows(weeks),
        *check_rows("ground", ground_checks(after_rain), decimals=0),
        *check_rows("ground", tile_checks(tile_gains(stations)), decimals=0),
        *et_rows(comparisons),
        *grain_rows(),
    ]
    return Validation(rows=rows, soils=soils, weeks=weeks, et=comparisons, after_rain=after_rain)


def soil_rows(results: Sequence[SoilResult]) -> list[ValidationRow]:
    """Rows of soil moisture and of wet and dry days."""
    rows = []
    for score, name, min_r, max_rmse in SOIL_TARGETS:
        r, rmse, n = _median_score(results, score)
        rows.append(
            ValidationRow(
                name=name,
                target=f"median r >= {min_r:.2f}, unbiased RMSE <= {max_rmse:.3f} m³/m³",
                reached=f"r {r:.3f}, {rmse:.4f} m³/m³ ({n} stations)" if n else "no data",
                met=(r >= min_r and rmse <= max_rmse) if n else None,
            )
        )
    third = f"the same, wetter than on two thirds of days up to {LAST_TRAINING} (compare versions)"
    return [
        *rows,
        wet_day_row(
            "wet or dry, wetter of 5 and 10 cm at the limit for carts, tested years",
            [r.cart_limit for r in results],
        ),
        wet_day_row(third, [r.wettest_third for r in results]),
    ]


def _median_score(results: Sequence[SoilResult], name: str) -> tuple[float, float, int]:
    """Median r, median unbiased RMSE and number of stations that have a score."""
    scores = [r.scores[name] for r in results if name in r.scores]
    scores = [s for s in scores if np.isfinite(s.r)]
    if not scores:
        return np.nan, np.nan, 0
    return (
        float(np.median([s.r for s in scores])),
        float(np.median([s.unbiased_rmse for s in scores])),
        len(scores),
    )


def wet_day_row(name: str, stations: Sequence[WetDays]) -> ValidationRow:
    """Row of wet and dry days.

    Rates at limits that a different share of days exceeds are not comparable. Peirce's skill (hit
    rate less false-alarm rate) and the ROC area are printed beside them.
    """
    table = contingency_table(stations)
    wet, dry = table["hit"] + table["missed"], table["false alarm"] + table["rightly dry"]
    target = (
        f"hit rate >= {MIN_HIT_RATE:.2f}, false alarms <= {MAX_FALSE_ALARM_RATE:.2f} of dry days"
    )
    if not wet or not dry:
        return ValidationRow(name=name, target=target, reached="no data", met=None)
    hit_rate, false_alarm_rate = table["hit"] / wet, table["false alarm"] / dry
    false_alarm_ratio = table["false alarm"] / max(table["hit"] + table["false alarm"], 1)
    return ValidationRow(
        name=name,
        target=target,
        reached=f"{hit_rate:.2f}, {false_alarm_rate:.2f} ({wet} wet, {dry} dry days; "
        f"{false_alarm_ratio:.2f} of the alarms are false; Peirce skill "
        f"{hit_rate - false_alarm_rate:.2f}, ROC area {roc_area(stations):.2f})",
        met=hit_rate >= MIN_HIT_RATE and false_alarm_rate <= MAX_FALSE_ALARM_RATE,
    )


def week_rows(weeks: pd.DataFrame) -> list[ValidationRow]:
    """Rows of days suitable for fieldwork: all weeks, those that choose the rules, those that test.

    Parameters
    ----------
    weeks : as `state_weeks` returns them.
    """
    test = weeks["state"] == TEST_STATE
    return [
        _week_row("days suitable per state-week, Apr-20 Oct, with the limits planned with", weeks),
        _week_row(f"weeks outside {TEST_STATE}, which choose the rules", weeks[~test]),
        _week_row(f"weeks of {TEST_STATE}, which test them", weeks[test]),
    ]


def _week_row(name: str, weeks: pd.DataFrame) -> ValidationRow:
    """Row of some state-weeks."""
    target = f"r >= {MIN_WEEKS_R:.2f}, RMSE <= {MAX_WEEKS_RMSE:.1f} d"
    if len(weeks) < FEWEST_WEEKS:
        return ValidationRow(name=name, target=target, reached="no data", met=None)
    modelled, reported = weeks["modelled"].to_numpy(), weeks["reported"].to_numpy()
    r = float(np.corrcoef(modelled, reported)[0, 1])
    error = modelled - reported
    rmse = float(np.sqrt(np.mean(error**2)))
    few_stations = float(np.sqrt(np.mean(weeks["standard_error"] ** 2)))
    return ValidationRow(
        name=name,
        target=target,
        reached=f"r {r:.3f}, {rmse:.2f} d, bias {error.mean():+.2f} d ({len(weeks)} weeks; so few "
        f"stations alone err by {few_stations:.2f} d)",
        met=r >= MIN_WEEKS_R and rmse <= MAX_WEEKS_RMSE,
    )


def check_rows(
    group: str, checks: Iterable[PublishedCheck], *, decimals: int
) -> list[ValidationRow]:
    """Rows of published statements."""
    return [
        ValidationRow(
            name=f"{group}: {c.name}",
            target=f"{c.low:g} to {c.high:g} {c.unit} ({c.source})",
            reached=f"{c.value:.{decimals}f} {c.unit}",
            met=c.holds,
        )
        for c in checks
    ]


def grain_rows() -> list[ValidationRow]:
    """Rows of grain: published rates and events."""
    return check_rows("grain", (*grain_checks(), *wet_grain_checks()), decimals=2)


def et_rows(comparisons: Iterable[EtComparison]) -> list[ValidationRow]:
    """Rows of reference ET."""
    return [
        ValidationRow(
            name=f"reference ET, {c.name}",
            target=f"RMSE <= {MAX_ET_RMSE[c.unit]:g} {c.unit}",
            reached=f"{c.rmse:.4f} {c.unit} (largest {c.largest:.3f}, {c.steps} steps)",
            met=c.rmse <= MAX_ET_RMSE[c.unit],
        )
        for c in comparisons
    ]
