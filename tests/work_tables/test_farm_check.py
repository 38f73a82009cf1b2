"""No plan that nobody can drive, and no load that is turned away: random farms and mornings."""

from dataclasses import replace
from datetime import timedelta
from types import SimpleNamespace

import numpy as np
import pytest
from random_farms import played_mornings
from small_farm import NOW, UNTIL, compiled, farm, season

from scheduler.costs.machine_rates import CrewMachines, crew_rates
from scheduler.costs.standing_loss import standing_loss_of, wet_yield
from scheduler.explanation.reasons import left_out_reason, order_reason
from scheduler.farm.distances import between_km
from scheduler.farm.model import Person
from scheduler.farm.slots import slot_times
from scheduler.field_work.play import play
from scheduler.orders.reasons import LeftOutKind
from scheduler.planning.dispatch_rules import NEAREST_FIRST, rule_policy
from scheduler.solver.check import violations
from scheduler.work_tables.compile import compile_work
from scheduler.work_tables.crew_makeup import makeups
from scheduler.work_tables.farm_check import farm_violations


def refused(work, made, outcome):
    """Loads of grain that is beyond a limit of a point without a feed price; limits by hand."""
    found = []
    for m, k, s, e in np.argwhere(outcome.log.job >= 0):
        j, q = int(outcome.log.job[m, k, s, e]), int(outcome.log.point[m, k, s, e])
        job, when = work.jobs[j], NOW + timedelta(minutes=30 * int(s))
        market = work.farm.points[q].markets["wheat_hard"]
        for begin, later in market.later:
            market = later if begin <= when - timedelta(minutes=when.minute) else market
        protein = work.field(j).protein_pct
        beyond = made.sprout[m, job.row, s // 2] > market.limits["sprout"]
        beyond = beyond or (protein is not None and protein < market.limits["protein"])
        wet = made.moisture[m, job.row, s // 2] > market.moisture_limit_pct
        if wet or (beyond and market.feed_price_t is None):
            found.append(f"slot {s}: job {j} goes to point {q}, which turns it away")
    return found


def faults(seeds):
    """Violations of the farm and of the tables over random mornings, and hectares cut."""
    found, cut = [], 0.0
    for seed in seeds:
        for work, made, policy, outcome in played_mornings(seed):
            wrong = [*violations(work.tables, policy, outcome), *farm_violations(work, outcome)]
            wrong += refused(work, made, outcome)
            found += [f"seed {seed}: {line}" for line in wrong]
            cut += float(outcome.log.area.sum())
    return found, cut


def test_people_machines_dates_and_limits_hold_on_200_random_farms():
    found, cut = faults([*range(200), 1923, 1954])  # the last two have small losses
    assert not found, found[:5]
    assert cut > 200 * 5.0  # the farms do cut


@pytest.mark.slow
@pytest.mark.parametrize("first", range(1000, 11_000, 2000))
def test_people_machines_dates_and_limits_hold_on_10000_random_farms(first):
    found, cut = faults(range(first, first + 2000))
    assert not found, found[:5]
    assert cut > 2000 * 5.0


def short_handed(people, **other):
    """A farm of one crew with two combines, a cart and two trucks."""
    crew = replace(farm().crews[0], people=people, fixed=True, **other)
    return farm(crews=(crew,), combines=farm().combines[:2], carts=farm().carts[:1])


def kinds(makeup):
    return [(len(m.combines), len(m.carts), len(m.trucks)) for m in makeup]


def test_hand_ways_to_man_a_crew_that_is_short_of_people():
    # two combines, a cart and two trucks are five seats
    assert [kinds(m) for m in makeups(short_handed(5), NOW, UNTIL)] == [[(2, 1, 2)]]
    # four people: without a truck, the cart or a combine
    assert [kinds(m) for m in makeups(short_handed(4), NOW, UNTIL)] == [
        [(2, 1, 1)],
        [(2, 0, 2)],
        [(1, 1, 2)],
    ]
    assert [kinds(m) for m in makeups(short_handed(2), NOW, UNTIL)] == [[(1, 0, 1)]]
    # one person drives a combine and a truck in turn
    (alone,) = [m for m in makeups(short_handed(1), NOW, UNTIL) if m]
    assert kinds(alone) == [(1, 0, 1)]
    assert alone[0].in_turn
    assert not any(m.in_turn for makeup in makeups(short_handed(2), NOW, UNTIL) for m in makeup)


def test_hand_one_person_cuts_a_truckload_hauls_it_and_cuts_on():
    # a tonne takes the time to cut it at the edge and the time to haul it
    (alone,) = [m for m in makeups(short_handed(1), NOW, UNTIL) if m]
    work = compiled(short_handed(1), makeup=alone)
    rates = work.rates[0][0][0]
    two = crew_rates(
        replace(alone[0], in_turn=False),
        work.field(0),
        work.farm.points[0],
        km=between_km(work.farm, "F1", "E"),
        density=0.78,
        wet_yield=wet_yield(work.field(0)),
    )
    assert rates.t_h == pytest.approx(1.0 / (1.0 / sum(two.edge) + 1.0 / sum(two.haul)))
    assert rates.limited_by == "person"
    outcome = play(work.tables, rule_policy(work, NEAREST_FIRST, 40.0), log=True)
    assert outcome.log.area.sum() > 0.0
    assert farm_violations(work, outcome) == []
    assert work.manning.people(0, "A") == 1
    both = replace(work.manning, driver=np.zeros_like(work.manning.driver))
    quick = replace(work, manning=both, makeup=(replace(alone[0], in_turn=False),))
    assert any("sits in 2 seats" in line for line in farm_violations(quick, outcome))


def test_one_person_cuts_no_more_than_is_hauled_when_the_near_bins_are_full():
    """Grain goes to a near point with room for a part, then to one 33 km away."""
    alone_farm = short_handed(1)
    near = alone_farm.points[0]
    points = (replace(near, id="far", lat=47.3), replace(near, capacity_t=100.0))
    alone_farm = replace(alone_farm, points=points)
    (alone,) = [m for m in makeups(alone_farm, NOW, UNTIL) if m]
    work = compiled(alone_farm, makeup=alone)
    outcome = play(work.tables, rule_policy(work, NEAREST_FIRST, 40.0), log=True)
    assert set(outcome.cuts.point) == {0, 1}
    assert farm_violations(work, outcome) == []


def test_who_may_not_drive_the_truck_does_not_work_alone():
    named = (Person(id="Ann", drives=("combine",)),)
    assert not any(makeups(short_handed(1, named=named), NOW, UNTIL))


def test_only_those_who_may_drive_a_truck_do():
    named = (
        Person(id="Ann", drives=("truck",)),
        Person(id="Bea", drives=("combine", "cart")),
        Person(id="Cy", drives=("C2",)),
    )
    the_farm = short_handed(3, named=named)
    (makeup,) = makeups(the_farm, NOW, UNTIL)
    assert kinds(makeup) == [(2, 0, 1)]
    work = compiled(the_farm, makeup=makeup)
    names = dict(work.manning.names(0))
    assert names["C1"] == "Bea"
    assert names["C2"] == "Cy"
    assert names["T1"] == "Ann"
    assert set(work.undriven) == {"K1", "T2", "T3", "T4"}
    assert work.manning.people(0, "A") == 3


def test_people_of_a_crew_without_work_drive_for_the_others_unless_fixed():
    crews = tuple(replace(c, people=p) for c, p in zip(farm().crews, (2, 3), strict=True))
    shared = [kinds(m) for m in makeups(farm(crews=crews), NOW, UNTIL)]
    assert max(sum(sum(k) for k in m) for m in shared) == 5  # all five people drive
    assert any(len(m) == 1 for m in shared)
    fixed = tuple(replace(c, fixed=True) for c in crews)
    for makeup in makeups(farm(crews=fixed), NOW, UNTIL):
        assert [sum(k) for k in kinds(makeup)] == [2, 3]


def test_a_driver_past_the_hours_leaves_the_machine():
    # 24 h a day for the crew; the one truck driver may work 10 h, the last of the day
    named = (Person(id="Ann", drives=("truck",), hours_max_day=10.0),)
    the_farm = short_handed(3, named=named)
    makeup = (replace(makeups(the_farm, NOW, UNTIL)[0][0], trucks=farm().trucks[:1]),)
    work = compiled(the_farm, makeup=makeup)
    second = work.manning.day == work.manning.day[0] + 1
    hauls = work.tables.haul_rate[0, work.tables.machines[0, second], 1, 0] > 0
    assert hauls.sum() == 20
    assert hauls[-20:].all()
    cuts = work.tables.cut_rate[0, work.tables.machines[0, second], 1] > 0
    assert (cuts == hauls).all()  # nobody cuts without a truck


def test_the_day_off_of_one_is_worked_by_another():
    # Ann has the combine and is away on Thursday: Bea takes it, and whoever sits there stays
    thursday = (NOW + timedelta(days=1)).weekday()
    named = (
        Person(id="Ann", drives=("combine",), days_off=(thursday,)),
        Person(id="Bea", drives=("combine",), hours_max_day=23.5),
        Person(id="Cy", drives=("truck",)),
    )
    makeup = (
        CrewMachines(crew="A", combines=farm().combines[:1], carts=(), trucks=farm().trucks[:1]),
    )
    manning = compiled(short_handed(3, named=named), makeup=makeup).manning
    row = manning.driver[0]
    by_day = {int(d): set(row[manning.day == d].tolist()) for d in np.unique(manning.day)}
    first, second, third, *_ = by_day.values()
    assert (first, second, third) == ({0}, {-1, 1}, {-1, 1})


def test_the_checker_sees_a_person_in_two_seats_past_the_hours_or_without_a_licence():
    named = (Person(id="Ann", drives=("truck",), hours_max_day=10.0),)
    the_farm = short_handed(5, named=named)
    work = compiled(the_farm, makeup=makeups(the_farm, NOW, UNTIL)[0])
    outcome = play(work.tables, rule_policy(work, NEAREST_FIRST, 40.0), log=True)
    assert farm_violations(work, outcome) == []
    driver = work.manning.driver.copy()
    driver[0] = 0  # Ann in the first combine, round the clock
    wrong = farm_violations(replace(work, manning=replace(work.manning, driver=driver)), outcome)
    assert any("Ann sits in 2 seats" in line for line in wrong)
    assert any("Ann may not drive combine" in line for line in wrong)
    assert any("Ann drives 24 h" in line for line in wrong)
    driver = work.manning.driver.copy()
    driver[0] = -1
    wrong = farm_violations(replace(work, manning=replace(work.manning, driver=driver)), outcome)
    assert any("more" in line and "than its manned combines can" in line for line in wrong)
    driver[:] = -1
    wrong = farm_violations(replace(work, manning=replace(work.manning, driver=driver)), outcome)
    assert any("without a truck" in line for line in wrong)


def test_the_checker_sees_grain_that_is_turned_away():
    work = compiled(farm())
    outcome = play(work.tables, rule_policy(work, NEAREST_FIRST, 40.0), log=True)
    assert farm_violations(work, outcome) == []
    wetter = replace(work.standing_loss, moisture=work.standing_loss.moisture + 6.0)
    wrong = farm_violations(replace(work, standing_loss=wetter), outcome)
    assert any("above its limit 18 %" in line for line in wrong)


def test_the_checker_sees_a_field_cut_outside_its_dates():
    work = compiled(farm())
    outcome = play(work.tables, rule_policy(work, NEAREST_FIRST, 40.0), log=True)
    dated = tuple(
        replace(f, not_before=NOW + timedelta(days=2), not_after=NOW + timedelta(hours=1))
        for f in farm().fields
    )
    late = replace(work.standing_loss, farm=farm(fields=dated))
    wrong = farm_violations(replace(work, standing_loss=late), outcome)
    assert any("before it may be" in line for line in wrong)
    assert any("later than it must be" in line for line in wrong)


def test_a_field_is_cut_within_its_dates_and_left_out_where_they_leave_no_hour():
    first, second, third = farm().fields
    begin, end = NOW + timedelta(hours=10), NOW + timedelta(hours=20)
    dated = farm(
        fields=(
            replace(first, not_before=begin),
            replace(second, not_after=end),
            replace(third, not_after=NOW),
        )
    )
    work = compiled(dated)
    open_slots = np.isfinite(work.tables.wet[0])
    assert np.flatnonzero(open_slots[:, 0])[0] == 20
    assert np.flatnonzero(open_slots[:, 1])[-1] == 39
    assert not open_slots[:, 2].any()
    assert not np.isfinite(work.tables.prospect[0, :, 2]).any()
    reason = left_out_reason(SimpleNamespace(work=work), season(3), 2)
    assert reason.kind is LeftOutKind.DATES
    assert order_reason(work, season(3), 0, begin, None, 1.0, waits_pct=None).allowed_from == begin


def test_a_first_day_of_one_slot_still_names_who_drives_nothing():
    late = NOW.replace(hour=23, minute=30)
    the_farm = short_handed(3)
    loss = standing_loss_of(the_farm, season(3, days=5), slot_times(late, 2, 30))
    (first, *_) = makeups(the_farm, late, UNTIL)
    work = compile_work(loss, first, places=["base"])
    assert int(work.manning.first_day.sum()) == 1
    assert set(work.undriven) == {"C2", "K1", "T2", "T3", "T4"} - {
        m.id for m in (*first[0].combines, *first[0].carts)
    }
