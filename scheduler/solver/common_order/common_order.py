"""Lower bound over one order that all members share.

Bounded one by one, every member has an order of its own. Two means remove that freedom:

- Nonanticipativity multipliers: beside the multipliers of `lagrangian_bound`, members pay for the
  place in a crew's order at which a job stands (`common_walk`). These multipliers sum to 0 over the
  members, by weight, so an order that all members share pays nothing in the mean, and the mean of
  the members' cheapest paths stays below the cost of every fixed order. A bundle method moves the
  multipliers until the members' paths differ less (scenario decomposition: `bundle_model`).
- Partial sequences: each crew's orders are extended job by job, the same in all members, and pruned
  where their cost so far plus a completion bound, from those paths, reaches a threshold
  (`common_route`). The threshold rises while few enough partial sequences remain. The multipliers
  and the crews' thresholds together are the bound.

The multipliers that suit the paths best do not suit the thresholds best. So before the last
thresholds, both kinds of multipliers are moved by what fewer partial sequences show: a place
multiplier rises for the members whose completions reach the job at that place more often than the
mean of the members, and a restricted master problem (`prize_master`) over the orders found and the
completions of sequences near the threshold gives the job multipliers.

Names here differ from the rest of the solver: a prize is the multiplier of a job, a price that of a
place, a walk a path, rests are completions, a limit is a threshold, a turn an iteration.

References
----------
Caroe and Schultz 1999, Operations Research Letters 24, 37-45 (scenario decomposition).
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from scheduler.solver.bundle_model import BundleModel
from scheduler.solver.common_order.common_route import Routes, twins
from scheduler.solver.common_order.common_walk import KNOTS, Walks
from scheduler.solver.common_order.prize_master import PrizeMaster
from scheduler.solver.lagrangian_bound import MemberBounds
from scheduler.solver.settings import DEFAULTS, Settings
from scheduler.solver.tables import CutTables, Float, Plan

#: Times the prices are moved for the usual effort, at least and at most; in between, so many that
#: members x crews x jobs x jobs x slots x turns is `WORK`. Tables larger than `MOST` are left
#: alone. Assumed, because 30 members, 2 crews and 30 fields then take five seconds in all.
FEWEST, TURNS, WORK, MOST = 8, 40, 200_000_000, 400_000_000
#: Orders sketched per crew and turn; how far prizes go from the best ones, as a share of the mean
#: prize, at first, and what this grows or falls to by a better or a worse turn. Assumed, as above.
SKETCHED, WIDTH, WIDER, NARROWER = 60, 0.02, 1.5, 0.6
#: How many times more often prizes and prices are moved by what is begun than by walks alone; how
#: far prices then go for a visit beyond the mean, as a share of the mean prize, and what this falls
#: to by a turn. Assumed: twice or half as far raised the bounds of four farms about as much.
SETTLED, STEP, CALMER = 1.25, 0.025, 0.92
#: Orders begun for the usual effort, times members: two seconds on 2 cores; those begun in each
#: turn to tell how far limits can be raised; and what is believed of what their growth then says,
#: for the higher the limit, the faster they become more. Assumed, as above.
BEGUN, PROBED, BELIEVED = 65_000_000, 2_000_000, 0.7
#: The first limit and the next step, as shares of the way to the cheapest order known; how many
#: times more orders the limits after are to begin, and by what power of e they are thought to
#: grow on the whole way, at least. A limit is given up, and half the step taken, where so many
#: times more are begun than before; no step is finer. Assumed, as above.
FIRST, STEPPED, MORE, GROWTH, WARY, FINEST = 0.3, 0.1, 5.0, 12.0, 20, 0.01


def _size(tables: CutTables) -> int:
    members, crews, jobs, slots = tables.shape
    return members * crews * jobs**2 * slots


def usual_turns(tables: CutTables, effort: float) -> int:
    """How many times to move the prices for a share of the usual work."""
    return math.ceil(effort * min(max(WORK / _size(tables), FEWEST), TURNS))


def common_bound(
    tables: CutTables,
    plan: Plan,
    known: MemberBounds,
    *,
    weight: Float,
    turns: int = TURNS,
    begun: int = BEGUN,
    enough: float = np.inf,
    tell: Callable[[float], None] = lambda share: None,
    settings: Settings = DEFAULTS,
) -> float:
    """Lower bound on the mean, by `weight`, of what any one order costs in the members.

    Minus infinity, which bounds nothing, where the tables are larger than `MOST`.

    Parameters
    ----------
    plan : a good plan: its order says how much work a level holds, its cost how far to climb.
    known : the members' own bounds and prizes, from which the climb begins.
    weight : (member,) summing to 1; members that weigh nothing are not looked at.
    turns : most times the prices are moved before orders are begun; as often while they are.
    begun : most orders begun, times members, to raise the bound at the end.
    enough : a bound at which to stop.
    tell : told the share done; may raise to stop.
    """
    if _size(tables) > MOST:
        return -np.inf
    members = np.flatnonzero(weight > 0)
    weight = weight[members]
    walks = Walks(tables, plan, members, weight, settings)
    target = float(weight @ plan.member_cost[members])
    enough = min(enough, target)
    prize = weight @ known.multiplier[members]
    price = np.repeat(
        (prize - known.multiplier[members])[:, None, None, :], tables.shape[1], axis=1
    )
    price = np.repeat(price, KNOTS, axis=2)
    model = walks.model(prize)
    model.add(walks.recalled(known), np.zeros_like(prize), np.zeros_like(price))
    best, prize, price = _climbed(
        walks, model, prize, price, enough, turns, lambda share: tell(0.4 * share)
    )
    if best < enough:
        each = begun // (members.size * tables.shape[1])
        found = _Common(tables, plan, walks, prize, price)
        found.settle(math.ceil(SETTLED * turns), each, lambda share: tell(0.4 + 0.3 * share))
        best = max(best, found.bound(each, lambda share: tell(0.7 + 0.3 * share)))
        prize = found.prize
    # sums of some thousand terms, some kept in 24 bits
    return min(best, target) - 1e-6 * max(abs(target), float(np.abs(prize).sum()))


def _climbed(
    walks: Walks,
    model: BundleModel,
    prize: Float,
    price: Float,
    enough: float,
    turns: int,
    tell: Callable[[float], None],
) -> tuple[float, Float, Float]:
    """Best bound by the members' walks alone, with its prizes and prices."""
    best, kept = -np.inf, (prize, price)
    for turn in range(turns):
        tell(turn / turns)
        value = walks.walks(prize, price)
        model.add(walks.met, prize, price)
        if value > best:
            best, kept = value, (prize, price)
        if best >= enough:
            break
        prize, price = model.step(value, prize, price)
    return best, *kept


class _Common:
    """Orders that all members share, at prizes and prices that begin as those given."""

    def __init__(
        self, tables: CutTables, plan: Plan, walks: Walks, prize: Float, price: Float
    ) -> None:
        self.walks, self.prize, self.price = walks, prize, price
        alike = twins(tables, plan.orders)
        self.routes = [
            Routes(crew, rests, walks.leave, walks.weight, alike[k])
            for k, (crew, rests) in enumerate(zip(walks.crews, walks.kept, strict=True))
        ]
        self.master = PrizeMaster(walks.leave, ~walks.banned, tables.shape[1])
        for k, routes in enumerate(self.routes):
            order = tuple(j for j in plan.orders[k] if not walks.banned[j])
            self.master.add(k, order, routes.cost(order))

    def settle(self, turns: int, most: int, tell: Callable[[float], None]) -> None:
        """Move prizes and prices to where they promise most when `most` are begun for each crew.

        They promise what known orders cost, or the limit that so many begun orders are thought to
        reach, whichever is less. With fewer begun it is seen what stops them: orders whose rests
        come to some jobs more often than once, and in some members earlier than in others. Prizes
        and prices make just that dearer.
        """
        walks, master = self.walks, self.master
        mean = float(np.abs(self.prize).mean())
        width, step = WIDTH * mean, STEP * mean
        prize, price, held = self.prize, self.price, np.zeros(len(self.routes))
        walked: Float | None = None

        def promise(prize: Float, limits: Float) -> float:
            return self.all_prizes(prize) + float(np.minimum(master.rents(prize), limits).sum())

        for turn in range(turns):
            tell(turn / turns)
            walks.walks(prize, price, keep=True)
            walked = price
            self.sketch(prize)
            limits = self.limits(prize, most)
            visits = [routes.visits() for routes in self.routes]
            came = np.array([walks.weight @ v.sum(axis=1) for v in visits])
            master.guide(came, limits + came @ prize)
            value = promise(prize, limits)
            if turn == 0 or value >= promise(self.prize, held):
                self.prize, self.price, held, width = prize, price, limits, width * WIDER
            else:
                width *= NARROWER
            prize = master.near(self.prize, width)
            price = price + step * CALMER**turn * walks.beyond(visits)
        if self.price is not walked:
            walks.walks(self.prize, self.price, keep=True)

    def all_prizes(self, prize: Float) -> float:
        """Sum of the prizes, and what locked jobs cost."""
        return float(prize[~self.walks.banned].sum() + self.walks.weight @ self.walks.paid)

    def sketch(self, prize: Float) -> None:
        """Take cheap orders after prizes into the linear program."""
        for k, routes in enumerate(self.routes):
            for order, cost in routes.sketch(prize, SKETCHED):
                self.master.add(k, order, cost)

    def limits(self, prize: Float, most: int) -> Float:
        """(crew,) how far limits may come if `most` orders are begun for each crew."""
        rents = self.master.rents(prize)
        fewer = min(most, PROBED // (self.walks.weight.size * len(self.routes)))
        out = np.zeros(len(self.routes))
        for k, (routes, rent) in enumerate(zip(self.routes, rents, strict=True)):
            rungs = [(0, 0.0), *self.rungs(routes, prize, float(rent), fewer)]
            (few, low), (many, high) = rungs[-2:] if len(rungs) > 1 else (rungs[0], (1, 0.0))
            slope = (high - low) / math.log((many + 2) / (few + 1))
            gain = high + BELIEVED * max(0.0, slope * math.log(max(most, 1) / max(many, 1)))
            out[k] = routes.least() + gain
        return out

    def bound(self, most: int, tell: Callable[[float], None]) -> float:
        """The bound when at most so many orders are begun for each crew."""
        total = self.all_prizes(self.prize)
        rents = self.master.rents(self.prize)
        for k, (routes, rent) in enumerate(zip(self.routes, rents, strict=True)):
            tell(k / len(self.routes))
            rungs = self.rungs(routes, self.prize, float(rent), most)
            total += routes.least() + max((gain for _, gain in rungs), default=0.0)
        return total

    def rungs(
        self, routes: Routes, prize: Float, rent: float, most: int
    ) -> list[tuple[int, float]]:
        """Orders begun, and how much more than by the walks each order is proved to cost.

        The limit is raised from rung to rung, up to `rent`, what the cheapest order known costs,
        by less where that took too many orders.
        """
        low = routes.least()
        rungs: list[tuple[int, float]] = []
        far, step, few, spent = 0.0, FIRST, most, 0
        while low + 1e-9 * abs(low) < rent and spent < most and step > FINEST:
            goal = min(1.0, far + step)
            limit = rent if goal == 1.0 else low + goal * (rent - low)
            count, least = routes.dig(prize, limit, min(most, max(WARY * few, most // WARY)))
            spent += count
            if least is None:
                step *= 0.5
                continue
            rungs.append((count, least - low))
            if goal == 1.0 or least < limit:
                break
            grown = math.log(max(count, 1) / max(few, 1)) / step if far > 0.0 else 0.0
            far, few = goal, max(count, 1)
            more = math.log(max(1.1, min(MORE, 0.7 * most / few)))
            step = more / max(grown, GROWTH) if len(rungs) > 1 else STEPPED
        return rungs
