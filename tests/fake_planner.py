"""A planner for tests of the page: quick, invented, and led by the season book."""

import os
import time
from dataclasses import replace
from pathlib import Path

import mornings

from scheduler.errors import AfterrainError
from scheduler.explanation.own_order import OwnOrderPrice
from scheduler.farm_files.folder import read_farm
from scheduler.orders.decision import Difference
from scheduler.planning.stages import PlanStage
from scheduler.season_book.book import Book
from scheduler.season_book.current_farm import apply_book

#: Seconds that planning takes, so that a test can watch it.
PLANNING_S = float(os.environ.get("FAKE_PLAN_S", "0.5"))


def plan_morning(
    folder, *, now=None, forecast=None, days=6, seed=0, fast=False, swift=False, progress=None
):
    now = now or mornings.NOW
    with Book(folder) as book:
        place = apply_book(read_farm(folder), book, now)
        locked = book.manual_orders(place, now)
    if (Path(folder) / "refuse").exists():
        raise AfterrainError("no forecast is stored: fetch one")
    if (Path(folder) / "crash").exists():
        raise RuntimeError("boom")
    for step in range(20):
        progress(PlanStage.READINESS, step / 20)
        time.sleep(PLANNING_S / 20 if swift else 0.01)
    sky = mornings.weather(place, days=days, members=7, seed=3)
    crews = []
    for crew in mornings.crews(place):
        first = locked.get(crew.crew, ())
        todo = [o for o in crew.orders if field(place, o.field).cut_fraction < 1.0]
        orders = sorted(todo, key=lambda o, f=first: f.index(o.field) if o.field in f else len(f))
        orders = tuple(replace(o, locked=o.field in first) for o in orders)
        broken = {c.id for c in place.combines if any(a <= now < b for a, b in c.down)}
        combines = tuple(c for c in crew.combines if c not in broken)
        note = "" if combines else "no combine is running"
        near = {s.field: s for s in crew.stints}
        stints = tuple(near[o.field] for o in orders if o.field in near)
        crews.append(replace(crew, orders=orders, stints=stints, combines=combines, note=note))
    return replace(
        mornings.morning(days=days),
        farm=place,
        now=now.astimezone(place.tz),
        weather=sky,
        season=mornings.season(place, sky),
        crews=tuple(crews),
        left_out=(),
        totals=mornings.totals(place),
    )


def field(place, name):
    return next(f for f in place.fields if f.id == name)


def price_order(folder, morning, orders, *, plan_loss):
    """Money lost by an invented rule: a crew's fields out of the plan's order cost 100 a place."""
    out = 0
    for crew in morning.crews:
        wanted = orders.get(crew.crew, [])
        was = list(dict.fromkeys(o.field for o in crew.orders))
        out += sum(a != b for a, b in zip(wanted, was, strict=False))
        out += 20 * abs(len(was) - len(wanted))
    more = Difference(mean=morning.money.loss + 100.0 * out - plan_loss, error=30.0 * (out > 0))
    return OwnOrderPrice(
        loss=morning.money.loss + 100.0 * out, plan_loss=plan_loss, more=more, left_uncut=()
    )
