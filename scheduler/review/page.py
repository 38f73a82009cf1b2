"""The review as one self-contained HTML file with its pictures, and its tables as CSV."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes

from scheduler.atomic import replace_folder
from scheduler.farm.units import show_number, unit_name
from scheduler.farm.wording import one_line
from scheduler.language.locale_formats import short_day
from scheduler.language.translation import N_, _
from scheduler.report.figures.axes import money_axis, new_axes, note
from scheduler.report.figures.palette import INK, PALETTE
from scheduler.report.figures.svg import axes_svg
from scheduler.report.phrases import PART_NAMES
from scheduler.report.template_environment import template_environment
from scheduler.review.counterfactuals import AS_DONE, BEST_POLICY
from scheduler.review.csv_tables import fields_csv, hours_csv
from scheduler.review.delay_accounting import Cause
from scheduler.review.phrases import (
    CAUSE_NAMES,
    adherence_line,
    adherence_rows,
    agreement_lines,
    cause_rows,
    counterfactual_rows,
    field_rows,
    headline,
    lost_lines,
    skill_rows,
    split_lines,
    split_notes,
    title,
    way_name,
)
from scheduler.review.review import Review

#: Causes drawn together (name, causes, colour, hatch), darkest first; hatches also tell them apart
#: in black and white.
GROUPS: tuple[tuple[str, tuple[Cause, ...], str, str], ...] = (
    (N_("cutting"), (Cause.CUT,), PALETTE[6], ""),
    (N_("rain or ground"), (Cause.GROUND,), PALETTE[4], ""),
    (N_("dew, grain moisture or straw"), (Cause.GRAIN, Cause.STRAW), PALETTE[2], "..."),
    (N_("wind, fire, lightning, heat"), (Cause.WIND, Cause.FIRE, Cause.HEAT), PALETTE[2], "xxx"),
    (N_("breakdown"), (Cause.DOWN,), "#ffffff", "xxx"),
    (N_("waiting"), (Cause.WAIT,), "#ffffff", "|||"),
    (N_("crew off or away"), (Cause.CREW,), "#ffffff", "---"),
    (N_("move"), (Cause.MOVE,), "#ffffff", "\\\\\\"),
    (N_("above the start moisture"), (Cause.HELD,), "#ffffff", "ooo"),
    (N_("open, not used"), (Cause.SPARE, Cause.ELSEWHERE), "#ffffff", ""),
    (N_("unknown, not ripe, all cut"), (Cause.UNKNOWN, Cause.GREEN, Cause.DONE), "#ffffff", "///"),
)
#: Letters of the causes in the calendar.
LETTERS = {
    Cause.GROUND: "G",
    Cause.GRAIN: "M",
    Cause.STRAW: "S",
    Cause.WIND: "W",
    Cause.FIRE: "F",
    Cause.HEAT: "L",
    Cause.DOWN: "B",
    Cause.WAIT: "T",
    Cause.CREW: "C",
    Cause.MOVE: "R",
    Cause.ELSEWHERE: "E",
    Cause.HELD: "D",
    Cause.SPARE: "O",
    Cause.UNKNOWN: "?",
    Cause.GREEN: "g",
}


def plot_hours(review: Review, *, ax: Axes | None = None) -> Axes:
    """Combine-hours of the working week by day and cause, stacked."""
    ax = ax or new_axes(9.0, 3.2)
    hours = np.einsum("ckd,k->cd", review.duty_hours, review.combines)
    base = np.zeros(len(review.days))
    x = np.arange(len(review.days))
    for name, causes, colour, hatch in GROUPS:
        height = hours[list(causes)].sum(axis=0)
        if height.sum() > 0.05:
            ax.bar(
                x,
                height,
                bottom=base,
                width=0.8,
                color=colour,
                hatch=hatch,
                edgecolor=INK,
                linewidth=0.5,
                label=_(name),
            )
        base += height
    step = max(1, len(x) // 18)
    ax.set_xticks(x[::step], [f"{short_day(d)}\n{d.day}" for d in review.days[::step]], fontsize=7)
    ax.set_ylabel(_("combine-hours"), fontsize=8)
    ax.tick_params(axis="y", labelsize=7)
    ax.set_xlim(-0.6, len(x) - 0.4)
    handles, labels = ax.get_legend_handles_labels()
    ax.legend(
        handles[::-1],
        labels[::-1],
        fontsize=7,
        loc="center left",
        bbox_to_anchor=(1.0, 0.5),
        frameon=False,
        handleheight=1.4,
    )
    return ax


def plot_counterfactuals(review: Review, *, ax: Axes | None = None) -> Axes:
    """Loss of each way to cut the season, with whiskers for the grain model's error."""
    ax = ax or new_axes(6.4, 0.8 + 0.3 * len(review.counterfactuals))
    ends = range(len(review.counterfactuals), 0, -1)
    means = [m.mean for m in review.counterfactuals]
    dark = {AS_DONE: PALETTE[6], BEST_POLICY: PALETTE[4]}
    ax.barh(
        list(ends),
        means,
        height=0.6,
        edgecolor=INK,
        linewidth=0.5,
        color=[dark.get(m.name, PALETTE[2]) for m in review.counterfactuals],
    )
    for y, m in zip(ends, review.counterfactuals, strict=True):
        ax.plot((m.low, m.high), (y - 0.22, y - 0.22), color=INK, linewidth=1.2)
        note(ax, show_number(m.mean), max(m.mean, m.high), y)
    ax.axvline(review.floor, color=INK, linewidth=0.9, linestyle="--")
    ax.set_yticks(
        list(ends),
        [way_name(m) for m in review.counterfactuals],
        fontsize=7.5,
        parse_math=False,
    )
    money_axis(
        ax,
        _("loss, {currency}", currency=review.observed.farm.currency),
        1.18 * max(*means, 1.0),
        ticks=5,
    )
    return ax


@dataclass(frozen=True, kw_only=True)
class CalendarCell:
    """One field's day in the calendar: a CSS class and a text."""

    style: str
    text: str


@dataclass(frozen=True, kw_only=True)
class CalendarRow:
    """One field in the calendar."""

    name: str
    cells: tuple[CalendarCell, ...]


def calendar(review: Review) -> list[CalendarRow]:
    """Rows of the calendar, one for each field, with a cell for each day.

    A cell shows the hours of cutting, else the letter of the cause with most hours; it is empty
    once nothing is left to cut.
    """
    by_field = review.field_hours.mean(axis=2)
    cut = review.field_hours[Cause.CUT].sum(axis=1)
    causes = [c for c in LETTERS if c is not Cause.CREW]
    out = []
    for i, field in enumerate(review.observed.farm.fields):
        cells = []
        for d in range(len(review.days)):
            if cut[i, d] > 0.05:
                cells.append(CalendarCell(style="cut", text=f"{max(1, round(cut[i, d])):d}"))
            elif by_field[Cause.DONE, i, d] > 23.5:
                cells.append(CalendarCell(style="over", text=""))
            else:
                most = max(causes, key=lambda c: float(by_field[c, i, d]))
                lost = " lost" if review.lost[i, d] else ""
                cells.append(CalendarCell(style=f"held{lost}", text=LETTERS[most]))
        name = f"{one_line(field.name)} ({one_line(field.id)})"
        out.append(CalendarRow(name=name, cells=tuple(cells)))
    return out


def _template_values(review: Review) -> dict[str, object]:
    """Values of the HTML template."""
    farm = review.observed.farm
    return {
        "title": title(review),
        "headline": headline(review),
        "lost_days": lost_lines(review),
        "causes": cause_rows(review),
        "split": split_lines(review),
        "split_notes": split_notes(review),
        "counterfactuals": counterfactual_rows(review),
        "fields": field_rows(review),
        "parts": [_(n) for p, n in PART_NAMES.items() if abs(review.parts[:, p]).max() >= 0.5],
        "agreement": agreement_lines(review),
        "skill": skill_rows(review),
        "adherence_line": adherence_line(review),
        "adherence": adherence_rows(review),
        "days": review.days,
        "calendar": calendar(review),
        "letters": [(LETTERS[c], _(CAUSE_NAMES[c])) for c in LETTERS if c is not Cause.CREW],
        "short_day": short_day,
        "unit": unit_name("area", farm.units),
        "notes": review.observed.notes,
        "hours_picture": axes_svg(plot_hours(review)),
        "counterfactuals_picture": axes_svg(plot_counterfactuals(review)),
    }


def review_html(review: Review) -> str:
    """The review as self-contained HTML; text that people wrote is escaped."""
    template = template_environment("scheduler.review").get_template("review.html")
    return template.render(**_template_values(review))


def write_review(review: Review, folder: Path) -> list[Path]:
    """Write HTML and CSV into `folder`/reviews/<last day>, all files or none."""
    home = folder / "reviews" / f"{review.days[-1]:%Y-%m-%d}"
    encoding = "utf-8-sig"  # the mark tells spreadsheets that the file is UTF-8
    return replace_folder(
        home,
        {
            "review.html": review_html(review).encode(),
            "hours.csv": hours_csv(review).encode(encoding),
            "fields.csv": fields_csv(review).encode(encoding),
        },
    )
