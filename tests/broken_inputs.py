"""Broken inputs, each with the one line that the command answers.

An input is the starter farm with one change, and a command. Its line names the file, the row and
column where there is one, and what to do. `{folder}` stands for the farm folder, and `…` for
text that grows with the program: a usage, a list of kinds, a row of the starter's farm.toml.
"""

import json
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import NamedTuple

from farm_folder import HEAD as FIELDS
from farm_folder import ROW
from places import SAMPLE

PLAN = "plan {folder} --on 2026-08-12"
GAUGES = "gauge,date,amount_in"
SOIL = "id,texture,sand_pct,clay_pct,organic_matter_pct,drainage"
HOURS = "time,rain_mm,temp_c,humidity_pct,wind_kmh"
ENTRIES = "kind,subject,at,rain_in,moisture_pct,area_ac"
SQUARE = (
    '{"type":"Polygon","coordinates":'
    "[[[-99.5,47.1],[-99.49,47.1],[-99.49,47.107],[-99.5,47.107],[-99.5,47.1]]]}"
)


class Broken(NamedTuple):
    """One broken input.

    Attributes
    ----------
    title : what is wrong, in a few words.
    words : the command's words.
    line : what the command prints.
    code : its exit code.
    change : makes the change in a farm folder.
    before : words of a command that runs before.
    """

    title: str
    words: str
    line: str
    code: int = 1
    change: Callable[[Path], None] = lambda folder: None
    before: str = ""


def command(title: str, words: str, line: str, code: int = 1) -> Broken:
    """A command on the starter farm as it is."""
    return Broken(title, words, line, code)


def log(title: str, words: str, line: str, code: int = 1) -> Broken:
    """An entry of the season book."""
    return Broken(title, f"log {{folder}} {words}", line, code)


def refused(title: str, words: str, problem: str) -> Broken:
    """An entry that is refused with the usage of its kind."""
    return log(title, words, f"{problem}; it is written: afterrain log FOLDER …")


def second(title: str, line: str) -> Broken:
    """A second reading of a gauge, a minute after the first."""
    at = "--at 2026-08-12T06:4"
    words = f"log {{folder}} rain yard 0.6 {at}1"
    return Broken(title, words, line, before=f"log {{folder}} rain yard 0.5 {at}0")


def written(title: str, file: str, content: str | bytes, line: str, words: str = PLAN) -> Broken:
    """A file written anew."""
    data = content.encode() if isinstance(content, str) else content
    return Broken(title, words, line, change=lambda folder: _write(folder / file, data))


def _write(path: Path, data: bytes) -> None:
    path.write_bytes(data)


def is_folder(title: str, file: str, line: str, words: str = PLAN) -> Broken:
    """A folder in the place of a file."""

    def change(folder: Path) -> None:
        (folder / file).unlink(missing_ok=True)
        (folder / file).mkdir()

    return Broken(title, words, line, change=change)


def toml(title: str, old: str, new: str, line: str) -> Broken:
    """A passage of farm.toml replaced."""

    def change(folder: Path) -> None:
        text = (folder / "farm.toml").read_text(encoding="utf-8")
        assert old in text, title
        (folder / "farm.toml").write_text(text.replace(old, new, 1), encoding="utf-8")

    return Broken(title, PLAN, line, change=change)


def cell(title: str, column: str, value: str, line: str) -> Broken:
    """A cell in the first row of fields.csv replaced."""

    def change(folder: Path) -> None:
        head, row, *rest = (folder / "fields.csv").read_text(encoding="utf-8").splitlines()
        cells = row.split(",")
        cells[head.split(",").index(column)] = f'"{value}"' if "," in value else value
        lines = [head, ",".join(cells), *rest]
        (folder / "fields.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")

    return Broken(title, PLAN, line, change=change)


def rain(title: str, lines: Sequence[str], line: str) -> Broken:
    """rain.csv of these lines."""
    return written(title, "rain.csv", "\n".join(lines) + "\n", line)


def given(title: str, file: str, content: str, line: str) -> Broken:
    """A forecast file of this content."""
    words = f"ready {{folder}} --on 2026-08-12 --forecast {{folder}}/{file}"
    return written(title, file, content, line, words)


def forecast(title: str, lines: Sequence[str], line: str) -> Broken:
    """A forecast table of these lines."""
    return given(title, "f.csv", "\n".join(lines) + "\n", line)


def far(title: str, line: str) -> Broken:
    """The sample's forecast moved twenty degrees to the east."""
    stored = next((SAMPLE / "forecasts").glob("gridpoint*.json")).read_text(encoding="utf-8")
    moved = json.dumps(json.loads(stored)).replace("-99.", "-79.")
    return given(title, "f.json", moved, line)


def entries(title: str, lines: Sequence[str], line: str) -> Broken:
    """A table of entries to import."""
    words = "import {folder} {folder}/t.csv"
    return written(title, "t.csv", "\n".join(lines) + "\n", line, words)


def weather(title: str, option: str, lines: Sequence[str], line: str, code: int = 1) -> Broken:
    """A table of weather to import."""
    words = f"import {{folder}} {{folder}}/t.csv {option}"
    return written(title, "t.csv", "\n".join(lines) + "\n", line, words)._replace(code=code)


def hours(
    n: int,
    *,
    first: int = 6,
    day: int = 12,
    rain: str = "0",
    temp: str = "20",
    hum: str = "60",
    wind: str = "10",
) -> list[str]:
    """Rows of a dry forecast in August 2026, from an hour of a day on."""
    begin = datetime(2026, 8, day, first)
    return [
        f"{begin + timedelta(hours=h):%Y-%m-%d %H:%M},{rain},{temp},{hum},{wind}" for h in range(n)
    ]


def feature(geometry: str, properties: str = '{"id":"1"}', times: int = 1) -> str:
    """A GeoJSON collection of one feature, or of the same one several times."""
    one = f'{{"type":"Feature","properties":{properties},"geometry":{geometry}}}'
    return f'{{"type":"FeatureCollection","features":[{",".join([one] * times)}]}}'


BROKEN = (
    # ---- farm.toml
    toml(
        "time zone by city alone",
        '"America/Chicago"',
        '"Chicago"',
        (
            '{folder}/farm.toml, time_zone: time zone "Chicago" is not known; use a name '
            'such as "America/Chicago"'
        ),
    ),
    toml(
        "time zone left out",
        'time_zone = "America/Chicago"',
        "#",
        (
            "{folder}/farm.toml, time_zone: time_zone is missing; give a name such as "
            '"America/Chicago"'
        ),
    ),
    toml(
        "unknown units",
        'units = "us"',
        'units = "imperial"',
        '{folder}/farm.toml, units: units "imperial" is not known; use one of us, metric',
    ),
    toml(
        "unknown language",
        'currency = "$"',
        'language = "klingon"',
        '{folder}/farm.toml, language: language "klingon" is not known; use one of en, de, es',
    ),
    toml(
        "base without lat",
        "lat = 47.100                    # degrees north; south is negative",
        "",
        "{folder}/farm.toml [base], lat: lat is missing; give a number",
    ),
    toml(
        "base beyond the pole",
        "lat = 47.100                    # d",
        "lat = 147.100 # d",
        (
            "{folder}/farm.toml [base], lat: lat is 147.1, must be at most 90; correct it, "
            "or its unit"
        ),
    ),
    toml(
        "base on the other side of the world",
        "lon = -99.500                   # d",
        "lon = 99.500 # d",
        (
            "{folder}/farm.toml [base], lat: every field lies far from the base; check lat "
            "and lon of [base], and their signs: west and south are negative"
        ),
    ),
    toml(
        "elevation in the sky",
        "elevation_ft = 1500",
        "elevation_ft = 150000",
        (
            "{folder}/farm.toml [base], elevation_ft: elevation is 150000 ft, must be at "
            "most 16404 ft; correct it, or its unit"
        ),
    ),
    toml(
        "quotation mark not closed",
        'name = "My farm"',
        'name = "My farm',
        (
            "{folder}/farm.toml row …: is not valid TOML: illegal character '\\n'; "
            "correct that line, or the one above it"
        ),
    ),
    toml(
        "decimal comma in TOML",
        "speed_mph = 3.8",
        "speed_mph = 3,8",
        (
            "{folder}/farm.toml row …: is not valid TOML: expected newline or end of "
            "document after a statement; correct that line, or the one above it"
        ),
    ),
    toml(
        "a setting twice",
        "tank_bu = 400",
        "tank_bu = 400\ntank_bu = 400",
        (
            "{folder}/farm.toml row …: is not valid TOML: cannot overwrite a value; "
            "correct that line, or the one above it"
        ),
    ),
    toml(
        "misspelt setting",
        "header_ft = 40",
        "headr_ft = 40",
        (
            '{folder}/farm.toml [[combine]] "big combine", headr_ft: "headr_ft" is not a '
            'setting here; did you mean "header"?'
        ),
    ),
    toml(
        "header as a word",
        "header_ft = 40",
        'header_ft = "forty"',
        (
            '{folder}/farm.toml [[combine]] "big combine", header_ft: "forty" is not a '
            "number; write digits only, as 12.5"
        ),
    ),
    toml(
        "header a mile wide",
        "header_ft = 40",
        "header_ft = 5280",
        (
            '{folder}/farm.toml [[combine]] "big combine", header_ft: header is 5280 ft, '
            "must be at most 65.62 ft; correct it, or its unit"
        ),
    ),
    toml(
        "header of no width",
        "header_ft = 40",
        "header_ft = 0",
        (
            '{folder}/farm.toml [[combine]] "big combine", header_ft: header is 0 ft, must '
            "be at least 3.281 ft; correct it, or its unit"
        ),
    ),
    toml(
        "negative speed",
        "speed_mph = 3.8",
        "speed_mph = -3.8",
        (
            '{folder}/farm.toml [[combine]] "big combine", speed_mph: speed is -3.8 mph, '
            "must be at least 0.3107 mph; correct it, or its unit"
        ),
    ),
    toml(
        "speed of a car",
        "speed_mph = 3.8",
        "speed_mph = 38",
        (
            '{folder}/farm.toml [[combine]] "big combine", speed_mph: speed is 38 mph, must '
            "be at most 9.321 mph; correct it, or its unit"
        ),
    ),
    toml(
        "efficiency as a fraction in a column of percent",
        "efficiency_pct = 70",
        "efficiency_pct = 0.75",
        (
            '{folder}/farm.toml [[combine]] "big combine", efficiency_pct: efficiency is '
            "0.75%; write 75 for 75%"
        ),
    ),
    toml(
        "efficiency of none",
        "efficiency_pct = 70",
        "efficiency_pct = 0",
        (
            '{folder}/farm.toml [[combine]] "big combine", efficiency_pct: efficiency is 0%, '
            "must be above 0%; correct it"
        ),
    ),
    toml(
        "efficiency above all",
        "efficiency_pct = 70",
        "efficiency_pct = 130",
        (
            '{folder}/farm.toml [[combine]] "big combine", efficiency_pct: efficiency is '
            "130%, must be at most 100%; correct it, or its unit"
        ),
    ),
    toml(
        "tank in pounds",
        "tank_bu = 400",
        "tank_bu = 24000",
        (
            '{folder}/farm.toml [[combine]] "big combine", tank_bu: tank is 24000 bu, must '
            "be at most 851.3 bu; correct it, or its unit"
        ),
    ),
    toml(
        "unloading missing",
        "unload_bu_min = 270",
        "",
        (
            '{folder}/farm.toml [[combine]] "big combine", unload: unload is missing; give a '
            "number in bu_min"
        ),
    ),
    toml(
        "grain flow of zero",
        "grain_flow_bu_h = 1500",
        "grain_flow_bu_h = 0",
        (
            '{folder}/farm.toml [[combine]] "big combine", grain_flow_bu_h: grain_flow is 0 '
            "bu/h, must be at least 36.74 bu/h; correct it, or its unit"
        ),
    ),
    toml(
        "weight in tonnes by mistake",
        "loaded_weight_lb = 62000",
        "loaded_weight_lb = 28",
        (
            '{folder}/farm.toml [[combine]] "big combine", loaded_weight_lb: loaded_weight '
            "is 28 lb, must be at least 6614 lb; correct it, or its unit"
        ),
    ),
    toml(
        "breakdown with one time",
        '# down = [["2026-08-12 06:00", "2026-08-13 12:00"]]',
        'down = [["2026-08-12 06:00"]] #',
        (
            "{folder}/farm.toml [[combine]] \"big combine\", down: ['2026-08-12 06:00'] is not "
            'a pair of times; write it as [["2026-08-12 06:00", "2026-08-13 12:00"]]'
        ),
    ),
    toml(
        "breakdown that ends before it begins",
        '# down = [["2026-08-12 06:00", "2026-08-13 12:00"]]',
        'down = [["2026-08-13 12:00", "2026-08-12 06:00"]] #',
        (
            '{folder}/farm.toml [[combine]] "big combine", down: 2026-08-12 06:00 is not '
            "after 2026-08-13 12:00; swap them"
        ),
    ),
    toml(
        "breakdown in the hour that clocks skip",
        '# down = [["2026-08-12 06:00", "2026-08-13 12:00"]]',
        'down = [["2026-03-08 02:30", "2026-03-09 12:00"]] #',
        (
            '{folder}/farm.toml [[combine]] "big combine", down: 2026-03-08 02:30 does not '
            "exist in America/Chicago: clocks go forward there; use the hour after it, or "
            "give the time with its offset, as 02:30-06:00"
        ),
    ),
    toml(
        "hired from next week",
        '# from = "2026-08-20"',
        'from = "next week" #',
        (
            '{folder}/farm.toml [[combine]] "big combine", from: "next week" is not a date; '
            "write the date as 2026-08-12"
        ),
    ),
    toml(
        "cart without capacity",
        "capacity_bu = 1000",
        "",
        ('{folder}/farm.toml [[cart]] "cart", capacity: capacity is missing; give a number in bu'),
    ),
    toml(
        "truck with a negative payload",
        "payload_lb = 54000",
        "payload_lb = -54000",
        (
            '{folder}/farm.toml [[truck]] "semi", payload_lb: payload is -54000 lb, must be '
            "at least 1102 lb; correct it, or its unit"
        ),
    ),
    toml(
        "truck of an unknown setting",
        "loaded_speed_mph = 45\nempty_speed_mph = 50",
        "loaded_speed_mph = 45\nempty_speed_mph = 50\ncolour = 3",
        (
            '{folder}/farm.toml [[truck]] "semi", colour: "colour" is not a setting here; '
            "remove it, or correct the name"
        ),
    ),
    toml(
        "two carts of one name",
        "[[cart]]     ",
        '[[cart]]\nid = "cart"\ncapacity_bu = 1000\nunload_bu_min = 450\n[[cart]]    ',
        (
            '{folder}/farm.toml [[cart]] "cart", id: cart "cart" is there twice; give each '
            "its own id"
        ),
    ),
    toml(
        "two carts that differ in capitals",
        "[[cart]]     ",
        '[[cart]]\nid = "Cart"\ncapacity_bu = 1000\nunload_bu_min = 450\n[[cart]]    ',
        (
            '{folder}/farm.toml [[cart]] "cart", id: "cart" and "Cart" differ in capitals or '
            "signs only; give each its own id"
        ),
    ),
    toml(
        "a machine without a name",
        'id = "cart"\n',
        "",
        '{folder}/farm.toml [[cart]] "1", id: id is missing; give a name of your own',
    ),
    toml(
        "crew with a truck that is not there",
        'trucks = ["semi", "tandem"]',
        'trucks = ["semi", "tandem", "T9"]',
        (
            '{folder}/farm.toml [[crew]] "crew 1", trucks: there is no truck "T9"; add a '
            "[[truck]] with that id"
        ),
    ),
    toml(
        "truck in no crew",
        'trucks = ["semi", "tandem"]',
        'trucks = ["semi"]',
        (
            '{folder}/farm.toml [[truck]] "tandem": is in no crew; add it to the trucks of a '
            "crew, or remove it"
        ),
    ),
    toml(
        "combine in no crew",
        'combines = ["big combine"]',
        "combines = []",
        (
            '{folder}/farm.toml [[combine]] "big combine": is in no crew; add it to the '
            "combines of a crew, or remove it"
        ),
    ),
    toml(
        "trucks as text",
        'trucks = ["semi", "tandem"]',
        'trucks = "semi"',
        (
            "{folder}/farm.toml [[crew]] \"crew 1\", trucks: 'semi' is not a list of ids; "
            'write it as ["A", "B"]'
        ),
    ),
    toml(
        "the same truck twice in a crew",
        'trucks = ["semi", "tandem"]',
        'trucks = ["semi", "semi", "tandem"]',
        '{folder}/farm.toml [[crew]] "crew 1", trucks: the same id is there twice; keep one',
    ),
    toml(
        "no people",
        "people = 4 ",
        "people = 0 ",
        (
            '{folder}/farm.toml [[crew]] "crew 1", people: people is 0, must be at least 1; '
            "correct it, or its unit"
        ),
    ),
    toml(
        "people left out",
        "people = 4 ",
        "# ",
        (
            '{folder}/farm.toml [[crew]] "crew 1", people: people is missing; give their '
            "number, or a [[person]] for each"
        ),
    ),
    toml(
        "people as a word",
        "people = 4 ",
        'people = "four" ',
        (
            '{folder}/farm.toml [[crew]] "crew 1", people: "four" is not a number; write '
            "digits only, as 12.5"
        ),
    ),
    toml(
        "hours in words",
        'hours = "07:00-22:00"',
        'hours = "dawn to dusk"',
        (
            '{folder}/farm.toml [[crew]] "crew 1", hours: "dawn to dusk" is not a span of '
            'hours; write them as "07:00-21:00", or "closed"'
        ),
    ),
    toml(
        "hours beyond the clock",
        'hours = "07:00-22:00"',
        'hours = "07:00-25:00"',
        (
            '{folder}/farm.toml [[crew]] "crew 1", hours: "07:00-25:00" is not a span of '
            'hours; write them as "07:00-21:00", or "closed"'
        ),
    ),
    toml(
        "hours of an unknown day",
        'hours = "07:00-22:00"',
        'hours = { funday = "07:00-22:00" }',
        (
            '{folder}/farm.toml [[crew]] "crew 1", hours: "funday" is not a day; use mon to '
            "sun, weekdays or weekend"
        ),
    ),
    toml(
        "hours left out",
        'hours = "07:00-22:00"',
        "#",
        (
            '{folder}/farm.toml [[crew]] "crew 1", hours: hours is missing; give them as '
            '"07:00-21:00", or by weekday'
        ),
    ),
    toml(
        "longest day of thirty hours",
        "hours_max_day = 14\nservice_min",
        "hours_max_day = 30\nservice_min",
        (
            '{folder}/farm.toml [[crew]] "crew 1", hours_max_day: hours_max_day is 30, must '
            "be at most 24; correct it, or its unit"
        ),
    ),
    toml(
        "service of ten hours",
        "service_min = 30 ",
        "service_min = 600 ",
        (
            '{folder}/farm.toml [[crew]] "crew 1", service_min: service_min is 600, must be at '
            "most 300; correct it, or its unit"
        ),
    ),
    toml(
        "meals of minus half an hour",
        "meal_min = 30 ",
        "meal_min = -30 ",
        (
            '{folder}/farm.toml [[crew]] "crew 1", meal_min: meal_min is -30, must be at least 0; '
            "correct it, or its unit"
        ),
    ),
    toml(
        "pickup header of a hundred feet",
        "# pickup_ft = 30 ",
        "pickup_ft = 100 ",
        (
            '{folder}/farm.toml [[combine]] "big combine", pickup_ft: pickup is 100 ft, must be at '
            "most 65.62 ft; correct it, or its unit"
        ),
    ),
    toml(
        "dryer that takes out no points",
        "# dryer_points = 5 ",
        "dryer_points = 0 ",
        (
            '{folder}/farm.toml [[point]] "home bins", dryer_points: dryer_points is 0, must be at '
            "least 0.5; correct it, or its unit"
        ),
    ),
    toml(
        "natural air without the grain that it dries",
        "# Fans alone",
        "natural_air_days = 35 # Fans alone",
        (
            '{folder}/farm.toml [[point]] "home bins", wet_room: wet_room is missing; give the '
            "grain that the fans dry at once"
        ),
    ),
    toml(
        "day off that is no day",
        '# days_off = ["sun"]',
        'days_off = ["holiday"] #',
        (
            '{folder}/farm.toml [[crew]] "crew 1", days_off: "holiday" is not a day; write '
            'it as ["sun"]'
        ),
    ),
    toml(
        "absence in words",
        '# absent = ["2026-08-15"]',
        'absent = ["all week"] #',
        (
            '{folder}/farm.toml [[crew]] "crew 1", absent: "all week" is not a date; write '
            "the date as 2026-08-12"
        ),
    ),
    toml(
        "absence that ends before it begins",
        '# absent = ["2026-08-15"]',
        'absent = ["2026-08-16 - 2026-08-15"] #',
        (
            '{folder}/farm.toml [[crew]] "crew 1", absent: "2026-08-16 - 2026-08-15" ends '
            "before it begins; swap its times"
        ),
    ),
    toml(
        "person of no crew",
        "# [[person]] ",
        '[[person]]\nid = "Bo"\ncrew = "crew 9"\n# ',
        (
            '{folder}/farm.toml [[person]] "Bo", crew: there is no crew "crew 9"; use the id '
            "of a [[crew]]"
        ),
    ),
    toml(
        "person who drives what is not there",
        "# [[person]] ",
        '[[person]]\nid = "Bo"\ncrew = "crew 1"\ndrives = ["balloon"]\n# ',
        (
            '{folder}/farm.toml [[person]] "Bo", drives: there is no machine "balloon" to '
            'drive; use "combine", "cart", "truck" or the id of a machine'
        ),
    ),
    toml(
        "elevator without a place",
        "lat = 47.150                    # or, without lat and lon: distance_mi = 12\n"
        "lon = -99.420\n",
        "",
        (
            '{folder}/farm.toml [[point]] "elevator", lat: has no position; give lat and '
            "lon, or its distance from the base"
        ),
    ),
    toml(
        "elevator with half a place",
        "lon = -99.420",
        "",
        (
            '{folder}/farm.toml [[point]] "elevator", lat: has no position; give lat and '
            "lon, or its distance from the base"
        ),
    ),
    toml(
        "elevator with a lost sign",
        "lon = -99.420",
        "lon = 99.420",
        (
            '{folder}/farm.toml [[point]] "elevator", lon: "elevator" lies 9,355 mi from the '
            "base; did you mean lat 47.15 and lon -99.42?"
        ),
    ),
    toml(
        "queue longer than a day",
        "queue_min = 20 ",
        "queue_min = 2000 ",
        (
            '{folder}/farm.toml [[point]] "elevator", queue_min: queue_min is 2000, must be '
            "at most 1440; correct it, or its unit"
        ),
    ),
    toml(
        "unknown crop of a market",
        'crop = "barley"',
        'crop = "hops"',
        (
            '{folder}/farm.toml [[point]] "elevator" [[market]] "hops", crop: crop "hops" is '
            "not known; use one of wheat, soft wheat, durum, barley, oats, canola, corn, "
            "sorghum, soybeans"
        ),
    ),
    toml(
        "price missing",
        "price_per_bu = 7.00",
        "",
        (
            '{folder}/farm.toml [[point]] "elevator" [[market]] "spring wheat", price: price '
            "is missing; give a number in per_bu"
        ),
    ),
    toml(
        "price of nothing",
        "price_per_bu = 7.00",
        "price_per_bu = 0",
        (
            '{folder}/farm.toml [[point]] "elevator" [[market]] "spring wheat", '
            "price_per_bu: price is 0 /bu, must be above 0 /bu; correct it"
        ),
    ),
    toml(
        "price in cents with a sign",
        "price_per_bu = 7.00",
        'price_per_bu = "7$"',
        (
            '{folder}/farm.toml [[point]] "elevator" [[market]] "spring wheat", '
            'price_per_bu: "7$" is not a number; write digits only, as 12.5'
        ),
    ),
    toml(
        "moisture limit missing",
        "moisture_limit_pct = 15.5 ",
        "# ",
        (
            '{folder}/farm.toml [[point]] "elevator" [[market]] "spring wheat", '
            "moisture_limit: moisture_limit is missing; give the moisture in % above which "
            "loads are turned away"
        ),
    ),
    toml(
        "moisture limit below the base",
        "moisture_limit_pct = 15.5",
        "moisture_limit_pct = 12.5",
        (
            '{folder}/farm.toml [[point]] "elevator" [[market]] "spring wheat", '
            "moisture_limit_pct: moisture_limit 12.5% is below the base 13.5%; correct one "
            "of them"
        ),
    ),
    toml(
        "moisture limit as a fraction",
        "moisture_limit_pct = 15.5",
        "moisture_limit_pct = 0.155",
        (
            '{folder}/farm.toml [[point]] "elevator" [[market]] "spring wheat", '
            "moisture_limit_pct: moisture_limit is 0.155%, must be at least 5%; correct it, "
            "or its unit"
        ),
    ),
    toml(
        "discount that is no list of pairs",
        "[[13.5, 0.05], [14.0, 0.10], [14.5, 0.16], [15.0, 0.24]]",
        "[13.5, 0.05]",
        (
            '{folder}/farm.toml [[point]] "elevator" [[market]] "spring wheat", '
            "moisture_discount_per_bu: moisture_discount is not a list of pairs; write it as "
            "[[13.5, 0.05], [14.0, 0.10]]"
        ),
    ),
    toml(
        "discount whose thresholds fall",
        "[[13.5, 0.05], [14.0, 0.10], [14.5, 0.16], [15.0, 0.24]]",
        "[[14.0, 0.05], [13.5, 0.10]]",
        (
            '{folder}/farm.toml [[point]] "elevator" [[market]] "spring wheat", '
            "moisture_discount_per_bu: the thresholds of moisture_discount do not rise; put "
            "them in rising order"
        ),
    ),
    toml(
        "discount that favours wet grain",
        "[[13.5, 0.05], [14.0, 0.10], [14.5, 0.16], [15.0, 0.24]]",
        "[[13.5, 0.10], [14.0, 0.05]]",
        (
            '{folder}/farm.toml [[point]] "elevator" [[market]] "spring wheat", '
            "moisture_discount_per_bu: moisture_discount takes less off worse grain; correct "
            "the money of its steps"
        ),
    ),
    toml(
        "room below nothing",
        "room_bu = 20000",
        "room_bu = -1",
        (
            '{folder}/farm.toml [[point]] "home bins", room_bu: room is -1 bu, must be at '
            "least 0 bu; correct it, or its unit"
        ),
    ),
    toml(
        "bins and a field of one name",
        'id = "home bins"',
        'id = "1"',
        (
            '{folder}/farm.toml, id: "1" names two places; give the field or the delivery '
            "point another id"
        ),
    ),
    toml(
        "a crop that nobody takes",
        'crop = "barley"',
        'crop = "oats"',
        (
            '{folder}/farm.toml, point: no delivery point takes barley of field "2"; add a '
            '[[point.market]] with crop = "barley"'
        ),
    ),
    toml(
        "road speed of a jet",
        "road_speed_mph = 17",
        "road_speed_mph = 600",
        (
            "{folder}/farm.toml [moves], road_speed_mph: road_speed is 600 mph, must be at "
            "most 62.14 mph; correct it, or its unit"
        ),
    ),
    toml(
        "time to take a header off in words",
        "header_off_min = 10",
        'header_off_min = "ten"',
        (
            '{folder}/farm.toml [moves], header_off_min: "ten" is not a number; write digits '
            "only, as 12.5"
        ),
    ),
    toml(
        "yes or no as maybe",
        "tough_allowed = true",
        'tough_allowed = "maybe"',
        (
            '{folder}/farm.toml [rules], tough_allowed: tough_allowed "maybe" is neither yes '
            "nor no; write yes or no"
        ),
    ),
    toml(
        "unknown aim",
        'objective = "mean"',
        'objective = "max"',
        (
            '{folder}/farm.toml [rules], objective: objective "max" is not known; use one of '
            "mean, cautious"
        ),
    ),
    toml(
        "gauge read at no time",
        "read_at = 07:00:00",
        'read_at = "seven"',
        (
            '{folder}/farm.toml [[gauge]] "yard", read_at: "seven" is not a time of day; '
            "write it as 07:00:00"
        ),
    ),
    toml(
        "gauge without a place",
        'id = "yard"\nlat = 47.100',
        'id = "yard"',
        '{folder}/farm.toml [[gauge]] "yard", lat: lat is missing; give a number',
    ),
    toml(
        "distance between places that are not there",
        "[rules]\n",
        '[[moves.distance]]\nfrom = "base"\nto = "moon"\ndistance_mi = 3\n[rules]\n',
        (
            '{folder}/farm.toml [[moves.distance]]: there is no place "moon"; use "base", a '
            "field id or a delivery point id"
        ),
    ),
    written(
        "an empty farm.toml",
        "farm.toml",
        "",
        (
            "{folder}/farm.toml: is empty; write it, or start from the one that `afterrain "
            "new` writes"
        ),
    ),
    written(
        "a photo in place of farm.toml",
        "farm.toml",
        b"\xff\xd8\xff\xe0" + bytes(range(256)),
        "{folder}/farm.toml: is not text (binary data); save it as plain text and try again",
    ),
    written(
        "farm.toml written by a word processor",
        "farm.toml",
        b"PK\x03\x04" + b"x" * 99,
        (
            "{folder}/farm.toml: is a spreadsheet workbook or zip file, not text; save it as "
            "plain text and try again"
        ),
    ),
    # ---- fields.csv
    cell(
        "blank id",
        "id",
        "",
        "{folder}/fields.csv row 2, id: id is missing; give a name of your own",
    ),
    cell(
        "id of another row",
        "id",
        "2",
        '{folder}/fields.csv row 3, id: field "2" is already in row 2; give its own id',
    ),
    cell(
        "id that differs in capitals from none",
        "lat",
        "",
        (
            "{folder}/fields.csv row 2, lat: has no position; give lat and lon, or its "
            "boundary in fields.geojson"
        ),
    ),
    cell(
        "latitude of the pole and beyond",
        "lat",
        "471",
        ("{folder}/fields.csv row 2, lat: lat is 471, must be at most 90; correct it, or its unit"),
    ),
    cell(
        "longitude with a lost sign",
        "lon",
        "99.495",
        (
            '{folder}/fields.csv row 2, lon: "1" lies 9,359 mi from the base; did you mean '
            "lat 47.105 and lon -99.495?"
        ),
    ),
    cell(
        "latitude and longitude swapped",
        "lat",
        "-99.495",
        (
            "{folder}/fields.csv row 2, lat: lat is -99.495, must be at least -90; correct "
            "it, or its unit"
        ),
    ),
    cell(
        "degrees and minutes",
        "lat",
        "47°06'18",
        ('{folder}/fields.csv row 2, lat: "47°06\'18" is not a number; write digits only, as 12.5'),
    ),
    cell(
        "area of nothing",
        "area_ac",
        "0",
        "{folder}/fields.csv row 2, area_ac: area is 0 ac, must be above 0 ac; correct it",
    ),
    cell(
        "negative area",
        "area_ac",
        "-155",
        "{folder}/fields.csv row 2, area_ac: area is -155 ac, must be above 0 ac; correct it",
    ),
    cell(
        "area in words",
        "area_ac",
        "a quarter",
        (
            '{folder}/fields.csv row 2, area_ac: "a quarter" is not a number; write digits '
            "only, as 12.5"
        ),
    ),
    cell(
        "area of a county",
        "area_ac",
        "600000",
        (
            "{folder}/fields.csv row 2, area_ac: area is 600000 ac, must be at most 32124 "
            "ac; correct it, or its unit"
        ),
    ),
    cell(
        "area with two meanings of the comma",
        "area_ac",
        "12,34,56",
        (
            '{folder}/fields.csv row 2, area_ac: "12,34,56" is not a number; write digits '
            "only, as 12.5"
        ),
    ),
    cell(
        "unknown crop",
        "crop",
        "spelt",
        (
            '{folder}/fields.csv row 2, crop: crop "spelt" is not known; use one of wheat, '
            "soft wheat, durum, barley, oats, canola, corn, sorghum, soybeans"
        ),
    ),
    cell(
        "misspelt crop",
        "crop",
        "sping wheat",
        (
            '{folder}/fields.csv row 2, crop: crop "sping wheat" is not known; did you mean '
            '"spring wheat"?'
        ),
    ),
    cell(
        "blank crop",
        "crop",
        "",
        (
            "{folder}/fields.csv row 2, crop: crop is missing; give one of wheat, soft "
            "wheat, durum, barley, oats, canola, corn, sorghum, soybeans"
        ),
    ),
    cell(
        "unknown texture",
        "texture",
        "gumbo",
        (
            '{folder}/fields.csv row 2, texture: texture "gumbo" is not known; use one of '
            "sand, loamy sand, sandy loam, loam, silt loam, silt, sandy clay loam, clay "
            "loam, silty clay loam, silty clay, sandy clay, clay"
        ),
    ),
    cell(
        "no soil",
        "texture",
        "",
        (
            "{folder}/fields.csv row 2, texture: has no soil; give its texture, such as "
            "loam, or sand and clay"
        ),
    ),
    cell(
        "organic matter of a bog",
        "organic_matter_pct",
        "80",
        (
            "{folder}/fields.csv row 2, organic_matter_pct: organic_matter is 80%, must be "
            "at most 30%; correct it, or its unit"
        ),
    ),
    cell(
        "unknown drainage",
        "drainage",
        "wet",
        (
            '{folder}/fields.csv row 2, drainage: drainage "wet" is not known; use one of '
            "poor, moderate, good"
        ),
    ),
    cell(
        "tile as a number",
        "tile",
        "7",
        '{folder}/fields.csv row 2, tile: tile "7" is neither yes nor no; write yes or no',
    ),
    cell(
        "slope of a wall",
        "slope_pct",
        "95",
        (
            "{folder}/fields.csv row 2, slope_pct: slope is 95%, must be at most 60%; "
            "correct it, or its unit"
        ),
    ),
    cell(
        "residue as a fraction",
        "residue_pct",
        "0.5",
        "{folder}/fields.csv row 2, residue_pct: residue is 0.5%; write 50 for 50%",
    ),
    cell(
        "residue above all",
        "residue_pct",
        "150",
        (
            "{folder}/fields.csv row 2, residue_pct: residue is 150%, must be at most 100%; "
            "correct it, or its unit"
        ),
    ),
    cell(
        "approach by boat",
        "approach",
        "river",
        (
            '{folder}/fields.csv row 2, approach: approach "river" is not known; use one of '
            "paved, gravel, dirt"
        ),
    ),
    cell(
        "yield missing",
        "yield_bu_ac",
        "",
        "{folder}/fields.csv row 2, yield: yield is missing; give a number in bu_ac",
    ),
    cell(
        "tonnes a hectare in a column of bushels",
        "yield_bu_ac",
        "3.7",
        (
            "{folder}/fields.csv row 2, yield_bu_ac: yield is 3.7 bu/ac, less than is worth "
            "cutting; if it is t/ha, name the column yield_t_ha; a yield that is so low goes "
            "there too"
        ),
    ),
    cell(
        "yield of a record and more",
        "yield_bu_ac",
        "900",
        (
            "{folder}/fields.csv row 2, yield_bu_ac: yield is 900 bu/ac, must be at most "
            "371.7 bu/ac; correct it, or its unit"
        ),
    ),
    cell(
        "yield below nothing",
        "yield_bu_ac",
        "-5",
        (
            "{folder}/fields.csv row 2, yield_bu_ac: yield is -5 bu/ac, must be above 0 "
            "bu/ac; correct it"
        ),
    ),
    cell(
        "ripe next year",
        "ripe",
        "2027-07-25",
        (
            "{folder}/fields.csv row 2, ripe: ripens 2027-07-25, far from the other fields "
            "(about 2026-07-22); correct the year"
        ),
    ),
    cell(
        "ripe in words",
        "ripe",
        "soon",
        '{folder}/fields.csv row 2, ripe: "soon" is not a date; write the date as 2026-08-12',
    ),
    cell(
        "ripe on a day that is none",
        "ripe",
        "2026-02-30",
        (
            '{folder}/fields.csv row 2, ripe: "2026-02-30" is not a day of the calendar; '
            "write the date as 2026-08-12"
        ),
    ),
    cell(
        "ripe with the day or the month first",
        "ripe",
        "7/8/2026",
        (
            '{folder}/fields.csv row 2, ripe: "7/8/2026" may be day/month or month/day; '
            'write the date as 2026-08-12, or set date_order = "mdy" (or "dmy") in farm.toml'
        ),
    ),
    cell(
        "sample as a fraction",
        "sample_pct",
        "0.175",
        (
            "{folder}/fields.csv row 2, sample_pct: sample is 0.175%, must be at least 3%; "
            "correct it, or its unit"
        ),
    ),
    cell(
        "sample of water",
        "sample_pct",
        "95",
        (
            "{folder}/fields.csv row 2, sample_pct: sample is 95%, must be at most 70%; "
            "correct it, or its unit"
        ),
    ),
    cell(
        "sample without its time",
        "sampled",
        "",
        (
            "{folder}/fields.csv row 2, sampled: a sample needs moisture and time; give "
            "both, or neither"
        ),
    ),
    cell(
        "sample at an unknown time",
        "sampled",
        "yesterday",
        (
            '{folder}/fields.csv row 2, sampled: "yesterday" is not a date; write the date '
            "as 2026-08-12"
        ),
    ),
    cell(
        "test weight in the wrong unit",
        "test_weight_lb_bu",
        "780",
        (
            "{folder}/fields.csv row 2, test_weight_lb_bu: test_weight 780 lb/bu is not a "
            "test weight; check the unit"
        ),
    ),
    cell(
        "unknown purpose",
        "purpose",
        "feedlot",
        (
            '{folder}/fields.csv row 2, purpose: purpose "feedlot" is not known; use one of '
            "grain, seed"
        ),
    ),
    cell(
        "cut as a fraction",
        "cut_pct",
        "0.4",
        "{folder}/fields.csv row 2, cut_pct: cut is 0.4%; write 40 for 40%",
    ),
    cell(
        "cut more than all",
        "cut_pct",
        "120",
        (
            "{folder}/fields.csv row 2, cut_pct: cut is 120%, must be at most 100%; correct "
            "it, or its unit"
        ),
    ),
    cell(
        "a hollow that is the field",
        "wet_pct",
        "99",
        (
            "{folder}/fields.csv row 2, wet_pct: wet is 99%, must be at most 90%; correct "
            "it, or its unit"
        ),
    ),
    written(
        "misspelt heading of the area",
        "fields.csv",
        FIELDS.replace("area_ac", "aera_ac") + "\n" + ROW + "\n",
        ('{folder}/fields.csv row 1, aera_ac: "aera_ac" is not a column; did you mean "area_ac"?'),
    ),
    written(
        "misspelt heading of an optional column",
        "fields.csv",
        FIELDS + ",drainge\n" + ROW + ",poor\n",
        ('{folder}/fields.csv row 1, drainge: "drainge" is not a column; did you mean "drainage"?'),
    ),
    written(
        "unknown unit of the yield",
        "fields.csv",
        FIELDS.replace("yield_bu_ac", "yield_cwt_ac") + "\n" + ROW + "\n",
        (
            '{folder}/fields.csv row 1, yield_cwt_ac: unit "cwt_ac" is not known; name the '
            "column yield_bu_ac, yield_bu, yield_t_ha, yield_kg_ha"
        ),
    ),
    written(
        "unknown unit of the area",
        "fields.csv",
        FIELDS.replace("area_ac", "area_sqft") + "\n" + ROW + "\n",
        (
            '{folder}/fields.csv row 1, area_sqft: unit "sqft" is not known; name the column '
            "area_ac, area_acre, area_acres, area_ha, area_hectares"
        ),
    ),
    written(
        "no column of crops",
        "fields.csv",
        FIELDS.replace(",crop", "") + "\n" + ROW.replace(",spring wheat", "") + "\n",
        (
            '{folder}/fields.csv row 1, crop: column "crop" is missing; add it; found are: '
            "id, lat, lon, area_ac, texture, yield_bu_ac"
        ),
    ),
    written(
        "a column twice",
        "fields.csv",
        FIELDS + ",crop\n" + ROW + ",barley\n",
        '{folder}/fields.csv row 1, crop: column "crop" is there twice; keep one',
    ),
    written(
        "heading only",
        "fields.csv",
        FIELDS + "\n",
        "{folder}/fields.csv: has no fields; give one row to each field",
    ),
    written(
        "empty file",
        "fields.csv",
        "",
        (
            "{folder}/fields.csv row 1: is no heading of fields; begin with id, lat, lon, "
            "area, crop, texture, yield; found are: none"
        ),
    ),
    written(
        "a cell too many",
        "fields.csv",
        FIELDS + "\n" + ROW + ",oops\n",
        (
            "{folder}/fields.csv row 2: has 8 cells, the heading 7; quote cells that hold "
            '",", or remove the extra cell'
        ),
    ),
    written(
        "quotation mark not closed",
        "fields.csv",
        FIELDS + '\n"' + ROW + "\n",
        (
            "{folder}/fields.csv row 2: cannot be split into cells (unexpected end of data); "
            "pair the quotation marks"
        ),
    ),
    written(
        "id there twice",
        "fields.csv",
        FIELDS + "\n" + ROW + "\n" + ROW + "\n",
        '{folder}/fields.csv row 3, id: field "1" is already in row 2; give its own id',
    ),
    written(
        "ids that differ in capitals",
        "fields.csv",
        FIELDS + "\nA" + ROW[1:] + "\na" + ROW[1:] + "\n",
        (
            '{folder}/fields.csv row 3, id: "a" and "A" of row 2 differ in capitals or signs '
            "only; give its own id"
        ),
    ),
    written(
        "ripe before heading",
        "fields.csv",
        FIELDS + ",ripe,heading\n" + ROW + ",2026-06-01,2026-06-15\n",
        "{folder}/fields.csv row 2, ripe: ripens before it heads; correct one of the dates",
    ),
    written(
        "too late to cut before it begins",
        "fields.csv",
        FIELDS + ",not_before,not_after\n" + ROW + ",2026-08-20,2026-08-10\n",
        (
            "{folder}/fields.csv row 2, not_after: ends before cutting may begin; correct "
            "one of the dates"
        ),
    ),
    written(
        "sand and clay above all",
        "fields.csv",
        FIELDS.replace("texture", "sand_pct,clay_pct") + "\n" + ROW.replace("loam", "60,60") + "\n",
        (
            "{folder}/fields.csv row 2, clay_pct: sand and clay make 120%; correct them; "
            "silt is the rest"
        ),
    ),
    written(
        "sand and clay as fractions in percent",
        "fields.csv",
        FIELDS.replace("texture", "sand_pct,clay_pct")
        + "\n"
        + ROW.replace("loam", "0.4,25")
        + "\n",
        "{folder}/fields.csv row 2, sand_pct: sand is 0.4%; write 40 for 40%",
    ),
    written(
        "a boundary that is no polygon",
        "fields.csv",
        FIELDS + ",boundary\n" + ROW + ',"POINT (1 2)"\n',
        (
            "{folder}/fields.csv row 2, boundary: is not a POLYGON in well-known text; "
            "correct it, or use fields.geojson"
        ),
    ),
    written(
        "binary junk",
        "fields.csv",
        bytes(range(256)) * 20,
        '{folder}/fields.csv: is not text (binary data); save it as "CSV UTF-8" and try again',
    ),
    written(
        "a workbook",
        "fields.csv",
        b"PK\x03\x04" + b"x" * 500,
        (
            "{folder}/fields.csv: is a spreadsheet workbook or zip file, not text; save it "
            'as "CSV UTF-8" and try again'
        ),
    ),
    written(
        "a page of the web",
        "fields.csv",
        "<html><body>fields</body></html>\n",
        (
            "{folder}/fields.csv row 1: is no heading of fields; begin with id, lat, lon, "
            "area, crop, texture, yield; found are: <html><body>fields</body></html>"
        ),
    ),
    # ---- rain.csv
    rain(
        "unknown gauge",
        [GAUGES, "shed,2026-08-12,0.5"],
        (
            '{folder}/rain.csv row 2, gauge: gauge "shed" is not in farm.toml; use one of '
            "yard, or add a [[gauge]]"
        ),
    ),
    rain(
        "negative rain",
        [GAUGES, "yard,2026-08-12,-0.5"],
        (
            "{folder}/rain.csv row 2, amount_in: amount is -0.5 in, must be at least 0 in; "
            "correct it, or its unit"
        ),
    ),
    rain(
        "rain of a year in a day",
        [GAUGES, "yard,2026-08-12,62"],
        (
            "{folder}/rain.csv row 2, amount_in: amount is 62 in, must be at most 19.69 in; "
            "correct it, or its unit"
        ),
    ),
    rain(
        "rain in words",
        [GAUGES, "yard,2026-08-12,some"],
        ('{folder}/rain.csv row 2, amount_in: "some" is not a number; write digits only, as 12.5'),
    ),
    rain(
        "a day twice",
        [GAUGES, "yard,2026-08-12,1", "yard,2026-08-12,2"],
        (
            '{folder}/rain.csv row 3, date: gauge "yard" is read already in row 2; keep one '
            "of the two"
        ),
    ),
    rain(
        "no date",
        [GAUGES, "yard,,1"],
        (
            "{folder}/rain.csv row 2, date: time is missing; give a date, as 2026-08-12, or "
            "a date and time"
        ),
    ),
    rain(
        "a date in words",
        [GAUGES, "yard,Tuesday,1"],
        '{folder}/rain.csv row 2, date: "Tuesday" is not a date; write the date as 2026-08-12',
    ),
    rain(
        "day or month first",
        [GAUGES, "yard,8/5/2026,1"],
        (
            '{folder}/rain.csv row 2, date: "8/5/2026" may be day/month or month/day; write '
            'the date as 2026-08-12, or set date_order = "mdy" (or "dmy") in farm.toml'
        ),
    ),
    rain(
        "a month that is none",
        [GAUGES, "yard,13/13/2026,1"],
        (
            '{folder}/rain.csv row 2, date: "13/13/2026" is not a day of the calendar; write '
            "the date as 2026-08-12"
        ),
    ),
    rain(
        "no column of amounts",
        ["gauge,date", "yard,2026-08-12"],
        (
            '{folder}/rain.csv row 1, amount: column "amount" is missing; the heading is '
            "gauge, date, amount; found are: gauge, date"
        ),
    ),
    rain(
        "misspelt heading of the amount",
        ["gauge,date,ammount_in", "yard,2026-08-12,0.2"],
        (
            '{folder}/rain.csv row 1, ammount_in: "ammount_in" is not a column; did you mean '
            '"amount_in"?'
        ),
    ),
    rain(
        "unknown unit of the amount",
        ["gauge,date,amount_points", "yard,2026-08-12,20"],
        (
            '{folder}/rain.csv row 1, amount_points: unit "points" is not known; name the '
            "column amount_in, amount_inch, amount_inches, amount_mm, amount_cm"
        ),
    ),
    rain(
        "two columns of amounts",
        ["gauge,date,amount_in,amount_mm", "yard,2026-08-12,1,25"],
        (
            '{folder}/rain.csv row 1, amount: column "amount" is there twice; the heading is '
            "gauge, date, amount; found are: gauge, date, amount_in, amount_mm"
        ),
    ),
    rain(
        "three readings within a minute",
        ["gauge,time,amount_in", "yard,2026-08-12 06:40,0.2", "yard,2026-08-12 06:41,0.2"],
        (
            '{folder}/rain.csv row 3, time: gauge "yard" is read minutes before in row 2; '
            "keep one of the two, or give their length in a column hours"
        ),
    ),
    rain(
        "hours of no length",
        ["gauge,time,hours,amount_in", "yard,2026-08-12 06:40,0,0.2"],
        "{folder}/rain.csv row 2, hours: hours is 0, must be above 0; correct it",
    ),
    rain(
        "an hour that clocks skip",
        ["gauge,time,amount_in", "yard,2026-03-08 02:30,1"],
        (
            "{folder}/rain.csv row 2, time: 2026-03-08 02:30 does not exist in "
            "America/Chicago: clocks go forward there; use the hour after it, or give the "
            "time with its offset, as 02:30-06:00"
        ),
    ),
    rain(
        "a comma with two meanings",
        ["gauge;date;amount_in", "yard;2026-08-12;1,234"],
        (
            '{folder}/rain.csv row 2, amount_in: "1,234" may be 1234 or 1.234; write it '
            "without a thousands separator"
        ),
    ),
    rain(
        "quotation mark not closed in rain",
        [GAUGES, '"yard,2026-08-12,1'],
        (
            "{folder}/rain.csv row 2: cannot be split into cells (unexpected end of data); "
            "pair the quotation marks"
        ),
    ),
    # ---- command
    written(
        "rain.csv as a PDF",
        "rain.csv",
        b"%PDF-1.4 xxxx",
        '{folder}/rain.csv: is a PDF, not text; save it as "CSV UTF-8" and try again',
    ),
    is_folder(
        "rain.csv as a folder",
        "rain.csv",
        "{folder}/rain.csv: is a folder, not a file; move it away and put the file there",
    ),
    # ---- fields.geojson
    written(
        "cut off in the middle",
        "fields.geojson",
        feature(SQUARE)[:90],
        "{folder}/fields.geojson row 1: is not valid JSON; export it again as GeoJSON",
    ),
    written(
        "a list",
        "fields.geojson",
        "[1, 2]",
        "{folder}/fields.geojson: is not a FeatureCollection; export it again as GeoJSON",
    ),
    written(
        "a single geometry",
        "fields.geojson",
        SQUARE,
        "{folder}/fields.geojson: is not a FeatureCollection; export it again as GeoJSON",
    ),
    written(
        "metres of a projection",
        "fields.geojson",
        '{"crs":{"properties":{"name":"EPSG:32614"}},' + feature(SQUARE)[1:],
        (
            "{folder}/fields.geojson: is not in longitude and latitude (WGS 84); export it "
            "in WGS 84, EPSG:4326"
        ),
    ),
    written(
        "no id",
        "fields.geojson",
        feature(SQUARE, "{}"),
        ('{folder}/fields.geojson feature 1: has no id; give it a property "id" as in fields.csv'),
    ),
    written(
        "a field that is not in fields.csv",
        "fields.geojson",
        feature(SQUARE, '{"id":"99"}'),
        (
            '{folder}/fields.geojson "99": is not a field of fields.csv; correct its id, or '
            "remove it"
        ),
    ),
    written(
        "a point for a field",
        "fields.geojson",
        feature('{"type":"Point","coordinates":[-99.5,47.1]}'),
        (
            '{folder}/fields.geojson feature 1 "1": is not a polygon with closed rings; draw '
            "its boundary as a polygon"
        ),
    ),
    written(
        "no geometry",
        "fields.geojson",
        feature("null"),
        (
            '{folder}/fields.geojson feature 1 "1": is not a polygon with closed rings; draw '
            "its boundary as a polygon"
        ),
    ),
    written(
        "a ring that crosses itself",
        "fields.geojson",
        feature(
            '{"type":"Polygon","coordinates":[[[-99.5,47.1],[-99.49,47.107],[-99.49,47.1],[-99.5,47.107],[-99.5,47.1]]]}'
        ),
        (
            '{folder}/fields.geojson feature 1 "1": crosses or touches itself '
            "(self-intersection); draw the boundary again"
        ),
    ),
    written(
        "a ring that is not closed",
        "fields.geojson",
        feature('{"type":"Polygon","coordinates":[[[-99.5,47.1],[-99.49,47.1],[-99.49,47.107]]]}'),
        (
            '{folder}/fields.geojson feature 1 "1": is not a polygon with closed rings; draw '
            "its boundary as a polygon"
        ),
    ),
    written(
        "coordinates beyond the world",
        "fields.geojson",
        feature(
            '{"type":"Polygon","coordinates":[[[-599.5,47.1],[-599.49,47.1],[-599.49,47.107],[-599.5,47.1]]]}'
        ),
        (
            '{folder}/fields.geojson feature 1 "1": is not in degrees of longitude and '
            "latitude; export it in WGS 84, EPSG:4326"
        ),
    ),
    written(
        "an area that is not the field's",
        "fields.geojson",
        feature(
            '{"type":"Polygon","coordinates":[[[-99.5,47.1],[-99.4,47.1],[-99.4,47.2],[-99.5,47.2],[-99.5,47.1]]]}'
        ),
        (
            "{folder}/fields.csv row 2, area_ac: area is 155 ac, its boundary holds 20,778 "
            "ac; correct the one or the other"
        ),
    ),
    written(
        "coordinates as words",
        "fields.geojson",
        feature('{"type":"Polygon","coordinates":"here"}'),
        (
            '{folder}/fields.geojson feature 1 "1": is not a polygon with closed rings; draw '
            "its boundary as a polygon"
        ),
    ),
    written(
        "the same id twice",
        "fields.geojson",
        feature(SQUARE, times=2),
        (
            '{folder}/fields.geojson feature 2 "1": has the id of an earlier feature; give '
            "each its own id"
        ),
    ),
    # ---- command
    written(
        "boundaries as a shapefile in a zip",
        "fields.geojson",
        b"PK\x03\x04" + b"x" * 99,
        (
            "{folder}/fields.geojson: is a spreadsheet workbook or zip file, not text; save "
            "it as plain text and try again"
        ),
    ),
    # ---- soil.csv
    written(
        "quotation mark not closed",
        "soil.csv",
        SOIL + '\n"1,loam,40,20,3,good\n',
        (
            "{folder}/soil.csv row 2: cannot be split into cells (unexpected end of data); "
            "pair the quotation marks"
        ),
    ),
    written(
        "binary",
        "soil.csv",
        bytes(range(256)) * 9,
        '{folder}/soil.csv: is not text (binary data); save it as "CSV UTF-8" and try again',
    ),
    written(
        "no id",
        "soil.csv",
        "texture\nloam\n",
        (
            '{folder}/soil.csv row 1, id: column "id" is missing; run `afterrain fetch '
            "FOLDER --soil` again, or remove the file"
        ),
    ),
    written(
        "too many cells",
        "soil.csv",
        SOIL + "\n1,loam,40,20,3,good,x,y\n",
        (
            '{folder}/soil.csv row 2: has 8 cells, the heading 6; quote cells that hold ",", '
            "or remove the extra cell"
        ),
    ),
    written(
        "empty",
        "soil.csv",
        "",
        (
            '{folder}/soil.csv row 1, id: column "id" is missing; run `afterrain fetch '
            "FOLDER --soil` again, or remove the file"
        ),
    ),
    # ---- forecast
    forecast(
        "no column of rain",
        ["time,temp_c", "2026-08-12 06:00,20"],
        (
            "{folder}/f.csv: there is no column rain (found are: time, temp_c); the heading "
            "is time, rain_mm, temp_c, humidity_pct, wind_kmh, gust_kmh, radiation_w_m2"
        ),
    ),
    forecast(
        "no column of time",
        ["rain_mm,temp_c", "0,20"],
        (
            "{folder}/f.csv: there is no column time (found are: rain_mm, temp_c); the "
            "heading is time, rain_mm, temp_c, humidity_pct, wind_kmh, gust_kmh, "
            "radiation_w_m2"
        ),
    ),
    forecast("heading only", [HOURS], "{folder}/f.csv: the table has no rows; give a row an hour"),
    forecast(
        "rain in words",
        [HOURS, "2026-08-12 06:00,x,20,60,10"],
        '{folder}/f.csv row 2, rain_mm: "x" is not a number; write digits only, as 12.5',
    ),
    forecast(
        "negative rain",
        [HOURS, "2026-08-12 06:00,-1,20,60,10"],
        (
            "{folder}/f.csv row 2, rain_mm: rain is -1 mm, must be at least 0 mm; correct "
            "it, or its unit"
        ),
    ),
    forecast(
        "temperature of an oven",
        [HOURS, *hours(30, temp="300")],
        '{folder}/f.csv row 2, temp_c: temp "300" is impossible; check its unit (and 29 more)',
    ),
    forecast(
        "temperature in Fahrenheit in a column of Celsius",
        [HOURS, *hours(30, temp="86")],
        '{folder}/f.csv row 2, temp_c: temp "86" is impossible; check its unit (and 29 more)',
    ),
    forecast(
        "humidity as a fraction",
        [HOURS, *hours(30, hum="0.6")],
        (
            "{folder}/f.csv, humidity_pct: no value is above 1, so they look like fractions "
            "of 1; write percent, 0 to 100"
        ),
    ),
    forecast(
        "humidity above all",
        [HOURS, *hours(30, hum="160")],
        (
            "{folder}/f.csv row 2, humidity_pct: humidity is 160%, must be at most 105%; "
            "correct it, or its unit (and 29 more)"
        ),
    ),
    forecast(
        "wind against itself",
        [HOURS, *hours(30, wind="-3")],
        (
            "{folder}/f.csv row 2, wind_kmh: wind is -3 kmh, must be at least 0 kmh; correct "
            "it, or its unit (and 29 more)"
        ),
    ),
    forecast(
        "time in words",
        [HOURS, "noon,0,20,60,10"],
        '{folder}/f.csv row 2, time: "noon" is not a date; write the date as 2026-08-12',
    ),
    forecast(
        "no time",
        [HOURS, ",0,20,60,10"],
        (
            "{folder}/f.csv row 2, time: time is missing; give the start of the hour, as "
            "2026-08-12 06:00"
        ),
    ),
    forecast(
        "an hour twice",
        [HOURS, "2026-08-12 06:00,0,20,60,10", "2026-08-12 06:00,0,20,60,10"],
        "{folder}/f.csv row 3, time: the hour is there twice; keep one row an hour",
    ),
    forecast(
        "twelve hours",
        [HOURS, *hours(12)],
        (
            "{folder}/f.csv: the forecast reaches 12 h ahead, to 2026-08-12 18:00; a plan "
            "needs 24 h: run `afterrain fetch`, or give a longer one with --forecast FILE"
        ),
    ),
    forecast(
        "a hole after five hours",
        [HOURS, *(hours(60)[:5] + hours(60)[45:])],
        (
            "{folder}/f.csv: the forecast reaches 5 h ahead, to 2026-08-12 11:00; a plan "
            "needs 24 h: run `afterrain fetch`, or give a longer one with --forecast FILE"
        ),
    ),
    forecast(
        "begins tomorrow",
        [HOURS, *hours(48, day=14)],
        (
            "{folder}/f.csv: the forecast begins 2026-08-14 06:00, 48 h after the planning "
            "time; plan from then on, or give one that covers now"
        ),
    ),
    forecast(
        "ended yesterday",
        [HOURS, *hours(24, day=10)],
        (
            "{folder}/f.csv: the forecast ends 2026-08-11 06:00, before the planning time; "
            "run `afterrain fetch`, or give a later one with --forecast FILE"
        ),
    ),
    forecast(
        "years ahead",
        [HOURS, "2026-08-12 06:00,0,20,60,10", "2046-08-12 06:00,0,20,60,10"],
        "{folder}/f.csv: the rows span 7305 days; check the column time",
    ),
    forecast(
        "misspelt heading of the temperature",
        ["time,rain_mm,tmep_c", "2026-08-12 06:00,0,20"],
        '{folder}/f.csv row 1, tmep_c: "tmep_c" is not a column; did you mean "temp_c"?',
    ),
    forecast(
        "unknown unit of the rain",
        ["time,rain_points,temp_c", "2026-08-12 06:00,0,20"],
        (
            '{folder}/f.csv row 1, rain_points: unit "points" is not known; name the column '
            "rain_in, rain_inch, rain_inches, rain_mm, rain_cm"
        ),
    ),
    forecast(
        "a cell too many",
        [HOURS, "2026-08-12 06:00,0,20,60,10,99"],
        (
            '{folder}/f.csv row 2: has 6 cells, the heading 5; quote cells that hold ",", or '
            "remove the extra cell"
        ),
    ),
    forecast(
        "quotation mark not closed",
        [HOURS, '"2026-08-12 06:00,0,20,60,10'],
        (
            "{folder}/f.csv row 2: cannot be split into cells (unexpected end of data); pair "
            "the quotation marks"
        ),
    ),
    forecast(
        "blank first hour",
        [HOURS, "2026-08-12 06:00,,,,", *hours(40, first=7)],
        (
            "{folder}/f.csv: the forecast does not give rain, temp, humidity, wind, "
            "radiation for the next hour; fetch another, or give one with --forecast FILE"
        ),
    ),
    given(
        "cut off",
        "f.json",
        "{",
        "{folder}/f.json: is cut off or not JSON; remove it, then fetch again",
    ),
    given(
        "empty object",
        "f.json",
        "{}",
        (
            "{folder}/f.json: the response is neither in the hourly form of Open-Meteo nor "
            "in a form of api.weather.gov; ask the service again"
        ),
    ),
    given(
        "a list of numbers",
        "f.json",
        "[1]",
        "{folder}/f.json: the response is not a weather record; ask the service again",
    ),
    given(
        "an answer that says error",
        "f.json",
        '{"error": true, "reason": "Daily limit exceeded"}',
        "{folder}/f.json: the service answers: Daily limit exceeded; ask the service again",
    ),
    given(
        "hourly without times",
        "f.json",
        '{"hourly": {}, "hourly_units": {}, "latitude": 47.1, "longitude": -99.5}',
        "{folder}/f.json: hourly.time is missing; ask the service again",
    ),
    given(
        "stored without a payload",
        "f.json",
        '{"payload": 1}',
        "f.json: is not a stored forecast; remove it, then fetch again",
    ),
    command(
        "no such forecast",
        "ready {folder} --on 2026-08-12 --forecast {folder}/none.csv",
        (
            "{folder}/none.csv: there is no such file; check its name, or leave --forecast "
            "out to plan on the last forecast of `afterrain fetch`"
        ),
    ),
    # ---- command
    is_folder(
        "a folder for a forecast",
        "f.csv",
        "{folder}/f.csv: is a folder, not a file; move it away and put the file there",
        words="ready {folder} --on 2026-08-12 --forecast {folder}/f.csv",
    ),
    written(
        "a forecast as a workbook",
        "f.csv",
        b"PK\x03\x04" + b"x" * 99,
        (
            "{folder}/f.csv: is a spreadsheet workbook or zip file, not text; save it as "
            '"CSV UTF-8" and try again'
        ),
        words="ready {folder} --on 2026-08-12 --forecast {folder}/f.csv",
    ),
    far(
        "a forecast for another continent",
        (
            '{folder}/f.json: the forecast is for a place 494 mi from field "3", farther '
            "than 24.9 mi; give one for the farm, or use this one all the same with "
            "--elsewhere"
        ),
    ),
    command(
        "no forecast at all",
        "ready {folder} --on 2026-08-12",
        (
            "{folder}: there is no stored forecast; run `afterrain fetch {folder}`, or give "
            "one with --forecast FILE"
        ),
    ),
    # ---- log
    log(
        "unknown kind",
        "rian yard 0.5",
        ('"rian" is not known; did you mean "rain"? known are …'),
    ),
    refused(
        "gauge that is not there",
        "rain shed 0.5",
        ('gauge "shed" is not known; known are yard'),
    ),
    refused(
        "no amount of rain",
        "rain yard",
        "rain: rain is missing",
    ),
    refused(
        "rain in words",
        "rain yard lots",
        ('rain: "lots" is not a number; write digits, as 12.5'),
    ),
    refused(
        "rain below nothing",
        "rain yard -1",
        ("rain: -1 is outside of 0.00 in to 19.69 in; check the number and its unit"),
    ),
    refused(
        "rain of a flood",
        "rain yard 99",
        ("rain: 99 is outside of 0.00 in to 19.69 in; check the number and its unit"),
    ),
    refused(
        "rain in cups",
        "rain yard 3cups",
        ('rain: "cups" is not a unit of this value; use one of in, inch, inches, mm, cm'),
    ),
    refused(
        "rain over no time",
        "rain yard 0.5 --hours 0",
        ("hours: 0 is outside of 0.25 h to 240 h; check the number and its unit"),
    ),
    log(
        "a word too many",
        "rain yard 0.5 24 7",
        '"7" is one word too many: log FOLDER rain GAUGE RAIN [HOURS]',
    ),
    refused(
        "field that is not there",
        "sample 77 16.8",
        ('field "77" is not known; known are 1, 2, 3'),
    ),
    refused(
        "moisture as a fraction",
        "sample 1 0.168",
        ("moisture: 0.168 is outside of 3.0 % to 60.0 %; check the number and its unit"),
    ),
    refused(
        "moisture in words",
        "sample 1 dry",
        ('moisture: "dry" is not a number; write digits, as 12.5'),
    ),
    refused(
        "test weight of lead",
        "sample 1 16.8 --test-weight 590",
        ("test_weight: 590 is outside of 22.1 lb/bu to 72.4 lb/bu; check the number and its unit"),
    ),
    refused(
        "unknown ground",
        "ground 1 damp",
        ('ground: "damp" is not known; use one of firm, headland-only, soft, ruts'),
    ),
    refused(
        "more cut than there is",
        "cut 1 500",
        ("area: 500 ac, 155 ac are left of 1; check the number, or correct an earlier entry"),
    ),
    refused(
        "area in words",
        "cut 1 most",
        ('area: "most" is not a number; write digits, as 12.5'),
    ),
    refused(
        "crew that is not there",
        "cut 1 10 --crew nobody",
        ('crew: crew "nobody" is not known; known are crew 1'),
    ),
    refused(
        "machine that is not there",
        "down C9",
        ('machine "C9" is not known; known are big combine, cart, semi, tandem'),
    ),
    refused(
        "up before down",
        "down semi --at 2026-08-12T10:00 --until 09:00",
        ("until: ends before it begins; give a later time"),
    ),
    refused(
        "time still to come",
        "rain yard 0.5 --at 2099-01-01",
        ("at: 2099-01-01 is still to come; check day and hour"),
    ),
    refused(
        "time of another season",
        "rain yard 0.5 --at 2019-01-01",
        ("at: 2019-01-01 is more than a season ago; check the year"),
    ),
    refused(
        "time in words",
        "rain yard 0.5 --at teatime",
        ('at: "teatime" is not a date; write the date as 2026-08-12'),
    ),
    refused(
        "absent crew unknown",
        "absent nobody",
        ('crew or person "nobody" is not known; known are crew 1'),
    ),
    refused(
        "ticket without a weight",
        "ticket elevator 1",
        ("weight: weight is missing"),
    ),
    refused(
        "ticket at a place that is not there",
        "ticket Mars 1 500",
        ('delivery point "Mars" is not known; known are elevator, home bins'),
    ),
    refused(
        "notice unknown",
        "notice elevator busy",
        ('notice: "busy" is not known; use one of full, closed, closing early, open again'),
    ),
    refused(
        "order of fields that are not there",
        "order crew 7,8",
        ('fields: field "7" is not known; known are 1, 2, 3'),
    ),
    refused(
        "order with a field twice",
        "order crew 1,1",
        ("fields: field 1 is there twice; name each field once"),
    ),
    refused(
        "a fact of another kind",
        "ground 1 soft --price 7",
        ("price: ground check has no price"),
    ),
    log("nothing to correct", "rain yard 0.5 --correct 99", "the book has no entry 99"),
    log(
        "correction by a word",
        "rain yard 0.5 --correct first",
        (
            'afterrain log: argument --correct: "first" is not a whole number; see '
            "`afterrain log --help`"
        ),
        code=2,
    ),
    log("no such entry to take back", "undo 99", "the book has no entry 99"),
    log(
        "take back by a word",
        "undo last",
        '"last" is not the number of an entry: afterrain log {folder}',
    ),
    log(
        "a plan by hand",
        "plan 1",
        ("a plan is written by the program; known are …"),
    ),
    log(
        "an option without its value",
        "rain yard 0.5 --at",
        ("afterrain log: argument --at/--from: expected one argument; see `afterrain log --help`"),
        code=2,
    ),
    log(
        "unknown option",
        "rain yard 0.5 --whom Ann",
        "unrecognized arguments: --whom; see `afterrain --help`",
        code=2,
    ),
    # ---- command
    second(
        "two readings in a minute",
        (
            "gauge yard has a reading of 6:40 am already (rain gauge yard: rain 0.50 in); to "
            "correct it, add --correct 2; if more rain fell since then, add --hours with the "
            "hours since"
        ),
    ),
    # ---- import
    entries(
        "no kind",
        ["subject,at", "yard,2026-08-12"],
        "{folder}/t.csv: the heading has no kind: begin with kind, subject",
    ),
    entries(
        "unknown kind",
        [ENTRIES, "rian,yard,2026-08-12 06:00,0.5,,"],
        (
            '{folder}/t.csv: row 2, kind: "rian" is not known; did you mean "rain"? known are …; '
            "nothing was imported"
        ),
    ),
    entries(
        "gauge that is not there",
        [ENTRIES, "rain,shed,2026-08-12 06:00,0.5,,"],
        (
            '{folder}/t.csv: row 2, subject: gauge "shed" is not known; known are yard; '
            "nothing was imported"
        ),
    ),
    entries(
        "no time",
        [ENTRIES, "rain,yard,,0.5,,"],
        (
            "{folder}/t.csv: row 2, at: is missing; give the time, as 2026-08-12 06:40; "
            "nothing was imported"
        ),
    ),
    entries(
        "time still to come",
        [ENTRIES, "rain,yard,2099-08-12 06:00,0.5,,"],
        (
            "{folder}/t.csv: row 2, at: 2099-08-12 06:00 is still to come; check day and "
            "hour; nothing was imported"
        ),
    ),
    entries(
        "value of another kind",
        [ENTRIES, "rain,yard,2026-08-12 06:00,0.5,16,"],
        (
            "{folder}/t.csv: row 2, moisture_pct: rain gauge has no moisture_pct; nothing "
            "was imported"
        ),
    ),
    entries(
        "moisture above all",
        [ENTRIES, "sample,1,2026-08-12 06:00,,168,"],
        (
            "{folder}/t.csv: row 2, moisture: 168.0 pct is outside of 3.0 % to 60.0 %; check "
            "the number and its unit; nothing was imported"
        ),
    ),
    entries(
        "a plan in the table",
        [ENTRIES, "plan,x,2026-08-12 06:00,,,"],
        (
            "{folder}/t.csv: row 2, kind: a plan is not written by hand; leave the row out; "
            "nothing was imported"
        ),
    ),
    entries(
        "a token that is none",
        ["token," + ENTRIES, "a b c,rain,yard,2026-08-12 06:00,0.5,,"],
        (
            "{folder}/t.csv: row 2, token: is not one of this book; leave it blank; nothing "
            "was imported"
        ),
    ),
    entries(
        "takes back nothing",
        [ENTRIES + ",withdrawn", "rain,yard,2026-08-12 06:00,0.5,,,yes"],
        (
            "{folder}/t.csv: row 2, withdrawn: takes nothing back; give replaces; nothing "
            "was imported"
        ),
    ),
    entries(
        "replaces an unknown entry",
        [ENTRIES + ",replaces", "rain,yard,2026-08-12 06:00,0.5,,,abc"],
        "{folder}/t.csv: row 2, replaces: entry abc is not in the book; nothing was imported",
    ),
    entries(
        "a cell too many",
        [ENTRIES, "rain,yard,2026-08-12 06:00,0.5,,,,9"],
        (
            '{folder}/t.csv: row 2: has 8 cells, the heading 6; quote cells that hold ",", '
            "or remove the extra cell; nothing was imported"
        ),
    ),
    entries(
        "binary",
        ["\x00\x01"],
        '{folder}/t.csv is not text (binary data); save it as "CSV UTF-8" and try again',
    ),
    # ---- command
    command(
        "no such table",
        "import {folder} {folder}/none.csv",
        "{folder}/none.csv is missing; check its name and its folder",
    ),
    # ---- import of weather
    weather(
        "past weather that is still to come",
        "--records",
        [HOURS, "2099-08-12 06:00,0,20,60,10"],
        (
            "{folder}/t.csv: goes on to 2099-08-12 07:00, which is still to come; give "
            "--issued TIME if it is a forecast, or check the column time"
        ),
    ),
    weather(
        "past weather without a value",
        "--records",
        [HOURS, "2026-06-12 06:00,,,60,10"],
        "{folder}/t.csv: holds no hour with rain and temperature; fill them in",
    ),
    weather(
        "past weather with members",
        "--records",
        ["time,member,rain_mm,temp_c", "2026-06-12 06:00,a,0,20", "2026-06-12 06:00,b,0,20"],
        (
            "{folder}/t.csv: has 2 members, and weather that has been has none; give "
            "--issued TIME if it is a forecast"
        ),
    ),
    weather(
        "a forecast issued after its end",
        "--issued 2026-08-15",
        [HOURS, *hours(30)],
        (
            "{folder}/t.csv: ends 2026-08-13 12:00, before it was issued (2026-08-15 06:00); "
            "check --issued, or leave it out for past weather"
        ),
    ),
    weather(
        "a forecast issued in the future",
        "--issued 2099-08-15",
        [HOURS, *hours(30)],
        (
            "--issued 2099-08-15 06:00 is still to come; give the time at which the forecast "
            "was made"
        ),
    ),
    weather(
        "a forecast issued at no time",
        "--issued early",
        [HOURS, *hours(30)],
        '--issued "early" is no date; write it as 2026-08-12 or 2026-08-12T14:30',
    ),
    weather(
        "both past weather and forecast",
        "--records --issued 2026-08-12",
        [HOURS, *hours(3)],
        (
            "afterrain import: argument --issued: not allowed with argument --records; see "
            "`afterrain import --help`"
        ),
        code=2,
    ),
    # ---- command
    command(
        "no command",
        "",
        "the following arguments are required: COMMAND; see `afterrain --help`",
        code=2,
    ),
    command(
        "unknown command",
        "plann {folder}",
        ("argument COMMAND: invalid choice: 'plann' (choose from …); see `afterrain --help`"),
        code=2,
    ),
    command(
        "no folder",
        "plan",
        (
            "afterrain plan: the following arguments are required: FOLDER; see `afterrain "
            "plan --help`"
        ),
        code=2,
    ),
    command(
        "folder that is not there",
        "plan {folder}/none --on 2026-08-12",
        (
            "{folder}/none: does not exist; give your farm's folder, or start one with "
            "`afterrain new FOLDER`"
        ),
    ),
    command(
        "a file for a folder",
        "plan {folder}/farm.toml",
        (
            "{folder}/farm.toml: is not a folder; give your farm's folder, or start one with "
            "`afterrain new FOLDER`"
        ),
    ),
    command(
        "date in another order",
        "plan {folder} --on 12/08",
        '--on "12/08" is no date; write it as 2026-08-12 or 2026-08-12T14:30',
    ),
    command(
        "days beyond the month",
        "plan {folder} --days 99",
        ("afterrain plan: argument --days: must be 1 to 30, got 99; see `afterrain plan --help`"),
        code=2,
    ),
    command(
        "days in words",
        "plan {folder} --days ten",
        (
            'afterrain plan: argument --days: "ten" is not a whole number; see `afterrain '
            "plan --help`"
        ),
        code=2,
    ),
    command(
        "a seed below nothing",
        "plan {folder} --seed -1",
        ("afterrain plan: argument --seed: must be 0 or more, got -1; see `afterrain plan --help`"),
        code=2,
    ),
    command(
        "a seed in words",
        "plan {folder} --seed x",
        ('afterrain plan: argument --seed: "x" is not a whole number; see `afterrain plan --help`'),
        code=2,
    ),
    command(
        "unknown option",
        "plan {folder} --quick",
        "unrecognized arguments: --quick; see `afterrain --help`",
        code=2,
    ),
    command(
        "unknown work",
        "ready {folder} --work harrowing",
        (
            "afterrain ready: argument --work: invalid choice: 'harrowing' (choose from "
            "'tillage', 'planting', 'spraying'); see `afterrain ready --help`"
        ),
        code=2,
    ),
    command(
        "an order without fields",
        "price {folder} --order crew",
        '--order "crew": write it as CREW=FIELD,FIELD,...',
    ),
    command(
        "no order",
        "price {folder}",
        (
            "afterrain price: the following arguments are required: --order; see `afterrain "
            "price --help`"
        ),
        code=2,
    ),
    command(
        "new in a folder with files",
        "new {folder}",
        '"{folder}" holds files already and is left as it is; name a new folder',
    ),
    command(
        "new below a folder that is not there",
        "new {folder}/a/b",
        'the folder "{folder}/a" does not exist; make it first',
    ),
    command(
        "fetch with years below nothing",
        "fetch {folder} --years -3",
        (
            "afterrain fetch: argument --years: must be 0 or more, got -3; see `afterrain "
            "fetch --help`"
        ),
        code=2,
    ),
    command(
        "verify without forecasts",
        "verify {folder}",
        "{folder}: no forecast is stored; run `afterrain fetch {folder}`",
    ),
    command(
        "verify at no time",
        "verify {folder} --on never",
        '--on "never" is no date; write it as 2026-08-12 or 2026-08-12T14:30',
    ),
    command(
        "review without cutting",
        "review {folder}",
        (
            "{folder}: the season book has no entry of cutting; write `afterrain log "
            "{folder} cut FIELD AREA`"
        ),
    ),
    command(
        "review of a book that is not there",
        "review {folder} --book {folder}/none.sqlite",
        "{folder}/none.sqlite is not a file: name a season book or a backup of one",
    ),
    command(
        "review of a table in place of a book",
        "review {folder} --book {folder}/fields.csv",
        "{folder}/fields.csv is not a season book: name a season book or a backup of one",
    ),
    command(
        "review until never",
        "review {folder} --until never",
        '--until "never" is no date; write it as 2026-08-12 or 2026-08-12T14:30',
    ),
    command(
        "export into a folder that is not there",
        "export {folder} {folder}/a/b.csv",
        "{folder}/a is no folder: make it first, or name another",
    ),
    command(
        "backup into a folder that is not there",
        "backup {folder} {folder}/a/b.sqlite",
        "{folder}/a is no folder: make it first, or name another",
    ),
    command(
        "validate a folder without records",
        "validate {folder}",
        (
            "{folder} holds none of the folders soil_moisture, days_suitable, reference_et: "
            "name another"
        ),
    ),
    command(
        "validate a folder that is not there",
        "validate {folder}/none",
        "{folder}/none is no folder: name one with open records",
    ),
    command(
        "rehearse with records that are not there",
        "rehearse {folder} --records {folder}/none.csv",
        "{folder}/none.csv: there is no such file; check its name and its folder",
    ),
    command(
        "rehearse with a table of fields",
        "rehearse {folder} --records {folder}/fields.csv",
        (
            "fields.csv: neither a daily01 file of the U.S. Climate Reference Network nor a "
            "station file of GHCN-Daily (CSV with the columns STATION, DATE, LATITUDE, "
            "LONGITUDE, ELEVATION, PRCP, TMAX, TMIN)"
        ),
    ),
    command(
        "rehearse without records",
        "rehearse {folder}",
        (
            "afterrain rehearse: the following arguments are required: --records; see "
            "`afterrain rehearse --help`"
        ),
        code=2,
    ),
    command(
        "what if nothing changes",
        "whatif {folder} --records {folder}/none.csv",
        "nothing is changed: give --combine, --hours, --dryer, --tile or the like",
    ),
    command(
        "years backwards",
        "rehearse {folder} --records x --years 2020-2010",
        (
            "afterrain rehearse: argument --years: the first year comes first, got "
            "2020-2010; see `afterrain rehearse --help`"
        ),
        code=2,
    ),
    command(
        "years in words",
        "rehearse {folder} --records x --years lately",
        (
            "afterrain rehearse: argument --years: write 2010 or 2010-2020, got lately; see "
            "`afterrain rehearse --help`"
        ),
        code=2,
    ),
    command(
        "no workers",
        "rehearse {folder} --records x --workers 0",
        (
            "afterrain rehearse: argument --workers: must be 1 or more, got 0; see "
            "`afterrain rehearse --help`"
        ),
        code=2,
    ),
    command(
        "hours in words for what if",
        "whatif {folder} --records x --hours long",
        (
            'afterrain whatif: argument --hours: "long" is not a number; see `afterrain '
            "whatif --help`"
        ),
        code=2,
    ),
    command(
        "port beyond all", "serve {folder} --port 99999", "--port must be 1 to 65535, got 99999"
    ),
    command(
        "port in words",
        "serve {folder} --port http",
        (
            'afterrain serve: argument --port: "http" is not a whole number; see `afterrain '
            "serve --help`"
        ),
        code=2,
    ),
    command(
        "page at no time",
        "serve {folder} --on never",
        '--on "never" is no date; write it as 2026-08-12 or 2026-08-12T14:30',
    ),
)
