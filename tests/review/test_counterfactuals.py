"""Ways to cut a season, and the split of its loss: a farm of one crew, worked by hand.

Two combines of 10 m x 6 km/h x 0.7 cut 8.4 ha/h. A field of 42 ha takes five hours.
"""

from dataclasses import replace
from datetime import datetime, time, timedelta

import mornings
import numpy as np
import pytest
from small_farm import NOW, UTC, farm, field, season

from readiness.atmosphere.weather import Weather
from scheduler.costs.machine_rates import TOUGH_SLOWER
from scheduler.costs.standing_loss import wet_yield
from scheduler.farm.model import Moves
from scheduler.field_work.play import play
from scheduler.field_work.policy import ranked_lists
from scheduler.orders.document import converter
from scheduler.orders.model import CrewOrders
from scheduler.planning.dispatch_rules import LARGEST_FIRST
from scheduler.review.counterfactuals import ways_to_cut
from scheduler.review.loss_split import LossSource, chain, loss_split, real_work
from scheduler.review.observed_season import ObservedSeason
from scheduler.review.observed_work import (
    DRAWS,
    Turn,
    by_day,
    hour_slots,
    observed_work,
    recorded_cuts,
)
from scheduler.review.work_record import (
    area_by_job,
    hour_states,
    hourly_rates,
    main_rates,
    work_record,
)
from scheduler.season_book.entry_kinds import Entry
from scheduler.work_tables import compile

RATE = 8.4
DAYS = 4
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


def begun(name, hour, day=12):
    """An entry that the crew began a field."""
    at = datetime(2026, 8, day, hour, tzinfo=UTC)
    return Entry(kind="begun", subject=name, at=at, facts={"crew": "A"})


def observed(areas, entries, plans=(), *, moisture=13.5, yields=None):
    """A season in which fields of so many ha are always open; `moisture` by hour of the day."""
    place = farm(
        crews=(replace(farm().crews[0], week=((time(6), time(22)),) * 7),),
        fields=tuple(
            field(name, area_ha=ha, yield_t_ha=(yields or {}).get(name, 4.0))
            for name, ha in areas.items()
        ),
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
    the_season = observed({"F1": 42.0}, [cut("F1", 42.0, 11)])
    rate = hourly_rates(the_season, observed_work(the_season).work)
    assert rate[0, 0] == pytest.approx(RATE)


def test_in_tough_grain_the_machines_of_the_review_are_slower_too():
    # hand: the base of hard wheat is 13.5 %; at 16.5 % combines lose three times `TOUGH_SLOWER`
    the_season = observed({"F1": 42.0}, [cut("F1", 42.0, 11)], moisture=16.5)
    work = observed_work(the_season)
    rates = main_rates(work.work, 0, 0)
    slow = min(rates.in_field_t_h * (1.0 - 3 * TOUGH_SLOWER), sum(rates.haul))
    slow /= wet_yield(the_season.farm.fields[0])
    assert hourly_rates(the_season, work.work)[0, 0] == pytest.approx(slow)
    assert slow < RATE


def test_a_crew_that_cuts_tough_grain_as_fast_as_its_machines_can_keeps_the_pace():
    first = observed({"F1": 42.0}, [cut("F1", 42.0, 14)], moisture=16.5)
    rate = hourly_rates(first, observed_work(first).work)[0, 0, 8]
    done = replace(cut("F1", 42.0, 8), at=begun("F1", 8).at + timedelta(hours=42.0 / rate))
    the_season = observed({"F1": 42.0}, [begun("F1", 8), done], [plan("F1")], moisture=16.5)
    whole = observed_work(the_season)
    record = work_record(the_season, whole.work)
    real = real_work(the_season, whole, record, area_by_job(whole.work, record))
    assert real.pace[0, 0] == pytest.approx(1.0)


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


def test_only_the_order_differs():
    """Planned F2, which yields twice as much, then F1; cut F1, then F2, as soon as can be."""
    areas, yields = {"F1": 42.0, "F2": 42.0}, {"F2": 6.0}
    the_season = observed(areas, [cut("F1", 1, 11)], yields=yields)
    rate = hourly_rates(the_season, observed_work(the_season).work)
    assert rate[:, 0, 8] == pytest.approx([RATE, RATE])
    entries = [cut("F1", 42.0, 11), cut("F2", 42.0, 16)]
    ways, done, parts = reviewed(observed(areas, entries, [plan("F2", "F1")], yields=yields))
    # hand: both fields lose the same share in an hour, F2 more money; it should have come first
    assert parts[LossSource.ORDER].min() > 1.0
    assert parts[LossSource.ORDER] == pytest.approx(done - ways.planned.loss, abs=0.01)
    assert ways.planned.loss == pytest.approx(ways.best.loss, abs=0.01)
    assert_only(parts, LossSource.ORDER)


def test_only_the_hours_differ():
    """Planned from 06:00, when the crew is there; cut from 11:00 to 16:00."""
    ways, done, parts = reviewed(observed({"F1": 42.0}, [cut("F1", 42.0, 16)], [plan("F1")]))
    assert parts[LossSource.HOURS].min() > 1.0
    assert parts[LossSource.HOURS] == pytest.approx(done - ways.planned.loss, abs=0.01)
    assert_only(parts, LossSource.HOURS)


#: Moisture falls by half a point an hour from 17 % at 06:00 to 13.5 % at 13:00 and stays there.
DRYING = np.clip(17.0 - 0.5 * (np.arange(24) - 6), 13.5, 17.0)


def test_only_the_start_moisture_differs(monkeypatch):
    """Planned from 14 %, which is at noon; cut from 06:00, at 17 %."""
    monkeypatch.setattr(compile, "TOUGH_SLOWER", 0.0)  # the pace does not differ
    planned = plan("F1", start=14.0, later=14.0)
    ways, done, parts = reviewed(
        observed({"F1": 42.0}, [cut("F1", 42.0, 11)], [planned], moisture=DRYING)
    )
    assert abs(done - ways.planned.loss).min() > 1.0
    assert parts[LossSource.START_MOISTURE] == pytest.approx(done - ways.planned.loss, abs=0.01)
    assert_only(parts, LossSource.START_MOISTURE)


def test_a_quicker_pace_is_not_hours():
    """Cut from 06:00 to 08:00 at 21 ha/h, 2.5 times the machines' rate.

    hand: in these two hours the machines' rate leaves 25.2 ha to the next day, which counts as
    hours; the quicker pace takes that back, so both parts sum to what the quick work saved.
    """
    ways, done, parts = reviewed(observed({"F1": 42.0}, [cut("F1", 42.0, 8)], [plan("F1")]))
    saved = ways.planned.loss - done
    assert saved.min() > 1.0
    assert parts[LossSource.HOURS].min() > 0.0
    assert parts[LossSource.HOURS] + parts[LossSource.PACE] == pytest.approx(-saved, abs=0.01)
    assert_only(parts, LossSource.HOURS, LossSource.PACE)


def test_slow_work_shows_as_pace_where_the_book_says_when_the_field_was_begun():
    """Begun at 8, done by 16: 42 ha in eight hours, of which the machines need five."""
    entries = [begun("F1", 8), cut("F1", 42.0, 16)]
    the_season = observed({"F1": 42.0}, entries, [plan("F1")])
    whole = observed_work(the_season)
    record = work_record(the_season, whole.work)
    assert record.area[0, 0, 8:16] == pytest.approx(np.full(8, 42.0 / 8))
    assert record.share[0, 0, 8:16] == pytest.approx(np.ones(8))
    assert record.area.sum() == pytest.approx(42.0)
    real = real_work(the_season, whole, record, area_by_job(whole.work, record))
    assert real.pace[0, 0] == pytest.approx(5.0 / 8.0)
    _, _, parts = reviewed(the_season)
    assert parts[LossSource.PACE].min() > 1.0
    assert_only(parts, LossSource.HOURS, LossSource.PACE)


def test_an_entry_of_cutting_after_another_reaches_back_past_what_was_begun():
    """The field was begun for the first entry; the second says nothing of its own begin."""
    entries = [begun("F1", 8), cut("F1", 8.4, 10), cut("F1", 33.6, 18)]
    the_season = observed({"F1": 42.0}, entries)
    record = work_record(the_season, observed_work(the_season).work)
    assert record.area[0, 0, 8:10] == pytest.approx([4.2, 4.2])
    assert record.area[0, 0, 14:18] == pytest.approx(np.full(4, RATE))


def test_open_grain_above_the_start_moisture_of_the_plan_is_held_until_the_plan_changes():
    plans = [plan("F1", start=13.0, later=14.0)]
    the_season = observed({"F1": 42.0, "F2": 10.0}, [cut("F1", 42.0, 19, day=13)], plans)
    whole = observed_work(the_season)
    held = hour_states(the_season, whole.work, work_record(the_season, whole.work)).held
    open_ = np.isfinite(whole.tables.wet[0, hour_slots(the_season, whole.work.standing_loss)])
    # hand: 13.5 % is above 13 on the 12th and below 14 on the 13th; no plan speaks of F2
    assert (held[0, 6:24] == open_[6:24, 0]).all()
    assert held[0, 6:24].any()
    assert not held[0, 24:].any()
    assert not held[1].any()


def test_a_field_waits_while_the_only_point_is_full_by_its_tickets():
    the_season = observed({"F1": 42.0, "F2": 42.0}, [cut("F1", 42.0, 11), cut("F2", 42.0, 19)])
    point = replace(the_season.farm.points[0], capacity_t=100.0)
    # hand: after loads of 60 t at 8 and of 39.5 t at 10, half a tonne is left, which is no room
    loads = [
        Entry(
            kind="ticket",
            subject=point.id,
            at=NOW.replace(hour=hour),
            facts={"field": "F1", "weight": tonnes},
        )
        for hour, tonnes in ((8, 60.0), (10, 39.5))
    ]
    full = replace(
        the_season,
        farm=replace(the_season.farm, points=(point,)),
        entries=(*the_season.entries, *loads),
    )
    work = observed_work(full).work
    shut = hour_states(full, work, work_record(full, work)).shut
    before = hour_states(the_season, work, work_record(the_season, work)).shut
    assert (shut[:, :10] == before[:, :10]).all()
    assert shut[:, 10:].all()
    assert not before[:, 10:20].any()


def test_the_chain_changes_one_part_at_a_time():
    the_season = observed(
        {"F1": 42.0, "F2": 30.0},
        [cut("F2", 30.0, 12), cut("F1", 42.0, 19)],
        [plan("F1", "F2", start=15.0, later=16.0)],
    )
    whole = observed_work(the_season)
    record = work_record(the_season, whole.work)
    area = area_by_job(whole.work, record)
    ways = ways_to_cut(the_season, whole)
    real = real_work(the_season, whole, record, area)
    losses = dict(chain(whole, ways.turns, real))
    slow = dict(chain(whole, ways.turns, replace(real, pace=0.5 * real.pace)))
    for source in (LossSource.ORDER, LossSource.START_MOISTURE, LossSource.HOURS):
        assert slow[source] == pytest.approx(losses[source])
    assert (slow[LossSource.PACE] > losses[LossSource.PACE] + 1.0).all()
    short = dict(chain(whole, ways.turns, replace(real, works=np.zeros_like(real.works))))
    for source in (LossSource.ORDER, LossSource.START_MOISTURE):
        assert short[source] == pytest.approx(losses[source])
    # hand: who never works leaves everything
    left = float(whole.tables.leave_cost.sum())
    assert short[LossSource.HOURS] == pytest.approx(np.full(DRAWS, left))


def test_fields_that_still_stand_are_in_no_loss():
    """F2 is not cut yet: losses are those of a farm with F1 alone."""
    entries = [cut("F1", 42.0, 11)]
    alone = reviewed(observed({"F1": 42.0}, entries, [plan("F1")]))
    both = reviewed(observed({"F1": 42.0, "F2": 42.0}, entries, [plan("F2", "F1")]))
    assert both[1] == pytest.approx(alone[1], abs=0.01)
    assert both[0].planned.loss == pytest.approx(alone[0].planned.loss, abs=0.01)
    assert_only(both[2])


def test_without_plans_the_order_holds_the_forecast():
    entries = [cut("F1", 42.0, 16)]
    ways, _, parts = reviewed(observed({"F1": 42.0}, entries))
    assert ways.planned is None
    assert LossSource.FORECAST not in parts
    assert parts[LossSource.WEATHER] == pytest.approx(ways.best.loss)
    assert_only(parts, LossSource.HOURS)


def test_a_plan_without_start_moistures_has_the_threshing_limit_alone(monkeypatch):
    """Documents of version 1 hold none: the crew cuts wherever the field is open."""
    monkeypatch.setattr(compile, "TOUGH_SLOWER", 0.0)  # the pace does not differ
    older = plan("F1")
    for order in older["crews"][0]["orders"]:
        del order["start_pct"], order["later_pct"]
    entries = [cut("F1", 42.0, 11)]
    ways, done, _ = reviewed(observed({"F1": 42.0}, entries, [older], moisture=DRYING))
    assert ways.planned.loss == pytest.approx(done, abs=0.01)


def test_start_moistures_of_today_hold_till_midnight():
    policy = ranked_lists(((0,),), 1, start=14.0)
    policy = replace(policy, start=np.array([[14.0], [16.0]]))
    day = np.repeat([5, 6, 7], 4)
    turns = by_day([Turn(0, policy), Turn(6, policy)], day)
    assert [t.slot for t in turns] == [0, 4, 6, 8]
    assert [t.policy.start[:, 0].tolist() for t in turns] == [
        [14.0, 14.0],
        [16.0, 16.0],
        [14.0, 14.0],
        [16.0, 16.0],
    ]


def test_the_money_of_a_play_is_that_of_the_simulator():
    """The mean over draws of the cuts valued again is what the simulator counts."""
    the_season = observed({"F1": 42.0, "F2": 30.0}, [cut("F1", 42.0, 11)], moisture=DRYING)
    work = observed_work(the_season)
    policy = ranked_lists(((0, 1),), 2, start=15.0)
    counted = play(work.tables, policy).loss[0]
    assert work.play([Turn(0, policy)]).loss.mean() == pytest.approx(counted, rel=1e-6)


def test_a_load_that_a_draw_has_as_too_wet_is_priced_at_its_moisture():
    """At the limit of 18 % half of the draws are wetter; all of them have a price."""
    work = observed_work(observed({"F1": 42.0}, [cut("F1", 42.0, 11)], moisture=17.9))
    assert np.isfinite(work.loss_ha).all()
    assert work.loss_ha[:, 0, 0, 0].std() > 0.0
