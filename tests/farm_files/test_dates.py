"""Dates, times and hours of a day as people write them."""

from datetime import date, time
from zoneinfo import ZoneInfo

import pytest
from farm_folder import edit, problem_lines, write

from scheduler.errors import UnreadableError
from scheduler.farm_files import dates

CHICAGO = ZoneInfo("America/Chicago")


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


def test_date_order_of_the_farm_settles_slashed_dates(folder):
    edit(folder, "farm.toml", '# date_order = "mdy"', 'date_order = "mdy"')
    write(folder, "rain.csv", "gauge,date,amount\nyard,8/5/2026,1\n")
    assert problem_lines(folder) == []
