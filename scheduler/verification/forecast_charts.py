"""Charts of a forecast verification: scores by lead and reliability."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from readiness.forecasts.scores import reliability
from scheduler.farm.units import INCH_MM
from scheduler.language.translation import _
from scheduler.report.figures.axes import new_axes
from scheduler.report.figures.palette import GREY, INK, PALETTE
from scheduler.verification.forecasts import Verification
from scheduler.verification.lead_scores import ChanceForecasts, LeadScore


def plot_scores(scores: Sequence[LeadScore], *, ax: Axes | None = None) -> Axes:
    """Brier score by lead with two standard errors, and that of the constant mean chance."""
    ax = ax or new_axes(4.6, 2.8)
    scored = [s for s in scores if s.cases]
    lead = [s.lead for s in scored]
    ax.errorbar(
        lead,
        [s.brier for s in scored],
        yerr=[2 * s.brier_error for s in scored],
        color=INK,
        marker="o",
        markersize=4,
        linewidth=1,
        capsize=3,
        label=_("forecast"),
    )
    climatology = [s.brier / (1 - s.skill) if s.skill < 1 else np.nan for s in scored]
    ax.plot(
        lead,
        climatology,
        color=GREY,
        linestyle="--",
        linewidth=1,
        label=_("always the mean chance"),
    )
    ax.set_xlabel(_("day of the forecast"))
    ax.set_ylabel(_("Brier score (0 is perfect)"))
    ax.set_ylim(bottom=0)
    ax.legend(frameon=False, fontsize=8)
    return ax


def plot_amounts(scores: Sequence[LeadScore], *, inches: bool, ax: Axes | None = None) -> Axes:
    """CRPS of daily rain by lead with two standard errors."""
    ax = ax or new_axes(4.6, 2.8)
    unit = INCH_MM if inches else 1.0
    scored = [s for s in scores if s.cases]
    ax.errorbar(
        [s.lead for s in scored],
        [s.crps / unit for s in scored],
        yerr=[2 * s.crps_error / unit for s in scored],
        color=INK,
        marker="o",
        markersize=4,
        linewidth=1,
        capsize=3,
    )
    ax.set_xlabel(_("day of the forecast"))
    ax.set_ylabel(_("error of the amount (CRPS), {unit}", unit="in" if inches else "mm"))
    ax.set_ylim(bottom=0)
    return ax


def plot_reliability(chances: ChanceForecasts, *, ax: Axes | None = None) -> Axes:
    """Observed frequency by forecast chance with two standard errors, and numbers of cases."""
    ax = ax or new_axes(3.4, 2.8)
    curve = reliability(chances.chance, chances.happened)
    ax.plot([0, 1], [0, 1], color=GREY, linestyle="--", linewidth=1)
    ax.errorbar(
        curve.chance,
        curve.rate,
        yerr=2 * curve.error,
        color=PALETTE[6],
        marker="s",
        markersize=4,
        linewidth=1,
        capsize=3,
    )
    for x, y, n in zip(curve.chance, curve.rate, curve.count, strict=True):
        ax.annotate(str(n), (x, y), xytext=(4, -9), textcoords="offset points", fontsize=7)
    ax.set_xlim(-0.03, 1.03)
    ax.set_ylim(-0.03, 1.03)
    ax.set_xlabel(_("chance told"))
    ax.set_ylabel(_("share that happened"))
    return ax


def verification_figure(verification: Verification, *, inches: bool) -> Figure:
    """All charts of a verification: rain above, workable days below."""
    figure = Figure(figsize=(11, 6), layout="constrained")
    axes = figure.subplots(2, 3)
    plot_scores(verification.rain, ax=axes[0, 0]).set_title(_("Rain days"), fontsize=10)
    plot_reliability(verification.rain_days, ax=axes[0, 1]).set_title(
        _("Rain days, all leads"), fontsize=10
    )
    plot_amounts(verification.rain, inches=inches, ax=axes[0, 2]).set_title(
        _("Daily rain"), fontsize=10
    )
    if len(verification.workable_days.lead):
        plot_scores(verification.workable, ax=axes[1, 0]).set_title(_("Workable days"), fontsize=10)
        plot_reliability(verification.workable_days, ax=axes[1, 1]).set_title(
            _("Workable days, all leads"), fontsize=10
        )
    for ax in axes.flat:
        if not ax.has_data():
            ax.set_axis_off()
    return figure
