"""Every line of `afterrain validate`: its target, what was reached, and whether it is met."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from readiness.validation.days_suitable import read_reports, state_weeks
from readiness.validation.grain_events import grain_checks
from readiness.validation.reference_et import EtComparison, compare_reference_et
from readiness.validation.soil_moisture import SoilResult, contingency_table, soil_results
from readiness.validation.stations import prepare_station, read_stations


@dataclass(frozen=True, kw_only=True)
class ValidationRow:
    """One line of the table: a target and what was reached; `met` is None where data lack."""

    what: str
    target: str
    reached: str
    met: bool | None


def _median(results: Sequence[SoilResult], name: str) -> tuple[float, float, int]:
    found = [r.scores[name] for r in results if name in r.scores]
    found = [s for s in found if np.isfinite(s.r)]
    if not found:
        return np.nan, np.nan, 0
    return (
        float(np.median([s.r for s in found])),
        float(np.median([s.unbiased_rmse for s in found])),
        len(found),
    )


#: Lines of soil moisture: score, least r and most unbiased RMSE.
SOIL_TARGETS = (
    ("5 cm, no calibration", "soil moisture 5 cm, Apr-Oct, no calibration, loam", 0.76, 0.048),
    ("5 cm, calibrated, tested", "5 cm, calibrated up to 2016, tested after", 0.85, 0.040),
    ("10 cm, calibrated, tested", "10 cm, calibrated up to 2016, tested after", 0.85, 0.037),
)


HIT_LEAST, FALSE_MOST = 0.85, 0.15


def soil_rows(results: Sequence[SoilResult]) -> list[ValidationRow]:
    """Lines of soil moisture and of wet and dry days."""
    rows = []
    for name, what, least, most in SOIL_TARGETS:
        r, unbiased, n = _median(results, name)
        rows.append(
            ValidationRow(
                what=what,
                target=f"median r >= {least:.2f}, unbiased RMSE <= {most:.3f} m³/m³",
                reached=f"r {r:.3f}, {unbiased:.4f} m³/m³ ({n} stations)" if n else "no data",
                met=(r >= least and unbiased <= most) if n else None,
            )
        )
    return [*rows, _hit_row(contingency_table(results))]


def _hit_row(count: Mapping[str, int]) -> ValidationRow:
    wet, dry = count["hit"] + count["missed"], count["false alarm"] + count["rightly dry"]
    target = f"hit rate >= {HIT_LEAST:.2f}, false alarms <= {FALSE_MOST:.2f} of dry days"
    what = "wet or dry, top 15 cm at the bearing limit, tested years"
    if not wet or not dry:
        return ValidationRow(what=what, target=target, reached="no data", met=None)
    hit, false = count["hit"] / wet, count["false alarm"] / dry
    alarms = count["false alarm"] / max(count["hit"] + count["false alarm"], 1)
    return ValidationRow(
        what=what,
        target=target,
        met=hit >= HIT_LEAST and false <= FALSE_MOST,
        reached=f"{hit:.2f}, {false:.2f} ({wet} wet, {dry} dry days; "
        f"{alarms:.2f} of the alarms are false)",
    )


#: Days suitable: least r and largest RMSE; reference ET: largest RMSE by the unit of its step.
WEEKS_R, WEEKS_RMSE = 0.80, 0.9


ET_MOST = {"mm/d": 0.05, "mm/h": 0.01}


def week_row(weeks: pd.DataFrame) -> ValidationRow:
    """Line of days suitable for fieldwork."""
    what = "days suitable per state-week, Apr-20 Oct, nothing fitted on them"
    target = f"r >= {WEEKS_R:.2f}, RMSE <= {WEEKS_RMSE:.1f} d"
    if len(weeks) < 3:
        return ValidationRow(what=what, target=target, reached="no data", met=None)
    model, seen = weeks["modelled"].to_numpy(), weeks["reported"].to_numpy()
    r = float(np.corrcoef(model, seen)[0, 1])
    error = model - seen
    rmse = float(np.sqrt(np.mean(error**2)))
    return ValidationRow(
        what=what,
        target=target,
        met=r >= WEEKS_R and rmse <= WEEKS_RMSE,
        reached=f"r {r:.3f}, {rmse:.2f} d, bias {error.mean():+.2f} d ({len(weeks)} weeks)",
    )


def et_rows(checks: Iterable[EtComparison]) -> list[ValidationRow]:
    """Lines of reference ET."""
    return [
        ValidationRow(
            what=f"reference ET, {c.name}",
            target=f"RMSE <= {ET_MOST[c.unit]:g} {c.unit}",
            reached=f"{c.rmse:.4f} {c.unit} (largest {c.largest:.3f}, {c.steps} steps)",
            met=c.rmse <= ET_MOST[c.unit],
        )
        for c in checks
    ]


def grain_rows() -> list[ValidationRow]:
    """Lines of grain: published rates and events."""
    return [
        ValidationRow(
            what=f"grain: {c.name}",
            target=f"{c.low:g} to {c.high:g} {c.unit} ({c.source})",
            reached=f"{c.value:.2f} {c.unit}",
            met=c.holds,
        )
        for c in grain_checks()
    ]


@dataclass(frozen=True, kw_only=True)
class Validation:
    """Everything computed from a data folder."""

    rows: list[ValidationRow]
    soils: list[SoilResult]
    weeks: pd.DataFrame
    et: list[EtComparison]


def validate(folder: Path, *, workers: int = 2) -> Validation:
    """Compute every line for which the folder holds records.

    Parameters
    ----------
    folder : with any of `soil_moisture` (daily01 files), `days_suitable` (CSV) and
        `reference_et`.
    """
    with ThreadPoolExecutor(workers) as pool:
        sites = list(pool.map(prepare_station, read_stations(folder / "soil_moisture")))
        soils = list(pool.map(soil_results, sites))
    weeks = state_weeks(sites, soils, read_reports(folder / "days_suitable"))
    checks = compare_reference_et(folder / "reference_et")
    rows = [*soil_rows(soils), week_row(weeks), *et_rows(checks), *grain_rows()]
    return Validation(rows=rows, soils=soils, weeks=weeks, et=checks)
