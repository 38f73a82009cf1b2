"""plan.json: its schema, times and unknown numbers."""

import json
from dataclasses import fields, replace
from datetime import timedelta
from math import isnan

from scheduler.orders import document
from scheduler.orders.document import read_issued_plan
from scheduler.orders.model import CrewOrders, MachineMove, MoneyAtStake, Order
from scheduler.planning.previous_plan import previous_plan
from scheduler.report.phrases import money_lines
from scheduler.report.plan_document import document as plan_document
from scheduler.report.plan_document import plan_json


def test_plan_json_says_what_its_documentation_says(morning):
    plan = plan_json(morning)
    for key in plan:
        assert f"`{key}`" in document.__doc__ or f"{key}" in document.__doc__
    assert plan["version"] == 2
    assert set(plan["money"]) == {f.name for f in fields(MoneyAtStake)}
    assert not {"status", "loss", "bound", "gap", "rules_of_thumb"} & set(plan)
    crew = plan["crews"][0]
    assert set(crew) == {f.name for f in fields(CrewOrders)}
    order = crew["orders"][0]
    assert set(order) == {f.name for f in fields(Order)} | {"place"}
    assert json.loads(json.dumps(plan, allow_nan=False)) == plan


# hand: 06:00 and 10:00 in Chicago in August are 11:00 and 15:00 UTC.
def test_plan_json_times_are_utc(morning):
    plan = plan_json(morning)
    assert plan["made"] == "2025-08-16T11:00:00Z"
    assert plan["crews"][0]["orders"][0]["start"]["mid"] == "2025-08-16T15:00:00Z"


def test_the_next_morning_reads_what_keeps_its_orders_stable(morning):
    moves = (MachineMove(machine="C3", from_crew="South", to_crew="North"),)
    until = morning.now + timedelta(hours=30)
    made = replace(morning, machine_moves=moves, forecast_until=until)
    back = read_issued_plan(json.loads(json.dumps(plan_document(made))), morning.farm)
    assert back.money == made.money
    assert back.machine_moves == moves
    assert back.forecast_until == until
    assert previous_plan(back.crews) == previous_plan(made.crews)
    kept = previous_plan(back.crews)
    assert set(kept.start_pct.values()) == {18.0}  # of later days: tomorrow is one
    assert kept.patience_min == {"North": 0.0, "South": 30.0}
    assert kept.leave_min == {"North": 0.0, "South": 40.0}
    assert kept.stop_margin == 0.5
    assert kept.move_weight == made.crews[0].move_weight


NEW_IN_2 = {"start_pct", "later_pct", "done", "shown"}
NEW_OF_CREWS_IN_2 = {"patience_min", "leave_min", "stop_margin", "move_weight", "moisture_weight"}


def test_a_document_of_version_1_is_read(morning):
    old = plan_document(morning)
    for key in ("money", "machine_moves"):
        del old[key]
    del old["forecast"]["until"]
    for crew in old["crews"]:
        for key in NEW_OF_CREWS_IN_2:
            del crew[key]
        for order in crew["orders"]:
            for key in NEW_IN_2:
                del order[key]
    old |= {
        "version": 1,
        "status": "feasible",
        "loss": 3140.0,
        "bound": 3115.0,
        "gap": 0.008,
        "rules_of_thumb": {"nearest first": 5210.0},
        "member_loss": [1.0, 2.0],
        "foresight_value": 640.0,
        "ignoring_cost": 210.0,
    }
    back = read_issued_plan(old, morning.farm)
    assert money_lines(back) == ("Expected loss of this plan: $3,140.",)
    assert back.forecast_until is None
    assert back.machine_moves == ()
    assert all(isnan(o.start_pct) for c in back.crews for o in c.orders)
    assert previous_plan(back.crews).start_pct == {}  # none, not unknown ones
