"""The planning time that `--on` gives."""

from __future__ import annotations

from datetime import date, datetime, time

from scheduler.errors import FarmError
from scheduler.farm.model import Farm
from scheduler.farm.working_time import MORNING_HOUR


def planning_time(text: str | None, farm: Farm, *, option: str = "--on") -> datetime:
    """Read the planning time, in farm time.

    Parameters
    ----------
    text : a date (its morning is meant) or a date with an hour; None is now.
    option : name of the option that gives the text, for the message.

    Raises
    ------
    FarmError
        Where the text is no date.
    """
    if text is None:
        return datetime.now(farm.tz)
    try:
        if len(text) <= 10:
            return datetime.combine(date.fromisoformat(text), time(MORNING_HOUR), farm.tz)
        when = datetime.fromisoformat(text)
    except ValueError:
        raise FarmError(
            f'{option} "{text}" is no date; write it as 2026-08-12 or 2026-08-12T14:30'
        ) from None
    return when if when.tzinfo else when.replace(tzinfo=farm.tz)
