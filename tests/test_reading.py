# ruff: noqa: E501 (messages are not broken)
"""The farm folder: dialects, exact messages, and broken files that never give a traceback."""

import json
import math
import shutil
import tempfile
from datetime import UTC, date, datetime, time
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from readiness.grain.crops import CROPS
from scheduler.costs.grain_value import LOSSES
from scheduler.errors import FarmError, UnreadableError
from scheduler.farm.units import normalized_name
from scheduler.farm_files import boundaries, csv_table, dates, vocabulary
from scheduler.farm_files.folder import farm_problems, read_farm, read_rain
from scheduler.farm_files.new_folder import new_farm

CHICAGO = ZoneInfo("America/Chicago")
HEAD = "id,lat,lon,area_ac,crop,texture,yield_bu_ac"
ROW = "1,47.1,-99.5,155,spring wheat,loam,55"


@pytest.fixture
def folder(tmp_path):
    new_farm(tmp_path / "farm")
    return tmp_path / "farm"


def write(folder, name, text, encoding="utf-8"):
    (folder / name).write_bytes(text.encode(encoding))


def edit(folder, name, old, new):
    text = (folder / name).read_text(encoding="utf-8")
    assert old in text
    write(folder, name, text.replace(old, new))


def problem_lines(folder):
    return [str(p) for p in farm_problems(folder)]


# ---- valid files ----------------------------------------------------------------------------------
def test_starter_is_read_in_si(folder):
    farm = read_farm(folder)
    field = farm.fields[0]
    assert field.area_ha == pytest.approx(155 * 0.40468564)
    assert field.yield_t_ha == pytest.approx(55 * 0.067251, rel=1e-4)
    assert (field.crop, field.texture) == ("wheat_hard", "loam")
    assert (field.sand, field.clay) == (0.40, 0.20)
    assert field.sample_at == datetime(2026, 8, 11, 23, tzinfo=UTC)
    assert field.ripe == date(2026, 7, 25)
    assert field.residue == 0.5
    combine = farm.combines[0]
    assert combine.header_m == pytest.approx(40 * 0.3048)
    assert combine.speed_kmh == pytest.approx(3.8 * 1.609344)
    assert combine.tank_m3 == pytest.approx(400 * 0.03523907)
    assert combine.flow_t_h == pytest.approx(1500 * 60 * 0.45359237 / 1000)
    assert combine.loaded_t == pytest.approx(62000 * 0.45359237 / 1000)
    market = farm.points[0].markets["wheat_hard"]
    assert market.price_t == pytest.approx(7.00 / (60 * 0.45359237 / 1000))
    assert market.moisture_discount.steps[0] == pytest.approx((13.5, 0.05 / 0.0272155422))
    assert market.test_weight_discount.steps[0][0] == pytest.approx(1.292 * 56 + 1.419)
    assert market.sprout_discount.steps[0][0] == 0.01
    assert farm.points[0].week == ((time(8), time(19)),) * 5 + ((time(8), time(17)), None)
    assert farm.points[1].week == ((time(0), time(0)),) * 7
    assert farm.tz.key == "America/Chicago"
    assert farm.elevation_m == pytest.approx(457.2)


def test_metric_farm_without_units_in_its_names(folder):
    edit(folder, "farm.toml", 'units = "us"', 'units = "metric"')
    edit(folder, "farm.toml", "header_ft = 40", "header = 12")
    edit(folder, "farm.toml", "tank_bu = 400", "tank = 14")
    write(
        folder,
        "fields.csv",
        "id,lat,lon,area,crop,sand,clay,yield\na,47.1,-99.5,64,barley,40,20,4.1\n",
    )
    farm = read_farm(folder)
    assert (farm.combines[0].header_m, farm.combines[0].tank_m3) == (12, 14)
    assert (farm.fields[0].area_ha, farm.fields[0].yield_t_ha) == (64, 4.1)
    assert (farm.fields[0].sand, farm.fields[0].clay) == (0.40, 0.20)


def test_unit_in_a_heading_wins(folder):
    write(
        folder,
        "fields.csv",
        "Field ID,Lat,Lon,Area (ha),Crop,Soil type,Expected yield (t/ha)\n"
        "a,47.1,-99.5,64,Durum,Clay Loam,4.1\n",
    )
    edit(
        folder, "farm.toml", '[[point.market]]\ncrop = "barley"', '[[point.market]]\ncrop = "durum"'
    )
    field = read_farm(folder).fields[0]
    assert (field.area_ha, field.yield_t_ha, field.crop) == (64, 4.1, "wheat_durum")
    assert (field.sand, field.clay) == (0.30, 0.35)


@pytest.mark.parametrize(
    "word", ["Spring Wheat", "HRS", "hard red winter", "durum", "Milo", "maize"]
)
def test_crop_names(word):
    assert vocabulary.CROP_NAMES[normalized_name(word)] in CROPS


# published: hard red spring alone has lower test weights than the other wheats (7 CFR 810.2204)
@pytest.mark.parametrize(
    ("word", "spring"),
    [
        ("Spring Wheat", True),
        ("HRS", True),
        ("wheat", False),
        ("hard red winter", False),
        ("spring barley", False),
    ],
)
def test_hard_red_spring_is_distinct_from_other_wheat(folder, word, spring):
    write(folder, "fields.csv", f"{HEAD}\n{ROW.replace('spring wheat', word)}\n")
    assert read_farm(folder).fields[0].spring is spring


def test_loss_settings_have_the_names_of_loss_terms(folder):
    edit(
        folder,
        "farm.toml",
        "[moves]",
        """[losses.durum]
test_weight_per_wetting_lb_bu = 1
test_weight_loss_max_kg_hl = 6
rut_per_ac = 8
leave_days = 10
leave_share_pct = 12
leave_wettings_day = 0.2
shatter_day_pct = 0.4

[moves]""",
    )
    losses = read_farm(folder).losses["wheat_durum"]
    assert set(losses) == set(LOSSES) | {"shatter_day", "test_weight_per_wetting"}
    assert losses["test_weight_per_wetting"] == pytest.approx(1.2872, abs=5e-5)
    assert losses["rut_ha"] == pytest.approx(8 / 0.40468564)
    assert losses["leave_share"] == pytest.approx(0.12)
    assert losses["shatter_day"] == pytest.approx(0.004)


def test_position_and_area_from_the_boundary(folder):
    write(folder, "fields.csv", "id,crop,texture,yield\n7,spring wheat,loam,55\n")
    ring = [[-99.51, 47.10], [-99.50, 47.10], [-99.50, 47.107], [-99.51, 47.107], [-99.51, 47.10]]
    write_shapes(folder, [("7", [ring])])
    field = read_farm(folder).fields[0]
    assert field.boundary == tuple(map(tuple, ring))
    assert field.area_ha == pytest.approx(rectangle_ha(-99.51, 47.10, -99.50, 47.107), rel=1e-4)
    assert 47.10 < field.lat < 47.107
    assert -99.51 < field.lon < -99.50


def write_shapes(folder, shapes):
    features = [
        {
            "type": "Feature",
            "properties": {"id": own},
            "geometry": {"type": "Polygon", "coordinates": rings},
        }
        for own, rings in shapes
    ]
    write(folder, "fields.geojson", json.dumps({"type": "FeatureCollection", "features": features}))


def rectangle_ha(west, south, east, north):
    """hand: R² Δλ (sin φ2 - sin φ1), the area of a rectangle of the sphere."""
    wide = math.radians(east - west)
    return (
        6371.0072**2 * wide * (math.sin(math.radians(north)) - math.sin(math.radians(south))) * 100
    )


def test_boundary_with_altitudes(folder):
    corners = [
        (-99.51, 47.10),
        (-99.50, 47.10),
        (-99.50, 47.107),
        (-99.51, 47.107),
        (-99.51, 47.10),
    ]
    write_shapes(folder, [("1", [[[x, y, 450.0] for x, y in corners]])])
    assert read_farm(folder).fields[0].boundary == tuple(corners)


def test_area_without_a_hole():
    outer = shapely.box(-99.51, 47.10, -99.50, 47.107)
    hole = shapely.box(-99.508, 47.102, -99.506, 47.104)
    expected = rectangle_ha(*outer.bounds) - rectangle_ha(*hole.bounds)
    assert boundaries.area_ha(outer.difference(hole)) == pytest.approx(expected, rel=1e-4)


# published: the U.S. public land survey's section, 640 acres in a mile square
def test_area_of_a_section():
    lat, wide = 1.609344 / 111.195, 1.609344 / (111.195 * math.cos(math.radians(47.0)))
    box = shapely.box(-99.0, 47.0 - lat / 2, -99.0 + wide, 47.0 + lat / 2)
    assert boundaries.area_ha(box) / 0.40468564 == pytest.approx(640, rel=1e-3)


def test_boundary_as_well_known_text(folder):
    write(
        folder,
        "fields.csv",
        "id;crop;texture;yield;boundary\n7;spring wheat;loam;55;"
        "POLYGON((-99.51 47.10, -99.50 47.10, -99.50 47.107, -99.51 47.107, -99.51 47.10))\n",
    )
    assert read_farm(folder).fields[0].area_ha == pytest.approx(59.0, abs=0.5)


# ---- dialects ------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"]
)
@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize(
    ("delimiter", "comma"), [(",", False), (";", True), (";", False), ("\t", True), ("|", False)]
)
def test_dialects(folder, encoding, newline, delimiter, comma):
    rows = [
        ["ID", "Name", "Notes", "LAT", "Lon", " Area (ac) ", "Crop", "texture", "Expected Yield"],
        ["1", "Zoë's é", "", "47.125", "-99.5", "1,155.5", "spring wheat", "loam", "55.5"],
        ["2", "B", "x", "47.11", "-99.51", "78", "barley", "clay", "70"],
        ["", "", "", "", "", "", "", "", ""],
    ]
    if comma:
        rows[1] = [c.replace(",", "_").replace(".", ",").replace("_", ".") for c in rows[1]]
        rows[2] = [c.replace(".", ",") for c in rows[2]]
    text = newline.join(
        delimiter.join(f'"{c}"' if delimiter in c else c for c in row) for row in rows
    )
    write(folder, "fields.csv", text + newline, encoding)
    first, second = read_farm(folder).fields
    assert (first.name, first.lat, first.lon) == ("Zoë's é", 47.125, -99.5)
    assert first.area_ha / 0.40468564224 == pytest.approx(1155.5)
    assert second.lat == 47.11


def test_separator_line_and_remarks(folder):
    write(folder, "fields.csv", f"sep=,\n# my fields, all of them\n\n{HEAD}\n#no\n{ROW}\n")
    assert [f.id for f in read_farm(folder).fields] == ["1"]


def test_quoted_decimal_commas_between_commas(folder):
    write(folder, "fields.csv", f'{HEAD}\n1,47.1,-99.5,"155,5",spring wheat,loam,55\n')
    assert read_farm(folder).fields[0].area_ha == pytest.approx(155.5 * 0.40468564)


@pytest.mark.parametrize(
    ("text", "mark", "value"),
    [
        ("1,234", ".", 1234),
        ("1,234", ",", 1.234),
        ("1.234", ",", 1234),
        ("1.234", None, 1.234),
        ("1,234.5", ",", 1234.5),
        ("1.234,5", ".", 1234.5),
        ("1 234,5", None, 1234.5),
        ("1\u00a0234", None, 1234),
        ("1'234.5", None, 1234.5),
        ("0,125", ".", 0.125),
        ("1.234.567", None, 1234567),
        ("-5,25", None, -5.25),
        ("\u22125", None, -5),
        ("$7.05", ".", 7.05),
        ("1e3", ".", 1000),
        (".5", ".", 0.5),
    ],
)
def test_numbers(text, mark, value):
    assert csv_table.read_number(text, mark) == value


@pytest.mark.parametrize(
    ("text", "mark", "message"),
    [
        ("1,234", None, '"1,234" may be 1234 or 1.234; write it without a thousands separator'),
        ("12.3.4", ".", '"12.3.4" is not a number; write digits only, as 12.5'),
        ("1,2,3", ".", '"1,2,3" is not a number; write digits only, as 12.5'),
        ("about 5", ".", '"about 5" is not a number; write digits only, as 12.5'),
        ("nan", ".", '"nan" is not a number; write digits only, as 12.5'),
    ],
)
def test_not_numbers(text, mark, message):
    with pytest.raises(UnreadableError) as error:
        csv_table.read_number(text, mark)
    assert str(error.value) == message


@given(st.floats(-1e6, 1e6).map(lambda x: round(x, 3)))
def test_numbers_survive_each_mark(x):
    for mark, other in ((".", ","), (",", ".")):
        text = f"{x:,.3f}".replace(",", "_").replace(".", mark).replace("_", other)
        assert csv_table.read_number(text, mark) == x


@pytest.mark.parametrize(
    "text",
    [
        "2026-08-12",
        "2026/8/12",
        "20260812",
        "12.08.2026",
        "12.8.26",
        "8/12/2026",
        "Aug 12, 2026",
        "12 August 2026",
        "12-Aug-2026",
    ],
)
def test_dates(text):
    assert dates.read_date(text, "mdy") == date(2026, 8, 12)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "8/12/2026",
            '"8/12/2026" may be day/month or month/day; write the date as 2026-08-12, '
            'or set date_order = "mdy" (or "dmy") in farm.toml',
        ),
        ("46246", '"46246" is a spreadsheet\'s day number; format the column as dates, then save'),
        ("2026-02-30", '"2026-02-30" is not a day of the calendar; write the date as 2026-08-12'),
        ("soon", '"soon" is not a date; write the date as 2026-08-12'),
        (
            "2206-08-12",
            '"2206-08-12": the year 2206 is not a season of this farm; '
            "write the date as 2026-08-12",
        ),
    ],
)
def test_not_dates(text, message):
    with pytest.raises(UnreadableError) as error:
        dates.read_date(text)
    assert str(error.value) == message


@pytest.mark.parametrize(
    ("texts", "order"),
    [
        (["8/12/2026", "8/13/2026"], "mdy"),
        (["8/12/2026", "13/8/2026"], "dmy"),
        (["8/13/2026", "13/8/2026"], "mixed"),
        (["8/12/2026", "2026-08-13"], None),
        ([], None),
    ],
)
def test_a_column_proves_its_order_of_dates(texts, order):
    assert dates.date_order(texts) == order


@pytest.mark.parametrize(
    ("text", "hour"),
    [
        ("2026-08-12 06:00", 11),
        ("2026-08-12T06:00Z", 6),
        ("2026-08-12 06:00-05:00", 11),
        ("2026-08-12 6:00 AM", 11),
        ("2026-08-12 12:30 am", 5),
        ("2026-08-12 6:00:00 p.m.", 23),
    ],
)
def test_times(text, hour):
    when, clock = dates.read_time(text, CHICAGO)
    assert (when.hour, clock) == (hour, True)


@pytest.mark.parametrize(
    ("text", "span"),
    [
        ("07:00-21:00", (time(7), time(21))),
        ("7-24", (time(7), time(0))),
        ("closed", None),
        ("24 h", (time(0), time(0))),
        ("20:00 to 06:30", (time(20), time(6, 30))),
    ],
)
def test_spans(text, span):
    assert dates.read_daily_span(text) == span


@pytest.mark.parametrize("text", ["25:00-26:00", "seven", "07:00", "7:00-7:00", "07:61-08:00"])
def test_not_spans(text):
    with pytest.raises(UnreadableError):
        dates.read_daily_span(text)


# ---- rain ----------------------------------------------------------------------------------------
def test_days_of_a_gauge_read_at_seven(folder):
    rain = read_rain(folder, read_farm(folder))
    first = rain.iloc[0]
    assert first["time"].to_pydatetime() == datetime(2026, 8, 7, 12, tzinfo=UTC)
    assert (first["gauge"], first["hours"]) == ("yard", 24.0)
    assert first["mm"] == pytest.approx(7.62)


def test_days_from_midnight_and_the_change_of_clocks(folder):
    edit(folder, "farm.toml", "read_at = 07:00:00", "")
    write(folder, "rain.csv", "gauge,date,amount\nyard,2026-11-01,0.1\nyard,2026-03-08,T\n")
    rain = read_rain(folder, read_farm(folder))
    # hand: CST is UTC-6, CDT UTC-5; the day that springs forward has 23 hours
    assert list(rain["time"]) == [
        datetime(2026, 3, 8, 6, tzinfo=UTC),
        datetime(2026, 11, 1, 5, tzinfo=UTC),
    ]
    assert list(rain["hours"]) == [23.0, 25.0]
    assert list(rain["mm"]) == [0.0, pytest.approx(2.54)]


def test_hourly_rain_over_the_repeated_hour(folder):
    hours = ["00:00", "01:00", "01:00", "02:00"]
    rows = "\n".join(f"yard,2026-11-01,{h},1" for h in hours)
    write(folder, "rain.csv", f"gauge,date,time,rain (mm)\n{rows}\n")
    rain = read_rain(folder, read_farm(folder))
    assert [t.hour for t in rain["time"]] == [5, 6, 7, 8]
    assert list(rain["hours"]) == [1.0] * 4


def test_column_hours_and_steps_of_a_quarter(folder):
    write(
        folder,
        "rain.csv",
        "gauge,time,amount_mm\nyard,2026-08-01 10:00,1\n"
        "yard,2026-08-01 10:15,2\nyard,2026-08-01 12:00,\n",
    )
    rain = read_rain(folder, read_farm(folder))
    assert list(rain["hours"]) == [0.25, 0.25]
    write(folder, "rain.csv", "gauge,time,hours,amount_mm\nyard,2026-08-01 10:00,6,1\n")
    assert list(read_rain(folder, read_farm(folder))["hours"]) == [6.0]


def test_no_rain_file_is_no_readings(folder):
    (folder / "rain.csv").unlink()
    rain = read_rain(folder, read_farm(folder))
    assert len(rain) == 0
    assert list(rain.columns) == ["gauge", "time", "hours", "mm"]


def test_a_single_gauge_without_a_position_lies_at_the_base(folder):
    text = (folder / "farm.toml").read_text()
    write(folder, "farm.toml", text[: text.index("[[gauge]]")])
    write(folder, "rain.csv", "date,amount\n2026-08-01,0.2\n")
    farm = read_farm(folder)
    assert farm.gauges == {"base": (47.1, -99.5)}
    assert list(read_rain(folder, farm)["gauge"]) == ["base"]


# ---- problems ------------------------------------------------------------------------------------
FIELD_FAULTS = [
    (
        "1,47.1,-99.5,-155,spring wheat,loam,55",
        "fields.csv row 2, area_ac: area is -155 ac, must be above 0 ac; correct it",
    ),
    (
        "1,47.1,-99.5,155,spelt,loam,55",
        'fields.csv row 2, crop: crop "spelt" is not known; use one of ',
    ),
    (
        "1,47.1,-99.5,155,durrum,loam,55",
        'fields.csv row 2, crop: crop "durrum" is not known; did you mean "durum"?',
    ),
    (
        "1,47.1,-99.5,155,spring wheat,gumbo,55",
        'fields.csv row 2, texture: texture "gumbo" is not known; ',
    ),
    (
        "1,47.1,-99.5,155,spring wheat,,55",
        "fields.csv row 2, texture: has no soil; give its texture, such as loam, or sand and clay",
    ),
    (
        "1,,,155,spring wheat,loam,55",
        "fields.csv row 2, lat: has no position; give lat and lon, or its boundary in fields.geojson",
    ),
    (
        "1,147.1,-99.5,155,spring wheat,loam,55",
        "fields.csv row 2, lat: lat is 147.1, must be at most 90; correct it, or its unit",
    ),
    (
        "1,47.1,99.5,155,spring wheat,loam,55",
        'fields.csv "1", lat: lies 9,360 mi from the base; check its lat and lon, and their signs',
    ),
    (
        "1,47.1,-99.5,lots,spring wheat,loam,55",
        'fields.csv row 2, area_ac: "lots" is not a number; write digits only, as 12.5',
    ),
    (
        "1,47.1,-99.5,155,spring wheat,loam,",
        "fields.csv row 2, yield: yield is missing; give a number in bu_ac",
    ),
    (
        ",47.1,-99.5,155,spring wheat,loam,55",
        "fields.csv row 2, id: id is missing; give a name of your own",
    ),
    (
        "1,47.1,-99.5,155,spring wheat,loam,55,oops",
        'fields.csv row 2: has 8 cells, the heading 7; quote cells that hold ",", or remove the extra cell',
    ),
]


@pytest.mark.parametrize(("row", "message"), FIELD_FAULTS)
def test_messages_of_fields(folder, row, message):
    write(folder, "fields.csv", f"{HEAD}\n{row}\n")
    assert any(line.startswith(message) for line in problem_lines(folder)), problem_lines(folder)


def test_every_problem_is_listed_at_once(folder):
    rows = [row for row, _ in FIELD_FAULTS]
    write(folder, "fields.csv", "\n".join([HEAD, *rows]) + "\n")
    edit(folder, "farm.toml", "header_ft = 40", "header_ft = 400")
    edit(folder, "farm.toml", 'crop = "barley"', 'crop = "hops"')
    write(folder, "rain.csv", "gauge,date,amount\nyard,2026-08-12,-1\nshed,2026-08-12,1\n")
    files = [p.file for p in farm_problems(folder)]
    assert files.count("fields.csv") >= len(rows)
    assert files.count("rain.csv") == 2
    assert files.count("farm.toml") == 2
    with pytest.raises(FarmError) as error:
        read_farm(folder)
    lines = str(error.value).splitlines()
    assert lines[0] == f"{len(files)} problems in {folder}"
    assert lines[-1] == f"  and {len(files) - 5} more: run `afterrain check {folder}`"
    assert len(lines) == 7


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            'time_zone = "America/Chicago"',
            'time_zone = "Chicago"',
            'farm.toml, time_zone: time zone "Chicago" is not known; use a name such as "America/Chicago"',
        ),
        (
            'units = "us"',
            'units = "imperial"',
            'farm.toml, units: units "imperial" is not known; use one of us, metric',
        ),
        (
            "header_ft = 40",
            "headr_ft = 40",
            'farm.toml [[combine]] "big combine", header: header is missing; give a number in ft',
        ),
        (
            "header_ft = 40",
            "headr_ft = 40",
            'farm.toml [[combine]] "big combine", headr_ft: "headr_ft" is not a setting here; '
            'did you mean "header"?',
        ),
        (
            "header_ft = 40",
            'header_ft = "forty"',
            'farm.toml [[combine]] "big combine", header_ft: "forty" is not a number; '
            "write digits only, as 12.5",
        ),
        (
            "header_ft = 40",
            "header_ft = nan",
            'farm.toml [[combine]] "big combine", header_ft: nan is not a finite number; '
            "write digits only, as 12.5",
        ),
        (
            "header_ft = 40",
            "header_ft = 40\nheader_m = 12",
            'farm.toml [[combine]] "big combine", header_m: repeats "header_ft"; keep one',
        ),
        (
            "efficiency_pct = 70",
            "efficiency_pct = 170",
            'farm.toml [[combine]] "big combine", efficiency_pct: efficiency is 170%, '
            "must be at most 100%; correct it, or its unit",
        ),
        (
            'trucks = ["semi", "tandem"]',
            'trucks = ["semmi", "tandem"]',
            'farm.toml [[crew]] "crew 1", trucks: there is no truck "semmi"; add a [[truck]] with that id',
        ),
        (
            'trucks = ["semi", "tandem"]',
            'trucks = ["tandem"]',
            'farm.toml [[truck]] "semi": is in no crew; add it to the trucks of a crew, or remove it',
        ),
        (
            'trucks = ["semi", "tandem"]',
            'trucks = "semi"',
            'farm.toml [[crew]] "crew 1", trucks: \'semi\' is not a list of ids; write it as ["A", "B"]',
        ),
        (
            'hours = "07:00-22:00"',
            'hours = "dawn to dusk"',
            'farm.toml [[crew]] "crew 1", hours: "dawn to dusk" is not a span of hours; '
            'write them as "07:00-21:00", or "closed"',
        ),
        (
            "moisture_limit_pct = 15.5",
            "moisture_limit_pct = 12.5",
            'farm.toml [[point]] "elevator" [[market]] "spring wheat", moisture_limit_pct: '
            "moisture_limit 12.5% is below the base 13.5%; correct one of them",
        ),
        (
            "[[56, 0.20], [57, 0.10], [58, 0.04]]",
            "[[58, 0.04], [57, 0.10]]",
            'farm.toml [[point]] "elevator" [[market]] "spring wheat", test_weight_discount_per_bu: '
            "the thresholds of test_weight_discount do not rise; put them in rising order",
        ),
        (
            "[[56, 0.20], [57, 0.10], [58, 0.04]]",
            "[[56, 0.04], [57, 0.10]]",
            'farm.toml [[point]] "elevator" [[market]] "spring wheat", test_weight_discount_per_bu: '
            "test_weight_discount takes less off worse grain; correct the money of its steps",
        ),
        (
            "distance_mi = 0\n",
            "",
            'farm.toml [[point]] "home bins", lat: has no position; give lat and lon, or its distance '
            "from the base",
        ),
        (
            'id = "tandem"',
            'id = "semi"',
            'farm.toml [[truck]] "semi", id: truck "semi" is there twice; give each its own id',
        ),
        (
            'id = "home bins"',
            'id = "1"',
            'farm.toml, id: "1" names two places; give the field or the delivery point another id',
        ),
        (
            'crop = "barley"',
            'crop = "oats"',
            'farm.toml, point: no delivery point takes barley of field "2"; '
            'add a [[point.market]] with crop = "barley"',
        ),
        (
            "[base] ",
            "[base",
            "farm.toml row 10: is not valid TOML: expected ']' at the end of a table declaration; "
            "correct that line, or the one above it",
        ),
        (
            '# down = [["2026-08-12 06:00", "2026-08-13 12:00"]]',
            'down = [["2026-08-12 06:00"]]',
            "farm.toml [[combine]] \"big combine\", down: ['2026-08-12 06:00'] is not a pair of times; "
            'write it as [["2026-08-12 06:00", "2026-08-13 12:00"]]',
        ),
        (
            '# down = [["2026-08-12 06:00", "2026-08-13 12:00"]]',
            'down = [["2026-03-08 02:30", "2026-03-09 12:00"]]',
            'farm.toml [[combine]] "big combine", down: 2026-03-08 02:30 does not exist in '
            "America/Chicago: clocks go forward there; use the hour after it, or give the time with "
            "its offset, as 03:30-05:00",
        ),
    ],
)
def test_messages_of_farm_toml(folder, old, new, message):
    edit(folder, "farm.toml", old, new)
    assert message in problem_lines(folder)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "gauge,date,amount\nyard,2026-08-12,-1\n",
            "rain.csv row 2, amount: amount is -1 in, must be at least 0 in; correct it, or its unit",
        ),
        (
            "gauge,date,amount_mm\nyard,2026-08-12,600\n",
            "rain.csv row 2, amount_mm: amount is 600 mm, must be at most 500 mm; correct it, or its unit",
        ),
        (
            "gauge,date,amount\nshed,2026-08-12,1\n",
            'rain.csv row 2, gauge: gauge "shed" is not in farm.toml; use one of yard, or add a [[gauge]]',
        ),
        (
            "gauge,date,amount\nyard,2026-08-12,1\nyard,2026-08-12,2\n",
            'rain.csv row 3, date: gauge "yard" is read already in row 2; keep one of the two',
        ),
        (
            "gauge,date\nyard,2026-08-12\n",
            'rain.csv row 1, amount: column "amount" is missing; '
            "the heading is gauge, date, amount; found are: gauge, date",
        ),
        (
            "gauge,date,amount\nyard,8/5/2026,1\n",
            'rain.csv row 2, date: "8/5/2026" may be day/month or month/day; write the date as 2026-08-12, '
            'or set date_order = "mdy" (or "dmy") in farm.toml',
        ),
        (
            "gauge,date,amount\nyard,8/15/2026,1\nyard,16/8/2026,1\n",
            'rain.csv row 3, date: "16/8/2026": some dates of this column put the day first, others the '
            "month; write the date as 2026-08-12",
        ),
        (
            "gauge,time,amount\nyard,2026-03-08 02:30,1\n",
            "rain.csv row 2, time: 2026-03-08 02:30 does not exist in America/Chicago: clocks go forward "
            "there; use the hour after it, or give the time with its offset, as 03:30-05:00",
        ),
        (
            "gauge,date,amount\nyard,,1\n",
            "rain.csv row 2, date: time is missing; give a date, as 2026-08-12, or a date and time",
        ),
        (
            "gauge;date;amount\nyard;2026-08-12;1,234\n",
            'rain.csv row 2, amount: "1,234" may be 1234 or 1.234; write it without a thousands separator',
        ),
        (
            'gauge,date,amount\n"yard,2026-08-12,1\n',
            "rain.csv row 2: cannot be split into cells (unexpected end of data); pair the quotation marks",
        ),
    ],
)
def test_messages_of_rain(folder, text, message):
    write(folder, "rain.csv", text)
    assert message in problem_lines(folder)


def test_date_order_of_the_farm_settles_slashed_dates(folder):
    edit(folder, "farm.toml", '# date_order = "mdy"', 'date_order = "mdy"')
    write(folder, "rain.csv", "gauge,date,amount\nyard,8/5/2026,1\n")
    assert problem_lines(folder) == []


def test_missing_column(folder):
    write(folder, "fields.csv", "id,lat,lon,area_ac,texture,yield\n1,47,-99,1,loam,50\n")
    assert problem_lines(folder) == [
        'fields.csv row 1, crop: column "crop" is missing; '
        "add it; found are: id, lat, lon, area_ac, texture, yield"
    ]


def test_duplicate_ids(folder):
    write(folder, "fields.csv", f"{HEAD}\n{ROW}\n{ROW}\n")
    assert 'fields.csv row 3, id: field "1" is already in row 2; give its own id' in problem_lines(
        folder
    )


def test_area_against_boundary(folder):
    ring = [[-99.51, 47.10], [-99.50, 47.10], [-99.50, 47.107], [-99.51, 47.107], [-99.51, 47.10]]
    write_shapes(folder, [("1", [ring]), ("9", [ring])])
    shown = 'fields.geojson "9": is not a field of fields.csv; correct its id, or remove it'
    assert problem_lines(folder) == [shown]
    edit(folder, "fields.csv", "155,spring", "255,spring")
    assert (
        "fields.csv row 2, area_ac: area is 255 ac, its boundary holds 146 ac; "
        "correct the one or the other"
    ) in problem_lines(folder)


@pytest.mark.parametrize(
    ("geometry", "message"),
    [
        (
            {"type": "Point", "coordinates": [0, 0]},
            'fields.geojson feature 1 "1": is not a polygon with closed rings; '
            "draw its boundary as a polygon",
        ),
        (
            None,
            'fields.geojson feature 1 "1": is not a polygon with closed rings; '
            "draw its boundary as a polygon",
        ),
        (
            {
                "type": "Polygon",
                "coordinates": [
                    [[500000, 5200000], [500800, 5200000], [500800, 5200800], [500000, 5200000]]
                ],
            },
            'fields.geojson feature 1 "1": is not in degrees of longitude and latitude; '
            "export it in WGS 84, EPSG:4326",
        ),
        (
            {"type": "Polygon", "coordinates": [[[0, 0], [1, 1], [1, 0], [0, 1], [0, 0]]]},
            'fields.geojson feature 1 "1": crosses or touches itself (self-intersection); '
            "draw the boundary again",
        ),
        (
            {"type": "Polygon", "coordinates": "x"},
            'fields.geojson feature 1 "1": is not a polygon with closed rings; '
            "draw its boundary as a polygon",
        ),
    ],
)
def test_messages_of_geojson(folder, geometry, message):
    feature = {"type": "Feature", "properties": {"id": "1"}, "geometry": geometry}
    write(
        folder, "fields.geojson", json.dumps({"type": "FeatureCollection", "features": [feature]})
    )
    assert message in problem_lines(folder)


@pytest.mark.parametrize(
    "text", ["", "[]", "{", '{"features": 3}', "[" * 5000, '{"features": [1, null]}']
)
def test_broken_geojson(folder, text):
    write(folder, "fields.geojson", text)
    assert any(line.startswith("fields.geojson") for line in problem_lines(folder))


# ---- folders and files that are not --------------------------------------------------------------
def test_no_folder(tmp_path):
    with pytest.raises(FarmError, match=r"nowhere: does not exist; give your farm's folder"):
        read_farm(tmp_path / "nowhere")
    (tmp_path / "file").write_text("x")
    assert "is not a folder" in problem_lines(tmp_path / "file")[0]


def test_empty_folder(tmp_path):
    assert problem_lines(tmp_path) == [
        f"{name}: is missing; write it, or start from `afterrain new {tmp_path}-start`"
        for name in ("farm.toml", "fields.csv")
    ]


@pytest.mark.parametrize("name", ["farm.toml", "fields.csv", "rain.csv", "fields.geojson"])
@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"PK\x03\x04rest", "is a spreadsheet workbook or zip file, not text"),
        (bytes(range(256)) * 40, "is not text (binary data)"),
        (b"\x00" * 5000, "is not text (binary data)"),
    ],
)
def test_binary_junk(folder, name, content, message):
    (folder / name).write_bytes(content)
    assert f'{name}: {message}; save it as "CSV UTF-8" and try again' in problem_lines(folder) or (
        f"{name}: {message}; save it as plain text and try again" in problem_lines(folder)
    )


@pytest.mark.parametrize("name", ["farm.toml", "fields.csv", "rain.csv", "fields.geojson"])
def test_a_200_megabyte_file_is_not_opened(folder, name):
    with (folder / name).open("wb") as file:
        file.truncate(200_000_000)
    assert (
        f"{name}: is 200 MB; files above 50 MB are not read; keep this season's rows only"
    ) in problem_lines(folder)


def test_file_without_permission(folder, monkeypatch):
    def refuse(path):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_bytes", refuse)
    assert (
        "fields.csv: cannot be read: permission denied; give yourself permission to read it"
        in problem_lines(folder)
    )


def test_a_folder_in_the_place_of_a_file(folder):
    (folder / "rain.csv").unlink()
    (folder / "rain.csv").mkdir()
    assert problem_lines(folder) == [
        "rain.csv: is a folder, not a file; move it away and put the file there"
    ]


@pytest.mark.parametrize("name", ["farm.toml", "fields.csv", "rain.csv"])
def test_empty_file(folder, name):
    write(folder, name, "")
    assert any(line.startswith(name) for line in problem_lines(folder))


# ---- property: nothing a file can hold gives a traceback -----------------------------------------
FILES = ("farm.toml", "fields.csv", "rain.csv")
BITS = st.one_of(
    st.text(max_size=12),
    st.sampled_from(
        [
            "",
            "-1",
            "0",
            "1e999",
            "nan",
            "inf",
            "9" * 400,
            "[]",
            "{}",
            '"',
            "'",
            ",",
            ";",
            "\n",
            "\r",
            "=",
            "[[combine]]",
            "true",
            "1979-05-27",
            "07:32:00",
            "2026-03-08 02:30",
            "€",
            "\ufeff",
            "1,5",
            "1.234,5",
            "13/13/2026",
            "[" * 50,
            "POLYGON((0 0))",
            "id",
            "#",
        ]
    ),
)


@settings(max_examples=250, deadline=None)
@given(st.data())
def test_mutated_folder_gives_a_farm_or_a_message(data):
    with tempfile.TemporaryDirectory() as parent:
        folder = Path(parent) / "farm"
        new_farm(folder)
        for _ in range(data.draw(st.integers(1, 4))):
            path = folder / data.draw(st.sampled_from(FILES))
            text = path.read_bytes().decode("utf-8", errors="surrogateescape")
            a = data.draw(st.integers(0, len(text)))
            long = data.draw(st.sampled_from([0, 1, 2, 8, 60, 4000]))
            text = text[:a] + data.draw(BITS) + text[a + long :]
            path.write_bytes(text.encode("utf-8", errors="surrogateescape"))
        problems = farm_problems(folder)
        assert all(p.file and p.message and p.remedy for p in problems)
        if problems:
            with pytest.raises(FarmError):
                read_farm(folder)
        else:
            farm = read_farm(folder)
            assert all(f.area_ha > 0 and f.yield_t_ha > 0 for f in farm.fields)
            assert (read_rain(folder, farm)["mm"] >= 0).all()


@settings(max_examples=60, deadline=None)
@given(st.sampled_from([*FILES, "fields.geojson"]), st.binary(max_size=300))
def test_random_bytes_give_a_message(name, content):
    with tempfile.TemporaryDirectory() as parent:
        folder = Path(parent) / "farm"
        new_farm(folder)
        (folder / name).write_bytes(content)
        problems = farm_problems(folder)
        assert problems or name == "rain.csv"


def test_copy_keeps_the_original(folder, tmp_path):
    """Reading writes nothing."""
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    shutil.copytree(folder, tmp_path / "again")
    read_farm(folder)
    farm_problems(folder)
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before
