"""plan.json: its schema, times and unknown numbers."""

import json
from dataclasses import fields

import mornings
import pytest

from scheduler.orders import document
from scheduler.orders.model import Order
from scheduler.report.plan_document import plan_json


@pytest.fixture
def morning():
    return mornings.morning(fields=4, days=3, members=5)


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
