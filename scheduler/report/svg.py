"""Pictures of a plan: figures as text for a page, and what each says to those who cannot see."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from urllib.parse import quote

import matplotlib
import numpy as np
from markupsafe import Markup
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from scheduler.farm.units import show_money
from scheduler.farm.wording import clock, crew_title
from scheduler.orders.model import Morning, Order
from scheduler.report.charts import cleared, plot_losses, plot_map, plot_rules, plot_timeline
from scheduler.report.curves import plot_grain, plot_ground
from scheduler.report.phrases import field_title


def figure_svg(figure: Figure) -> Markup:
    """A figure as a data address of an SVG; the same figure gives the same text."""
    out = io.StringIO()
    with matplotlib.rc_context(
        {
            "svg.hashsalt": "afterrain",  # the same names of parts on every run
            "svg.fonttype": "none",
            "hatch.linewidth": 0.5,
            "font.sans-serif": ["DejaVu Sans"],
        }
    ):
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    text = out.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = re.sub(r' id="[A-Za-z.]+\w*_\d+"', "", text)  # names of groups; what is used is hashed
    text = re.sub(r"(\d\.\d)\d+", r"\1", text)  # a tenth of a point is plenty
    text = re.sub(r"\s+", " ", text)
    return Markup("data:image/svg+xml," + quote(text, safe=" ;:/?@=+$,!~*'()[]{}|<>"))


def axes_svg(ax: Axes) -> Markup:
    """The figure of some axes as a data address."""
    figure = ax.figure
    assert isinstance(figure, Figure)
    return figure_svg(figure)


def farm_pictures(morning: Morning) -> dict[str, Markup]:
    """The pictures of the whole farm."""
    return {
        "timeline": axes_svg(plot_timeline(morning)),
        "map": axes_svg(plot_map(morning)),
        "rules": axes_svg(plot_rules(morning)),
        "losses": axes_svg(plot_losses(morning)),
    }


def field_pictures(morning: Morning, picked: Sequence[int]) -> dict[int, Markup]:
    """Grain above ground on the same hours, for rows of the season."""
    figure = Figure(figsize=(3.7, 2.35))
    upper, lower = figure.subplots(2, 1, sharex=True)
    figure.subplots_adjust(left=0.125, right=0.985, top=0.97, bottom=0.1, hspace=0.09)
    out = {}
    for row in picked:
        plot_grain(morning, row, ax=cleared(upper)).tick_params(labelbottom=False)
        plot_ground(morning, row, ax=cleared(lower))
        out[row] = figure_svg(figure)
    return out


def alternative_texts(morning: Morning) -> dict[str, str]:
    """What each picture of the whole farm says, for those who cannot see it."""
    money = morning.farm.currency
    ways = "; ".join(
        f"{crew_title(c.crew)}: {', '.join(field_title(o) for o in c.orders) or 'no field'}"
        for c in morning.crews
    )
    rules = ", ".join(
        f"{name} {show_money(cost, money)}" for name, cost in morning.rule_losses.items()
    )
    low, high = min(morning.member_loss), max(morning.member_loss)
    return {
        "timeline_alt": f"Orders of each crew against time, as listed above, {ways}.",
        "map_alt": f"Map of the farm with the way of each crew, {ways}.",
        "rules_alt": f"Expected loss: this plan {show_money(morning.loss, money)}; {rules}.",
        "losses_alt": f"Loss of this plan in {morning.members} forecast members, from "
        f"{show_money(low, money)} to {show_money(high, money)}.",
    }


def curve_text(morning: Morning, row: int, order: Order) -> str:
    """What the curves of a field say."""
    at = int((order.start.mid - morning.now).total_seconds() // 3600)
    first = morning.season.moisture.shape[2] - int(
        (morning.until - morning.now).total_seconds() // 3600
    )
    hour = min(max(first + at, 0), morning.season.moisture.shape[2] - 1)
    water = morning.season.water_top[:, row, hour]
    wet = f"{100 * np.median(water):.0f} %" if np.isfinite(water).all() else "unknown"
    return (
        f"Grain moisture and soil water of {field_title(order)} against time; at the start "
        f"{clock(order.start.mid, morning.now)} grain {order.moisture_pct.mid:.1f} %, water in the "
        f"top 15 cm {wet}."
    )
