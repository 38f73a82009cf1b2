"""Texts in the language of the thread that makes them."""

import threading
from datetime import UTC, date, datetime, timedelta

import mornings
import pytest
from markupsafe import Markup

from scheduler.farm.units import normalized_name, show_area, show_money
from scheduler.farm.wording import crop_name, day_name
from scheduler.farm_files.vocabulary import CROP_NAMES
from scheduler.language import locale_formats as formats
from scheduler.language import translation
from scheduler.language.translation import (
    _,
    active_language,
    in_language,
    markup,
    markup_number,
    ngettext,
    set_language,
)
from scheduler.orders.reasons import FallbackAction, Wait
from scheduler.report.order_phrases import short_fallback
from scheduler.season_book.book import Book
from scheduler.season_book.csv_exchange import book_csv, read_rows
from scheduler.season_book.entry_kinds import KINDS
from scheduler.season_book.formatting import show_fact, write_value
from scheduler.season_book.parsing import read_entry
from scheduler.season_book.value_parsing import read_value


def test_english_needs_no_catalogue(monkeypatch):
    monkeypatch.setattr(translation, "_catalogue", None)
    assert _("unknown") == "unknown"
    assert _("{n} of {all}", n=2, all=3) == "2 of 3"
    assert ngettext("{n} field", "{n} fields", 1) == "1 field"
    assert ngettext("{n} field", "{n} fields", 0) == "0 fields"


def test_the_language_holds_inside_its_block_and_in_its_thread_only():
    seen = []
    with in_language("de"):
        assert _("unknown") == "unbekannt"
        thread = threading.Thread(target=lambda: seen.append((active_language(), _("unknown"))))
        thread.start()
        thread.join()
    assert seen == [("en", "unknown")]
    assert _("unknown") == "unknown"


def test_each_thread_has_its_own_language():
    start = threading.Barrier(2)
    seen = {}

    def speak(code):
        set_language(code)
        start.wait()
        seen[code] = _("unknown")

    threads = [threading.Thread(target=speak, args=(code,)) for code in ("de", "es")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert seen == {"de": "unbekannt", "es": "desconocido"}


def test_a_text_for_a_template_is_escaped_with_its_fields_but_markup_stays():
    assert markup("{a} & {b}", a="<i>", b=Markup("<b>x</b>")) == "&lt;i&gt; &amp; <b>x</b>"
    assert markup_number("{n} <", "{n} >", 2) == "2 &gt;"


# Signs and names of the Unicode CLDR, as printed by Babel 2.19.
@pytest.mark.parametrize(
    ("code", "number", "day", "month"),
    [
        ("en", "12,345.7", "Sat", "Aug"),
        ("de", "12.345,7", "Sa", "Aug"),
        ("es", "12.345,7", "sáb", "ago"),
    ],
)
def test_numbers_and_days(code, number, day, month):
    with in_language(code):
        assert formats.number(12345.678, 1) == number
        assert formats.short_day(date(2026, 8, 15)) == day
        assert formats.short_month(date(2026, 8, 15)) == month
        assert formats.decimal_mark() == number[-2]


# Hand: the same day and amount as each language writes them.
@pytest.mark.parametrize(
    ("code", "day", "amount", "area"),
    [
        ("en", "Sat 15 Aug", "-EUR 1,234", "59.7 ha"),
        ("de", "Sa 15. Aug", "-1.234 EUR", "59,7 ha"),
        ("es", "sáb 15 ago", "-1.234 EUR", "59,7 ha"),
    ],
)
def test_days_money_and_areas(code, day, amount, area):
    with in_language(code):
        assert day_name(date(2026, 8, 15)) == day
        assert show_money(-1234.0, "EUR") == amount
        assert show_area(59.7, "metric") == area


# Hand: 1,234 is a decimal number in German and Spanish, a thousand and more in English.
@pytest.mark.parametrize(("code", "text"), [("en", "1.234"), ("de", "1,234"), ("es", "1,234")])
def test_a_number_that_a_form_shows_is_read_back(code, text):
    farm = mornings.farm(units="metric")
    weight = next(f for f in KINDS["ticket"].facts if f.name == "weight")
    with in_language(code):
        assert write_value(weight, 1.234, farm, "barley") == text
        back = read_value(weight, text, farm, crop="barley", now=mornings.NOW)
    assert back == pytest.approx(1.234)


def test_words_of_a_choice_are_read_in_the_language_and_stored_as_in_english():
    farm = mornings.farm()
    ground = next(f for f in KINDS["ground"].facts if f.name == "ground")
    with in_language("de"):
        assert show_fact(ground, "soft", farm, "barley") == "weich"
        for text in ("weich", "soft"):
            assert read_value(ground, text, farm, crop="barley", now=mornings.NOW) == "soft"


def test_the_table_of_the_book_is_the_same_in_every_language(tmp_path):
    farm, now = mornings.farm(), datetime.now(UTC)
    with Book(tmp_path) as book:
        facts = {"weight": "612,5", "field": "F01"}
        with in_language("de"):
            book.add(read_entry("ticket", farm.points[0].id, facts, farm, now=now))
            german = book_csv(book, farm)
        assert german == book_csv(book, farm)
        assert "612.5" in german
        with in_language("de"):
            assert len(read_rows(german, farm, now=now + timedelta(hours=1))) == 1


@pytest.mark.parametrize(
    ("code", "entered", "name"),
    [
        ("en", "Spring wheat", "Spring wheat"),
        ("de", "Spring wheat", "Sommerweizen"),
        ("es", "spring wheat", "trigo de primavera"),
        ("de", "Winterweizen", "Winterweizen"),
        ("de", "", "Qualitätsweizen"),
    ],
)
def test_a_crop_keeps_the_words_of_the_user_but_english_ones_are_translated(code, entered, name):
    with in_language(code):
        assert crop_name("wheat_hard", entered) == name


@pytest.mark.parametrize(
    ("word", "crop"),
    [("Winterweizen", "wheat_hard"), ("Körnermais", "corn"), ("maíz", "corn"), ("Raps", "canola")],
)
def test_crops_may_be_entered_in_german_and_spanish(word, crop):
    assert CROP_NAMES[normalized_name(word)] == crop


def test_part_of_a_field_is_named_in_the_language_of_the_farm():
    action = FallbackAction(
        first_name="Home",
        wait=Wait.TOMORROW,
        other_name="Slough",
        other_field="F03",
        other_parcel="wet hollow",
    )
    with in_language("de"):
        assert short_fallback(action) == "erst Slough (F03, nasse Senke)"
