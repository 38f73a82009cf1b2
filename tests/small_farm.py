"""A small farm worked by hand: two crews, three combines, three fields, level weather."""

from dataclasses import replace
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from readiness.atmosphere.weather import Weather
from readiness.season.codes import Reason, Tier
from readiness.season.simulate import Season
from scheduler.costs.standing_loss import standing_loss_of
from scheduler.farm.model import (
    Cart,
    Combine,
    Crew,
    DeliveryPoint,
    Farm,
    Field,
    Market,
    Truck,
)
from scheduler.farm.slots import slot_times
from scheduler.field_work.play import play
from scheduler.field_work.policy import Policy
from scheduler.orders.decision import Decision
from scheduler.work_tables.compile import compile_work
from scheduler.work_tables.crew_makeup import own_makeup

UTC = ZoneInfo("UTC")
NOW = datetime(2026, 8, 12, 6, tzinfo=UTC)
DAY = ((time(0), time(0)),) * 7
HOURS = 96
UNTIL = NOW + timedelta(hours=HOURS)


def combine(name, **other):
    values = {
        "id": name,
        "header_m": 10.0,
        "speed_kmh": 6.0,
        "efficiency": 0.7,
        "tank_m3": 12.0,
        "unload_m3_s": 0.15,
    }
    return Combine(**(values | other))


def field(name, **other):
    values = {
        "id": name,
        "name": name,
        "lat": 47.0,
        "lon": -99.0,
        "area_ha": 20.0,
        "crop": "wheat_hard",
        "sand": 0.4,
        "clay": 0.2,
        "yield_t_ha": 4.0,
        "test_weight_kg_hl": 78.0,
    }
    return Field(**(values | other))


def farm(**other):
    market = Market(price_t=250.0, moisture_base_pct=13.5, moisture_limit_pct=18.0)
    values = {
        "name": "Test",
        "tz": UTC,
        "units": "metric",
        "base_lat": 47.0,
        "base_lon": -99.0,
        "combines": (combine("C1"), combine("C2"), combine("C3", header_m=8.0)),
        "carts": (
            Cart(id="K1", capacity_m3=35, unload_m3_s=0.3),
            Cart(id="K2", capacity_m3=35, unload_m3_s=0.3),
        ),
        "trucks": tuple(Truck(id=f"T{i}", capacity_m3=35, payload_t=25) for i in range(1, 5)),
        "crews": (
            Crew(
                id="A",
                combines=("C1", "C2"),
                carts=("K1",),
                trucks=("T1", "T2"),
                week=DAY,
                people=6,
                hours_max_day=24,
            ),
            Crew(
                id="B",
                combines=("C3",),
                carts=("K2",),
                trucks=("T3", "T4"),
                week=DAY,
                people=5,
                hours_max_day=24,
            ),
        ),
        "points": (
            DeliveryPoint(id="E", lat=47.0, lon=-99.0, week=DAY, markets={"wheat_hard": market}),
        ),
        "fields": (
            field("F1", area_ha=10.0, lon=-99.10),
            field("F2", area_ha=40.0, lon=-99.02),
            field("F3", area_ha=25.0, lon=-99.05, yield_t_ha=6.0),
        ),
    }
    return Farm(**(values | other))


def season(n, moisture=13.5, members=1, days=4):
    shape = (members, n, 24 * days)
    full = {
        name: np.zeros(shape)
        for name in ("water_top", "water_below", "film", "wettings", "sprout", "straw")
    }
    wet = np.broadcast_to(np.asarray(moisture, dtype=float), shape[1:] if np.ndim(moisture) else ())
    return Season(
        start=np.datetime64("2026-08-12T06", "h"),
        moisture=np.broadcast_to(wet, shape).copy(),
        tier=np.full(shape, Tier.FIRM, np.uint8),
        approach=np.full(shape, Tier.FIRM, np.uint8),
        reason=np.full(shape, Reason.OPEN, np.uint8),
        end=None,
        **full,
    )


def sky(the_season):
    """Dry weather on the hours of a season."""
    level = np.full(the_season.reason.shape, 20.0)
    calm = dict.fromkeys(("temp", "humidity", "wind", "gust", "radiation"), level)
    return Weather(
        start=the_season.start, rain=0.0 * level, estimated=np.zeros(level.shape, np.bool_), **calm
    )


def standing(the_farm, the_season=None):
    """Standing loss of a farm over the days of a season."""
    the_season = the_season or season(len(the_farm.fields))
    days = the_season.moisture.shape[2] // 24
    return standing_loss_of(the_farm, the_season, slot_times(NOW, days, 30))


def compiled(the_farm, the_season=None, makeup=None):
    """Work tables of a farm, every crew at the base."""
    loss = standing(the_farm, the_season)
    makeup = makeup or own_makeup(the_farm, NOW, UNTIL)
    return compile_work(loss, makeup, places=["base"] * len(makeup))


def decided(work, policy):
    """The decision for a policy that no search has chosen, judged on all members."""
    outcome = play(work.tables, policy, log=True)
    return Decision(
        work=work,
        policy=policy,
        outcome=outcome,
        locked=((), ()),
        searched=tuple(range(len(outcome.loss))),
        unseen=(),
        makeups=(),
        rules=(),
    )


def first_crew_has_all(the_farm, the_season=None, start=(40.0, 40.0)):
    """The decision that gives all fields to the first crew; start moistures of today and later."""
    work = compiled(the_farm, the_season)
    jobs = len(work.jobs)
    policy = Policy(
        orders=(tuple(range(jobs)), ()),
        start=np.vstack([np.full(jobs, pct) for pct in start]),
        patience=np.zeros(2),
        leave=np.zeros(2),
    )
    return decided(work, policy)


def two_points(**bins):
    """Elevator E, 250 a tonne, 08:00 to 20:00, up to 15 %; bins, 240, always, up to 20 %."""
    elevator = farm().points[0]
    market = elevator.markets["wheat_hard"]
    own = replace(market, price_t=240.0, moisture_limit_pct=20.0)
    return (
        replace(
            elevator,
            week=((time(8), time(20)),) * 7,
            markets={"wheat_hard": replace(market, moisture_limit_pct=15.0)},
        ),
        replace(elevator, id="bins", markets={"wheat_hard": own}, **bins),
    )
