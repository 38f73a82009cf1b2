"""Words and tables of rehearsals and what-ifs."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np

from scheduler.farm.model import Farm
from scheduler.farm.units import ACRE_HA, show_money
from scheduler.planning.dispatch_rules import RULE_STARTS
from scheduler.simulation.alterations import Alteration
from scheduler.simulation.columns import columns
from scheduler.simulation.season_results import FixedRule, RehearsalSummary
from scheduler.simulation.whatif import SeasonOutcome, WhatIf, completion
from scheduler.simulation.workable_days import HalfMonth, chance_of_days, half_months

#: Shares of years for which the date of completion is printed.
COMPLETION_SHARES = (0.5, 0.8, 0.9)
#: Caveat of every simulation of past seasons.
CAVEAT = (
    "Soil and grain are taken as the model has them; forecasts are emulated, not archived. "
    "What is measured is the decision."
)


def rehearsal_lines(summary: RehearsalSummary, farm: Farm) -> list[str]:
    """Lines of a rehearsal: every season, mean losses of the rules, headline figures."""
    rule = summary.best_rule
    head = ["station", "year", "planner", "perfect forecast", "rule", "planner against rule"]
    rows = [
        [
            s.station,
            str(s.year),
            *(_money(v, farm) for v in (s.planner.loss, s.perfect.loss, s.rules[rule])),
            f"{100.0 * (s.planner.loss / s.rules[rule] - 1.0):+.1f} %",
        ]
        for s in summary.seasons
    ]
    names = sorted({name for name, _ in summary.seasons[0].rules})
    by_rule = [["rule, with its best start moisture", "mean loss"]]
    for name in names:
        means = {
            r: float(np.mean([s.rules[r] for s in summary.seasons]))
            for r in summary.seasons[0].rules
            if r[0] == name
        }
        best = min(means, key=lambda r: means[r])
        by_rule.append([rule_text(best), _money(means[best], farm)])
    mean, low, high = summary.saving
    lines = [
        "MONEY LOST IN THE OBSERVED WEATHER",
        *columns([head, *rows]),
        "",
        *columns(by_rule),
        "",
        f"The yardstick is {rule_text(rule)}, in all seasons: the best of "
        f"{len(summary.seasons[0].rules)} fixed rules in hindsight.",
        f"The planner loses {_money(mean, farm)} less on average "
        f"({100.0 * mean / summary.rule_loss:.1f} %)"
        + (
            f"; with 90 % confidence between {_money(low, farm)} and {_money(high, farm)}."
            if np.isfinite(low)
            else "; one season gives no confidence."
        ),
        f"It loses less in {summary.lower} of {len(summary.seasons)} seasons; in its worst season "
        f"it loses {100.0 * summary.worst_excess:+.1f} % against the rule.",
    ]
    if summary.share is not None:
        lines.append(
            f"It saves {100.0 * summary.share:.0f} % of what a perfect forecast every morning "
            "would save."
        )
    lines.append(
        "Its crews stand at a shut field, while another can be cut, for "
        f"{100.0 * summary.waiting_share:.1f} % of the hours in which they cut."
    )
    return [*lines, CAVEAT]


def rule_text(rule: FixedRule) -> str:
    """A rule and its start moisture in words."""
    name, start = rule
    if start >= RULE_STARTS[-1]:
        return f"{name}, as soon as it threshes"
    return f"{name}, from {start:g} %"


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
    head = ["station", "year", "lost now", "done", "lost then", "done", "saved"]
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
    lines = [f"WHAT IF: {alteration_text(result.change)}", *columns([head, *rows]), ""]
    lines += _completion(result)
    lines += _value(result, farm, yearly_cost)
    lines += _closed_form(result, farm)
    if capacity_price is not None:
        lines += _least_cost(result, farm, capacity_price, own_share, labour_hour)
    return [*lines, *workability_lines(result.base), "", CAVEAT]


def alteration_text(change: Alteration) -> str:
    """An alteration in words."""
    machines = (("combine", change.combines), ("cart", change.carts), ("truck", change.trucks))
    parts = [f"one more {kind} like {name}" for kind, names in machines for name in names]
    parts += [f"{change.hours:g} h longer days"] if change.hours else []
    parts += ["a dryer"] if change.dryer else []
    parts += [f"cutting from {change.moisture:+g} points moisture"] if change.moisture else []
    parts += [f"tile in {', '.join(change.tile)}"] if change.tile else []
    return ", ".join(parts) or "no change"


def _completion(result: WhatIf) -> list[str]:
    """Dates by which harvest is over."""
    out = []
    for share in COMPLETION_SHARES:
        now, then = (_month_day(completion(o, share)) for o in (result.base, result.changed))
        out.append(f"Harvest over in {100 * share:.0f} % of years: now by {now}, then by {then}.")
    return out


def _value(result: WhatIf, farm: Farm, yearly_cost: float) -> list[str]:
    """What the change saves a year, before and after its cost."""
    values = np.array(result.values)
    low, high = (_money(float(q), farm) for q in np.quantile(values, (0.1, 0.9)))
    lines = [
        f"The change saves {_money(float(values.mean()), farm)} a year on average, from {low} to "
        f"{high} in eight years of ten."
    ]
    if yearly_cost:
        net = float(values.mean()) - yearly_cost
        lines.append(
            f"After its {_money(yearly_cost, farm)} a year: {_money(net, farm)}; it pays in "
            f"{100 * float((values > yearly_cost).mean()):.0f} % of the years."
        )
    return lines


def _closed_form(result: WhatIf, farm: Farm) -> list[str]:
    """The timeliness cost by the closed form, and why the simulated loss differs."""
    costs = []
    for outcomes in (result.base, result.changed):
        known = [o for o in outcomes if np.isfinite(o.closed_form)]
        costs.append(float(np.mean([o.closed_form for o in known])) if known else np.nan)
    return [
        f"By the closed form (K A² Y V / (2 G C pwd), shatter alone, each season's own hours and "
        f"working days): {_money(costs[0], farm)} a year now, {_money(costs[1], farm)} then, so "
        f"{_money(costs[0] - costs[1], farm)} saved. The seasons played also hold what moisture, "
        "wetting, sprouting, haul and moves cost."
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
    return [
        f"Least-cost capacity by the closed form: {np.mean(best):.1f} {name}; the farm has "
        f"{now:.1f}."
        if best
        else "Least-cost capacity: no season with a working day."
    ]


def _half_of_a_fortnight(m: HalfMonth) -> str:
    """Chance of seven workable days in fourteen; a negative persistence counts as chance."""
    if np.isnan(m.persistence):
        return "-"
    chance = chance_of_days(7, 14, share=m.share, persistence=max(m.persistence, 0.0))
    return f"{100 * chance:.0f} %"


def workability_lines(outcomes: Sequence[SeasonOutcome]) -> list[str]:
    """Lines on the workable days of each field by half-month, and their persistence."""
    names: dict[str, int] = {}
    for i, name in enumerate(outcomes[0].fields):
        field, _, part = name.partition("/")
        names.setdefault(f"{field} {part}" if part == "wet hollow" else field, i)
    months = half_months((o.workable for o in outcomes), names)
    head = ["field", "half-month", "workable", "carries over", "7 of 14", "days"]
    rows = [
        [
            m.field,
            f"{date(2001, m.month, 1):%b} {'1-15' if m.half == 1 else '16-'}",
            f"{100 * m.share:.0f} %",
            "-" if np.isnan(m.persistence) else f"{m.persistence:.2f}",
            _half_of_a_fortnight(m),
            str(m.days),
        ]
        for m in months
    ]
    return [
        "",
        "WORKABLE DAYS (carries over: chance after a workable day less chance after another;",
        "7 of 14: chance of a week's work in a fortnight)",
        *columns([head, *rows]),
    ]


def _money(value: float, farm: Farm) -> str:
    return show_money(value, farm.currency)


def _day(when: date | None) -> str:
    return "not done" if when is None else f"{when:%b} {when.day}"


def _month_day(when: tuple[int, int] | None) -> str:
    return "no date" if when is None else _day(date(2001, *when))
