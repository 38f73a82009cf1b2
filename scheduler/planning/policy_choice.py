"""The decision of a morning: make-up and policy, searched on some members and checked on others."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property

import numpy as np

from scheduler.costs.standing_loss import StandingLoss
from scheduler.errors import NoPlanError, NothingToCutError
from scheduler.explanation.own_order import jobs_named
from scheduler.farm.model import Farm
from scheduler.farm.slots import farm_time
from scheduler.field_work.play import play
from scheduler.field_work.policy import Orders, Policy
from scheduler.field_work.tables import WorkTables
from scheduler.language.translation import _
from scheduler.orders.decision import Decision, Difference, MakeUpLoss, RuleLoss, difference
from scheduler.planning.dispatch_rules import (
    RULE_STARTS,
    best_rules,
    lists_of,
    starting_lists,
    with_locked_first,
)
from scheduler.planning.previous_plan import (
    PreviousPlan,
    first_jobs,
    job_names,
    machine_ids,
    previous_policy,
)
from scheduler.planning.stages import PlanStage
from scheduler.solver.check import violations
from scheduler.solver.policy_search import Evaluator, Found, search
from scheduler.solver.settings import DEFAULTS
from scheduler.solver.stages import Progress, ignore_progress
from scheduler.work_tables.compile import FarmWork, compile_work
from scheduler.work_tables.crew_makeup import MakeUp, every_makeup, makeups, unmanned_makeup
from scheduler.work_tables.farm_check import farm_violations

#: Members that rank the make-ups, spread over those searched on; assumed, so that sixteen make-ups
#: take less time than the search.
MAKEUP_MEMBERS = 7
#: Make-ups searched after all are played by rules, and policies that each short search tries;
#: assumed.
FINALISTS, SHORT_ITERATIONS = 4, 200
#: One member in so many takes no part in any search: these members compare the plan with
#: yesterday's and with the rules; fewer members than
#: `LEAST_CHECKED` are all searched on, because a choice among them says nothing of others.
CHECK_EVERY, LEAST_CHECKED = 3, 6
#: Start moistures that make-ups and searches begin from, percent; assumed, a quick choice of
#: `RULE_STARTS`.
QUICK_STARTS = (14.5, 16.0, 18.0, 40.0)


@dataclass(frozen=True, kw_only=True)
class Effort:
    """Work of a decision: policies tried by each search; 0 plays the start policies alone."""

    iterations: int = DEFAULTS.iterations
    makeup_iterations: int = SHORT_ITERATIONS

    def times(self, factor: float) -> Effort:
        """So many times the work."""
        return Effort(
            iterations=round(factor * self.iterations),
            makeup_iterations=round(factor * self.makeup_iterations),
        )


#: The usual effort; a quick one, and one for a page that waits a few seconds.
NORMAL = Effort()
FAST = Effort(iterations=400, makeup_iterations=60)
SWIFT = Effort(iterations=150, makeup_iterations=20)


@dataclass(frozen=True, kw_only=True)
class Situation:
    """What a decision rests on besides the season.

    Attributes
    ----------
    now : aware planning time.
    places : where each crew stands, a field's id, by crew; crews not named stand at the base.
    locked : fields that the farmer holds at the head of a crew's order, by crew.
    previous : the previous plan; None where there is none.
    """

    now: datetime
    places: Mapping[str, str]
    locked: Mapping[str, Sequence[str]]
    previous: PreviousPlan | None

    def holds_in(self, makeup: MakeUp) -> bool:
        """Whether a make-up has every crew whose orders the farmer holds."""
        return {crew for crew, fields in self.locked.items() if fields} <= {m.crew for m in makeup}


def checked_members(members: int) -> tuple[list[int], list[int]]:
    """Members to search on, and members to check on; all and none where there are few."""
    if members < LEAST_CHECKED:
        return list(range(members)), []
    check = list(range(CHECK_EVERY - 1, members, CHECK_EVERY))
    return [m for m in range(members) if m not in set(check)], check


def decide(
    standing_loss: StandingLoss,
    situation: Situation,
    *,
    seed: int,
    effort: Effort = NORMAL,
    progress: Progress = ignore_progress,
) -> Decision:
    """Choose make-up and policy of a morning.

    Make-ups are ranked by rules and short searches on few members. The best is searched on two
    members in three, from the dispatching rules and the previous plan. The other members compare
    the result with the best plan that keeps yesterday's crews and first fields, or, where there is
    no previous plan, the crews of the farm file. These stay unless the change saves more than its
    price, and the saving is real.

    Raises
    ------
    NoPlanError
        Where no crew has a combine within the days planned, or none can cut anything.
    """
    progress(PlanStage.MAKEUPS, 0.15)
    makeups_ranked = rank_makeups(standing_loss, situation, seed=seed, effort=effort)
    progress(PlanStage.SEARCH, 0.3)
    choice = _Choice.of(standing_loss, situation, makeups_ranked[0].makeup, seed=seed)
    found, second = choice.two_plans(effort.iterations)
    apart = choice.compare(second, found, choice)
    new_choice, free = choice, None
    if any(choice.locked):
        free = choice.without_held().search(effort.iterations // 2, [found])
    progress(PlanStage.CHECK, 0.6)
    if (kept_choice := choice.staying(standing_loss)) is not None:
        kept = kept_choice.kept(effort.iterations)
        changes = choice.changes_from(found, kept_choice, kept)
        saving = kept_choice.compare(kept, found, choice)
        price = changes * standing_loss.farm.rules.change_price
        # one standard error in place of two made no clear difference in rehearsals, and swapped
        # machines for a sample that said what the model said
        if saving.mean <= price or not saving.real:
            choice, found = kept_choice, kept
    held_cost = None if free is None else choice.compare(found, free, new_choice)
    decision = choice.decision(found, makeups_ranked)
    return replace(
        decision,
        held_cost=held_cost,
        searches_apart=apart,
        stay_checked=kept_choice is not None and bool(choice.members[1]),
    )


@dataclass(frozen=True, kw_only=True)
class _Choice:
    """The choice of a policy for one make-up."""

    work: FarmWork
    situation: Situation
    locked: Orders
    seed: int

    @staticmethod
    def of(
        standing_loss: StandingLoss, situation: Situation, makeup: MakeUp, *, seed: int
    ) -> _Choice:
        """The choice with the farmer's own orders held."""
        work = compile_makeup(standing_loss, situation, makeup)
        tables = work.tables
        crops = {work.field(j).crop for j in range(len(work.jobs))}
        buyers = [q for q, p in enumerate(work.farm.points) if crops & p.markets.keys()]
        if buyers and (tables.room[buyers] <= 0.0).all():
            raise NoPlanError(
                _(
                    "no crew can cut anything: every delivery point that takes the grain is full; "
                    "raise its room in farm.toml, or add a [[point]]"
                )
            )
        if (tables.point < 0).all() or not np.isfinite(tables.wet).any():
            raise NothingToCutError(
                _(
                    "no crew can cut anything within the days planned; see `afterrain ready` for "
                    "what closes the hours, plan more days, or raise a limit or a delivery point's "
                    "room in farm.toml"
                )
            )
        locked = locked_jobs(work, situation)
        return _Choice(work=work, situation=situation, locked=locked, seed=seed)

    @property
    def objective(self) -> str:
        """Objective of the farm."""
        return self.work.farm.rules.objective

    @cached_property
    def held(self) -> list[int]:
        """Jobs that the farmer holds; crews begin them as soon as they thresh."""
        return [j for row in locked_jobs(self.work, self.situation) for j in row]

    @property
    def members(self) -> tuple[list[int], list[int]]:
        """Members to search on, and members to check on."""
        return checked_members(self.work.tables.shape[0])

    @cached_property
    def searched(self) -> Evaluator:
        """Plays policies on the members to search on."""
        return Evaluator(self.work.tables.of_members(self.members[0]))

    @cached_property
    def unseen(self) -> Evaluator | None:
        """Plays policies on the members to check on; None where there are none."""
        members = self.members[1]
        return Evaluator(self.work.tables.of_members(members)) if members else None

    def starts(self, evaluator: Evaluator) -> list[Policy]:
        """Policies to start from: every rule, the lists that come of it, and the previous plan."""
        work, weight = self.work, evaluator.tables.weight
        starts = []
        rules = best_rules(work, evaluator, objective=self.objective, starts=QUICK_STARTS)
        for _start, rule in rules.values():
            outcome = play(evaluator.tables, rule.policy, log=True)
            orders = lists_of(outcome, weight)
            starts.append(starting_lists(work, rule.policy, orders, locked=self.locked))
            starts.append(with_locked_first(rule.policy, self.locked))
        if self.situation.previous is not None:
            base = min(starts, key=lambda p: float(weight @ evaluator.loss(p)))
            previous = previous_policy(work, self.situation.previous, base, locked=self.locked)
            starts.append(previous)
        return [self._with_held_open(policy) for policy in starts]

    def _with_held_open(self, policy: Policy) -> Policy:
        """The policy with no start moisture for the jobs that the farmer holds."""
        start = policy.start.copy()
        start[:, self.held] = RULE_STARTS[-1]
        return replace(policy, start=start)

    def search(self, iterations: int, also: Sequence[Policy] = ()) -> Policy:
        """The policy of least loss found on the members to search on.

        `also` are policies to start from besides those of `starts`.
        """
        starts = [*self.starts(self.searched), *also]
        return self.found(self.searched.tables, starts, iterations)[0].policy

    def two_plans(self, iterations: int) -> tuple[Policy, Policy]:
        """What two separate searches find, the one of less loss first."""
        starts = self.starts(self.searched)
        first, second = self.found(self.searched.tables, starts, iterations)
        return first.policy, second.policy

    def found(
        self,
        tables: WorkTables,
        starts: Sequence[Policy],
        iterations: int,
        *,
        simplify: bool = True,
    ) -> list[Found]:
        """What two searches on some members find, the best first."""
        return search(
            tables,
            starts,
            seed=self.seed,
            locked=self.locked,
            held=self.held,
            objective=self.objective,
            iterations=iterations,
            simplify=simplify,
        )

    def without_held(self) -> _Choice:
        """The choice without the farmer's own orders."""
        situation = replace(self.situation, locked={})
        return replace(self, situation=situation, locked=((),) * len(self.locked))

    def compare(self, mine: Policy, other: Policy, choice: _Choice) -> Difference:
        """What policy `mine` loses more than `other` of another choice, on unseen members."""
        a, b = ((c.unseen or c.searched).loss(p) for c, p in ((self, mine), (choice, other)))
        return difference(a, b)

    def staying(self, standing_loss: StandingLoss) -> _Choice | None:
        """The choice that keeps yesterday's crews, where it can, and each crew's next field.

        Where there is no previous plan, it keeps the crews of the farm file; None where this
        choice does.
        """
        previous, makeup = self.situation.previous, _makeup_as_known(standing_loss, self.situation)
        if makeup is None or makeup == self.work.makeup:
            kept = self
        else:
            kept = _Choice.of(standing_loss, self.situation, makeup, seed=self.seed)
        if previous is None:
            return None if kept is self else kept
        names = {name: j for j, name in enumerate(job_names(kept.work))}
        held = {j for row in kept.locked for j in row}
        rows = []
        for machines, row in zip(kept.work.makeup, kept.locked, strict=True):
            first = names.get(previous.first.get(machines.crew, ("", "")))
            rows.append(row or (() if first is None or first in held else (first,)))
            held.update(rows[-1])
        return replace(kept, locked=tuple(rows))

    def kept(self, iterations: int) -> Policy:
        """The policy that a choice of `staying` is compared by.

        The previous plan as it was, but for the locked jobs, where no search finds a better one.
        """
        if self.situation.previous is None:
            return self.search(iterations)
        kept = self.search(iterations // 2)
        locked = locked_jobs(self.work, self.situation)
        previous = self._with_held_open(
            previous_policy(self.work, self.situation.previous, kept, locked=locked)
        )
        return min((previous, kept), key=lambda p: self.searched.value(p, objective=self.objective))

    def changes_from(self, mine: Policy, kept: _Choice, policy: Policy) -> int:
        """Machines that change crews, and crews whose first field of yesterday changes."""
        crew_of = machine_ids(kept.work.makeup)
        mine_of = machine_ids(self.work.makeup)
        moved = sum(crew_of.get(m) != crew for m, crew in mine_of.items())
        if self.situation.previous is None:
            return moved
        old, new = (
            first_jobs(c.work, play(c.work.tables, p, log=True))
            for c, p in ((kept, policy), (self, mine))
        )
        return moved + sum(new.get(crew) != job for crew, job in old.items())

    def decision(self, policy: Policy, makeups_ranked: Sequence[MakeUpLoss]) -> Decision:
        """The decision for a policy."""
        searched, unseen = self.members
        rules = best_rules(self.work, self.searched, objective=self.objective)
        everywhere = Evaluator(self.work.tables)
        own = locked_jobs(self.work, self.situation)
        outcome = play(self.work.tables, policy, log=True)
        wrong = violations(self.work.tables, policy, outcome, locked=own)
        wrong += farm_violations(self.work, outcome)
        if wrong:
            raise AssertionError("\n".join(["the plan breaks its tables:", *wrong]))
        return Decision(
            work=self.work,
            policy=policy,
            outcome=outcome,
            locked=own,
            searched=tuple(searched),
            unseen=tuple(unseen),
            makeups=tuple(makeups_ranked),
            rules=tuple(
                RuleLoss(
                    name=name, start_pct=start, policy=f.policy, loss=everywhere.loss(f.policy)
                )
                for name, (start, f) in rules.items()
            ),
        )


def rank_makeups(
    standing_loss: StandingLoss, situation: Situation, *, seed: int, effort: Effort = NORMAL
) -> list[MakeUpLoss]:
    """Rank the make-ups of the morning on few members: all by rules, the best by short searches.

    A machine that changes crew, against the previous plan or else the farm file, costs
    `rules.change_price`. A make-up without a crew whose orders the farmer holds is no option.

    Raises
    ------
    NoPlanError
        Where no crew has a combine within the days planned.
    """
    farm = standing_loss.farm
    until = farm_time(standing_loss.slots[-1], farm.tz)
    options = [m for m in makeups(farm, situation.now, until) if m]
    options = [m for m in options if situation.holds_in(m)] or options[:1]
    if not options and unmanned_makeup(farm, situation.now, until):
        raise NoPlanError(
            _(
                "no crew can cut: it takes somebody who may drive a combine, and somebody, or the "
                "same person, who may drive a truck; see [[crew]] and [[person]] in farm.toml"
            )
        )
    if not options:
        raise NoPlanError(
            _("no crew has a combine within the days planned: repair one or call a crew in")
        )
    if len(options) == 1:
        return [MakeUpLoss(makeup=options[0], loss=0.0)]
    searched, _unseen = checked_members(standing_loss.loss.shape[0])
    few = some_members(standing_loss, evenly_spaced(searched, MAKEUP_MEMBERS))
    known = crew_of_machine(farm, situation)

    def priced(choice: _Choice, policies: Sequence[Policy]) -> MakeUpLoss:
        """The make-up with the least loss of some policies, and the price of its changes."""
        evaluator = Evaluator(choice.work.tables)
        least = min(evaluator.value(p, objective=choice.objective) for p in policies)
        makeup = choice.work.makeup
        moved = sum(known.get(m) != crew for m, crew in machine_ids(makeup).items())
        return MakeUpLoss(makeup=makeup, loss=least + farm.rules.change_price * moved)

    tried = []
    for makeup in options:
        choice = _Choice.of(few, situation, makeup, seed=seed)
        starts = choice.starts(Evaluator(choice.work.tables))
        tried.append((priced(choice, starts), choice, starts))
    tried.sort(key=lambda x: x[0].loss)
    ranked = []
    for _estimate, choice, starts in tried[:FINALISTS]:
        iterations = effort.makeup_iterations
        found = choice.found(choice.work.tables, starts, iterations, simplify=False)
        ranked.append(priced(choice, [f.policy for f in found]))
    return sorted(ranked, key=lambda x: x.loss)


def crew_of_machine(farm: Farm, situation: Situation) -> Mapping[str, str]:
    """Crew of each machine, by the previous plan or else the farm file."""
    if situation.previous is not None and situation.previous.crew_of_machine:
        return situation.previous.crew_of_machine
    return {m: c.id for c in farm.crews for m in (*c.combines, *c.carts, *c.trucks)}


def _makeup_as_known(standing_loss: StandingLoss, situation: Situation) -> MakeUp | None:
    """The make-up of the previous plan, or else of the farm file, if it is still possible."""
    farm = standing_loss.farm
    known, until = crew_of_machine(farm, situation), farm_time(standing_loss.slots[-1], farm.tz)
    for makeup in every_makeup(farm, situation.now, until):
        stays = all(known.get(m) == crew for m, crew in machine_ids(makeup).items())
        if stays and situation.holds_in(makeup):
            return makeup
    return None


def evenly_spaced(members: Sequence[int], count: int) -> list[int]:
    """At most `count` of some members, evenly spaced."""
    return [members[i] for i in np.unique(np.linspace(0, len(members) - 1, count).astype(int))]


def some_members(standing_loss: StandingLoss, members: Sequence[int]) -> StandingLoss:
    """Keep some members only."""
    m = np.array(members)
    by_member = ("loss", "field_open", "prospect", "headland_only", "moisture")
    return replace(standing_loss, **{name: getattr(standing_loss, name)[m] for name in by_member})


def compile_makeup(standing_loss: StandingLoss, situation: Situation, makeup: MakeUp) -> FarmWork:
    """Compile the work tables of a make-up, every crew where it stands."""
    places = [situation.places.get(machines.crew, "base") for machines in makeup]
    return compile_work(standing_loss, makeup, places=places)


def locked_jobs(work: FarmWork, situation: Situation) -> Orders:
    """Jobs that the farmer holds at the head of each crew's order."""
    return tuple(
        tuple(
            j
            for field in situation.locked.get(machines.crew, ())
            for j in jobs_named(work.standing_loss, field)
        )
        for machines in work.makeup
    )
