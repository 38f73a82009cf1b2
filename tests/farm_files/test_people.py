"""People in farm.toml: by number, or by name with what each may drive; days off."""

from datetime import date, time

import pytest
from farm_folder import edit, problem_lines
from places import SAMPLE

from scheduler.errors import FarmError
from scheduler.farm.model import Crew, Person
from scheduler.farm_files.folder import read_farm

ANN = '[[person]]\nid = "Ann"\ncrew = "crew 1"\n'


def add(folder, text):
    path = folder / "farm.toml"
    path.write_text(path.read_text(encoding="utf-8") + "\n" + text, encoding="utf-8")


def test_a_person_has_a_crew_machines_hours_and_days_off(folder):
    add(
        folder,
        ANN + 'drives = ["combines", "Cart", "tandem"]\nhours_max_day = 10\n'
        'days_off = ["sun", "Saturday"]\nabsent = ["2026-08-15"]\n',
    )
    (crew,) = read_farm(folder).crews
    assert crew.people == 4
    assert crew.named == (
        Person(
            id="Ann",
            drives=("combine", "cart", "tandem"),
            hours_max_day=10.0,
            days_off=(5, 6),
            absent=(date(2026, 8, 15),),
        ),
    )
    assert crew.staff == (crew.named[0], Person(), Person(), Person())


def test_without_a_number_the_people_with_a_name_are_the_crew(folder):
    edit(folder, "farm.toml", "people = 4", "")
    assert "people is missing" in problem_lines(folder)[0]
    add(folder, ANN + '\n[[person]]\nid = "Bea"\ncrew = "crew 1"\n')
    assert read_farm(folder).crews[0].people == 2


@pytest.mark.parametrize(
    ("text", "line"),
    [
        (ANN + 'drives = ["plough"]', 'drives: there is no machine "plough" to drive'),
        (ANN.replace("crew 1", "crew 9"), 'crew: there is no crew "crew 9"'),
        (ANN + "\n" + ANN, 'person "Ann" is there twice'),
        (ANN + 'days_off = ["daily"]', '"daily" is not a day'),
        ("".join(ANN.replace("Ann", n) for n in "ABCDE"), "people is 4, but 5 have a name"),
    ],
)
def test_messages_about_people(folder, text, line):
    add(folder, text)
    assert any(line in p for p in problem_lines(folder)), problem_lines(folder)


def test_days_off_of_the_farm_and_of_a_crew(folder):
    edit(folder, "farm.toml", 'hours = "07:00-22:00" ', 'hours = "07:00-01:00" ')
    edit(folder, "farm.toml", "tough_allowed = true ", 'days_off = ["sun"]\ntough_allowed = true ')
    week = read_farm(folder).crews[0].week
    # Saturday's evening ends at midnight, Sunday is off, Monday is as usual
    assert week[5:] == ((time(7), time(0)), None)
    assert week[0] == (time(7), time(1))
    edit(folder, "farm.toml", "fixed = false", 'days_off = ["wednesday"]')
    assert read_farm(folder).crews[0].week[2] is None


def test_more_names_than_people_is_an_error():
    with pytest.raises(FarmError, match=r'crew "A": 2 persons have a name, people says 1'):
        Crew(
            id="A", combines=(), week=(None,) * 7, people=1, named=(Person(id="a"), Person(id="b"))
        )


def test_the_sample_mans_all_its_machines():
    farm = read_farm(SAMPLE)
    seats = len(farm.combines) + len(farm.carts) + len(farm.trucks)
    assert sum(c.people for c in farm.crews) >= seats
