"""The page without a browser: every view, forms, conflicts, access and junk."""

import random
import re
import time
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import mornings
import pytest
from markupsafe import escape
from page_requests import LOCAL, NOW, csrf, get, hidden, issue, login, shown_plan

from scheduler.farm.wording import clock
from scheduler.farm_files.folder import read_farm
from scheduler.orders.model import MachineMove
from scheduler.report.order_phrases import start_text, way_lines
from scheduler.report.phrases import money_lines, quality_note, times_note
from scheduler.season_book.book import Book
from scheduler.season_book.entry_kinds import KINDS
from scheduler.web.access import guard
from scheduler.web.access.guard import host_allowed, machine_names
from scheduler.web.access.passphrase import FREE_ATTEMPTS, set_passphrase
from scheduler.web.app import create_app
from scheduler.web.context import EXTENSION


def post(client, path, **data):
    """Load the form at `path`, send it, follow."""
    form = hidden(get(client, path))
    return client.post(path, data={**form, **data}, follow_redirects=True, **LOCAL)


def run_plan(client, planner):
    client.post("/replan", data={"csrf_token": csrf(get(client, "/"))}, **LOCAL)
    until = time.monotonic() + 60
    while planner.state.running and time.monotonic() < until:
        time.sleep(0.05)
    assert planner.state.error == ""
    assert planner.state.plan > 0


VIEWS = (
    "/",
    "/fields",
    "/map",
    "/rain",
    "/enter",
    "/entries",
    "/order",
    "/season",
    "/safety",
    "/people",
    "/replan",
    "/login",
    "/field?id=F03",
)


def test_every_view_before_there_is_a_plan(client):
    for path in VIEWS:
        assert "<h1>" in get(client, path)
    assert "There are no orders yet" in get(client, "/")
    get(client, "/sheet", 404)


def test_every_view_with_a_plan(client, folder):
    morning = issue(folder)
    for path in VIEWS:
        assert "<h1>" in get(client, path)
    text = get(client, "/")
    for crew in morning.crews:
        assert crew.crew in text
    first = morning.crews[0].orders[0]
    assert first.name in text
    assert clock(first.start.mid, first.start.mid, "us") in text
    assert "If the first sample is too wet" in text
    assert "Grain when cut: model: 1.4 % sprouted; test weight not weighed: take a sample.<" in text
    assert f'<p class="fine">{quality_note(morning.farm)}</p>' in text
    plan = shown_plan(folder)
    for line in (*money_lines(plan), *way_lines(plan.crews[1]), times_note(plan.members)):
        assert escape(line) in text
    assert f"Start {start_text(first, plan)}." in text
    assert "Cut by Sat 16 Aug</dt><dd>90 %" in text
    assert "proven" not in text.lower()


def test_the_page_tells_what_rests_on_past_weather_and_who_has_which_machine(client, folder):
    north, south = read_farm(folder).crews
    moves = (MachineMove(machine="C2", from_crew=south.id, to_crew=north.id),)
    until = mornings.NOW + timedelta(hours=25)
    morning = issue(folder, machine_moves=moves, forecast_until=until)
    text = get(client, "/")
    assert "The forecast reaches only 25 hours ahead." in text
    later = [o for c in morning.crews for o in c.orders if o.start.mid >= until]
    assert text.count("Beyond the forecast; from past weather.") == len(later) > 0
    assert f"Machines: C2 from {south.id}" in text
    assert f"Machines: C2 to {north.id}" in text
    assert f"<li>{north.id}: C2 from {south.id}</li>" in text
    issue(folder, machine_moves=moves, crews=morning.crews[:1])
    text = get(client, "/")
    assert f"<li>{south.id}: no orders, because no combine works with it; C2 to {north.id}" in text


def test_forms_of_every_kind(client):
    for kind in KINDS.values():
        if kind.by_hand and kind.name not in ("order", "rain"):
            text = get(client, f"/enter/{kind.name}")
            assert all(f'name="{f.name}"' in text for f in kind.facts)
    for name in ("order", "plan", "forecast", "nothing"):
        get(client, f"/enter/{name}", 404)


def test_an_issued_plan_reads_back_as_the_orders_were(folder):
    # law: document and back changes nothing that is shown
    morning = issue(folder)
    plan = shown_plan(folder)
    assert plan.crews == mornings.with_words(morning.crews, morning.farm)
    assert plan.now == morning.now
    assert plan.money == morning.money
    assert plan.forecast_until == morning.forecast_until
    assert len(plan.hours) == morning.season.reason.shape[1]
    assert all(len(row.days) == len(plan.dates) for row in plan.hours)


def test_entry_undo_and_correction(client, folder):
    text = post(client, "/enter/sample", subject="F07", moisture="16.8", by="Ann").text
    assert "Written down" in text
    assert "Grain sample F07: moisture 16.8 %" in text
    assert 'value="Ann"' in get(client, "/enter/ground")  # the name is remembered
    text = post(client, "/entries/1/correct", moisture="15.8", subject="F07").text
    assert "in place of" in text
    form = {"csrf_token": csrf(text)}
    text = client.post("/entries/2/undo", data=form, follow_redirects=True, **LOCAL).text
    assert "Taken back" in text
    with Book(folder) as book:
        assert book.entries() == []
        assert len(book.entries(superseded=True)) == 3
    assert client.post("/entries/2/undo", data=form, **LOCAL).status_code == 409


def test_half_a_day_away(client, folder):
    day = {"at": "2025-08-18", "until": "2025-08-18"}
    hours = {"at_clock": "12:00", "until_clock": "18:00"}
    text = post(client, "/enter/absent", subject="south crew", **day, **hours).text
    assert "away until Mon 18 Aug 6 pm" in text
    form = get(client, "/entries/1/correct")
    for name, value in (day | hours).items():
        assert re.search(rf'name="{name}" value="{value}"', form), name
    text = post(client, "/entries/1/correct", subject="south crew", **day).text
    assert "away until the end of 2025-08-18" in text
    form = get(client, "/entries/2/correct")
    for name, value in (day | dict.fromkeys(hours, "")).items():
        assert re.search(rf'name="{name}" value="{value}"', form), name


def test_what_is_wrong_stands_beside_the_answer(client, folder):
    answer = post(client, "/enter/sample", subject="F07", moisture="168", test_weight="59")
    assert answer.status_code == 422
    assert 'id="wrong-moisture">168 is outside of 3.0 % to 60.0 %' in answer.text
    assert 'value="168"' in answer.text  # what was typed stays
    if Book.exists(folder):
        with Book(folder) as book:
            assert book.entries() == []


def test_a_form_sent_twice_is_one_entry(client, folder):
    form = {**hidden(get(client, "/enter/sample")), "subject": "F07", "moisture": "16.8"}
    for _ in range(2):
        assert client.post("/enter/sample", data=form, **LOCAL).status_code == 303
    with Book(folder) as book:
        assert len(book.entries()) == 1


def test_two_people_and_one_field_conflict(app, folder):
    ann, bo = app.test_client(), app.test_client()
    forms = [{**hidden(get(c, "/enter/cut")), "subject": "F07", "area": "80"} for c in (ann, bo)]
    assert ann.post("/enter/cut", data={**forms[0], "by": "Ann"}, **LOCAL).status_code == 303
    answer = bo.post("/enter/cut", data={**forms[1], "by": "Bo"}, **LOCAL)
    assert answer.status_code == 409
    assert "Ann wrote about F07 in the meantime" in answer.text
    again = {**forms[1], **hidden(answer.text), "by": "Bo"}  # seen now, sent again on purpose
    assert bo.post("/enter/cut", data=again, **LOCAL).status_code == 303
    with Book(folder) as book:
        assert [e.by for e in book.entries("cut")] == ["Ann", "Bo"]


@pytest.mark.slow
def test_a_replan_takes_up_what_was_entered(client, folder, planner):
    run_plan(client, planner)
    assert "C1" in get(client, "/")
    machine = read_farm(folder).combines[0].id
    post(client, "/enter/down", subject=machine, by="Ann")
    assert "1 entry since these orders" in get(client, "/")
    run_plan(client, planner)
    text = get(client, "/")
    assert "since these orders" not in text
    with Book(folder) as book:
        assert machine not in book.last_plan()["crews"][0]["combines"]
    deadline = time.monotonic() + 240
    while client.get("/sheet", **LOCAL).status_code == 404 and time.monotonic() < deadline:
        time.sleep(0.1)
    answer = client.get("/sheet", **LOCAL)
    assert answer.status_code == 200
    assert "script-src" not in answer.headers["Content-Security-Policy"]
    assert "sandbox" in answer.headers["Content-Security-Policy"]


@pytest.mark.slow
def test_cancel_leaves_the_orders_that_were(client, folder, planner, monkeypatch):
    issue(folder)
    monkeypatch.setenv("FAKE_PLAN_S", "60")
    token = {"csrf_token": csrf(get(client, "/"))}
    client.post("/replan", data=token, **LOCAL)
    assert "Planning" in get(client, "/replan")
    deadline = time.monotonic() + 30
    while planner.state.share < 0.01 and time.monotonic() < deadline:
        time.sleep(0.05)
    assert client.get("/replan.json", **LOCAL).json["running"]
    client.post("/replan/cancel", data=token, **LOCAL)
    while planner.state.running and time.monotonic() < deadline:
        time.sleep(0.05)
    assert not planner.state.running
    assert "cancelled" in get(client, "/replan")
    with Book(folder) as book:
        assert len(book.entries("plan")) == 1


@pytest.mark.parametrize(
    ("file", "message"),
    [("refuse", "no forecast is stored: fetch one"), ("crash", "the planner failed")],
)
def test_a_plan_that_fails_says_why(client, folder, planner, file, message, capfd):
    (folder / file).touch()
    client.post("/replan", data={"csrf_token": csrf(get(client, "/"))}, **LOCAL)
    deadline = time.monotonic() + 60
    while planner.state.running and time.monotonic() < deadline:
        time.sleep(0.05)
    assert message in get(client, "/replan")
    assert ("boom" in capfd.readouterr().err) == (file == "crash")


@pytest.mark.slow
def test_own_order_is_priced_and_kept(client, folder, planner):
    run_plan(client, planner)
    crew = read_farm(folder).crews[0].id
    with Book(folder) as book:
        was = [o["field"] for o in book.last_plan()["crews"][0]["orders"]]
    form = hidden(get(client, f"/order?crew={crew}"))
    swapped = [was[1], was[0], *was[2:]]
    data = {**form, "fields": ", ".join(swapped)}
    priced = client.post("/order/price", data=data, **LOCAL).json
    assert priced["lines"][1] == "yours costs $200 more, give or take $30"
    assert priced["cost"] == 200.0
    text = client.post("/order", data={**data, "do": "price"}, **LOCAL).text
    assert "yours costs $200 more, give or take $30" in text
    text = client.post("/order", data={**data, "move": f"up:{was[0]}"}, **LOCAL).text
    assert f'value="{", ".join(was)}"' in text  # moved back, without a script
    assert "yours is as good as the plan" in text
    kept = {**data, "do": "save", "why": "Bo wants to see it", "by": "Ann"}
    assert client.post("/order", data=kept, **LOCAL).status_code == 303
    with Book(folder) as book:
        (entry,) = book.entries("order")
    assert entry.facts["fields"] == tuple(swapped)
    assert entry.facts["cost"] == 200.0
    late = {**kept, "token": "0" * 32, "seen": form["seen"]}
    answer = client.post("/order", data=late, **LOCAL)
    assert answer.status_code == 409
    assert f"Ann wrote about {crew} in the meantime" in answer.text
    run_plan(client, planner)
    text = get(client, "/")
    assert "held by your order" in text
    assert ">Money with your order kept<" in text
    assert "All that follows is reckoned with your order kept" in text
    assert "of which this plan with your order kept is expected to lose" in text


@pytest.mark.slow
def test_the_page_shown_is_marked_after_a_form_too(client, folder):
    marked = '<a href="/rain" aria-current="page">Rain</a>'
    assert marked in get(client, "/rain")
    assert marked in post(client, "/rain").text


def test_a_changed_soil_survey_is_read_again(app, folder):
    context = app.extensions[EXTENSION]
    before = context.farm()
    assert context.farm() is before
    (folder / "soil.csv").write_text("id,texture\nF01,clay\n", encoding="utf-8")
    assert context.farm() is not before


def test_an_order_that_is_not_understood(client, folder):
    issue(folder)
    crew = read_farm(folder).crews[0].id
    data = {**hidden(get(client, f"/order?crew={crew}")), "fields": "F01, F99"}
    answer = client.post("/order", data=data, **LOCAL)
    assert answer.status_code == 422
    assert "field &#34;F99&#34; is not known" in answer.text
    get(client, "/order?crew=nobody", 404)


# Access


def test_without_a_token_nothing_is_written(client, folder):
    answer = client.post("/enter/sample", data={"subject": "F07", "moisture": "16.8"}, **LOCAL)
    assert answer.status_code == 400
    with Book(folder) as book:
        assert book.revision == 0


def test_strange_hosts_and_origins_are_refused(client):
    assert client.get("/", base_url="http://evil.example").status_code == 421
    assert client.get("/", base_url="http://192.168.1.7:8377").status_code == 200
    assert client.get("/", base_url="http://8.8.8.8:8377").status_code == 421
    form = hidden(get(client, "/enter/sample"))
    for origin in ("http://evil.example", "null", "http://127.0.0.1:1"):
        data = {**form, "subject": "F07", "moisture": "16.8"}
        sent = client.post("/enter/sample", data=data, headers={"Origin": origin}, **LOCAL)
        assert sent.status_code == 403
    sent = client.post(
        "/enter/sample", data=data, headers={"Origin": "http://127.0.0.1:8377"}, **LOCAL
    )
    assert sent.status_code == 303


@pytest.mark.parametrize(
    ("host", "ours"),
    [
        ("localhost:8377", True),
        ("127.0.0.1", True),
        ("[::1]:8377", True),
        ("10.0.0.5", True),
        ("barn.local", True),
        ("evil.example", False),
        ("1.1.1.1", False),
        ("", False),
        ("127.0.0.1.evil.example", False),
        ("[", False),
        ("localhost.evil.example", False),
    ],
)
def test_hosts(host, ours):
    assert host_allowed(host, machine_names() | {"barn.local"}) == ours


def test_every_answer_carries_its_headers(client):
    for path in (*VIEWS, "/nowhere", "/static/page.css"):
        with client.get(path, **LOCAL) as answer:
            policy = answer.headers["Content-Security-Policy"]
        assert policy.startswith("default-src 'none'")
        assert "unsafe" not in policy
        assert answer.headers["X-Content-Type-Options"] == "nosniff"


def test_pages_use_nothing_from_outside(client, folder):
    issue(folder)
    for path in VIEWS:
        text = get(client, path)
        for address in re.findall(r'(?:src|href|action)="([^"]*)"', text):
            own = ("/", "#", "data:,", "sms:", "geo:", "?")
            assert address.startswith(own), address
        assert "<style" not in text
        assert " style=" not in text
        assert " onclick=" not in text


@pytest.fixture
def network(folder, planner):
    access = set_passphrase(folder, "dry straw in august")
    return create_app(folder, planner=planner, now=lambda: NOW, locked=True, access=access)


def test_on_the_network_everything_asks_for_the_passphrase(network):
    client = network.test_client()
    for path in VIEWS:
        if path != "/login":
            assert client.get(path, **LOCAL).headers["Location"] == "/login"
    assert client.get("/sheet", **LOCAL).status_code == 302
    form = hidden(get(client, "/login"))
    form |= {"subject": "F07", "moisture": "16.8"}
    answer = client.post("/enter/sample", data=form, **LOCAL)
    assert answer.status_code == 401
    assert login(client, "wrong").status_code == 403
    assert login(client, "dry straw in august").status_code == 303
    get(client, "/")
    cookie = client.get_cookie("afterrain", domain="127.0.0.1")
    assert cookie.http_only
    assert cookie.same_site == "Strict"
    form = hidden(get(client, "/enter/sample"))
    client.post("/logout", data=form, **LOCAL)
    assert client.get("/", **LOCAL).status_code == 302


def test_login_is_rate_limited(network, monkeypatch):
    # a clock that stands still, because a slow machine takes seconds for the attempts
    monkeypatch.setattr(guard, "time", SimpleNamespace(monotonic=lambda: 1000.0))
    client = network.test_client()
    for _ in range(FREE_ATTEMPTS):
        assert "not the passphrase" in login(client, "no").text
    answer = login(client, "dry straw in august")
    assert answer.status_code == 403
    assert "Too many wrong passphrases: wait 30 seconds" in answer.text


def test_a_broken_farm_folder_is_explained_on_the_page(client, folder):
    (folder / "fields.csv").write_text("id,name\nF01,x\n")
    for path in ("/", "/enter/sample", "/season"):
        assert "fields.csv" in get(client, path, 422)


HOSTILE = "<script>alert(1)</script>\"'>{{7*7}}"


def test_what_people_write_is_escaped(client, folder):
    post(client, "/enter/ground", subject="F07", ground="soft", reason=HOSTILE, by=HOSTILE)
    with Book(folder) as book:
        assert book.entries()[0].facts["reason"] == HOSTILE
    issue(folder)
    for path in ("/", "/entries", "/entries/1", "/field?id=F07", "/enter/sample", "/season"):
        text = get(client, path)
        assert "<script>alert" not in text
        assert "{{7*7}}" in text or "7*7" not in text
        assert "49}}" not in text


# Junk: whatever is sent ends in an answer below 500 and leaves nothing unsound in the book.

PIECES = (
    "",
    " ",
    "0",
    "-1",
    "1e999",
    "nan",
    "inf",
    "-0",
    "1" * 400,
    "16,8",
    "16.8 %",
    "0x10",
    "½",
    "٣",
    "\x00",
    "\ud7ff",
    "\u202e",
    "%00",
    "../../etc/passwd",
    "C:\\x",
    "'; DROP TABLE entry;--",
    HOSTILE,
    "=1+1",
    "F07",
    "F99",
    "east",
    "all",
    "soft",
    "2025-08-16T06:40",
    "9999-12-31T23:59",
    "0001-01-01",
    "2025-02-30",
    "24:61",
    "now",
    "yesterday",
    "tomorrow 25:00",
    "T",
    "up:0",
    "drop:9",
    "down:-1",
    "save",
    "price",
    "é" * 300,
    "\n\n",
    ";",
    ",,,",
    "F01, F01",
    "north crew",
    "\r\nSet-Cookie: x",
)
JUNK = 10_000


def sound(entry, farm):
    """Whether an entry holds only what its kind allows."""
    kind = KINDS[entry.kind]
    for fact in kind.facts:
        number = entry.number(fact.name)
        if number is not None and not fact.low <= number <= fact.high:
            return False
        if len(entry.text(fact.name)) > 200:
            return False
    clean = all(c.isprintable() for c in entry.by + "".join(map(str, entry.facts.values())))
    return clean and set(entry.facts) <= {f.name for f in kind.facts}


@pytest.mark.slow
def test_ten_thousand_mutated_posts(app, folder):
    issue(folder)
    app.config["WTF_CSRF_ENABLED"] = False  # the forms behind the token are what is tested
    chance, client, codes = random.Random(7), app.test_client(), {}
    kinds = [k for k in KINDS.values() if k.by_hand]
    paths = [
        "/order",
        "/order/price",
        "/entries/1/undo",
        "/entries/1/correct",
        "/login",
        "/entries/2/correct",
        "/entries/99999999999999999999/undo",
        "/enter/order",
    ]
    for n in range(JUNK):
        kind = chance.choice(kinds)
        path = f"/enter/{kind.name}" if chance.random() < 0.7 else chance.choice(paths)
        names = [
            "subject",
            "at",
            "by",
            "token",
            "seen",
            "crew",
            "fields",
            "move",
            "do",
            "why",
            "passphrase",
            *(f.name for f in kind.facts),
        ]
        if chance.random() < 0.25:
            data = {"subject": "F07", "moisture": "16", "rain": "0.5", "ground": "soft"}
        else:
            data = {}
        for name in chance.sample(names, chance.randrange(len(names))):
            data[name] = chance.choice(PIECES) + (chance.choice(PIECES) * (chance.random() < 0.2))
        if n % 50 == 0:
            sent = client.post(
                path,
                data=chance.randbytes(200),
                headers={
                    "Content-Type": chance.choice(
                        [
                            "multipart/form-data; boundary=x",
                            "text/plain",
                            "application/x-www-form-urlencoded; charset=utf-7",
                            "multipart/form-data",
                        ]
                    )
                },
                **LOCAL,
            )
        elif path == "/login":
            sent = client.get(path, query_string=data, **LOCAL)  # a hash for each would take hours
        else:
            sent = client.post(path, data=data, **LOCAL)
        codes[sent.status_code] = codes.get(sent.status_code, 0) + 1
        assert sent.status_code < 500, (path, data)
        assert "Traceback" not in sent.text
    assert codes[422] > JUNK / 10  # most junk is refused
    assert codes[303] > JUNK / 200  # and some of it is a fair entry
    farm = read_farm(folder)
    with Book(folder) as book:
        assert book.integrity() == "ok"
        assert all(sound(e, farm) for e in book.entries(superseded=True) if KINDS[e.kind].by_hand)
    for path in VIEWS:
        get(client, path)


def test_mutated_tables_are_read_or_refused(folder):
    from scheduler.errors import BookError
    from scheduler.farm_files.csv_table import read_csv
    from scheduler.season_book.csv_exchange import import_rows, read_rows

    farm, chance = read_farm(folder), random.Random(8)
    good = (
        "token,kind,subject,at,by,noted,replaces,withdrawn,rain_in,moisture_pct,ground,fields\r\n"
        ",rain,east,2025-08-15T06:00,Ann,,,,0.62,,,\r\n,sample,F07,2025-08-15,Bo,,,,,16.8,,\r\n"
        ",ground,F07,2025-08-15,,2025-08-15T12:00:00+00:00,,,,,soft,\r\n"
    )
    read = refused = 0
    now = datetime(2025, 8, 16, 12, tzinfo=UTC)
    with Book(folder) as book:
        for _ in range(1000):
            text = list(good)
            for _ in range(chance.randrange(1, 6)):
                at = chance.randrange(len(text))
                text[at] = chance.choice([*PIECES, *"0123456789", text[at] * 2, ",", '"', "x"])
            try:
                rows = read_rows("".join(text), farm, now=now)
                import_rows(book, rows)
                read += 1
            except BookError:
                refused += 1
        assert all(sound(e, farm) for e in book.entries(superseded=True))
        assert book.integrity() == "ok"
    assert read > 20
    assert refused > 100
    assert read_csv(good).faults == ()


def test_too_much_for_a_form(client):
    form = hidden(get(client, "/enter/sample"))
    answer = client.post("/enter/sample", data={**form, "reason": "x" * 100_000}, **LOCAL)
    assert answer.status_code == 413
