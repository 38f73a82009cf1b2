"""Words and tables of the review, shared by terminal, HTML and CSV."""

from __future__ import annotations

import math
import textwrap

import numpy as np
from numpy.typing import NDArray

from scheduler.costs.loss_parts import LossPart
from scheduler.farm.units import (
    from_si,
    short_number,
    show_area,
    show_money,
    show_number,
    signed_number,
    unit_name,
)
from scheduler.farm.wording import (
    crew_title,
    crop_name,
    day_name,
    one_line,
    percent,
    short_date,
)
from scheduler.language.locale_formats import short_month
from scheduler.language.translation import N_, _, ngettext
from scheduler.planning.dispatch_rules import RULE_STARTS
from scheduler.report.phrases import PART_NAMES
from scheduler.review.adherence import CrewDay, Deviation
from scheduler.review.counterfactuals import (
    AS_DONE,
    AS_PLANNED,
    BEST_POLICY,
    Counterfactual,
)
from scheduler.review.delay_accounting import DELAY_CAUSES, WEATHER_CAUSES, Cause
from scheduler.review.loss_split import LossSource
from scheduler.review.review import Review, ReviewStage
from scheduler.season_book.entry_kinds import Entry
from scheduler.simulation.columns import ruled_columns
from scheduler.simulation.phrases import rule_text
from scheduler.solver.stages import Stage

WIDTH = 96
NO_ENTRY = N_("no entry says why")
#: Names of the stages, beside the progress bar; `_` translates these and the names below.
REVIEW_STAGE: dict[Stage, str] = {
    ReviewStage.TABLES: N_("pricing the season hour by hour"),
    ReviewStage.WAYS: N_("searching for the best policy in hindsight"),
    ReviewStage.FLOOR: N_("computing the least possible loss"),
    ReviewStage.COMPARISON: N_("comparing plans and models with observations"),
}

CAUSE_NAMES: dict[Cause, str] = {
    Cause.DONE: N_("already cut"),
    Cause.CUT: N_("cutting"),
    Cause.UNKNOWN: N_("weather unknown"),
    Cause.GREEN: N_("not ripe"),
    Cause.GROUND: N_("rain or ground"),
    Cause.GRAIN: N_("dew or grain moisture"),
    Cause.STRAW: N_("straw too tough"),
    Cause.WIND: N_("wind"),
    Cause.FIRE: N_("fire"),
    Cause.HEAT: N_("lightning or heat"),
    Cause.DOWN: N_("breakdown"),
    Cause.WAIT: N_("waiting for elevator, bins, cart or truck"),
    Cause.CREW: N_("crew off or away"),
    Cause.MOVE: N_("move"),
    Cause.ELSEWHERE: N_("crew in another field"),
    Cause.HELD: N_("above the start moisture"),
    Cause.SPARE: N_("open, not used"),
}
SOURCE_NAMES: dict[LossSource, str] = {
    LossSource.SPROUTED_BEFORE: N_("sprouted before the first morning"),
    LossSource.WEATHER: N_("weather, with the best policy in hindsight"),
    LossSource.FORECAST: N_("forecasts: plans against that policy"),
    LossSource.ORDER: N_("order of fields"),
    LossSource.START_MOISTURE: N_("start moisture"),
    LossSource.HOURS: N_("hours worked"),
    LossSource.PACE: N_("pace of cutting"),
    LossSource.NOT_EXPLAINED: N_("not explained"),
}
#: Names of counterfactuals other than dispatching rules, which go by their own.
WAY_NAMES: dict[str, str] = {
    AS_DONE: N_("as done"),
    AS_PLANNED: N_("as planned each morning"),
    BEST_POLICY: N_("best policy in hindsight"),
}


def way_name(way: Counterfactual) -> str:
    """Name of a way to cut the season, of a rule with its start moisture."""
    if way.start_pct is None:
        return _(WAY_NAMES[way.name])
    if not way.best_start:
        return rule_text((way.name, way.start_pct))
    rule = _(way.name)
    if way.start_pct >= RULE_STARTS[-1]:
        return _("{rule}, once threshable (its best)", rule=rule)
    moisture = short_number(way.start_pct)
    return _("{rule}, from {moisture} % (its best)", rule=rule, moisture=moisture)


def money(review: Review, value: float) -> str:
    """An amount in the farm's currency."""
    return show_money(value, review.observed.farm.currency)


def spread(review: Review, low: float, high: float) -> str:
    """A range of money, '$1,200 to $1,900'; '-' where both ends read alike."""
    a, b = money(review, low), money(review, high)
    return "-" if a == b else _("{low} to {high}", low=a, high=b)


def title(review: Review) -> str:
    """Farm and dates of the season."""
    first, last = review.days[0], review.days[-1]
    name = one_line(review.observed.farm.name)
    if first.date() == last.date():
        return _("{farm}: {day} {year}", farm=name, day=day_name(first), year=first.year)
    return _(
        "{farm}: {first} to {last} {year}",
        farm=name,
        first=day_name(first),
        last=day_name(last),
        year=last.year,
    )


def headline(review: Review) -> list[str]:
    """The season in a few sentences."""
    loss = review.loss.sum(axis=1)
    before = float(review.parts[:, LossPart.SPROUTED_BEFORE].sum())
    cut = show_area(float(review.work.area.sum()), review.observed.farm.units)
    lost = [c for c in DELAY_CAUSES if review.combine_hours[c] >= 0.5]
    most = sorted(lost, key=lambda c: -float(review.combine_hours[c]))[:3]
    hours = "; ".join(f"{_(CAUSE_NAMES[c])}: {_hours(review.combine_hours[c])} h" for c in most)
    return [
        ngettext(
            "{area} cut in {n} day, {lost} of them without any cutting. Combines worked "
            "{worked} of {hours} hours of the working week; most of the rest went to {causes}.",
            "{area} cut in {n} days, {lost} of them without any cutting. Combines worked "
            "{worked} of {hours} hours of the working week; most of the rest went to {causes}.",
            len(review.days),
            area=cut,
            lost=len(review.lost_days),
            worked=_hours(review.combine_hours[Cause.CUT]),
            hours=_hours(review.combine_hours.sum()),
            causes=hours,
        ),
        _(
            "Compared with sound grain at base moisture on the first morning, the grain that was "
            "cut lost {loss} ({range} with the error of the grain model); {sprouted} of that had "
            "sprouted before the first morning.",
            loss=money(review, float(loss.mean())),
            range=spread(review, *np.quantile(loss, (0.1, 0.9))),
            sprouted=money(review, before),
        ),
        *_standing_line(review),
    ]


def _hours(hours: float) -> str:
    """Whole hours."""
    return show_number(float(hours))


def _standing_line(review: Review) -> list[str]:
    """What still stands at the end of the review; nothing where all is cut."""
    fields = int((review.standing > 0.0).sum())
    if not fields:
        return []
    return [
        ngettext(
            "{area} in {n} field still stand on {day}. They are in none of these losses; left "
            "uncut they would lose {loss}.",
            "{area} in {n} fields still stand on {day}. They are in none of these losses; left "
            "uncut they would lose {loss}.",
            fields,
            area=show_area(float(review.standing.sum()), review.observed.farm.units),
            day=day_name(review.days[-1]),
            loss=money(review, float(review.leave_cost.sum())),
        )
    ]


def split_lines(review: Review) -> list[tuple[str, str, str]]:
    """The loss by source: name, money, range."""
    return [
        (_(SOURCE_NAMES[s.source]), money(review, s.mean), spread(review, s.low, s.high))
        for s in review.split
    ]


def split_notes(review: Review) -> list[str]:
    """How to read the split of the loss."""
    least = money(review, math.floor(review.floor))
    out = [
        _(
            "By the models, nobody could have lost less than {least} on this grain, even knowing "
            "the weather.",
            least=least,
        )
    ]
    done = float(review.loss.sum(axis=1).mean())
    if done < review.floor:
        out.append(
            _(
                "The work as done lost less: crews cut faster, or in more hours, than the models "
                "allow."
            )
        )
    if review.counterfactual(AS_PLANNED) is None:
        out.append(
            _(
                "The book holds no issued plan, so the order of fields also holds what the "
                "forecasts did not tell."
            )
        )
    if any(s.mean < 0.0 for s in review.split):
        out.append(_("A loss below zero is a saving."))
    if any(s.mean < 0.0 for s in review.split if s.source is LossSource.NOT_EXPLAINED):
        out.append(
            _(
                "Where crews cut grain that the models hold too wet, a play at their moistures, "
                "hours and pace falls behind them; the part not explained takes that back."
            )
        )
    out.append(
        _(
            "From order to pace the work as done replaces the plan one part at a time, in the "
            "order listed; in another order the parts would differ. Where the book has no time "
            "at which a crew began a field, work counts as done in the last hours before its "
            "entry, at the machines' rates; there slow work shows as a late start and as short "
            "hours."
        )
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
            _(CAUSE_NAMES[c]),
            _hours(review.combine_hours[c]),
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
        "weather": _(CAUSE_NAMES[weather]) if review.area_days[i, weather] > 0 else "-",
        "loss": money(review, float(review.loss[:, i].mean())),
        "spread": spread(review, float(low), float(high)),
        **{_(name): money(review, float(review.parts[i, p])) for p, name in PART_NAMES.items()},
    }


def dates_text(review: Review, hours: NDArray[np.int64]) -> str:
    """Dates of the first and last of some hours of the season, '13-15 Aug'."""
    if not len(hours):
        return _("not cut")
    starts = [review.observed.index(d) for d in review.days]
    first, last = (
        review.days[int(np.searchsorted(starts, h, side="right")) - 1] for h in hours[[0, -1]]
    )
    if first == last:
        return short_date(first)
    if first.month == last.month:
        return _("{first}-{last} {month}", first=first.day, last=last.day, month=short_month(last))
    return f"{short_date(first)}-{short_date(last)}"


def lost_lines(review: Review) -> list[str]:
    """Days on which nothing was cut."""
    return [
        _(
            "{day}: {cause}, {hours} combine-hours",
            day=day_name(d.day),
            cause=_(CAUSE_NAMES[d.cause]),
            hours=_hours(d.hours),
        )
        for d in review.lost_days
    ]


def agreement_lines(review: Review) -> list[str]:
    """The models against samples and ground checks."""
    a, out = review.agreement, []
    if a.samples:
        fields = {"error": show_number(a.error, 1), "points": show_number(abs(a.bias), 1)}
        out.append(
            ngettext(
                "Grain: {n} sample; on weather alone the model missed by {error} points on "
                "average, and samples were {points} points wetter than the model.",
                "Grain: {n} samples; on weather alone the model missed by {error} points on "
                "average, and samples were {points} points wetter than the model.",
                a.samples,
                **fields,
            )
            if a.bias > 0
            else ngettext(
                "Grain: {n} sample; on weather alone the model missed by {error} points on "
                "average, and samples were {points} points drier than the model.",
                "Grain: {n} samples; on weather alone the model missed by {error} points on "
                "average, and samples were {points} points drier than the model.",
                a.samples,
                **fields,
            )
        )
    if a.checks:
        out.append(
            _(
                "Ground: {right} of {checks} checks found the model's class, {softer} found softer "
                "ground, {firmer} firmer.",
                right=a.right,
                checks=a.checks,
                softer=a.wetter,
                firmer=a.checks - a.right - a.wetter,
            )
        )
    return out or [
        _("No sample and no ground check in the book: nothing to compare the models with.")
    ]


def skill_rows(review: Review) -> list[tuple[str, ...]]:
    """Skill by lead: lead, chances, mean chance, observed share, Brier score, Brier skill."""
    return [
        (
            str(s.lead),
            str(s.count),
            percent(s.mean_chance),
            percent(s.observed_share),
            show_number(s.brier.score, 3),
            "-" if math.isnan(s.brier.skill) else signed_number(s.brier.skill, 2),
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
            return _("the plan expected nothing to be fit")
        case Deviation.LATER_ORDERS:
            return _("cut fields that the plan had for a later day")
        case Deviation.UNEXPLAINED:
            return _(NO_ENTRY)
        case Deviation.IDLE:
            assert day.cause is not None
            cause = _(
                "{cause} took {hours} h",
                cause=_(CAUSE_NAMES[day.cause]),
                hours=_hours(day.hours),
            )
            return cause if day.cause in WEATHER_CAUSES else f"{_(NO_ENTRY)}; {cause}"


def _entry_text(entry: Entry) -> str:
    """An entry and the reason it gives."""
    subject = one_line(entry.subject)
    match entry.kind:
        case "order":
            text = _("own order")
        case "absent":
            text = _("crew away")
        case "down":
            text = _("{machine} down", machine=subject)
        case _other:
            text = f"{subject} {_(entry.text('notice'))}"
    reason = entry.text("why") or entry.text("reason")
    return f"{text}: {reason}" if reason else text


def adherence_line(review: Review) -> str:
    """How many crew-days followed the orders."""
    if not review.adherence:
        return _("No issued plan in the book: nothing to compare.")
    same = sum(d.followed for d in review.adherence)
    return _(
        "{same} of {days} crew-days followed that morning's plan.",
        same=same,
        days=len(review.adherence),
    )


def review_terminal(review: Review) -> str:
    """The review for a terminal, `WIDTH` characters wide."""
    lines = [title(review), "=" * len(title(review))]
    for text in headline(review):
        lines += textwrap.wrap(text, WIDTH)
    lost = _("Lost days")
    lines += ["", lost, "-" * len(lost)]
    lines += lost_lines(review) or [_("none: every day saw cutting")]
    days = _("{unit}-days", unit=unit_name("area", review.observed.farm.units))
    lines += ["", _("Where the hours went")]
    lines += ruled_columns((_("cause"), _("combine-h"), _("share"), days), cause_rows(review))
    lines += ["", _("Ways to cut this season, in the observed weather")]
    lines += ruled_columns(
        (_("way"), _("loss"), _("over the best"), _("with the model's error")),
        [(name, loss, more, span) for name, loss, _low, more, span in counterfactual_rows(review)],
    )
    lines += ["", _("Sources of the loss")]
    lines += ruled_columns(
        (_("source"), _("loss"), _("with the model's error")), split_lines(review)
    )
    for text in split_notes(review):
        lines += textwrap.wrap(text, WIDTH)
    names = ("field", "area", "cut", "lost", "delay", "loss")
    rows = [tuple(r[n] for n in names) for r in field_rows(review)]
    lines += ["", _("Fields, highest loss per area first")]
    fields = (_("field"), _("area"), _("cut"), _("lost days"), days, _("loss"))
    lines += ruled_columns(fields, rows)
    lines += ["", _("Models and plans against observations")]
    for text in [*agreement_lines(review), adherence_line(review)]:
        lines += textwrap.wrap(text, WIDTH)
    for day, crew, ordered, cut, reason in adherence_rows(review):
        text = _(
            "{day}, {crew}: planned {ordered}; cut {cut}; {reason}",
            day=day,
            crew=crew_title(crew),
            ordered=ordered,
            cut=cut,
            reason=reason,
        )
        lines += textwrap.wrap(text, WIDTH, subsequent_indent="  ")
    return "\n".join(lines)
