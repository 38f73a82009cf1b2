"""Typed values of one row or table: text, choices, numbers in SI, dates and times."""

from __future__ import annotations

import difflib
import math
from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import TypeVar

from scheduler.errors import Problem, UnreadableError
from scheduler.farm.units import SI_PER_UNIT, kg_hl, normalized_name, si_per_unit
from scheduler.farm_files.csv_table import CsvTable, read_number
from scheduler.farm_files.dates import (
    DateOrder,
    end_of_day,
    farm_time_to_utc,
    read_date,
    read_time,
    start_of_day,
)
from scheduler.farm_files.named_values import Found, NamedValues, Notation, Raw

T = TypeVar("T", bound=Hashable)
YES_WORDS, NO_WORDS = ("yes", "y", "true", "1", "x", "ja"), ("no", "n", "false", "0", "")
PERCENT = ("pct", "percent")
#: Percentage below which shares of a field or of working time are taken for fractions; assumed:
#: nobody enters less than one percent of either.
SMALLEST_PCT = 1.0


@dataclass(frozen=True, kw_only=True)
class Bounds:
    """Bounds of a number, SI: greater than `above`, from `low` to `high`; None for no bound."""

    above: float | None = None
    low: float | None = None
    high: float | None = None


class Record(NamedValues):
    """Values that are read by type. A value that cannot be read is noted as a problem.

    Methods give None, NaN or an empty tuple for a value that is wrong; `failed` is then set.
    """

    def text(self, name: str, default: str | None = "") -> str:
        """Text; required where `default` is None."""
        found = self.find(name)
        if found is None:
            if default is None:
                self.note_missing(name, "a name of your own")
            return default or ""
        if isinstance(found.value, (dict, list, bool)):
            self.note(found.key, f"{found.value} is not text", "write it in quotation marks")
        return " ".join(str(found.value).split())

    def id_list(self, name: str) -> tuple[str, ...]:
        """A list of ids; empty where absent."""
        value = self.raw(name, [])
        ids = tuple(v for v in value if isinstance(v, str)) if isinstance(value, list) else ()
        if not isinstance(value, list) or len(ids) < len(value):
            self.note(name, f"{value!r} is not a list of ids", 'write it as ["A", "B"]')
            return ()
        if len(set(ids)) < len(ids):
            self.note(name, "the same id is there twice", "keep one")
        return ids

    def choice(self, name: str, options: Mapping[str, T], default: T | None = None) -> T | None:
        """The option that a word names; required where `default` is None."""
        word = self.text(name)
        if not word:
            if default is None:
                self.note_missing(name, f"one of {_listed(options)}")
            return default
        if (picked := options.get(normalized_name(word))) is not None:
            return picked
        near = difflib.get_close_matches(normalized_name(word), options, n=1)
        hint = f'did you mean "{_spoken(near[0])}"?' if near else f"use one of {_listed(options)}"
        self.note(name, f'{name} "{word}" is not known', hint)
        return None

    def yes_no(self, name: str, default: bool = False) -> bool:
        """Yes or no."""
        found = self.find(name)
        if found is None:
            return default
        word = str(found.value).strip().lower()
        if word not in (*YES_WORDS, *NO_WORDS):
            self.note(found.key, f'{name} "{found.value}" is neither yes nor no', "write yes or no")
        return word in YES_WORDS

    def number(
        self,
        name: str,
        quantity: str = "",
        *,
        default: float | None = None,
        above: float | None = None,
        low: float | None = None,
        high: float | None = None,
        crop: str | None = None,
    ) -> float:
        """A number in SI; required where `default` is None. NaN where missing or wrong.

        Parameters
        ----------
        quantity : key of `units.SI_PER_UNIT`; '' for a number without a unit.
        above, low, high : bounds, SI; see `Bounds`.
        crop : for quantities by the bushel.
        """
        value = self.optional_number(name, quantity, above=above, low=low, high=high, crop=crop)
        if value is not None:
            return value
        if default is not None:
            return default
        unit = f" in {self.default_unit(quantity)}" if quantity else ""
        self.note_missing(name, f"a number{unit}")
        return math.nan

    def optional_number(
        self,
        name: str,
        quantity: str = "",
        *,
        above: float | None = None,
        low: float | None = None,
        high: float | None = None,
        crop: str | None = None,
    ) -> float | None:
        """As `number`; None where absent."""
        found = self.find(name, SI_PER_UNIT.get(quantity, {}))
        if found is None:
            return None
        scale, unit = 1.0, ""
        if quantity:
            unit = found.unit or self.default_unit(quantity)
            scale = si_per_unit(quantity, unit, crop)
        raw = self._float(found)
        if math.isnan(raw):
            return raw
        label = unit.replace("per_", "/").replace("_", "/")
        return self._within(
            found, name, raw, scale, f" {label}", Bounds(above=above, low=low, high=high)
        )

    def fraction(
        self,
        name: str,
        default: float,
        *,
        above: float | None = None,
        high: float = 1.0,
        from_pct: float = 0.0,
    ) -> float:
        """A fraction 0-1; as `optional_fraction`."""
        value = self.optional_fraction(name, above=above, high=high, from_pct=from_pct)
        return default if value is None else value

    def optional_fraction(
        self,
        name: str,
        *,
        above: float | None = None,
        high: float = 1.0,
        from_pct: float = 0.0,
    ) -> float | None:
        """A fraction 0-1, None where absent; written as percent, or up to 1 as the fraction.

        A name that ends in '%', pct or percent always means percent. A percentage between 0 and
        `from_pct` is taken for a fraction in the wrong place and noted.
        """
        found = self.find(name, PERCENT)
        if found is None:
            return None
        raw = self._float(found)
        as_fraction = found.unit is None and raw <= 1.0
        if found.unit is not None and 0.0 < raw < from_pct:
            self.note(found.key, f"{name} is {raw:g}%", f"write {100 * raw:g} for {100 * raw:g}%")
        scale, label = (1.0, "") if as_fraction else (0.01, "%")
        return self._within(found, name, raw, scale, label, Bounds(above=above, low=0.0, high=high))

    def percent(self, name: str, *, low: float, high: float) -> float | None:
        """A percentage such as moisture, kept as percent; None where absent."""
        found = self.find(name, PERCENT)
        if found is None:
            return None
        raw = self._float(found)
        return self._within(found, name, raw, 1.0, "%", Bounds(low=low, high=high))

    def temperature(self, name: str) -> float | None:
        """Temperature, °C; None where absent."""
        found = self.find(name, ("f", "c"))
        if found is None:
            return None
        raw = self._float(found)
        us = self.notation.units == "us" if found.unit is None else found.unit == "f"
        return (raw - 32.0) / 1.8 if us else raw

    def test_weight(self, name: str, crop: str) -> float | None:
        """Test weight, kg/hL; None where absent."""
        found = self.find(name, ("lb_bu", "kg_hl"))
        if found is None:
            return None
        raw = self._float(found)
        us = self.notation.units == "us" if found.unit is None else found.unit == "lb_bu"
        value = kg_hl(raw, crop) if us else raw
        if not 20.0 <= value <= 95.0 and not math.isnan(raw):
            unit = "lb/bu" if us else "kg/hL"
            self.note(found.key, f"{name} {raw:g} {unit} is not a test weight", "check the unit")
        return value

    def day(self, name: str) -> date | None:
        """A date; None where absent or wrong."""
        found = self.find(name)
        if found is None:
            return None
        if isinstance(found.value, datetime):
            return found.value.date()
        if isinstance(found.value, date):
            return found.value
        try:
            return read_date(str(found.value), self.date_order(found.key))
        except UnreadableError as error:
            self.note(found.key, error.message, error.remedy)
            return None

    def moment(self, name: str) -> datetime | None:
        """A time, UTC; None where absent or wrong. A date alone stands for its noon."""
        found = self.find(name)
        if found is None:
            return None
        try:
            when, has_clock = self.as_moment(found.value, found.key)
        except UnreadableError as error:
            self.note(found.key, error.message, error.remedy)
            return None
        return when if has_clock else when + timedelta(hours=12)

    def begin(self, name: str) -> datetime | None:
        """A time, UTC; None where absent or wrong. A date alone stands for its first hour."""
        return self._bound(name, whole_day=False)

    def end(self, name: str) -> datetime | None:
        """A time, UTC; None where absent or wrong. A date alone stands for the end of the day."""
        return self._bound(name, whole_day=True)

    def _bound(self, name: str, *, whole_day: bool) -> datetime | None:
        """Begin or end (`whole_day`) of an interval, UTC; None where absent or wrong."""
        found = self.find(name)
        if found is None:
            return None
        try:
            when, has_clock = self.as_moment(found.value, found.key)
            tz = self.notation.tz
            if has_clock or not whole_day:
                return when
            return end_of_day(when.astimezone(tz).date(), tz)
        except UnreadableError as error:
            self.note(found.key, error.message, error.remedy)
            return None

    def as_moment(self, value: Raw, key: str) -> tuple[datetime, bool]:
        """The time (UTC) of a value, and whether the value holds a clock time.

        Raises
        ------
        UnreadableError
            Where the value is no date or time; nothing is noted.
        """
        tz = self.notation.tz
        if isinstance(value, datetime):
            return (value.astimezone(UTC) if value.tzinfo else farm_time_to_utc(value, tz)), True
        if isinstance(value, date):
            return start_of_day(value, tz), False
        return read_time(str(value), tz, self.date_order(key))

    def _float(self, found: Found) -> float:
        """A finite number; NaN where a problem was noted."""
        value = found.value
        try:
            if isinstance(value, bool) or not isinstance(value, (int, float, str)):
                raise UnreadableError(f"{value} is not a number", "write digits only, as 12.5")
            number = (
                read_number(value.strip().rstrip("%"), self.notation.mark)
                if isinstance(value, str)
                else float(value)
            )
            if not math.isfinite(number):
                raise UnreadableError(
                    f"{value} is not a finite number", "write digits only, as 12.5"
                )
        except OverflowError:
            self.note(found.key, f"{str(value)[:20]}… is too large", "check the number")
            return math.nan
        except UnreadableError as error:
            self.note(found.key, error.message, error.remedy)
            return math.nan
        return number

    def _within(
        self, found: Found, name: str, raw: float, scale: float, label: str, bounds: Bounds
    ) -> float:
        """The number in SI, noted where out of bounds. `label` is the unit as written."""
        value = raw * scale

        def shown(number: str) -> str:
            return f"{number}{label}".strip()

        def limit(si: float) -> str:
            bound = si / scale
            return shown(f"{bound:.0f}" if bound >= 1000.0 else f"{bound:.4g}")

        got = shown(f"{name} is {raw:g}")
        above, low, high = bounds.above, bounds.low, bounds.high
        if above is not None and value <= above:
            self.note(found.key, f"{got}, must be above {limit(above)}", "correct it")
        elif low is not None and value < low:
            remedy = "correct it, or its unit"
            self.note(found.key, f"{got}, must be at least {limit(low)}", remedy)
        elif high is not None and value > high * (1 + 1e-9):
            remedy = "correct it, or its unit"
            self.note(found.key, f"{got}, must be at most {limit(high)}", remedy)
        return value


def _spoken(word: str) -> str:
    """A word of the vocabulary as people write it."""
    return word.replace("_", " ")


def _listed(options: Mapping[str, Hashable]) -> str:
    """The first word of each option."""
    first: dict[Hashable, str] = {}
    for word, value in options.items():
        first.setdefault(value, word)
    return ", ".join(map(_spoken, first.values()))


def table_records(
    table: CsvTable,
    names: Sequence[str],
    notation: Notation,
    problems: list[Problem],
    *,
    file: str,
    orders: Mapping[str, DateOrder | None],
) -> Iterator[Record]:
    """A record of each row.

    Parameters
    ----------
    names : our names of the columns; messages use those of the file.
    problems : list that problems are added to.
    file : name of the file, for messages.
    orders : order of day and month by column.
    """
    for number, cells in table.rows:
        values = dict(zip(names, cells, strict=True))
        record = Record(values, notation, problems, file=file, row=str(number), orders=orders)
        record.written_names |= dict(zip(names, table.columns, strict=True))
        yield record
