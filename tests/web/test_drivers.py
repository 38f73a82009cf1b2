"""Drivers' links, roles, sessions on the server, and what strangers are told."""

import re
import sqlite3
from datetime import timedelta
from html import unescape

import pytest
from page_requests import LOCAL, NOW, PASSPHRASE, csrf, get, hidden, issue, login

from scheduler.farm_files.folder import read_farm
from scheduler.season_book.book import Book
from scheduler.season_book.entry_kinds import KINDS
from scheduler.web.access.driver import DRIVER_FORMS
from scheduler.web.access.passphrase import set_passphrase
from scheduler.web.access.private_state import LINK_LIFETIME, SESSION_LIFETIME, PrivateState
from scheduler.web.app import create_app
from scheduler.web.planner import Planner

ADDRESSES = ("http://192.168.7.20:8377", "http://barn.local:8377")


@pytest.fixture
def access(folder):
    return set_passphrase(folder, PASSPHRASE)


@pytest.fixture
def app(folder, access):
    return page(folder, access)


def page(folder, access):
    planner = Planner(folder, module="fake_planner")  # starts no process until it plans
    return create_app(
        folder, planner=planner, now=lambda: NOW, locked=True, access=access, addresses=ADDRESSES
    )


def farmer(app):
    client = app.test_client()
    assert login(client).status_code == 303
    return client


def add(client, name, crew="north crew"):
    """Add a driver; return the address of the link, without the host."""
    form = {"csrf_token": csrf(get(client, "/people")), "name": name, "crew": crew}
    assert client.post("/people", data=form, **LOCAL).status_code == 303
    return links(client)[name]


def links(client):
    """Path of the link of each person who has one."""
    found = {}
    for part in get(client, "/people").split('<section class="person"')[1:]:
        name = unescape(re.search(r"<h2[^>]*>([^<]*)<", part)[1])
        if link := re.search(r'href="http://[^/"]+(/driver/[^"]+)"', part):
            found[name] = link[1]
    return found


def press(client, name, do, **more):
    text = get(client, "/people")
    part = next(p for p in text.split('<section class="person"')[1:] if f">{name}</h2>" in p)
    number = re.search(r'id="person-(\d+)"', part)[1]
    data = {"csrf_token": csrf(text), "do": do, **more}
    return client.post(f"/people/{number}", data=data, **LOCAL)


def send(client, link, kind, **values):
    """Send a driver's form; the page follows."""
    form = hidden(get(client, link))
    return client.post(
        f"{link}/enter/{kind}", data={**form, **values}, follow_redirects=True, **LOCAL
    )


def tap(client, link, do, field, **more):
    """Tap a button on one of the day's fields; the page follows."""
    form = {**hidden(get(client, link)), "field": field, "parcel": "", "do": do, **more}
    return client.post(f"{link}/act", data=form, follow_redirects=True, **LOCAL)


def test_a_driver_sees_the_orders_of_the_crew_and_no_money(app, folder):
    morning = issue(folder)
    link = add(farmer(app), "Bo")
    text = get(app.test_client(), link)
    north, south = morning.crews
    assert f"{north.stints[0].field}" in text
    assert "Today, Sat 16 Aug" in text
    assert "Tomorrow, Sun 17 Aug" in text
    shown = text[: text.index('id="enter"')]
    for order in north.orders:
        assert order.name in shown
    for order in south.orders:
        if order.field not in {o.field for o in north.orders}:
            assert order.name not in shown
    for caution in ("Phone", "Tired", "Power lines", "Flowing grain", "Fire", "Thunder", "Road"):
        assert f"<b>{caution}:</b>" in text
    assert "Local rules, bans" in text


def test_the_map_of_a_driver_leads_to_no_page_of_the_farmers(app, folder):
    issue(folder)
    link = add(farmer(app), "Bo")
    text = get(app.test_client(), f"{link}/map")
    assert "way-0" in text
    inside = [a for a in re.findall(r'href="([^"]*)"', text) if a.startswith("/")]
    assert all(a.startswith((link, "/static/", "/shades.css")) for a in inside), inside
    assert "$" not in text


@pytest.mark.parametrize("money", ["$", "price", "Price", "cost", "loss"])
def test_no_word_of_money_stands_on_a_drivers_page(app, folder, money):
    issue(folder)
    assert money not in get(app.test_client(), add(farmer(app), "Bo"))


def test_no_form_of_a_driver_asks_for_money():
    facts = {f.name: f for name in DRIVER_FORMS for f in KINDS[name].facts}
    asked = {name for names in DRIVER_FORMS.values() for name in names}
    assert not {facts[n].quantity for n in asked} & {"price", "money"}


def test_orders_of_yesterday_do_not_stand_under_today(folder, access):
    issue(folder)
    app = create_app(
        folder,
        planner=Planner(folder, module="fake_planner"),
        now=lambda: NOW + timedelta(days=1),
        locked=True,
        access=access,
    )
    text = get(app.test_client(), add(farmer(app), "Bo"))
    assert "They are old: ask before you move." in text
    assert "Today, Sun 17 Aug" in text


ENTRIES = {
    "cut": {"subject": "F07", "area": "20"},
    "ticket": {"subject": "Junction", "field": "F07", "weight": "30", "moisture": "15.2"},
    "sample": {"subject": "F07", "moisture": "16.8"},
    "ground": {"subject": "F07", "ground": "soft"},
    "down": {"subject": "C1", "reason": "belt"},
    "repaired": {"subject": "C1"},
}


@pytest.mark.parametrize("kind", DRIVER_FORMS)
def test_a_driver_writes_entries_in_his_or_her_own_name(app, folder, kind):
    farm = read_farm(folder)
    values = dict(ENTRIES[kind])
    if kind == "ticket":
        values["subject"] = farm.points[0].id
    client, link = app.test_client(), add(farmer(app), "Bo")
    answer = send(client, link, kind, by="Ann", **values)
    assert answer.status_code == 200, answer.text
    assert "Written down" in answer.text
    with Book(folder) as book:
        (entry,) = book.entries(kind)
    assert entry.by == "Bo"
    if kind == "cut":
        assert entry.text("crew") == "north crew"


def form_to(address, text):
    """Hidden inputs of the first form that is sent to an address."""
    return hidden(text.partition(f'action="{address}"')[2].partition("</form>")[0])


def test_begun_and_done_take_one_tap_and_can_be_taken_back(app, folder):
    issue(folder)
    farm = read_farm(folder)
    client, link = app.test_client(), add(farmer(app), "Bo")
    name = re.search(r'name="field" value="(\w+)"', get(client, link))[1]
    for do, kind in (("begun", "begun"), ("tough", "tough"), ("soft", "ground")):
        assert tap(client, link, do, name).status_code == 200
        with Book(folder) as book:
            assert [e.by for e in book.entries(kind)] == ["Bo"]
    with Book(folder) as book:
        assert book.in_progress(farm, NOW) == {name: "north crew"}
    assert tap(client, link, "done", name).status_code == 200
    with Book(folder) as book:
        assert book.progress(farm, NOW)[name] == 1.0
    answer = tap(client, link, "done", name)
    assert answer.status_code == 422
    assert "is cut already" in answer.text
    text = get(client, link)
    form = form_to(f"{link}/undo", text)  # the last entry stands first
    assert client.post(f"{link}/undo", data=form, **LOCAL).status_code == 303
    with Book(folder) as book:
        assert book.progress(farm, NOW)[name] < 1.0


def test_a_driver_takes_back_no_entry_of_others(app, folder):
    ann = farmer(app)
    client, link = app.test_client(), add(ann, "Bo")
    form = hidden(get(ann, "/enter/ground"))
    ann.post("/enter/ground", data={**form, "subject": "F07", "ground": "firm"}, **LOCAL)
    data = {"csrf_token": csrf(get(client, link)), "of": form["token"]}
    assert client.post(f"{link}/undo", data=data, **LOCAL).status_code == 404
    with Book(folder) as book:
        assert len(book.entries("ground")) == 1


def test_what_is_wrong_is_told_and_what_was_typed_stays(app, folder):
    client, link = app.test_client(), add(farmer(app), "Bo")
    answer = send(client, link, "sample", subject="F07", moisture="168")
    assert answer.status_code == 422
    assert "168 is outside of 3.0 % to 60.0 %" in answer.text
    assert 'value="168"' in answer.text


@pytest.mark.parametrize("kind", ["order", "absent", "rain", "notice", "plan", "nothing"])
def test_a_driver_writes_no_other_kinds(app, kind):
    client, link = app.test_client(), add(farmer(app), "Bo")
    form = hidden(get(client, link))
    answer = client.post(f"{link}/enter/{kind}", data={**form, "subject": "F07"}, **LOCAL)
    assert answer.status_code == 404


@pytest.mark.parametrize("path", ["/", "/people", "/enter/sample", "/sheet", "/season", "/entries"])
def test_a_link_opens_no_page_of_the_farmers(app, path):
    client, link = app.test_client(), add(farmer(app), "Bo")
    get(client, link)
    assert client.get(path, **LOCAL).headers["Location"] == "/login"


def test_one_link_ends_and_the_others_go_on(app):
    ann = farmer(app)
    bo, cy = add(ann, "Bo"), add(ann, "Cy", "south crew")
    assert press(ann, "Bo", "end").status_code == 303
    assert "this link has ended: ask the farmer" in get(app.test_client(), bo, 410).lower()
    sent = {"subject": "F07", "moisture": "16", "csrf_token": csrf(get(ann, "/people"))}
    assert ann.post(f"{bo}/enter/sample", data=sent, **LOCAL).status_code == 410
    get(app.test_client(), cy)
    press(ann, "Bo", "renew")
    fresh = links(ann)["Bo"]
    assert fresh != bo
    get(app.test_client(), fresh)
    get(app.test_client(), bo, 410)
    for forged in (fresh[:-3] + "abc", "/driver/x", f"/driver/a{fresh[8:]}"):
        assert app.test_client().get(forged, **LOCAL).status_code == 410


def test_a_person_changes_crews_and_keeps_the_link(app):
    ann = farmer(app)
    link = add(ann, "Bo")
    press(ann, "Bo", "move", crew="south crew")
    assert "<h1>South crew</h1>" in get(app.test_client(), link)
    assert press(ann, "Bo", "move", crew="nobody").status_code == 404


def test_two_drivers_of_one_name_are_told_apart(app):
    ann = farmer(app)
    add(ann, "Bo")
    form = {"csrf_token": csrf(get(ann, "/people")), "crew": "north crew"}
    for name, why in (("bo", "There is a bo already"), (" ", "Give the driver"), ("x" * 61, "60")):
        answer = ann.post("/people", data={**form, "name": name}, **LOCAL)
        assert answer.status_code == 422
        assert why in unescape(answer.text)


def test_links_and_sessions_stand_in_no_file_and_others_read_none(app, folder):
    ann = farmer(app)
    token = add(ann, "Bo").rpartition("/")[2]
    issue(folder)
    for name in ("people.sqlite", "access.json", "book.sqlite"):
        content = (folder / name).read_bytes()
        assert token.encode() not in content
        assert (folder / name).stat().st_mode & 0o777 == 0o600
    with sqlite3.connect(folder / "people.sqlite") as db:
        (digest,) = db.execute("SELECT digest FROM phone").fetchone()
    cookie = ann.get_cookie("afterrain", domain="127.0.0.1").value
    assert digest not in cookie


def test_links_carry_the_address_that_phones_can_open(app):
    ann = farmer(app)
    add(ann, "Bo")
    assert f'href="{ADDRESSES[0]}/driver/' in get(ann, "/people")
    text = get(ann, f"/people?address={ADDRESSES[1]}")
    assert f'href="{ADDRESSES[1]}/driver/' in text
    assert f'data-copy="{ADDRESSES[1]}/driver/' in text
    assert "data:image/svg+xml" in text
    assert "evil" not in get(ann, "/people?address=http://evil.example")


def test_a_link_lasts_a_season_and_a_session_a_month(folder, access):
    clock = {"now": NOW}
    state = PrivateState(folder, access, lambda: clock["now"])
    token = state.add_person("Bo", "north crew").token
    secret = state.open_session("a phone")
    assert state.person_of(token).name == "Bo"
    assert state.phone_of(secret).device == "a phone"
    clock["now"] = NOW + SESSION_LIFETIME
    assert state.phone_of(secret) is None
    assert state.person_of(token) is not None
    clock["now"] = NOW + LINK_LIFETIME
    assert state.person_of(token) is None
    assert state.people()[0].token == ""


def test_logging_out_kills_the_cookie_on_the_server(app):
    ann = farmer(app)
    stolen = ann.get_cookie("afterrain", domain="127.0.0.1").value
    thief = app.test_client()
    thief.set_cookie("afterrain", stolen, domain="127.0.0.1")
    get(thief, "/")
    ann.post("/logout", data=hidden(get(ann, "/enter/sample")), **LOCAL)
    assert thief.get("/", **LOCAL).headers["Location"] == "/login"


def test_one_phone_is_logged_out_alone(app):
    ann, lost = farmer(app), farmer(app)
    text = get(ann, "/people")
    numbers = sorted(map(int, re.findall(r'action="/phones/(\d+)"', text)))
    assert len(numbers) == 2
    data = {"csrf_token": csrf(text)}
    assert ann.post(f"/phones/{numbers[1]}", data=data, **LOCAL).status_code == 303
    assert lost.get("/", **LOCAL).headers["Location"] == "/login"
    get(ann, "/")


def test_a_new_passphrase_ends_sessions_and_links(app, folder):
    ann = farmer(app)
    link = add(ann, "Bo")
    later = page(folder, set_passphrase(folder, "wet straw in august"))
    get(later.test_client(), link, 410)
    old = later.test_client()
    cookie = ann.get_cookie("afterrain", domain="127.0.0.1").value
    old.set_cookie("afterrain", cookie, domain="127.0.0.1")
    assert old.get("/", **LOCAL).status_code == 302


def test_wrong_passphrases_are_kept_with_time_and_address(app, folder, capfd):
    client = app.test_client()
    login(client, "wet straw in may")
    assert re.search(
        r"^\d{4}-\d\d-\d\d .* wrong passphrase from 127.0.0.1$", capfd.readouterr().err
    )
    assert "wet straw" not in (folder / "people.sqlite").read_bytes().decode("latin-1")
    assert re.search(r"<li>[^<]+ from 127.0.0.1</li>", get(farmer(app), "/people"))


def test_strangers_and_drivers_are_told_of_no_files(app, folder):
    ann = farmer(app)
    link = add(ann, "Bo")
    (folder / "fields.csv").write_text("id,name\nF01,x\n")
    assert "fields.csv" in get(ann, "/", 422)
    for client, path in ((app.test_client(), link), (app.test_client(), "/login")):
        text = client.get(path, **LOCAL).text
        assert "fields.csv" not in text
        assert str(folder) not in text
    assert "tell the farmer" in get(app.test_client(), link, 422)


# Entries that a phone kept


def kept(client, path, origin="http://127.0.0.1:8377", when="later", **values):
    headers = {"X-Kept-Entry": when, "Origin": origin}
    return client.post(path, data=values, headers=headers, **LOCAL)


def test_an_entry_kept_by_a_phone_is_written_once_at_the_time_it_was_typed(app, folder):
    client, link = app.test_client(), add(farmer(app), "Bo")
    values = {"subject": "F07", "moisture": "16.8", "token": "a" * 32, "age": "5400"}
    for _ in range(3):
        answer = kept(client, f"{link}/enter/sample", **values)
        assert answer.status_code == 200
        assert answer.json["written"] == link
    with Book(folder) as book:
        (entry,) = book.entries()
    assert entry.at == NOW - timedelta(minutes=90)
    assert entry.by == "Bo"
    ann = farmer(app)
    for _ in range(2):
        values = {"subject": "F07", "moisture": "16.8", "token": "b" * 32, "age": "10"}
        assert kept(ann, "/enter/sample", **values).json["written"].startswith("/entries/2")
    with Book(folder) as book:
        assert len(book.entries()) == 2


def test_all_cut_sent_twice_is_written_once(app, folder):
    # the second sending would find nothing left to cut
    client, link = app.test_client(), add(farmer(app), "Bo")
    for _ in range(2):
        answer = kept(
            client, f"{link}/enter/cut", subject="F07", area="all", token="c" * 32, seen="0"
        )
        assert answer.status_code == 200
    with Book(folder) as book:
        assert len(book.entries("cut")) == 1


def test_a_refused_entry_says_why(app, folder):
    client, link = app.test_client(), add(farmer(app), "Bo")
    path = f"{link}/enter/cut"
    assert kept(client, path, subject="F07", area="20", token="a" * 32).status_code == 200
    answer = kept(client, path, subject="F07", area="5", token="b" * 32, seen="0")
    assert answer.status_code == 409
    assert "Bo wrote about F07 in the meantime" in answer.json["error"]
    again = kept(client, path, subject="F07", area="5", token="b" * 32, seen=answer.json["seen"])
    assert again.status_code == 200
    answer = kept(client, path, subject="F07", area="9999", token="d" * 32)
    assert answer.status_code == 422
    assert "are left of F07" in answer.json["problems"]["area"]


def test_an_entry_for_orders_that_have_changed_is_written_and_the_sender_told(app, folder):
    client, link = app.test_client(), add(farmer(app), "Bo")
    issue(folder)
    before = hidden(get(client, link))["issue"]
    issue(folder)
    values = {"subject": "F07", "ground": "soft", "token": "a" * 32, "issue": before}
    answer = kept(client, f"{link}/enter/ground", **values)
    assert "The orders have changed since: look at the new ones." in answer.json["told"]
    with Book(folder) as book:
        assert len(book.entries("ground")) == 1


def test_what_a_crew_did_counts_although_the_field_has_left_the_orders(app, folder):
    morning = issue(folder)
    client, link = app.test_client(), add(farmer(app), "Bo")
    ordered = {s.field for c in morning.crews for s in c.stints}
    other = next(f.id for f in read_farm(folder).fields if f.id not in ordered)
    for n, do in enumerate(("begun", "tough", "soft", "done")):
        values = {"field": other, "parcel": "", "do": do, "token": f"{n}" * 32}
        assert kept(client, f"{link}/act", **values).status_code == 200
    part = kept(client, f"{link}/act", field=other, parcel="part 1 of 2", do="done")
    assert part.status_code == 422
    assert "no longer in the plan" in part.json["error"]
    with Book(folder) as book:
        assert book.progress(read_farm(folder), NOW)[other] == 1.0


def test_an_entry_behind_an_ended_link_or_session_is_not_thrown_away(app, folder):
    ann = farmer(app)
    client, link = app.test_client(), add(ann, "Bo")
    press(ann, "Bo", "end")
    values = {"subject": "F07", "moisture": "16.8", "token": "a" * 32}
    assert kept(client, f"{link}/enter/sample", **values).status_code == 410
    assert kept(app.test_client(), "/enter/sample", **values).status_code == 401
    (folder / "farm.toml").write_text("[")
    assert kept(ann, "/enter/sample", **values).status_code == 503  # tried again later
    with Book(folder) as book:
        assert book.revision == 0


def test_no_other_site_sends_a_kept_entry(app, folder):
    ann = farmer(app)
    values = {"subject": "F07", "moisture": "16.8", "token": "a" * 32}
    assert kept(ann, "/enter/sample", origin="http://evil.example", **values).status_code == 403
    headers = {"X-Kept-Entry": "now"}
    assert ann.post("/enter/sample", data=values, headers=headers, **LOCAL).status_code == 400
    if Book.exists(folder):
        with Book(folder) as book:
            assert book.revision == 0


def test_what_a_phone_installs(app):
    client, link = app.test_client(), add(farmer(app), "Bo")
    made = client.get(f"{link}/manifest.webmanifest", **LOCAL)
    assert made.json["start_url"] == link
    assert made.json["name"] == "north crew"
    assert client.get("/manifest.webmanifest", **LOCAL).json["start_url"] == "/"
    for icon in made.json["icons"]:
        with client.get(icon["src"], **LOCAL) as answer:
            assert answer.data.startswith(b"\x89PNG")
    with client.get("/service_worker.js", **LOCAL) as answer:
        assert answer.mimetype == "text/javascript"
    assert client.get("/alive", **LOCAL).status_code == 204
    assert client.get(f"{link}/alive", **LOCAL).json == {"plan": 0}
    assert "does not answer" in get(client, "/offline")
