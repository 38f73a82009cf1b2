"""Template environments: the same options, filters and functions for every template."""

from __future__ import annotations

from collections.abc import Callable

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

from scheduler.farm.model import Farm
from scheduler.farm.units import (
    show_area,
    show_distance,
    show_money,
    show_number,
    show_rate,
    show_temp,
    show_wind,
)
from scheduler.farm.wording import (
    clock,
    crew_title,
    crop_name,
    day_heading,
    day_name,
    one_line,
    percent,
    sentence,
    time_of_day,
)
from scheduler.language.locale_formats import short_day
from scheduler.language.translation import _, active_language, markup, markup_number
from scheduler.report.phrases import (
    EDGE_ONLY,
    approach_text,
    field_title,
    grain_text,
    haul_text,
    loads_text,
    machines,
    moisture_range,
    quality_text,
    time_range,
    total_area,
)
from scheduler.windows.day_figures import WORTHWHILE_H


def template_environment(package: str) -> Environment:
    """Environment for the templates of a package, which escapes everything that people wrote."""
    environment = Environment(loader=PackageLoader(package), autoescape=True)
    configure(environment)
    return environment


def configure(environment: Environment) -> None:
    """Set the options, filters and functions that all templates share."""
    environment.undefined = StrictUndefined
    environment.trim_blocks = environment.lstrip_blocks = True
    environment.filters |= {
        "one_line": one_line,
        "day": day_name,
        "percent": percent,
        "crop": crop_name,
        "crew": crew_title,
        "machines": machines,
        "field_title": field_title,
        "sentence": sentence,
        "bold_topic": bold_topic,
    }
    environment.globals |= {
        "_": markup,
        "ngettext": markup_number,
        "language": active_language,
        "number": show_number,
        "short_day": short_day,
        "day_heading": day_heading,
        "approach_text": approach_text,
        "moisture_range": moisture_range,
        "loads_text": loads_text,
        "haul_text": haul_text,
        "grain_text": grain_text,
        "quality_text": quality_text,
        "total_area": total_area,
        "edge_only": lambda: _(EDGE_ONLY),
        "least_h": WORTHWHILE_H,
    }


def value_texts(farm: Farm) -> dict[str, Callable[..., str]]:
    """Functions by name that write times, SI values and money in the farm's units and currency."""
    units = farm.units
    return {
        "clock": lambda when, beside, units=units: clock(when, beside, units),
        "time_of_day": lambda when: time_of_day(when, units),
        "time_range": lambda spread, beside, dash="-": time_range(spread, beside, units, dash),
        "area": lambda ha: unbroken(show_area(ha, units)),
        "distance": lambda km: unbroken(show_distance(km, units)),
        "rate": lambda ha_h: unbroken(show_rate(ha_h, units)),
        "wind": lambda ms: unbroken(show_wind(ms, units)),
        "temp": lambda c: unbroken(show_temp(c, units)),
        "money": lambda amount: unbroken(show_money(amount, farm.currency)),
    }


def unbroken(text: str) -> str:
    """Join a value and its unit with no-break spaces."""
    return text.replace(" ", "\N{NO-BREAK SPACE}")


def bold_topic(caution: str) -> Markup:
    """Set the words before the first colon of a caution in bold."""
    topic, colon, rest = one_line(caution).partition(":")
    return Markup("<b>{}{}</b>{}").format(topic, colon, rest) if colon else escape(topic)
