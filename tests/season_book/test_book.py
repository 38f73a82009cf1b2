"""The season book: never erases, never loses, reads back every entry."""

import sqlite3
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from mornings import farm as make_farm

from readiness.season.codes import Tier
from scheduler.errors import BookError, ConflictError
from scheduler.farm.model import OPEN_ENDED, Person
from scheduler.season_book.book import Book
from scheduler.season_book.current_farm import apply_book
from scheduler.season_book.entry_kinds import Entry, subject_ids

NOW = datetime(2026, 8, 16, 11, tzinfo=UTC)


def entry(kind: str, subject: str, after: float = 0.0, /, **facts: object) -> Entry:
    return Entry(kind=kind, subject=subject, at=NOW + timedelta(hours=after), facts=facts, by="Ann")


@pytest.fixture
def book(tmp_path):
    with Book(tmp_path) as opened:
        yield opened


@pytest.fixture(scope="module")
def farm():
    return make_farm()


def test_entry_reads_back_as_written(book):
    wrote = book.add(entry("sample", "F01", moisture=16.8, test_weight=76.2))
    assert book.get(wrote.id) == wrote
    assert book.entries() == [wrote]
    assert wrote.noted is not None
    assert wrote.noted > NOW - timedelta(days=4000)


def test_database_refuses_change_and_deletion(book):
    book.add(entry("rain", "NORTH", rain=3.0))
    for change in ("UPDATE entry SET who = 'x'", "DELETE FROM entry"):
        with pytest.raises(sqlite3.IntegrityError, match="added to, never changed"):
            book._db.execute(change)


def test_a_correction_supersedes_and_both_stay(book):
    wrong = book.add(entry("rain", "NORTH", rain=62.0))
    right = book.add(replace(entry("rain", "NORTH", rain=6.2), replaces=wrong.id))
    assert book.entries("rain") == [right]
    both = book.entries("rain", superseded=True)
    assert [(e.id, e.superseded) for e in both] == [(wrong.id, True), (right.id, False)]


def test_undo_and_undo_of_undo(book):
    first = book.add(entry("cut", "F01", area=8.0))
    back = book.withdraw(first.id, by="Bo")
    assert book.entries() == []
    again = book.withdraw(back.id, by="Bo")
    assert [e.facts for e in book.entries()] == [{"area": 8.0}]
    assert again.by == "Bo"
    assert len(book.entries(superseded=True)) == 3


def test_two_corrections_of_one_entry_conflict(book):
    first = book.add(entry("rain", "NORTH", rain=3.0))
    book.add(replace(entry("rain", "NORTH", rain=4.0), replaces=first.id))
    with pytest.raises(ConflictError, match=r"entry 1 was corrected by Ann .*\(entry 2\)"):
        book.add(replace(entry("rain", "NORTH", rain=5.0), replaces=first.id))
    assert [e.facts["rain"] for e in book.entries()] == [4.0]


def test_the_same_token_is_written_once(book):
    reading = entry("rain", "NORTH", rain=3.0)
    assert book.add(reading) == book.add(reading)
    assert len(book.entries()) == 1


def test_unseen_newer_area_conflicts(book):
    seen = book.revision
    book.add(entry("cut", "F01", area=8.0), seen=seen)
    with pytest.raises(ConflictError, match="Ann wrote about F01 in the meantime"):
        book.add(entry("cut", "F01", area=8.0), seen=seen)
    book.add(entry("cut", "F02", area=8.0), seen=seen)  # another field is no conflict
    book.add(entry("sample", "F01", moisture=15.0), seen=seen)  # samples may be many
    assert len(book.entries("cut")) == 2


def test_all_or_none(book):
    with pytest.raises(BookError):
        book.add_all(
            [entry("rain", "N", rain=1.0), replace(entry("rain", "N", rain=2.0), replaces=99)]
        )
    assert book.revision == 0


def test_plans_are_kept_as_issued(book):
    assert book.last_plan() is None
    for hour in (11, 12):
        book.issue_plan({"made": f"2026-08-16T{hour}:00:00Z", "seed": hour, "crews": []}, seen=7)
    assert book.last_plan()["seed"] == 12
    assert book.last_plan(NOW + timedelta(minutes=30))["seed"] == 11
    assert book.last_plan(NOW) is None
    assert book.last_issue().number("seen") == 7


def test_observations_by_field_row_and_time(book, farm):
    book.add(entry("ground", "F02", 0, ground="ruts"))
    book.add(entry("sample", "F03", -2, moisture=16.8))
    book.add(entry("sample", "F03", 3, moisture=14.0))  # later than asked for
    book.add(entry("sample", "gone", -2, moisture=16.8))  # a field that the farm no longer has
    book.add(entry("tough", "F03", -1, above=16.0))
    seen = book.observations(farm, NOW)
    assert [(o.field, o.kind, o.value) for o in seen] == [
        (2, "moisture", 16.8),
        (2, "wetter", 16.0),
        (1, "tier", float(Tier.SOFT)),
    ]


def test_gauges_start_hours_before_the_reading(book):
    book.add(entry("rain", "NORTH", 0, rain=12.0, hours=12.0))
    book.add(entry("rain", "NORTH", 0, rain=1.0))
    frame = book.gauges(NOW)
    assert list(frame["mm"]) == [12.0, 1.0]
    assert list(frame["time"]) == [NOW - timedelta(hours=12), NOW - timedelta(hours=24)]
    assert book.gauges(NOW - timedelta(days=1)).empty
    assert str(book.gauges(NOW)["time"].dtype) == "datetime64[s, UTC]"


def test_progress_adds_to_the_field_table(book, farm):
    # hand: F01 has 40 ha; 10 ha and 5 ha cut are 0.375
    book.add(entry("cut", "F01", -20, area=10.0, crew="North"))
    book.add(entry("cut", "F01", -1, area=5.0))
    book.add(entry("cut", "F02", -1, area=51.9))  # 99.8 % of 52 ha: done
    cut = book.progress(farm, NOW)
    assert (cut["F01"], cut["F02"], cut["F03"]) == (0.375, 1.0, 0.0)
    assert book.in_progress(farm, NOW) == {"F01": ""}
    assert book.in_progress(farm, NOW + timedelta(days=4)) == {}
    book.add(entry("begun", "F03", -0.5, crew="South"))
    assert list(book.in_progress(farm, NOW).items()) == [("F03", "South"), ("F01", "")]
    assert book.progress(farm, NOW) == cut
    assert apply_book(farm, book, NOW).fields[0].cut_fraction == 0.375


def test_a_closed_elevator_takes_nothing_until_it_opens(book, farm):
    point = farm.points[0].id
    book.add(
        entry("notice", point, 0, notice="closed", until=(NOW + timedelta(hours=30)).isoformat())
    )
    (shut,) = apply_book(farm, book, NOW + timedelta(hours=1)).points[0].closed
    assert shut == (NOW, NOW + timedelta(hours=30))


def test_a_person_may_be_absent(book, farm):
    crew = replace(farm.crews[0], named=(Person(id="Ann"), Person(id="Bea")))
    farm = replace(farm, crews=(crew, *farm.crews[1:]))
    book.add(entry("absent", "Ann", 0, until="2026-08-18"))
    there = apply_book(farm, book, NOW + timedelta(hours=1)).crews[0]
    assert [len(p.absent) for p in there.named] == [3, 0]
    assert there.absent == ()
    assert subject_ids(farm, "who") == ("North", "South", "Ann", "Bea")


def test_quality_last_measured_is_on_the_field(book, farm):
    point = farm.points[0].id
    book.add(entry("sample", "F01", -30, moisture=15.0, protein=13.1, vomitoxin=1.2))
    book.add(entry("ticket", point, -3, field="F01", weight=20.0, protein=12.6))
    book.add(entry("sample", "F02", -2, moisture=15.0, vitreous=70.0))
    book.add(entry("sample", "F02", 2, moisture=15.0, vitreous=50.0))  # later than asked for
    first, second, third = apply_book(farm, book, NOW).fields[:3]
    assert (first.protein_pct, first.vomitoxin_ppm, first.vitreous_pct) == (12.6, 1.2, None)
    assert second.vitreous_pct == 70.0
    assert third.protein_pct is None


def test_spraying_bars_the_field_for_the_days_of_its_label(book, farm):
    # published: glyphosate as a harvest aid at least 7 days before harvest (NDSU 2005)
    old = book.add(entry("spray", "F01", -48, days=7.0))
    book.add(entry("spray", "F02", -24, days=7.0))
    book.add(entry("spray", "F02", 1, days=14.0))  # later than asked for
    late = NOW + timedelta(days=9)
    fields = (farm.fields[0], replace(farm.fields[1], not_before=late), *farm.fields[2:])
    there = apply_book(replace(farm, fields=fields), book, NOW).fields
    assert there[0].not_before == old.at + timedelta(days=7)
    assert there[1].not_before == late  # the later of the two
    assert there[2].not_before is None
    book.withdraw(old.id)
    assert apply_book(farm, book, NOW).fields[0].not_before is None


def test_breakdown_lasts_until_its_end_or_the_repair(book):
    a = book.add(entry("down", "C1", -5))
    book.add(entry("down", "C2", -5, until=(NOW + timedelta(hours=6)).isoformat()))
    book.add(entry("down", "C3", -5))
    book.add(entry("repaired", "C3", -2))
    spans = book.breakdowns(NOW)
    assert spans["C1"] == ((a.at, OPEN_ENDED),)
    assert spans["C2"][0][1] == NOW + timedelta(hours=6)
    assert spans["C3"][0][1] == NOW - timedelta(hours=2)
    book.withdraw(a.id)
    assert "C1" not in book.breakdowns(NOW)


def test_absences_closures_and_deliveries(book, farm):
    book.add(entry("absent", "North", 0, until="2026-08-18"))
    book.add(entry("notice", farm.points[0].id, 8, notice="closing early"))
    book.add(entry("ticket", farm.points[1].id, -3, field="F01", weight=26.0))
    farm = replace(farm, points=(farm.points[0], replace(farm.points[1], capacity_t=30.0)))
    now = NOW + timedelta(hours=9)
    there = apply_book(farm, book, now)
    assert [d.day for d in there.crews[0].absent] == [16, 17, 18]
    ((shut, opens),) = there.points[0].closed
    assert shut == NOW + timedelta(hours=8)
    assert opens.astimezone(farm.tz).strftime("%H:%M") == "00:00"
    assert opens - shut < timedelta(hours=24)
    assert there.points[1].capacity_t == 4.0
    # a bushel of barley, 48 lb, takes the room of a bushel of wheat, 60 lb: 26 t that of 32.5 t
    barley = replace(farm, fields=tuple(replace(f, crop="barley") for f in farm.fields))
    assert book.delivered(barley, now)[farm.points[1].id] == pytest.approx(32.5)
    book.add(entry("notice", farm.points[0].id, 8.5, notice="open again"))
    assert book.closures(farm, now)[farm.points[0].id][0][1] == NOW + timedelta(hours=8.5)


def test_last_sample_is_on_the_field(book, farm):
    book.add(entry("sample", "F01", -8, moisture=18.0, test_weight=77.0))
    book.add(entry("sample", "F01", -2, moisture=16.0))
    field = apply_book(farm, book, NOW).fields[0]
    assert (field.sample_pct, field.sample_at) == (16.0, NOW - timedelta(hours=2))


def test_orders_by_hand_hold_until_cut_or_replaced(book, farm):
    book.add(entry("order", "North", -2, fields=("F01", "F02")))
    book.add(entry("order", "South", -1, fields=("F02", "F03")))
    assert book.manual_orders(farm, NOW) == {"North": ("F01",), "South": ("F02", "F03")}
    book.add(entry("cut", "F03", -0.5, area=1e3))
    assert book.manual_orders(farm, NOW)["South"] == ("F02",)
    # an order does not end unnoticed: four days on it still holds
    assert book.manual_orders(farm, NOW + timedelta(days=4)) == {
        "North": ("F01",),
        "South": ("F02",),
    }


def test_lodging_swaths_and_quality_reach_the_field(book, farm):
    book.add(entry("lodged", "F01", -30, share=40.0))
    book.add(entry("lodged", "F01", -4, share=10.0))  # it stood up again
    book.add(entry("swathed", "F02", -20))
    book.add(entry("ticket", farm.points[0].id, -6, field="F01", weight=20.0, test_weight=74.0))
    book.add(entry("falling", "F01", -3, falling_number=180.0))
    known = {f.id: f for f in apply_book(farm, book, NOW).fields}
    assert known["F01"].lodged == pytest.approx(0.1)
    assert known["F02"].swathed == (NOW - timedelta(hours=20)).astimezone(farm.tz).date()
    assert known["F01"].test_weight_kg_hl == 74.0
    assert known["F01"].weighed_at == NOW - timedelta(hours=6)
    assert known["F01"].falling_number_s == 180.0
    # hand: below 200 s is severe, 4 % and more sprouted (published classes, assumed shares)
    seen = [(o.kind, o.value) for o in book.observations(farm, NOW)]
    assert seen == [("weighed", 0.0), ("sprout at least", 0.04), ("sprout at most", 1.0)]
