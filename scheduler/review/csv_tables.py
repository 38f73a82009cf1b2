"""CSV tables of the review: hours by cause, and fields."""

from __future__ import annotations

import csv
import io

import numpy as np

from scheduler.costs.loss_parts import LossPart
from scheduler.farm.units import from_si, unit_name
from scheduler.farm.wording import crop_name, formula_safe
from scheduler.language.translation import SOURCE, in_language
from scheduler.review.delay_accounting import Cause
from scheduler.review.phrases import CAUSE_NAMES, dates_text
from scheduler.review.review import Review


@in_language(SOURCE)
def hours_csv(review: Review) -> str:
    """CSV of the hours of every field and crew by day and cause, without rows of 0 hours."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(("day", "field", "name", "crew", "cause", "hours"))
    for d, midnight in enumerate(review.days):
        for f, field in enumerate(review.observed.farm.fields):
            for k, crew in enumerate(review.crews):
                for c in Cause:
                    if (hours := float(review.field_hours[c, f, k, d])) > 5e-5:
                        writer.writerow(
                            (
                                midnight.date(),
                                formula_safe(field.id),
                                formula_safe(field.name),
                                formula_safe(crew),
                                CAUSE_NAMES[c],
                                f"{hours:.4f}",
                            )
                        )
    return out.getvalue()


@in_language(SOURCE)
def fields_csv(review: Review) -> str:
    """CSV of the fields: area, dates, losses by part, area-days by cause."""
    out = io.StringIO(newline="")
    units = review.observed.farm.units
    unit = unit_name("area", units)
    delay = [c for c in Cause if c not in (Cause.DONE, Cause.GREEN)]
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(
        (
            "field",
            "name",
            "crop",
            f"area_{unit}",
            "cut",
            f"standing_{unit}",
            "lost_days",
            "loss",
            "loss_low",
            "loss_high",
            *(f"loss_{part.name.lower()}" for part in LossPart),
            *(f"{unit}_days_{c.name.lower()}" for c in delay),
        )
    )
    for i, f in enumerate(review.observed.farm.fields):
        low, high = np.quantile(review.loss[:, i], (0.1, 0.9))
        days = (from_si(float(review.area_days[i, c]), "area", units) for c in delay)
        money_parts = (review.loss[:, i].mean(), low, high, *review.parts[i])
        writer.writerow(
            (
                formula_safe(f.id),
                formula_safe(f.name),
                formula_safe(crop_name(f.crop)),
                f"{from_si(f.area_ha * (1 - f.cut_fraction), 'area', units):.1f}",
                dates_text(review, np.flatnonzero(review.work.area[i].any(axis=0))),
                f"{from_si(float(review.standing[i]), 'area', units):.1f}",
                int(review.lost[i].sum()),
                *(f"{v:.2f}" for v in money_parts),
                *(f"{v:.2f}" for v in days),
            )
        )
    return out.getvalue()
