"""Ways to cut a season, and the split of its loss: a farm of one crew, worked by hand.

Two combines of 10 m x 6 km/h x 0.7 cut 8.4 ha/h. A field of 42 ha takes five hours.
"""

from dataclasses import replace
from datetime import datetime, timedelta

import mornings
import numpy as np
import pytest
from small_farm import NOW, UTC, farm, field, season

from readiness.atmosphere.weather import Weather
from scheduler.farm.model import Moves
from scheduler.orders.document import converter
from scheduler.orders.model import CrewOrders
from scheduler.planning.dispatch_rules import LARGEST_FIRST
from scheduler.review.counterfactuals import ways_to_cut
from scheduler.review.loss_split import LossSource, loss_split
from scheduler.review.observed_season import ObservedSeason
from scheduler.review.observed_work import by_day, observed_work, recorded_cuts
from scheduler.review.work_record import area_by_job, rates_ha_h, work_record
from scheduler.season_book.entry_kinds import Entry

RATE = 8.4
DAYS = 4
MIDNIGHT = NOW.replace(hour=0)
#: Parts of the chain from the plans to the work as done.
CHAIN = (
    LossSource.ORDER,
    LossSource.START_MOISTURE,
    LossSource.HOURS,
    LossSource.PACE,
    LossSource.NOT_EXPLAINED,
)


def plan(*fields, **policy):
    """Document of a plan issued at 06:00: the fields in order, all cut at any moisture."""
    place = farm(fields=tuple(field(name) for name in fields))
    crew = CrewOrders(
        crew="A",
        combines=("C1", "C2"),
        carts=("K1",),
        trucks=("T1", "T2"),
        people=6,
        orders=tuple(
            replace(
                mornings.order(mornings.farm(), 0, 0),
                field=f.id,
                reason="",
                start_pct=policy.get("start", 40.0),
                later_pct=policy.get("later", 40.0),
            )
            for f in place.fields
        ),
        fallback=None,
    )
    return {"crews": converter(UTC).unstructure((crew,))}


def cut(name, ha, hour, day=12):
    """An entry of the season book."""
    at = datetime(2026, 8, day, hour, tzinfo=UTC)
    return Entry(kind="cut", subject=name, at=at, facts={"area": ha, "crew": "A"})


def observed(areas, entries, plans=(), *, moisture=13.5):
    """A season in which fields of so many ha are open all the time; `moisture` by hour of the day."""
    place = farm(
        crews=farm().crews[:1],
        fields=tuple(field(name, area_ha=ha) for name, ha in areas.items()),
        moves=Moves(header_off_min=0.0, header_on_min=0.0),
    )
    start, n = np.datetime64("2026-08-12T00", "h"), len(areas)
    by_hour = np.tile(np.broadcast_to(moisture, 24), DAYS)
    states = replace(season(n, np.tile(by_hour, (n, 1)), days=DAYS), start=start)
    level = np.zeros((1, n, 24 * DAYS))
    sky = Weather(
        start=start,
        rain=level,
        temp=level,
        humidity=level,
        wind=level,
        gust=level,
        radiation=level,
        estimated=level.astype(bool),
    )
    last = max(e.at for e in entries)
    return ObservedSeason(
        farm=place,
        start=NOW,
        stop=last.replace(hour=0) + timedelta(days=1),
        weather=sky,
        season=states,
        observations=(),
        all_weather=sky,
        entries=tuple(entries),
        plans=tuple((NOW, p) for p in plans),
        notes=(),
    )


def reviewed(the_season):
    """Ways, loss of the work as done, (draw,), and its split."""
    whole = observed_work(the_season)
    record = work_record(the_season, whole.work)
    area = area_by_job(whole.work, record)
    cut_area = area.sum(axis=(1, 2))
    work, area = whole.of_areas(cut_area), area[cut_area > 0.0]
    ways = ways_to_cut(the_season, work)
    done = work.loss_of(recorded_cuts(the_season, work, area)).sum(axis=1)
    split = loss_split(the_season, work, record, area, ways, done=done, sprouted=0.0)
    assert sum(s.loss for s in split) == pytest.approx(done, abs=1e-6)
    return ways, done, {s.source: s.loss for s in split}


def assert_only(parts, *sources):
    """Of the chain, only `sources` may hold money; floats of the log have seven digits."""
    for source in CHAIN:
        if source not in sources:
            assert parts[source] == pytest.approx(0.0, abs=0.01), source


def test_the_machines_cut_at_the_hand_worked_rate():
    work = observed_work(observed({"F1": 42.0}, [cut("F1", 42.0, 11)])).work
    assert rates_ha_h(work)[0, 0] == pytest.approx(RATE)


def test_with_one_field_and_one_crew_every_way_is_equal():
    entries = [cut("F1", 42.0, 11)]  # 06:00 to 11:00, as soon as the crew can
    ways, done, parts = reviewed(observed({"F1": 42.0}, entries, [plan("F1")]))
    assert done.min() > 0.0
    assert done.std() > 0.0  # the moisture error moves the loss
    assert len(ways.all) >= 6
    for way in ways.all:
        assert way.loss == pytest.approx(done, abs=0.01), way.name
    assert_only(parts)
    assert parts[LossSource.FORECAST] == pytest.approx(0.0, abs=0.01)


def test_a_plan_that_lists_the_largest_field_first_is_that_rule():
    areas = {"F1": 21.0, "F2": 63.0}
    entries = [cut("F1", 21.0, 9), cut("F2", 63.0, 17)]
    ways, _, _ = reviewed(observed(areas, entries, [plan("F2", "F1")]))
    largest = [w for w in ways.rules if w.name == LARGEST_FIRST]
    assert ways.planned.loss == pytest.approx(largest[0].loss, abs=0.01)
    # smallest first: in grain that loses the same each hour, the order of areas is no matter
    other, _, _ = reviewed(observed(areas, entries, [plan("F1", "F2")]))
    assert other.planned.loss != pytest.approx(ways.planned.loss, abs=0.01)


def test_only_the_order_differs():
    """Planned F2 (dear) then F1 (cheap); cut F1 then F2."""
    entries = [cut("F1", 42.0, 11), cut("F2", 42.0, 16)]
    the_season = observed({"F1": 42.0, "F2": 42.0}, entries, [plan("F2", "F1")])
    dear = tuple(replace(f, yield_t_ha=2.0 * f.yield_t_ha) if f.id == "F2" else f for f in ())
    assert not dear
    ways, done, parts = reviewed(the_season)
    assert parts[LossSource.ORDER] == pytest.approx(done - ways.planned.loss, abs=0.01)
    assert_only(parts, LossSource.ORDER)
