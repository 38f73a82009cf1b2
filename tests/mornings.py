"""A small invented morning for the tests of outputs: plausible, made without the planner."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from readiness.atmosphere.solar import daylight
from readiness.atmosphere.weather import HOUR, Weather
from readiness.season.codes import Reason, Tier
from readiness.season.simulate import Season
from scheduler.farm.model import (
    Cart,
    Combine,
    Crew,
    DeliveryPoint,
    Farm,
    Field,
    Market,
    Rules,
    Truck,
)
from scheduler.orders.cautions import FireDanger, LongDay
from scheduler.orders.model import (
    Alternative,
    CrewOrders,
    Delivery,
    Fallback,
    LeftOut,
    MoneyAtStake,
    Morning,
    Order,
    PointTotal,
    RuleComparison,
    Spread,
    Stint,
    TimeSpread,
)
from scheduler.orders.reasons import (
    FallbackAction,
    LeftOutKind,
    LeftOutReason,
    OrderReason,
    Otherwise,
    Wait,
)
from scheduler.report.order_phrases import fallback_text, note_text, reason_text
from scheduler.windows.lessons import Learnt, OffsetChange
from scheduler.windows.model_inputs import season_rows
from scheduler.work_tables.crew_makeup import makeups, own_makeup

TZ = ZoneInfo("America/Chicago")
NOW = datetime(2025, 8, 16, 6, 0, tzinfo=TZ)
HISTORY_DAYS = 4
NAMES = (
    "Home quarter",
    "Slough eighty",
    "Mail road north",
    "Schoolhouse",
    "Railway strip",
    "Hilltop",
    "Section nine",
    "East bottom",
    "Windmill",
    "Stone pile",
    "River bench",
    "Town line",
)
CROPS = ("wheat_hard", "barley", "canola")
WEEK = ((time(8), time(22)),) * 7


def farm(*, fields: int = 6, units: str = "us", rules: Rules | None = None) -> Farm:
    """Two crews, two delivery points, `fields` invented fields around the base."""
    market = Market(price_t=230.0, moisture_base_pct=13.5, moisture_limit_pct=17.0)
    points = tuple(
        DeliveryPoint(
            id=name, lat=48.2 + d, lon=-98.4, week=WEEK, markets=dict.fromkeys(CROPS, market)
        )
        for name, d in (("Elevator", 0.09), ("Home bins", 0.0))
    )
    return Farm(
        name="Invented Farm",
        tz=TZ,
        units=units,  # type: ignore[arg-type]
        base_lat=48.2,
        base_lon=-98.5,
        crews=tuple(
            Crew(id=k, combines=c, carts=(f"cart {k}",), trucks=t, week=WEEK, people=len(c) + 3)
            for k, c, t in (("North", ("C1", "C2"), ("T1", "T2")), ("South", ("C3",), ("T3",)))
        ),
        combines=tuple(
            Combine(
                id=c, header_m=12.2, speed_kmh=6.4, efficiency=0.7, tank_m3=14.0, unload_m3_s=0.1
            )
            for c in ("C1", "C2", "C3")
        ),
        carts=tuple(
            Cart(id=f"cart {k}", capacity_m3=38.0, unload_m3_s=0.2) for k in ("North", "South")
        ),
        trucks=tuple(Truck(id=t, capacity_m3=38.0, payload_t=28.0) for t in ("T1", "T2", "T3")),
        points=points,
        fields=tuple(field(i) for i in range(fields)),
        rules=rules or Rules(),
    )


def field(i: int) -> Field:
    """The i-th invented field, a square on a grid of section roads."""
    lat, lon = 48.2 + 0.03 * (i % 5 - 2), -98.5 + 0.045 * (i // 5 - 1) + 0.01 * (i % 2)
    d = 0.0036
    return Field(
        id=f"F{i + 1:02d}",
        name=NAMES[i % len(NAMES)] + (f" {i // len(NAMES) + 1}" if i >= len(NAMES) else ""),
        lat=lat,
        lon=lon,
        area_ha=40.0 + 12.0 * (i % 3),
        crop=CROPS[i % 3],
        sand=0.3,
        clay=0.25,
        approach="dirt" if i % 4 == 3 else "gravel",
        yield_t_ha=3.6 - 0.5 * (i % 3),
        test_weight_kg_hl=None if i % 2 else 78.0,
        boundary=(
            ((lon - d, lat - d), (lon + d, lat - d), (lon + d, lat + d), (lon - d, lat + d))
            if i % 2
            else ()
        ),
    )


def weather(place: Farm, *, days: int, members: int, seed: int) -> Weather:
    """Sunny days, dewy nights, a storm that the members place differently; same past."""
    rng = np.random.default_rng(seed)
    count, hours = len(place.fields), (HISTORY_DAYS + days) * 24
    start = np.datetime64(NOW.astimezone(UTC).replace(tzinfo=None), "h") - HISTORY_DAYS * 24 * HOUR
    clock = (start + np.arange(hours) - np.timedelta64(5, "h")).astype("datetime64[h]")
    hour = (clock - clock.astype("datetime64[D]")).astype(int)
    day = np.cos(2 * np.pi * (hour - 15) / 24)
    temp = np.broadcast_to(20 + 7 * day, (members, count, hours)).copy()
    humidity = np.broadcast_to(62 - 30 * day, temp.shape).copy()
    rain = np.zeros(temp.shape)
    rain[:, :, 30:42] = 0.9
    for m in range(members):
        at = int((HISTORY_DAYS + 2) * 24 + rng.integers(0, 40))
        rain[m, :, at : at + 5] = rng.uniform(0, 4) * rng.uniform(0.5, 1.5, (count, 1))
        temp[m, :, HISTORY_DAYS * 24 :] += rng.normal(0, 1.5)
    humidity[rain > 0] = 97.0
    wind = np.broadcast_to(4 + 2 * day, temp.shape).copy()
    return Weather(
        start=start,
        rain=rain,
        temp=temp,
        humidity=humidity,
        wind=wind,
        gust=wind * 1.5,
        radiation=np.clip(700 * np.broadcast_to(day, temp.shape), 0, None),
        estimated=np.zeros(temp.shape, dtype=np.bool_),
    )


def season(place: Farm, sky: Weather, *, unknown: bool = False) -> Season:
    """Ground and grain that follow the weather by simple rules; not the real model."""
    picked = season_rows(place)
    sky = sky.sites([place.fields.index(f) for f, _ in picked])
    members, count, hours = sky.shape
    top = np.empty(sky.shape)
    grain = np.empty(sky.shape)
    w, g = np.full((members, count), 0.24), np.full((members, count), 16.5)
    for h in range(hours):
        w = np.clip(w + sky.rain[:, :, h] / 150 - 0.002 * (sky.temp[:, :, h] > 18), 0.12, 0.36)
        to = np.where(sky.rain[:, :, h] > 0, 30.0, 4 + 0.16 * sky.humidity[:, :, h])
        g = g + (to - g) * 0.08
        top[:, :, h], grain[:, :, h] = w + 0.004 * np.arange(count), g
    tier = np.where(top < 0.23, Tier.FIRM, np.where(top < 0.26, Tier.HEADLAND_ONLY, Tier.SOFT))
    dark = ~daylight(sky.times, *np.array([(f.lat, f.lon) for f, _ in picked]).T)
    reason = np.select(
        [(tier == Tier.SOFT) | (sky.rain > 0.2), grain > 17.0, np.broadcast_to(dark, sky.shape)],
        [Reason.GROUND, Reason.GRAIN, Reason.NIGHT],
        Reason.OPEN,
    )
    if unknown:
        late = (HISTORY_DAYS + 4) * 24
        top[:, 0, late:] = grain[:, 0, late:] = np.nan
        tier[:, 0, late:], reason[:, 0, late:] = Tier.UNKNOWN, Reason.UNKNOWN
    return Season(
        start=sky.start,
        water_top=top,
        water_below=top + 0.02,
        moisture=grain,
        film=np.where(sky.rain > 0, 0.3, 0.0),
        tier=tier.astype(np.uint8),
        approach=np.full(sky.shape, Tier.FIRM, dtype=np.uint8),
        reason=reason.astype(np.uint8),
        wettings=np.cumsum(sky.rain > 0, axis=2) / 6.0,
        sprout=np.zeros(sky.shape),
        straw=sky.humidity,
        end=None,
    )


def spread(mid: datetime, hours: float) -> TimeSpread:
    """A time with `hours` to either side."""
    return TimeSpread(low=mid - timedelta(hours=hours), mid=mid, high=mid + timedelta(hours=hours))


def _deliveries(place, i, tonnes):
    """All grain to one point; a quarter of every third field to the other point, for hours shut."""
    shares = (0.75, 0.25) if i % 3 == 2 else (1.0,)
    return tuple(
        Delivery(
            point=place.points[(i + n) % 2].id,
            tonnes=share * tonnes,
            loads=share * tonnes / 28.0,
            why="shut" if n else "",
        )
        for n, share in enumerate(shares)
    )


def order(place: Farm, i: int, at: int) -> Order:
    """Field `i` as the `at`-th order of its crew: two a day, the last of a crew overnight."""
    f = place.fields[i]
    begin = NOW.replace(hour=10 + 5 * (at % 2)) + timedelta(days=at // 2)
    return Order(
        field=f.id,
        name=f.name,
        parcel="",
        crop=f.crop,
        leave_at=begin - timedelta(minutes=40),
        move_min=40.0,
        move_km=9.5,
        start=spread(begin, 1 + at),
        finish=spread(begin + timedelta(hours=4, minutes=30), 1 + at),
        area_ha=f.area_ha,
        tonnes=f.area_ha * f.yield_t_ha,
        moisture_pct=Spread(low=13.2, mid=14.4, high=15.9),
        test_weight_kg_hl=77.0,
        sprouted_pct=1.4,
        us_grade=2 if place.units == "us" and f.crop == "wheat_hard" else None,
        start_pct=16.0,
        later_pct=18.0,
        chance=max(0.35, 0.9 - 0.12 * at),
        loads=f.area_ha * f.yield_t_ha / 28.0,
        point=place.points[i % 2].id,
        deliveries=_deliveries(place, i, f.area_ha * f.yield_t_ha),
        rate_ha_h=9.1,
        limited_by="haul" if i % 2 else "combine",
        headland_only=i % 4 == 1,
        loss=310.0 + 55.0 * i,
        reason=OrderReason(
            done=1.0,
            closed_by=Reason.GRAIN,
            opens=NOW.replace(hour=10),
            cheapest=Otherwise.LATER,
            swap_with="Hilltop",
            cost=488.0,
        ),
        alternative=Alternative(
            earlier=None if at == 0 else 420.0, later=1240.0, other_crew=-0.2, leave=9400.0
        ),
        locked=at == 0,
        changed="was second yesterday: a sample came in at 14.1 %" if i == 2 else "",
    )


def stint(made: Order, *, area_ha: float | None = None, move_min: float | None = None) -> Stint:
    """The day's work of an order; all of it by default."""
    area = made.area_ha if area_ha is None else area_ha
    return Stint(
        field=made.field,
        name=made.name,
        parcel=made.parcel,
        crop=made.crop,
        leave_at=made.leave_at,
        move_min=made.move_min if move_min is None else move_min,
        move_km=made.move_km,
        start=made.start.mid,
        until=made.finish.mid,
        field_ha=made.area_ha,
        area_ha=area,
        tonnes=made.tonnes * area / made.area_ha,
        moisture_pct=made.moisture_pct,
        start_pct=made.start_pct,
        finished=area_ha is None,
        begun=0.95,
        done=made.chance,
        headland_only=made.headland_only,
        deliveries=made.deliveries,
    )


def stints(orders: Iterable[Order], now: datetime = NOW) -> tuple[Stint, ...]:
    """The work of today and tomorrow of some orders."""
    return tuple(stint(o) for o in orders if 0 <= (o.start.mid.date() - now.date()).days < 2)


def with_orders(crew: CrewOrders, orders: Iterable[Order], now: datetime = NOW) -> CrewOrders:
    """The crew with other orders, and what they make it do today and tomorrow."""
    given = tuple(orders)
    return replace(crew, orders=given, stints=stints(given, now))


def totals(place: Farm) -> tuple[PointTotal, ...]:
    """Invented totals; the second point is full in some of the members."""
    first, second = (p.id for p in place.points[:2])
    return (
        PointTotal(point=first, tonnes=900.0, wheat_t=940.0, loads=32.4, full=0.0, overflow=()),
        PointTotal(
            point=second, tonnes=400.0, wheat_t=410.0, loads=14.2, full=0.4, overflow=(first,)
        ),
    )


def crews(place: Farm) -> tuple[CrewOrders, ...]:
    """Odd fields to one crew, even fields to the other, the last field to nobody."""
    out = []
    for k, crew in enumerate(place.crews):
        mine = range(k, len(place.fields) - 1, len(place.crews))
        orders = tuple(order(place, i, at) for at, i in enumerate(mine))
        if k == 0 and place.fields[0].wet_fraction:
            orders = (*orders, replace(order(place, 0, len(orders)), parcel="wet hollow"))
        out.append(
            CrewOrders(
                crew=crew.id,
                combines=crew.combines,
                carts=crew.carts,
                trucks=crew.trucks,
                people=crew.people,
                orders=orders,
                patience_min=30.0 * k,
                leave_min=40.0 * k,
                stop_margin=0.5,
                move_weight=0.3 * k,
                stints=stints(orders),
                fallback=Fallback(
                    if_tough=FallbackAction(first_name="Home quarter", wait=Wait.THREE_HOURS),
                    if_soft=FallbackAction(
                        first_name="Home quarter",
                        wait=Wait.TOMORROW,
                        other_name="Mail road north",
                        other_field="F03",
                    ),
                ),
            )
        )
    return tuple(out)


def with_words(made: tuple[CrewOrders, ...], place: Farm) -> tuple[CrewOrders, ...]:
    """Crews as a document holds them: words in place of reason codes."""

    def order_with_words(order: Order) -> Order:
        return replace(order, reason=reason_text(order.reason, place))

    def crew_with_words(crew: CrewOrders) -> CrewOrders:
        assert crew.fallback is not None
        fallback = Fallback(
            if_tough=fallback_text(crew.fallback.if_tough),
            if_soft=fallback_text(crew.fallback.if_soft),
        )
        orders = tuple(map(order_with_words, crew.orders))
        return replace(
            crew, orders=orders, fallback=fallback, note=note_text(crew.note, place.units)
        )

    return tuple(map(crew_with_words, made))


def money(members: int, **changes: object) -> MoneyAtStake:
    """Invented money; `changes` replace its attributes."""
    rules = (
        ("ripest first", 18.0, 880.0, 210.0),
        ("nearest first", 16.0, 150.0, 190.0),
        ("most valuable first", 40.0, -60.0, 250.0),
        ("largest first", 15.5, 2960.0, 640.0),
    )
    made = MoneyAtStake(
        already_lost=1140.0,
        at_stake=52300.0,
        loss=3140.0,
        loss_error=260.0,
        member_loss=tuple(float(2200 + 310 * m) for m in range(members)),
        rules=tuple(
            RuleComparison(name=name, start_pct=start, loss=3140.0 + more, more=more, error=error)
            for name, start, more, error in rules
        ),
        floor=2500.0,
        held_cost=None,
        held_error=None,
        judged=3,
        unseen=True,
    )
    return replace(made, **changes)  # type: ignore[arg-type]


def morning(
    *,
    fields: int = 6,
    days: int = 6,
    members: int = 7,
    units: str = "us",
    rules: Rules | None = None,
    unknown: bool = False,
    hollow: bool = False,
    seed: int = 3,
    **changes: object,
) -> Morning:
    """A whole morning; `changes` replace its attributes."""
    place = farm(fields=fields, units=units, rules=rules)
    if hollow:
        wet = replace(place.fields[0], wet_fraction=0.1)
        place = replace(place, fields=(wet, *place.fields[1:]))
    sky = weather(place, days=days, members=members, seed=seed)
    last = place.fields[-1]
    made = Morning(
        farm=place,
        now=NOW,
        until=NOW + timedelta(days=days),
        seed=seed,
        source="invented ensemble",
        issued=NOW - timedelta(hours=4),
        age_h=4.0,
        forecast_until=None,
        weather_notes=("gauge G2: 6 hours missing on 14 Aug, filled from its neighbour",),
        members=members,
        weather=sky,
        season=season(place, sky, unknown=unknown),
        makeup=own_makeup(place, NOW, NOW + timedelta(days=days)),
        makeups=tuple(
            zip(makeups(place, NOW, NOW + timedelta(days=days))[:2], (3140.0, 3890.0), strict=True)
        ),
        crews=crews(place),
        left_out=(
            LeftOut(
                field=last.id,
                name=last.name,
                why=LeftOutReason(kind=LeftOutKind.CLOSED, closed_by=Reason.GREEN),
                cost=4200.0,
            ),
        ),
        totals=totals(place),
        money=money(members),
        cautions=(
            FireDanger(index=28.0, hazard_class="very high", peak=NOW.replace(hour=16), stop=None),
            LongDay(hours=(("North", 14.0),)),
        ),
        changes=("Mail road north moved up: a sample came in at 14.1 %",),
        lessons=(
            OffsetChange(
                learnt=Learnt.GRAIN, field=place.fields[0].id, readings=2, before=None, after=0.42
            ),
        ),
    )
    return replace(made, **changes)  # type: ignore[arg-type]


def with_first_order(morning, **changes):
    """The morning with other attributes of the first crew's first order."""
    crew = morning.crews[0]
    first = replace(crew.orders[0], **changes)
    crew = with_orders(crew, (first, *crew.orders[1:]))
    return replace(morning, crews=(crew, *morning.crews[1:]))
