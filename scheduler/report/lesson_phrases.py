"""Phrases about lessons: what the readings of the season taught the models."""

from __future__ import annotations

from collections.abc import Sequence

from readiness.season.codes import Tier
from scheduler.farm.model import Farm
from scheduler.farm.units import Units, show_number
from scheduler.farm.wording import weekday_clock
from scheduler.language.translation import N_, _, ngettext
from scheduler.windows.lessons import Learnt, Lesson, OffsetChange, Outlier

#: What a ground check found; `_` translates it.
GROUND_TEXTS = {
    Tier.SOFT: N_("soft"),
    Tier.HEADLAND_ONLY: N_("headland-only"),
    Tier.FIRM: N_("firm"),
}


def lesson_lines(lessons: Sequence[Lesson], farm: Farm) -> tuple[str, ...]:
    """One line for each outlier and each field with readings, then one for neighbours alike."""
    names = {f.id: f"{f.name} ({f.id})" for f in farm.fields}
    lines: list[str] = []
    for learnt in Learnt:
        neighbours: dict[str, list[str]] = {}
        for lesson in (x for x in lessons if x.learnt is learnt):
            if isinstance(lesson, Outlier):
                lines.append(_outlier(lesson, names[lesson.field], farm.units))
            elif lesson.readings:
                lines.append(_change(lesson, names[lesson.field]))
            else:
                text = _offset(learnt, lesson.after)
                neighbours.setdefault(text, []).append(lesson.field)
        for text, alike in neighbours.items():
            fields = ", ".join(alike)
            if learnt is Learnt.STRAW:
                lines.append(_("In the same crop, {offset}: {fields}", offset=text, fields=fields))
            else:
                lines.append(_("By the same soil, {offset}: {fields}", offset=text, fields=fields))
    return tuple(lines)


def _outlier(outlier: Outlier, name: str, units: Units) -> str:
    fields = {
        "field": name,
        "time": weekday_clock(outlier.time, units),
    }
    if outlier.learnt is Learnt.BEARING:
        return _(
            "{field}, {time}: the ground check ({ground}) is far from what the weather tells; it "
            "counts little, take another",
            ground=_(GROUND_TEXTS[Tier(int(outlier.value))]),
            **fields,
        )
    if outlier.learnt is Learnt.STRAW:
        return _(
            "{field}, {time}: the start of cutting is far from what the dampness of the straw "
            "tells; it counts little until another one agrees",
            **fields,
        )
    fields |= {"value": show_number(outlier.value, 1), "points": show_number(abs(outlier.low), 1)}
    if outlier.low > 0:
        return _(
            "{field}, {time}: the sample of {value} % is {points} points above what the weather "
            "tells; it counts little, take another",
            **fields,
        )
    return _(
        "{field}, {time}: the sample of {value} % is {points} points below what the weather "
        "tells; it counts little, take another",
        **fields,
    )


def _change(change: OffsetChange, name: str) -> str:
    n = change.readings
    if change.learnt is Learnt.GRAIN:
        readings = ngettext("{n} sample", "{n} samples", n)
    elif change.learnt is Learnt.STRAW:
        readings = ngettext("{n} entry of cutting", "{n} entries of cutting", n)
    else:
        readings = ngettext("{n} ground check", "{n} ground checks", n)
    after = _offset(change.learnt, change.after)
    if change.before is None:
        return _(
            "{field}: {offset}, from {readings}; the day before: nothing",
            field=name,
            offset=after,
            readings=readings,
        )
    return _(
        "{field}: {offset}, from {readings}; the day before: {before}",
        field=name,
        offset=after,
        readings=readings,
        before=_offset(change.learnt, change.before),
    )


def _offset(learnt: Learnt, value: float) -> str:
    """An offset in words."""
    if learnt is Learnt.GRAIN:
        points = show_number(abs(value), 1)
        if value > 0:
            return _("grain {points} points wetter than the weather tells", points=points)
        return _("grain {points} points drier than the weather tells", points=points)
    share = f"{show_number(abs(100.0 * value), 1)} %"
    if learnt is Learnt.STRAW:
        humidity = f"{show_number(abs(value), 0)} %"
        if value > 0:
            return _("you thresh straw {humidity} damper than is usual", humidity=humidity)
        return _("you wait for straw {humidity} drier than is usual", humidity=humidity)
    if value > 0:
        return _("ground bears {share} more water than its texture tells", share=share)
    return _("ground bears {share} less water than its texture tells", share=share)
