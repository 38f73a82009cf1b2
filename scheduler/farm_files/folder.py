"""The farm folder: farm.toml, fields.csv, fields.geojson, soil.csv and rain.csv into a `Farm`."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field, replace
from pathlib import Path
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
from scheduler.farm_files.vocabulary import CROP_WORDS
from scheduler.language.translation import SOURCE

#: Problems in one error message; `afterrain check` lists all.
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
    rows: dict[str, str] = field(default_factory=dict)  # row of fields.csv by id of the field
    rain: pd.DataFrame = field(default_factory=rain_csv.empty)

    def note(self, file: str, row: str, column: str, message: str, remedy: str) -> None:
        """Note a problem."""
        self.problems.append(
            Problem(file=file, row=row, column=column, message=message, remedy=remedy)
        )

    def text(self, file: str, *, required: bool) -> str | None:
        """Text of a file; None where it is absent, or wrong and noted."""
        path = self.path / file
        if not path.exists():
            if required:
                start = self.path if self.path.name else self.path.absolute()
                remedy = f"write it, or start from `afterrain new {start}-start`"
                self.note(file, "", "", "is missing", remedy)
            return None
        try:
            return file_text(path)
        except UnreadableError as error:
            self.note(file, "", "", error.message, error.remedy)
            return None

    def table(self, file: str, *, required: bool) -> CsvTable | None:
        """Table of a file, its faults noted; None where it is absent, or wrong and noted."""
        text = self.text(file, required=required)
        if text is None:
            return None
        table = read_csv(text)
        for number, message, remedy in table.faults:
            self.note(file, str(number), "", message, remedy)
        return table

    def notation(self, table: CsvTable) -> Notation:
        """Notation of a table; US units and UTC where farm.toml cannot be read."""
        farm = self.settings.notation if self.settings else Notation(units="us", tz=ZoneInfo("UTC"))
        return replace(farm, mark=table.mark)


def read_farm(folder: str | Path, *, guess_soil: str = "") -> Farm:
    """Read the farm of a folder.

    Parameters
    ----------
    guess_soil : texture of fields whose soil neither fields.csv nor soil.csv gives; '' makes such
        a field a problem.

    Raises
    ------
    FarmError
        With the number of problems and the first of them.
    """
    read = _read(Path(folder), guess_soil)
    _raise_problems(read)
    assert read.settings is not None
    return _farm(read.settings, read)


def farm_language(folder: str | Path) -> str:
    """Language of a farm's texts; English where farm.toml cannot be read."""
    read = _Folder(path=Path(folder))
    _settings(read)
    return read.settings.language if read.settings else SOURCE


def farm_problems(folder: str | Path) -> list[Problem]:
    """Every problem of a farm folder, file by file and row by row."""
    return _read(Path(folder)).problems


def read_rain(folder: str | Path, farm: Farm) -> pd.DataFrame:
    """Readings of rain.csv: gauge, time (start of the reading, UTC), hours, mm.

    Empty where there is no rain.csv.

    Raises
    ------
    FarmError
        Where rain.csv is wrong, or farm.toml, which holds places and hours of the gauges.
    """
    read = _Folder(path=Path(folder))
    _settings(read)
    _rain(read)
    _raise_problems(read)
    unknown = sorted(set(read.rain["gauge"]) - set(farm.gauges))
    if unknown:
        raise FarmError(
            f'{folder}: rain.csv has a gauge "{unknown[0]}" that farm.toml does not have'
        )
    return read.rain


def _raise_problems(read: _Folder) -> None:
    """Raise FarmError where there is a problem."""
    n = len(read.problems)
    if n == 1:
        raise FarmError(str(replace(read.problems[0], file=_path(read, read.problems[0].file))))
    if n:
        lines = [f"{n} problems in {read.path}"]
        lines += [f"  {p}" for p in read.problems[:MAX_PRINTED_PROBLEMS]]
        if n > MAX_PRINTED_PROBLEMS:
            lines.append(
                f"  and {n - MAX_PRINTED_PROBLEMS} more: run `afterrain check {read.path}`"
            )
        raise FarmError("\n".join(lines))


def _path(read: _Folder, file: str) -> str:
    """A file of the folder with the path of the folder."""
    return file if file == str(read.path) else str(read.path / file)


def _read(path: Path, guess_soil: str = "") -> _Folder:
    """Read every file of a folder and check them against each other."""
    read = _Folder(path=path, guess_soil=guess_soil)
    if not path.is_dir():
        message = "is not a folder" if path.exists() else "does not exist"
        remedy = "give your farm's folder, or start one with `afterrain new FOLDER`"
        read.note(str(path), "", "", message, remedy)
        return read
    _settings(read)
    _fields(read)
    _rain(read)
    if read.settings is not None:
        _cross_check(read.settings, read)
    return read


def _settings(read: _Folder) -> None:
    """Read farm.toml."""
    text = read.text(settings_toml.FILE, required=True)
    if text is not None:
        read.settings = settings_toml.read_settings(text, read.problems)


def _fields(read: _Folder) -> None:
    """Read fields.csv with the boundaries and the soil of its neighbours."""
    text = read.text(boundaries.FILE, required=False)
    shapes = {} if text is None else boundaries.read_boundaries(text, read.problems)
    survey = read.table(soil_csv.FILE, required=False)
    soils = {} if survey is None else soil_csv.survey_rows(survey, read.problems)
    table = read.table(fields_csv.FILE, required=True)
    if table is not None:
        full = soil_csv.with_survey(table, soils, guess=read.guess_soil)
        read.fields, read.rows = fields_csv.read_fields(
            full, shapes, read.notation(table), read.problems
        )


def _rain(read: _Folder) -> None:
    """Read rain.csv."""
    table = read.table(rain_csv.FILE, required=False)
    if table is None:
        return
    gauges = read.settings.gauges if read.settings else {}
    read.rain = rain_csv.read_rain_table(table, gauges, read.notation(table), read.problems)
    names = sorted(read.rain["gauge"].unique())
    if read.settings and not gauges and len(names) > 1:
        message = f"the gauges {', '.join(names)} have no position"
        remedy = "add a [[gauge]] with id, lat and lon for each"
        read.note(settings_toml.FILE, "", "gauge", message, remedy)


def _farm(settings: Settings, read: _Folder) -> Farm:
    """The farm of a folder without problems."""
    base = settings.base_lat, settings.base_lon
    gauges = {name: (g.lat, g.lon) for name, g in settings.gauges.items()}
    return Farm(
        name=settings.name,
        tz=settings.notation.tz,
        units=settings.notation.units,
        currency=settings.currency,
        language=settings.language,
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
    """Note problems between the parts of a farm."""
    for kind, ids in settings.ids.items():
        if not ids and kind not in ("cart", "gauge", "person"):
            read.note(settings_toml.FILE, "", kind, f"the farm has no {kind}", f"add a [[{kind}]]")
    _check_crews(settings, read)
    all_read = len(settings.points) == len(settings.ids["point"]) > 0
    sold = {crop for point in settings.points for crop in point.markets}
    for_sale = {crop for p in settings.points if not p.seed_only for crop in p.markets}
    for f in read.fields:
        if all_read and f.crop not in (sold if f.purpose == "seed" else for_sale):
            message = f'no delivery point takes {CROP_WORDS[f.crop]} of field "{f.id}"'
            remedy = f'add a [[point.market]] with crop = "{CROP_WORDS[f.crop]}"'
            read.note(settings_toml.FILE, "", "point", message, remedy)
    keeps_seed = {
        crop for p in settings.points for crop, m in p.markets.items() if p.own or m.seed_premium_t
    }
    for f in read.fields:
        if all_read and f.purpose == "seed" and f.crop in sold - keeps_seed:
            message = f'field "{f.id}" is for seed, and nobody keeps its grain as seed'
            remedy = "add bins of your own or a seed_premium, or make its purpose grain"
            read.note(fields_csv.FILE, f'"{f.id}"', "purpose", message, remedy)
    _check_ids(settings, read)
    _check_distances(settings, read)


def _check_crews(settings: Settings, read: _Folder) -> None:
    """Every machine is in one crew; machines of a crew, and those that a person drives, exist."""
    unnamed = {p.row.partition("]]")[0].strip("[") for p in read.problems if p.column == "id"}
    for kind in ("combine", "cart", "truck"):
        if kind in unnamed:  # crews cannot name its machines yet
            continue
        members = Counter(m for c in settings.crews for m in getattr(c, f"{kind}s"))
        for crew in settings.crews:
            for name in getattr(crew, f"{kind}s"):
                if name not in settings.ids[kind]:
                    where, message = f'[[crew]] "{crew.id}"', f'there is no {kind} "{name}"'
                    remedy = f"add a [[{kind}]] with that id"
                    read.note(settings_toml.FILE, where, f"{kind}s", message, remedy)
        for name in settings.ids[kind]:
            where = f'[[{kind}]] "{name}"'
            if members[name] > 1:
                message, remedy = "is in more than one crew", "keep it in one"
                read.note(settings_toml.FILE, where, "", message, remedy)
            elif not members[name] and len(settings.crews) == len(settings.ids["crew"]):
                remedy = f"add it to the {kind}s of a crew, or remove it"
                read.note(settings_toml.FILE, where, "", "is in no crew", remedy)

    machines = {"combine", "cart", "truck"}.union(
        *(settings.ids[kind] for kind in ("combine", "cart", "truck"))
    )
    for person in (p for crew in settings.crews for p in crew.named):
        if person.id in settings.ids["crew"]:
            where, message = f'[[person]] "{person.id}"', "has the id of a crew"
            read.note(settings_toml.FILE, where, "id", message, "give the person another name")
        for name in sorted(set(person.drives) - machines):
            where, message = f'[[person]] "{person.id}"', f'there is no machine "{name}" to drive'
            remedy = 'use "combine", "cart", "truck" or the id of a machine'
            read.note(settings_toml.FILE, where, "drives", message, remedy)


def _check_ids(settings: Settings, read: _Folder) -> None:
    """Ids of places are unique, and the user's distances name places."""
    places = Counter(["base", *settings.ids["point"], *(f.id for f in read.fields)])
    for name in [n for n, count in places.items() if count > 1]:
        if sum(f.id == name for f in read.fields) < places[name]:
            remedy = "give the field or the delivery point another id"
            read.note(settings_toml.FILE, "", "id", f'"{name}" names two places', remedy)
    for pair in settings.moves.distances_km:
        for name in pair:
            if name not in places:
                where, message = "[[moves.distance]]", f'there is no place "{name}"'
                remedy = 'use "base", a field id or a delivery point id'
                read.note(settings_toml.FILE, where, "", message, remedy)


def _check_distances(settings: Settings, read: _Folder) -> None:
    """No place lies absurdly far from the base."""
    base = settings.base_lat, settings.base_lon
    if not (abs(base[0]) <= 90.0 and abs(base[1]) <= 180.0):
        return  # noted where it was read
    tables = [("point", p.id, p.lat, p.lon) for p in settings.points]
    tables += [("gauge", name, g.lat, g.lon) for name, g in settings.gauges.items()]
    places = [(fields_csv.FILE, read.rows.get(f.id, ""), f.id, f.lat, f.lon) for f in read.fields]
    places += [
        (settings_toml.FILE, f'[[{kind}]] "{name}"', name, lat, lon)
        for kind, name, lat, lon in tables
        if lat is not None and lon is not None
    ]
    far = [p for p in places if road_km(base, p[3:]) > MAX_KM_FROM_BASE]
    fields_far = sum(file == fields_csv.FILE for file, *_ in far)
    if read.fields and fields_far == len(read.fields) > 1:
        message = "every field lies far from the base"
        remedy = "check lat and lon of [base], and their signs: west and south are negative"
        read.note(settings_toml.FILE, "[base]", "lat", message, remedy)
        return
    for file, row, name, lat, lon in far:
        away = show_distance(road_km(base, (lat, lon)), settings.notation.units)
        column, remedy = "lat", "check its lat and lon, and their signs"
        for which, other in (("lon", (lat, -lon)), ("lat", (-lat, lon)), ("lat", (lon, lat))):
            if abs(other[0]) <= 90.0 and road_km(base, other) <= MAX_KM_FROM_BASE:
                column = which
                remedy = f"did you mean lat {other[0]:g} and lon {other[1]:g}?"
                break
        read.note(file, row, column, f'"{name}" lies {away} from the base', remedy)
