"""What people read holds no text that bypasses the catalogue.

A stand-in language has no letters at all: every text keeps its fields and signs only. A word that
is left in an output is data (names, ids, units) or a text that nobody marked for translation.
"""

import gettext
import re
from dataclasses import replace
from html import unescape

import mornings
import pytest
from page_requests import LOCAL, NOW, farm_folder, issue

from scheduler.language import translation
from scheduler.language.translation import in_language
from scheduler.orders.safety import day_cautions
from scheduler.report.crew_calendar import calendar
from scheduler.report.messages import message
from scheduler.report.sheet import sheet
from scheduler.report.terminal.first_screen import first_screen
from scheduler.report.terminal.full_plan import full_plan
from scheduler.report.terminal.ready_hours import ready_hours
from scheduler.web.app import create_app

#: Units, signs of programs and words that are the same in every language.
SAME = {
    "ac",
    "ha",
    "bu",
    "lb",
    "mi",
    "mph",
    "min",
    "mm",
    "in",
    "am",
    "pm",
    "afterrain",
    "open",
    "meteo",
    "ensemble",
}


class Letterless(gettext.NullTranslations):
    """Every text without its letters; fields in braces stay."""

    def gettext(self, message):
        return "".join(
            part if part.startswith("{") else re.sub(r"[^\W\d_]", "·", part)
            for part in re.split(r"(\{\w+\})", message)
        )

    def ngettext(self, one, many, n):
        return self.gettext(one if n == 1 else many)


@pytest.fixture
def letterless(monkeypatch):
    monkeypatch.setattr(translation, "_catalogue", lambda code: Letterless())
    with in_language("de"):
        yield


@pytest.fixture(scope="module")
def morning():
    made = mornings.morning(fields=6, days=6, members=9, unknown=True)
    return replace(made, cautions=day_cautions(made.farm, made.weather, now=made.now))


def words(text):
    return {word.casefold() for word in re.findall(r"[^\W\d_]{2,}", text)}


def read(html):
    """Words that a page shows or says: text, labels, titles and texts that stand for pictures."""
    shown = re.sub(r"<(style|script|code)\b.*?</\1>", " ", html, flags=re.DOTALL)
    shown = re.sub(r'src="[^"]*"', "", shown)
    said = re.findall(r'(?:alt|aria-label|title|placeholder|data-\w*text\w*)="([^"]*)"', shown)
    return unescape(" ".join((re.sub(r"<[^>]*>", " ", shown), *said)))


def data_words(morning):
    """Words that people chose: ids, names and notes of the farm; names of days and months."""
    farm = morning.farm
    named = [
        farm.name,
        str(farm.tz),
        farm.currency,
        *morning.weather_notes,
        morning.source,
        *morning.changes,
    ]
    groups = (farm.fields, farm.crews, farm.combines, farm.carts, farm.trucks, farm.points)
    named += [part.id for group in groups for part in group] + [f.name for f in farm.fields]
    named += [f.entered for f in farm.fields]  # the crop in the farmer's own words
    named += [order.changed for crew in morning.crews for order in crew.orders]
    days = "Mo Di Mi Do Fr Sa So Jan Feb Mär Apr Mai Jun Jul Aug Sep Okt Nov Dez"
    return words(" ".join((*named, days))) | SAME


def events(crew, morning):
    """Texts of a calendar, and no names of its properties."""
    text = calendar(crew, morning).decode().replace("\r\n ", "").replace("\\n", " ")
    lines = re.findall(r"^(?:NAME|SUMMARY|DESCRIPTION|LOCATION)[^:]*:(.*)$", text, re.MULTILINE)
    return " ".join(lines)


OUTPUTS = {
    "first screen": first_screen,
    "full plan": full_plan,
    "hours": lambda m: ready_hours(m.farm, m.season, now=m.now, days=2),
    "text": lambda m: " ".join(message(crew, m) for crew in m.crews),
    "calendar": lambda m: " ".join(events(crew, m) for crew in m.crews),
    "sheet": lambda m: read(sheet(m)),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", OUTPUTS)
def test_no_text_of_a_plan_bypasses_the_catalogue(letterless, morning, name):
    assert words(OUTPUTS[name](morning)) - data_words(morning) == set()


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = farm_folder(tmp_path_factory.mktemp("farm"))
    file = made / "farm.toml"
    file.write_text(f'language = "de"\n{file.read_text()}')
    return made


PAGES = (
    *("/", "/fields", "/enter", "/entries", "/order", "/season", "/safety", "/people", "/replan"),
    *("/login", "/field?id=F03", "/rain", "/enter/absent", "/enter/ground", "/map", "/nowhere"),
)


@pytest.mark.parametrize("path", PAGES)
def test_no_text_of_a_page_bypasses_the_catalogue(letterless, folder, path):
    morning = issue(folder)
    client = create_app(folder, now=lambda: NOW).test_client()
    page = client.get(path, **LOCAL).text
    assert words(read(page)) - data_words(morning) == set()
    assert "&lt;" not in page  # markup of a text is not escaped twice
