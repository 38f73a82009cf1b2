"""A driver's phone without signal, in a real browser: no entry is lost, none is written twice."""

import re
import time

import pytest
from page_process import PageProcess
from page_requests import NOW, PASSPHRASE, farm_folder, issue
from test_browser import CHROMIUM, FLAGS, RULES, SIZES, pytestmark  # noqa: F401 (marks all tests)

from scheduler.season_book.book import Book
from scheduler.web.access.passphrase import read_access, set_passphrase
from scheduler.web.access.private_state import PrivateState

FAR_NAME = "barn.local"  # a name of this machine that a browser does not take for its own
PHONE = SIZES["phone"]


@pytest.fixture(scope="module")
def browser():
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(
            executable_path=CHROMIUM,
            args=[*FLAGS, f"--host-resolver-rules=MAP {FAR_NAME} 127.0.0.1"],
        )
        yield opened
        opened.close()


@pytest.fixture
def folder(tmp_path):
    issue(farm_folder(tmp_path))
    return tmp_path


@pytest.fixture
def site(folder):
    server = PageProcess(folder, now=NOW, names=[FAR_NAME]).start()
    yield server
    server.kill()


@pytest.fixture
def state(folder):
    return PrivateState(folder, read_access(folder))


class DriverPhone:
    """A driver's browser; it counts what it cannot explain."""

    def __init__(self, browser, address, link, **options):
        self.context = browser.new_context(viewport=PHONE, **options)
        self.context.set_default_timeout(20_000)
        self.page = self.context.new_page()
        self.broken = []
        self.page.on("pageerror", lambda e: self.broken.append(str(e)))
        self.address = f"{address}/driver/{link}"
        self.page.goto(self.address)

    def keeps_the_page(self):
        """Wait until the phone has kept the page."""
        self.page.evaluate(
            """async () => {
                await navigator.serviceWorker.ready;
                while (!navigator.serviceWorker.controller
                       || !(await (await caches.open("pages")).match(location.href)))
                    await new Promise((done) => setTimeout(done, 50));
            }"""
        )

    def sample(self, moisture):
        """Type the moisture of the first field."""
        form = self.page.locator("details#sample")
        if form.get_attribute("open") is None:
            form.locator("summary").click()
        form.get_by_label("Moisture").fill(str(moisture))
        form.get_by_role("button", name="Write it down").click()

    def tap(self, name):
        """Tap a button of the day's first field."""
        self.page.locator("form.acts").first.get_by_role("button", name=name).click()

    def waiting(self):
        return self.page.locator("#kept li")

    def look(self):
        looked_at(self.page)
        assert self.broken == []

    def close(self):
        self.context.close()


def looked_at(page):
    """Let axe look at a page, and measure its width."""
    from axe_playwright_python.sync_playwright import Axe

    found = Axe().run(page, options={"runOnly": {"type": "tag", "values": RULES}})
    assert found.violations_count == 0, found.generate_report()
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]


def moistures(folder):
    with Book(folder) as book:
        return sorted(e.number("moisture") for e in book.entries("sample"))


def in_time(check, seconds=60.0):
    """Wait until a check holds."""
    deadline = time.monotonic() + seconds
    while not check():
        assert time.monotonic() < deadline, "not in time"
        time.sleep(0.1)


def expect_waiting(phone, count):
    from playwright.sync_api import expect

    expect(phone.waiting()).to_have_count(count)


def test_network_cut_and_phone_reloaded(browser, site, folder, state):
    phone = DriverPhone(browser, site.address, state.add_person("Bo", "north crew").token)
    phone.keeps_the_page()
    phone.look()
    phone.context.set_offline(True)
    phone.sample(16.8)
    expect_waiting(phone, 1)
    phone.page.get_by_text("No connection to the farm's computer").wait_for()
    phone.page.reload()  # the page comes from the phone
    phone.page.get_by_text("What you see was loaded at").wait_for()
    phone.page.get_by_role("heading", name="North crew").wait_for()
    expect_waiting(phone, 1)
    phone.tap("Begun")
    phone.page.locator("form.acts").get_by_text("kept on this phone").wait_for()
    expect_waiting(phone, 2)
    phone.look()
    assert moistures(folder) == []
    phone.context.set_offline(False)
    in_time(lambda: moistures(folder) == [16.8])
    phone.page.get_by_role("heading", name="Your entries").wait_for()
    phone.page.reload()
    expect_waiting(phone, 0)
    with Book(folder) as book:
        assert [e.by for e in book.entries("sample", "begun")] == ["Bo", "Bo"]
    phone.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_drivers_pages_by_day_and_at_night(browser, site, state, scheme):
    token = state.add_person("Bo", "north crew").token
    phone = DriverPhone(browser, site.address, token, color_scheme=scheme)
    phone.page.evaluate("for (const part of document.querySelectorAll('details')) part.open = true")
    phone.look()
    phone.page.get_by_role("link", name="Map").click()
    phone.page.get_by_role("heading", name="Map").wait_for()
    phone.look()
    phone.close()


def test_server_killed_and_started_again(browser, site, folder, state):
    phone = DriverPhone(browser, site.address, state.add_person("Bo", "north crew").token)
    phone.keeps_the_page()
    wrote = [15.1, 15.2, 15.3]
    site.kill()
    for n, moisture in enumerate(wrote):
        phone.sample(moisture)
        expect_waiting(phone, n + 1)
    phone.page.reload()
    expect_waiting(phone, 3)
    site.start()
    in_time(lambda: moistures(folder) == wrote)
    time.sleep(2.0)
    assert moistures(folder) == wrote
    phone.close()


def test_an_entry_is_taken_back_without_signal(browser, site, folder, state):
    phone = DriverPhone(browser, site.address, state.add_person("Bo", "north crew").token)
    phone.keeps_the_page()
    phone.sample(15.1)
    phone.page.get_by_role("heading", name="Your entries").wait_for()
    site.kill()
    back = phone.page.locator("section:has(#own)").get_by_role("button", name="Take back")
    back.click()  # one that is in the book
    expect_waiting(phone, 1)
    for n, moisture in enumerate((15.2, 15.3)):
        phone.sample(moisture)
        expect_waiting(phone, n + 2)
    mistyped = phone.waiting().filter(has_text="15.2")
    mistyped.get_by_role("button", name=re.compile("^Take back")).click()  # one that waits
    expect_waiting(phone, 4)
    phone.page.reload()
    expect_waiting(phone, 4)
    assert mistyped.get_by_role("button", name=re.compile("^Take back")).count() == 0  # only once
    phone.look()
    site.start()
    in_time(lambda: len(written(folder)) == 5)
    in_time(lambda: moistures(folder) == [15.3])
    phone.page.reload()
    expect_waiting(phone, 0)
    assert sorted(written(folder)) == [
        (15.1, False),
        (15.1, True),
        (15.2, False),
        (15.2, True),
        (15.3, False),
    ]
    phone.close()


def written(folder):
    """Moisture of every sample in the book, and whether it is an entry that takes one back."""
    with Book(folder) as book:
        return [
            (e.number("moisture"), e.withdrawn) for e in book.entries("sample", superseded=True)
        ]


def test_an_undo_whose_answer_gets_lost_takes_back_once(browser, site, folder, state):
    phone = DriverPhone(browser, site.address, state.add_person("Bo", "north crew").token)
    phone.sample(16.2)
    phone.page.get_by_role("heading", name="Your entries").wait_for()
    lost = []

    def lose(route):
        """Let the farm's computer take the entry back, and lose its answer on the way back."""
        if lost:
            route.continue_()
        else:
            lost.append(route.fetch().status)
            route.abort()

    phone.context.route("**/undo", lose)
    phone.page.locator("section:has(#own)").get_by_role("button", name="Take back").click()
    expect_waiting(phone, 1)
    phone.page.get_by_role("button", name="Send again").click()
    phone.page.get_by_text("Taken back: grain sample").first.wait_for()
    assert lost == [200]
    assert written(folder) == [(16.2, False), (16.2, True)]
    phone.close()


def test_an_answer_that_gets_lost_does_not_double_the_entry(browser, site, folder, state):
    phone = DriverPhone(browser, site.address, state.add_person("Bo", "north crew").token)
    lost = []

    def lose(route):
        """Let the farm's computer write the entry, and lose its answer on the way back."""
        if len(lost) < 3:
            lost.append(route.fetch().status)
            route.abort()
        else:
            route.continue_()

    phone.context.route("**/enter/sample", lose)
    phone.sample(16.2)
    expect_waiting(phone, 1)
    assert moistures(folder) == [16.2]
    for _ in range(2):
        phone.page.get_by_role("button", name="Send again").click()
        expect_waiting(phone, 1)
    phone.page.get_by_role("button", name="Send again").click()
    phone.page.get_by_text("Written down: grain sample").first.wait_for()
    assert lost == [200, 200, 200]
    assert moistures(folder) == [16.2]
    phone.close()


def test_plain_http_keeps_entries_while_the_page_stays_open(browser, site, folder, state):
    far = site.address.replace("127.0.0.1", FAR_NAME)
    phone = DriverPhone(browser, far, state.add_person("Bo", "north crew").token)
    assert not phone.page.evaluate("isSecureContext")
    phone.context.set_offline(True)
    phone.sample(16.8)
    expect_waiting(phone, 1)
    phone.page.get_by_text("Keep this page open: without https").wait_for()
    phone.look()
    phone.context.set_offline(False)
    in_time(lambda: moistures(folder) == [16.8])
    phone.close()


def test_an_answer_that_comes_after_the_signal_went_loads_nothing(browser, site, folder, state):
    far = site.address.replace("127.0.0.1", FAR_NAME)
    phone = DriverPhone(browser, far, state.add_person("Bo", "north crew").token)
    phone.page.wait_for_load_state("networkidle")
    answered = []

    def late(route):
        phone.context.set_offline(True)
        route.fulfill(json={"plan": "another", "busy": False})
        answered.append(route)

    phone.context.route("**/alive", late)
    phone.page.evaluate("dispatchEvent(new Event('online'))")  # the page asks for new orders
    in_time(lambda: phone.page.wait_for_timeout(200) or answered)
    phone.page.wait_for_timeout(500)
    assert phone.page.url.startswith(far)
    phone.sample(16.8)
    expect_waiting(phone, 1)
    phone.close()


def test_a_conflict_is_shown_and_nothing_is_dropped(browser, site, folder, state):
    bo = DriverPhone(browser, site.address, state.add_person("Bo", "north crew").token)
    cy = DriverPhone(browser, site.address, state.add_person("Cy", "north crew").token)
    bo.page.wait_for_load_state("networkidle")
    bo.context.set_offline(True)
    bo.tap("Done")
    expect_waiting(bo, 1)
    bo.tap("Done")
    expect_waiting(bo, 2)
    cut = cy.page.locator("details#cut")
    cut.locator("summary").click()
    cut.get_by_label("Area cut").fill("10")
    cut.get_by_role("button", name="Write it down").click()
    cy.page.get_by_text("Written down: area cut").first.wait_for()
    bo.context.set_offline(False)
    bo.page.get_by_text("Cy wrote about").first.wait_for()
    expect_waiting(bo, 2)
    bo.look()
    bo.page.get_by_role("button", name="Send again").first.click()  # seen, and sent on purpose
    in_time(lambda: cutters(folder) == ["Cy", "Bo"])
    expect_waiting(bo, 2)  # one is written, the other still waits for a word
    bo.page.get_by_role("button", name="Send again").first.click()
    bo.page.get_by_text("is cut already").first.wait_for()
    bo.page.get_by_role("button", name="Throw away").click()
    bo.page.get_by_role("button", name="Throw away for good").click()
    in_time(lambda: bo.page.get_by_text("is cut already").count() == 0)
    assert cutters(folder) == ["Cy", "Bo"]
    bo.close()
    cy.close()


def cutters(folder):
    with Book(folder) as book:
        return [e.by for e in book.entries("cut")]


def test_an_ended_link_keeps_the_entry_until_a_new_link_sends_it(browser, site, folder, state):
    person = state.add_person("Bo", "north crew")
    phone = DriverPhone(browser, site.address, person.token)
    phone.page.wait_for_load_state("networkidle")
    state.end_link(person.id)
    phone.sample(16.8)
    phone.page.get_by_text("this link has ended").wait_for()
    assert moistures(folder) == []
    state.renew_link(person.id)
    phone.page.goto(f"{site.address}/driver/{state.people()[0].token}")
    phone.look()
    phone.page.get_by_role("button", name="Send with this link").click()
    in_time(lambda: moistures(folder) == [16.8])
    phone.close()


def test_new_orders_show_by_themselves(browser, site, folder, state):
    phone = DriverPhone(browser, site.address, state.add_person("Bo", "north crew").token)
    shown = phone.page.locator("input[name=issue]").first
    before = shown.get_attribute("value")
    issue(folder)
    in_time(lambda: shown.get_attribute("value") != before)
    phone.sample("")  # somebody types
    phone.page.locator("#sample-moisture").fill("16")
    issue(folder)
    phone.page.get_by_text("New orders are out.").wait_for(timeout=40_000)
    assert phone.page.locator("#sample-moisture").input_value() == "16"
    phone.close()


def test_a_drivers_entry_shows_on_the_farmers_page_and_one_tap_makes_new_orders(
    browser, site, folder, state
):
    farmer = browser.new_context(viewport=PHONE)
    farmer.set_default_timeout(40_000)
    page = farmer.new_page()
    page.goto(f"{site.address}/")
    bo = DriverPhone(browser, site.address, state.add_person("Bo", "north crew").token)
    shown = bo.page.locator("input[name=issue]").first
    before = shown.get_attribute("value")
    bo.tap("Too tough")
    bo.page.get_by_text("Your orders hold until new ones come").wait_for()
    page.get_by_text("1 entry since these orders").wait_for()  # nobody reloads the page
    box = page.get_by_role("status", name="1 entry since these orders")
    assert "Bo" in box.inner_text()
    assert "too tough" in box.inner_text()
    assert shown.get_attribute("value") == before
    page.get_by_role("button", name="Replan with these").click()
    page.get_by_role("heading", name="Orders of").wait_for()
    assert page.get_by_text("since these orders").count() == 0
    bo.page.get_by_text("New orders are out.").wait_for(timeout=40_000)
    assert shown.get_attribute("value") != before
    bo.look()
    bo.close()
    farmer.close()


def test_whoever_logs_out_leaves_no_orders_on_the_phone(browser, folder):
    set_passphrase(folder, PASSPHRASE)
    server = PageProcess(folder, now=NOW, locked=True).start()
    context = browser.new_context(viewport=PHONE)
    context.set_default_timeout(20_000)
    page = context.new_page()
    page.goto(server.address)
    page.fill("#passphrase", PASSPHRASE)
    page.get_by_role("button", name="Log in").click()
    kept = "async () => (await (await caches.open('pages')).keys()).length"
    in_time(lambda: page.evaluate(kept) > 0)
    page.get_by_role("button", name="Log out").click()
    page.get_by_text("You are logged out.").wait_for()
    in_time(lambda: page.evaluate(kept) == 0)
    context.close()
    server.kill()


def test_a_wrong_value_is_told_beside_what_was_typed(browser, site, folder, state):
    phone = DriverPhone(browser, site.address, state.add_person("Bo", "north crew").token)
    phone.sample(168)
    phone.page.get_by_text("168 is outside of").first.wait_for()
    phone.look()
    assert phone.page.locator("#sample-moisture").input_value() == "168"
    expect_waiting(phone, 0)
    phone.sample(16.8)
    phone.page.get_by_text("Written down: grain sample").first.wait_for()
    assert moistures(folder) == [16.8]
    phone.close()


@pytest.mark.parametrize("scripts", [True, False])
def test_the_farmer_makes_copies_and_ends_a_link(browser, site, state, scripts):
    context = browser.new_context(viewport=PHONE, java_script_enabled=scripts)
    context.set_default_timeout(20_000)
    context.grant_permissions(["clipboard-read", "clipboard-write"])
    page = context.new_page()
    page.goto(f"{site.address}/people")
    page.get_by_label("Name").fill("Bo")
    page.get_by_role("button", name="Make a link").click()
    page.get_by_role("heading", name="Bo").wait_for()
    address = page.locator("a.address").get_attribute("href")
    assert address == f"{site.address}/driver/{state.people()[0].token}"
    page.get_by_text("QR code for Bo").click()
    assert page.locator("img.qr").evaluate("e => e.naturalWidth") > 100
    if scripts:
        page.get_by_role("button", name="Copy the link").click()
        page.get_by_role("button", name="Copied").wait_for()
        assert page.evaluate("navigator.clipboard.readText()") == address
        looked_at(page)
    page.get_by_role("button", name="End this link").click()
    page.get_by_text("The link of Bo has ended.").wait_for()
    assert page.goto(address).status == 410
    context.close()


def test_a_driver_writes_without_scripts(browser, site, folder, state):
    token = state.add_person("Bo", "north crew").token
    phone = DriverPhone(browser, site.address, token, java_script_enabled=False)
    phone.sample(16.8)
    phone.page.get_by_text("Written down: grain sample").wait_for()
    phone.page.get_by_role("button", name="Take back").click()
    phone.page.get_by_text("Taken back: grain sample").wait_for()
    assert moistures(folder) == []
    phone.close()


def test_the_farmers_page_without_signal(browser, site, folder):
    context = browser.new_context(viewport=PHONE)
    context.set_default_timeout(20_000)
    page = context.new_page()
    page.goto(f"{site.address}/")
    page.evaluate(
        """async () => {
            await navigator.serviceWorker.ready;
            for (const path of ["/", "/fields", "/rain"])
                while (!(await (await caches.open("pages")).match(path)))
                    await new Promise((done) => setTimeout(done, 50));
        }"""
    )
    site.kill()
    page.goto(f"{site.address}/fields")
    page.get_by_text("What you see was loaded at").wait_for()
    page.goto(f"{site.address}/review")
    page.get_by_text("this page is not kept on this phone").wait_for()
    page.goto(f"{site.address}/rain")
    page.locator(".gauge input").first.fill("0.4")
    page.get_by_role("button", name="Save", exact=True).click()
    page.locator("#kept li").wait_for()
    site.start()
    with Book(folder) as book:
        in_time(lambda: len(book.entries("rain")) == 1)
    context.close()
