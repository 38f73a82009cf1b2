"""Charts of the model validation: soil water by station, and days suitable for fieldwork."""

from __future__ import annotations

from collections.abc import Sequence

import matplotlib.dates
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from readiness.validation.soil_moisture import LAST_TRAINING, SoilResult
from readiness.validation.stations import COMPARED_MONTHS
from readiness.validation.validate import Validation

INK, GREY, BLUE = "#000000", "#9a9a9a", "#2c5f8a"
#: Days with readings beyond which a season is drawn rather than a later, shorter one.
FULL_SEASON_DAYS = 100


def plot_series(soil: SoilResult, *, depth: int = 5, ax: Axes | None = None) -> Axes:
    """Measured and modelled soil water of the last tested year, m³/m³."""
    ax = ax if ax is not None else Figure(figsize=(8, 2.6)).subplots()
    year = soil.days.astype("datetime64[Y]").astype(np.int64) + 1970
    month = soil.days.astype("datetime64[M]").astype(np.int64) % 12 + 1
    compared = (
        (month >= COMPARED_MONTHS[0])
        & (month <= COMPARED_MONTHS[1])
        & np.isfinite(soil.measured[depth])
    )
    days = np.bincount(year[compared], minlength=1)
    full = np.flatnonzero(days > FULL_SEASON_DAYS)
    part = compared & (year == (full[-1] if full.size else year[-1]))
    ax.plot(soil.days[part], soil.measured[depth][part], color=INK, lw=1.4, label="probe")
    ax.plot(
        soil.days[part],
        soil.uncalibrated[depth][part],
        color=GREY,
        lw=1.2,
        ls="--",
        label="loam guessed",
    )
    if soil.calibrated:
        ax.plot(
            soil.days[part],
            soil.calibrated[depth][part],
            color=BLUE,
            lw=1.4,
            label=f"calibrated to {LAST_TRAINING}",
        )
    ax.set_title(f"{soil.name.replace('_', ' ')}, {depth} cm", loc="left", fontsize=9)
    ax.set_ylabel("water, m³/m³")
    month_of = matplotlib.dates.DateFormatter("%Y-%m")  # type: ignore[no-untyped-call]
    ax.xaxis.set_major_formatter(month_of)
    ax.legend(frameon=False, fontsize=8, ncols=3)
    return ax


def plot_scatter(soils: Sequence[SoilResult], *, depth: int = 5, ax: Axes | None = None) -> Axes:
    """Calibrated model against probe on every fifth tested day of every station, m³/m³."""
    ax = ax if ax is not None else Figure(figsize=(5, 5)).subplots()
    for soil in soils:
        if soil.calibrated:
            year = soil.days.astype("datetime64[Y]").astype(np.int64) + 1970
            part = (year > LAST_TRAINING) & np.isfinite(soil.measured[depth])
            ax.plot(
                soil.measured[depth][part][::5],
                soil.calibrated[depth][part][::5],
                ".",
                ms=2,
                alpha=0.4,
                color=BLUE,
            )
    ax.plot([0, 0.6], [0, 0.6], color=INK, lw=0.8)
    ax.set_xlabel("probe, m³/m³")
    ax.set_ylabel("calibrated model, m³/m³")
    ax.set_title(f"{depth} cm, tested years, every fifth day", loc="left", fontsize=9)
    return ax


def plot_weeks(validation: Validation, *, ax: Axes | None = None) -> Axes:
    """Modelled against reported days suitable for fieldwork, marked by state."""
    ax = ax if ax is not None else Figure(figsize=(5, 5)).subplots()
    for week in validation.weeks.itertuples():
        ax.text(float(week.reported), float(week.modelled), str(week.state), fontsize=8)  # type: ignore[arg-type]
    ax.plot([0, 7], [0, 7], color=INK, lw=0.8)
    ax.set_xlim(0, 7.3)
    ax.set_ylim(0, 7.3)
    ax.set_xlabel("reported, days a week")
    ax.set_ylabel("modelled, days a week")
    return ax
