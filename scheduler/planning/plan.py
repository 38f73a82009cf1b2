"""The planner: a farm folder and a morning in, the orders of the day out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from pathlib import Path

from readiness.atmosphere.weather import HOUR, Weather
from readiness.season.simulate import Season
from scheduler.costs.standing_loss import standing_loss_of
from scheduler.errors import FarmError, NoPlanError, NothingToCutError
from scheduler.explanation.briefing import crew_orders, left_out
from scheduler.explanation.closed_hours import idle_note
from scheduler.explanation.deciding import deciding_causes
from scheduler.explanation.deliveries import point_totals
from scheduler.explanation.money import money_at_stake
from scheduler.explanation.own_order import OwnOrderPrice, price_own_order
from scheduler.explanation.swap_costs import alternatives
from scheduler.farm.model import Farm
from scheduler.farm.remarks import farm_notes
from scheduler.farm.slots import SLOT_MIN, farm_time, slot_times
from scheduler.farm.wording import clock, closed_text
from scheduler.language.translation import _
from scheduler.orders.changes import changes_since, machine_moves
from scheduler.orders.decision import Decision
from scheduler.orders.model import Change, MoneyAtStake, Morning
from scheduler.orders.safety import day_cautions
from scheduler.planning.information import InformationState, gather, simulated_season
from scheduler.planning.policy_choice import (
    FAST,
    FINALISTS,
    NORMAL,
    SWIFT,
    Effort,
    Situation,
    decide,
)
from scheduler.planning.previous_plan import previous_plan
from scheduler.planning.stages import PlanStage
from scheduler.solver.stages import Progress, ignore_progress
from scheduler.windows.daily_hours import within_buyers_limits

#: Days planned by default.
DAYS = 12


def plan_morning(
    folder: Path,
    *,
    now: datetime | None = None,
    forecast: Path | None = None,
    days: int = DAYS,
    seed: int = 0,
    fast: bool = False,
    swift: bool = False,
    elsewhere: bool = False,
    progress: Progress = ignore_progress,
) -> Morning:
    """Plan a farm folder from its files, its stored weather and its season book.

    Parameters
    ----------
    folder : the farm folder.
    now : aware planning time; the clock's by default.
    forecast : a forecast file in place of the last stored forecast.
    days, seed : horizon and random seed; the same seed gives the same plan.
    fast : a quarter of the search, without the value of perfect knowledge.
    elsewhere : whether the forecast file may be for a place far from the fields.
    swift : orders within seconds for a page that waits: a short search, without a floor.
    progress : called with each stage and the share of the work done.

    Raises
    ------
    FarmError, WeatherError, BookError
        Where an input is wrong.
    NoPlanError
        Where no crew can cut anything.
    """
    information = gather(folder, now, forecast=forecast, days=days, seed=seed, elsewhere=elsewhere)
    progress(PlanStage.READINESS, 0.05)
    effort = SWIFT if swift else FAST if fast else NORMAL
    return plan_farm(information, days=days, seed=seed, effort=effort, progress=progress)


def plan_farm(
    information: InformationState,
    *,
    days: int = DAYS,
    seed: int = 0,
    effort: Effort = NORMAL,
    progress: Progress = ignore_progress,
) -> Morning:
    """Plan a morning from its information state, in memory; see `plan_morning`."""
    farm = information.farm
    if not any(c.combines for c in farm.crews) or not farm.fields:
        raise FarmError(_("the farm has no crew with a combine, or no fields: add them first"))

    # soil and grain of every field, hour by hour in every member; then the money lost by waiting
    season, sky = simulated_season(information, seed=seed)
    slots = slot_times(information.now, days, SLOT_MIN)
    slots = slots[slots < season.start + season.moisture.shape[2] * HOUR]
    standing_loss = standing_loss_of(farm, season, slots)

    # make-up and policy: what the crews are to do, played by the simulator in every member
    try:
        decision = decide(
            standing_loss, situation_of(information), seed=seed, effort=effort, progress=progress
        )
    except NothingToCutError as error:
        until = farm_time(slots[-1], farm.tz) + timedelta(minutes=SLOT_MIN)
        closed = _closed_text(farm, season, sky, now=information.now, until=until)
        raise NoPlanError(closed or str(error)) from None

    # times, chances, reasons and money that people read
    progress(PlanStage.FLOOR, 0.8)
    money = money_at_stake(decision, season, with_floor=effort is NORMAL)
    progress(PlanStage.BRIEFING, 0.9)
    return _brief(information, decision, season, sky, money, seed=seed)


def _closed_text(
    farm: Farm, season: Season, sky: Weather, *, now: datetime, until: datetime
) -> str:
    """What keeps all fields closed in the hours planned; "" where one opens."""
    note = idle_note(farm, season, sky, now=now, until=until)
    if note.opens is not None or note.closed_by is None:
        return ""
    return _(
        "no crew can cut anything within the days planned: {cause}. No field opens before {until}: "
        "plan again with the next forecast, or more days with --days",
        cause=closed_text(note.closed_by, note.rain_mm, farm.units),
        until=clock(until, now, farm.units),
    )


def situation_of(information: InformationState) -> Situation:
    """What a decision takes from an information state."""
    previous = information.previous_orders
    return Situation(
        now=information.now,
        places={
            crew: field for field, crew in reversed(list(information.fields_in_progress.items()))
        },
        locked=information.locked_fields,
        previous=previous_plan(previous) if previous else None,
    )


def _brief(
    information: InformationState,
    decision: Decision,
    season: Season,
    sky: Weather,
    money: MoneyAtStake,
    *,
    seed: int,
) -> Morning:
    """Explain a decision."""
    farm, weather, now = information.farm, information.weather, information.now
    sold = within_buyers_limits(farm, season)
    crews = crew_orders(decision, sold, sky, alternatives(decision))
    changes: tuple[Change | str, ...] = ()
    if information.previous_orders is not None:
        changes = (
            *changes_since(information.previous_orders, crews, now=now),
            *information.book_news,
        )
    return Morning(
        farm=farm,
        now=now,
        until=now + timedelta(minutes=SLOT_MIN * len(decision.work.standing_loss.slots)),
        seed=seed,
        source=weather.source,
        issued=weather.issued,
        age_h=weather.age_h,
        forecast_until=None
        if weather.forecast_until is None
        else weather.forecast_until.astimezone(farm.tz),
        weather_notes=weather.notes,
        farm_notes=farm_notes(farm),
        doubts=weather.doubts,
        members=season.moisture.shape[0],
        weather=sky,
        season=season,
        makeup=decision.work.makeup,
        makeups=tuple((m.makeup, m.loss) for m in decision.makeups[:FINALISTS]),
        crews=crews,
        left_out=left_out(decision, season),
        totals=point_totals(decision),
        money=money,
        deciding=deciding_causes(decision, crews),
        cautions=day_cautions(
            farm,
            weather.forecast,
            now=now,
            lightning=weather.lightning,
            warnings=weather.warnings,
            crews=crews,
        ),
        changes=changes,
        machine_moves=machine_moves(farm, information.previous_orders, crews),
        undriven=decision.work.undriven,
        lessons=information.lessons,
        decision=decision,
    )


def price_order(
    folder: Path,
    morning: Morning,
    orders: Mapping[str, Sequence[str]],
    *,
    plan_loss: float | None = None,
) -> OwnOrderPrice:
    """Price orders that a user proposes for a planned morning; see `price_own_order`.

    `folder` is the farm folder that the morning was planned from.
    """
    if morning.decision is None:
        raise FarmError(f"{folder}: this plan holds no tables: replan, then price an order")
    return price_own_order(morning.decision, orders, plan_loss=plan_loss)
