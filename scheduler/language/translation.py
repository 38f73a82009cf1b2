"""The active language, and texts in it.

The English text is the key of its translation, as in GNU gettext. A text is translated when it is
made, so constants of a module are marked by `N_` and translated where they are shown. The language
belongs to a thread and its requests (a context variable), not to the process.
"""

from __future__ import annotations

import gettext
import io
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache
from pathlib import Path

from markupsafe import Markup, escape

SOURCE = "en"  # language of the texts in the code
#: Languages by the code of ISO 639-1 that farm.toml gives, with their own names.
LANGUAGES: dict[str, str] = {SOURCE: "English", "de": "Deutsch", "es": "español"}
CATALOGUES = Path(__file__).parent / "catalogues"

_active: ContextVar[str] = ContextVar("language", default=SOURCE)


def active_language() -> str:
    """Code of the language in which this thread or request makes texts."""
    return _active.get()


def set_language(code: str) -> None:
    """Make texts in a language of `LANGUAGES` from here on, in this thread or request."""
    _active.set(code)


@contextmanager
def in_language(code: str) -> Iterator[None]:
    """Make texts in a language of `LANGUAGES` inside a `with` block."""
    token = _active.set(code)
    try:
        yield
    finally:
        _active.reset(token)


def N_(message: str) -> str:
    """Mark a text that is translated later, by `_`, where it is shown."""
    return message


def _(message: str, /, **fields: object) -> str:
    """Translate a text and put the named fields into it.

    Parameters
    ----------
    message : English text, a literal or marked by `N_`, with fields as '{name}'.
    fields : texts or whole numbers, ready to be shown.
    """
    text = _translated(message)
    return text.format(**fields) if fields else text


def ngettext(one: str, many: str, n: int, /, **fields: object) -> str:
    """Translate a text that depends on a whole number, which is its field '{n}'."""
    return _translated_number(one, many, n).format(n=n, **fields)


def markup(message: str, /, **fields: object) -> Markup:
    """Translate for a template: text and fields are escaped; fields that are markup stay."""
    return Markup(escape(_translated(message))).format(**fields)


def markup_number(one: str, many: str, n: int, /, **fields: object) -> Markup:
    """Translate as `ngettext` does, for a template."""
    return Markup(escape(_translated_number(one, many, n))).format(n=n, **fields)


def _translated(message: str) -> str:
    code = _active.get()
    return message if code == SOURCE else _catalogue(code).gettext(message)


def _translated_number(one: str, many: str, n: int) -> str:
    code = _active.get()
    if code == SOURCE:
        return one if n == 1 else many
    return _catalogue(code).ngettext(one, many, n)


@cache
def _catalogue(code: str) -> gettext.GNUTranslations:
    """Translations of a language other than English."""
    from babel.messages.mofile import write_mo  # only other languages than English need it
    from babel.messages.pofile import read_po

    with (CATALOGUES / f"{code}.po").open("rb") as file:
        texts = read_po(file, locale=code)
    compiled = io.BytesIO()
    write_mo(compiled, texts)
    compiled.seek(0)
    return gettext.GNUTranslations(compiled)
