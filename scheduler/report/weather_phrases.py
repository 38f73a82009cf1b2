"""Phrases about the weather of a plan, and about what is no forecast for this farm."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, time, timedelta

from scheduler.farm.units import show_distance
from scheduler.farm.wording import clock, day_name, one_line
from scheduler.language.translation import _, ngettext
from scheduler.orders.document import IssuedPlan
from scheduler.orders.model import Morning, Order
from scheduler.report.order_phrases import last_day
from scheduler.weather.doubts import OLD_FORECAST_H

#: End of the forecast up to which the plan asks for a longer one, h from now; assumed: today and
#: tomorrow, the days that a crew is sent out for.
SHORT_FORECAST_H = 36.0
#: Stands behind a day that does not lie wholly within the forecast.
BEYOND_MARK = "*"


def weather_line(plan: Morning | IssuedPlan) -> str:
    """Source, members, age and end of the forecast, and the end of planning."""
    zone, now = plan.farm.tz, plan.now
    units = plan.farm.units
    parts = [one_line(plan.source), ngettext("{n} member", "{n} members", plan.members)]
    if plan.issued is not None:
        parts.append(_("issued {time}", time=clock(plan.issued.astimezone(zone), now, units)))
    if plan.age_h is None:
        parts.append(_("age unknown"))
    else:
        parts.append(_("{hours} h old", hours=round(plan.age_h)))
    if plan.forecast_until is not None:
        parts.append(
            _("forecast to {time}", time=clock(plan.forecast_until.astimezone(zone), now, units))
        )
    until = clock(plan.until, now, units)
    return _("{forecast}; planned to {time}", forecast=", ".join(parts), time=until)


def weather_doubts(plan: Morning | IssuedPlan) -> tuple[str, ...]:
    """What is no forecast for this farm, a sentence each; none where nothing is missing."""
    return tuple(_doubts(plan))


def _doubts(plan: Morning | IssuedPlan) -> Iterator[str]:
    doubts, units = plan.doubts, plan.farm.units
    if not doubts.past_stored:
        yield _("No past weather is stored: check the ground by hand.")
    if doubts.elsewhere_km is not None:
        yield _(
            "The forecast is for a place {distance} from the farthest field.",
            distance=show_distance(doubts.elsewhere_km, units),
        )
    if plan.age_h is not None and plan.age_h > OLD_FORECAST_H:
        yield _("The forecast is {hours} h old: fetch a newer one.", hours=round(plan.age_h))
    if doubts.hole is not None:
        begin, end = (t.astimezone(plan.farm.tz) for t in doubts.hole)
        yield _(
            "The forecast has a hole from {begin} to {end}.",
            begin=clock(begin, plan.now, units),
            end=clock(end, plan.now, units),
        )
    if plan.forecast_until is not None:
        yield _end_text(plan, plan.forecast_until)


def _end_text(plan: Morning | IssuedPlan, until: datetime) -> str:
    """Where the forecast ends, and what stands in for it after that."""
    stored = plan.doubts.outlook_stored
    hours = (until - plan.now) / timedelta(hours=1)
    if hours <= SHORT_FORECAST_H and stored:
        return _(
            "The forecast reaches only {hours} hours ahead. Later orders follow past weather: "
            "fetch a longer forecast before you count on them.",
            hours=round(hours),
        )
    if hours <= SHORT_FORECAST_H:
        return _(
            "The forecast reaches only {hours} hours ahead. Later orders follow made-up weather: "
            "fetch a longer forecast before you count on them.",
            hours=round(hours),
        )
    end = clock(until.astimezone(plan.farm.tz), plan.now, plan.farm.units)
    if stored:
        return _("Nothing after {end} is forecast: later days follow past weather.", end=end)
    return _("Nothing after {end} is forecast: later days follow made-up weather.", end=end)


def beyond_forecast(order: Order, plan: Morning | IssuedPlan) -> str:
    """A remark on an order that begins after the end of the forecast, else ""."""
    if plan.forecast_until is None or order.start.mid < plan.forecast_until:
        return ""
    if plan.doubts.outlook_stored:
        return _("beyond the forecast; from past weather")
    return _("beyond the forecast; from made-up weather")


def day_mark(day: date, plan: Morning | IssuedPlan) -> str:
    """`BEYOND_MARK` for a day that does not lie wholly within the forecast, else ""."""
    end = datetime.combine(day + timedelta(days=1), time(0), plan.farm.tz)
    beyond = plan.forecast_until is not None and end > plan.forecast_until
    return BEYOND_MARK if beyond else ""


def cut_by_day(order: Order, plan: Morning | IssuedPlan) -> str:
    """The day by which a field is cut, marked where it does not lie within the forecast."""
    day = last_day(order)
    return day_name(day) + day_mark(day, plan)


def beyond_mark_note(plan: Morning | IssuedPlan) -> str:
    """What `BEYOND_MARK` means, "" where no day bears it."""
    return _("* beyond the forecast") if plan.forecast_until is not None else ""
