"""A whole morning in a real browser, on a phone's width and a laptop's, with axe on every page.

Screenshots are kept in .artefacts/, which is not committed.
"""

import contextlib
import os
import shutil
import threading
from datetime import timedelta

import mornings
import pytest
import waitress
from page_requests import farm_folder
from places import ROOT

from scheduler.season_book.book import Book
from scheduler.web.app import create_app
from scheduler.web.planner import Planner

CHROMIUM = next((p for p in ("/usr/bin/chromium", shutil.which("chromium") or "") if p), "")
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not os.path.exists(CHROMIUM), reason="Chromium is not installed here"),
]
PICTURES = ROOT / ".artefacts"
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-quic",
]
SIZES = {"phone": {"width": 390, "height": 844}, "laptop": {"width": 1280, "height": 800}}
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "best-practice"]


@pytest.fixture(scope="module")
def browser():
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield opened
        opened.close()


@pytest.fixture
def site(tmp_path):
    """The page of a farm folder on a port of its own: its address and folder."""
    farm_folder(tmp_path)
    planner = Planner(tmp_path, module="fake_planner")
    now = mornings.NOW + timedelta(minutes=10)
    app = create_app(tmp_path, planner=planner, now=lambda: now)
    server = waitress.create_server(app, host="127.0.0.1", port=0, threads=8)

    def run():
        with contextlib.suppress(OSError):  # closing the server ends its loop in the midst
            server.run()

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.effective_port}", tmp_path
    server.close()
    planner.close()
    thread.join(5)


class Visit:
    """One person's browser, which keeps a picture of every step and lets axe look at it."""

    def __init__(self, browser, size, address, **options):
        self.size, self.address, self.steps = size, address, 0
        self.context = browser.new_context(viewport=SIZES[size], **options)
        self.context.set_default_timeout(20_000)
        self.page = self.context.new_page()
        self.problems = []
        self.page.on("console", lambda m: self.problems.append(m.text) if m.type == "error" else 0)
        self.page.on("pageerror", lambda e: self.problems.append(str(e)))
        self.page.on("request", self.asked)

    def asked(self, request):
        if not request.url.startswith((self.address, "data:")):
            self.problems.append(f"asked outside: {request.url}")

    def open(self, path):
        self.page.goto(self.address + path)

    def look(self, name):
        from axe_playwright_python.sync_playwright import Axe

        PICTURES.mkdir(exist_ok=True)
        self.steps += 1
        path = PICTURES / f"{self.size}-{self.steps:02d}-{name}.png"
        self.page.screenshot(path=path, full_page=True)
        found = Axe().run(self.page, options={"runOnly": {"type": "tag", "values": RULES}})
        assert found.violations_count == 0, found.generate_report()
        wide = self.page.evaluate("document.documentElement.scrollWidth")
        assert wide <= SIZES[self.size]["width"], f"{name} is {wide} px wide"
        assert self.problems == []

    def write(self, kind, *, by="Ann", **values):
        self.open(f"/enter/{kind}")
        for name, value in values.items():
            if name in ("subject", "field", "crew"):
                self.page.select_option(f"#{name}", value)
            elif name == "ground":
                self.page.get_by_label(value, exact=True).check()
            else:
                self.page.fill(f"#{name}", value)
        self.page.fill("#by", by)
        self.look(f"{kind}-form")
        self.page.get_by_role("button", name="Write it down").click()
        self.page.get_by_role("heading", name="Written down").wait_for()
        if kind == "sample":  # the page is the same for every kind
            self.look("written")

    def replan(self):
        self.page.get_by_role("button", name="Replan").first.click()
        self.page.get_by_role("heading", name="Orders of").wait_for()

    def close(self):
        self.context.close()


@pytest.mark.parametrize("size", SIZES)
def test_a_whole_morning(browser, site, size):
    address, folder = site
    ann = Visit(browser, size, address)
    ann.open("/")
    ann.look("no-orders")
    ann.page.get_by_role("button", name="Make the first plan").click()
    ann.page.get_by_label("Planning").wait_for()
    ann.look("replan-runs")
    ann.page.get_by_role("heading", name="Orders of").wait_for()
    ann.look("orders")

    ann.open("/rain")
    ann.page.get_by_label("east", exact=False).first.fill("0.42")
    ann.look("rain-form")
    ann.page.get_by_role("button", name="Save", exact=True).click()
    ann.page.get_by_text("1 reading written down").wait_for()
    ann.write("sample", subject="F07", moisture="16.8", test_weight="59")
    ann.write("ground", subject="F03", ground="headland-only")
    ann.write("down", subject="C2", reason="feeder chain")

    ann.open("/")
    assert ann.page.get_by_text("4 entries since these orders").is_visible()
    ann.look("orders-with-news")
    ann.replan()
    assert ann.page.get_by_text("since these orders").count() == 0
    with Book(folder) as book:
        assert "C2" not in book.last_plan()["crews"][0]["combines"]
        assert book.last_issue().number("seen") >= 4

    own_order(ann, folder)
    ann.open("/fields")
    ann.look("fields")
    ann.page.get_by_role("link", name="Slough quarter").first.click()
    ann.look("field")
    for path in ("season", "safety", "people", "entries", "enter", "map", "map?show=all#card-3"):
        ann.open(f"/{path}")
        ann.look(path.partition("?")[0])
    printed(ann)
    ann.close()


def own_order(ann, folder):
    """Swap the first two fields by keyboard, drag another, type one away; then give the order."""
    from playwright.sync_api import expect

    page = ann.page
    ann.open("/order")
    before = page.input_value("#fields").split(", ")
    down = page.get_by_role("button", name=f"{before[0]} later", exact=True)
    down.focus()
    page.keyboard.press("Enter")
    page.get_by_text("yours costs $200 more").wait_for()
    assert page.input_value("#fields").split(", ")[:2] == [before[1], before[0]]
    grips = page.locator("#own .grip")
    third, first = grips.nth(2).bounding_box(), grips.nth(0).bounding_box()
    page.mouse.move(third["x"] + 8, third["y"] + 12)
    page.mouse.down()
    page.mouse.move(first["x"] + 8, first["y"] + 25, steps=6)
    page.mouse.move(first["x"] + 8, first["y"] + 8, steps=3)
    page.mouse.up()
    dragged = ", ".join([before[2], before[1], before[0], *before[3:]])
    expect(page.locator("#fields")).to_have_value(dragged)
    ann.look("own-order-dragged")
    page.fill("#fields", ", ".join([before[1], before[0], *before[2:-1]]))
    page.get_by_text("yours costs $2,200 more").wait_for()
    page.fill("#fields", "F01, F99")
    page.get_by_text('field "F99" is not known').wait_for()
    ann.problems.clear()  # the console logs the refused price too
    page.fill("#fields", ", ".join([before[1], before[0], *before[2:]]))
    page.get_by_text("yours costs $200 more").wait_for()
    page.fill("#why", "the landlord watches it")
    page.get_by_role("button", name="Give this order").click()
    page.get_by_role("heading", name="Written down").wait_for()
    ann.look("own-order-given")
    ann.replan()
    assert page.get_by_text("held by your order").first.is_visible()
    ann.look("orders-with-own")


def printed(ann):
    """The print style: no navigation, every day shown, as a PDF of some pages."""
    ann.open("/")
    ann.page.emulate_media(media="print")
    assert not ann.page.get_by_role("navigation").is_visible()
    assert not ann.page.get_by_role("button", name="Replan").first.is_visible()
    assert ann.page.get_by_role("heading", name="Orders of").is_visible()
    later = ann.page.locator("details ol.orders").first
    assert later.evaluate("e => e.checkVisibility({contentVisibilityAuto: true})")
    pdf = ann.page.pdf(path=PICTURES / f"{ann.size}-orders.pdf")
    assert pdf.startswith(b"%PDF")
    ann.page.screenshot(path=PICTURES / f"{ann.size}-print.png", full_page=True)
    ann.page.emulate_media(media="screen")


def test_it_works_without_scripts(browser, site):
    address, folder = site
    bo = Visit(browser, "phone", address, java_script_enabled=False)
    bo.open("/")
    bo.page.get_by_role("button", name="Make the first plan").click()
    bo.page.get_by_text("New orders are out").wait_for()  # the page loads itself again
    bo.page.get_by_role("link", name="Today's orders").first.click()
    bo.page.get_by_role("heading", name="Orders of").wait_for()
    bo.open("/order")
    before = bo.page.input_value("#fields").split(", ")
    bo.page.get_by_role("button", name=f"{before[0]} later", exact=True).click()
    bo.page.get_by_text("yours costs $200 more").wait_for()
    bo.page.get_by_role("button", name="Give this order").click()
    bo.page.get_by_role("heading", name="Written down").wait_for()
    bo.page.get_by_role("button", name="Undo").click()
    bo.page.get_by_text("Taken back.").wait_for()
    with Book(folder) as book:
        assert book.entries("order") == []
    bo.close()


def test_two_people_at_once_see_the_conflict(browser, site):
    address, folder = site
    ann, bo = (Visit(browser, "phone", address) for _ in range(2))
    for one, by in ((ann, "Ann"), (bo, "Bo")):
        one.open("/enter/cut?about=F07")
        one.page.fill("#area", "80")
        one.page.fill("#by", by)
    ann.page.get_by_role("button", name="Write it down").click()
    ann.page.get_by_role("heading", name="Written down").wait_for()
    bo.page.get_by_role("button", name="Write it down").click()
    bo.page.get_by_text("Ann wrote about F07 in the meantime").wait_for()
    bo.problems.clear()  # the console logs the refusal too
    assert bo.page.input_value("#area") == "80"
    bo.look("conflict")
    with Book(folder) as book:
        assert len(book.entries("cut")) == 1
    ann.close()
    bo.close()


def test_cancel_in_the_browser(browser, site, monkeypatch):
    monkeypatch.setenv("FAKE_PLAN_S", "60")
    address, _ = site
    ann = Visit(browser, "phone", address)
    ann.open("/")
    ann.page.get_by_role("button", name="Make the first plan").click()
    ann.page.get_by_role("button", name="Cancel").click()
    ann.page.get_by_text("No new orders.").wait_for()
    ann.look("cancelled")
    ann.close()
