"""Loss of the plan by forecast member, and what rules of thumb lose more."""

from __future__ import annotations

from math import isfinite

import numpy as np
from matplotlib.axes import Axes

from scheduler.language.translation import _
from scheduler.orders.model import Morning
from scheduler.report.figures.axes import (
    money_axis,
    money_text,
    new_axes,
    note,
    short_name,
)
from scheduler.report.figures.palette import INK, PALETTE
from scheduler.report.order_phrases import REAL_ERRORS, own_order_kept


def plot_losses(morning: Morning, *, ax: Axes | None = None) -> Axes:
    """Draw the sorted losses of the plan in all members, with their mean."""
    ax = ax or new_axes(3.7, 2.1)
    losses = np.sort(np.array(morning.money.member_loss))
    ax.bar(np.arange(1, len(losses) + 1), losses, color=PALETTE[3], edgecolor=INK, linewidth=0.4)
    ax.axhline(losses.mean(), color=INK, linewidth=0.9, linestyle="--")
    note(ax, _("mean"), 0.4, losses.mean(), up=5)
    ax.set_xlabel(_("forecast members, best to worst"), fontsize=8)
    ax.set_ylabel(
        _("loss, {currency}", currency=morning.farm.currency), fontsize=8, parse_math=False
    )
    ax.yaxis.set_major_formatter(money_text)
    ax.tick_params(labelsize=7)
    return ax


def plot_rules(morning: Morning, *, ax: Axes | None = None) -> Axes:
    """Draw what each rule of thumb loses more than the plan, with two standard errors each way."""
    ax = ax or new_axes(3.7, 2.1)
    rules = morning.money.rules
    heights = np.arange(len(rules), 0, -1)
    more = np.array([r.more for r in rules])
    errors = np.array([r.error if isfinite(r.error) else 0.0 for r in rules])
    ax.barh(heights, more, height=0.6, color=PALETTE[2], edgecolor=INK, linewidth=0.5)
    ax.errorbar(more, heights, xerr=REAL_ERRORS * errors, fmt="none", ecolor=INK, capsize=2.5)
    ax.axvline(0.0, color=INK, linewidth=0.9)
    names = [short_name(_(r.name)) for r in rules]
    ax.set_yticks(heights, names, fontsize=7.5, parse_math=False)
    label = _(
        "{currency} lost more than by this plan{kept}",
        currency=morning.farm.currency,
        kept=own_order_kept(morning),
    )
    money_axis(ax, label, ticks=4)
    return ax
