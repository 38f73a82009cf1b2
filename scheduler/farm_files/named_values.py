"""Values of one row or table by name. Problems are noted with their place; none is raised."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import NamedTuple, Self
from zoneinfo import ZoneInfo

from scheduler.errors import Problem
from scheduler.farm.units import Units, normalized_name, unit_name
from scheduler.farm_files.dates import DateOrder
from scheduler.language.locale_formats import DecimalMark

#: A cell of a table (text), or a value of a TOML file.
Raw = str | bool | int | float | datetime | date | time | list["Raw"] | dict[str, "Raw"] | None
#: Cells that hold no value.
BLANK_CELLS = ("", "-", "n/a", "na", "none", "null", "?")


@dataclass(frozen=True, kw_only=True)
class Notation:
    """How a farm writes values.

    Attributes
    ----------
    units, tz : of the farm.
    order : order of day and month in dates with slashes; None where farm.toml sets none.
    mark : decimal mark of the file being read; None where its numbers leave that open.
    """

    units: Units
    tz: ZoneInfo
    order: DateOrder | None = None
    mark: DecimalMark | None = "."


class Found(NamedTuple):
    """A value, the name that holds it, and the unit at the end of that name."""

    value: Raw
    key: str
    unit: str | None


class NamedValues:
    """Values by normalised name; see `units.normalized_name`.

    A name may end in a unit, which then counts instead of the farm's.

    Parameters
    ----------
    values : by name as the file writes it.
    notation : how the farm writes values.
    problems : list that problems are added to.
    file, row : place of the values, for messages.
    orders : order of day and month by column.

    Attributes
    ----------
    failed : whether a problem was noted here.
    """

    def __init__(
        self,
        values: Mapping[str, Raw],
        notation: Notation,
        problems: list[Problem],
        *,
        file: str,
        row: str = "",
        orders: Mapping[str, DateOrder | None] | None = None,
    ) -> None:
        self.values = {normalized_name(k): v for k, v in values.items()}
        self.written_names = {normalized_name(k): k for k in values}
        self.notation, self.problems = notation, problems
        self.file, self.row = file, row
        self.orders = orders or {}
        self.failed = False
        self._used: set[str] = set()
        self._asked: set[str] = set()
        self._missing: dict[str, Problem] = {}
        self._keys: dict[str, str] = {}  # asked name -> the name, with its unit, that holds it

    def note(self, name: str, message: str, remedy: str) -> None:
        """Note a problem with a value."""
        key = self._keys.get(name, name)
        self.note_at(self.row, self.written_names.get(key, key), message, remedy)

    def note_at(self, row: str, column: str, message: str, remedy: str) -> None:
        """Note a problem in an inner table that has been read already."""
        self.failed = True
        self.problems.append(
            Problem(file=self.file, row=row, column=column, message=message, remedy=remedy)
        )

    def note_missing(self, name: str, expected: str) -> None:
        """Note that a required value is missing."""
        self.note(name, f"{name} is missing", f"give {expected}")
        self._missing[name] = self.problems[-1]

    def find(self, name: str, units: Iterable[str] = ()) -> Found | None:
        """The value of a name, with or without a unit at its end; None where blank or absent."""
        found = None
        self._asked.add(name)
        for key, unit in [(name, None), *((f"{name}_{u}", u) for u in units)]:
            if key in self.values:
                self._used.add(key)
                value = self.values[key]
                if value is not None and str(value).strip().lower() not in BLANK_CELLS:
                    if found is not None:
                        same = self.written_names[found.key]
                        self.note(key, f'repeats "{same}"', "keep one")
                    found = Found(value, key, unit)
                    self._keys[name] = key
        return found

    def raw(self, name: str, default: Raw = None) -> Raw:
        """A value as it stands, blank or not."""
        self._asked.add(name)
        self._used.add(name)
        return self.values.get(name, default)

    def raw_list(self, name: str) -> list[Raw]:
        """A list; empty where absent or wrong."""
        value = self.raw(name, [])
        if not isinstance(value, list):
            self.note(name, f"{name} is not a list", "write it in square brackets")
            return []
        return value

    def table(self, name: str, row: str) -> Self:
        """An inner table; empty where absent or wrong."""
        value = self.raw(name, {})
        if not isinstance(value, dict):
            self.note(name, f"{name} is not a table", f"write it under a line [{name}]")
            value = {}
        return type(self)(value, self.notation, self.problems, file=self.file, row=row)

    def tables(self, name: str, row: str = "") -> Iterator[Self]:
        """The tables of a list; their rows are named after their ids."""
        value = self.raw(name, [])
        tables = [v for v in value if isinstance(v, dict)] if isinstance(value, list) else []
        if not isinstance(value, list) or len(tables) < len(value):
            self.note(name, f"{name} is not a list of tables", f"begin each with [[{name}]]")
            return
        for n, table in enumerate(tables, start=1):
            label = str(table.get("id", table.get("crop", n)))[:40]
            where = f'{row}[[{name}]] "{label}"'
            yield type(self)(table, self.notation, self.problems, file=self.file, row=where)

    def note_unused(self, known: Iterable[str] = ()) -> None:
        """Note names that nothing asked for; `known` are further names that may be meant."""
        for name in sorted(self.values.keys() - self._used):
            near = difflib.get_close_matches(name, [*known, *self._asked], n=1, cutoff=0.6)
            hint = f'did you mean "{near[0]}"?' if near else "remove it, or correct the name"
            if near and near[0] in self._missing:  # one slip of the pen is one problem
                self.problems.remove(self._missing.pop(near[0]))
            self.note(name, f'"{self.written_names[name]}" is not a setting here', hint)

    def default_unit(self, quantity: str) -> str:
        """Unit of a number whose name carries none."""
        return unit_name(quantity, self.notation.units)

    def date_order(self, key: str) -> DateOrder | None:
        """Order of day and month of a value: the farm's, else that of its column."""
        return self.notation.order or self.orders.get(key)
