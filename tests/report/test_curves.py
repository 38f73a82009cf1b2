"""Curves of a field: the data drawn, read back from the picture."""

import re
from xml.etree import ElementTree

import mornings
import numpy as np
import pytest

from readiness.season.codes import Tier
from scheduler.report.figures.curves import (
    ACROSS,
    GRAIN_AT,
    LEFT,
    STEP_H,
    fan,
    field_curves,
    ground_limits,
    tier_spans,
)
from scheduler.report.figures.palette import PALETTE
from scheduler.report.figures.panel import Panel, data_address, path, ticks

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def morning():
    return mornings.morning(fields=6, days=5, members=9, unknown=True)


def points(d):
    """The points of path data made by `path`."""
    numbers = [int(n) for n in re.findall(r"-?\d+", d)]
    return np.cumsum(np.array(numbers).reshape(-1, 2), axis=0)


def drawn(svg, **attributes):
    return [
        e
        for e in ElementTree.fromstring(svg).iter()
        if all(e.get(name.replace("_", "-")) == value for name, value in attributes.items())
    ]


def words(svg):
    return [t.text for t in ElementTree.fromstring(svg).iter(f"{SVG}text")]


def test_the_line_is_the_median_over_members(morning):
    svg = field_curves(morning, 1)
    line, _ = drawn(svg, stroke=PALETTE[6])
    xs, ys = points(line.get("d")).T
    hours = np.arange(48, morning.season.moisture.shape[2], STEP_H)  # from two days before
    median = np.median(morning.season.moisture[:, 1, hours], axis=0)
    np.testing.assert_allclose(xs, LEFT + (hours - 48) / (hours[-1] - 48) * ACROSS, atol=0.5)
    # law: the picture is a line through the data, to the unit it is drawn in
    slope, zero = np.polyfit(ys, median, 1)
    assert slope < 0
    assert np.abs(ys * slope + zero - median).max() < 2 * abs(slope)
    assert ys.min() >= GRAIN_AT[0]
    assert ys.max() <= sum(GRAIN_AT)


def test_limits_are_named(morning):
    text = " ".join(filter(None, words(field_curves(morning, 1))))
    for name in (
        "taken 17",
        "base 13.5",
        "threshes",
        "grain, % wet",
        "soil water, %",
        "carts under",
    ):
        assert name in text


def test_ground_limits_agree_with_the_bearing_model(morning):
    limits = ground_limits(morning.farm, 2)
    assert 0 < limits["carts under"] <= limits["combines under"] < 60


def test_unknown_hours_are_crossed_not_drawn(morning):
    svg = field_curves(morning, 0)  # unknown from the fifth day on
    assert drawn(svg, fill="url(#u)")
    known = field_curves(morning, 1)
    assert not drawn(known, fill="url(#u)")
    last = max(points(e.get("d"))[:, 0].max() for e in drawn(svg, stroke=PALETTE[6]))
    assert last < max(points(e.get("d"))[:, 0].max() for e in drawn(known, stroke=PALETTE[6]))


def test_fan_is_the_percentiles_and_unknown_where_no_member_knows():
    # hand: of 0..10 the percentiles 10, 25, 50, 75, 90 are 1, 2.5, 5, 7.5, 9
    values = np.column_stack([np.arange(11.0), np.full(11, np.nan)])
    bands = fan(values)
    np.testing.assert_allclose(bands[:, 0], [1, 2.5, 5, 7.5, 9])
    assert np.isnan(bands[:, 1]).all()


def test_the_strip_shows_the_likeliest_tier(morning):
    hours = morning.season.tier.shape[2]
    shown = np.full(hours, -1)
    for tier, begin, end in tier_spans(morning, 2, 0, hours - 1):
        assert (shown[begin:end] == -1).all()
        shown[begin:end] = tier
    share = (morning.season.tier[:, 2] == Tier.SOFT).mean(axis=0)
    assert (shown[share > 0.5] == Tier.SOFT).all()
    assert (shown[share < 0.3] != Tier.SOFT).all()
    assert (shown >= 0).all()


def test_path_data_give_the_points_back():
    made = [(3.0, 4.0), (10.0, 2.0), (10.0, 2.0), (7.0, 20.0), (-1.0, -1.0)]
    assert path(made) == "M3 4l7-2 0 0-3 18-8-21"
    assert points(path(made)).tolist() == [[int(x), int(y)] for x, y in made]
    assert path(made[:1]) == "M3 4"


@pytest.mark.parametrize(
    ("low", "high", "wanted"),
    [(11.2, 21.4, [15, 20]), (0.0, 1.0, [0, 0.5, 1.0]), (9.0, 31.0, [10, 20, 30])],
)
def test_ticks_are_few_and_round(low, high, wanted):
    assert ticks(low, high) == pytest.approx(wanted)


def test_names_are_escaped():
    panel = Panel(left=0, top=0, width=10, height=10, x=(0.0, 1.0), y=(0.0, 1.0))
    panel.text("<b>&", 0, 0)
    assert "&lt;b&gt;&amp;" in panel.marks[0]
    assert data_address("<svg>#% </svg>") == "data:image/svg+xml,<svg>%23%25 </svg>"
