"""Words and tables of the review, shared by terminal, HTML and CSV."""

from __future__ import annotations

import math
import textwrap

import numpy as np
from numpy.typing import NDArray

from scheduler.farm.units import DEFAULT_UNITS, from_si, show_area, show_money, show_number
from scheduler.farm.wording import crew_title, crop_name, day_name, one_line, percent
from scheduler.planning.dispatch_rules import RULE_STARTS
from scheduler.review.adherence import CrewDay, Deviation
from scheduler.review.counterfactuals import (
    AS_DONE,
    AS_PLANNED,
    BEST_POLICY,
    Counterfactual,
)
from scheduler.review.delay_accounting import DELAY_CAUSES, WEATHER_CAUSES, Cause
from scheduler.review.loss_breakdown import LossPart
from scheduler.review.loss_split import LossSource
from scheduler.review.review import Review, ReviewStage
from scheduler.season_book.entry_kinds import Entry
from scheduler.simulation.columns import ruled_columns
from scheduler.solver.stages import Stage

WIDTH = 96
NO_ENTRY = "no entry says why"
#: Names of the stages, beside the progress bar.
REVIEW_STAGE: dict[Stage, str] = {
    ReviewStage.TABLES: "pricing the season hour by hour",
    ReviewStage.WAYS: "searching for the best policy in hindsight",
    ReviewStage.FLOOR: "computing the least possible loss",
    ReviewStage.COMPARISON: "comparing plans and models with observations",
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
    LossPart.OTHER: "other",
}
SOURCE_NAMES: dict[LossSource, str] = {
    LossSource.SPROUTED_BEFORE: "sprouted before the first morning",
    LossSource.WEATHER: "weather, with the best policy in hindsight",
    LossSource.FORECAST: "forecasts: plans against that policy",
    LossSource.ORDER: "order of fields",
    LossSource.START_MOISTURE: "start moisture",
    LossSource.HOURS: "hours worked",
    LossSource.PACE: "pace of cutting",
    LossSource.NOT_EXPLAINED: "not explained",
}
#: Names of counterfactuals other than dispatching rules, which go by their own.
WAY_NAMES: dict[str, str] = {
    AS_DONE: "as done",
    AS_PLANNED: "as planned each morning",
    BEST_POLICY: "best policy in hindsight",
}


def way_name(way: Counterfactual) -> str:
    """Name of a way to cut the season, of a rule with its start moisture."""
    if way.start_pct is None:
        return WAY_NAMES[way.name]
    limit = f"from {way.start_pct:g} %" if way.start_pct < RULE_STARTS[-1] else "once threshable"
    return f"{way.name}, {limit}" + (" (its best)" if way.best_start else "")


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
        f"Compared with sound grain at base moisture on the first morning, the grain that was cut "
        f"lost {money(review, float(loss.mean()))} "
        f"({spread(review, *np.quantile(loss, (0.1, 0.9)))} with the error of the grain model); "
        f"{money(review, before)} of that had sprouted before the first morning.",
        *_standing_line(review),
    ]


def _standing_line(review: Review) -> list[str]:
    """What still stands at the end of the review; nothing where all is cut."""
    fields = int((review.standing > 0.0).sum())
    if not fields:
        return []
    area = show_area(float(review.standing.sum()), review.observed.farm.units)
    return [
        f"{area} in {fields} {'field' if fields == 1 else 'fields'} still stand on "
        f"{day_name(review.days[-1])}. They are in none of these losses; left uncut they would "
        f"lose {money(review, float(review.leave_cost.sum()))}."
    ]


def split_lines(review: Review) -> list[tuple[str, str, str]]:
    """The loss by source: name, money, range."""
    return [
        (SOURCE_NAMES[s.source], money(review, s.mean), spread(review, s.low, s.high))
        for s in review.split
    ]


def split_notes(review: Review) -> list[str]:
    """How to read the split of the loss."""
    least = money(review, math.floor(review.floor))
    out = [
        f"By the models, nobody could have lost less than {least} on this grain, even knowing the "
        "weather."
    ]
    done = float(review.loss.sum(axis=1).mean())
    if done < review.floor:
        out.append(
            "The work as done lost less: crews cut faster, or in more hours, than the models allow."
        )
    if review.counterfactual(AS_PLANNED) is None:
        out.append(
            "The book holds no issued plan, so the order of fields also holds what the forecasts "
            "did not tell."
        )
    if any(s.mean < 0.0 for s in review.split):
        out.append("A loss below zero is a saving.")
    out.append(
        "From order to pace the work as done replaces the plan one part at a time, in the order "
        "listed; in another order the parts would differ. The book has no time at which a crew "
        "began: work counts as done in the last hours before its entry, at the machines' rates. "
        "So slow work shows as a late start and as short hours."
    )
    return out


def counterfactual_rows(review: Review) -> list[tuple[str, str, str, str, str]]:
    """Ways to cut the season: name, loss, range, excess over the best policy, its range."""
    best = next(c.loss for c in review.counterfactuals if c.name == BEST_POLICY)
    rows = []
    for c in review.counterfactuals:
        more = c.loss - best
        low, high = (float(q) for q in np.quantile(more, (0.1, 0.9)))
        rows.append(
            (
                way_name(c),
                money(review, c.mean),
                spread(review, c.low, c.high),
                money(review, float(more.mean())),
                spread(review, low, high),
            )
        )
    return rows


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
            f"points on average, and samples were {abs(a.bias):.1f} points {side} than the model."
        )
    if a.checks:
        out.append(
            f"Ground: {a.right} of {a.checks} checks found the model's class, {a.wetter} "
            f"found softer ground, {a.checks - a.right - a.wetter} firmer."
        )
    return out or ["No sample and no ground check in the book: nothing to compare the models with."]


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
            return "cut fields that the plan had for a later day"
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
    return f"{same} of {len(review.adherence)} crew-days followed that morning's plan."


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
    lines += ["", "Ways to cut this season, in the observed weather"]
    lines += ruled_columns(
        ("way", "loss", "over the best", "with the model's error"),
        [(name, loss, more, span) for name, loss, _, more, span in counterfactual_rows(review)],
    )
    lines += ["", "Sources of the loss"]
    lines += ruled_columns(("source", "loss", "with the model's error"), split_lines(review))
    for text in split_notes(review):
        lines += textwrap.wrap(text, WIDTH)
    names = ("field", "area", "cut", "lost", "delay", "loss")
    rows = [tuple(r[n] for n in names) for r in field_rows(review)]
    lines += ["", "Fields, dearest per area first"]
    lines += ruled_columns(("field", "area", "cut", "lost days", f"{unit}-days", "loss"), rows)
    lines += ["", "Models and plans against observations"]
    for text in [*agreement_lines(review), adherence_line(review)]:
        lines += textwrap.wrap(text, WIDTH)
    for day, crew, ordered, cut, reason in adherence_rows(review):
        text = f"{day}, {crew_title(crew)}: planned {ordered}; cut {cut}; {reason}"
        lines += textwrap.wrap(text, WIDTH, subsequent_indent="  ")
    return "\n".join(lines)
