"""Rain as people write it beside a gauge."""

from datetime import UTC, datetime

import mornings
import pytest

from scheduler.errors import UnreadableError
from scheduler.farm.units import TRACE_MM, show_depth
from scheduler.season_book.entry_kinds import KINDS
from scheduler.season_book.formatting import write_value
from scheduler.season_book.value_parsing import read_value

RAIN = KINDS["rain"].facts[0]
NOW = datetime(2026, 8, 16, 11, tzinfo=UTC)
FARM = mornings.farm()


def read(text):
    return read_value(RAIN, text, FARM, crop="wheat_hard", now=NOW)


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("1/4", 0.25),
        ("1 1/2", 1.5),
        ("1-1/2", 1.5),
        ("½", 0.5),
        ("1½", 1.5),
        ("1/8 in", 0.125),
        ("0,25", 0.25),
        ("1,234", 1.234),
        (".62", 0.62),
    ],
)
def test_fractions_and_commas(text, inches):
    assert read(text) == pytest.approx(25.4 * inches)


@pytest.mark.parametrize("text", ["trace", "T", "t", "Trace"])
def test_a_trace_is_rain_too_little_to_measure(text):
    assert read(text) == TRACE_MM
    assert show_depth(read(text), "us") == show_depth(read(text), "metric") == "trace"
    again = read(write_value(RAIN, TRACE_MM, FARM, "wheat_hard"))
    assert show_depth(again, "us") == "trace"


@pytest.mark.parametrize("text", ["1/0", "1/", "/4", "1 2", "1/2/3", "tracey", "½½"])
def test_what_is_no_depth(text):
    with pytest.raises(UnreadableError):
        read(text)
