"""A phone in the cab: taps from opening the page to new orders, what fits, and what it keeps."""

from dataclasses import replace

import fake_planner
import pytest
from mornings import NOW
from test_browser import SIZES, Visit, browser, pytestmark, site  # noqa: F401 (fixtures)

from scheduler.report.plan_document import document
from scheduler.season_book.book import Book
from scheduler.season_book.entry_kinds import Entry

SMALLEST = 44  # px: WCAG 2.2, success criterion 2.5.5, target size (enhanced)


class Thumb:
    """A thumb that counts its taps; typing into the field that has the focus costs none."""

    def __init__(self, page):
        self.page, self.taps = page, 0

    def tap(self, what):
        what.tap()
        self.taps += 1

    def type(self, text):
        self.page.locator("input:focus").wait_for()  # a browser gives it after it has laid out
        self.page.keyboard.type(text)


@pytest.fixture
def phone(browser, site):  # noqa: F811
    address, folder = site
    visit = Visit(browser, "phone", address, has_touch=True, is_mobile=True)
    visit.folder = folder
    visit.open("/")
    visit.page.get_by_role("button", name="Make the first plan").click()
    visit.page.get_by_role("heading", name="Orders of").wait_for()
    yield visit
    assert visit.problems == []
    visit.close()


def new_orders(visit):
    """Wait until the page shows orders that know all entries."""
    visit.page.get_by_role("heading", name="Orders of").wait_for()
    with Book(visit.folder) as book:
        assert book.entries_since(book.last_issue()) == []


def nav(visit, name):
    return visit.page.get_by_role("navigation").get_by_role("link", name=name, exact=True)


def test_one_gauge_takes_three_taps(phone):
    thumb = Thumb(phone.page)
    thumb.tap(nav(phone, "Rain"))
    phone.page.get_by_role("heading", name="Rain gauges").wait_for()
    thumb.type("0.42")  # the first gauge has the focus
    thumb.tap(phone.page.get_by_role("button", name="Save and replan"))
    new_orders(phone)
    with Book(phone.folder) as book:
        assert [e.subject for e in book.entries("rain")] == ["yard"]
    assert thumb.taps <= 3


def test_five_gauges_take_eight_taps(phone):
    thumb = Thumb(phone.page)
    thumb.tap(nav(phone, "Rain"))
    phone.page.get_by_role("heading", name="Rain gauges").wait_for()
    inputs = phone.page.locator(".gauge input")
    for n, depth in enumerate(("0.42", "1/4", "trace", "0,5", ".3")):
        if n:
            thumb.tap(inputs.nth(n))
        thumb.type(depth)
    thumb.tap(phone.page.get_by_role("button", name="Save and replan"))
    new_orders(phone)
    with Book(phone.folder) as book:
        assert len(book.entries("rain")) == 5
    assert thumb.taps <= 8


def test_a_second_reading_is_questioned_on_a_page_loaded_before_the_first(phone):
    phone.open("/rain")
    page = phone.page
    with Book(phone.folder) as book:
        facts = {"rain": 15.24, "hours": 24.0}
        book.add(Entry(kind="rain", subject="yard", at=NOW, facts=facts, by="Bo"))
    assert not page.get_by_label("in place of that one").first.is_visible()
    page.locator(".gauge input").first.fill("0.62")
    page.get_by_role("button", name="Save", exact=True).tap()
    page.get_by_text("Read at 6 am already: 0.60 in").first.wait_for()
    phone.problems.clear()  # the browser reports the refused answer
    phone.look("second-reading")
    page.get_by_text("more rain, to be added").first.tap()
    page.get_by_role("button", name="Save", exact=True).tap()
    page.get_by_text("1 reading written down").wait_for()
    with Book(phone.folder) as book:
        assert [e.number("rain") for e in book.entries("rain")] == pytest.approx([15.24, 15.748])


def test_too_tough_takes_two_taps_and_can_be_undone(phone):
    thumb = Thumb(phone.page)
    thumb.tap(phone.page.get_by_role("button", name="Too tough").first)
    phone.page.get_by_text("Written: too tough").wait_for()
    new_orders(phone)
    assert thumb.taps <= 2
    with Book(phone.folder) as book:
        assert len(book.entries("tough")) == 1
    phone.look("after-too-tough")
    phone.page.get_by_role("button", name="Undo").tap()
    phone.page.get_by_text("Taken back").wait_for()
    new_orders(phone)
    with Book(phone.folder) as book:
        assert book.entries("tough") == []


def first_order(visit):
    """The line that sends the first crew off, and its place on the screen."""
    line = visit.page.locator("dl.five div:nth-child(2) dd").first
    return line, line.bounding_box()


def above_the_bar(visit, box):
    bar = visit.page.get_by_role("navigation").bounding_box()
    return box["y"] >= 0 and box["y"] + box["height"] <= bar["y"]


def test_the_first_order_is_on_the_first_screen_also_after_a_replan(phone):
    line, box = first_order(phone)
    assert line.inner_text().startswith("Leave ")
    assert above_the_bar(phone, box)
    done = phone.page.get_by_role("button", name="Too tough").first.bounding_box()
    assert above_the_bar(phone, done)
    with Book(phone.folder) as book:
        first = book.last_plan()["crews"][0]["orders"][0]["field"]
    phone.page.get_by_role("button", name="Done").first.tap()
    phone.page.get_by_text("Written: area cut").wait_for()
    new_orders(phone)
    phone.page.get_by_text("that you saw").or_(phone.page.get_by_text("are the same")).wait_for()
    line, box = first_order(phone)
    assert first not in line.inner_text()
    assert above_the_bar(phone, box)


def test_better_orders_show_by_themselves(phone):
    page = phone.page
    page.get_by_text("A longer search goes on").wait_for(state="detached", timeout=60_000)
    before = first_order(phone)[0].inner_text()
    morning = fake_planner.plan_morning(phone.folder, progress=lambda *_: None, now=NOW)
    north, south = morning.crews
    better = replace(morning, crews=(replace(north, stints=north.stints[::-1]), south))
    with Book(phone.folder) as book:
        book.issue_plan(document(better), seen=0)
    page.get_by_text("New since the orders of").wait_for(timeout=40_000)
    assert first_order(phone)[0].inner_text() != before
    page.get_by_role("button", name="Seen").tap()
    page.get_by_text("New since the orders of").wait_for(state="detached")


def test_what_is_tapped_is_large_enough(phone):
    for path in ("/", "/rain", "/order", "/map?show=all#card-3", "/enter", "/fields", "/people"):
        phone.open(path)
        assert too_small(phone) == [], path


def too_small(phone):
    """Names and sizes of what is tapped and smaller than `SMALLEST`."""
    return phone.page.evaluate(
        """least => [...document.querySelectorAll(
             'button, .button, nav a, summary, main input:not([type=radio]), select, .links a, '
              + '.actions > a, .care a, footer .more a')]
           .filter(e => e.checkVisibility() && !e.closest('.away') && !e.matches('.away, .skip'))
           .map(e => [e.textContent.trim() || e.id, e.getBoundingClientRect()])
           .filter(([, box]) => box.width > 1 && (box.height < least || box.width < least))
           .map(([name, box]) => `${name}: ${box.width} x ${box.height}`)""",
        SMALLEST,
    )


def test_long_names_wrap(browser, site):  # noqa: F811
    address, folder = site
    path = folder / "fields.csv"
    text = path.read_text(encoding="utf-8")
    long = "Grossmutterswiesenhintermwaldbeimaltenbahnhof" * 2
    path.write_text(text.replace("Home quarter", long), encoding="utf-8")
    visit = Visit(browser, "phone", address)
    visit.open("/")
    visit.page.get_by_role("button", name="Make the first plan").click()
    visit.page.get_by_role("heading", name="Orders of").wait_for()
    for path in ("/", "/fields", "/order", "/map", "/field?id=F01", "/season"):
        visit.open(path)
        wide = visit.page.evaluate("document.documentElement.scrollWidth")
        assert wide <= SIZES["phone"]["width"], path
    visit.close()


@pytest.mark.parametrize("size", SIZES)
def test_dark_at_night(browser, site, size):  # noqa: F811
    address, _ = site
    visit = Visit(browser, size, address, color_scheme="dark")
    visit.open("/")
    visit.page.get_by_role("button", name="Make the first plan").click()
    visit.page.get_by_role("heading", name="Orders of").wait_for()
    paper = visit.page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert paper == "rgb(17, 17, 17)"
    for name in ("", "rain", "map", "order", "fields", "season", "people"):
        visit.open(f"/{name}")
        visit.look(f"dark-{name or 'today'}")
    visit.close()


def test_the_card_of_a_field_and_the_place_of_the_phone(browser, site):  # noqa: F811
    address, _ = site
    visit = Visit(
        browser,
        "phone",
        address,
        geolocation={"latitude": 47.325, "longitude": -99.115},
        permissions=["geolocation"],
    )
    visit.open("/map?show=all")
    page = visit.page
    card = page.locator("#card-1")
    assert not card.is_visible()
    page.locator('a[href="#card-1"]').click(force=True)
    card.wait_for()
    assert (
        card.get_by_role("link", name="Way there").get_attribute("href").startswith("geo:47.33085,")
    )
    page.get_by_role("button", name="Where am I?").click()
    page.locator('#me[visibility="visible"]').wait_for(state="attached")
    x = float(page.locator("#me").get_attribute("cx"))
    # hand: 0.005 degrees east of the base at 47.32 north: 0.005 * 111.32 * cos(47.32) = 0.377 km
    assert x == pytest.approx(0.377, abs=0.001)
    wide = page.evaluate("document.getElementById('map').viewBox.baseVal.width")
    page.get_by_role("button", name="nearer").click()
    assert page.evaluate("document.getElementById('map').viewBox.baseVal.width") < wide
    visit.look("map-card")
    visit.close()


#: Labels that are cut by the edge, cover each other or, but for places in the order of the day,
#: cover a field.
BAD_LABELS = """() => {
  const boxes = (what) =>
    [...document.querySelectorAll(what)].map((e) => e.getBoundingClientRect());
  const apart = (a, b) =>
    a.right <= b.left + 1 || b.right <= a.left + 1
    || a.bottom <= b.top + 1 || b.bottom <= a.top + 1;
  const [frame] = boxes('#map');
  const texts = [...document.querySelectorAll('#labels text:not([visibility=hidden])')];
  const bad = [];
  texts.forEach((text, n) => {
    const box = text.getBoundingClientRect();
    if (box.left < frame.left || box.right > frame.right || box.top < frame.top
        || box.bottom > frame.bottom) bad.push(`${text.textContent} is cut`);
    for (const other of texts.slice(n + 1))
      if (!apart(box, other.getBoundingClientRect()))
        bad.push(`${text.textContent} covers ${other.textContent}`);
    if (text.matches('.name') && boxes('.field').some((field) => !apart(box, field)))
      bad.push(`${text.textContent} covers a field`);
  });
  return bad;
}"""


@pytest.mark.parametrize("size", SIZES)
def test_labels_of_the_map_are_whole_and_cover_nothing(browser, site, size):  # noqa: F811
    address, folder = site
    morning = fake_planner.plan_morning(folder, progress=lambda *_: None, now=NOW)
    with Book(folder) as book:
        book.issue_plan(document(morning), seen=0)
    visit = Visit(browser, size, address)
    page = visit.page
    shown = page.locator("#labels text:not([visibility=hidden])")
    for part in ("today", "all", morning.crews[0].crew):
        visit.open(f"/map?show={part}")
        assert page.evaluate(BAD_LABELS) == [], part
        assert page.locator("#labels .place-number:not([visibility=hidden])").count() > 0
    visit.open("/map?show=all")
    assert shown.count() >= 20  # of 26 fields and 2 points
    page.get_by_role("button", name="nearer").click()
    assert page.evaluate(BAD_LABELS) == []
    visit.look("map-nearer")
    visit.close()


def test_a_tap_beside_a_small_field_opens_its_card(phone):
    phone.open("/map?show=all")
    box = phone.page.locator("#field-26").bounding_box()
    assert box["width"] < SMALLEST
    assert not phone.page.locator("#card-26").is_visible()
    phone.page.touchscreen.tap(box["x"] - 12.0, box["y"] + box["height"] / 2)
    phone.page.locator("#card-26").wait_for()


def test_a_typed_field_stays_when_an_arrow_is_tapped(phone):
    phone.open("/order")
    page = phone.page
    before = page.input_value("#fields").split(", ")
    page.fill("#fields", ", ".join([before[0], "F26", *before[1:]]))
    page.get_by_role("button", name=f"{before[1]} earlier", exact=True).tap()
    assert page.input_value("#fields").split(", ")[:3] == [before[0], before[1], "F26"]
