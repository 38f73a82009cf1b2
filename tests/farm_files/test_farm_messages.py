# ruff: noqa: E501 (messages are not broken)
"""Exact messages about fields.csv and farm.toml."""

import pytest
from farm_folder import HEAD, ROW, edit, problem_lines, write

from scheduler.errors import FarmError
from scheduler.farm_files.folder import farm_problems, read_farm

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
        'fields.csv row 2, lon: "1" lies 9,360 mi from the base; '
        "did you mean lat 47.1 and lon -99.5?",
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
            "header_ft = 40\n",
            "",
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
            "efficiency_pct = 0",
            'farm.toml [[combine]] "big combine", efficiency_pct: efficiency is 0%, must be above 0%; '
            "correct it",
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
            "farm.toml row 11: is not valid TOML: expected ']' at the end of a table declaration; "
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
            "its offset, as 02:30-06:00",
        ),
        (
            "# share_from_ac = 320",
            "share_from_ac = -5 #",
            "farm.toml [rules], share_from_ac: share_from is -5 ac, must be at least 0 ac; "
            "correct it, or its unit",
        ),
        (
            "# share_from_ac = 320",
            'share_from_ac = "large" #',
            'farm.toml [rules], share_from_ac: "large" is not a number; write digits only, as 12.5',
        ),
        (
            'id = "tandem"',
            'id = "tandem"\nfrom = "2026-08-20"\nuntil = "2026-08-19"',
            'farm.toml [[truck]] "tandem", until: 2026-08-19 is not after 2026-08-20; correct one of them',
        ),
        (
            'id = "cart"',
            'id = "cart"\nfrom = "next week"',
            'farm.toml [[cart]] "cart", from: "next week" is not a date; write the date as 2026-08-12',
        ),
        (
            '# absent = ["2026-08-15"]',
            'absent = ["2026-08-14 12:00"] #',
            'farm.toml [[crew]] "crew 1", absent: "2026-08-14 12:00" is a time, not a day; '
            'write a day, or "2026-08-14 12:00 - 2026-08-14 18:00"',
        ),
        (
            '# absent = ["2026-08-15"]',
            'absent = ["2026-08-14 18:00 - 2026-08-14 12:00"] #',
            'farm.toml [[crew]] "crew 1", absent: "2026-08-14 18:00 - 2026-08-14 12:00" ends before it '
            "begins; swap its times",
        ),
        (
            '# absent = ["2026-08-15"]',
            'absent = ["2026-08-14 12:00 - noon"] #',
            'farm.toml [[crew]] "crew 1", absent: "noon" is not a date; write the date as 2026-08-12',
        ),
    ],
)
def test_messages_of_farm_toml(folder, old, new, message):
    edit(folder, "farm.toml", old, new)
    assert message in problem_lines(folder)


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


def test_columns_of_ones_own_are_left_alone(folder):
    own = "owner,field_no,wet_2025,sample_no,cut_by,planted,notes"
    write(folder, "fields.csv", f"{HEAD},{own}\n{ROW},Bo,7,3,12,4,2026-05-01,x\n")
    assert problem_lines(folder) == []


@pytest.mark.parametrize(
    ("heading", "remedy"),
    [
        ("test_weight_lbs", "name the column test_weight_lb_bu, test_weight_kg_hl"),
        ("cut_fraction_of_it", None),
        ("residue_share", "name the column residue_pct, residue_percent"),
    ],
)
def test_an_unknown_unit_of_an_optional_column(folder, heading, remedy):
    write(folder, "fields.csv", f"{HEAD},{heading}\n{ROW},60\n")
    unit = heading.rpartition("_")[2]
    line = f'fields.csv row 1, {heading}: unit "{unit}" is not known; {remedy}'
    assert problem_lines(folder) == ([line] if remedy else [])
