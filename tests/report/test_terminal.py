"""What the terminal prints, line by line and within its width."""

from dataclasses import replace
from math import inf, nan

import mornings
import pytest

from scheduler.costs.machine_rates import CrewMachines
from scheduler.farm.model import Rules
from scheduler.farm.wording import clock, one_line
from scheduler.orders.cautions import FireWarning
from scheduler.orders.model import Leaving
from scheduler.planning.stages import PlanStage
from scheduler.report.phrases import (
    STAGE_TEXT,
    money_lines,
    time_range,
)
from scheduler.report.terminal.full_plan import full_plan
from scheduler.report.terminal.lines import WIDTH


@pytest.fixture
def morning():
    return mornings.morning(fields=5, days=3, members=5)


def test_everything_an_order_needs(morning):
    text = full_plan(morning)
    for words in (
        "Learnt: Home quarter (F01): grain 0.4 points wetter than the weather tells, from 2",
        "CREW NORTH",
        "Today, Sat 16 Aug",
        " 1  Home quarter (F01)  hard wheat  98.8 ac, 5.1 loads to Elevator (5,291 bu)",
        "leave 9:20 am (move 40 min, 5.9 mi)  start 10 am (9 am-11 am)  done 2:30 pm\n"
        "    (1:30 pm-3:30 pm)\n",
        "moisture 14.4 % (13.2-15.9 %)  58.5 lb/bu, 1.4 % sprouted: U.S. No. 2 by these alone\n",
        "    cut by Sat 16 Aug in 90 % of the forecasts  22.5 ac/h, as fast as the combines cut\n",
        "    held by your order\n    start at 16 % or drier\n",
        "At a field that is not fit: wait 30 min, then go to the next that is fit.\n",
        "why: dry enough about 10 am; cheapest change: swap with Hilltop after it, $488",
        "If the first sample is tough: wait three hours",
        "4.5 loads to Elevator; 1.5 loads to Home bins\n"
        "    when Elevator is shut (7,337 bu in all)",
        "WHERE THE GRAIN GOES, MEAN OF THE FORECASTS",
        # hand: 940 and 410 t of wheat at 36.7437 bu a tonne
        "  Elevator: 34,539 bu, about 33 loads\n",
        "  Home bins: 15,065 bu, about 15 loads; full in 40 % of the forecasts, then the grain",
    ):
        assert words in text


def test_a_metric_farm_sees_kilograms_a_hectolitre_and_no_grade():
    text = full_plan(mornings.morning(fields=3, units="metric"))
    assert "moisture 14.4 % (13.2-15.9 %)  77.0 kg/hL, 1.4 % sprouted\n" in text
    assert "U.S." not in text


def test_orders_without_quality_say_that_it_is_unknown(morning):
    crew = morning.crews[0]
    old = replace(
        crew.orders[0], test_weight_kg_hl=nan, sprouted_pct=nan, us_grade=None, deliveries=()
    )
    text = full_plan(replace(morning, crews=(replace(crew, orders=(old,)),)))
    assert "98.8 ac, 5.1 loads to Elevator (5,291 bu)" in text
    assert "(13.2-15.9 %)  test weight unknown\n" in text


def test_money_then_left_out_then_cautions(morning):
    text = full_plan(morning)
    parts = [text.index(x) for x in ("Already lost", "LEFT OUT", "CAUTIONS")]
    assert parts == sorted(parts)
    assert "Railway strip (F05): cannot be cut" in text
    assert not {"proven", "status", "gap", "bound", "seed"} & set(text.lower().split())


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
    assert max(map(len, full_plan(wide).splitlines())) <= WIDTH


def test_control_characters_of_people_do_not_reach_the_terminal(morning):
    crew = morning.crews[0]
    order = replace(crew.orders[0], name="\x1b[2Jgone\x07", reason="a\u202eb")
    text = full_plan(replace(morning, crews=(replace(crew, orders=(order,)),)))
    assert "\x1b" not in text
    assert "\x07" not in text
    assert "\u202e" not in text
    assert one_line("\x1b[2J a\n b") == "[2J a b"


# hand: 3,140 - 1,140 = 2,000 of the loss lie ahead; 3,140 - 2,500 = 640 is due to the weather
def test_money_lost_at_stake_and_compared():
    morning = unheld(mornings.morning(fields=5))
    assert money_lines(morning) == (
        "Already lost: $1,140. Still at stake: $52,300, of which this plan is expected to lose "
        "$2,000, give or take $260.",
        "Ripest first, started at 18 % or drier, would lose $880 more, give or take $210.",
        "Nearest first, started at 16 % or drier, would lose $150 more, give or take $190: no real "
        "difference.",
        "Most valuable first, started as soon as it threshes, would lose $60 less, give or take "
        "$250: no real difference.",
        "Largest first, started at 15.5 % or drier, would lose $2,960 more, give or take $640.",
        "Knowing the weather beforehand would save at most $640.",
        "All this is the mean of 3 forecasts that neither the plan nor the start moisture of a "
        "rule was chosen on; 'give or take' is one standard error.",
    )


def unheld(morning):
    """The morning without an order of the farmer's own."""
    crews = tuple(
        replace(c, orders=tuple(replace(o, locked=False) for o in c.orders)) for c in morning.crews
    )
    return replace(morning, crews=crews)


def test_a_difference_of_two_standard_errors_is_not_real(morning):
    (rule, *_) = morning.money.rules

    def line(**changes):
        money = mornings.money(5, rules=(replace(rule, **changes),))
        return money_lines(unheld(replace(morning, money=money)))[1]

    assert line(more=420.0, error=210.0).endswith(
        "$420 more, give or take $210: no real difference."
    )
    assert line(more=421.0, error=210.0).endswith("$421 more, give or take $210.")
    assert line(more=-421.0, error=210.0).endswith("$421 less, give or take $210.")
    assert line(error=inf).endswith("$880 more, error unknown: no real difference.")
    assert line(error=nan).endswith("$880 more, error unknown: no real difference.")
    assert line(more=0.0, error=0.0).endswith("would lose just as much as this plan.")


def test_every_claim_says_that_an_order_is_kept_and_what_that_costs(morning):
    money = mornings.money(5, held_cost=2218.0, held_error=300.0)
    lines = money_lines(replace(unheld(morning), money=money))
    assert "of which this plan with your order kept is expected to lose" in lines[0]
    assert lines[1] == "Keeping your order costs $2,218 more, give or take $300."
    rules = lines[2 : 2 + len(money.rules)]
    assert all("than this plan with your order kept" in line for line in rules)
    assert "save at most $640 against this plan with your order kept." in lines[-2]
    note = "All that follows is reckoned with your order kept: money, times and reasons."
    assert note in full_plan(replace(morning, money=money))
    assert "your order" not in full_plan(unheld(morning))
    assert "WHAT IT IS WORTH WITH YOUR ORDER KEPT" in full_plan(replace(morning, money=money))

    def held(cost, error):
        made = mornings.money(5, held_cost=cost, held_error=error)
        return money_lines(replace(morning, money=made))[1]

    assert held(500.0, 300.0) == (
        "Keeping your order costs $500 more, give or take $300: no real difference."
    )
    assert held(-700.0, 300.0) == "Keeping your order saves $700, give or take $300."
    assert held(0.0, 0.0) == "Keeping your order costs nothing."


def test_hand_sentences_on_leaving(morning):
    one = (Leaving(crops=("barley", "wheat_hard"), days=14.0, share=0.1),)
    money = replace(mornings.money(5), leaving=one)
    lines = money_lines(replace(morning, money=money))
    assert lines[-4:-1] == (
        "Grain left uncut counts as sold 14 days after the days planned, for 10 % less.",
        "That share is for the risk that it is never cut. Shatter and rain until then come off as "
        "well. Your own days and share: leave_days and leave_share in farm.toml.",
        "The haul to each delivery point is part of all these amounts.",
    )
    two = (*one, Leaving(crops=("canola",), days=7.0, share=0.2))
    lines = money_lines(replace(morning, money=replace(money, leaving=two)))
    assert (
        "Grain left uncut (canola) counts as sold 7 days after the days planned, for 20 % less."
        in lines
    )


def test_few_forecasts_say_that_they_flatter_the_plan(morning):
    few = money_lines(replace(morning, money=mornings.money(5, unseen=False, judged=5)))[-1]
    assert "5 forecasts that the plan was chosen on, which flatters it" in few
    one = money_lines(replace(morning, money=mornings.money(1, unseen=False, judged=1)))[-1]
    assert "in the one forecast there is, so its error is unknown" in one


def test_forecasts_that_settled_whether_orders_stay_are_named(morning):
    settled = replace(mornings.money(10, judged=10), stay_checked=True)
    assert money_lines(replace(morning, money=settled))[-1].startswith(
        "All this is the mean of 10 forecasts that neither the plan nor the start moisture of a "
        "rule was chosen on, but that settled whether crews and orders stay as they were; "
        "'give or take'"
    )
    assert "settled" not in money_lines(replace(morning, money=mornings.money(10)))[-1]


def test_money_of_a_plan_of_an_earlier_version_is_its_loss(morning):
    old = mornings.money(5, already_lost=nan, at_stake=nan, rules=(), floor=None)
    assert money_lines(replace(morning, money=old)) == ("Expected loss of this plan: $3,140.",)


def test_money_says_how_far_plans_of_other_seeds_may_lie(morning):
    apart = replace(morning.money, searches_apart=915.0, searches_error=1499.0)
    lines = money_lines(replace(morning, money=apart))
    assert lines[-2] == (
        "Another seed may give another order that is as good: two separate searches of this "
        "morning lie $915 apart, give or take $1,499."
    )
    one = money_lines(replace(morning, money=replace(apart, searches_error=inf)))
    assert one[-2].endswith("lie $915 apart.")
    assert "seed" not in " ".join(money_lines(morning))


def test_cautious_plans_say_what_they_are_chosen_for():
    morning = mornings.morning(fields=2, rules=Rules(objective="cautious"))
    assert "chosen for the worst fifth of the forecasts" in money_lines(morning)[-1]


def test_times_name_their_day_only_where_it_differs():
    now = mornings.NOW
    assert clock(now, now) == "06:00"
    assert clock(now.replace(day=18), now) == "Mon 06:00"
    assert clock(now.replace(day=26), now) == "Tue 26 Aug 06:00"
    assert clock(now, now, "us") == "6 am"
    assert clock(now.replace(hour=18, minute=5), now, "us") == "6:05 pm"
    assert clock(now.replace(hour=12), now, "us") == "noon"
    assert clock(now.replace(day=17, hour=0), now, "us") == "Sun midnight"
    assert clock(now.replace(day=18, hour=0, minute=30), now, "us") == "Mon 12:30 am"
    assert clock(now.replace(hour=12), now, "us") == "noon"
    whole = mornings.spread(now.replace(hour=20), 6)
    assert time_range(whole, now.date(), "metric") == "14:00-Sun 02:00"
    assert time_range(mornings.spread(now.replace(day=18), 1), now.date(), "us") == "Mon 5 am-7 am"


def test_every_stage_of_planning_and_review_has_its_words():
    assert set(STAGE_TEXT) == set(PlanStage)
    from scheduler.review.phrases import REVIEW_STAGE
    from scheduler.review.review import ReviewStage

    assert set(REVIEW_STAGE) == set(ReviewStage)
