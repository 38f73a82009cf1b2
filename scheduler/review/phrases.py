"""Words and tables of the review, shared by terminal, HTML and CSV."""

from __future__ import annotations

import math
import textwrap

import numpy as np
from numpy.typing import NDArray

from scheduler.farm.units import DEFAULT_UNITS, from_si, show_area, show_money, show_number
from scheduler.farm.wording import crew_title, crop_name, day_name, one_line, percent
from scheduler.review.adherence import CrewDay, Deviation
from scheduler.review.counterfactuals import AS_DONE, AS_PLANNED, BEST_FIXED_ORDER
from scheduler.review.delay_accounting import DELAY_CAUSES, WEATHER_CAUSES, Cause
from scheduler.review.loss_breakdown import LossPart
from scheduler.review.review import LossSource, Review
from scheduler.review.stages import ReviewStage
from scheduler.season_book.entry_kinds import Entry
from scheduler.simulation.columns import ruled_columns
from scheduler.solver.stages import Stage

WIDTH = 96
NO_ENTRY = "no entry says why"
#: Names of the stages, beside the progress bar.
REVIEW_STAGE: dict[Stage, str] = {
    ReviewStage.TABLES: "pricing what came",
    ReviewStage.BEST_ORDER: "searching for the best order in hindsight",
    ReviewStage.COMPARISON: "holding plans and model against what came",
}

CAUSE_NAMES: dict[Cause, str] = {
    Cause.DONE: "already cut",
    Cause.CUT: "cutting",
    Cause.UNKNOWN: "weather unknown",
    Cause.GREEN: "not ripe",
    Cause.GROUND: "rain or ground",
    Cause.GRAIN: "dew or grain moisture",
    Cause.WIND: "wind",
    Cause.FIRE: "fire",
    Cause.HEAT: "lightning or heat",
    Cause.DOWN: "breakdown",
    Cause.WAIT: "waiting for cart, truck or elevator",
    Cause.CREW: "crew off or away",
    Cause.MOVE: "move",
    Cause.ELSEWHERE: "crew in another field",
    Cause.SPARE: "open, not used",
}
PART_NAMES: dict[LossPart, str] = {
    LossPart.YIELD: "yield",
    LossPart.TEST_WEIGHT: "test weight",
    LossPart.SPROUTED_BEFORE: "sprouted before",
    LossPart.SPROUTING: "sprouting",
    LossPart.MOISTURE: "moisture",
    LossPart.OVER_DRY: "over-dry",
    LossPart.RUTS: "ruts",
    LossPart.UNCUT: "uncut",
    LossPart.OTHER: "other",
}
SOURCE_NAMES: dict[LossSource, str] = {
    LossSource.SPROUTED_BEFORE: "sprouting there on the first morning",
    LossSource.WEATHER: "weather that no order could dodge",
    LossSource.FORECAST: "forecasts that could not be known",
    LossSource.CHOICE: "choices, and pace against the plans",
}
#: Names of counterfactuals other than dispatching rules, which go by their own.
WAY_NAMES: dict[str, str] = {
    AS_DONE: "as it was done",
    AS_PLANNED: "as planned each morning",
    BEST_FIXED_ORDER: "best order in hindsight",
}


def way_name(name: str) -> str:
    """Name of a way to cut the season."""
    return WAY_NAMES.get(name, name)


def money(review: Review, value: float) -> str:
    """An amount in the farm's currency."""
    return show_money(value, review.observed.farm.currency)


def spread(review: Review, low: float, high: float) -> str:
    """A range of money, '$1,200 to $1,900'; '-' where both ends read alike."""
    a, b = money(review, low), money(review, high)
    return "-" if a == b else f"{a} to {b}"


def title(review: Review) -> str:
    """Farm and dates of the season."""
    first, last = review.days[0], review.days[-1]
    name = one_line(review.observed.farm.name)
    return f"{name}: {day_name(first)} to {day_name(last)} {last.year}"


def headline(review: Review) -> list[str]:
    """The season in a few sentences."""
    loss = review.loss.sum(axis=1)
    before = float(review.parts[:, LossPart.SPROUTED_BEFORE].sum())
    cut = show_area(float(review.work.area.sum()), review.observed.farm.units)
    lost = [c for c in DELAY_CAUSES if review.combine_hours[c] >= 0.5]
    most = sorted(lost, key=lambda c: -float(review.combine_hours[c]))[:3]
    hours = "; ".join(f"{CAUSE_NAMES[c]}: {review.combine_hours[c]:.0f} h" for c in most)
    return [
        f"{cut} cut in {len(review.days)} days, {len(review.lost_days)} of them without any "
        f"cutting. Combines worked {review.combine_hours[Cause.CUT]:.0f} of "
        f"{review.combine_hours.sum():.0f} hours of the working week; most of the rest went to "
        f"{hours}.",
        f"Against grain cut sound and at base moisture on the first morning the season lost "
        f"{money(review, float(loss.mean()))} "
        f"({spread(review, *np.quantile(loss, (0.1, 0.9)))} with the error of the grain model); "
        f"{money(review, before)} of it is sprouting that was there on that morning.",
    ]


def split_lines(review: Review) -> list[tuple[str, str, str]]:
    """The loss by source: name, money, range."""
    return [
        (SOURCE_NAMES[s.source], money(review, s.mean), spread(review, s.low, s.high))
        for s in review.split
    ]


def split_notes(review: Review) -> list[str]:
    """How to read the split of the loss."""
    out = []
    if review.bound is not None:
        out.append(
            f"Proven: no order of these fields, each cut in one go, could have lost less than "
            f"{money(review, math.floor(review.bound))} in this weather."
        )
    done, planned = review.counterfactual(AS_DONE), review.counterfactual(AS_PLANNED)
    if planned is None:
        out.append("The book holds no issued plan, so forecasts and choices cannot be told apart.")
    elif done is not None and done.mean < planned.mean:
        out.append(
            "A loss below zero is a saving: crews did better than the plans, by choosing well, "
            "or by a quicker pace than the machines' rates tell."
        )
    return out


def counterfactual_rows(review: Review) -> list[tuple[str, str, str, str]]:
    """Ways to cut the season: name, loss, range, excess over the best fixed order."""
    best = next(c.mean for c in review.counterfactuals if c.name == BEST_FIXED_ORDER)
    return [
        (
            way_name(c.name),
            money(review, c.mean),
            spread(review, c.low, c.high),
            money(review, c.mean - best),
        )
        for c in review.counterfactuals
    ]


def cause_rows(review: Review) -> list[tuple[str, str, str, str]]:
    """Causes: name, combine-hours of the working week, their share, area-days of delay."""
    units, whole = review.observed.farm.units, review.combine_hours.sum()
    days = review.area_days.sum(axis=0)
    return [
        (
            CAUSE_NAMES[c],
            f"{review.combine_hours[c]:.0f}",
            percent(float(review.combine_hours[c] / whole)),
            show_number(from_si(float(days[c]), "area", units)),
        )
        for c in Cause
        if c is not Cause.DONE and (review.combine_hours[c] >= 0.05 or days[c] >= 0.05)
    ]


def field_rows(review: Review) -> list[dict[str, str]]:
    """Rows of the fields, from the highest loss per area down."""
    farm = review.observed.farm
    loss = review.loss.mean(axis=0)
    order = np.argsort([-loss[i] / f.area_ha for i, f in enumerate(farm.fields)], kind="stable")
    return [_field_row(review, int(i)) for i in order]


def _field_row(review: Review, i: int) -> dict[str, str]:
    field, units = review.observed.farm.fields[i], review.observed.farm.units
    low, high = np.quantile(review.loss[:, i], (0.1, 0.9))
    days = np.flatnonzero(review.work.area[i].any(axis=0))
    cut = dates_text(review, days)
    weather = max(WEATHER_CAUSES, key=lambda c: float(review.area_days[i, c]))
    return {
        "field": f"{one_line(field.name)} ({one_line(field.id)})",
        "crop": crop_name(field.crop),
        "area": show_area(field.area_ha * (1 - field.cut_fraction), units),
        "cut": cut,
        "lost": str(int(review.lost[i].sum())),
        "delay": show_number(from_si(float(review.area_days[i].sum()), "area", units)),
        "weather": CAUSE_NAMES[weather] if review.area_days[i, weather] > 0 else "-",
        "loss": money(review, float(review.loss[:, i].mean())),
        "spread": spread(review, float(low), float(high)),
        **{name: money(review, float(review.parts[i, p])) for p, name in PART_NAMES.items()},
    }


def dates_text(review: Review, hours: NDArray[np.int64]) -> str:
    """Dates of the first and last of some hours of the season, '13-15 Aug'."""
    if not len(hours):
        return "not cut"
    starts = [review.observed.index(d) for d in review.days]
    first, last = (
        review.days[int(np.searchsorted(starts, h, side="right")) - 1] for h in hours[[0, -1]]
    )
    if first == last:
        return f"{first.day} {first:%b}"
    same = first.month == last.month
    return f"{first.day}{'' if same else f' {first:%b}'}-{last.day} {last:%b}"


def lost_lines(review: Review) -> list[str]:
    """Days on which nothing was cut."""
    return [
        f"{day_name(d.day)}: {CAUSE_NAMES[d.cause]}, {d.hours:.0f} combine-hours"
        for d in review.lost_days
    ]


def agreement_lines(review: Review) -> list[str]:
    """The models against samples and ground checks."""
    a, out = review.agreement, []
    if a.samples:
        side = "wetter" if a.bias > 0 else "drier"
        out.append(
            f"Grain: {a.samples} samples; on weather alone the model missed by {a.error:.1f} "
            f"points on average, samples being {abs(a.bias):.1f} points {side} than it said."
        )
    if a.checks:
        out.append(
            f"Ground: {a.right} of {a.checks} checks found the class the model said, {a.wetter} "
            f"found it softer, {a.checks - a.right - a.wetter} firmer."
        )
    return out or ["No sample and no ground check in the book: nothing to hold the model against."]


def skill_rows(review: Review) -> list[tuple[str, ...]]:
    """Skill by lead: lead, chances, mean chance, observed share, Brier score, Brier skill."""
    return [
        (
            str(s.lead),
            str(s.count),
            percent(s.mean_chance),
            percent(s.observed_share),
            f"{s.brier.score:.3f}",
            "-" if math.isnan(s.brier.skill) else f"{s.brier.skill:+.2f}",
        )
        for s in review.skill
    ]


def adherence_rows(review: Review) -> list[tuple[str, str, str, str, str]]:
    """Crew-days that departed from the orders: day, crew, ordered, cut, reason."""
    return [
        (
            day_name(d.day),
            one_line(d.crew),
            ", ".join(d.ordered) or "-",
            ", ".join(d.cut) or "-",
            deviation_text(d),
        )
        for d in review.adherence
        if not d.followed
    ]


def deviation_text(day: CrewDay) -> str:
    """Why a crew's day departed from its orders; '' where it did not."""
    match day.deviation:
        case Deviation.NONE:
            return ""
        case Deviation.RECORDED:
            return "; ".join(_entry_text(e) for e in day.entries)
        case Deviation.NOTHING_ORDERED:
            return "the plan expected nothing to be fit"
        case Deviation.LATER_ORDERS:
            return "went on to fields that the plan told for later"
        case Deviation.UNEXPLAINED:
            return NO_ENTRY
        case Deviation.IDLE:
            assert day.cause is not None
            cause = f"{CAUSE_NAMES[day.cause]} took {day.hours:.0f} h"
            return cause if day.cause in WEATHER_CAUSES else f"{NO_ENTRY}; {cause}"


def _entry_text(entry: Entry) -> str:
    """An entry and the reason it gives."""
    texts = {
        "order": "own order",
        "absent": "crew away",
        "down": f"{entry.subject} down",
        "notice": f"{entry.subject} {entry.text('notice')}",
    }
    text = texts[entry.kind]
    reason = entry.text("why") or entry.text("reason")
    return f"{text}: {reason}" if reason else text


def adherence_line(review: Review) -> str:
    """How many crew-days followed the orders."""
    if not review.adherence:
        return "No issued plan in the book: nothing to compare."
    same = sum(d.followed for d in review.adherence)
    return f"{same} of {len(review.adherence)} crew-days went as that morning's plan said."


def review_terminal(review: Review) -> str:
    """The review for a terminal, `WIDTH` characters wide."""
    lines = [title(review), "=" * len(title(review))]
    for text in headline(review):
        lines += textwrap.wrap(text, WIDTH)
    lines += [
        "",
        "Lost days",
        "---------",
        *(lost_lines(review) or ["none: every day saw cutting"]),
    ]
    unit = DEFAULT_UNITS["area"][review.observed.farm.units == "metric"]
    lines += ["", "Where the hours went"]
    lines += ruled_columns(("cause", "combine-h", "share", f"{unit}-days"), cause_rows(review))
    lines += ["", "Ways to cut this season, in the weather that came"]
    lines += ruled_columns(
        ("way", "loss", "with the model's error", "over the best"), counterfactual_rows(review)
    )
    lines += ["", "What the loss is due to"]
    lines += ruled_columns(("cause", "loss", "with the model's error"), split_lines(review))
    for text in split_notes(review):
        lines += textwrap.wrap(text, WIDTH)
    names = ("field", "area", "cut", "lost", "delay", "loss")
    rows = [tuple(r[n] for n in names) for r in field_rows(review)]
    lines += ["", "Fields, dearest per area first"]
    lines += ruled_columns(("field", "area", "cut", "lost days", f"{unit}-days", "loss"), rows)
    lines += ["", "Model and plans against what came"]
    for text in [*agreement_lines(review), adherence_line(review)]:
        lines += textwrap.wrap(text, WIDTH)
    for day, crew, ordered, cut, reason in adherence_rows(review):
        text = f"{day}, {crew_title(crew)}: told {ordered}, cut {cut}; {reason}"
        lines += textwrap.wrap(text, WIDTH, subsequent_indent="  ")
    return "\n".join(lines)
