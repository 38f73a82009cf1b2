"""What the terminal prints, line by line and within its width."""

from dataclasses import replace
from math import nan

import mornings
import pytest

from scheduler.costs.machine_rates import CrewMachines
from scheduler.farm.model import Rules
from scheduler.farm.wording import clock, one_line
from scheduler.orders.cautions import FireWarning
from scheduler.planning.stages import PlanStage
from scheduler.report.phrases import STAGE_TEXT, loss_lines, proof_text, time_range
from scheduler.report.terminal import WIDTH, terminal_plan
from scheduler.review.phrases import REVIEW_STAGE
from scheduler.review.stages import ReviewStage
from scheduler.solver.stages import SolveStage


@pytest.fixture
def morning():
    return mornings.morning(fields=5, days=3, members=5)


def test_everything_an_order_needs(morning):
    text = terminal_plan(morning)
    for words in (
        "Learnt: Home quarter (F01): grain 0.4 points wetter than the weather tells, from 2",
        "CREW NORTH",
        "Today, Sat 16 Aug",
        " 1  Home quarter (F01)  hard wheat  98.8 ac, 5.1 loads to Elevator (5,291 bu)",
        "leave 09:20 (move 40 min, 5.9 mi)  start 10:00 (09:00-11:00)  done 14:30 (13:30-15:30)",
        "moisture 14.4 % (13.2-15.9 %)  58.5 lb/bu, 1.4 % sprouted: U.S. No. 2 by these alone\n",
        "    chance 90 %  22.5 ac/h, as fast as the combines cut\n",
        "why: dew off and grain fit from about 10:00; one place later would cost $1,240 more",
        "If the first sample is tough: wait three hours",
        "Status: feasible; seed 3",
        "4.5 loads to Elevator; 1.5 loads to Home bins\n"
        "    when Elevator is shut (7,337 bu in all)",
        "WHERE THE GRAIN GOES, IF ALL IS CUT",
        # 5,291 and three quarters of 7,337; the other quarter, 7,404 and 5,291
        "Elevator: 10,794 bu, 9.6 loads\n  Home bins: 14,529 bu, 12 loads\n",
    ):
        assert words in text


def test_a_metric_farm_sees_kilograms_a_hectolitre_and_no_grade():
    text = terminal_plan(mornings.morning(fields=3, units="metric"))
    assert "moisture 14.4 % (13.2-15.9 %)  77.0 kg/hL, 1.4 % sprouted\n" in text
    assert "U.S." not in text


def test_orders_without_quality_say_that_it_is_unknown(morning):
    crew = morning.crews[0]
    old = replace(
        crew.orders[0], test_weight_kg_hl=nan, sprouted_pct=nan, us_grade=None, deliveries=()
    )
    text = terminal_plan(replace(morning, crews=(replace(crew, orders=(old,)),)))
    assert "98.8 ac, 5.1 loads to Elevator (5,291 bu)" in text
    assert "WHERE THE GRAIN GOES" not in text
    assert "(13.2-15.9 %)  test weight unknown\n" in text


def test_loss_then_left_out_then_cautions_then_status(morning):
    text = terminal_plan(morning)
    parts = [text.index(x) for x in ("Expected loss", "LEFT OUT", "CAUTIONS", "Status:")]
    assert parts == sorted(parts)
    assert "Railway strip (F05): cannot be finished" in text


@pytest.mark.parametrize("long", ["word " * 60, "x" * 300])
def test_no_line_is_wider_than_the_terminal(morning, long):
    crew = morning.crews[0]
    order = replace(crew.orders[0], name=long, reason=long, point=long)
    wide = replace(
        morning,
        crews=(replace(crew, orders=(order,), note=long), morning.crews[1]),
        makeup=(CrewMachines(crew=long, combines=(), carts=(), trucks=()),),
        cautions=(FireWarning(event=long, start=morning.now, stop=morning.now),),
    )
    assert max(map(len, terminal_plan(wide).splitlines())) <= WIDTH


def test_control_characters_of_people_do_not_reach_the_terminal(morning):
    crew = morning.crews[0]
    order = replace(crew.orders[0], name="\x1b[2Jgone\x07", reason="a\u202eb")
    text = terminal_plan(replace(morning, crews=(replace(crew, orders=(order,)),)))
    assert "\x1b" not in text
    assert "\x07" not in text
    assert "\u202e" not in text
    assert one_line("\x1b[2J a\n b") == "[2J a b"


def test_proof_in_plain_words_never_flatters(morning):
    # hand: gap 0.79617 % is shown as 0.8, 0.80001 % as 0.9; a bound of 3,115.99 as 3,115
    assert proof_text(morning) == (
        "No order of these fields can lose less than $3,115; this one is within 0.8 %."
    )
    assert "within 0.9 %" in proof_text(replace(morning, gap=0.0080001))
    assert "$3,115;" in proof_text(replace(morning, bound=3115.99))
    assert proof_text(replace(morning, bound=None, gap=None)).startswith("Not proven")
    assert proof_text(replace(morning, status="optimal", gap=0.0)).startswith("Proven")


def test_the_best_rule_of_thumb_is_the_one_compared(morning):
    assert "ripest first: $4,020; the plan saves $880." in " ".join(loss_lines(morning))
    worse = replace(morning, rule_losses={"nearest first": 3000.0})
    assert "the plan loses $140 more." in " ".join(loss_lines(worse))


def test_cautious_plans_say_what_is_averaged():
    morning = mornings.morning(fields=2, rules=Rules(objective="cautious"))
    assert "averaged over the worst fifth" in loss_lines(morning)[0]


def test_times_name_their_day_only_where_it_differs():
    now = mornings.NOW
    assert clock(now, now) == "06:00"
    assert clock(now.replace(day=18), now) == "Mon 06:00"
    assert clock(now.replace(day=26), now) == "Tue 26 Aug 06:00"
    whole = mornings.spread(now.replace(hour=20), 6)
    assert time_range(whole, now.date()) == "14:00-Sun 02:00"
    assert time_range(mornings.spread(now.replace(day=18), 1), now.date()) == "Mon 05:00-07:00"


def test_every_stage_of_planning_and_review_has_its_words():
    assert set(STAGE_TEXT) == {*PlanStage, *SolveStage}
    assert set(REVIEW_STAGE) == set(ReviewStage)
