"""The verification as a picture, a page and lines."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path

import matplotlib.figure
import numpy as np
from matplotlib.axes import Axes

from readiness.forecasts.scores import reliability
from scheduler.atomic import write_file
from scheduler.farm.model import Farm
from scheduler.farm.units import INCH_MM
from scheduler.report.figures.axes import GREY, INK, PALETTE, new_axes
from scheduler.report.figures.svg import figure_svg
from scheduler.report.template_environment import template_environment
from scheduler.verification.forecasts import (
    RAIN_DAY_MM,
    WORKABLE_H,
    ChanceForecasts,
    LeadScore,
    Verification,
)

#: Fewest days of a lead that are worth a number; assumed: under ten the error swamps it.
FEW_DAYS = 10


def plot_scores(scores: Sequence[LeadScore], *, ax: Axes | None = None) -> Axes:
    """Brier score by lead day with twice its standard error, and that of always saying the mean."""
    ax = ax or new_axes(4.6, 2.8)
    held = [s for s in scores if s.cases]
    lead = [s.lead for s in held]
    ax.errorbar(lead, [s.brier for s in held], yerr=[2 * s.brier_error for s in held], color=INK,
                marker="o", markersize=4, linewidth=1, capsize=3, label="forecast")  # fmt: skip
    usual = [s.brier / (1 - s.skill) if s.skill < 1 else np.nan for s in held]
    ax.plot(lead, usual, color=GREY, linestyle="--", linewidth=1, label="always the mean chance")
    ax.set_xlabel("day of the forecast")
    ax.set_ylabel("Brier score (0 is perfect)")
    ax.set_ylim(bottom=0)
    ax.legend(frameon=False, fontsize=8)
    return ax


def plot_amounts(scores: Sequence[LeadScore], *, inches: bool, ax: Axes | None = None) -> Axes:
    """CRPS of daily rain by lead day with twice its standard error."""
    ax = ax or new_axes(4.6, 2.8)
    unit = INCH_MM if inches else 1.0
    held = [s for s in scores if s.cases]
    ax.errorbar([s.lead for s in held], [s.crps / unit for s in held],
                yerr=[2 * s.crps_error / unit for s in held], color=INK, marker="o", markersize=4,
                linewidth=1, capsize=3)  # fmt: skip
    ax.set_xlabel("day of the forecast")
    ax.set_ylabel(f"error of the amount (CRPS), {'in' if inches else 'mm'}")
    ax.set_ylim(bottom=0)
    return ax


def plot_reliability(chances: ChanceForecasts, *, ax: Axes | None = None) -> Axes:
    """Observed rate against told chance with twice its standard error; counts beside the points."""
    ax = ax or new_axes(3.4, 2.8)
    curve = reliability(chances.chance, chances.happened)
    ax.plot([0, 1], [0, 1], color=GREY, linestyle="--", linewidth=1)
    ax.errorbar(curve.chance, curve.rate, yerr=2 * curve.error, color=PALETTE[6], marker="s",
                markersize=4, linewidth=1, capsize=3)  # fmt: skip
    for x, y, n in zip(curve.chance, curve.rate, curve.count, strict=True):
        ax.annotate(str(n), (x, y), xytext=(4, -9), textcoords="offset points", fontsize=7)
    ax.set_xlim(-0.03, 1.03)
    ax.set_ylim(-0.03, 1.03)
    ax.set_xlabel("chance told")
    ax.set_ylabel("share that happened")
    return ax


def table_lines(farm: Farm, found: Verification) -> list[str]:
    """The scores as lines of a table; those of few days are marked."""
    inches = farm.units == "us"
    unit, name = (INCH_MM, "in") if inches else (1.0, "mm")
    lines = [
        f"{found.issues} issues of {found.product} against {found.truth}; ± is one standard error",
        f"{'':4}  {'rain days':^28}  {f'amount, {name}':^22}  {'workable days':^28}",
        f"{'day':>4}  {'Brier':>6} {'±':>6} {'skill':>6} {'days':>6}  {'CRPS':>6} {'±':>6} "
        f"{'bias':>7}  {'Brier':>6} {'±':>6} {'skill':>6} {'days':>6}",
    ]
    for rain, work in zip(found.rain, found.workable, strict=True):
        if not rain.cases and not work.cases:
            continue
        amount = " ".join(
            _figure(v / unit, w, 3 if inches else 2)
            for v, w in ((rain.crps, 6), (rain.crps_error, 6), (rain.bias, 7))
        )
        few = min(rain.days or FEW_DAYS, work.days or FEW_DAYS) < FEW_DAYS
        lines.append(f"{rain.lead:>4}  {_chance(rain)}  {amount}  {_chance(work)}"
                     f"{'  few days' if few else ''}")  # fmt: skip
    lines.append(
        f"A rain day has {_depth(farm)} or more, a workable day {WORKABLE_H:g} harvestable hours "
        "or more, as reckoned from the weather that came. Skill 1 is perfect, 0 no better than "
        "always saying the mean chance."
    )
    return lines


def _depth(farm: Farm) -> str:
    return f"{RAIN_DAY_MM / INCH_MM:.2f} in" if farm.units == "us" else f"{RAIN_DAY_MM:g} mm"


def _figure(value: float, width: int, digits: int = 2) -> str:
    return f"{'-':>{width}}" if not np.isfinite(value) else f"{value:>{width}.{digits}f}"


def _chance(score: LeadScore) -> str:
    return (f"{_figure(score.brier, 6)} {_figure(score.brier_error, 6)} "
            f"{_figure(score.skill, 6)} {score.days:>6}")  # fmt: skip


def write_verification(folder: Path, farm: Farm, found: Verification) -> list[Path]:
    """Write verification.html (one self-contained page) and verification.png."""
    figure = matplotlib.figure.Figure(figsize=(11, 6), layout="constrained")
    axes = figure.subplots(2, 3)
    plot_scores(found.rain, ax=axes[0, 0]).set_title("Rain days", fontsize=10)
    plot_reliability(found.rain_days, ax=axes[0, 1]).set_title("Rain days, all leads", fontsize=10)
    plot_amounts(found.rain, inches=farm.units == "us", ax=axes[0, 2]).set_title(
        "Daily rain", fontsize=10
    )
    if len(found.workable_days.lead):
        plot_scores(found.workable, ax=axes[1, 0]).set_title("Workable days", fontsize=10)
        plot_reliability(found.workable_days, ax=axes[1, 1]).set_title(
            "Workable days, all leads", fontsize=10
        )
    for ax in axes.flat:
        if not ax.has_data():
            ax.set_axis_off()
    out = io.BytesIO()
    figure.savefig(out, format="png", dpi=110)
    template = template_environment("scheduler.verification").get_template("verification.html")
    page = template.render(
        farm=farm, found=found, picture=figure_svg(figure), lines=table_lines(farm, found)
    )
    folder.mkdir(parents=True, exist_ok=True)
    paths = [folder / "verification.html", folder / "verification.png"]
    write_file(paths[0], page)
    write_file(paths[1], out.getvalue())
    return paths
