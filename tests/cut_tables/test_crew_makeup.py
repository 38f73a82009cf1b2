"""Make-ups: which machines form which crews."""

from dataclasses import replace
from datetime import timedelta

from small_farm import NOW, combine, farm

from scheduler.costs.machine_rates import CrewMachines
from scheduler.cut_tables.crew_makeup import makeups, own_makeup
from scheduler.report.phrases import makeup_text


def test_the_users_own_makeup_comes_first_and_alike_machines_count_once():
    found = makeups(farm(), NOW)
    assert found[0] == own_makeup(farm(), NOW)
    kinds = {
        tuple((g.crew, tuple(sorted(c.header_m for c in g.combines)), len(g.trucks)) for g in m)
        for m in found
    }
    assert len(kinds) == len(found)
    for m in found:
        used = [x.id for g in m for x in (*g.combines, *g.carts, *g.trucks)]
        assert len(set(used)) == len(used)
        assert all(g.trucks for g in m)


def test_crews_may_join_into_one():
    joined = [m for m in makeups(farm(), NOW) if len(m) == 1]
    assert any(len(m[0].combines) == 3 for m in joined)


def test_fixed_crews_keep_their_machines():
    crews = tuple(replace(c, fixed=True) for c in farm().crews)
    assert makeups(farm(crews=crews), NOW) == [own_makeup(farm(), NOW)]


def test_a_machine_down_for_days_is_in_no_makeup():
    down = ((NOW - timedelta(hours=2), NOW + timedelta(days=2)),)
    machines = (combine("C1", down=down), combine("C2"), combine("C3"))
    for makeup in makeups(farm(combines=machines), NOW):
        assert all(c.id != "C1" for crew in makeup for c in crew.combines)


def test_hand_makeup_text():
    machines = CrewMachines(crew="A", combines=(combine("C1"),), carts=(), trucks=farm().trucks[:1])
    assert makeup_text((machines,)) == "A: C1 + 0 carts + 1 truck"
