"""The forecast verification as a page and as lines of a table."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np

from scheduler.atomic import write_file
from scheduler.farm.model import Farm
from scheduler.farm.units import INCH_MM, short_number, show_number
from scheduler.language.translation import _, ngettext
from scheduler.report.figures.svg import figure_svg
from scheduler.report.template_environment import template_environment
from scheduler.verification.forecast_charts import verification_figure
from scheduler.verification.forecasts import RAIN_DAY_MM, WORKABLE_DAY_H, Verification
from scheduler.verification.lead_scores import LeadScore

#: Days below which a lead is marked as having few; assumed: with fewer the standard error is as
#: large as the score.
FEW_DAYS = 10


def truth_text(verification: Verification) -> str:
    """The observations that rain is verified against."""
    if not verification.gauges:
        return _("weather records (no gauge reading of those days)")
    return ngettext("{n} gauge", "{n} gauges", verification.gauges)


def table_lines(farm: Farm, verification: Verification) -> list[str]:
    """The scores as lines of a table, and a line that explains them."""
    inches = farm.units == "us"
    unit, name = (INCH_MM, "in") if inches else (1.0, "mm")
    amount = _("amount, {unit}", unit=name)
    rain_days, workable_days = _("rain days"), _("workable days")
    day, days, skill, bias = _("day"), _("days"), _("skill"), _("bias")
    brier = f"{'Brier':>6} {'±':>6} {skill:>6} {days:>6}"
    lines = [
        ngettext(
            "{n} issue of {product} against {truth}; ± is one standard error",
            "{n} issues of {product} against {truth}; ± is one standard error",
            verification.issues,
            product=verification.product,
            truth=truth_text(verification),
        ),
        f"{'':4}  {rain_days:^28}  {amount:^22}  {workable_days:^28}",
        f"{day:>4}  {brier}  {'CRPS':>6} {'±':>6} {bias:>7}  {brier}",
    ]
    few_days = "  " + _("few days")
    for rain, workable in zip(verification.rain, verification.workable, strict=True):
        if not rain.cases and not workable.cases:
            continue
        amount = " ".join(
            _cell(value / unit, width, 3 if inches else 2)
            for value, width in ((rain.crps, 6), (rain.crps_error, 6), (rain.bias, 7))
        )
        few = min(rain.days or FEW_DAYS, workable.days or FEW_DAYS) < FEW_DAYS
        cells = f"{_brier_cells(rain)}  {amount}  {_brier_cells(workable)}"
        lines.append(f"{rain.lead:>4}  {cells}{few_days if few else ''}")
    lines.append(
        _(
            "A rain day has {rain} or more, a workable day {hours} harvestable hours or more, as "
            "reckoned from the weather that came. Skill 1 is perfect, 0 no better than always "
            "saying the mean chance.",
            rain=_rain_day(farm),
            hours=short_number(WORKABLE_DAY_H),
        )
    )
    return lines


def _rain_day(farm: Farm) -> str:
    """Least rain of a rain day in the farm's units."""
    if farm.units == "us":
        return f"{show_number(RAIN_DAY_MM / INCH_MM, 2)} in"
    return f"{short_number(RAIN_DAY_MM)} mm"


def _cell(value: float, width: int, digits: int = 2) -> str:
    """A number of some digits, right-aligned; '-' for NaN."""
    return f"{show_number(value, digits) if np.isfinite(value) else '-':>{width}}"


def _brier_cells(score: LeadScore) -> str:
    """Brier score, its standard error, skill and days."""
    numbers = (score.brier, score.brier_error, score.skill)
    return " ".join([*(_cell(value, 6) for value in numbers), f"{score.days:>6}"])


def write_verification(folder: Path, farm: Farm, verification: Verification) -> list[Path]:
    """Write verification.html (one self-contained page) and verification.png."""
    figure = verification_figure(verification, inches=farm.units == "us")
    png = io.BytesIO()
    figure.savefig(png, format="png", dpi=110)
    template = template_environment("scheduler.verification").get_template("verification.html")
    page = template.render(
        farm=farm,
        verification=verification,
        truth=truth_text(verification),
        picture=figure_svg(figure),
        lines=table_lines(farm, verification),
    )
    folder.mkdir(parents=True, exist_ok=True)
    paths = [folder / "verification.html", folder / "verification.png"]
    write_file(paths[0], page)
    write_file(paths[1], png.getvalue())
    return paths
