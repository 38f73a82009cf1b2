"""Figures as text inside a page, each with the text that stands for it."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence

import matplotlib
import numpy as np
from markupsafe import Markup
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from scheduler.farm.units import show_money, show_number
from scheduler.farm.wording import clock, crew_title, percent
from scheduler.language.translation import _
from scheduler.orders.model import Morning, Order, RuleComparison
from scheduler.report.figures.axes import hour_of
from scheduler.report.figures.curves import field_curves
from scheduler.report.figures.farm_map import plot_map
from scheduler.report.figures.loss_charts import plot_losses, plot_rules
from scheduler.report.figures.panel import data_address
from scheduler.report.figures.timeline import plot_timeline
from scheduler.report.order_phrases import error_text, own_order_kept
from scheduler.report.phrases import field_title


def figure_svg(figure: Figure) -> Markup:
    """Write a figure as the data address of an SVG; the same figure gives the same text."""
    out = io.StringIO()
    with matplotlib.rc_context(
        {
            "svg.hashsalt": "afterrain",  # ids do not change from run to run
            "svg.fonttype": "none",
            "hatch.linewidth": 0.5,
            "font.sans-serif": ["DejaVu Sans"],
        }
    ):
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    text = out.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = re.sub(r' id="[A-Za-z.]+\w*_\d+"', "", text)  # of groups; ids in use are hashes
    text = re.sub(r"(\d\.\d)\d+", r"\1", text)  # a tenth of a point is fine enough
    text = re.sub(r"\s+", " ", text)
    return data_address(text)


def axes_svg(ax: Axes) -> Markup:
    """Write the figure that holds the axes as the data address of an SVG."""
    figure = ax.figure
    assert isinstance(figure, Figure)
    return figure_svg(figure)


def farm_pictures(morning: Morning) -> dict[str, Markup]:
    """Pictures of the whole farm by name."""
    return {
        "timeline": axes_svg(plot_timeline(morning)),
        "map": axes_svg(plot_map(morning)),
        "rules": axes_svg(plot_rules(morning)),
        "losses": axes_svg(plot_losses(morning)),
    }


def field_pictures(morning: Morning, rows: Sequence[int]) -> dict[int, Markup]:
    """Pictures of grain above ground against the same hours, for rows of the season."""
    return {row: data_address(field_curves(morning, row)) for row in rows}


def alternative_texts(morning: Morning) -> dict[str, str]:
    """Texts that stand for the pictures of the whole farm, for those who cannot see them."""
    money, none = morning.farm.currency, _("no field")
    ways = "; ".join(
        f"{crew_title(c.crew)}: {', '.join(field_title(o) for o in c.orders) or none}"
        for c in morning.crews
    )
    kept = own_order_kept(morning)
    rules = ", ".join(_rule_alternative(r, money) for r in morning.money.rules)
    low, high = min(morning.money.member_loss), max(morning.money.member_loss)
    return {
        "timeline_alt": _("Orders of each crew against time, as listed above, {ways}.", ways=ways),
        "map_alt": _("Map of the farm with the way of each crew, {ways}.", ways=ways),
        "rules_alt": _(
            "Lost more than by this plan{kept}, with its standard error: {rules}.",
            kept=kept,
            rules=rules,
        ),
        "losses_alt": _(
            "Loss of this plan{kept} in {members} forecast members, from {low} to {high}.",
            kept=kept,
            members=morning.members,
            low=show_money(low, money),
            high=show_money(high, money),
        ),
    }


def _rule_alternative(rule: RuleComparison, currency: str) -> str:
    """What a rule loses more, and its standard error."""
    amount = show_money(rule.more, currency)
    return f"{_(rule.name)} {amount}{error_text(rule.error, currency)}"


def curve_text(morning: Morning, row: int, order: Order) -> str:
    """Text that stands for the curves of an order's field."""
    last = morning.season.moisture.shape[2] - 1
    start = min(max(int(hour_of(morning, order.start.mid)), 0), last)
    water = morning.season.water_top[:, row, start]
    known = np.isfinite(water).all()
    return _(
        "Grain moisture and soil water of {field} against time; at the start {time} grain "
        "{moisture} %, water in the wetter of 0-5 and 5-15 cm {water}.",
        field=field_title(order),
        time=clock(order.start.mid, morning.now, morning.farm.units),
        moisture=show_number(order.moisture_pct.mid, 1),
        water=percent(float(np.median(water))) if known else _("unknown"),
    )
