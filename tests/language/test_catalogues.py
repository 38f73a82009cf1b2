"""Every text of the code has its translation, with the same fields."""

import ast
from string import Formatter

import pytest
from catalogues import TRANSLATIONS, extracted, missing, stored
from places import ROOT


def fields(text):
    return {name for _, name, _, _ in Formatter().parse(text) if name is not None}


def texts(message):
    return message.id if isinstance(message.id, tuple) else (message.id,)


def key(message):
    return message.context, message.id


@pytest.mark.parametrize("code", TRANSLATIONS)
def test_a_catalogue_has_the_texts_of_the_code_and_no_others(code):
    """To bring it up to date: python tests/catalogues.py"""
    assert {key(m) for m in stored(code)} - {(None, "")} == {key(m) for m in extracted() if m.id}


@pytest.mark.parametrize("code", TRANSLATIONS)
def test_no_translation_is_missing_or_guessed(code):
    assert missing(stored(code)) == []
    assert [m.id for m in stored(code) if m.id and m.fuzzy] == []


@pytest.mark.parametrize("code", TRANSLATIONS)
def test_a_translation_has_the_fields_of_its_text(code):
    for message in stored(code):
        if not message.id:
            continue
        known = set().union(*(fields(t) for t in texts(message)))
        if isinstance(message.id, tuple):
            assert all(known - {"n"} <= fields(s) <= known | {"n"} for s in message.string), message
        else:
            assert fields(message.string) == known, message


def test_no_text_stands_inside_an_f_string():
    """There the extraction does not see it, and no catalogue holds it."""
    hidden = [
        (path.name, text.lineno)
        for path in (ROOT / "scheduler").rglob("*.py")
        for string in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(string, ast.JoinedStr)
        for text in ast.walk(string)
        if isinstance(text, ast.Call) and getattr(text.func, "id", "") in ("_", "N_", "ngettext")
        if text.args and isinstance(text.args[0], ast.Constant)
    ]
    assert hidden == []


def test_fields_of_texts_have_names_and_no_formats():
    """A number is put into a text as its language writes it, so a text must not format it."""
    for message in extracted():
        for text in texts(message):
            for _, name, spec, conversion in Formatter().parse(text):
                assert name is None or name.isidentifier(), text
                assert (spec or "", conversion) == ("", None), text
