"""The farm as it stands: the farm folder, updated with the entries of the season book."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import TypeVar

from scheduler.farm.model import Crew, Farm, Field, Person
from scheduler.season_book.book import Book
from scheduler.season_book.entry_kinds import Entry, field_of

Staff = TypeVar("Staff", Crew, Person)
#: Facts that set the price, and their names in `Field`.
PRICED = {
    "protein": "protein_pct",
    "vomitoxin": "vomitoxin_ppm",
    "vitreous": "vitreous_pct",
    "test_weight": "test_weight_kg_hl",
    "falling_number": "falling_number_s",
}


def apply_book(farm: Farm, book: Book, now: datetime) -> Farm:
    """The farm with what the book holds up to `now`: cuts, sprayings, breakdowns and the rest."""

    def held(*kinds: str) -> list[Entry]:
        return [e for e in book.entries(*kinds, until=now) if e.at <= now]

    down, absent = book.breakdowns(now), book.absences(farm, now)
    away = book.absent_intervals(now)
    closed, delivered = book.closures(farm, now), book.delivered(farm, now)
    cut, sprayed = book.progress(farm, now), book.harvest_begins(now)
    grain = held("sample", "ticket", "falling")
    priced = {fact: _last_of(grain, fact) for fact in PRICED}
    samples = _last_of([e for e in grain if e.kind == "sample"], "moisture")
    lodged = _last_of(held("lodged"), "share")
    swathed = {e.subject: e.at for e in held("swathed")}

    def updated(field: Field) -> Field:
        begins = [t for t in (field.not_before, sprayed.get(field.id)) if t is not None]
        quality = {
            PRICED[fact]: last[field.id].number(fact)
            for fact, last in priced.items()
            if field.id in last
        }
        field = replace(
            field,
            cut_fraction=min(1.0, cut[field.id]),
            not_before=max(begins, default=None),
            **quality,  # type: ignore[arg-type]
        )
        if (load := priced["test_weight"].get(field.id)) is not None:
            field = replace(field, weighed_at=load.at)
        if (seen := lodged.get(field.id)) is not None:
            field = replace(field, lodged=(seen.number("share") or 0.0) / 100.0)
        if (day := swathed.get(field.id)) is not None:
            field = replace(field, swathed=day.astimezone(farm.tz).date())
        last = samples.get(field.id)
        if last is None or (field.sample_at is not None and field.sample_at > last.at):
            return field
        return replace(field, sample_pct=last.number("moisture"), sample_at=last.at)

    def at_work(staff: Staff) -> Staff:
        return replace(
            staff,
            absent=tuple(sorted({*staff.absent, *absent.get(staff.id, ())})),
            away=(*staff.away, *away.get(staff.id, ())),
        )

    return replace(
        farm,
        fields=tuple(updated(f) for f in farm.fields),
        combines=tuple(replace(m, down=(*m.down, *down.get(m.id, ()))) for m in farm.combines),
        carts=tuple(replace(m, down=(*m.down, *down.get(m.id, ()))) for m in farm.carts),
        trucks=tuple(replace(m, down=(*m.down, *down.get(m.id, ()))) for m in farm.trucks),
        crews=tuple(
            replace(at_work(c), named=tuple(at_work(p) for p in c.named)) for c in farm.crews
        ),
        points=tuple(
            replace(
                p,
                closed=(*p.closed, *closed.get(p.id, ())),
                capacity_t=None
                if p.capacity_t is None
                else max(0.0, p.capacity_t - delivered.get(p.id, 0.0)),
            )
            for p in farm.points
        ),
    )


def _last_of(entries: Sequence[Entry], fact: str) -> dict[str, Entry]:
    """The last entry that holds a number of a fact, by field."""
    held = [e for e in entries if e.number(fact) is not None]
    return {field_of(e): e for e in sorted(held, key=lambda e: (e.at, e.id))}
