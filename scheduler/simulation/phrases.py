"""Words and tables of rehearsals and what-ifs."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np

from scheduler.farm.model import Farm
from scheduler.farm.units import ACRE_HA, short_number, show_money, show_number, signed_number
from scheduler.farm.wording import percent, short_date
from scheduler.language.locale_formats import short_month
from scheduler.language.translation import N_, _
from scheduler.planning.dispatch_rules import RULE_STARTS
from scheduler.simulation.alterations import Alteration
from scheduler.simulation.columns import columns
from scheduler.simulation.season_results import FixedRule, RehearsalSummary
from scheduler.simulation.whatif import SeasonOutcome, WhatIf, completion
from scheduler.simulation.workable_days import HalfMonth, chance_of_days, half_months
from scheduler.windows.daily_hours import HOLLOW

#: Shares of years for which the date of completion is printed.
COMPLETION_SHARES = (0.5, 0.8, 0.9)
#: Caveat of every simulation of past seasons.
CAVEAT = N_(
    "Soil and grain are taken as the model has them; forecasts are emulated, not archived. "
    "What is measured is the decision."
)


def rehearsal_lines(summary: RehearsalSummary, farm: Farm) -> list[str]:
    """Lines of a rehearsal: every season, mean losses of the rules, headline figures."""
    rule = summary.best_rule
    head = [
        _("station"),
        _("year"),
        _("planner"),
        _("perfect forecast"),
        _("rule"),
        _("planner against rule"),
    ]
    rows = [
        [
            s.station,
            str(s.year),
            *(_money(v, farm) for v in (s.planner.loss, s.perfect.loss, s.rules[rule])),
            f"{signed_number(100.0 * (s.planner.loss / s.rules[rule] - 1.0), 1)} %",
        ]
        for s in summary.seasons
    ]
    names = sorted({name for name, _start in summary.seasons[0].rules})
    by_rule = [[_("rule, with its best start moisture"), _("mean loss")]]
    for name in names:
        means = {
            r: float(np.mean([s.rules[r] for s in summary.seasons]))
            for r in summary.seasons[0].rules
            if r[0] == name
        }
        best = min(means, key=lambda r: means[r])
        by_rule.append([rule_text(best), _money(means[best], farm)])
    mean, low, high = summary.saving
    if np.isfinite(low):
        saving = _(
            "The planner loses {mean} less on average ({share}); with 90 % confidence between "
            "{low} and {high}.",
            mean=_money(mean, farm),
            share=_percent(mean / summary.rule_loss),
            low=_money(low, farm),
            high=_money(high, farm),
        )
    else:
        saving = _(
            "The planner loses {mean} less on average ({share}); one season gives no confidence.",
            mean=_money(mean, farm),
            share=_percent(mean / summary.rule_loss),
        )
    lines = [
        _("Money lost in the observed weather").upper(),
        *columns([head, *rows]),
        "",
        *columns(by_rule),
        "",
        _(
            "The yardstick is {rule}, in all seasons: the best of {n} fixed rules in hindsight.",
            rule=rule_text(rule),
            n=len(summary.seasons[0].rules),
        ),
        saving,
        _(
            "It loses less in {lower} of {n} seasons; in its worst season it loses {excess} "
            "against the rule.",
            lower=summary.lower,
            n=len(summary.seasons),
            excess=f"{signed_number(100.0 * summary.worst_excess, 1)} %",
        ),
    ]
    if summary.share is not None:
        lines.append(
            _(
                "It saves {share} of what a perfect forecast every morning would save.",
                share=percent(summary.share),
            )
        )
    lines.append(
        _(
            "In the median season a perfect forecast loses {share} more than the floor, below "
            "which nobody comes who knows all the weather; the floor lets a crew split.",
            share=percent(summary.perfect_over_floor),
        )
    )
    lines.append(
        _(
            "Its crews stand at a shut field, while another can be cut, for {share} of the hours "
            "in which they cut.",
            share=_percent(summary.waiting_share),
        )
    )
    return [*lines, _(CAVEAT)]


def rule_text(rule: FixedRule) -> str:
    """A rule and its start moisture in words."""
    name, start = rule
    if start >= RULE_STARTS[-1]:
        return _("{rule}, once threshable", rule=_(name))
    return _("{rule}, from {moisture} %", rule=_(name), moisture=short_number(start))


def whatif_lines(
    result: WhatIf,
    farm: Farm,
    *,
    yearly_cost: float = 0.0,
    capacity_price: float | None = None,
    own_share: float = 0.16,
    labour_hour: float = 25.0,
) -> list[str]:
    """Lines of a what-if: seasons, completion, value of the change, closed form, workable days."""
    head = [
        _("station"),
        _("year"),
        _("lost now"),
        _("done"),
        _("lost then"),
        _("done"),
        _("saved"),
    ]
    rows = [
        [
            b.station,
            str(b.year),
            _money(b.loss, farm),
            _day(b.done),
            _money(c.loss, farm),
            _day(c.done),
            _money(b.loss - c.loss, farm),
        ]
        for b, c in zip(result.base, result.changed, strict=True)
    ]
    title = _("WHAT IF: {change}", change=alteration_text(result.change))
    lines = [title, *columns([head, *rows]), ""]
    lines += _completion(result)
    lines += _value(result, farm, yearly_cost)
    lines += _closed_form(result, farm)
    if capacity_price is not None:
        lines += _least_cost(result, farm, capacity_price, own_share, labour_hour)
    return [*lines, *workability_lines(result.base), "", _(CAVEAT)]


def alteration_text(change: Alteration) -> str:
    """An alteration in words."""
    parts = [_("one more combine like {machine}", machine=m) for m in change.combines]
    parts += [_("one more cart like {machine}", machine=m) for m in change.carts]
    parts += [_("one more truck like {machine}", machine=m) for m in change.trucks]
    if change.hours:
        parts.append(_("days longer by {hours} h", hours=short_number(change.hours)))
    if change.dryer:
        parts.append(_("a dryer"))
    if change.moisture:
        points = signed_number(change.moisture, 1)
        parts.append(_("cutting from {points} points moisture", points=points))
    if change.tile:
        parts.append(_("tile in {fields}", fields=", ".join(change.tile)))
    return ", ".join(parts) or _("no change")


def _completion(result: WhatIf) -> list[str]:
    """Dates by which harvest is over."""
    out = []
    for share in COMPLETION_SHARES:
        now, then = (_month_day(completion(o, share)) for o in (result.base, result.changed))
        out.append(
            _(
                "Harvest over in {share} of years: now by {now}, then by {then}.",
                share=percent(share),
                now=now,
                then=then,
            )
        )
    return out


def _value(result: WhatIf, farm: Farm, yearly_cost: float) -> list[str]:
    """What the change saves a year, before and after its cost."""
    values = np.array(result.values)
    low, high = (_money(float(q), farm) for q in np.quantile(values, (0.1, 0.9)))
    lines = [
        _(
            "The change saves {mean} a year on average, from {low} to {high} in eight years of "
            "ten.",
            mean=_money(float(values.mean()), farm),
            low=low,
            high=high,
        )
    ]
    if yearly_cost:
        net = float(values.mean()) - yearly_cost
        lines.append(
            _(
                "After its {cost} a year: {net}; it pays in {share} of the years.",
                cost=_money(yearly_cost, farm),
                net=_money(net, farm),
                share=percent(float((values > yearly_cost).mean())),
            )
        )
    return lines


def _closed_form(result: WhatIf, farm: Farm) -> list[str]:
    """The timeliness cost by the closed form, and why the simulated loss differs."""
    costs = []
    for outcomes in (result.base, result.changed):
        known = [o for o in outcomes if np.isfinite(o.closed_form)]
        costs.append(float(np.mean([o.closed_form for o in known])) if known else np.nan)
    return [
        _(
            "By the closed form ({formula}, shatter alone, each season's own hours and working "
            "days): {now} a year now, {then} then, so {saved} saved. The seasons played also hold "
            "what moisture, wetting, sprouting, haul and moves cost.",
            formula="K A² Y V / (2 G C pwd)",
            now=_money(costs[0], farm),
            then=_money(costs[1], farm),
            saved=_money(costs[0] - costs[1], farm),
        )
    ]


def _least_cost(
    result: WhatIf, farm: Farm, price: float, own_share: float, labour_hour: float
) -> list[str]:
    unit, name = (ACRE_HA, "ac/h") if farm.units == "us" else (1.0, "ha/h")
    known = [o.timeliness for o in result.base if np.isfinite(o.closed_form)]
    best = [
        f.least_cost(own_share=own_share, price=price / unit, labour_hour=labour_hour) / unit
        for f in known
    ]
    now = float(np.mean([f.capacity for f in known])) / unit if known else np.nan
    if not best:
        return [_("Least-cost capacity: no season with a working day.")]
    return [
        _(
            "Least-cost capacity by the closed form: {best} {unit}; the farm has {now}.",
            best=show_number(float(np.mean(best)), 1),
            unit=name,
            now=show_number(now, 1),
        )
    ]


def _half_of_a_fortnight(m: HalfMonth) -> str:
    """Chance of seven workable days in fourteen; a negative persistence counts as chance."""
    if np.isnan(m.persistence):
        return "-"
    chance = chance_of_days(7, 14, share=m.share, persistence=max(m.persistence, 0.0))
    return percent(chance)


def workability_lines(outcomes: Sequence[SeasonOutcome]) -> list[str]:
    """Lines on the workable days of each field by half-month, and their persistence."""
    names: dict[str, int] = {}
    for i, name in enumerate(outcomes[0].fields):
        field, _slash, part = name.partition("/")
        names.setdefault(f"{field} {_(part)}" if part == HOLLOW else field, i)
    months = half_months((o.workable for o in outcomes), names)
    head = [
        _("field"),
        _("half-month"),
        _("workable"),
        _("carries over"),
        _("7 of 14"),
        _("days"),
    ]
    rows = [
        [
            m.field,
            f"{short_month(date(2001, m.month, 1))} {'1-15' if m.half == 1 else '16-'}",
            percent(m.share),
            "-" if np.isnan(m.persistence) else show_number(m.persistence, 2),
            _half_of_a_fortnight(m),
            str(m.days),
        ]
        for m in months
    ]
    return [
        "",
        _("Workable days").upper(),
        _("Carries over: chance after a workable day less chance after another."),
        _("7 of 14: chance of a week's work in a fortnight."),
        *columns([head, *rows]),
    ]


def _percent(share: float) -> str:
    """A share to a tenth of a percent."""
    return f"{show_number(100.0 * share, 1)} %"


def _money(value: float, farm: Farm) -> str:
    return show_money(value, farm.currency)


def _day(when: date | None) -> str:
    return _("not done") if when is None else short_date(when)


def _month_day(when: tuple[int, int] | None) -> str:
    return _("no date") if when is None else _day(date(2001, *when))
