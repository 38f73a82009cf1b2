"""The plan's money: lost already, still at stake, lost by the plan, and lost by other ways."""

from __future__ import annotations

import numpy as np

from readiness.season.simulate import Season
from scheduler.costs.grain_value import loss_terms
from scheduler.costs.loss_parts import LossPart, parts_ha
from scheduler.costs.standing_loss import crop_state
from scheduler.explanation.timing import first_hour
from scheduler.farm.model import Farm
from scheduler.orders.decision import Decision, difference
from scheduler.orders.model import UNCUT, Leaving, MoneyAtStake, RuleComparison
from scheduler.solver.floor import floor

#: Members whose floor is computed, evenly spaced through the ensemble, and the gap, as a share, at
#: which each stops; assumed, so that the floor takes about a second for 26 fields.
FLOOR_MEMBERS, FLOOR_GAP = 5, 0.01
#: Fields times crews up to which the floor is computed; assumed, because the floor of 400 fields
#: and 8 crews takes more than ten minutes, and their whole plan without it less than five.
FLOOR_MOST = 1000


def money_at_stake(decision: Decision, season: Season, *, with_floor: bool) -> MoneyAtStake:
    """The money of a decision; the floor is left out on request, because it takes time."""
    loss, members = decision.outcome.loss, decision.judged
    tables = decision.work.tables
    already = float(decision.work.standing_loss.already_lost.sum())
    rules = []
    for rule in sorted(decision.rules, key=lambda r: float(r.loss[members].mean())):
        more = decision.beats(rule)
        rules.append(
            RuleComparison(
                name=rule.name,
                start_pct=rule.start_pct,
                loss=float(rule.loss[members].mean()),
                more=more.mean,
                error=more.error,
            )
        )
    expected = difference(loss[members], np.zeros(len(members)))
    held, apart = decision.held_cost, decision.searches_apart
    small = tables.shape[1] * tables.shape[2] <= FLOOR_MOST
    return MoneyAtStake(
        already_lost=already,
        at_stake=float(tables.leave_cost.sum()) - already,
        loss=expected.mean,
        loss_error=expected.error,
        member_loss=tuple(loss.tolist()),
        rules=tuple(rules),
        floor=expected.mean - _saved_by_foresight(decision) if with_floor and small else None,
        held_cost=None if held is None else held.mean,
        held_error=None if held is None else held.error,
        judged=len(members),
        unseen=bool(decision.unseen),
        stay_checked=decision.stay_checked,
        searches_apart=None if apart is None else abs(apart.mean),
        searches_error=None if apart is None else apart.error,
        leaving=leaving(decision.work.farm),
        parts=loss_by_part(decision, season),
    )


def loss_by_part(decision: Decision, season: Season) -> tuple[tuple[str, float], ...]:
    """The plan's expected loss by part; see `MoneyAtStake.parts`."""
    work, outcome, members = decision.work, decision.outcome, decision.judged
    standing_loss, tables = work.standing_loss, work.tables
    first = first_hour(work, season)
    cuts = outcome.cuts.at(np.isin(outcome.cuts.member, members))
    parts = dict.fromkeys(LossPart, 0.0)
    for j, q in sorted(set(zip(cuts.job.tolist(), cuts.point.tolist(), strict=True))):
        of = cuts.at((cuts.job == j) & (cuts.point == q))
        field, at = work.field(j), standing_loss.hour[of.slot]
        state = crop_state(work.farm, field, season, work.jobs[j].row, first)
        when = of.member, at
        stand = state.moisture[when], state.wettings[when], state.sprout[when]
        terms, market = loss_terms(work.farm, field), work.farm.points[q].markets[field.crop]
        before = state.sprout[of.member, 0]
        found = parts_ha(field, market, stand, state.ripe_days[at], terms, before)
        for part, money in found.items():
            parts[part] += float(money @ of.area) / len(members)
        ruts = terms["rut_ha"] * tables.edge[of.member, of.slot, j]
        parts[LossPart.RUTS] += float(ruts @ of.area) / len(members)
    left = outcome.state.left[members] @ (tables.leave_cost / tables.area)
    total, uncut = float(outcome.loss[members].mean()), float(left.mean())
    parts[LossPart.OTHER] = total - uncut - sum(parts.values())
    named = {part.name.lower(): money for part, money in parts.items()}
    return tuple({**named, UNCUT: uncut}.items())


def leaving(farm: Farm) -> tuple[Leaving, ...]:
    """What leaving a field assumes, by crops that share it."""
    by_terms: dict[tuple[float, float], list[str]] = {}
    for field in {f.crop: f for f in farm.fields}.values():
        terms = loss_terms(farm, field)
        by_terms.setdefault((terms["leave_days"], terms["leave_share"]), []).append(field.crop)
    return tuple(
        Leaving(crops=tuple(crops), days=days, share=share)
        for (days, share), crops in by_terms.items()
    )


def _saved_by_foresight(decision: Decision) -> float:
    """Expected loss of the plan above that of whoever knew the weather, money."""
    count = len(decision.outcome.loss)
    members = np.unique(np.linspace(0, count - 1, FLOOR_MEMBERS).astype(int))
    bound = floor(decision.work.tables, members=members, gap=FLOOR_GAP).bound
    return float(np.maximum(decision.outcome.loss[members] - bound, 0.0).mean())
