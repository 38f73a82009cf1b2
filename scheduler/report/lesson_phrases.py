"""Phrases about lessons: what the readings of the season taught the models."""

from __future__ import annotations

from collections.abc import Sequence

from readiness.season.codes import Tier
from scheduler.farm.model import Farm
from scheduler.windows.lessons import Learnt, Lesson, OffsetChange, Outlier

READING_TEXTS = {Learnt.GRAIN: "sample", Learnt.BEARING: "ground check"}


def lesson_lines(lessons: Sequence[Lesson], farm: Farm) -> tuple[str, ...]:
    """One line for each outlier and each field with readings, then one for neighbours alike."""
    names = {f.id: f"{f.name} ({f.id})" for f in farm.fields}
    lines: list[str] = []
    for learnt in Learnt:
        neighbours: dict[str, list[str]] = {}
        for lesson in (x for x in lessons if x.learnt is learnt):
            if isinstance(lesson, Outlier):
                lines.append(_outlier(lesson, names[lesson.field]))
            elif lesson.readings:
                lines.append(_change(lesson, names[lesson.field]))
            else:
                text = _offset(learnt, lesson.after)
                neighbours.setdefault(text, []).append(lesson.field)
        lines += [f"By the same soil, {text}: {', '.join(f)}" for text, f in neighbours.items()]
    return tuple(lines)


def _outlier(outlier: Outlier, name: str) -> str:
    if outlier.learnt is Learnt.GRAIN:
        side = "above" if outlier.low > 0 else "below"
        reading = (
            f"the sample of {outlier.value:.1f} % is {abs(outlier.low):.1f} points "
            f"{side} what the weather tells"
        )
    else:
        tier = Tier(int(outlier.value)).name.lower().replace("_", "-")
        reading = f"the ground check ({tier}) is far from what the weather tells"
    return f"{name}, {outlier.time:%a %H:%M}: {reading}; it counts little, take another"


def _change(change: OffsetChange, name: str) -> str:
    plural = "s" if change.readings > 1 else ""
    readings = f"{change.readings} {READING_TEXTS[change.learnt]}{plural}"
    before = "nothing" if change.before is None else _offset(change.learnt, change.before)
    after = _offset(change.learnt, change.after)
    return f"{name}: {after}, from {readings}; the day before: {before}"


def _offset(learnt: Learnt, value: float) -> str:
    """An offset in words."""
    if learnt is Learnt.GRAIN:
        side = "wetter" if value > 0 else "drier"
        return f"grain {abs(value):.1f} points {side} than the weather tells"
    side = "more" if value > 0 else "less"
    return f"ground bears {100.0 * abs(value):.1f} % {side} water than its texture tells"
