"""plan.csv: columns, units, unknown numbers, and cells that a spreadsheet must not run."""

import csv
import io
import json
from dataclasses import replace

import mornings
import pytest

from scheduler.farm.units import ACRE_HA, MILE_KM
from scheduler.farm.wording import formula_safe
from scheduler.report.plan_csv import plan_csv
from scheduler.report.plan_document import plan_json

FINISH = ("finish_early", "finish", "finish_late")


def test_unknown_numbers_are_null(morning):
    odd = replace(
        mornings.with_first_order(morning, chance=float("nan")),
        money=mornings.money(5, floor=None, loss_error=float("inf")),
    )
    text = json.dumps(plan_json(odd), allow_nan=False)
    assert json.loads(text)["crews"][0]["orders"][0]["chance"] is None
    assert json.loads(text)["money"]["floor"] is None
    assert json.loads(text)["money"]["loss_error"] is None
    assert table(plan_csv(odd))[0]["cut_by_pct"] == ""


def table(text):
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_plan_csv_has_a_row_an_order_in_the_farms_units(morning):
    rows = table(plan_csv(morning))
    orders = [o for c in morning.crews for o in c.orders]
    assert [r["field"] for r in rows] == [o.field for o in orders]
    assert float(rows[0]["ac"]) == pytest.approx(orders[0].area_ha / ACRE_HA, abs=0.05)
    assert float(rows[0]["move_mi"]) == pytest.approx(orders[0].move_km / MILE_KM, abs=0.05)
    assert rows[0]["start"] == "2025-08-16 10:00"
    assert (rows[0]["start_at_pct"], rows[0]["later_start_at_pct"]) == ("16.0", "18.0")
    assert (rows[0]["cut_by_pct"], rows[0]["cut_at_all_pct"]) == ("90", "100")
    assert rows[0]["point_by_moisture"] == "Elevator"
    assert {r["beyond_forecast"] for r in rows} == {"no"}
    cut_off = replace(morning, forecast_until=orders[1].start.mid)
    beyond = [r["beyond_forecast"] for r in table(plan_csv(cut_off))]
    assert beyond == ["yes" if o.start.mid >= cut_off.forecast_until else "no" for o in orders]
    assert beyond.count("yes") == 1
    assert plan_csv(morning).splitlines()[0].startswith("crew,place,field")
    metric = table(plan_csv(mornings.morning(fields=3, units="metric")))
    assert float(metric[0]["ha"]) == 40.0


def test_a_finish_beyond_the_days_planned_is_an_empty_cell(morning):
    finish = morning.crews[0].orders[0].finish
    late = mornings.with_first_order(morning, finish=replace(finish, high=morning.until))
    row = table(plan_csv(late))[0]
    assert [row[c] != "" for c in FINISH] == [True, True, False]
    never = replace(finish, mid=morning.until, high=morning.until)
    row = table(plan_csv(mornings.with_first_order(morning, finish=never)))[0]
    assert [row[c] != "" for c in FINISH] == [True, False, False]


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
    poor = mornings.with_first_order(
        morning, us_grade=6, test_weight_kg_hl=float("nan"), sprouted_pct=float("nan")
    )
    assert table(plan_csv(poor))[0]["us_grade"] == "U.S. Sample grade"
    assert table(plan_csv(poor))[0]["test_weight_lb_bu"] == ""


# Cells that a spreadsheet would run (OWASP, CSV injection: = + - @, tab, carriage return).
@pytest.mark.parametrize("evil", ["=HYPERLINK(1)", "+1", "-1+1", "@SUM(A1)", "\t=1", "\r=1", " =1"])
def test_text_cells_are_never_formulas(morning, evil):
    assert formula_safe(evil)[0] == "'"
    rows = table(plan_csv(mornings.with_first_order(morning, name=evil, reason=evil, field=evil)))
    for cell in rows[0].values():
        assert cell[0:1] not in tuple("=+@\t\r")
    assert not rows[0]["name"].startswith("-")


def test_quotes_commas_and_line_breaks_stay_in_their_cell(morning):
    rows = table(plan_csv(mornings.with_first_order(morning, name='The "old, wet"\nfield')))
    assert rows[0]["name"] == 'The "old, wet" field'
    assert len(rows) == sum(len(c.orders) for c in morning.crews)
