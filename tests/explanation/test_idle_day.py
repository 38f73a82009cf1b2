"""Why a crew cuts nothing tomorrow, on a small farm worked by hand."""

from dataclasses import replace
from datetime import timedelta

import pytest
import small_farm

from readiness.season.codes import Reason
from scheduler.explanation.briefing import crew_orders
from scheduler.explanation.idle_day import note_tomorrow
from scheduler.orders.reasons import Barred

TOMORROW = slice(18, 42)  # hours of the season, which begins at 06:00
MIDNIGHT = small_farm.NOW.replace(hour=0) + timedelta(days=1)


def note(farm, season=None, **start):
    """Note on tomorrow of the first crew."""
    season = season or small_farm.season(3, moisture=15.0)
    made = small_farm.first_crew_has_all(farm, season, **start)
    return crew_orders(made, season, small_farm.sky(season), {})[0].note_tomorrow


def big(**changes):
    """A farm whose fields take more than two days."""
    fields = tuple(replace(f, area_ha=20.0 * f.area_ha) for f in small_farm.farm().fields)
    return small_farm.farm(fields=fields, **changes)


def test_a_crew_that_cuts_tomorrow_has_no_note():
    assert note(big()) == ""


def test_closed_ground_tomorrow_is_the_cause():
    season = small_farm.season(3, moisture=15.0)
    season.reason[:, :, TOMORROW] = Reason.GROUND
    found = note(big(), season)
    assert (found.tomorrow, found.closed_by, found.barred) == (True, Reason.GROUND, None)
    assert (found.first_start, found.opens) == (None, None)


def test_a_crew_that_is_off_tomorrow():
    first, other = small_farm.farm().crews
    away = replace(first, absent=(MIDNIGHT.date(),))
    found = note(big(crews=(away, other)))
    assert (found.closed_by, found.barred) == (None, Barred.OFF)


def test_combines_that_are_down_tomorrow():
    down = ((MIDNIGHT, MIDNIGHT + timedelta(days=1)),)
    combines = tuple(replace(c, down=down) for c in small_farm.farm().combines)
    assert note(big(combines=combines)).barred is Barred.NO_COMBINE


def test_delivery_points_that_are_shut_tomorrow():
    (point,) = small_farm.farm().points
    shut = small_farm.NOW + timedelta(hours=8), MIDNIGHT + timedelta(hours=30)
    found = note(big(points=(replace(point, closed=(shut,)),)))  # carts and trucks fill up today
    assert found.barred is Barred.NO_POINT


# hand: 20 t of room are the grain of 5 ha, which today's hours fill
def test_a_delivery_point_that_today_fills():
    (point,) = small_farm.farm().points
    assert note(big(points=(replace(point, capacity_t=20.0),))).barred is Barred.NO_POINT


def test_waiting_for_drier_grain_names_the_start_of_tomorrow():
    found = note(big(), start=(40.0, 14.0))
    assert (found.closed_by, found.barred, found.waits_pct) == (None, None, 14.0)


@pytest.mark.parametrize("cause", [Reason.STRAW, Reason.GRAIN])
def test_where_most_members_open_a_field_the_one_shown_tells_its_cause(cause):
    season = small_farm.season(3, moisture=15.0, members=3)
    season.reason[0, :, TOMORROW] = cause
    made = small_farm.first_crew_has_all(big(), season)
    found = note_tomorrow(made, season, small_farm.sky(season), jobs=(0, 1, 2), crew=0, member=0)
    assert (found.closed_by, found.barred) == (cause, None)


# hand: grain at 17 % and a start at 16 %; the only buyer takes up to 15 %, or to 18 %
@pytest.mark.parametrize(("limit", "waits"), [(15.0, None), (18.0, 16.0)])
def test_a_crew_waits_for_a_smaller_loss_only_where_a_buyer_takes_wetter_grain(limit, waits):
    (point,) = small_farm.farm().points
    market = replace(point.markets["wheat_hard"], moisture_limit_pct=limit)
    place = big(points=(replace(point, markets={"wheat_hard": market}),))
    assert note(place, small_farm.season(3, moisture=17.0), start=(40.0, 16.0)).waits_pct == waits
