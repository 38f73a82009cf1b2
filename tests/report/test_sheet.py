"""The sheet: self-contained, escaped, complete, repeatable."""

import html.parser
import re
import shutil
from dataclasses import replace
from urllib.parse import unquote

import mornings
import pytest

from scheduler.costs.machine_rates import CrewMachines
from scheduler.orders.cautions import FireWarning
from scheduler.orders.model import MachineMove, RuleComparison
from scheduler.orders.safety import day_cautions
from scheduler.report.caution_phrases import STANDING, caution_lines
from scheduler.report.figures.hour_shades import shades
from scheduler.report.lesson_phrases import lesson_lines
from scheduler.report.order_phrases import fallback_text, left_out_text, reason_text, way_lines
from scheduler.report.phrases import money_lines
from scheduler.report.sheet import change_costs, field_cards, hour_calendar, hour_cell, sheet
from scheduler.windows.daily_hours import DayHours

CHROMIUM = shutil.which("chromium")


@pytest.fixture(scope="module")
def morning():
    made = mornings.morning(fields=6, days=6, members=9, unknown=True)
    return replace(made, cautions=day_cautions(made.farm, made.weather, now=made.now))


@pytest.fixture(scope="module")
def page(morning):
    return sheet(morning)


class Reader(html.parser.HTMLParser):
    """Tags, attributes and words of a page; complains about tags left open."""

    void = frozenset({"meta", "img", "br", "link", "input", "hr"})

    def __init__(self, text):
        super().__init__()
        self.tags, self.open, self.words = [], [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in self.void:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if self.open[-1:] != ["style"]:
            self.words.append(data)


def visible_text(text):
    return " ".join(" ".join(Reader(text).words).split())


def test_tags_close_and_ids_are_distinct(page):
    reader = Reader(page)
    assert reader.open == []
    ids = [a["id"] for _, a in reader.tags if "id" in a]
    assert len(ids) == len(set(ids))
    links = [a["href"][1:] for t, a in reader.tags if t == "a"]
    assert set(links) <= set(ids)


def test_nothing_is_fetched_and_nothing_runs(page):
    for tag, attrs in Reader(page).tags:
        assert tag not in {"script", "link", "iframe", "object"}
        assert not [a for a in attrs if a.startswith("on") or a == "style"]
        source = attrs.get("src", attrs.get("href", "#"))
        assert source.startswith(("data:image/svg+xml,", "#"))
    assert "url(" not in page[: page.index("</style>")]
    assert "@import" not in page


def test_every_picture_says_what_it_shows(page):
    alts = [a.get("alt", "") for t, a in Reader(page).tags if t == "img"]
    assert len(alts) >= 8
    assert all(len(a) > 40 for a in alts)


def test_all_of_the_morning_is_there(morning, page):
    text = visible_text(page)
    for crew in morning.crews:
        assert f"Crew {crew.crew}" in text
        for order in crew.orders:
            assert f"{order.name} ({order.field})" in text
            assert reason_text(order.reason, morning.farm) in text
            assert order.point in text
        assert fallback_text(crew.fallback.if_tough) in text
        assert fallback_text(crew.fallback.if_soft) in text
    lessons = lesson_lines(morning.lessons, morning.farm)
    cautions = caution_lines(morning)
    for line in (*cautions, *morning.changes, *lessons, *morning.weather_notes):
        assert " ".join(re.findall(r"\w+", line)) in " ".join(re.findall(r"\w+", text))
    assert "Grain when cut: 58.5 lb/bu, 1.4 % sprouted: U.S. No. 2 by these alone." in text
    assert "Grain when cut: model: 1.4 % sprouted; test weight not weighed: take a sample." in text
    assert "sprouted kernels alone; other damage or foreign material can lower it." in text
    assert left_out_text(morning.left_out[0].why) in text
    for line in money_lines(morning):
        assert line in text
    assert "held by your order" in text
    assert "Cut by Sat 16 Aug 90 % of the forecasts" in text
    assert "Start at 16 % or drier." in text
    for line in way_lines(morning.crews[1]):
        assert line in text
    assert "invented ensemble, 9 members, issued 2 am, 4 h old" in text
    assert len(STANDING) == 7


def test_prices_of_doing_otherwise(morning):
    order = replace(morning.crews[0].orders[1], locked=False)
    assert change_costs(order, 2, 3, "$") == [
        ("Sooner", "+$420"),
        ("Later", "+$1,240"),
        ("Other crew", "same"),
        ("Leave it", "+$9,400"),
    ]
    none = replace(order.alternative, earlier=None, later=None, other_crew=None, leave=-12.0)
    edge = replace(order, alternative=none)
    assert [c for _, c in change_costs(edge, 1, 1, "$")] == [
        "is first",
        "is last",
        "not possible",
        "-$12",
    ]
    assert [c for _, c in change_costs(replace(edge, locked=True), 2, 3, "$")][:2] == [
        "fixed",
        "fixed",
    ]
    assert change_costs(replace(order, alternative=None), 1, 1, "$") == []


EVIL = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>{{ 7*7 }}&amp;"


def test_everything_from_people_is_escaped(morning):
    crew = morning.crews[0]
    order = replace(crew.orders[0], name=EVIL, point=EVIL, reason=EVIL, parcel=EVIL, changed=EVIL)
    fallback = replace(crew.fallback, if_tough=EVIL, if_soft=EVIL)
    evil_crew = CrewMachines(crew=EVIL, combines=(), carts=(), trucks=())
    fields = (replace(morning.farm.fields[0], name=EVIL), *morning.farm.fields[1:])
    evil = replace(
        morning,
        farm=replace(morning.farm, name=EVIL, fields=fields),
        source=EVIL,
        weather_notes=(EVIL,),
        makeup=(evil_crew,),
        makeups=(((evil_crew,), 1.0), ((evil_crew,), 2.0)),
        crews=(
            replace(crew, crew=EVIL, orders=(order,), fallback=fallback, note=EVIL),
            morning.crews[1],
        ),
        left_out=(replace(morning.left_out[0], name=EVIL, why=EVIL),),
        machine_moves=(MachineMove(machine=EVIL, from_crew="South", to_crew=EVIL),),
        money=mornings.money(
            9, rules=(RuleComparison(name=EVIL, start_pct=16.0, loss=1.0, more=1.0, error=0.1),)
        ),
        cautions=(FireWarning(event=EVIL, start=morning.now, stop=morning.now),),
        changes=(EVIL,),
        lessons=(replace(morning.lessons[0], field=fields[0].id),),
    )
    text = sheet(evil)
    outside = re.sub(r'src="data:[^"]*"', "", text)
    assert "<script" not in outside
    assert "<img src=x" not in outside
    assert "{{ 7*7 }}" in visible_text(text)
    assert "alert(1)" in visible_text(text)  # shown as words, not dropped
    for tag, attrs in Reader(text).tags:
        assert tag != "script"
        assert not [a for a in attrs if a.startswith("on")]
        if tag == "img":
            assert "<script" not in unquote(attrs["src"])


def test_same_morning_same_sheet(morning, page):
    assert sheet(morning) == page


def test_a_morning_without_work_still_has_a_sheet(morning):
    idle = [
        replace(c, orders=(), fallback=None, note="nothing to cut today") for c in morning.crews
    ]
    bare = replace(
        morning,
        crews=tuple(idle),
        left_out=(),
        changes=(),
        money=mornings.money(9, rules=(), floor=None),
        cautions=(),
        weather_notes=(),
        makeups=(),
        issued=None,
        age_h=None,
    )
    text = visible_text(sheet(bare))
    assert "nothing to cut today" in text
    assert "Nothing: every field" in text
    assert "age unknown" in text


# WCAG 2.2, 1.4.3: 4.5 to 1 for text; relative luminance as defined there.
def test_shades_keep_contrast():
    def luminance(colour):
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        line = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
        return 0.2126 * line[0] + 0.7152 * line[1] + 0.0722 * line[2]

    for shade in shades():
        low, high = sorted(luminance(shade[k]) for k in ("paper", "ink"))
        assert (high + 0.05) / (low + 0.05) >= 4.5


def test_size_of_a_large_farm():
    big = sheet(mornings.morning(fields=26, days=10, members=31))
    assert len(big.encode()) < 400_000


def test_hours_calendar_follows_the_plan(morning):
    made = hour_calendar(morning)
    assert [d.day for d in made["days"]] == [16, 17, 18, 19, 20, 21]
    names = [line["name"] for line in made["lines"]]
    assert names == [
        "Home quarter (F01)",
        "Mail road north (F03)",
        "Railway strip (F05)",
        "Slough eighty (F02)",
        "Schoolhouse (F04)",
        "Hilltop (F06)",
    ]
    first = made["lines"][0]["cells"]
    assert [c["planned"] for c in first] == [True, False, False, False, False, False]
    assert first[4]["shade"] == "unknown"
    assert first[4]["hours"] == "?"


def test_a_wet_hollow_has_its_own_row_and_card():
    morning = mornings.morning(fields=3, hollow=True)
    names = [line["name"] for line in hour_calendar(morning)["lines"]]
    assert names == [
        "Home quarter (F01)",
        "Home quarter (F01), wet hollow",
        "Slough eighty (F02)",
        "Mail road north (F03)",
    ]
    made = [c for c in field_cards(morning) if "Home quarter" in c["title"]]
    assert [c["title"] for c in made] == ["Home quarter (F01)", "Home quarter (F01), wet hollow"]
    assert all(c["picture"] for c in made)
    assert made[0]["picture"] != made[1]["picture"]


@pytest.mark.parametrize(
    ("hours", "shade"),
    [(0.0, "h0"), (1.0, "h1"), (2.0, "h2"), (9.9, "h5"), (10.0, "h6"), (24.0, "h6")],
)
def test_every_shade_means_what_its_key_says(hours, shade):
    day = DayHours(drive=24.0, cut=hours, low=0.0, high=24.0, chance=0.5, first=None, lost_to="")
    assert hour_cell(day, False)["shade"] == shade
    words = shades()[int(shade[1])]["words"]
    assert words == "none" if hours == 0 else "10 h and more" if hours >= 10 else "under" in words


@pytest.mark.slow
@pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")
@pytest.mark.parametrize("width", [390, 1200])
def test_in_a_browser_fits_prints_and_is_accessible(page, tmp_path, width):
    """A phone and a laptop: no sideways scrolling, every picture drawn, axe finds nothing."""
    sync_api = pytest.importorskip("playwright.sync_api")
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    file = tmp_path / "sheet.html"
    file.write_text(page, encoding="utf-8")
    with sync_api.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        tab = browser.new_page(viewport={"width": width, "height": 900})
        fetched = []
        tab.on("request", lambda r: fetched.append(r.url))
        tab.goto(file.as_uri())
        assert tab.evaluate("document.documentElement.scrollWidth") <= width
        sizes = tab.evaluate("[...document.images].map(i => i.complete && i.naturalWidth)")
        assert all(sizes)
        assert [u for u in fetched if not u.startswith("data:")] == [file.as_uri()]
        found = axe.Axe().run(tab)
        assert found.violations_count == 0, found.generate_report()
        for size in ("Letter", "A4"):
            assert tab.pdf(format=size).startswith(b"%PDF")
        tab.emulate_media(media="print")
        # mm at 96 units an inch: Letter is 279 mm high, A4 210 mm wide; margins are 12 mm
        tab.set_viewport_size({"width": int(186 / 25.4 * 96), "height": 900})
        heights = tab.evaluate(
            "[...document.querySelectorAll('.page')].map(e => e.getBoundingClientRect().height)"
        )
        assert len(heights) == 3  # the farmer's and two crews'
        assert max(heights) <= 255 / 25.4 * 96
        browser.close()
