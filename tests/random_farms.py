"""Small random farms on random mornings, to hold every plan against people, dates and limits."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
from small_farm import NOW, combine, farm, field, season

from readiness.season.codes import Reason
from scheduler.costs.standing_loss import standing_loss_of
from scheduler.farm.model import Crew, Person, Schedule
from scheduler.farm.slots import slot_times
from scheduler.field_work.play import play
from scheduler.planning.dispatch_rules import RULES, rule_policy
from scheduler.work_tables.compile import compile_work
from scheduler.work_tables.crew_makeup import makeups

DAYS = 2
UNTIL = NOW + timedelta(days=DAYS)
KINDS = ("combine", "cart", "truck")


def random_crews(rng, the_farm):
    """The machines of a farm dealt to one or two crews, with too few people in most."""
    count = int(rng.integers(1, 3))
    dealt = {
        kind: [tuple(m.id for m in getattr(the_farm, kind)[k::count]) for k in range(count)]
        for kind in ("combines", "carts", "trucks")
    }
    crews = []
    for k in range(count):
        people = int(rng.integers(1, 7))
        named = tuple(
            Person(
                id=f"{'AB'[k]}{n}",
                drives=tuple(d for d in (*KINDS, "C1", "T2") if rng.random() < 0.4),
                hours_max_day=None if rng.random() < 0.5 else float(rng.integers(2, 13)),
                days_off=(int(rng.integers(7)),) if rng.random() < 0.3 else (),
                absent=((NOW + timedelta(days=1)).date(),) if rng.random() < 0.2 else (),
            )
            for n in range(int(rng.integers(0, people + 1)))
        )
        begin, end = rng.integers(0, 9), rng.integers(16, 24)
        span = tuple(NOW.replace(hour=int(h), minute=0).time() for h in (begin, end))
        crews.append(
            Crew(
                id="AB"[k],
                combines=dealt["combines"][k],
                carts=dealt["carts"][k],
                trucks=dealt["trucks"][k],
                week=(span,) * 7,
                people=people,
                named=named,
                fixed=bool(rng.random() < 0.3),
                hours_max_day=float(rng.integers(4, 16)),
                away=((NOW + timedelta(hours=4), NOW + timedelta(hours=9)),)
                if rng.random() < 0.1
                else (),
            )
        )
    return tuple(crews)


def random_machine(rng, machine):
    """The machine, in one case of four broken down, hired from tomorrow or sold tonight."""
    draw = rng.random()
    if draw < 0.1:
        return replace(machine, down=((NOW, NOW + timedelta(hours=int(rng.integers(1, 40)))),))
    if draw < 0.2:
        return replace(machine, joins=NOW + timedelta(hours=int(rng.integers(1, 40))))
    return replace(machine, leaves=NOW + timedelta(hours=12)) if draw < 0.25 else machine


def random_dates(rng):
    """A time before which, and one after which, a field may not be cut; in most cases none."""
    early = NOW + timedelta(minutes=int(rng.integers(0, 60 * 40)))
    late = early + timedelta(minutes=int(rng.integers(0, 60 * 40)))
    return {
        "not_before": early if rng.random() < 0.25 else None,
        "not_after": late if rng.random() < 0.25 else None,
    }


def random_market(rng, market):
    """The market with limits, some with a feed price, some with other ones from tomorrow on."""
    first, second = (
        replace(
            market,
            moisture_limit_pct=float(rng.uniform(13.5, 18.0)),
            limits={"sprout": float(rng.choice([0.02, 0.06, 0.15])), "protein": 11.0},
            feed_price_t=None if rng.random() < 0.5 else 120.0,
            sprout_discount=Schedule(steps=((0.01, 10.0), (0.05, 30.0))),
        )
        for _ in range(2)
    )
    hours = int(rng.integers(1, 40))
    return replace(first, later=((NOW + timedelta(hours=hours), second),) * (rng.random() < 0.3))


def random_morning(seed):
    """Farm and season of a morning."""
    rng = np.random.default_rng(seed)
    base = farm(combines=tuple(combine(f"C{n + 1}") for n in range(int(rng.integers(1, 4)))))
    carts, trucks = int(rng.integers(0, 3)), int(rng.integers(1, 5))
    base = replace(
        base,
        combines=tuple(random_machine(rng, m) for m in base.combines),
        carts=tuple(random_machine(rng, m) for m in base.carts[:carts]),
        trucks=tuple(random_machine(rng, m) for m in base.trucks[:trucks]),
        fields=tuple(
            field(
                f"F{n}",
                area_ha=float(rng.uniform(5, 60)),
                lon=-99.0 - 0.05 * rng.random(),
                **random_dates(rng),
                protein_pct=float(rng.choice([10.0, 12.0])) if rng.random() < 0.2 else None,
            )
            for n in range(int(rng.integers(1, 4)))
        ),
    )
    points = tuple(
        replace(
            base.points[0],
            id=name,
            dryer_t_h=None if rng.random() < 0.7 else float(rng.uniform(0.5, 20.0)),
            wet_room_t=float(rng.uniform(5.0, 50.0)),
            markets={
                crop: random_market(rng, market) for crop, market in base.points[0].markets.items()
            },
        )
        for name in "EG"[: int(rng.integers(1, 3))]
    )
    base = replace(base, crews=random_crews(rng, base), points=points)
    n = len(base.fields)
    hour = np.arange(24 * DAYS)
    moisture = rng.uniform(13, 17, (n, 1)) - 2.5 * np.sin((hour - 9) / 24 * 2 * np.pi)
    made = season(n, moisture, days=DAYS)
    made.sprout[:] = rng.choice([0.0, 0.05, 0.2], (n, 1)) * np.linspace(0, 1, 24 * DAYS)
    made.reason[:] = np.where(rng.random(made.reason.shape) < 0.1, Reason.GROUND, made.reason)
    return base, made


def played_mornings(seed):
    """(work, season, policy, outcome) of a rule in each make-up of a random morning."""
    the_farm, the_season = random_morning(seed)
    loss = standing_loss_of(the_farm, the_season, slot_times(NOW, DAYS, 30))
    rule = RULES[seed % len(RULES)]
    for makeup in makeups(the_farm, NOW, UNTIL, most=3):
        if makeup:
            work = compile_work(loss, makeup, places=["base"] * len(makeup))
            policy = rule_policy(work, rule, 40.0)
            yield work, the_season, policy, play(work.tables, policy, log=True)
