"""Remarks on settings that deserve a second look; the farm can be planned for as it stands."""

from datetime import date

import pytest

from scheduler.command import main
from scheduler.farm.remarks import farm_notes, farm_remarks
from scheduler.farm_files.folder import read_farm
from tests.farm_folder import edit


@pytest.fixture
def folder(tmp_path):
    assert main(["new", str(tmp_path / "farm")]) == 0
    return tmp_path / "farm"


def lines(folder):
    return [str(p) for p in farm_remarks(read_farm(folder), date(2026, 8, 12))]


def test_the_starter_needs_no_second_look(folder):
    assert lines(folder) == []


@pytest.mark.parametrize(
    ("hours", "hint"),
    [("22:00-07:00", ": begin and end may be swapped"), ("19:00-23:00", ""), ("00:00-05:00", "")],
)
def test_night_hours(folder, hours, hint):
    edit(folder, "farm.toml", 'hours = "07:00-22:00"', f'hours = "{hours}"')
    assert lines(folder) == [
        f'farm.toml [[crew]] "crew 1", hours: {hours} is night work only{hint}; '
        "write hours on the 24-hour clock, the beginning first"
    ]


@pytest.mark.parametrize("hours", ["07:00-02:00", "14:00-06:00", "04:00-11:00"])
def test_hours_past_midnight_that_hold_some_day_need_no_remark(folder, hours):
    edit(folder, "farm.toml", 'hours = "07:00-22:00"', f'hours = "{hours}"')
    assert lines(folder) == []


def test_fields_that_ripen_in_another_season(folder):
    for day in ("2026-07-25", "2026-07-22"):
        edit(folder, "fields.csv", day, day.replace("2026", "2027"))
    assert lines(folder) == [
        'fields.csv "1", ripe: ripens 2027-07-25, 347 days from today; check the year',
        'fields.csv "3", ripe: ripens 2027-07-22, 344 days from today; check the year',
    ]


def test_a_field_of_which_nothing_tells_when_it_is_ripe(folder):
    edit(folder, "fields.csv", "2026-07-25", "")
    assert lines(folder) == [
        'fields.csv "1", ripe: has neither ripe nor heading: counts as ripe, and able to sprout '
        "at once; write the date of ripeness, or that of heading"
    ]
    (note,) = farm_notes(read_farm(folder))
    assert note.startswith("1 has neither a ripe nor a heading date: it counts as ripe")
    assert note.endswith("Write one of them into fields.csv.")


def test_a_swath_needs_a_pickup_header(folder):
    heading = (folder / "fields.csv").read_text(encoding="utf-8").splitlines()[0]
    edit(folder, "fields.csv", heading, heading.replace("purpose", "swathed"))
    edit(folder, "fields.csv", ",grain,", ",2026-08-01,")
    (line, *_) = lines(folder)
    assert "swathed: lies in swaths, and no combine has a pickup header: nobody cuts it" in line
    assert "so nobody cuts the swaths of 1, 2, 3." in farm_notes(read_farm(folder))[0]
    edit(folder, "farm.toml", "# pickup_ft = 30 ", "pickup_ft = 30 ")
    assert lines(folder) == []
    assert farm_notes(read_farm(folder)) == ()


def test_an_id_that_no_own_order_can_name(folder):
    edit(folder, "fields.csv", "\n1,Home quarter", '\n"1,a","Home, quarter"')
    assert lines(folder) == [
        'fields.csv "1,a", id: holds a comma or semicolon, which divides the fields of an own '
        "order; leave it out of the id; a name may hold it"
    ]


def test_check_prints_remarks_and_finds_no_problem(folder, capsys):
    edit(folder, "farm.toml", 'hours = "07:00-22:00"', 'hours = "22:00-07:00"')
    capsys.readouterr()
    assert main(["check", str(folder)]) == 0
    assert "look at these again; a plan uses them as they stand:" in capsys.readouterr().out
