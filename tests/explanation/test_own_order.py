"""Fields of an own order, by name."""

from small_farm import farm, field, standing

from scheduler.explanation.own_order import jobs_named


def test_a_field_is_found_by_its_name_with_any_sign_in_it():
    loss = standing(farm(fields=(field("F/7"), field("F"), field("G"))))
    for name in ("F/7", "F"):
        assert [loss.field(j).id for j in jobs_named(loss, name)] == [name]
    assert jobs_named(loss, "F/8") == []
