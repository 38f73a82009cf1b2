"""The data drawn, not the look: numbers, spans, units, and no global state."""

from dataclasses import replace

import matplotlib
import mornings
import numpy as np
import pytest
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure

from scheduler.report.figures.farm_map import MARKERS, STYLES, plot_map
from scheduler.report.figures.loss_charts import plot_losses, plot_rules
from scheduler.report.figures.palette import NIGHT, PALETTE
from scheduler.report.figures.timeline import plot_timeline

PLOTS = [
    plot_timeline,
    plot_map,
    plot_losses,
    plot_rules,
]


@pytest.fixture(scope="module")
def morning():
    return mornings.morning(fields=6, days=5, members=9, unknown=True)


def words(ax):
    return [t.get_text() for t in ax.texts]


@pytest.mark.parametrize("plot", PLOTS)
def test_draws_on_the_axes_given_and_leaves_no_style(morning, plot):
    before = dict(matplotlib.rcParams)
    ax = Figure().add_subplot()
    assert plot(morning, ax=ax) is ax
    assert dict(matplotlib.rcParams) == before


@pytest.mark.parametrize("plot", PLOTS)
def test_axes_carry_their_units(morning, plot):
    ax = plot(morning)
    label = f"{ax.get_xlabel()} {ax.get_ylabel()}"
    assert any(unit in label for unit in ("mi ", "%", "$", "farm time"))


# hand: 10:00 on the first day is 4 h after 06:00 NOW, which is HISTORY_DAYS * 24 h in.
def test_timeline_bars_run_from_start_to_finish(morning):
    ax = plot_timeline(morning)
    bars = {
        (round(p.get_x(), 6), round(p.get_width(), 6)) for p in ax.patches if p.get_height() < 1
    }
    first = mornings.HISTORY_DAYS * 24 + 4.0
    assert (first, 4.5) in bars
    numbers = [t for t in words(ax) if t.isdigit()]
    assert sorted(numbers) == sorted(
        str(n) for c in morning.crews for n in range(1, len(c.orders) + 1)
    )
    assert [t.get_text() for t in ax.get_yticklabels()][1:] == ["North", "South"]


def test_timeline_nights_are_dark_at_midnight_and_light_at_noon(morning):
    ax = plot_timeline(morning)
    nights = [
        (p.get_x(), p.get_x() + p.get_width())
        for p in ax.patches
        if np.allclose(p.get_facecolor()[:3], to_rgb(NIGHT))
    ]
    midnight = mornings.HISTORY_DAYS * 24 + 18.0
    assert any(a <= midnight <= b for a, b in nights)
    assert not any(a <= midnight + 12 <= b for a, b in nights)


def test_map_is_in_miles_about_the_base_and_numbers_every_order(morning):
    ax = plot_map(morning)
    assert sorted(t for t in words(ax) if t.isdigit()) == ["1", "1", "2", "2", "3"]
    # hand: 0.09 degrees north are 10.0 km, 6.23 mi
    assert any(
        abs(line.get_ydata()[0] - 6.23) < 0.01
        for line in ax.lines
        if line.get_marker() == "*" and len(line.get_ydata())
    )
    hatched = [p for p in ax.patches if p.get_hatch()]
    assert len(hatched) == 1  # the field in nobody's orders


def test_crews_differ_without_colour():
    assert len(set(MARKERS)) == len(MARKERS)
    assert len(set(STYLES)) == len(STYLES)
    ax = plot_map(mornings.morning(fields=6))
    ways = [line for line in ax.lines if str(line.get_label()).startswith("crew")]
    assert len({w.get_marker() for w in ways}) == len(ways)
    assert len({w.get_color() for w in ways}) == 1


def test_losses_are_sorted_and_rules_are_all_there(morning):
    heights = [p.get_height() for p in plot_losses(morning).patches]
    assert heights == sorted(morning.money.member_loss)
    ax = plot_rules(morning)
    rules = morning.money.rules
    np.testing.assert_allclose([p.get_width() for p in ax.patches], [r.more for r in rules])
    assert [t.get_text() for t in ax.get_yticklabels()] == [r.name for r in rules]
    (lines,) = ax.collections  # two standard errors to each side
    ends = sorted(tuple(s[:, 0]) for s in lines.get_segments())
    wanted = sorted((r.more - 2 * r.error, r.more + 2 * r.error) for r in rules)
    np.testing.assert_allclose(ends, wanted)


# One palette, light to dark: CIE lightness falls by even steps, so it survives grey print.
def test_palette_is_sequential_in_lightness():
    linear = [
        np.array([c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(p)])
        for p in PALETTE
    ]
    y = np.array([v @ [0.2126, 0.7152, 0.0722] for v in linear])
    lightness = 116 * np.cbrt(y) - 16  # IEC 61966-2-1 and CIE 1976
    steps = -np.diff(lightness)
    assert (steps > 5).all()


def test_names_with_dollar_signs_are_not_mathematics():
    morning = mornings.morning(fields=3)
    crew = morning.crews[0]
    odd = replace(morning, crews=(replace(crew, crew="$a_$ ^"), morning.crews[1]))
    for ax in (plot_timeline(odd), plot_map(odd)):
        ax.figure.canvas.draw()
