"""Maturity by degree-days since heading."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from mornings import NOW, farm, weather

from readiness.atmosphere.weather import HOUR
from scheduler.farm.slots import utc_hour
from scheduler.windows.model_inputs import ripe_time
from scheduler.windows.ripe_dates import with_ripe_dates


def headed(days_ago, **changes):
    """The first field without a date of maturity, headed so many days ago."""
    whole = farm(fields=1)
    day = NOW.date() - timedelta(days=days_ago)
    only = replace(whole.fields[0], crop="wheat_hard", ripe=None, heading=day, **changes)
    return replace(whole, fields=(only,))


def at(place, temp, days=30):
    """Weather of one temperature, °C, over days before and after now."""
    sky = weather(place, days=days, members=2, seed=1)
    sky = replace(sky, temp=np.full_like(sky.temp, temp))
    now, begin = utc_hour(NOW), utc_hour(NOW) - 24 * days * HOUR
    return replace(sky, start=begin).between(begin, now), replace(sky, start=now)


def ripe(place, temp):
    return with_ripe_dates(place, *at(place, temp)).fields[0].ripe


def test_degree_days_since_heading_give_the_date():
    # hand: hard wheat needs 825 °C d from heading: 41.25 days at 20 °C, so 42; 55 at 15 °C
    place = headed(20)
    heading = place.fields[0].heading
    assert ripe(place, 20.0) == heading + timedelta(days=42)
    assert ripe(place, 15.0) == heading + timedelta(days=55)


def test_the_day_on_which_the_forecast_begins_counts_its_own_warmth():
    # hand: 825 / 20.6 = 40.05 days, so 41; the usual 23.6 °C d on the day between records and
    # forecast would end ripening on day 40
    place = headed(20)
    assert ripe(place, 20.6) == place.fields[0].heading + timedelta(days=41)


def test_days_without_weather_count_as_usual():
    # hand: 60 days ago; of these 30 have no weather and count 825 / 35 = 23.6 each, 707 in all; 118
    # are left, 6 days at 20 °C
    place = headed(60)
    days = (ripe(place, 20.0) - place.fields[0].heading).days
    assert 35 <= days <= 37


def test_one_record_serves_all_fields_and_an_empty_one_is_no_weather():
    place = headed(20)
    past, ahead = at(place, 20.0)
    whole = past.append(ahead)
    assert with_ripe_dates(place, whole.sites([0])) == with_ripe_dates(place, past, ahead)
    none = with_ripe_dates(place, past.between(past.start, past.start)).fields[0]
    assert none.ripe == none.heading + timedelta(days=35)  # published: 30-40 days (memory)


def test_the_models_refuse_a_heading_whose_warmth_nobody_added_up():
    place = headed(20)
    with pytest.raises(ValueError, match="has to be computed from its heading"):
        ripe_time(place, place.fields[0])


def test_a_date_of_maturity_stays_and_cold_ends():
    place = headed(20)
    given = replace(place, fields=(replace(place.fields[0], ripe=date(2026, 8, 1)),))
    assert ripe(given, 15.0) == date(2026, 8, 1)
    assert (ripe(place, -5.0) - place.fields[0].heading).days <= 121
