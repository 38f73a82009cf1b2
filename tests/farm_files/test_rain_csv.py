# ruff: noqa: E501 (messages are not broken)
"""Readings of rain gauges, and exact messages."""

from datetime import UTC, datetime

import pytest
from farm_folder import edit, problem_lines, write

from scheduler.farm_files.folder import read_farm, read_rain


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
            "there; use the hour after it, or give the time with its offset, as 02:30-06:00",
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
