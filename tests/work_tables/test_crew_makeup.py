"""Make-ups: which machines form which crews over the days planned."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from small_farm import NOW, UNTIL, combine, farm

from scheduler.costs.machine_rates import CrewMachines
from scheduler.errors import FarmError
from scheduler.report.phrases import makeup_text
from scheduler.work_tables.crew_makeup import makeups, own_makeup


def machines(makeup):
    return [x.id for crew in makeup for x in (*crew.combines, *crew.carts, *crew.trucks)]


def test_the_users_own_makeup_comes_first_and_alike_machines_count_once():
    found = makeups(farm(), NOW, UNTIL)
    assert found[0] == own_makeup(farm(), NOW, UNTIL)
    kinds = {
        tuple((g.crew, tuple(sorted(c.header_m for c in g.combines)), len(g.trucks)) for g in m)
        for m in found
    }
    assert len(kinds) == len(found)
    for m in found:
        assert len(set(machines(m))) == len(machines(m))
        assert all(g.trucks for g in m)


def combines_of(makeup):
    return {crew.crew: {c.id for c in crew.combines} for crew in makeup}


def test_crews_do_not_swap_their_names():
    a, b = farm().crews
    own = {a.id: set(a.combines), b.id: set(b.combines)}
    swapped = {a.id: own[b.id], b.id: own[a.id]}
    found = [combines_of(m) for m in makeups(farm(), NOW, UNTIL)]
    assert own in found
    assert swapped not in found
    # with other hours the other crew is another crew
    later = replace(b, hours_max_day=b.hours_max_day - 1.0)
    found = [combines_of(m) for m in makeups(farm(crews=(a, later)), NOW, UNTIL)]
    assert swapped in found


def test_crews_may_join_into_one():
    joined = [m for m in makeups(farm(), NOW, UNTIL) if len(m) == 1]
    assert any(len(m[0].combines) == 3 for m in joined)


def test_fixed_crews_keep_their_machines():
    crews = tuple(replace(c, fixed=True) for c in farm().crews)
    assert makeups(farm(crews=crews), NOW, UNTIL) == [own_makeup(farm(), NOW, UNTIL)]


@pytest.mark.parametrize(
    "changes",
    [
        {"down": ((NOW - timedelta(hours=2), NOW + timedelta(days=2)),)},
        {"joins": NOW + timedelta(days=2)},
        {"leaves": NOW + timedelta(hours=3)},
    ],
)
def test_a_machine_that_is_up_at_some_time_is_in_every_makeup(changes):
    combines = (combine("C1", **changes), combine("C2"), combine("C3", header_m=8.0))
    for makeup in makeups(farm(combines=combines), NOW, UNTIL):
        assert "C1" in machines(makeup)


@pytest.mark.parametrize(
    "changes",
    [
        {"down": ((NOW - timedelta(hours=2), UNTIL),)},
        {"joins": UNTIL},
        {"leaves": NOW},
    ],
)
def test_a_machine_down_on_all_days_is_in_no_makeup(changes):
    combines = (combine("C1", **changes), combine("C2"), combine("C3", header_m=8.0))
    for makeup in makeups(farm(combines=combines), NOW, UNTIL):
        assert "C1" not in machines(makeup)


def test_a_crew_whose_only_combine_comes_back_tomorrow_stays_a_crew():
    broken = combine("C3", header_m=8.0, down=((NOW, NOW + timedelta(hours=30)),))
    own = own_makeup(farm(combines=(*farm().combines[:2], broken)), NOW, UNTIL)
    assert [crew.crew for crew in own] == ["A", "B"]


def test_a_crew_away_on_all_days_is_in_no_makeup_and_its_machines_stay_with_it():
    days = tuple(NOW.date() + timedelta(days=d) for d in range(5))
    some = farm(crews=(farm().crews[0], replace(farm().crews[1], absent=days[:-1])))
    away = farm(crews=(farm().crews[0], replace(farm().crews[1], absent=days)))
    assert any("C3" in machines(m) for m in makeups(some, NOW, UNTIL))
    assert not any("C3" in machines(m) for m in makeups(away, NOW, UNTIL))
    assert date(2026, 8, 16) == days[-1] == UNTIL.date()


def test_a_machine_that_the_farm_lacks_is_named():
    crews = (replace(farm().crews[0], carts=("K9",)), farm().crews[1])
    with pytest.raises(FarmError, match='crew "A": there is no machine "K9"'):
        own_makeup(farm(crews=crews), NOW, UNTIL)


def test_hand_makeup_text():
    one = CrewMachines(crew="A", combines=(combine("C1"),), carts=(), trucks=farm().trucks[:1])
    assert makeup_text((one,)) == "A: C1 + 0 carts + 1 truck"
