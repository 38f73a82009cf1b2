"""Loss of the plan: by forecast member, and beside the rules of thumb."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import StrMethodFormatter

from scheduler.orders.model import Morning
from scheduler.report.figures.axes import INK, PALETTE, money_axis, new_axes, note, short_name


def plot_losses(morning: Morning, *, ax: Axes | None = None) -> Axes:
    """Draw the sorted losses of the plan in all members, with their mean."""
    ax = ax or new_axes(3.7, 2.1)
    losses = np.sort(np.array(morning.member_loss))
    ax.bar(np.arange(1, len(losses) + 1), losses, color=PALETTE[3], edgecolor=INK, linewidth=0.4)
    ax.axhline(losses.mean(), color=INK, linewidth=0.9, linestyle="--")
    note(ax, "mean", 0.4, losses.mean(), up=5)
    ax.set_xlabel("forecast members, best to worst", fontsize=8)
    ax.set_ylabel(f"loss, {morning.farm.currency}", fontsize=8, parse_math=False)
    ax.yaxis.set_major_formatter(StrMethodFormatter("{x:,.0f}"))
    ax.tick_params(labelsize=7)
    return ax


def plot_rules(morning: Morning, *, ax: Axes | None = None) -> Axes:
    """Draw the loss of the plan beside those of the rules of thumb."""
    ax = ax or new_axes(3.7, 2.1)
    names = ["this plan", *map(short_name, morning.rule_losses)]
    losses = [morning.loss, *morning.rule_losses.values()]
    heights = range(len(names), 0, -1)
    colors = [PALETTE[5], *[PALETTE[2]] * len(morning.rule_losses)]
    ax.barh(list(heights), losses, height=0.6, color=colors, edgecolor=INK, linewidth=0.5)
    ax.set_yticks(list(heights), names, fontsize=7.5, parse_math=False)
    for y, loss in zip(heights, losses, strict=True):
        note(ax, f"{loss:,.0f}", loss, y)
    money_axis(ax, f"expected loss, {morning.farm.currency}", 1.22 * max(*losses, 1.0), ticks=4)
    return ax
