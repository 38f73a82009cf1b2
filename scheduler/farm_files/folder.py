"""The farm folder: farm.toml, fields.csv, fields.geojson and rain.csv into a `Farm`."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

import pandas as pd

from scheduler.errors import FarmError, Problem, UnreadableError
from scheduler.farm.distances import road_km
from scheduler.farm.model import Farm, Field
from scheduler.farm.units import show_distance
from scheduler.farm_files import boundaries, fields_csv, rain_csv, settings_toml, soil_csv
from scheduler.farm_files.csv_table import CsvTable, file_text, read_csv
from scheduler.farm_files.named_values import Notation
from scheduler.farm_files.settings_toml import Settings

T = TypeVar("T")
#: Problems told in one error message; the rest is left to `afterrain check`.
MAX_PRINTED_PROBLEMS = 5
#: Farthest a place may lie from the base, km; assumed, to catch a lost sign or swapped degrees.
MAX_KM_FROM_BASE = 500.0


@dataclass(kw_only=True)
class _Folder:
    """A farm folder while it is read."""

    path: Path
    guess_soil: str = ""
    problems: list[Problem] = field(default_factory=list)
    settings: Settings | None = None
    fields: tuple[Field, ...] = ()
    rain: pd.DataFrame = field(default_factory=rain_csv.empty)

    def fault(self, file: str, row: str, column: str, message: str, remedy: str) -> None:
        self.problems.append(
            Problem(file=file, row=row, column=column, message=message, remedy=remedy)
        )

    def text(self, file: str, *, needed: bool) -> str | None:
        """Text of a file, None with the problem noted."""
        path = self.path / file
        if not needed and not path.exists():
            return None
        try:
            return file_text(path)
        except UnreadableError as error:
            self.fault(file, "", "", error.message, error.remedy)
            return None


def read_farm(folder: str | Path, *, guess_soil: str = "") -> Farm:
    """Read the farm of a folder.

    Soil that fields.csv does not give is taken from soil.csv, else from `guess_soil`, a texture.

    Raises
    ------
    FarmError
        With every problem counted and the first of them told.
    """
    read = _read(Path(folder), guess_soil)
    _stop(read)
    assert read.settings is not None
    return _farm(read.settings, read)


def farm_problems(folder: str | Path) -> list[Problem]:
    """Everything that is wrong in a farm folder, file by file and in the order of its rows."""
    return _read(Path(folder)).problems


def read_rain(folder: str | Path, farm: Farm) -> pd.DataFrame:
    """What the gauges caught: gauge, time (UTC, start of the reading), hours, mm.

    Empty where there is no rain.csv.

    Raises
    ------
    FarmError
        Where rain.csv is wrong, or farm.toml, which says where and when its gauges are read.
    """
    read = _Folder(path=Path(folder))
    _settings(read)
    _rain(read)
    _stop(read)
    strange = sorted(set(read.rain["gauge"]) - set(farm.gauges))
    if strange:
        raise FarmError(f'{folder}: rain.csv has a gauge "{strange[0]}" that the farm has not')
    return read.rain


def _stop(read: _Folder) -> None:
    """Raise FarmError if there is any problem."""
    n = len(read.problems)
    if n:
        lines = [f"{n} problem{'s' if n > 1 else ''} in {read.path}"]
        lines += [f"  {p}" for p in read.problems[:MAX_PRINTED_PROBLEMS]]
        if n > MAX_PRINTED_PROBLEMS:
            lines.append(
                f"  and {n - MAX_PRINTED_PROBLEMS} more: run `afterrain check {read.path}`"
            )
        raise FarmError("\n".join(lines))


def _read(path: Path, guess_soil: str = "") -> _Folder:
    read = _Folder(path=path, guess_soil=guess_soil)
    if not path.is_dir():
        read.fault(
            str(path),
            "",
            "",
            "is no folder" if path.exists() else "does not exist",
            "give your farm's folder, or start one with `afterrain new FOLDER`",
        )
        return read
    _settings(read)
    _fields(read)
    _rain(read)
    if read.settings is not None:
        _cross_check(read.settings, read)
    return read


def _settings(read: _Folder) -> None:
    text = read.text(settings_toml.FILE, needed=True)
    if text is not None:
        read.settings = settings_toml.read_settings(text, read.problems)


def _table(
    read: _Folder, file: str, rows: Callable[..., T], known: object, *, needed: bool
) -> T | None:
    """What `rows` makes of a table file, its faults noted.

    Where farm.toml cannot tell the units, US ones are taken, so as to check on.
    """
    text = read.text(file, needed=needed)
    if text is None:
        return None
    table = read_csv(text)
    for number, message, remedy in table.faults:
        read.fault(file, str(number), "", message, remedy)
    notation = read.settings.notation if read.settings else Notation(units="us", tz=ZoneInfo("UTC"))
    return rows(table, known, replace(notation, mark=table.mark), read.problems)


def _fields(read: _Folder) -> None:
    text = read.text(boundaries.FILE, needed=False)
    shapes = {} if text is None else boundaries.read_boundaries(text, read.problems)
    survey = read.text(soil_csv.FILE, needed=False)
    soils = {} if survey is None else soil_csv.survey_rows(read_csv(survey))

    def rows(table: CsvTable, *rest: Any) -> tuple[Field, ...]:
        full = soil_csv.with_survey(table, soils, guess=read.guess_soil)
        return fields_csv.read_fields(full, *rest)

    found = _table(read, fields_csv.FILE, rows, shapes, needed=True)
    read.fields = found or ()


def _rain(read: _Folder) -> None:
    gauges = read.settings.gauges if read.settings else {}
    found = _table(read, rain_csv.FILE, rain_csv.read_rain_table, gauges, needed=False)
    if found is None:
        return
    read.rain = found
    names = sorted(found["gauge"].unique())
    if read.settings and not gauges and len(names) > 1:
        read.fault(
            settings_toml.FILE,
            "",
            "gauge",
            f"the gauges {', '.join(names)} have no place",
            "add a [[gauge]] with id, lat and lon for each",
        )


def _farm(settings: Settings, read: _Folder) -> Farm:
    base = settings.base_lat, settings.base_lon
    gauges = {name: (g.lat, g.lon) for name, g in settings.gauges.items()}
    return Farm(
        name=settings.name,
        tz=settings.notation.tz,
        units=settings.notation.units,
        currency=settings.currency,
        base_lat=base[0],
        base_lon=base[1],
        elevation_m=settings.elevation_m,
        crews=settings.crews,
        combines=settings.combines,
        carts=settings.carts,
        trucks=settings.trucks,
        points=settings.points,
        fields=read.fields,
        rules=settings.rules,
        moves=settings.moves,
        losses=settings.losses,
        gauges=gauges or dict.fromkeys(read.rain["gauge"].unique(), base),
    )


def _cross_check(settings: Settings, read: _Folder) -> None:
    """Note what is wrong between the parts of a farm."""
    for kind, ids in settings.ids.items():
        if not ids and kind not in ("cart", "gauge"):
            read.fault(settings_toml.FILE, "", kind, f"the farm has no {kind}", f"add a [[{kind}]]")
    _check_crews(settings, read)
    whole = len(settings.points) == len(settings.ids["point"]) > 0
    sold = {crop for point in settings.points for crop in point.markets}
    for f in read.fields:
        if whole and f.crop not in sold:
            read.fault(
                settings_toml.FILE,
                "",
                "point",
                f'no delivery point takes {f.crop} of field "{f.id}"',
                f'add a [[point.market]] with crop = "{f.crop}"',
            )
    _check_places(settings, read)


def _check_crews(settings: Settings, read: _Folder) -> None:
    """Every machine is in one crew, and every machine of a crew is there."""
    for kind in ("combine", "cart", "truck"):
        members = Counter(m for c in settings.crews for m in getattr(c, f"{kind}s"))
        for crew in settings.crews:
            for name in getattr(crew, f"{kind}s"):
                if name not in settings.ids[kind]:
                    where = f'[[crew]] "{crew.id}"'
                    read.fault(
                        settings_toml.FILE,
                        where,
                        f"{kind}s",
                        f'there is no {kind} "{name}"',
                        f"add a [[{kind}]] with that id",
                    )
        for name in settings.ids[kind]:
            if members[name] > 1:
                read.fault(
                    settings_toml.FILE,
                    f'[[{kind}]] "{name}"',
                    "",
                    "is in more than one crew",
                    "keep it in one",
                )
            elif not members[name] and len(settings.crews) == len(settings.ids["crew"]):
                read.fault(
                    settings_toml.FILE,
                    f'[[{kind}]] "{name}"',
                    "",
                    "is in no crew",
                    f"add it to the {kind}s of a crew, or remove it",
                )


def _check_places(settings: Settings, read: _Folder) -> None:
    """Ids of places are unique, given distances name them, and nothing lies absurdly far."""
    places = Counter(["base", *settings.ids["point"], *(f.id for f in read.fields)])
    for name in [n for n, count in places.items() if count > 1]:
        if sum(f.id == name for f in read.fields) < places[name]:
            read.fault(
                settings_toml.FILE,
                "",
                "id",
                f'"{name}" names two places',
                "give the field or the delivery point another id",
            )
    for pair in settings.moves.distances_km:
        for name in pair:
            if name not in places:
                read.fault(
                    settings_toml.FILE,
                    "[[moves.distance]]",
                    "",
                    f'there is no place "{name}"',
                    'use "base", a field id or a delivery point id',
                )
    base = settings.base_lat, settings.base_lon
    spots = [(fields_csv.FILE, f.id, f.lat, f.lon) for f in read.fields]
    spots += [
        (settings_toml.FILE, p.id, p.lat, p.lon)
        for p in settings.points
        if p.lat is not None and p.lon is not None
    ]
    spots += [(settings_toml.FILE, g, s.lat, s.lon) for g, s in settings.gauges.items()]
    for file, name, lat, lon in spots:
        if (km := road_km(base, (lat, lon))) > MAX_KM_FROM_BASE:
            away = show_distance(km, settings.notation.units)
            read.fault(
                file,
                f'"{name}"',
                "lat",
                f"lies {away} from the base",
                "check its lat and lon, and their signs",
            )
