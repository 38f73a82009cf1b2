"""Random work tables: scattered fields, dew, rain, closing hours, limited points, trucks."""

from __future__ import annotations

import numpy as np

from scheduler.field_work.tables import WorkTables

DAY = 48  # slots of half an hour


def by_slot(values):
    """(member, slot, job) of (member, job, slot), as the tables hold it."""
    return np.ascontiguousarray(values.transpose(0, 2, 1), np.float32)


def slots_to_open(point_open):
    """(point, slot) slots until the point is open, at most the number of slots."""
    slots = point_open.shape[1]
    out = np.full(point_open.shape, slots, np.int64)
    wait = np.full(point_open.shape[0], slots, np.int64)
    for s in reversed(range(slots)):
        wait = np.where(point_open[:, s], 0, np.minimum(wait + 1, slots))
        out[:, s] = wait
    return out


def random_work(
    jobs, crews, *, members=1, days=12, points=3, seed=0, load=0.7, day=DAY, limits=True
):
    """Work tables of a made-up farm.

    `load` is the area over what all crews cut in the open hours of the driest member, without
    moves. `limits` gives some points closing hours and little capacity, and crews few trucks.
    """
    rng = np.random.default_rng(seed)
    slots = days * day
    ordinal = np.repeat(np.arange(days), day)
    hour = np.tile(np.arange(day), days) * 24.0 / day
    place = rng.uniform(0, 30, (jobs, 2))  # km
    if jobs > 3:
        place[1] = place[0]  # a wet hollow
    area = rng.uniform(15, 90, jobs).round(1)
    yield_t = rng.uniform(2.5, 6.0, jobs).round(2)
    value = rng.choice([400.0, 600.0, 900.0], jobs) * rng.uniform(0.9, 1.1, jobs)  # per ha
    opens, wet = _weather(rng, jobs, members, days, hour)
    edge = opens & (rng.random((members, jobs, 1)) < 0.3) & (rng.random(opens.shape) < 0.5)
    moisture = 14.0 + 4.0 * np.abs(hour - 16.0) / 8.0 + wet * rng.uniform(0, 2, jobs)[:, None]
    moisture = np.where(rng.random(opens.shape) < 0.01, np.nan, moisture)
    shatter = rng.uniform(0.003, 0.015, jobs)[:, None] * ordinal
    share = np.minimum(shatter + rng.uniform(0.01, 0.05, jobs)[:, None] * wet, 0.6)
    dock = 0.01 * np.maximum(moisture - 14.5, 0.0)
    cost_at = rng.uniform(0.0, 0.06, (jobs, points))
    loss = value[:, None, None] * (share + np.nan_to_num(dock, nan=0.1))[:, :, None, :]
    loss = loss + (value[:, None] * cost_at)[None, :, :, None]
    loss = np.where(
        (rng.random(points) < 0.4)[:, None] & (moisture[:, :, None] > 16.0), np.nan, loss
    )
    loss = np.broadcast_to(loss, (members, jobs, points, slots)).transpose(0, 3, 1, 2)
    rut = rng.uniform(0, 20, jobs)
    point_open = np.ones((points, slots), np.bool_)
    room = np.full(points, np.inf)
    if limits:
        for q in range(1, points):
            start, end = rng.integers(7, 10), rng.integers(16, 20)
            point_open[q] = (hour >= start) & (hour < end)
        if points > 1:
            room[-1] = 0.3 * (area * yield_t).sum()
    machines = np.zeros((crews, slots), np.int64)
    machines[0] = ordinal >= days // 2
    machines[-1, ordinal == 1] = 2  # no truck runs
    rate = rng.uniform(0.9, 1.1, (crews, 1, jobs)) * np.array([0.8, 1.0, 1.0])[:, None]
    works = (hour >= 7) & (hour < 21)
    works = np.repeat(works[None], crews, axis=0)
    ours = opens[:, :, None, :] & works
    usable = ours.mean(axis=1).sum(axis=(1, 2)).max() * 24.0 / day
    rate = rate * (area * yield_t).sum() / max(load * usable, 1.0)
    haul = np.repeat(rate[..., None], points, axis=3)
    haul = haul * (rng.uniform(0.8, 2.2, (jobs, points)) if limits else 50.0)
    haul[:, 2] = 0.0 if limits else haul[:, 2]
    buffer = np.repeat(rng.uniform(10, 60, crews)[:, None] if limits else np.inf, jobs, axis=-1)
    move = 8.0 + 1.3 * np.linalg.norm(place[:, None] - place[None], axis=2)
    move[(place[:, None] == place[None]).all(axis=2)] = 0.0
    yard = 8.0 + 1.3 * np.linalg.norm(place - rng.uniform(0, 30, 2), axis=1)
    move = np.concatenate([move, yard[None]])
    return WorkTables(
        wet=by_slot(np.where(opens & ~np.isnan(moisture), moisture, np.inf)),
        prospect=by_slot(np.where(np.isnan(moisture), np.inf, moisture)),
        edge=np.ascontiguousarray(edge.transpose(0, 2, 1)),
        loss=np.ascontiguousarray(loss + (edge.transpose(0, 2, 1) * rut)[..., None], np.float32),
        day=ordinal + 20,
        works=works,
        road=(hour >= 6) & (hour < 20.5),
        point_open=point_open,
        slots_to_open=slots_to_open(point_open),
        machines=machines,
        cut_rate=rate,
        edge_rate=0.8 * rate,
        tough_from=np.full(jobs, 14.0),
        haul_rate=haul,
        accepts=rng.random((crews, jobs, points)) < (0.9 if points > 1 else 2.0),
        buffer=np.broadcast_to(buffer, (crews, jobs)).copy(),
        delay=rng.uniform(0, 5, (crews, jobs, points)),
        move=np.repeat(move[None], crews, axis=0),
        area=area,
        yield_t=yield_t,
        leave_cost=0.7 * value * area,
        crop=rng.integers(0, 3, jobs),
        shared=rng.random(jobs) < 0.5,
        room=room,
        room_factor=rng.uniform(0.9, 1.3, jobs),
        dry_limit=np.where(rng.random((jobs, points)) < 0.3, 15.0, np.inf),
        holding=np.full(points, np.inf) if rng.random() < 0.5 else rng.uniform(20, 80, points),
        dried=rng.uniform(0, 6, (points, 1)) * (hour < rng.uniform(12, 24)),
        weight=np.full(members, 1.0 / members),
        tough_slower=float(rng.choice([0.0, 0.05])),
    )


def _weather(rng, jobs, members, days, hour):
    """(member, job, slot) open hours, and the number of wettings so far."""
    day = len(hour) // days
    start = rng.uniform(9.0, 12.5, jobs)[None, :, None] + rng.normal(0, 1, (members, 1, days))
    end = rng.uniform(19.0, 22.0, jobs)[None, :, None] + rng.normal(0, 1, (members, 1, days))
    rain = rng.random((members, days)) < 0.3
    soak = rng.integers(0, 3, jobs)
    shut = np.zeros((members, jobs, days), np.bool_)
    for lag in range(3):
        late = np.pad(rain, ((0, 0), (lag, 0)))[:, :days]
        shut |= late[:, None, :] & (soak[None, :, None] >= lag)
    wide = [np.repeat(x, day, axis=2) for x in np.broadcast_arrays(start, end, shut)]
    opens = (hour >= wide[0]) & (hour < wide[1]) & ~wide[2]
    wet = np.repeat(np.cumsum(rain, axis=1), day, axis=1)[:, None, :] * np.ones((1, jobs, 1))
    return opens, wet


def one_crew_work(*, jobs=1, slots=8, loss=None):
    """Work of one crew in one member and one day, without moves or limits; 1 ha takes an hour."""
    loss = np.ones((1, slots, jobs, 1)) if loss is None else loss
    return WorkTables(
        wet=np.full((1, slots, jobs), 15.0, np.float32),
        prospect=np.full((1, slots, jobs), 15.0, np.float32),
        edge=np.zeros((1, slots, jobs), np.bool_),
        loss=np.asarray(loss, np.float32),
        day=np.zeros(slots, np.int64),
        works=np.ones((1, slots), np.bool_),
        road=np.ones(slots, np.bool_),
        point_open=np.ones((1, slots), np.bool_),
        slots_to_open=np.zeros((1, slots), np.int64),
        machines=np.zeros((1, slots), np.int64),
        cut_rate=np.ones((1, 1, jobs)),
        edge_rate=np.ones((1, 1, jobs)),
        tough_from=np.full(jobs, 14.0),
        haul_rate=np.full((1, 1, jobs, 1), 100.0),
        accepts=np.ones((1, jobs, 1), np.bool_),
        buffer=np.full((1, jobs), np.inf),
        delay=np.zeros((1, jobs, 1)),
        move=np.zeros((1, jobs + 1, jobs)),
        area=np.ones(jobs),
        yield_t=np.ones(jobs),
        leave_cost=np.full(jobs, 10.0),
        crop=np.zeros(jobs, np.int64),
        shared=np.ones(jobs, np.bool_),
        room=np.full(1, np.inf),
        room_factor=np.ones(jobs),
        dry_limit=np.full((jobs, 1), np.inf),
        holding=np.full(1, np.inf),
        dried=np.zeros((1, slots)),
        weight=np.ones(1),
    )
