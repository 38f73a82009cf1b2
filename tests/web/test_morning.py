"""The morning on the page: one-tap acts, gauges, what is new, and how old the orders are."""

import re
from dataclasses import replace
from datetime import timedelta

import mornings
import pytest
from page_requests import LOCAL, NOW, csrf, get, hidden, issue, shown_plan

from scheduler.farm_files.folder import read_farm
from scheduler.report.plan_document import document
from scheduler.season_book.book import Book
from scheduler.season_book.entry_kinds import Entry
from scheduler.web.app import create_app
from scheduler.web.morning.freshness import plan_differences
from scheduler.web.morning.held_orders import held_orders


class StillPlanner:
    """A planner that only counts what it is asked for."""

    def __init__(self):
        from scheduler.web.planner import ReplanState

        self.asked, self.state = 0, ReplanState()

    def start(self, now):
        self.asked += 1
        return True


@pytest.fixture
def still(folder):
    return StillPlanner()


@pytest.fixture
def phone(folder, still):
    return create_app(folder, planner=still, now=lambda: NOW).test_client()


def act_form(text, field):
    """Hidden inputs of the card of a field."""
    for form in re.findall(r'<form method="post" action="/act".*?</form>', text, flags=re.DOTALL):
        inputs = hidden(form)
        if inputs["field"] == field:
            return inputs
    raise AssertionError(f"no card of {field}")


def tap(phone, field, do):
    form = act_form(get(phone, "/"), field)
    return phone.post("/act", data={**form, "do": do}, **LOCAL)


def entries(folder, *kinds):
    with Book(folder) as book:
        return book.entries(*kinds)


@pytest.mark.parametrize(
    ("do", "kind", "facts"),
    [
        ("begun", "begun", {"crew": "north crew"}),
        ("tough", "tough", {"above": 16.0}),
        ("soft", "ground", {"ground": "soft"}),
        ("down:C1", "down", {}),
    ],
)
def test_one_tap_writes_the_entry_and_replans(phone, still, folder, do, kind, facts):
    first = issue(folder).crews[0].orders[0]
    answer = tap(phone, first.field, do)
    assert answer.headers["Location"] == "/replan"
    assert still.asked == 1
    (entry,) = entries(folder, kind)
    assert entry.facts == facts
    assert entry.subject == ("C1" if kind == "down" else first.field)


def test_done_is_all_that_is_left_and_undo_takes_it_back(phone, still, folder):
    first = issue(folder).crews[0].orders[0]
    tap(phone, first.field, "done")
    (cut,) = entries(folder, "cut")
    place = next(f for f in read_farm(folder).fields if f.id == first.field)
    assert cut.number("area") == pytest.approx(place.area_ha * (1 - place.cut_fraction))
    text = get(phone, "/")
    assert "Written: area cut" in text
    form = hidden(text.partition('action="/undo"')[2].partition("</form>")[0])
    for _ in range(2):  # the answer to the first is lost
        phone.post("/undo", data=form, **LOCAL)
        assert entries(folder, "cut") == []
    assert len([e for e in Book(folder).entries("cut", superseded=True) if e.withdrawn]) == 1
    assert "Written:" not in get(phone, "/")
    asked = still.asked
    form["token"] = "0" * 32
    text = phone.post("/undo", data=form, follow_redirects=True, **LOCAL).text
    assert "nothing to take back" in text
    assert still.asked == asked


def test_readings_that_one_form_wrote_are_taken_back_together(phone, folder):
    form = hidden(get(phone, "/rain"))
    phone.post("/rain", data={**form, "rain-0": "0.4", "rain-2": "0.5", "do": "save"}, **LOCAL)
    assert len(entries(folder, "rain")) == 2
    back = {"csrf_token": form["csrf_token"], "token": "a" * 32, "of": form["token"]}
    for _ in range(2):
        phone.post("/undo", data=back, **LOCAL)
        assert entries(folder, "rain") == []
    assert len([e for e in Book(folder).entries("rain", superseded=True) if e.withdrawn]) == 2


def test_a_double_tap_is_one_entry(phone, folder):
    first = issue(folder).crews[0].orders[0]
    form = {**act_form(get(phone, "/"), first.field), "do": "tough"}
    for _ in range(2):
        phone.post("/act", data=form, **LOCAL)
    assert len(entries(folder, "tough")) == 1


def test_an_act_on_an_order_that_is_gone_writes_nothing(phone, still, folder):
    first = issue(folder).crews[0].orders[0]
    form = {**act_form(get(phone, "/"), first.field), "field": "F99", "do": "soft"}
    text = phone.post("/act", data=form, follow_redirects=True, **LOCAL).text
    assert "no longer in the plan" in text
    assert phone.post("/act", data={**form, "do": "dance"}, **LOCAL).status_code == 404
    assert entries(folder) == [e for e in entries(folder) if e.kind == "plan"]
    assert still.asked == 0


def test_a_begun_field_says_since_when(phone, folder):
    first = issue(folder).crews[0].orders[0]
    tap(phone, first.field, "begun")
    assert '<p class="begun">Begun 6:10 am</p>' in get(phone, "/")


def send_rain(phone, **data):
    form = hidden(get(phone, "/rain"))
    return phone.post("/rain", data={**form, **data}, **LOCAL)


def test_all_gauges_on_one_form(phone, still, folder):
    gauges = list(read_farm(folder).gauges)
    text = get(phone, "/rain")
    assert all(f">{g} <" in text for g in gauges)
    sent = send_rain(phone, **{"rain-0": "1/4", "rain-1": "trace", "rain-3": "0,5", "do": "replan"})
    assert sent.headers["Location"] == "/replan"
    assert still.asked == 1
    read = {e.subject: e.number("rain") for e in entries(folder, "rain")}
    assert read == {gauges[0]: pytest.approx(6.35), gauges[1]: 0.06, gauges[3]: pytest.approx(12.7)}
    # those read lately come first, the others fold away
    text = get(phone, "/rain")
    assert text.index("Other gauges") < text.index(f">{gauges[2]} <")
    assert text.index("Other gauges") > text.index(f">{gauges[3]} <")


def test_gauges_are_written_all_or_none(phone, folder):
    answer = send_rain(phone, **{"rain-0": "0.4", "rain-1": "wet", "do": "save"})
    assert answer.status_code == 422
    assert "&#34;wet&#34; is not a number" in answer.text
    assert 'value="0.4"' in answer.text
    assert entries(folder, "rain") == []
    assert send_rain(phone, do="save").status_code == 422


def test_a_second_reading_within_the_hour_is_questioned(phone, folder):
    send_rain(phone, **{"rain-0": "0.4", "do": "save"})
    asked = send_rain(phone, **{"rain-0": "0.62", "do": "save"})
    assert asked.status_code == 409
    assert "Read at 6:10 am already: 0.40 in. What is this reading?" in asked.text
    assert len(entries(folder, "rain")) == 1
    again = {**hidden(asked.text), "rain-0": "0.62", "again-0": "instead", "do": "save"}
    assert phone.post("/rain", data=again, **LOCAL).status_code == 303
    (only,) = entries(folder, "rain")
    assert only.number("rain") == pytest.approx(0.62 * 25.4)
    asked = send_rain(phone, **{"rain-0": "0.1", "do": "save"})
    again = {**hidden(asked.text), "rain-0": "0.1", "again-0": "more", "do": "save"}
    assert phone.post("/rain", data=again, **LOCAL).status_code == 303
    assert [e.number("hours") for e in entries(folder, "rain")] == [24.0, 0.25]


def test_every_way_to_enter_rain_leads_to_the_form_that_asks(phone, folder):
    form = hidden(get(phone, "/rain"))
    assert phone.get("/enter/rain", **LOCAL).headers["Location"] == "/rain"
    sent = phone.post("/enter/rain", data={**form, "subject": "yard", "rain": "0.4"}, **LOCAL)
    assert sent.status_code == 405
    assert entries(folder, "rain") == []


def test_a_reading_counts_since_the_last_one(phone, folder):
    with Book(folder) as book:
        before = NOW - timedelta(hours=9)
        book.add(Entry(kind="rain", subject="yard", at=before, facts={"rain": 3.0, "hours": 24.0}))
    send_rain(phone, **{"rain-0": "0.4", "do": "save"})
    assert entries(folder, "rain")[-1].number("hours") == 9.0


@pytest.mark.parametrize(
    ("hours", "words", "age", "stale"),
    [
        (0.2, "Orders of 6 am", "4 hours", False),
        (25.0, "Orders of yesterday 6 am", "29 hours", True),
        (72.0, "Orders of Sat 16 Aug 6 am", "3 days", True),
    ],
)
def test_old_orders_are_told_on_top(folder, still, hours, words, age, stale):
    morning = issue(folder)
    now = mornings.NOW + timedelta(hours=hours)
    text = get(create_app(folder, planner=still, now=lambda: now).test_client(), "/")
    assert f"<h1>{words} " in text
    assert f"Forecast {age} old" in text
    assert ('id="cautions"' in text) == (hours < 48)  # they are those of the day of the orders
    assert ("Replan before anybody leaves." in text) == stale
    cards = text.count("<dl class=")
    first = morning.crews[0].stints[0]
    assert (f"for {first.name}" in text) == (hours < 1)
    assert "These orders say nothing of today." in text or hours < 48
    assert cards


def test_what_is_new_to_this_phone_until_it_says_seen(phone, folder):
    morning = issue(folder)
    assert "What is new" not in get(phone, "/")
    north, south = morning.crews
    swapped = (replace(north, orders=north.orders[::-1], stints=north.stints[::-1]), south)
    later = mornings.NOW + timedelta(minutes=5)
    with Book(folder) as book:
        book.add(Entry(kind="ground", subject="F03", at=NOW, facts={"ground": "soft"}))
    issue(folder, crews=swapped, now=later)
    text = get(phone, "/")
    assert "New since the orders of 6 am that you saw" in text
    lines = re.findall(r"<li>(.*?)</li>", text[text.index("What is new") :])
    first, last = north.stints[0], north.stints[-1]
    assert (
        lines[0]
        == f"North crew: first {last.name} ({last.field}), was {first.name} ({first.field})"
    )
    assert "Ground check F03: soft" in lines[1:5]  # entries come last
    form = {"csrf_token": csrf(text), **hidden(text[text.index('action="/seen"') :])}
    phone.post("/seen", data=form, **LOCAL)
    assert "What is new" not in get(phone, "/")
    assert phone.get("/news.json", **LOCAL).json == {"plan": 3, "since": 0, "busy": False}


def test_entries_since_the_orders_stand_on_top_the_last_first(phone, still, folder):
    issue(folder)
    with Book(folder) as book:
        for field, who in (("F03", "Bo"), ("F07", "Cy"), ("F08", "Bo")):
            facts = {"ground": "soft"}
            book.add(Entry(kind="ground", subject=field, at=NOW, facts=facts, by=who))
        book.withdraw(4, by="Bo")
    text = get(phone, "/")
    box = text[text.index("3 entries since these orders") : text.index('class="crew"')]
    assert re.findall(r"<li>(.*?)</li>", box) == [
        "taken back: ground check F08: soft <small>(6:10 am, Bo)</small>",
        "ground check F07: soft <small>(6:10 am, Cy)</small>",
        "ground check F03: soft <small>(6:10 am, Bo)</small>",
    ]
    assert ">Replan with these</button>" in text
    assert phone.get("/news.json", **LOCAL).json == {"plan": 1, "since": 5, "busy": False}
    assert still.asked == 0  # the farmer decides when


def test_quick_orders_replaced_by_better_ones_say_so(phone, folder):
    morning = issue(folder)
    get(phone, "/")
    north, south = morning.crews
    better = replace(morning, crews=(replace(north, stints=north.stints[::-1]), south))
    with Book(folder) as book:  # as the longer search does: the same morning, the same entries
        book.issue_plan(document(morning), seen=0)
        assert "What is new" not in get(phone, "/")  # it found the same orders
        book.issue_plan(document(better), seen=0)
    assert "A longer search found better orders. They replace the quick ones of 6 am." in get(
        phone, "/"
    )


def test_machines_come_first_among_the_differences(folder):
    issue(folder)
    before = shown_plan(folder)
    north, south = before.crews
    after = replace(
        before,
        crews=(
            replace(north, combines=("C1",), orders=north.orders[1:], stints=north.stints[1:]),
            replace(south, combines=("C2", *south.combines)),
        ),
    )
    lines = plan_differences(before, after)
    assert lines[:2] == ("north crew: C2 to south crew", "south crew: C2 from north crew")
    assert lines[2].startswith("North crew: first ")
    assert plan_differences(before, before) == ()


def test_own_orders_are_marked_priced_or_refused(phone, folder):
    morning = issue(folder)
    north, south = morning.crews
    with Book(folder) as book:
        facts = {"fields": (north.orders[0].field,)}
        book.add(Entry(kind="order", subject=north.crew, at=NOW, facts=facts))
    text = get(phone, "/")
    assert "Held by your order." in text
    assert "Price not known yet: replan." in text
    issue(folder, money=replace(morning.money, held_cost=2218.0, held_error=300.0))
    assert "Keeping your order costs $2,218 more, give or take $300." in get(phone, "/")
    issue(folder, crews=(south,))
    with Book(folder) as book:
        (held,) = held_orders(book, shown_plan(folder), NOW).values()
    assert held.problem == "north crew: no orders, because no combine works with it"


def test_a_typed_list_keeps_its_changes_when_an_arrow_moves_a_field(client, folder):
    # the price itself is not asked for here: the planner of these tests has none
    from scheduler.web.crew_order import moved

    assert moved(["F05", "F01", "F03"], "up:F03") == ["F05", "F03", "F01"]
    assert moved(["F05", "F01"], "down:F05") == ["F01", "F05"]
    assert moved(["F05", "F01"], "drop:F05") == ["F01"]
    for junk in ("up:F99", "up", "dance:F01", ""):
        assert moved(["F05", "F01"], junk) == ["F05", "F01"]


def test_the_price_of_a_step_stands_beside_its_arrow(client, folder):
    issue(folder)
    text = get(client, "/order?crew=north crew")
    arrow = re.search(r'value="down:F01".*?</button>', text, flags=re.DOTALL)[0]
    assert '<small class="step">+$1,240</small>' in arrow


@pytest.mark.parametrize(
    ("fields", "why"),
    [("F26", "cannot be cut in the days planned: mostly not ripe"), ("F01", "cut already")],
)
def test_an_order_that_cannot_be_followed_is_refused(phone, folder, fields, why):
    from mornings import NOW as PLANNED

    from readiness.season.codes import Reason
    from scheduler.orders.model import LeftOut
    from scheduler.orders.reasons import LeftOutKind, LeftOutReason

    with Book(folder) as book:
        facts = {"area": next(f.area_ha for f in read_farm(folder).fields if f.id == "F01")}
        book.add(Entry(kind="cut", subject="F01", at=PLANNED, facts=facts))
    green = LeftOutReason(kind=LeftOutKind.CLOSED, closed_by=Reason.GREEN)
    issue(folder, left_out=(LeftOut(field="F26", name="North", why=green, cost=900.0),))
    form = hidden(get(phone, "/order?crew=north crew"))
    sent = phone.post("/order", data={**form, "fields": fields, "do": "save"}, **LOCAL)
    assert sent.status_code == 422
    assert why in sent.text
    assert entries(folder, "order") == []


@pytest.mark.slow
def test_a_price_is_reckoned_after_a_restart_too(client, folder):
    issue(folder)  # by an earlier run of the program: this planner has planned nothing yet
    form = hidden(get(client, "/order?crew=north crew"))
    was = [o.field for o in shown_plan(folder).crews[0].orders]
    swapped = ", ".join([was[1], was[0], *was[2:]])
    priced = client.post("/order/price", data={**form, "fields": swapped}, **LOCAL).json
    assert priced["lines"][1] == "yours costs $200 more, give or take $30"
    assert len(entries(folder, "plan")) == 1  # nothing was issued


def test_fields_with_most_hours_today_come_first(client, folder):
    issue(folder)
    plan = shown_plan(folder)
    text = get(client, "/fields")
    shown = re.findall(r'<th scope="row"><a [^>]*>(.*?)</a>', text)
    today = {row.title: row.days[0].cut or 0.0 for row in plan.hours}
    assert [today[f] for f in shown] == sorted(today.values(), reverse=True)
