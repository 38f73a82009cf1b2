"""Dialects of tables, and numbers as people write them."""

import pytest
from farm_folder import HEAD, ROW, write
from hypothesis import given
from hypothesis import strategies as st

from scheduler.errors import UnreadableError
from scheduler.farm_files import csv_table
from scheduler.farm_files.folder import read_farm


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
