"""The first screen: at most forty lines, the most needed first, within the width."""

import re
from dataclasses import replace

import mornings
import pytest

from scheduler.language.translation import LANGUAGES, in_language
from scheduler.orders.model import Change, ChangeKind
from scheduler.report.order_phrases import makeup_lines
from scheduler.report.sheet import sheet
from scheduler.report.terminal.first_screen import LINES, first_screen
from scheduler.report.terminal.full_plan import full_plan
from scheduler.report.terminal.lines import WIDTH


def many_crews(count, fields):
    """A morning whose first crew stands there so many times under other names."""
    morning = mornings.morning(fields=fields)
    crews = tuple(replace(morning.crews[n % 2], crew=f"Crew number {n}") for n in range(count))
    named = tuple(replace(morning.farm.crews[0], id=c.crew) for c in crews)
    return replace(morning, crews=crews, farm=replace(morning.farm, crews=named))


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize(("crews", "fields"), [(1, 3), (2, 6), (2, 40), (3, 12), (6, 20), (40, 9)])
def test_at_most_forty_lines_whatever_the_farm(crews, fields, language):
    with in_language(language):
        lines = first_screen(many_crews(crews, fields)).splitlines()
    assert len(lines) <= LINES == 40
    assert max(map(len, lines)) <= WIDTH == 92


def test_long_names_stay_within_the_screen():
    morning = mornings.with_first_order(mornings.morning(fields=6), name="x" * 300)
    morning = replace(morning, farm=replace(morning.farm, name="y " * 200))
    lines = first_screen(morning).splitlines()
    assert len(lines) <= LINES
    assert max(map(len, lines)) <= WIDTH


def test_the_most_needed_comes_first():
    text = first_screen(mornings.morning(fields=12))
    parts = ["CARE", "TODAY CREW NORTH", "Go ", "Grain ", "Not fit", "TODAY CREW SOUTH"]
    parts += ["TOMORROW Sun 17 Aug", "AFTER THAT", "MONEY", "HOURS", "--all"]
    at = [text.index(part) for part in parts]
    assert at == sorted(at)
    assert text.startswith("Invented Farm, Sat 16 Aug 6 am: 7 forecasts")


def test_ranked_fields_have_no_clock_but_a_day_and_a_chance():
    text = first_screen(mornings.morning(fields=12))
    ranked = text[text.index("AFTER THAT") : text.index("MONEY")]
    assert "Windmill (F09) Mon 18 Aug (42 %)" in " ".join(ranked.split())
    assert ":" not in ranked.replace("Crew North:", "").replace("Crew South:", "")
    assert not {"am", "pm"} & set(ranked.split())


def test_hours_of_a_day_do_not_read_like_a_clock():
    text = first_screen(mornings.morning(fields=12))
    lines = text[text.index("HOURS") : text.index("All orders")].splitlines()
    days = " ".join(line.strip() for line in lines).split(": ", 1)[1].split(", ")
    assert all(re.fullmatch(r"\w{3} \d+( to \d+)? h", day) for day in days), days
    assert not any(re.search(r"(to|\d)$", line) for line in lines)  # no line breaks within a day


def test_where_crews_are_many_the_rest_is_counted():
    text = first_screen(many_crews(40, 9))
    assert "more crews: --all" in text


def test_machines_without_a_driver_stand_at_the_top():
    morning = mornings.morning(fields=6)
    assert "Nobody drives" not in first_screen(morning)
    short = replace(morning, undriven=("T4", "cart South"))
    assert "Nobody drives today: T4, cart South" in first_screen(short).splitlines()[:3]
    assert makeup_lines(short)[-1] == "Nobody drives today: T4, cart South"
    many = replace(morning, undriven=tuple(f"truck number {n}" for n in range(60)))
    lines = first_screen(many).splitlines()
    assert len(lines) <= LINES


def test_what_the_plan_assumes_for_want_of_an_entry_stands_at_the_top():
    morning = mornings.morning(fields=6)
    noted = replace(morning, farm_notes=("F02 has no date",))
    for text in (first_screen(noted), full_plan(noted), sheet(noted)):
        assert "Assumed: F02 has no date" in text
    assert "Assumed" not in first_screen(morning)
    many = replace(morning, farm_notes=("a field without a date " * 60,))
    assert len(first_screen(many).splitlines()) <= LINES


def test_what_differs_from_the_last_orders_stands_in_three_lines():
    morning = mornings.morning(fields=12)
    assert "CHANGED" not in first_screen(morning)  # news of the book are no changed orders
    orders = [(crew, o) for crew in morning.crews for o in crew.orders]
    changes = tuple(
        Change(kind=ChangeKind.NEW, order=o, crew=crew.crew, place=1) for crew, o in orders
    )
    lines = first_screen(replace(morning, changes=changes[::-1])).splitlines()
    at = next(n for n, line in enumerate(lines) if line.startswith("CHANGED"))
    first = min((o for _, o in orders), key=lambda o: (o.start.mid, o.field))
    assert f"CHANGED since the last orders: {first.name} new with" in lines[at]
    assert len([line for line in lines[at : at + 4] if not line.startswith("TOMORROW")]) <= 3
    assert len(lines) <= LINES


def test_what_an_own_order_costs_stands_beside_the_money():
    held = replace(mornings.money(5), held_cost=2218.0, held_error=300.0)
    text = " ".join(first_screen(mornings.morning(money=held)).split())
    assert "Keeping your order costs $2,218 more, give or take $300." in text
