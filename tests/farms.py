"""Generated farms, and published scheduling sets, as cut tables."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from scheduler.solver.tables import CutTables

DAY = 48  # half-hour slots


def farm_tables(fields, crews, *, members=1, days=12, seed=0, load=0.8):
    """A farm of `fields` scattered on section roads, cut by `crews` over days of half-hour slots.

    Hours of a day open late with dew and shut at night; rain spells shut the ground field by
    field and dry out at the field's own pace; members share the first day's weather and part
    after. Losses grow by the day and by every wetting. `load` is work over crew time in the
    driest member.
    """
    rng = np.random.default_rng(seed)
    slots = days * DAY
    place = rng.uniform(0, 30, (fields, 2)).round(1)  # km
    area = rng.uniform(20, 90, fields)
    value = rng.choice([350.0, 500.0, 650.0], fields)  # money per ha standing
    shatter = rng.uniform(0.003, 0.012, fields)  # share of value a day
    wetting = rng.uniform(0.01, 0.05, fields)  # share of value a rain spell
    speed = rng.uniform(0.85, 1.2, crews)
    can, wet = _weather(rng, fields, members, days)
    worked = can.mean(axis=(0, 1)).reshape(days, DAY).sum()
    move = _moves(rng, place, crews)
    ha_slot = area.sum() / (load * crews * worked - fields * move[0, :-1].mean() * 0.5)
    loss = np.empty((members, fields, slots))
    for m in range(members):
        for j in range(fields):
            days_on = np.arange(slots) / DAY
            share = shatter[j] * days_on + wetting[j] * np.cumsum(wet[m, j])
            loss[m, j] = 100.0 * value[j] * np.minimum(share, 0.6)
    finish = np.full((members, crews, fields, slots), -1, np.int32)
    cost = np.zeros((members, crews, fields, slots), np.int64)
    for m in range(members):
        for k in range(crews):
            for j in range(fields):
                need = max(1, int(np.ceil(area[j] / (ha_slot * speed[k]))))
                _job(can[m, j], loss[m, j], need, area[j], finish[m, k, j], cost[m, k, j])
    return CutTables(
        finish=finish,
        cost=cost,
        move=move,
        ready=rng.integers(0, 20, crews).astype(np.int32),
        leave_cost=(100.0 * 0.7 * value * area).astype(np.int64),
        weight=np.full(members, 1.0 / members),
    )


def _job(can, loss, need, area, finish, cost):
    """Fill finish and cost of one job from every arrival slot."""
    opened = np.flatnonzero(can)
    for s in range(can.size):
        first = np.searchsorted(opened, s)
        if first + need <= opened.size:
            used = opened[first : first + need]
            finish[s] = used[-1] + 1
            cost[s] = round(area / need * loss[used].sum())


def _weather(rng, fields, members, days):
    """Open slots and wettings, (member, field, slot)."""
    slots = days * DAY
    can = np.zeros((members, fields, slots), np.bool_)
    wet = np.zeros((members, fields, slots), np.bool_)
    pace = rng.uniform(0.6, 1.6, fields)  # how long a field stays shut after rain
    dew = rng.integers(18, 24, days)  # 9 to 12 h
    dusk = rng.integers(38, 46, days)  # 19 to 23 h
    for m in range(members):
        shift = np.random.default_rng(1000 * m + 17).integers(-2, 3, (2, days))
        shift[:, 0] = 0
        for d in range(days):
            can[m, :, d * DAY + dew[d] + shift[0, d] : d * DAY + dusk[d] + shift[1, d]] = True
    spells = [
        (int(s), float(depth))
        for s, depth in zip(
            np.sort(rng.uniform(30, slots - DAY, max(1, days // 4))),
            rng.uniform(10, 50, 12),
            strict=False,
        )
    ]
    for m in range(members):
        own = np.random.default_rng(7919 * m + 5)
        for s, length in spells:
            at = int(s + own.normal(0, 0.10 * s)) if members > 1 else s
            if members > 1 and own.random() > 0.8:
                continue
            depth = length * (own.uniform(0.4, 1.6) if members > 1 else 1.0)
            for j in range(fields):
                if own.random() < 0.12:
                    continue  # the shower missed this field
                a = int(np.clip(at + own.integers(-2, 3), 0, slots - 1))
                can[m, j, a : a + int(depth * pace[j])] = False
                wet[m, j, a] = True
    return can, wet


def _moves(rng, place, crews):
    """Half-hour slots along section roads at 25 km/h, with header off and on."""
    where = np.vstack([place, np.full(2, 15.0)])
    km = np.abs(where[:, None, :] - where[None, :, :]).sum(axis=2)
    hours = km / 25.0 + np.where(km > 0.5, 0.4, 0.1)
    one = np.ceil(hours * 2).astype(np.int32)[:, :-1]
    return np.repeat(one[None], crews, axis=0)


def tardiness_tables(length, weight, due, *, setup=None, machines=1, ready=None):
    """Weighted tardiness on identical machines, set-up times by pair where given."""
    n = len(length)
    move = np.zeros((machines, n + 1, n), np.int32) if setup is None else setup
    worst = 0 if setup is None else int(np.sum(np.max(setup[0], axis=0)))
    slots = int(np.sum(length)) + worst + 1
    end = np.arange(slots)[None, :] + np.asarray(length)[:, None]
    late = np.asarray(weight)[:, None] * np.maximum(end - np.asarray(due)[:, None], 0)
    finish = np.where(end < slots, end, -1).astype(np.int32)
    return CutTables(
        finish=np.repeat(finish[None, None], machines, axis=1),
        cost=np.repeat(late[None, None].astype(np.int64), machines, axis=1),
        move=move,
        ready=np.zeros(machines, np.int32),
        leave_cost=np.full(n, 10**8, np.int64),
        weight=np.ones(1),
    )


def wt40(folder: Path):
    """OR-Library weighted tardiness, 40 jobs: (length, weight, due) of each, and the optima."""
    numbers = np.array((folder / "wt40.txt").read_text().split(), np.int64).reshape(-1, 3, 40)
    best = np.array((folder / "wtopt40.txt").read_text().split(), np.int64)
    return numbers, best


def small_tables(seed, *, jobs=None, members=None, locked=None):
    """A random farm of at most seven jobs and two crews: ties, gaps, jobs that take no time."""
    rng = np.random.default_rng(seed)
    jobs = jobs or int(rng.choice([3, 4, 5, 6, 7], p=[0.15, 0.3, 0.3, 0.2, 0.05]))
    members = members or int(rng.integers(1, 4))
    crews, slots = int(rng.integers(1, 3)), int(rng.integers(12, 40))
    finish = np.full((members, crews, jobs, slots), -1, np.int32)
    cost = np.zeros((members, crews, jobs, slots), np.int64)
    for m in range(members):
        can = rng.random(slots) < rng.uniform(0.4, 1.0)
        for k in range(crews):
            for j in range(jobs):
                loss = rng.integers(0, 9) * np.arange(slots) + rng.integers(0, 30, slots)
                need = int(rng.integers(0, 6))
                if rng.random() < 0.05:
                    continue  # a crew that cannot do the job in this member
                if need == 0:
                    finish[m, k, j], cost[m, k, j] = np.arange(slots), loss
                else:
                    _job(can, loss, need, 1.0 * need, finish[m, k, j], cost[m, k, j])
    weight = (
        rng.dirichlet(np.ones(members)) if rng.random() < 0.5 else np.full(members, 1 / members)
    )
    lock = rng.random() < 0.25 if locked is None else locked
    return CutTables(
        finish=finish,
        cost=cost,
        move=rng.integers(0, 5, (crews, jobs + 1, jobs)).astype(np.int32),
        ready=rng.integers(0, 6, crews).astype(np.int32),
        leave_cost=rng.integers(50, 900, jobs),
        weight=weight,
        locked=((0, (int(rng.integers(jobs)),)),) if lock else (),
    )
