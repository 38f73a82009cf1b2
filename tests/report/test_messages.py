"""Text messages: first things first, within their length and alphabet, numbered if several."""

from dataclasses import replace
from datetime import timedelta

import mornings
import numpy as np
import pytest

from scheduler.language.translation import LANGUAGES, in_language
from scheduler.orders.cautions import FlowingGrain, PowerLines, RoadMoves
from scheduler.orders.model import TURNED_AWAY, Delivery, Fallback, MachineMove
from scheduler.orders.reasons import FallbackAction, IdleNote, Wait
from scheduler.report.messages import MESSAGE_CHARS, MOST_TEXTS, idle_message, packed, texts

GO = FallbackAction(
    first_name="x", wait=Wait.TOMORROW, other_name="Mail road north", other_field="F03"
)


def test_texts_have_first_things_first(morning):
    assert texts(morning.crews[0], morning) == (
        "1/2 Crew North, Sat 16 Aug: Leave 9:20 am for Home quarter (F01). Cut 10 am-2:30 pm at "
        "16% or drier, 98.8 ac. T1, T2: Elevator, about 6 loads. Tough: wait 3 h. Soft: Mail road "
        "north (F03), then back. Fire danger about 4 pm: have extinguishers and water at hand; "
        "bans come first.",
        "2/2 Long day: take breaks, stop when tired. Then Mail road north (F03): leave 2:20 pm, "
        "cut 3-7:30 pm, 158 ac (78%). Machines: C1, C2 with cart North; trucks T1, T2; 5 people.",
    )


def test_drivers_read_their_names_beside_their_trucks(morning):
    crew = replace(morning.crews[0], drivers=(("T1", "Jo"), ("C2", "Ann")))
    assert "T1 (Jo), T2: Elevator, about 6 loads." in texts(crew, morning)[0]
    no_trucks = replace(crew, trucks=())
    assert "Elevator, about 6 loads." in texts(no_trucks, morning)[0]


def test_a_truck_that_is_away_while_the_crew_cuts_hauls_nothing(morning):
    crew = morning.crews[0]
    (first, *_) = crew.stints
    away = replace(crew, joins=((crew.trucks[0], first.until),))
    assert "drier, 98.8 ac. T2: Elevator" in texts(away, morning)[0]
    back = replace(crew, joins=((crew.trucks[0], first.start),))
    assert "drier, 98.8 ac. T1, T2: Elevator" in texts(back, morning)[0]


def test_usual_cautions_stand_where_there_is_room(morning):
    usual = (RoadMoves(crews=("North",)), PowerLines(), FlowingGrain(points=("Home bins",)))
    crew = mornings.with_orders(morning.crews[0], morning.crews[0].orders[:1])
    (text,) = texts(crew, replace(morning, cautions=usual))
    assert "On the road: lights, emblem and escort as the law asks." in text
    assert "Look up for power lines." in text
    full = replace(morning, cautions=(*morning.cautions, *usual))
    assert len(texts(morning.crews[0], full)) == len(texts(morning.crews[0], morning))


def test_a_short_day_is_one_text_without_a_number(morning):
    crew = mornings.with_orders(morning.crews[0], morning.crews[0].orders[:1])
    crew = replace(crew, combines=("C1",), fallback=Fallback(if_tough=GO, if_soft=GO))
    (text,) = texts(crew, replace(morning, cautions=()))
    assert text.startswith("Crew North, Sat 16 Aug: Leave 9:20 am")
    assert "Tough or soft: Mail road north (F03), then back." in text
    assert text.endswith("Machines: C1 with cart North; trucks T1, T2; 5 people.")


def test_a_crew_that_begins_tomorrow_reads_so(morning):
    note = IdleNote(first_start=mornings.NOW.replace(hour=10), ordered=True)
    early = replace(morning, now=morning.now - timedelta(days=1))
    assert texts(replace(morning.crews[0], note=note), early) == (
        "Crew North, Fri 15 Aug: Nothing to cut today; first start Sat 16 Aug 10 am. Tomorrow: "
        "Home quarter (F01): leave 9:20 am, cut 10 am-2:30 pm, 98.8 ac.",
    )


def test_a_metric_farm_has_a_clock_of_24_hours():
    morning = mornings.morning(fields=4, units="metric")
    text = texts(morning.crews[0], morning)[0]
    assert "Leave 09:20 for" in text
    assert "Cut 10:00-14:30 at 16% or drier, 40.0 ha." in text


def test_a_machine_that_changes_crews_comes_first_for_both(morning):
    moves = (MachineMove(machine="C2", from_crew="North", to_crew="South"),)
    north, south = (texts(crew, replace(morning, machine_moves=moves)) for crew in morning.crews)
    assert north[0].startswith("1/2 Crew North, Sat 16 Aug: C2 to South. Leave ")
    assert south[0].startswith("1/2 Crew South, Sat 16 Aug: C2 from North. Leave ")


def test_texts_say_where_grain_goes_by_moisture_and_how_long_to_wait(morning):
    south = mornings.morning(fields=6).crews[1]
    elevator, bins = morning.farm.points
    wet = {k: replace(m, moisture_limit_pct=20.0) for k, m in bins.markets.items()}
    farm = replace(morning.farm, points=(elevator, replace(bins, markets=wet)))
    deliveries = tuple(
        Delivery(point=p, tonnes=10.0, loads=loads, why=why)
        for p, loads, why in (("Elevator", 1.0, ""), ("Home bins", 3.2, TURNED_AWAY))
    )
    first, *others = south.stints
    south = replace(
        south,
        stints=(replace(first, deliveries=deliveries), *others),
        fallback=Fallback(if_tough=GO, if_soft=GO),
    )
    text = " ".join(texts(south, replace(morning, farm=farm)))
    assert "T3: up to 17%: Elevator; wetter: Home bins, about 5 loads." in text
    assert "Tough or soft: wait 30 min, then Mail road north (F03), then back." in text


def test_message_of_a_crew_that_has_lost_its_combine(morning):
    moves = (MachineMove(machine="C3", from_crew="South", to_crew="North"),)
    alone = replace(morning, crews=morning.crews[:1], machine_moves=moves)
    assert idle_message("South", alone) == (
        "Crew South, Sat 16 Aug: no orders, because no combine works with it; C3 to North."
    )


def test_a_crew_without_work(morning):
    idle = replace(mornings.with_orders(morning.crews[0], ()), note=IdleNote(first_start=None))
    assert texts(idle, morning) == (
        "Crew North, Sat 16 Aug: Nothing to cut within the days planned.",
    )


# law: no text exceeds two joined messages, whatever people call things and in whatever language
@pytest.mark.parametrize("language", LANGUAGES)
def test_no_text_is_too_long_on_random_farms(language):
    rng = np.random.default_rng(7)
    words = ["x" * 400, "Señor Müller's Zuñi ground", "F", "Поле у дороги", "long name " * 12]
    for _ in range(60):
        morning = mornings.morning(
            fields=int(rng.integers(3, 12)), units=rng.choice(["us", "metric"])
        )
        crew = morning.crews[int(rng.integers(2))]
        point = str(rng.choice(words))
        orders = [
            replace(
                o,
                name=str(rng.choice(words)),
                field=o.field + str(rng.choice(["", *words])),
                headland_only=bool(rng.integers(2)),
                deliveries=tuple(replace(d, point=point) for d in o.deliveries),
            )
            for o in crew.orders
        ]
        action = replace(GO, other_name=str(rng.choice(words)))
        crew = replace(
            mornings.with_orders(crew, orders),
            crew=str(rng.choice(words)),
            combines=(str(rng.choice(words)),) * int(rng.integers(1, 4)),
            fallback=Fallback(if_tough=action, if_soft=replace(action, other_field="")),
        )
        with in_language(language):
            made = texts(crew, morning)
        assert 1 <= len(made) <= MOST_TEXTS
        assert max(map(len, made)) <= MESSAGE_CHARS <= 320
        assert [t[:4] for t in made] == [f"{n}/{len(made)} " for n in range(1, len(made) + 1)] or (
            len(made) == 1
        )


def test_letters_are_those_of_the_seven_bit_alphabet(morning):
    named = mornings.with_first_order(morning, name="Čapek's Zuñi ground, 30°")
    (first, *_) = texts(named.crews[0], named)
    assert "Capek's Zuñi ground, 30 (F01)" in first


def test_what_has_no_room_is_on_the_sheet():
    # hand: a text holds 302 characters behind its number, so one sentence of 240
    made = packed(["a" * 239 + "."] * 4)
    assert [len(t) for t in made] == [244, 244, 244 + len(" More on the sheet.")]
    assert made[2].endswith(". More on the sheet.")
    # 302 - 244 leaves no room for 240 more, and room for 20
    assert packed(["a" * 239 + "."] * 2, ["b" * 100, "c" * 20 + "."])[1].endswith(
        ". " + "c" * 20 + "."
    )
    assert packed(["b" * 400, "c."]) == ("b" * 237 + "... c.",)
    assert packed(["b" * 100 + ".", "c."]) == ("b" * 100 + ". c.",)
