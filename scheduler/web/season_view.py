"""The season so far, from the season book: area cut, rain, deliveries, plans."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from scheduler.farm.model import Farm
from scheduler.farm.units import show_area, show_depth, show_mass
from scheduler.farm.wording import crop_name
from scheduler.season_book.book import Book
from scheduler.season_book.entry_kinds import Entry

DAYS_SHOWN = 21  # the latest with area cut or rain; assumed, three weeks
PLANS_SHOWN = 10  # the latest


@dataclass(frozen=True, kw_only=True)
class Delivered:
    """Loads of one crop at one delivery point; `moisture` is the mean by mass, % wet basis."""

    point: str
    crop: str
    loads: int
    mass: str
    moisture: float | None


def last_review(folder: Path) -> Path | None:
    """Page of the review for the latest day; None where there is no review."""
    return max(folder.glob("reviews/[0-9]*/review.html"), default=None)


def season_view(farm: Farm, book: Book, now: datetime) -> dict[str, Any]:
    """Values of the season page."""
    cut = book.entries("cut", until=now)
    progress = book.progress(farm, now)
    area = sum(f.area_ha for f in farm.fields)
    done = sum(f.area_ha * min(1.0, progress[f.id]) for f in farm.fields)
    return {
        "progress": progress,
        "done": done,
        "total": area,
        "crops": _crops(farm, progress),
        "days": _days(farm, cut, book.entries("rain", until=now)),
        "delivered": _delivered(farm, book.entries("ticket", until=now)),
        "plans": book.entries("plan", until=now)[::-1][:PLANS_SHOWN],
    }


def _crops(farm: Farm, progress: dict[str, float]) -> list[tuple[str, float, float]]:
    """Crop, area cut and whole area, ha."""
    out: dict[str, list[float]] = defaultdict(lambda: [0.0, 0.0])
    for f in farm.fields:
        out[f.crop][0] += f.area_ha * min(1.0, progress[f.id])
        out[f.crop][1] += f.area_ha
    return [(crop_name(c), done, total) for c, (done, total) in out.items()]


def _days(farm: Farm, cut: list[Entry], rain: list[Entry]) -> list[tuple[date, str, str, float]]:
    """Day, area cut, rain by gauge, and the area as a share of the best day's."""
    areas: dict[date, float] = defaultdict(float)
    fell: dict[date, list[str]] = defaultdict(list)
    for e in cut:
        areas[e.at.astimezone(farm.tz).date()] += e.number("area") or 0.0
    for e in rain:
        depth = show_depth(e.number("rain") or 0.0, farm.units)
        fell[e.at.astimezone(farm.tz).date()].append(f"{e.subject} {depth}")
    best = max(areas.values(), default=0.0) or 1.0
    days = sorted({*areas, *fell}, reverse=True)[:DAYS_SHOWN]
    return [
        (
            d,
            show_area(areas[d], farm.units) if d in areas else "",
            ", ".join(fell.get(d, [])),
            areas.get(d, 0.0) / best,
        )
        for d in days
    ]


def _delivered(farm: Farm, tickets: list[Entry]) -> list[Delivered]:
    """Loads by delivery point and crop."""
    crops = {f.id: f.crop for f in farm.fields}
    groups: dict[tuple[str, str], list[Entry]] = defaultdict(list)
    for e in tickets:
        groups[e.subject, crops.get(e.text("field"), "")].append(e)
    return [
        Delivered(
            point=point,
            crop=crop_name(crop),
            loads=len(loads),
            mass=_mass_text(loads, crop, farm),
            moisture=_mean_moisture(loads),
        )
        for (point, crop), loads in sorted(groups.items())
    ]


def _mass_text(loads: list[Entry], crop: str, farm: Farm) -> str:
    """Mass of the loads; empty where their crop is unknown."""
    mass = sum(e.number("weight") or 0.0 for e in loads)
    return show_mass(mass, crop, farm.units) if crop else ""


def _mean_moisture(loads: list[Entry]) -> float | None:
    """Mean moisture of the loads that have one, weighted by their mass."""
    measured = [(e.number("weight") or 0.0, wet) for e in loads if (wet := e.number("moisture"))]
    total = sum(mass for mass, _ in measured)
    return sum(mass * wet for mass, wet in measured) / total if total else None
