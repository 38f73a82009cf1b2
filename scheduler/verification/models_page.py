"""One self-contained page of a validation: the table, then the pictures behind each line."""

from __future__ import annotations

import base64
import html
import io
from collections.abc import Callable, Iterable, Sequence

import matplotlib.dates
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from readiness.soil.properties import Land, bulk_density
from readiness.soil.trafficability import strengths_at_limits, water_limits
from readiness.validation.soil_moisture import (
    FIELD_MACHINE_T,
    LAST_TRAINING,
    LOADED_CART_T,
    SoilResult,
    contingency_table,
)
from readiness.validation.stations import COMPARED_MONTHS
from readiness.validation.validate import Validation, ValidationRow
from scheduler.farm_files.vocabulary import TEXTURES

INK, GREY, BLUE = "#000000", "#9a9a9a", "#2c5f8a"
STYLE = """
body { font: 16px/1.45 Georgia, serif; color: #000; background: #fff; max-width: 60em;
       margin: 2em auto; padding: 0 1em; }
table { border-collapse: collapse; width: 100%; margin: 1em 0; font-size: 0.92em; }
th, td { border-bottom: 1px solid #bbb; padding: 0.3em 0.6em; text-align: left;
         vertical-align: top; }
img { max-width: 100%; } figure { margin: 1.5em 0; break-inside: avoid; }
figcaption { font-size: 0.9em; } td.word { font-weight: bold; white-space: nowrap; }
.wide { overflow-x: auto; }
"""
#: What the figures are not: said on the page and in the terminal.
CANDOUR = (
    "The model's own constants (drainage, redistribution, evaporation under sod) and the rules for "
    "days suitable were chosen among variants while sixteen stations of all years and forty "
    "state-weeks were in view; stations and years never seen are the fair test."
)
WORDS = {True: "reached", False: "missed", None: "no data"}


def plot_series(soil: SoilResult, *, depth: int = 5, ax: Axes | None = None) -> Axes:
    """Water seen and modelled of the last tested year with readings, m³/m³."""
    ax = ax if ax is not None else Figure(figsize=(8, 2.6)).subplots()
    year = soil.days.astype("datetime64[Y]").astype(np.int64) + 1970
    month = soil.days.astype("datetime64[M]").astype(np.int64) % 12 + 1
    season = (
        (month >= COMPARED_MONTHS[0])
        & (month <= COMPARED_MONTHS[1])
        & np.isfinite(soil.measured[depth])
    )
    days = np.bincount(year[season], minlength=1)
    full = np.flatnonzero(days > 100)
    part = season & (year == (full[-1] if full.size else year[-1]))
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
            soil.days[part], soil.calibrated[depth][part], color=BLUE, lw=1.4,
            label=f"calibrated to {LAST_TRAINING}",
        )  # fmt: skip
    ax.set_title(f"{soil.name.replace('_', ' ')}, {depth} cm", loc="left", fontsize=9)
    ax.set_ylabel("water, m³/m³")
    month_of = matplotlib.dates.DateFormatter("%Y-%m")  # type: ignore[no-untyped-call]
    ax.xaxis.set_major_formatter(month_of)
    ax.legend(frameon=False, fontsize=8, ncols=3)
    return ax


def plot_scatter(soils: Sequence[SoilResult], *, depth: int = 5, ax: Axes | None = None) -> Axes:
    """Every tested day of every station: calibrated model against probe."""
    ax = ax if ax is not None else Figure(figsize=(5, 5)).subplots()
    for soil in soils:
        if soil.calibrated:
            year = soil.days.astype("datetime64[Y]").astype(np.int64) + 1970
            part = (year > LAST_TRAINING) & np.isfinite(soil.measured[depth])
            ax.plot(
                soil.measured[depth][part][::5], soil.calibrated[depth][part][::5],
                ".", ms=2, alpha=0.4, color=BLUE,
            )  # fmt: skip
    ax.plot([0, 0.6], [0, 0.6], color=INK, lw=0.8)
    ax.set_xlabel("probe, m³/m³")
    ax.set_ylabel("calibrated model, m³/m³")
    ax.set_title(f"{depth} cm, tested years, every fifth day", loc="left", fontsize=9)
    return ax


def plot_weeks(found: Validation, *, ax: Axes | None = None) -> Axes:
    """Days suitable: modelled against reported, one letter pair a state."""
    ax = ax if ax is not None else Figure(figsize=(5, 5)).subplots()
    for week in found.weeks.itertuples():
        ax.text(float(week.reported), float(week.modelled), str(week.state), fontsize=8)  # type: ignore[arg-type]
    ax.plot([0, 7], [0, 7], color=INK, lw=0.8)
    ax.set_xlim(0, 7.3)
    ax.set_ylim(0, 7.3)
    ax.set_xlabel("reported, days a week")
    ax.set_ylabel("modelled, days a week")
    return ax


def _picture(draw: Callable[[Axes], object], size: tuple[float, float], words: str) -> str:
    figure = Figure(figsize=size, layout="constrained")
    axes = figure.subplots()
    draw(axes)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    out = io.BytesIO()
    figure.savefig(out, format="png", dpi=110, metadata={"Software": None})
    data = base64.b64encode(out.getvalue()).decode("ascii")
    text = html.escape(words)
    return (
        f'<figure><img alt="{text}" src="data:image/png;base64,{data}">'
        f"<figcaption>{text}</figcaption></figure>"
    )


def _table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    cells = "".join(f"<th scope=col>{html.escape(h)}</th>" for h in head)
    body = "".join(
        "<tr>" + "".join(f"<td>{html.escape(c)}</td>" for c in row) + "</tr>" for row in rows
    )
    return (
        f"<div class=wide><table><thead><tr>{cells}</tr></thead><tbody>{body}</tbody></table></div>"
    )


def row_cells(row: ValidationRow) -> tuple[str, str, str, str]:
    """A line as texts: what, target, reached, the word."""
    return row.name, row.target, row.reached, WORDS[row.met]


def station_lines(soils: Sequence[SoilResult]) -> list[tuple[str, ...]]:
    """Per station: r and unbiased RMSE of each score, and days tested."""
    names = (
        "5 cm, no calibration", "5 cm, calibrated, trained", "5 cm, calibrated, tested",
        "10 cm, calibrated, tested",
    )  # fmt: skip
    lines = []
    for soil in soils:
        told = [soil.scores.get(n) for n in names]
        cells = [f"{s.r:.2f} {s.unbiased_rmse:.3f}" if s else "-" for s in told]
        lines.append((soil.name, *cells, str(told[2].days if told[2] else 0)))
    return lines


def year_lines(soils: Sequence[SoilResult]) -> list[tuple[str, str, str, str]]:
    """Per tested year: medians over stations of r and unbiased RMSE at 5 cm, calibrated."""
    lines = []
    for year in sorted({y for s in soils for y in s.by_year}):
        found = [s.by_year[year] for s in soils if year in s.by_year]
        found = [x for x in found if np.isfinite(x.r) and x.days >= 60]
        if found:
            r, unbiased = ([getattr(x, n) for x in found] for n in ("r", "unbiased_rmse"))
            lines.append(
                (str(year), f"{np.median(r):.2f}", f"{np.median(unbiased):.3f}", str(len(found)))
            )
    return lines


def strength_lines() -> list[tuple[str, ...]]:
    """Per texture and limit: water, strength by each relation, strength the vehicles need, kPa."""
    sand, clay = np.array(list(TEXTURES.values())).T / 100.0
    land = Land.of(len(sand), sand=sand, clay=clay)
    limits = water_limits(
        land.field_capacity, land.saturation, sand=sand, clay=clay,
        combine_t=FIELD_MACHINE_T, cart_t=LOADED_CART_T, offset=np.zeros(len(sand)),
    )  # fmt: skip
    opinions = strengths_at_limits(
        [name.replace("_", " ") for name in TEXTURES], limits, sand=sand, clay=clay,
        density=bulk_density(sand, clay, land.organic_pct), combine_t=FIELD_MACHINE_T,
        cart_t=LOADED_CART_T,
    )  # fmt: skip
    head = ("texture", "limit", "water 15-30 cm", *opinions[0].strength)
    lines = [(*head, *(f"needed: {who}" for who in opinions[0].needed))]
    for o in opinions:
        kpa = (*o.strength.values(), *o.needed.values())
        lines.append((o.texture, o.limit, f"{o.water:.3f}", *(f"{v:.0f}" for v in kpa)))
    return lines


def validation_page(found: Validation) -> str:
    """HTML of the whole validation."""
    parts = [
        "<!doctype html><html lang=en><meta charset=utf-8>",
        "<meta name=viewport content='width=device-width, initial-scale=1'>",
        f"<title>Validation</title><style>{STYLE}</style><body><h1>Validation</h1>",
        "<p>The model against open records. Parameters are fitted on years up to "
        f"{LAST_TRAINING} only; tested years come after. Calibrated probes also get a gain and an "
        "offset each, as is usual for dielectric probes. The stations stand under grass and have "
        "no wind record (2 m/s is taken).</p>",
        f"<p>{CANDOUR}</p>",
        _table(("what", "target", "reached", ""), map(row_cells, found.rows)),
    ]
    if found.soils:
        parts += _soil_parts(found)
    if len(found.weeks):
        parts += [
            "<h2>Days suitable for fieldwork</h2>",
            _picture(
                lambda ax: plot_weeks(found, ax=ax), (5, 5),
                "Modelled and reported days of each state's week; the line is equality.",
            ),
            _table(
                ("state", "week ending", "reported", "modelled"),
                (
                    (str(w.state), str(w.week_ending)[:10], f"{w.reported:.1f}",
                     f"{w.modelled:.1f}")
                    for w in found.weeks.itertuples()
                ),
            ),
        ]  # fmt: skip
    head, *lines = strength_lines()
    parts += [
        "<h2>Strength at the bearing limits</h2>",
        "<p>Two published families of relations turn water into strength (kPa) and disagree; the "
        "limits rest on shares of field capacity instead, and on your ground checks. What each "
        "family says of the ground at those limits, and what a combine of "
        f"{FIELD_MACHINE_T:g} t and a cart of {LOADED_CART_T:g} t need:</p>",
        _table(head, lines),
    ]
    return "\n".join([*parts, "</body></html>"])


def _soil_parts(found: Validation) -> list[str]:
    count = contingency_table(found.soils)
    return [
        "<h2>Soil moisture by station</h2>",
        _table(
            ("station", "5 cm guessed: r, ubRMSE", "5 cm trained", "5 cm tested", "10 cm tested",
             "days tested"),
            station_lines(found.soils),
        ),
        "<h2>By tested year, 5 cm, medians</h2>",
        _table(("year", "r", "ubRMSE m³/m³", "stations"), year_lines(found.soils)),
        "<h2>Wet and dry days at the bearing limit</h2>",
        _table(
            ("", "seen wet", "seen dry"),
            (
                ("model wet", str(count["hit"]), str(count["false alarm"])),
                ("model dry", str(count["missed"]), str(count["rightly dry"])),
            ),
        ),
        _picture(
            lambda ax: plot_scatter(found.soils, ax=ax), (5, 5),
            "Calibrated model and probe at 5 cm; the line is equality.",
        ),
        *(
            _picture(
                lambda ax, s=s: plot_series(s, ax=ax), (8, 2.6),  # type: ignore[misc]
                f"Water at 5 cm at {s.name.replace('_', ' ')}, last tested season.",
            )
            for s in found.soils
        ),
    ]  # fmt: skip
