"""The farm as it stands: the farm folder, updated with the entries of the season book."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from scheduler.farm.model import Farm, Field
from scheduler.season_book.book import Book
from scheduler.season_book.entry_kinds import Entry
from scheduler.season_book.farm_state import lodging


def apply_book(farm: Farm, book: Book, now: datetime) -> Farm:
    """The farm with what the book holds up to `now`: cuts, sprayings, breakdowns and the rest."""
    down, absent = book.breakdowns(now), book.absences(farm, now)
    away = book.absent_intervals(now)
    closed, delivered = book.closures(farm, now), book.delivered(farm, now)
    quality = book.priced_quality(now)
    cut, sprayed = book.progress(farm, now), book.harvest_begins(now)
    grain = [e for e in book.entries("sample", "ticket", "falling", until=now) if e.at <= now]
    samples = _last_of(grain, "moisture", kinds=("sample",))
    weighed, falling = _last_of(grain, "test_weight"), _last_of(grain, "falling_number")
    lodged = lodging(book.entries("lodged", until=now), now)
    swathed = {e.subject: e.at for e in book.entries("swathed", until=now) if e.at <= now}

    def updated(field: Field) -> Field:
        begins = [t for t in (field.not_before, sprayed.get(field.id)) if t is not None]
        field = replace(
            field,
            cut_fraction=min(1.0, cut[field.id]),
            not_before=max(begins, default=None),
            lodged=lodged.get(field.id, field.lodged),
        )
        if (day := swathed.get(field.id)) is not None:
            field = replace(field, swathed=day.astimezone(farm.tz).date())
        last, load, tube = (found.get(field.id) for found in (samples, weighed, falling))
        if load is not None:
            weight = load.number("test_weight")
            field = replace(field, test_weight_kg_hl=weight, weighed_at=load.at)
        if tube is not None:
            field = replace(field, falling_number_s=tube.number("falling_number"))
        if last is None or (field.sample_at is not None and field.sample_at > last.at):
            return field
        return replace(field, sample_pct=last.number("moisture"), sample_at=last.at)

    return replace(
        farm,
        fields=tuple(
            replace(updated(f), **quality.get(f.id, {}))  # type: ignore[arg-type]
            for f in farm.fields
        ),
        combines=tuple(replace(m, down=(*m.down, *down.get(m.id, ()))) for m in farm.combines),
        carts=tuple(replace(m, down=(*m.down, *down.get(m.id, ()))) for m in farm.carts),
        trucks=tuple(replace(m, down=(*m.down, *down.get(m.id, ()))) for m in farm.trucks),
        crews=tuple(
            replace(
                c,
                absent=tuple(sorted({*c.absent, *absent.get(c.id, ())})),
                away=(*c.away, *away.get(c.id, ())),
                named=tuple(
                    replace(
                        p,
                        absent=tuple(sorted({*p.absent, *absent.get(p.id, ())})),
                        away=(*p.away, *away.get(p.id, ())),
                    )
                    for p in c.named
                ),
            )
            for c in farm.crews
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


def _last_of(
    entries: list[Entry], fact: str, *, kinds: tuple[str, ...] = ("sample", "ticket", "falling")
) -> dict[str, Entry]:
    """The last entry of some kinds that holds a fact, by field."""
    out: dict[str, Entry] = {}
    for e in sorted(entries, key=lambda e: (e.at, e.id)):
        if e.kind in kinds and e.number(fact) is not None:
            out[e.text("field") if e.kind == "ticket" else e.subject] = e
    return out
