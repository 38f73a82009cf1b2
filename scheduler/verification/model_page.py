"""The model validation as one self-contained page: tables, then the charts behind them."""

from __future__ import annotations

import base64
import io
from collections.abc import Callable
from functools import partial

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from readiness.soil.running_gear import USUAL_CART_T, USUAL_COMBINE_T
from readiness.validation.days_suitable import TEST_STATE
from readiness.validation.soil_moisture import LAST_TRAINING, SoilResult, contingency_table
from readiness.validation.validate import Validation
from scheduler.report.template_environment import template_environment
from scheduler.verification.model_charts import plot_scatter, plot_series, plot_weeks
from scheduler.verification.model_tables import (
    CAVEAT,
    after_rain_lines,
    row_cells,
    station_lines,
    strength_lines,
    year_lines,
)

SQUARE_IN, WIDE_IN = (5.0, 5.0), (8.0, 2.6)


def validation_page(validation: Validation) -> str:
    """The page of a validation, HTML."""
    head, *strengths = strength_lines()
    weeks = [
        (
            str(w.state),
            str(w.week_ending)[:10],
            f"{w.reported:.1f}",
            f"{w.modelled:.1f}",
            "tests" if w.state == TEST_STATE else "chooses",
        )
        for w in validation.weeks.itertuples()
    ]
    template = template_environment("scheduler.verification").get_template("validation.html")
    return template.render(
        caveat=CAVEAT,
        last_training=LAST_TRAINING,
        combine_t=f"{USUAL_COMBINE_T:g}",
        cart_t=f"{USUAL_CART_T:g}",
        rows=[row_cells(row) for row in validation.rows],
        stations=station_lines(validation.soils),
        years=year_lines(validation.soils),
        counts=contingency_table(s.cart_limit for s in validation.soils)
        if validation.soils
        else None,
        scatter=_png(lambda ax: plot_scatter(validation.soils, ax=ax), SQUARE_IN)
        if validation.soils
        else None,
        series=[
            (soil.name.replace("_", " "), _png(partial(_draw_series, soil), WIDE_IN))
            for soil in validation.soils
        ],
        weeks=weeks,
        weeks_chart=_png(lambda ax: plot_weeks(validation, ax=ax), SQUARE_IN) if weeks else None,
        after_rain=after_rain_lines(validation.after_rain),
        strength_head=head,
        strengths=strengths,
    )


def _draw_series(soil: SoilResult, ax: Axes) -> None:
    plot_series(soil, ax=ax)


def _png(draw: Callable[[Axes], object], size: tuple[float, float]) -> str:
    """A chart as a data URL; `size` in inches."""
    figure = Figure(figsize=size, layout="constrained")
    axes = figure.subplots()
    draw(axes)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    out = io.BytesIO()
    figure.savefig(out, format="png", dpi=110, metadata={"Software": None})
    data = base64.b64encode(out.getvalue()).decode("ascii")
    return f"data:image/png;base64,{data}"
