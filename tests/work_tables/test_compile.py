"""Work tables of small farms worked by hand: jobs, moves, hours, machines, delivery points."""

from dataclasses import replace
from datetime import date, time, timedelta

import numpy as np
import pytest
from small_farm import HOURS, NOW, combine, compiled, farm, field, season, two_points

from readiness.season.codes import Reason, Tier
from scheduler.costs.grain_value import loss_terms
from scheduler.costs.standing_loss import jobs_of, wet_yield
from scheduler.farm.distances import between_km
from scheduler.farm.model import CropHeader, Moves, Rules
from scheduler.farm.units import wheat_equivalent_t
from scheduler.field_work.play import play
from scheduler.field_work.policy import ranked_lists
from scheduler.work_tables.moves import move_minutes
from scheduler.work_tables.point_hours import slots_to_open


def test_hand_move():
    # 14 km at 28 km/h is 30 min, header off 10 and on 10, clean-out of a crop 30: 80 min
    a, b = field("A"), field("B", crop="barley")
    assert move_minutes(farm(), a, b, 14.0) == pytest.approx(80.0)
    # before grain for seed 90; from base the header is off; within a field no move
    assert move_minutes(farm(), a, field("S", purpose="seed"), 14.0) == pytest.approx(140.0)
    assert move_minutes(farm(), None, b, 14.0) == pytest.approx(40.0)
    assert move_minutes(farm(), a, a, 0.0) == 0.0
    assert move_minutes(farm(), a, field("V", variety="x"), 0.0) == pytest.approx(35.0)


def test_a_distance_of_the_user_wins_in_both_directions():
    moves = Moves(distances_km={("F1", "F2"): 99.0})
    assert between_km(farm(moves=moves), "F2", "F1") == 99.0
    # section roads: 0.08 degrees of longitude at 47 N is 6.07 km, none north or south
    assert between_km(farm(), "F1", "F2") == pytest.approx(6.07, abs=0.01)


def test_moves_of_the_tables_are_those_between_fields_and_from_the_base():
    tables = compiled(farm()).tables
    km = between_km(farm(), "F1", "F3")
    assert tables.move[0, 0, 2] == pytest.approx(move_minutes(farm(), field("F1"), field("F3"), km))
    assert tables.move[0, 3, 1] == pytest.approx(
        move_minutes(farm(), None, field("F2"), between_km(farm(), "base", "F2"))
    )


def test_a_hollow_is_a_job_of_its_own_at_no_distance():
    large = farm(fields=(field("F1", area_ha=250.0, wet_fraction=0.1, cut_fraction=0.2),))
    jobs = jobs_of(large)
    assert [j.parcel for j in jobs] == ["upland", "wet hollow"]
    # 250 ha less the fifth that is cut; a tenth of the field is the hollow
    assert [j.area_ha for j in jobs] == pytest.approx([175.0, 25.0])
    assert [j.row for j in jobs] == [0, 1]
    tables = compiled(large, season(2)).tables
    assert tables.move[0, 0, 1] == tables.move[0, 1, 0] == 0.0


def test_jobs_stand_in_the_order_of_field_ids_whatever_the_rows():
    turned = farm(fields=farm().fields[::-1])
    assert [turned.fields[j.field].id for j in jobs_of(turned)] == ["F1", "F2", "F3"]


def test_hand_rates():
    # two combines of 10 m x 6 km/h x 0.7 = 4.2 ha/h each
    work = compiled(farm())
    t_ha = wet_yield(farm().fields[1])
    assert work.tables.cut_rate[0, 0, 1] == pytest.approx(8.4 * t_ha)
    assert work.rates[0][1][0].limited_by == "combine"
    # cart of 35 m3 and two trucks of 25 t at 78 kg/hL
    assert work.tables.buffer[0, 1] == pytest.approx(35 * 0.78 + 2 * 25.0)


def test_closed_ground_is_shut_and_unknown_is_not_dry():
    shut = season(3)
    reason, moisture = shut.reason.copy(), shut.moisture.copy()
    reason[:, 0, :48] = Reason.GROUND
    reason[:, 1, :] = Reason.UNKNOWN
    moisture[:, 2, 4] = np.nan
    tables = compiled(farm(), replace(shut, reason=reason, moisture=moisture)).tables
    assert np.isinf(tables.wet[0, :96, 0]).all()
    assert np.isfinite(tables.wet[0, 96:, 0]).all()
    assert np.isinf(tables.wet[0, :, 1]).all()
    assert np.isinf(tables.prospect[0, :, 1]).all()
    assert np.isinf(tables.wet[0, 8:10, 2]).all()
    assert np.isfinite(tables.wet[0, 10:, 2]).all()


def test_tough_grain_has_a_prospect_and_soft_ground_has_none():
    shut = season(3)
    reason = shut.reason.copy()
    reason[:, 0], reason[:, 1] = Reason.GRAIN, Reason.GROUND
    tables = compiled(farm(), replace(shut, reason=reason)).tables
    assert np.isfinite(tables.prospect[0, :, 0]).all()
    assert np.isinf(tables.prospect[0, :, 1]).all()
    assert np.isinf(tables.wet[0, :, :2]).all()


def test_cutting_from_the_edge_costs_ruts():
    firm = season(3)
    edge = replace(firm, tier=np.full_like(firm.tier, Tier.HEADLAND_ONLY))
    dry, soft = compiled(farm(), firm).tables, compiled(farm(), edge).tables
    assert not dry.edge.any()
    assert soft.edge.all()
    rut = loss_terms(farm(), farm().fields[0])["rut_ha"]
    np.testing.assert_allclose(soft.loss - dry.loss, rut, rtol=1e-4)


def test_a_machine_works_from_the_hour_at_which_it_is_up():
    until = NOW + timedelta(hours=6)
    broken = replace(farm().combines[0], down=((NOW - timedelta(hours=1), until),))
    hired = combine("C3", header_m=8.0, joins=NOW + timedelta(days=2))
    tables = compiled(farm(combines=(broken, farm().combines[1], hired))).tables
    rate = np.take_along_axis(tables.cut_rate[:, :, 0], tables.machines, axis=1)
    whole = rate[:, -1]
    # C1 of crew A is back at slot 12; C3, all of crew B, comes at slot 96
    np.testing.assert_allclose(rate[0, :12], whole[0] / 2)
    np.testing.assert_allclose(rate[0, 12:], whole[0])
    assert (rate[1, :96] == 0.0).all()
    assert whole[1] > 0.0
    np.testing.assert_allclose(rate[1, 96:], whole[1])


def test_a_crew_that_is_away_has_no_hours():
    crews = (farm().crews[0], replace(farm().crews[1], absent=(date(2026, 8, 13),)))
    works = compiled(farm(crews=crews)).tables.works
    assert works[0].all()
    # slots of the 13th: 36 to 83, because the first slot is 06:00 of the 12th
    assert (works[1] == ~np.isin(np.arange(works.shape[1]), np.arange(36, 84))).all()


def test_hand_slots_until_a_point_opens():
    is_open = np.array([[False, False, True, False], [True, True, True, True]])
    assert slots_to_open(is_open).tolist() == [[2, 1, 0, 1], [0, 0, 0, 0]]


def test_fields_from_half_a_section_on_are_shared():
    fields = (field("F1", area_ha=129.0), field("F2", area_ha=130.0))
    assert compiled(farm(fields=fields), season(2)).tables.shared.tolist() == [False, True]
    never = farm(fields=fields, rules=Rules(share_from_ha=None))
    assert not compiled(never, season(2)).tables.shared.any()


def test_a_truck_that_is_down_till_noon_slows_a_far_haul():
    far = (replace(farm().points[0], lat=47.9),)  # 100 km: the trucks are the bottleneck
    down = ((NOW - timedelta(hours=1), NOW + timedelta(hours=6)),)
    trucks = (replace(farm().trucks[0], down=down), *farm().trucks[1:])
    ended = []
    for kept in (farm().trucks, trucks):
        work = compiled(farm(points=far, trucks=kept))
        assert work.rates[0][1][0].limited_by == "haul"
        policy = ranked_lists(((1,), ()), 3, start=18.0)
        alone = replace(work.tables, works=np.array([[True], [False]]) & work.tables.works)
        ended.append(play(alone, policy).state.ended[0, 1])
    # F2, over 160 t, is many times what cart and trucks hold: in the twelve slots till noon one of
    # two trucks hauls, and the other half must be hauled later
    assert ended[0] > 12
    assert ended[1] - ended[0] == pytest.approx(12 / 2, abs=1)


def test_grain_goes_to_the_elevator_by_day_and_to_bins_by_night_or_when_wet():
    # dry from noon of the first day on; slots are half-hours from 06:00
    wet = np.full((3, HOURS), 14.0)
    wet[:, :6] = 17.0
    tables = compiled(farm(points=two_points()), season(3, wet)).tables
    points = ["E" if q == 0 else "bins" for q in tables.point[0, 0, :, 0]]
    assert points[:12] == ["bins"] * 12  # E turns 17 % away
    assert points[12:28] == ["E"] * 16  # 12:00 to 20:00
    assert points[28:52] == ["bins"] * 24  # to 08:00
    assert points[52:76] == ["E"] * 24
    # a tonne sold to the bins brings 10 less
    loss = tables.loss[0, 20, 0]
    assert loss[1] - loss[0] == pytest.approx(10.0 * farm().fields[0].yield_t_ha, rel=0.02)


def test_room_counts_in_tonnes_of_wheat():
    fields = (field("F1"), field("F2", crop="barley"))
    barley = {"barley": farm().points[0].markets["wheat_hard"]}
    points = (
        replace(farm().points[0], capacity_t=190.0, markets=farm().points[0].markets | barley),
    )
    tables = compiled(farm(fields=fields, points=points), season(2)).tables
    assert tables.room.tolist() == [190.0]
    assert tables.room_factor.tolist() == [1.0, wheat_equivalent_t(1.0, "barley")]
    assert np.isinf(compiled(farm()).tables.room).all()


def test_short_storage_is_filled_and_no_more():
    # F1, F2, F3 stand at 17 %, which E turns away; the bins hold 100 t, half of F2
    tables = compiled(farm(points=two_points(capacity_t=100.0)), season(3, 17.0)).tables
    outcome = play(tables, ranked_lists(((1, 0), (2,)), 3, start=18.0))
    assert outcome.state.room[0, 1] == pytest.approx(0.0)
    cut = (tables.area - outcome.state.left[0]) @ (tables.yield_t * tables.room_factor)
    assert cut == pytest.approx(100.0)


def test_seed_grain_goes_to_the_farms_own_bins():
    # common practice, no source: a farm keeps its seed where it has a bin for it
    def accepted(points, moisture=14.0):
        seed = (*farm().fields[:2], replace(farm().fields[2], purpose="seed"))
        work = compiled(farm(points=points, fields=seed), season(3, moisture))
        return np.flatnonzero(work.tables.accepts[0, 2]).tolist()

    assert accepted(two_points(own=True)) == [1]
    assert accepted(two_points(own=False)) == [0, 1]
    assert accepted(two_points(own=True, capacity_t=0.0)) == [0]
    # no point takes grain of 21 %; bins that take no grain of 14 % keep no seed
    assert accepted(two_points(own=True), 21.0) == []
    elevator, bins = two_points(own=True)
    dry = {"wheat_hard": replace(bins.markets["wheat_hard"], moisture_limit_pct=10.0)}
    assert accepted((elevator, replace(bins, markets=dry))) == [0]


def test_bins_kept_for_seed_take_no_other_grain():
    elevator, bins = two_points(own=True)
    points = (elevator, replace(bins, seed_only=True))
    fields = (*farm().fields[:2], replace(farm().fields[2], purpose="seed"))
    accepts = compiled(farm(points=points, fields=fields), season(3, 14.0)).tables.accepts[0]
    assert accepts.tolist() == [[True, False], [True, False], [False, True]]


def test_trucks_full_and_elevator_shut_stop_the_combines():
    # open 08:00-12:00: after noon, when the crew begins, cart and trucks fill and no more is cut
    hours = ((time(8), time(12)),) * 7
    fields = (field("F1", area_ha=90.0),)
    tables = compiled(farm(points=(replace(farm().points[0], week=hours),), fields=fields)).tables
    works = tables.works.copy()
    works[:, :14], works[:, 30:], works[1] = False, False, False
    outcome = play(replace(tables, works=works), ranked_lists(((0,), ()), 1, start=18.0))
    cut = (tables.area[0] - outcome.state.left[0, 0]) * tables.yield_t[0]
    assert cut == pytest.approx(35 * 0.78 + 2 * 25.0)


def test_another_header_takes_time_and_has_its_own_width():
    market = farm().points[0].markets["wheat_hard"]
    point = replace(farm().points[0], markets={"wheat_hard": market, "corn": market})
    head = CropHeader(crop="corn", header_m=6.0)
    mixed = farm(
        combines=(combine("C1", by_crop=(head,)), combine("C2"), combine("C3", header_m=8.0)),
        fields=(*farm().fields[:2], replace(farm().fields[2], crop="corn")),
        points=(point,),
    )
    same = replace(mixed, combines=farm().combines)
    work, plain = compiled(mixed), compiled(same)
    # 30 min more between crops, none between fields of one crop or from the base
    more = work.tables.move - plain.tables.move
    wanted = [[0, 0, 30], [0, 0, 30], [30, 30, 0], [0, 0, 0]]
    assert more[0] == pytest.approx(np.array(wanted, float))
    # C1 cuts corn with 6 m instead of 10 m: with C2 16 m instead of 20 m
    assert work.rates[0][2][0].combine[0] == pytest.approx(0.6 * plain.rates[0][2][0].combine[0])
    assert work.rates[0][0][0].combine == plain.rates[0][0][0].combine


def test_service_and_meals_come_off_a_crews_day():
    lazy = tuple(
        replace(c, week=((time(8), time(20)),) * 7, service_min=60.0, meal_min=36.0)
        for c in farm().crews
    )
    brisk = tuple(replace(c, service_min=0.0, meal_min=0.0) for c in lazy)
    work, without = compiled(farm(crews=lazy)).tables, compiled(farm(crews=brisk)).tables
    # hand: 8 h to 20 h is 24 slots, two of them service; 36 min are 5 % of 12 h
    assert without.works[0, :48].sum() - work.works[0, :48].sum() == 2
    assert np.flatnonzero(work.works[0])[0] == np.flatnonzero(without.works[0])[0] + 2
    assert work.cut_rate == pytest.approx(0.95 * without.cut_rate)
    assert work.haul_rate == pytest.approx(without.haul_rate)
