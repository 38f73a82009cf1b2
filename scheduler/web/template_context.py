"""What the page's templates need besides the shared filters: words, shades and values."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from flask import Flask, session

from scheduler.errors import FarmError
from scheduler.farm.model import Farm
from scheduler.farm.wording import clock
from scheduler.report.caution_phrases import deference
from scheduler.report.figures.hour_shades import shade_of, shades
from scheduler.report.phrases import quality_note
from scheduler.report.template_environment import configure, value_texts
from scheduler.season_book.entry_kinds import KINDS
from scheduler.season_book.formatting import entry_text, entry_time_text
from scheduler.web.context import app_context
from scheduler.web.offline import has_form, kept_pages, offline_words


def register(app: Flask, locked: bool) -> None:
    """Configure the templates of the app and give them the farm of each request."""
    configure(app.jinja_env)
    app.jinja_env.globals |= {
        "quality_note": quality_note,
        "kinds": KINDS,
        "has_form": has_form,
        "locked": locked,
        "deference": deference,
        "shade_of": shade_of,
        "shades": shades,
        "offline_words": offline_words,
    }

    @app.context_processor
    def request_values() -> dict[str, Any]:
        context = app_context()
        try:
            farm = context.farm()
        except FarmError:  # the error page is shown without a farm
            return {"farm": None, "today": None, "who": "", "kept_pages": ()}
        return {
            "farm": farm,
            "today": context.clock().astimezone(farm.tz),
            "who": session.get("by", ""),
            "kept_pages": kept_pages(),
            "seen_at": lambda when: _seen_at(when, farm),
            "entry_text": lambda e: entry_text(e, farm),
            "entry_time": lambda e: entry_time_text(e, farm, context.clock()),
            **value_texts(farm),
        }


def _seen_at(when: datetime, farm: Farm) -> str:
    """Time of something that the machine's clock measured, farm time."""
    now = datetime.now(farm.tz)
    return clock(when.astimezone(farm.tz), now, farm.units)
