"""The text messages of a crew: its day in short."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, replace

from scheduler.farm.model import Farm
from scheduler.farm.units import short_number
from scheduler.farm.wording import clock, crew_title, day_name, one_line, sentence
from scheduler.language.translation import _
from scheduler.orders.model import CrewOrders, Morning, Stint
from scheduler.report.caution_phrases import short_caution, usual
from scheduler.report.order_phrases import idle_crew_text, points_text, start_at
from scheduler.report.phrases import driven, field_title, whole_loads
from scheduler.report.today import CrewDay, area_text, clock_span, crew_day, stay_text

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


@dataclass(frozen=True, kw_only=True)
class TextOfDay:
    """The day of a crew in sentences.

    Attributes
    ----------
    needed : what the crew cannot leave without, the most needed first.
    more : what is told as far as the texts that hold `needed` have room.
    """

    needed: tuple[str, ...]
    more: tuple[str, ...] = ()


def message(crew: CrewOrders, morning: Morning) -> str:
    """The texts of a crew's day, an empty line between them."""
    return "\n\n".join(texts(crew, morning))


def texts(crew: CrewOrders, morning: Morning) -> tuple[str, ...]:
    """The crew's day in texts of at most `MESSAGE_CHARS` characters, numbered if several.

    What is needed comes first: machines that change crews; when to leave and where to; from what
    moisture; the drivers and where their loads go; what if it is not fit; the weather's cautions;
    the day's other fields. Usual cautions, machines and chances follow where there is room.
    """
    short = replace(crew, stints=tuple(map(_short, crew.stints)))
    day = crew_day(short, morning, morning.now.date())
    told = _working_day(short, day, morning) if day.stints else _idle_day(short, day, morning)
    return packed([_plain(t) for t in told.needed], [_plain(t) for t in told.more])


def idle_message(crew: str, morning: Morning) -> str:
    """Text for a crew that is in no orders."""
    text = _(
        "{crew}, {day}: {why}.",
        crew=sentence(crew_title(crew)),
        day=day_name(morning.now),
        why=idle_crew_text(crew, morning),
    )
    return _cut(_plain(text), MESSAGE_CHARS)


def packed(needed: Sequence[str], more: Sequence[str] = ()) -> tuple[str, ...]:
    """Sentences in as few texts as hold the needed ones, at most `MOST_TEXTS`.

    The sheet has what finds no room.
    """
    short = [_cut(text, SENTENCE_CHARS) for text in needed]
    whole = " ".join(short)
    if len(whole) <= MESSAGE_CHARS:
        return (_filled(whole, more, MESSAGE_CHARS),)
    room = MESSAGE_CHARS - NUMBER_CHARS
    rest = _plain(_("More on the sheet."))
    parts: list[str] = []
    for text in short:
        last = len(parts) == MOST_TEXTS
        if parts and len(parts[-1]) + 1 + len(text) <= room - (len(rest) + 1 if last else 0):
            parts[-1] += f" {text}"
        elif last:
            parts[-1] += f" {rest}"
            break
        else:
            parts.append(text)
    else:
        parts[-1] = _filled(parts[-1], more, room)
    return tuple(f"{n}/{len(parts)} {part}" for n, part in enumerate(parts, 1))


def _filled(text: str, more: Sequence[str], room: int) -> str:
    """The text and those of more sentences that still have room."""
    for added in more:
        if len(text) + 1 + len(added) <= room:
            text += f" {added}"
    return text


def _heading(day: CrewDay) -> str:
    """'North crew, Sat 16 Aug: C2 to South.'."""
    moved = f" {day.moved}." if day.moved else ""
    return _("{crew}, {day}:", crew=day.title, day=day_name(day.day)) + moved


def _idle_day(crew: CrewOrders, day: CrewDay, morning: Morning) -> TextOfDay:
    """Why the crew cuts nothing today, and what it does tomorrow."""
    needed = [_heading(day), day.idle]
    if crew.stints:
        stay = stay_text(crew.stints[0], morning.farm.units)
        needed.append(_("Tomorrow: {stay}.", stay=stay))
    return TextOfDay(needed=tuple(needed))


def _working_day(crew: CrewOrders, day: CrewDay, morning: Morning) -> TextOfDay:
    """What the crew and its drivers do today."""
    farm = morning.farm
    first, *others = day.stints
    weather = [short_caution(c, farm.units) for c in morning.cautions if not usual(c)]
    always = [short_caution(c, farm.units) for c in morning.cautions if usual(c)]
    return TextOfDay(
        needed=(
            _heading(day),
            _leave(first.stint, farm),
            _cut_short(first.stint, farm),
            _loads(crew, first.stint, farm),
            day.otherwise,
            *weather,
            *(_("Then {stay}.", stay=stay.short) for stay in others),
        ),
        more=(
            *always,
            *([first.chance] if first.chance else []),
            _("Machines: {who}.", who=day.who),
        ),
    )


def _leave(stint: Stint, farm: Farm) -> str:
    """'Leave 3:45 pm for Stone pile (F08).'."""
    field = field_title(stint)
    if stint.move_min <= 0.0:
        return _("At {field}: you are there.", field=field)
    return _(
        "Leave {time} for {field}.",
        time=clock(stint.leave_at, stint.start, farm.units),
        field=field,
    )


def _cut_short(stint: Stint, farm: Farm) -> str:
    """'Cut 4:30-10:30 pm at 20 % or drier, 116 of 148 ac.'."""
    return _(
        "Cut {span} at {moisture} % or drier, {area}.",
        span=clock_span(stint.start, stint.until, farm.units),
        moisture=short_number(start_at(stint, farm, stint.start_pct), 1),
        area=area_text(stint, farm.units),
    )


def _loads(crew: CrewOrders, stint: Stint, farm: Farm) -> str:
    """Drivers, and where their loads go: 'T1 (Jo), T2: up to 15 %: Rail; wetter: home, ...'."""
    where = points_text(stint, farm)
    loads = whole_loads(sum(d.loads for d in stint.deliveries))
    back = dict(crew.joins)
    trucks = [t for t in crew.trucks if t not in back or back[t] < stint.until]
    if not trucks:
        return _("{where}, {loads}.", where=sentence(where), loads=loads)
    text = _("{trucks}: {where}, {loads}.", trucks=driven(crew, trucks), where=where, loads=loads)
    if stint.headland_only:
        text += " " + _("Cart, trucks on the headland.")
    return text


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
