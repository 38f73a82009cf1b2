"""What a plan says of its weather: where it is no forecast for this farm."""

from dataclasses import replace
from datetime import timedelta

import mornings
import pytest

from scheduler.orders.document import read_issued_plan
from scheduler.report.plan_document import document
from scheduler.report.sheet import sheet
from scheduler.report.terminal.first_screen import LINES, first_screen
from scheduler.report.terminal.full_plan import full_plan
from scheduler.report.weather_phrases import (
    beyond_forecast,
    cut_by_day,
    weather_doubts,
    weather_line,
)
from scheduler.weather.doubts import WeatherDoubts

NOW = mornings.NOW
MADE_UP = WeatherDoubts(past_stored=False, outlook_stored=False)


@pytest.fixture
def morning():
    return mornings.morning(fields=6)


def until(hours):
    return NOW + timedelta(hours=hours)


def test_a_plan_on_a_young_forecast_of_its_own_place_has_no_doubts(morning):
    assert weather_doubts(morning) == ()
    text = first_screen(morning)
    assert "WEATHER" not in text
    assert "*" not in text
    assert "beyond the forecast" not in full_plan(morning)


# hand: 06:00 on Saturday and 25 hours are Sunday 07:00, and 48 hours Monday 06:00
@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"doubts": WeatherDoubts(past_stored=False)}, "No past weather is stored: check the"),
        (
            {"doubts": WeatherDoubts(elsewhere_km=160.9344)},
            "The forecast is for a place 100 mi from the farthest field.",
        ),
        ({"age_h": 31.2}, "The forecast is 31 h old: fetch a newer one."),
        (
            {"doubts": WeatherDoubts(hole=(until(25), until(30)))},
            "The forecast has a hole from Sun 7 am to Sun noon.",
        ),
        (
            {"forecast_until": until(48)},
            "Nothing after Mon 6 am is forecast: later days follow past weather.",
        ),
        (
            {"forecast_until": until(48), "doubts": WeatherDoubts(outlook_stored=False)},
            "Nothing after Mon 6 am is forecast: later days follow made-up weather.",
        ),
        (
            {"forecast_until": until(25)},
            "The forecast reaches only 25 hours ahead. Later orders follow past weather: fetch a",
        ),
        (
            {"forecast_until": until(25), "doubts": MADE_UP},
            "The forecast reaches only 25 hours ahead. Later orders follow made-up weather:",
        ),
    ],
)
def test_each_doubt_stands_on_top_of_the_first_screen(morning, changes, says):
    doubtful = replace(morning, **changes)
    assert any(text.startswith(says) for text in weather_doubts(doubtful))
    lines = first_screen(doubtful).splitlines()
    assert len(lines) <= LINES
    top = " ".join(" ".join(lines[1:6]).split())
    assert top.startswith("WEATHER ")
    assert says in top
    assert says in " ".join(full_plan(doubtful).split())
    assert says in sheet(doubtful)


def test_an_age_of_twelve_hours_is_no_doubt(morning):
    assert weather_doubts(replace(morning, age_h=12.0)) == ()
    assert weather_doubts(replace(morning, age_h=None)) == ()


def test_an_order_after_the_end_of_the_forecast_says_from_which_weather(morning):
    first, _, later = morning.crews[0].orders
    short = replace(morning, forecast_until=until(25))
    assert beyond_forecast(first, short) == beyond_forecast(later, morning) == ""
    assert beyond_forecast(later, short) == "beyond the forecast; from past weather"
    made_up = replace(short, doubts=MADE_UP)
    assert beyond_forecast(later, made_up) == "beyond the forecast; from made-up weather"
    assert "forecast to Sun 7 am; planned to Fri 22 Aug 6 am" in weather_line(short)
    assert full_plan(short).count("    beyond the forecast; from past weather\n") == 1
    assert full_plan(made_up).count("    beyond the forecast; from made-up weather\n") == 1


def test_days_that_do_not_lie_within_the_forecast_are_marked(morning):
    # hand: 66 hours from Saturday 06:00 are midnight at the end of Monday
    orders = [o for crew in mornings.morning(fields=12).crews for o in crew.orders]
    cut = replace(morning, forecast_until=until(66))
    days = {cut_by_day(o, cut) for o in orders}
    assert {"Mon 18 Aug", "Sun 17 Aug"} <= days
    assert "Mon 18 Aug*" in {cut_by_day(o, replace(cut, forecast_until=until(65))) for o in orders}
    text = " ".join(first_screen(replace(cut, forecast_until=until(30))).split())
    assert "TOMORROW Sun 17 Aug*" in text
    assert ", Sun* " in text[text.index("HOURS") :]
    assert "(* beyond the forecast)" in text


def test_doubts_survive_the_document(morning):
    doubts = WeatherDoubts(
        past_stored=False, outlook_stored=False, hole=(until(25), until(30)), elsewhere_km=300.0
    )
    back = read_issued_plan(document(replace(morning, doubts=doubts)), morning.farm)
    assert back.doubts == doubts
    old = document(morning)
    del old["forecast"]["doubts"]
    assert read_issued_plan(old, morning.farm).doubts == WeatherDoubts()
