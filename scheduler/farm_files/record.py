"""One record of a farm file: typed values with their place, every problem noted and none raised."""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from scheduler.errors import UnreadableError
from scheduler.farm.units import (
    DEFAULT_UNITS,
    SI_PER_UNIT,
    Units,
    kg_hl,
    normalized_name,
    si_per_unit,
)
from scheduler.farm_files.csv_table import CsvTable, DecimalMark, read_number
from scheduler.farm_files.dates import DateOrder, farm_time_to_utc, read_date, read_time

T = TypeVar("T")
#: Cells that say 'nothing here'.
BLANK_CELLS = ("", "-", "n/a", "na", "none", "null", "?")
YES_WORDS, NO_WORDS = ("yes", "y", "true", "1", "x", "ja"), ("no", "n", "false", "0", "")


@dataclass(frozen=True, kw_only=True)
class Problem:
    """Something wrong in the farm folder. `row` is a line number or a table of farm.toml."""

    file: str
    row: str
    column: str
    message: str
    remedy: str

    def __str__(self) -> str:
        row = f" row {self.row}" if self.row.isdigit() else f" {self.row}" if self.row else ""
        column = f", {self.column}" if self.column else ""
        return f"{self.file}{row}{column}: {self.message}; {self.remedy}"


@dataclass(frozen=True, kw_only=True)
class Notation:
    """How a farm writes: units, time zone, order of dates; the decimal mark of one file."""

    units: Units
    tz: ZoneInfo
    order: DateOrder | None = None
    mark: DecimalMark | None = "."


class Record:
    """Values of one row or table by name. A value that cannot be read is noted in `problems`.

    Names are compared as `units.spelled` writes them; a name may end in a unit, which then wins
    over the farm's. `failed` tells whether anything was wrong.
    """

    def __init__(
        self,
        values: Mapping[str, object],
        custom: Notation,
        problems: list[Problem],
        *,
        file: str,
        row: str = "",
        orders: Mapping[str, DateOrder | None] | None = None,
    ) -> None:
        self.values = {normalized_name(k): v for k, v in values.items()}
        self.written = {normalized_name(k): k for k in values}
        self.custom, self.problems = custom, problems
        self.file, self.row = file, row
        self.orders = orders or {}
        self.used: set[str] = set()
        self.asked: set[str] = set()
        self.keys: dict[str, str] = {}  # asked name -> the name, with its unit, that held it
        self.failed = False

    def fault(self, name: str, message: str, remedy: str) -> None:
        """Note a problem with a column of this record."""
        self.failed = True
        key = self.keys.get(name, name)
        column = self.written.get(key, key)
        self.problems.append(
            Problem(file=self.file, row=self.row, column=column, message=message, remedy=remedy)
        )

    def found(self, name: str, units: Iterable[str] = ()) -> tuple[object, str, str | None] | None:
        """Value, its name here and the unit in that name; None where blank or absent."""
        hit = None
        self.asked.add(name)
        for key, unit in [(name, None), *((f"{name}_{u}", u) for u in units)]:
            if key in self.values:
                self.used.add(key)
                value = self.values[key]
                if value is not None and str(value).strip().lower() not in BLANK_CELLS:
                    if hit is not None:
                        self.fault(key, f'says the same as "{self.written[hit[1]]}"', "keep one")
                    hit = value, key, unit
                    self.keys[name] = key
        return hit

    def missing(self, name: str, what: str) -> None:
        """Note that a value is needed."""
        self.fault(name, f"{name} is missing", f"give {what}")

    def text(self, name: str, default: str | None = "") -> str:
        """Text; `default` None means it is needed."""
        hit = self.found(name)
        if hit is None:
            if default is None:
                self.missing(name, "a name of your own")
            return default or ""
        if isinstance(hit[0], (dict, list, bool)):
            self.fault(hit[1], f"{hit[0]} is not text", "write it in quotation marks")
        return " ".join(str(hit[0]).split())

    def ids(self, name: str) -> tuple[str, ...]:
        """A list of ids; empty where absent."""
        value = self.plain(name, [])
        if not isinstance(value, list) or not all(isinstance(v, str) for v in value):
            self.fault(name, f"{value!r} is not a list of ids", 'write it as ["A", "B"]')
            return ()
        if len(set(value)) < len(value):
            self.fault(name, "the same id stands there twice", "keep one")
        return tuple(value)

    def choice(self, name: str, options: Mapping[str, T], default: T | None = None) -> T | None:
        """One of the options, told by a word; None (noted) where it is needed or unknown."""
        word = self.text(name)
        if not word:
            if default is None:
                self.missing(name, f"one of {', '.join(options)}")
            return default
        if (picked := options.get(normalized_name(word))) is not None:
            return picked
        near = difflib.get_close_matches(normalized_name(word), options, n=1)
        hint = f'did you mean "{near[0]}"?' if near else f"use one of {', '.join(options)}"
        self.fault(name, f'{name} "{word}" is not known', hint)
        return None

    def truth(self, name: str, default: bool = False) -> bool:
        """Yes or no."""
        hit = self.found(name)
        if hit is None:
            return default
        word = str(hit[0]).strip().lower()
        if word not in (*YES_WORDS, *NO_WORDS):
            self.fault(hit[1], f'{name} "{hit[0]}" is neither yes nor no', "write yes or no")
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
        """A number in SI within bounds (SI too); NaN, noted, where it is needed or wrong."""
        value = self.maybe(name, quantity, above=above, low=low, high=high, crop=crop)
        if value is not None:
            return value
        if default is not None:
            return default
        unit = f" in {self.usual(quantity)}" if quantity else ""
        self.missing(name, f"a number{unit}")
        return math.nan

    def maybe(
        self,
        name: str,
        quantity: str = "",
        *,
        above: float | None = None,
        low: float | None = None,
        high: float | None = None,
        crop: str | None = None,
    ) -> float | None:
        """As `number`, None where absent."""
        hit = self.found(name, SI_PER_UNIT.get(quantity, {}))
        if hit is None:
            return None
        scale, unit = 1.0, ""
        if quantity:
            unit = hit[2] or self.usual(quantity)
            scale = si_per_unit(quantity, unit, crop)
        raw = self._float(hit[0], hit[1])
        if math.isnan(raw):
            return raw
        self._bounds(hit[1], name, raw, unit, scale, above, low, high)
        return raw * scale

    def share(self, name: str, default: float, *, high: float = 1.0) -> float:
        """A share 0-1; as `maybe_share`."""
        value = self.maybe_share(name, high=high)
        return default if value is None else value

    def maybe_share(self, name: str, *, high: float = 1.0) -> float | None:
        """A share 0-1, None where absent; written as percent, or, up to 1, as the share itself.

        A name that ends in '%', pct or percent always means percent.
        """
        hit = self.found(name, ("pct", "percent"))
        if hit is None:
            return None
        raw = self._float(hit[0], hit[1])
        scale = 1.0 if hit[2] is None and raw <= 1.0 else 0.01
        self._bounds(hit[1], name, raw, "" if scale == 1.0 else "%", scale, None, 0.0, high)
        return raw * scale

    def percent(self, name: str, *, low: float, high: float) -> float | None:
        """A percentage kept as percent (moisture), None where absent."""
        hit = self.found(name, ("pct", "percent"))
        if hit is None:
            return None
        raw = self._float(hit[0], hit[1])
        self._bounds(hit[1], name, raw, "%", 1.0, None, low, high)
        return raw

    def temperature(self, name: str) -> float | None:
        """°C, None where absent."""
        hit = self.found(name, ("f", "c"))
        if hit is None:
            return None
        raw = self._float(hit[0], hit[1])
        us = self.custom.units == "us" if hit[2] is None else hit[2] == "f"
        return (raw - 32.0) / 1.8 if us else raw

    def test_weight(self, name: str, crop: str) -> float | None:
        """Test weight, kg/hL, None where absent."""
        hit = self.found(name, ("lb_bu", "kg_hl"))
        if hit is None:
            return None
        raw = self._float(hit[0], hit[1])
        us = self.custom.units == "us" if hit[2] is None else hit[2] == "lb_bu"
        value = kg_hl(raw, crop) if us else raw
        if not 20.0 <= value <= 95.0 and not math.isnan(raw):
            unit = "lb/bu" if us else "kg/hL"
            self.fault(hit[1], f"{name} {raw:g} {unit} is no test weight", "check the unit")
        return value

    def day(self, name: str) -> date | None:
        """A date, None where absent or wrong."""
        hit = self.found(name)
        if hit is None:
            return None
        if isinstance(hit[0], datetime):
            return hit[0].date()
        if isinstance(hit[0], date):
            return hit[0]
        try:
            return read_date(str(hit[0]), self._order(hit[1]))
        except UnreadableError as error:
            self.fault(hit[1], error.message, error.remedy)
            return None

    def moment(self, name: str) -> datetime | None:
        """An instant (UTC), None where absent or wrong; a date alone is taken at noon."""
        hit = self.found(name)
        if hit is None:
            return None
        try:
            when, clock = self.instant_of(hit[0], hit[1])
        except UnreadableError as error:
            self.fault(hit[1], error.message, error.remedy)
            return None
        return when if clock else when + timedelta(hours=12)

    def instant_of(self, value: object, key: str) -> tuple[datetime, bool]:
        """The instant (UTC) of a value, and whether it has a clock time; may raise Unreadable."""
        tz = self.custom.tz
        if isinstance(value, datetime):
            return (value.astimezone(UTC) if value.tzinfo else farm_time_to_utc(value, tz)), True
        if isinstance(value, date):
            return farm_time_to_utc(datetime.combine(value, time(0)), tz), False
        return read_time(str(value), tz, self._order(key))

    def plain(self, name: str, default: object = None) -> object:
        """A value as it stands, for what is no single text or number."""
        self.asked.add(name)
        self.used.add(name)
        return self.values.get(name, default)

    def listed(self, name: str) -> list[Any]:
        """A list; empty where absent."""
        value = self.plain(name, [])
        if not isinstance(value, list):
            self.fault(name, f"{name} is not a list", "write it in square brackets")
            return []
        return value

    def table(self, name: str, row: str) -> Record:
        """A table inside this one as a record of its own; empty where absent."""
        value = self.plain(name, {})
        if not isinstance(value, dict):
            self.fault(name, f"{name} is not a table", f"write it under a line [{name}]")
            value = {}
        return Record(value, self.custom, self.problems, file=self.file, row=row)

    def tables(self, name: str, row: str = "") -> Iterator[Record]:
        """A list of tables as records, their rows named after their ids."""
        value = self.plain(name, [])
        if not isinstance(value, list) or not all(isinstance(v, dict) for v in value):
            self.fault(name, f"{name} is not a list of tables", f"begin each with [[{name}]]")
            value = []
        for n, one in enumerate(value, start=1):
            label = str(one.get("id", one.get("crop", n)))[:40]
            where = f'{row}[[{name}]] "{label}"'
            yield Record(one, self.custom, self.problems, file=self.file, row=where)

    def rest(self, known: Iterable[str] = ()) -> None:
        """Note names that nothing asked for; `known` are further ones that may be meant."""
        for name in sorted(self.values.keys() - self.used):
            near = difflib.get_close_matches(name, [*known, *self.asked], n=1, cutoff=0.6)
            hint = f'did you mean "{near[0]}"?' if near else "remove it, or correct the name"
            self.fault(name, f'"{self.written[name]}" is not a setting here', hint)

    def _order(self, key: str) -> DateOrder | None:
        return self.custom.order or self.orders.get(key)

    def usual(self, quantity: str) -> str:
        """Unit of a quantity where its name tells none."""
        return DEFAULT_UNITS[quantity][self.custom.units == "metric"]

    def _float(self, value: object, key: str) -> float:
        """A finite number; NaN where a problem was noted."""
        try:
            if isinstance(value, bool) or not isinstance(value, (int, float, str)):
                raise UnreadableError(f"{value} is not a number", "write digits only, as 12.5")
            number = (
                read_number(value.strip().rstrip("%"), self.custom.mark)
                if isinstance(value, str)
                else float(value)
            )
            if not math.isfinite(number):
                raise UnreadableError(
                    f"{value} is not a finite number", "write digits only, as 12.5"
                )
        except OverflowError:
            self.fault(key, f"{str(value)[:20]}… is too large", "check the number")
            return math.nan
        except UnreadableError as error:
            self.fault(key, error.message, error.remedy)
            return math.nan
        return number

    def _bounds(
        self,
        key: str,
        name: str,
        raw: float,
        unit: str,
        scale: float,
        above: float | None,
        low: float | None,
        high: float | None,
    ) -> None:
        label = unit.replace("per_", "/").replace("_", "/")
        space = "" if unit == "%" else " "

        def told(si: float) -> str:
            return f"{si / scale:.4g}{space}{label}".strip()

        value = raw * scale
        got = f"{name} is {raw:g}{space}{label}".strip()
        if above is not None and value <= above:
            self.fault(key, f"{got}, must be above {told(above)}", "correct it")
        elif low is not None and value < low:
            self.fault(key, f"{got}, must be at least {told(low)}", "correct it, or its unit")
        elif high is not None and value > high * (1 + 1e-9):
            self.fault(key, f"{got}, must be at most {told(high)}", "correct it, or its unit")


def table_records(
    table: CsvTable,
    names: Sequence[str],
    custom: Notation,
    problems: list[Problem],
    *,
    file: str,
    orders: Mapping[str, DateOrder | None],
) -> Iterator[Record]:
    """A record of each row, by our `names` of its columns; problems name them as the file does."""
    for number, cells in table.rows:
        record = Record(
            dict(zip(names, cells, strict=True)),
            custom, problems, file=file, row=str(number), orders=orders,
        )  # fmt: skip
        record.written |= dict(zip(names, table.columns, strict=True))
        yield record
