"""Files of the morning: schema, spreadsheet, texts, and whole-or-nothing writing."""

import csv
import io
import json
import os
from dataclasses import fields, replace
from datetime import UTC, datetime
from pathlib import Path

import mornings
import pytest

from scheduler import atomic
from scheduler.farm.units import ACRE_HA, MILE_KM
from scheduler.farm.wording import formula_safe
from scheduler.orders import document
from scheduler.orders.model import Order
from scheduler.report import files
from scheduler.report.files import file_name_parts, plan_files, write_plan
from scheduler.report.messages import MESSAGE_CHARS, message
from scheduler.report.plan_csv import plan_csv
from scheduler.report.plan_document import plan_json


@pytest.fixture
def morning():
    return mornings.morning(fields=4, days=3, members=5)


@pytest.fixture
def drawn(monkeypatch):
    """Files without the pictures, which other tests draw."""
    monkeypatch.setattr(files, "sheet", lambda morning: "<html>drawn elsewhere</html>")


def renamed(morning, **changes):
    """The first crew's first order with other attributes."""
    crew = morning.crews[0]
    first = replace(crew.orders[0], **changes)
    crew = replace(crew, orders=(first, *crew.orders[1:]))
    return replace(morning, crews=(crew, *morning.crews[1:]))


# plan.json


def test_plan_json_says_what_its_documentation_says(morning):
    plan = plan_json(morning)
    for key in plan:
        assert f"`{key}`" in document.__doc__ or f"{key}" in document.__doc__
    assert plan["version"] == 1
    order = plan["crews"][0]["orders"][0]
    assert set(order) == {f.name for f in fields(Order)} | {"place"}
    assert json.loads(json.dumps(plan, allow_nan=False)) == plan


# hand: 06:00 and 10:00 in Chicago in August are 11:00 and 15:00 UTC.
def test_plan_json_times_are_utc(morning):
    plan = plan_json(morning)
    assert plan["made"] == "2025-08-16T11:00:00Z"
    assert plan["crews"][0]["orders"][0]["start"]["mid"] == "2025-08-16T15:00:00Z"


def test_unknown_numbers_are_null(morning):
    odd = replace(
        renamed(morning, chance=float("nan")),
        bound=None,
        gap=None,
        value_of_perfect_information=None,
    )
    text = json.dumps(plan_json(odd), allow_nan=False)
    assert json.loads(text)["crews"][0]["orders"][0]["chance"] is None
    assert json.loads(text)["bound"] is None
    assert table(plan_csv(odd))[0]["chance_pct"] == ""


# plan.csv


def table(text):
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_plan_csv_has_a_row_an_order_in_the_farms_units(morning):
    rows = table(plan_csv(morning))
    orders = [o for c in morning.crews for o in c.orders]
    assert [r["field"] for r in rows] == [o.field for o in orders]
    assert float(rows[0]["ac"]) == pytest.approx(orders[0].area_ha / ACRE_HA, abs=0.05)
    assert float(rows[0]["move_mi"]) == pytest.approx(orders[0].move_km / MILE_KM, abs=0.05)
    assert rows[0]["start"] == "2025-08-16 10:00"
    assert plan_csv(morning).splitlines()[0].startswith("crew,place,field")
    metric = table(plan_csv(mornings.morning(fields=3, units="metric")))
    assert float(metric[0]["ha"]) == 40.0


# hand: (77.0 - 1.419) / 1.292 = 58.499 lb/bu of wheat, 77.0 / 1.287 = 59.8 of barley
def test_test_weight_in_the_farms_units_and_a_grade_for_wheat_in_us_units(morning):
    wheat, _, barley = table(plan_csv(morning))
    assert (wheat["test_weight_lb_bu"], wheat["sprouted_pct"]) == ("58.5", "1.4")
    assert (wheat["us_grade"], barley["us_grade"]) == ("U.S. No. 2", "")
    assert barley["test_weight_lb_bu"] == "59.8"
    metric = mornings.morning(fields=3, units="metric")
    row = table(plan_csv(metric))[0]
    assert row["test_weight_kg_hl"] == "77.0"
    assert not {"test_weight_lb_bu", "us_grade"} & set(row)
    assert plan_json(metric)["crews"][0]["orders"][0]["us_grade"] is None
    poor = renamed(morning, us_grade=6, test_weight_kg_hl=float("nan"), sprouted_pct=float("nan"))
    assert table(plan_csv(poor))[0]["us_grade"] == "U.S. Sample grade"
    assert table(plan_csv(poor))[0]["test_weight_lb_bu"] == ""


# Cells that a spreadsheet would run (OWASP, CSV injection: = + - @, tab, carriage return).
@pytest.mark.parametrize("evil", ["=HYPERLINK(1)", "+1", "-1+1", "@SUM(A1)", "\t=1", "\r=1", " =1"])
def test_text_cells_are_never_formulas(morning, evil):
    assert formula_safe(evil)[0] == "'"
    rows = table(plan_csv(renamed(morning, name=evil, reason=evil, field=evil)))
    for cell in rows[0].values():
        assert cell[0:1] not in tuple("=+@\t\r")
    assert not rows[0]["name"].startswith("-")


def test_quotes_commas_and_line_breaks_stay_in_their_cell(morning):
    rows = table(plan_csv(renamed(morning, name='The "old, wet"\nfield')))
    assert rows[0]["name"] == 'The "old, wet" field'
    assert len(rows) == sum(len(c.orders) for c in morning.crews)


# texts


def test_message_has_first_things_first(morning):
    text = message(morning.crews[0], morning)
    assert text.startswith("North Sat 16 Aug: 1) Home quarter (F01) leave 09:20 cut 10:00-14:30")
    assert "98.8 ac 14.4% 5.1 loads to Elevator, chance 90%" in text
    assert text.endswith("See sheet.")


@pytest.mark.parametrize("name", ["x" * 400, "Señor Müller's Zuñi ground", "F"])
def test_message_fits_two_joined_texts(morning, name):
    text = message(renamed(morning, name=name).crews[0], morning)
    assert len(text) <= MESSAGE_CHARS
    assert text.isascii()  # the 7-bit alphabet of GSM 03.38 holds every letter used


def test_message_never_skips_an_order_to_name_a_later_one(morning):
    crew = mornings.morning(fields=12).crews[0]
    same = crew.orders[0].start
    orders = [
        replace(o, start=same, name=o.name * (8 if i == 1 else 1))
        for i, o in enumerate(crew.orders)
    ]
    text = message(replace(crew, orders=tuple(orders)), morning)
    assert "1) " in text
    assert "2) " not in text
    assert "3) " not in text


def test_message_of_a_crew_without_work(morning):
    idle = replace(morning.crews[0], orders=(), note="nothing to cut within the days planned")
    assert message(idle, morning) == "North Sat 16 Aug: nothing to cut within the days planned"


# names of files


def test_file_name_parts_are_safe_and_distinct():
    names = ["North", "north", "../../etc/passwd", "Über-Crew", "日本", "", "con.txt", "a" * 300]
    made = file_name_parts(names)
    assert made[:4] == ["north", "north-2", "etc-passwd", "uber-crew"]
    assert len(set(made)) == len(names)
    assert all(
        s and len(s) <= 45 and set(s) <= set("abcdefghijklmnopqrstuvwxyz0123456789-") for s in made
    )


# writing


def test_write_plan_writes_all_and_nothing_else(morning, drawn, tmp_path):
    made = write_plan(morning, tmp_path)
    home = tmp_path / "plans" / "2025-08-16"
    names = {"sheet.html", "plan.json", "plan.csv"}
    names |= {f"crew-{k}.{e}" for k in ("north", "south") for e in ("txt", "ics")}
    assert {p.name for p in made} == names
    assert {p.name for p in home.iterdir()} == names
    assert [p.name for p in (tmp_path / "plans").iterdir()] == ["2025-08-16"]
    assert json.loads((home / "plan.json").read_text(encoding="utf-8"))["seed"] == morning.seed
    assert (home / "plan.csv").read_bytes().startswith(b"\xef\xbb\xbf")


def test_a_second_plan_of_the_day_replaces_the_first(morning, drawn, tmp_path):
    write_plan(morning, tmp_path)
    write_plan(replace(morning, seed=99, crews=morning.crews[:1]), tmp_path)
    home = tmp_path / "plans" / "2025-08-16"
    assert json.loads((home / "plan.json").read_text(encoding="utf-8"))["seed"] == 99
    assert not (home / "crew-south.txt").exists()


@pytest.mark.parametrize("stop_at", range(1, 12))
def test_an_interrupted_run_leaves_the_previous_plan_whole(
    morning, drawn, tmp_path, monkeypatch, stop_at
):
    """Interrupt at each file and each rename in turn."""
    write_plan(morning, tmp_path)
    before = {p.name: p.read_bytes() for p in (tmp_path / "plans" / "2025-08-16").iterdir()}
    steps = 0

    def counted(call):
        def stopping(*args, **more):
            nonlocal steps
            steps += 1
            if steps == stop_at:
                raise KeyboardInterrupt
            return call(*args, **more)

        return stopping

    monkeypatch.setattr(atomic, "_write_through", counted(atomic._write_through))
    monkeypatch.setattr(Path, "rename", counted(Path.rename))
    new = replace(morning, seed=99)
    try:
        write_plan(new, tmp_path)
    except KeyboardInterrupt:
        assert steps >= stop_at
    monkeypatch.undo()
    home = tmp_path / "plans" / "2025-08-16"
    after = {p.name: p.read_bytes() for p in home.iterdir()}
    assert set(after) == set(before)
    seed = json.loads(after["plan.json"])["seed"]
    assert after == before if seed == morning.seed else stop_at > 9
    assert [p.name for p in home.parent.iterdir()] == ["2025-08-16"]


def test_a_killed_run_is_mended_by_the_next(morning, drawn, tmp_path):
    home = write_plan(morning, tmp_path)[0].parent
    home.rename(home.with_name(".2025-08-16.previous"))  # killed between the two renames
    half = home.with_name(".2025-08-16.x.new")
    half.mkdir()
    long_ago = datetime(2025, 1, 1, tzinfo=UTC).timestamp()
    os.utime(half, (long_ago, long_ago))
    write_plan(replace(morning, seed=5), tmp_path)
    assert [p.name for p in home.parent.iterdir()] == ["2025-08-16"]
    assert json.loads((home / "plan.json").read_text(encoding="utf-8"))["seed"] == 5


def test_the_same_morning_gives_the_same_files(morning):
    assert plan_files(morning, {}) == plan_files(morning, {})
