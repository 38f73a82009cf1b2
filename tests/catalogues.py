"""The texts of the code and the catalogues of their translations.

`python tests/catalogues.py` brings the catalogues up to date: new texts come in without a
translation, texts that are gone leave. Then fill in what is empty (`msgstr ""`).
"""

from functools import cache

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import read_po, write_po
from places import ROOT

from readiness.atmosphere.hazards import FIRE_CLASSES, HEAT_CLASSES
from readiness.grain.crops import CROPS
from readiness.season.other_work import SPRAY_CAUTION
from scheduler.farm_files.vocabulary import ENGLISH_CROPS, TEXTURES
from scheduler.language.translation import CATALOGUES, LANGUAGES, SOURCE

METHODS = [("**.py", "python"), ("**/templates/**.html", "jinja2")]
#: Texts that stand in data; those who show them translate them.
DATA_TEXTS = (
    *(crop.name for crop in CROPS.values()),
    *(name for _, name in (*FIRE_CLASSES, *HEAT_CLASSES)),
    *(word.replace("_", " ") for words in ENGLISH_CROPS.values() for word in words.split()),
    SPRAY_CAUTION,
    *(name.replace("_", " ") for name in TEXTURES),
)
TRANSLATIONS = tuple(code for code in LANGUAGES if code != SOURCE)


@cache
def extracted() -> Catalog:
    """Every text that the code marks for translation."""
    texts = Catalog()
    for _, _, message, _, context in extract_from_dir(
        ROOT / "scheduler", METHODS, strip_comment_tags=True
    ):
        texts.add(message, context=context)
    for message in DATA_TEXTS:
        texts.add(message)
    return texts


def stored(code: str) -> Catalog:
    """The catalogue of a language."""
    path = CATALOGUES / f"{code}.po"
    if not path.exists():
        return Catalog(locale=code)
    with path.open("rb") as file:
        return read_po(file, locale=code)


def missing(catalogue: Catalog) -> list[str]:
    """Texts of a catalogue without a translation, or with a part of one."""
    return [
        str(message.id)
        for message in catalogue
        if message.id
        and not (all(message.string) if isinstance(message.string, tuple) else message.string)
    ]


def update() -> None:
    """Bring every catalogue up to date with the code, and count what is missing."""
    texts = extracted()
    for code in TRANSLATIONS:
        catalogue = stored(code)
        catalogue.update(texts, no_fuzzy_matching=True)
        with (CATALOGUES / f"{code}.po").open("wb") as file:
            write_po(
                file,
                catalogue,
                width=100,
                no_location=True,
                omit_header=True,  # its dates would change with each update
                sort_output=True,
                ignore_obsolete=True,
            )
        print(f"{code}: {len(catalogue)} texts, {len(missing(catalogue))} without a translation")


if __name__ == "__main__":
    update()
