"""The text messages of a crew: its day in the same lines as elsewhere."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import replace

from scheduler.farm.wording import crew_title, day_name, mid_sentence, one_line, sentence
from scheduler.language.translation import _
from scheduler.orders.model import CrewOrders, Morning, Stint
from scheduler.report.caution_phrases import day_caution_lines
from scheduler.report.order_phrases import idle_crew_text
from scheduler.report.phrases import field_title
from scheduler.report.today import crew_day, stay_text

#: Characters that two joined text messages carry of the GSM 7-bit alphabet.
MESSAGE_CHARS = 306
#: Texts for a day of a crew, and the characters of a number before a text, '1/2 '.
MOST_TEXTS, NUMBER_CHARS = 3, 4
#: Characters of a sentence; a longer one, which odd names make, is cut off; assumed.
SENTENCE_CHARS = 240
#: Letters with accents that GSM 03.38 holds; others lose their accents (value from memory).
GSM_LETTERS = frozenset("äöüÄÖÜßñÑéèùìòàåÅøØæÆÉ")
#: Characters of a field's title; a longer name gives way to the field's id.
TITLE_CHARS = 34


def message(crew: CrewOrders, morning: Morning) -> str:
    """The texts of a crew's day, an empty line between them."""
    return "\n\n".join(texts(crew, morning))


def texts(crew: CrewOrders, morning: Morning) -> tuple[str, ...]:
    """The crew's day in texts of at most `MESSAGE_CHARS` characters, numbered if several.

    What is needed first comes first: machines that change crews; when to leave and where to; from
    what moisture; where the grain goes; what if it is not fit; cautions; the day's other fields.
    """
    short = replace(crew, stints=tuple(map(_short, crew.stints)))
    return packed([_plain(text) for text in _sentences(short, morning)])


def idle_message(crew: str, morning: Morning) -> str:
    """Text for a crew that is in no orders."""
    text = _(
        "{crew}, {day}: {why}.",
        crew=sentence(crew_title(crew)),
        day=day_name(morning.now),
        why=idle_crew_text(crew, morning),
    )
    return _cut(_plain(text), MESSAGE_CHARS)


def packed(sentences: Sequence[str]) -> tuple[str, ...]:
    """Sentences in as few texts as hold them, at most `MOST_TEXTS`; the sheet has the rest."""
    short = [_cut(text, SENTENCE_CHARS) for text in sentences]
    whole = " ".join(short)
    if len(whole) <= MESSAGE_CHARS:
        return (whole,)
    room = MESSAGE_CHARS - NUMBER_CHARS
    more = _plain(_("More on the sheet."))
    parts: list[str] = []
    for text in short:
        last = len(parts) == MOST_TEXTS
        if parts and len(parts[-1]) + 1 + len(text) <= room - (len(more) + 1 if last else 0):
            parts[-1] += f" {text}"
        elif last:
            parts[-1] += f" {more}"
            break
        else:
            parts.append(text)
    return tuple(f"{n}/{len(parts)} {part}" for n, part in enumerate(parts, 1))


def _sentences(crew: CrewOrders, morning: Morning) -> Iterator[str]:
    """The day of a crew in sentences, the most needed first."""
    day = crew_day(crew, morning, morning.now.date())
    moved = f" {day.moved}." if day.moved else ""
    yield _("{crew}, {day}:", crew=day.title, day=day_name(day.day)) + moved
    if not day.stints:
        yield day.idle
        if crew.stints:
            yield _("Tomorrow: {stay}.", stay=stay_text(crew.stints[0], morning.farm.units))
        return
    first = day.stints[0]
    yield first.go
    yield first.cut
    yield first.grain
    yield day.otherwise
    if topics := [mid_sentence(c.split(":")[0]) for c in day_caution_lines(morning)]:
        yield _("Care: {topics}.", topics=", ".join(topics))
    yield _("Machines: {who}.", who=day.who)
    for stay in day.then:
        yield _("Then {stay}.", stay=stay)
    if first.chance:
        yield first.chance


def _short(stint: Stint) -> Stint:
    """The stint with a title that a text has room for."""
    if len(field_title(stint)) <= TITLE_CHARS:
        return stint
    field = one_line(stint.field)[:TITLE_CHARS]
    return replace(stint, field=field, name=field)


def _cut(text: str, most: int) -> str:
    """The text, or its beginning where it is too long."""
    return text if len(text) <= most else text[: most - 3] + "..."


def _plain(text: str) -> str:
    """The text in letters of the 7-bit alphabet, as far as it has them."""
    joined = one_line(text.replace("°", "")).replace(" %", "%").replace("\N{NO-BREAK SPACE}", " ")
    return "".join(c if c in GSM_LETTERS else _bare(c) for c in joined)


def _bare(letter: str) -> str:
    """The letter without its accents."""
    parts = unicodedata.normalize("NFKD", letter)
    return "".join(c for c in parts if not unicodedata.combining(c))
