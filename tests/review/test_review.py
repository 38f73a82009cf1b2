"""The review: delay accounting, loss by part, counterfactuals, and the sample's whole season."""

import csv
import io
import shutil
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from farm_folder import FARM_FILES, copy_sample
from hypothesis import given, settings
from hypothesis import strategies as st
from places import SAMPLE

from readiness.season.codes import Reason
from scheduler.review.adherence import CrewDay, Deviation
from scheduler.review.counterfactuals import AS_DONE, AS_PLANNED, BEST_POLICY
from scheduler.review.delay_accounting import (
    WEATHER_CAUSES,
    Cause,
    HourStates,
    by_day,
    cause_codes,
    crew_account,
    field_account,
)
from scheduler.review.loss_split import LossSource
from scheduler.review.observed_season import read_observed_season
from scheduler.review.observed_work import observed_work
from scheduler.review.phrases import deviation_text
from scheduler.review.work_record import hour_states
from scheduler.season_book.entry_kinds import Entry
from scheduler.windows.ripe_dates import with_ripe_dates

#: Every test here plans or reviews the sample farm.
pytestmark = pytest.mark.slow


def states(**changes):
    """One field, crew and hour, all open and nobody cutting, with `changes`."""
    open_hour = {
        "closed": np.full((1, 1), Cause.SPARE),
        "done": np.zeros((1, 1), dtype=bool),
        "cut": np.zeros((1, 1, 1)),
        "wait": np.zeros((1, 1)),
        "down": np.zeros((1, 1)),
        "shut": np.zeros((1, 1), dtype=bool),
        "held": np.zeros((1, 1), dtype=bool),
        "off": np.zeros((1, 1)),
        "move": np.zeros((1, 1)),
    }
    return HourStates(**(open_hour | changes))


@st.composite
def any_states(draw):
    """Any season of a few fields, crews and hours within the limits of `HourStates`."""
    fields, crews, n = draw(st.integers(1, 4)), draw(st.integers(1, 3)), draw(st.integers(1, 12))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    uses = rng.random((fields + 2, crews, n)) * (rng.random((fields + 2, crews, n)) < 0.6)
    total = np.maximum(uses.sum(axis=0), 1.0)
    shares = uses / total
    codes = [*WEATHER_CAUSES, Cause.SPARE, Cause.CREW]
    return HourStates(
        closed=rng.choice(codes, (fields, n)),
        done=rng.random((fields, n)) < 0.3,
        cut=shares[:fields],
        wait=rng.random((fields, crews)),
        down=rng.choice([0.0, 0.5, 1.0], (crews, n)),
        shut=rng.random((fields, n)) < 0.3,
        held=rng.random((fields, n)) < 0.3,
        off=rng.choice([0.0, 1.0], (crews, n)),
        move=shares[fields],
    )


# Property: every hour of every field and crew is attributed exactly once.
@settings(max_examples=150, deadline=None)
@given(any_states())
def test_hours_sum_to_the_season(h):
    for shares in (field_account(h), crew_account(h)):
        assert shares.min() > -1e-9
        assert shares.sum(axis=0) == pytest.approx(np.ones(shares.shape[1:]), abs=1e-9)
    days = np.arange(h.cut.shape[2]) // 5
    assert by_day(field_account(h), days).sum() == pytest.approx(h.cut.size)


@settings(max_examples=100, deadline=None)
@given(any_states())
def test_both_accounts_hold_the_same_cutting_time(h):
    by_field, by_crew = field_account(h), crew_account(h)
    assert by_crew[Cause.CUT] == pytest.approx(by_field[Cause.CUT].sum(axis=0), abs=1e-9)


# The order of precedence: an hour with several causes is attributed to the first.
ORDERED = (
    ({"closed": np.full((1, 1), Cause.GROUND)}, Cause.GROUND),
    ({"closed": np.full((1, 1), Cause.GRAIN)}, Cause.GRAIN),
    ({"closed": np.full((1, 1), Cause.WIND)}, Cause.WIND),
    ({"closed": np.full((1, 1), Cause.FIRE)}, Cause.FIRE),
    ({"closed": np.full((1, 1), Cause.HEAT)}, Cause.HEAT),
    ({"down": np.ones((1, 1))}, Cause.DOWN),
    ({"shut": np.ones((1, 1), dtype=bool)}, Cause.WAIT),
    ({"off": np.ones((1, 1))}, Cause.CREW),
    ({"move": np.ones((1, 1))}, Cause.MOVE),
    ({"held": np.ones((1, 1), dtype=bool)}, Cause.HELD),
    ({}, Cause.SPARE),
)


@pytest.mark.parametrize("at", range(len(ORDERED)))
def test_first_binding_cause_takes_the_hour(at):
    changes = {}
    for change, _ in reversed(ORDERED[at:]):
        changes |= change
    for shares in (field_account(states(**changes)), crew_account(states(**changes))):
        assert shares[ORDERED[at][1]].sum() == 1.0
        assert shares.sum() == 1.0


def test_hand_a_morning_of_one_crew_and_two_fields():
    """Hour 0: dew in both fields. Hour 1: moving. Hour 2: cuts A for 3/4, of which 20 % waits.

    hand: A cut 0.75 x 0.8 = 0.6, wait 0.15, spare 0.25; B elsewhere 0.75, spare 0.25.
    """
    cut = np.zeros((2, 1, 3))
    cut[0, 0, 2] = 0.75
    h = HourStates(
        closed=np.array([[Cause.GRAIN, Cause.SPARE, Cause.SPARE]] * 2),
        done=np.zeros((2, 3), dtype=bool),
        cut=cut,
        wait=np.array([[0.2], [0.0]]),
        down=np.zeros((1, 3)),
        shut=np.zeros((2, 3), dtype=bool),
        held=np.zeros((2, 3), dtype=bool),
        off=np.zeros((1, 3)),
        move=np.array([[0.0, 1.0, 0.0]]),
    )
    shares = field_account(h)
    assert shares[Cause.GRAIN, :, 0, 0] == pytest.approx([1.0, 1.0])
    assert shares[Cause.MOVE, :, 0, 1] == pytest.approx([1.0, 1.0])
    assert shares[Cause.CUT, 0, 0, 2] == pytest.approx(0.6)
    assert shares[Cause.WAIT, 0, 0, 2] == pytest.approx(0.15)
    assert shares[Cause.SPARE, :, 0, 2] == pytest.approx([0.25, 0.25])
    assert shares[Cause.ELSEWHERE, 1, 0, 2] == pytest.approx(0.75)
    crew = crew_account(h)[:, 0]
    assert crew[Cause.GRAIN, 0] == crew[Cause.MOVE, 1] == 1.0
    assert crew[[Cause.CUT, Cause.WAIT, Cause.SPARE], 2] == pytest.approx([0.6, 0.15, 0.25])


def test_one_of_two_combines_down_takes_half_of_the_cutting():
    shares = field_account(states(cut=np.ones((1, 1, 1)), down=np.full((1, 1), 0.5)))
    assert shares[Cause.DOWN].sum() == shares[Cause.CUT].sum() == 0.5


def test_an_idle_crew_takes_the_cause_of_the_field_it_could_cut_soonest():
    """hand: soft ground in one field and dew in the other: dew comes later in the order."""
    two = states(
        closed=np.array([[Cause.GROUND], [Cause.GRAIN]]),
        done=np.zeros((2, 1), dtype=bool),
        cut=np.zeros((2, 1, 1)),
        wait=np.zeros((2, 1)),
        shut=np.zeros((2, 1), dtype=bool),
    )
    assert crew_account(two)[Cause.GRAIN].sum() == 1.0


def test_every_reason_has_a_cause():
    codes = cause_codes(np.array(list(Reason), dtype=np.uint8))
    assert len(codes) == len(Reason)
    assert codes[Reason.OPEN] == Cause.SPARE
    assert codes[Reason.APPROACH] == codes[Reason.GROUND] == Cause.GROUND


def test_parts_of_a_loss_sum_to_the_loss():
    """The value of sound grain at base moisture less `revenue_ha` is the sum of the parts.

    hand: 100 days x 0.5 % of yield are half of the value; sound grain at base loses nothing else.
    """
    from scheduler.costs.grain_value import CropState, dry_t_ha, loss_terms, revenue_ha
    from scheduler.costs.loss_parts import LossPart, parts_ha
    from scheduler.farm_files.folder import read_farm

    farm = read_farm(SAMPLE)
    field = next(f for f in farm.fields if f.crop == "barley")
    header = {"header_dry_pct": 12.0, "header_loss_point": 0.02, "header_loss_max": 0.1}
    rates = {"shatter_day": 0.005, "test_weight_per_wetting": 1.0}
    terms = loss_terms(farm, field) | rates | header
    hours = np.arange(24.0 * 120)
    rng = np.random.default_rng(4)
    shape = (3, len(hours))
    wet, sprout = rng.integers(0, 9, shape).astype(float), rng.random(shape) * 0.03
    for point in farm.points:
        if (market := point.markets.get("barley")) is None:
            continue
        moisture = rng.uniform(9.0, market.moisture_limit_pct, shape)
        paid = revenue_ha(
            field,
            market,
            CropState(moisture=moisture, wettings=wet, sprout=sprout, ripe_days=hours / 24.0),
            haul_t=0.0,
            terms=terms,
        )
        parts = parts_ha(
            field, market, (moisture, wet, sprout), hours / 24.0, terms, sprouted_before=0.01
        )
        sound = dry_t_ha(field) / (1 - market.moisture_base_pct / 100) * market.price_t
        assert sum(parts.values()) == pytest.approx(sound - paid, rel=1e-9)
        assert all(part.min() >= -1e-9 for part in parts.values())
        base = np.full((1, len(hours)), market.moisture_base_pct)
        plain = parts_ha(field, market, (base, 0 * base, 0 * base), hours / 24.0, terms)
        assert plain[LossPart.YIELD][0, 2400] == pytest.approx(0.5 * sound)
        assert sum(p[0, 2400] for p in plain.values()) == pytest.approx(0.5 * sound)


ABSENCE = Entry(
    kind="absent",
    subject="south",
    at=datetime(2026, 8, 26, 6, tzinfo=UTC),
    facts={"reason": "funeral"},
)
DEVIATIONS = (
    ({"deviation": Deviation.NONE}, ""),
    ({"deviation": Deviation.RECORDED, "entries": (ABSENCE,)}, "crew away: funeral"),
    ({"deviation": Deviation.NOTHING_ORDERED}, "the plan expected nothing to be fit"),
    ({"deviation": Deviation.LATER_ORDERS}, "cut fields that the plan had for a later day"),
    ({"deviation": Deviation.UNEXPLAINED}, "no entry says why"),
    (
        {"deviation": Deviation.IDLE, "cause": Cause.GROUND, "hours": 11.6},
        "rain or ground took 12 h",
    ),
    (
        {"deviation": Deviation.IDLE, "cause": Cause.SPARE, "hours": 3.0},
        "no entry says why; open, not used took 3 h",
    ),
)


def test_every_deviation_has_its_words():
    assert {changes["deviation"] for changes, _ in DEVIATIONS} == set(Deviation)
    for changes, text in DEVIATIONS:
        day = CrewDay(day=date(2026, 8, 26), crew="south", ordered=("F01",), cut=(), **changes)
        assert deviation_text(day) == text
        assert day.followed == (text == "")


# The sample's own season is invented: these tests hold that its accounts close.
@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    home = copy_sample(tmp_path_factory.mktemp("season"), *FARM_FILES)
    shutil.copy(SAMPLE / "season.sqlite", home / "book.sqlite")
    shutil.copytree(
        SAMPLE / "forecasts",
        home / "forecasts",
        ignore=shutil.ignore_patterns("ensemble*", "gridpoint*"),
    )
    return home


@pytest.fixture(scope="module")
def review(folder):
    from scheduler.review.review import review_season

    return review_season(folder)


def test_hours_and_area_of_the_season_are_complete(review):
    farm, days = review.observed.farm, len(review.days)
    shape = (len(farm.fields), len(review.crews), days)
    assert review.field_hours.sum(axis=0) == pytest.approx(np.full(shape, 24.0), abs=1e-6)
    assert review.crew_hours.sum(axis=0) == pytest.approx(np.full(shape[1:], 24.0), abs=1e-6)
    area = sum(f.area_ha * (1 - f.cut_fraction) for f in farm.fields)
    assert review.work.area.sum() + review.standing.sum() == pytest.approx(area, rel=0.005)
    assert days > 10
    assert len(review.observed.plans) >= days - 1


def test_duty_hours_are_the_working_week(review):
    """hand: both crews work 7:00 to 22:30 and at most 14 h, whole hours: 14 a day."""
    assert review.duty_hours.sum(axis=0) == pytest.approx(
        np.full((len(review.crews), len(review.days)), 14.0)
    )
    assert review.combine_hours.sum() == pytest.approx(14.0 * len(review.days) * 3)


def test_logged_absences_and_breakdowns_take_hours(review):
    south, days = review.crews.index("south crew"), [d.date().isoformat() for d in review.days]
    away = days.index("2026-08-26")
    assert review.crew_hours[Cause.CUT, south, away] == 0.0
    assert review.crew_hours[Cause.CREW, south, away] > 5.0
    assert review.crew_hours[Cause.DOWN, :, days.index("2026-08-19")].sum() > 1.0
    causes = review.field_hours.sum(axis=(1, 2, 3))
    assert all(causes[c] > 0 for c in (Cause.GROUND, Cause.GRAIN, Cause.MOVE, Cause.ELSEWHERE))


def test_a_combine_that_is_not_on_the_farm_is_no_breakdown(review):
    work, crew = observed_work(review.observed).work, review.crews.index("north crew")
    joins = datetime.fromisoformat("2026-08-20T00:00:00-05:00").astimezone(UTC)
    own = work.makeup[crew]

    def later(combines):
        makeup = list(work.makeup)
        makeup[crew] = replace(own, combines=combines)
        return hour_states(review.observed, replace(work, makeup=tuple(makeup)), review.work)

    hired = tuple(replace(c, joins=joins, down=()) for c in own.combines)
    before, none_yet = later(own.combines), later(hired)
    begins = review.observed.index(joins.astimezone(review.observed.farm.tz))
    assert 24 < begins < review.observed.hours - 24
    # without a combine the crew cannot work, and nothing of it is broken down
    assert (none_yet.off[crew, :begins] == 1.0).all()
    assert (none_yet.down[crew] == 0.0).all()
    assert np.array_equal(none_yet.off[crew, begins:], before.off[crew, begins:])
    # hand: one of two combines is on the farm and down for that time: all of what is there is down
    span = ((joins - timedelta(days=1), joins),)
    half = (replace(own.combines[0], down=span), hired[1])
    down = later(half).down[crew]
    assert (down[begins - 24 : begins] == 1.0).all()
    assert (down[: begins - 24] == 0.0).all()


def test_split_and_parts_sum_to_the_loss(review):
    total = review.loss.sum(axis=1)
    assert sum(s.loss for s in review.split) == pytest.approx(total, abs=1e-6)
    assert [s.source for s in review.split] == list(LossSource)
    assert review.parts.sum() == pytest.approx(total.mean())
    for f in range(len(review.observed.farm.fields)):
        assert review.parts[f].sum() == pytest.approx(review.loss[:, f].mean(), abs=0.01)


def test_no_way_of_the_simulator_beats_the_best_policy_or_the_floor(review):
    means = {(c.name, c.start_pct): c.mean for c in review.counterfactuals if c.name != AS_DONE}
    best = means.pop((BEST_POLICY, None))
    assert (AS_PLANNED, None) in means
    assert 5 <= len(means) <= 9  # the plans, and four rules at one or two start moistures
    assert all(best <= mean + 0.01 for mean in means.values())
    assert 0.0 < review.floor <= best + 0.01


def test_a_rule_at_its_best_start_loses_no_more_than_at_the_common_one(review):
    rules = [c for c in review.counterfactuals if c.start_pct is not None]
    best = {c.name: c.mean for c in rules if c.best_start}
    assert len(best) == 4
    assert all(best[c.name] <= c.mean + 0.01 for c in rules)


def test_what_stands_at_the_end_of_a_review_is_in_no_loss(folder, review):
    from scheduler.review.review import review_season

    assert not review.standing.any()
    until = datetime(2026, 9, 1, tzinfo=ZoneInfo("America/Chicago"))
    part = review_season(folder, until=until)
    cut = {e.subject for e in part.observed.entries_of("cut")}
    uncut = np.array([f.id not in cut for f in part.observed.farm.fields])
    assert uncut.any()
    standing = part.standing > 0.0
    assert standing[uncut].all()
    assert (part.leave_cost[standing] > 0.0).all()
    assert part.leave_cost[~standing].sum() == 0.0
    assert part.loss[:, uncut].sum() == 0.0


def test_area_days_are_those_of_standing_grain(review):
    """The sum over causes is the uncut area of each hour, summed, over 24."""
    cut = review.work.area.sum(axis=1)
    whole = np.array([f.area_ha * (1 - f.cut_fraction) for f in review.observed.farm.fields])
    left = whole[:, None] - np.cumsum(cut, axis=1)
    left[left <= 0.005 * whole[:, None]] = 0.0
    assert review.area_days.sum() == pytest.approx(
        left.sum() / 24.0, rel=1e-6
    )  # all fields were ripe


def test_review_of_a_part_of_the_season(folder, review):
    from scheduler.review.observed_season import read_observed_season

    until = datetime(2026, 8, 19, tzinfo=ZoneInfo("America/Chicago"))
    part = read_observed_season(folder, until=until)
    assert part.stop <= until
    assert len(part.plans) < len(review.observed.plans)


def test_command_reads_a_book_elsewhere_and_does_not_change_it(folder, capsys):
    from scheduler.command import main

    before = (SAMPLE / "season.sqlite").read_bytes()
    assert main(["review", str(folder), "--book", str(SAMPLE / "none.sqlite")]) == 1
    assert "none.sqlite is not a file: name a season book or a backup" in capsys.readouterr().err
    words = ["review", str(folder), "--book", str(SAMPLE / "season.sqlite"), "--no-files"]
    assert main([*words, "--until", "2026-08-14"]) == 0
    printed = capsys.readouterr().out
    assert printed.startswith("Sample farm: Wed 12 Aug to Fri 14 Aug 2026")
    assert "fields still stand on Fri 14 Aug. They are in none of these losses" in " ".join(
        printed.split()
    )
    assert not (folder / "reviews").exists()
    assert (SAMPLE / "season.sqlite").read_bytes() == before
    assert sorted(p.name for p in SAMPLE.glob("season.*")) == ["season.sqlite"]


def test_book_does_not_change_the_first_morning(folder):
    """All entries are later: on 12 August the farm is that of the files."""
    from scheduler.farm_files.folder import read_farm
    from scheduler.season_book.book import Book
    from scheduler.season_book.current_farm import apply_book

    farm = read_farm(folder)
    morning = datetime(2026, 8, 12, 6, tzinfo=farm.tz)
    with Book(folder) as book:
        updated = apply_book(farm, book, morning)
        assert book.last_plan(morning) is None
        assert book.observations(farm, morning) == []
        assert len(book.gauges(morning)) == 0
    assert updated.fields == farm.fields
    assert updated.crews == farm.crews
    assert updated.combines == farm.combines
    assert updated.points == farm.points


def test_files_of_the_review(folder, review, capsys):
    from scheduler.review.csv_tables import hours_csv
    from scheduler.review.page import review_html, write_review
    from scheduler.review.phrases import review_terminal

    html = review_html(review)
    assert html.count("<h2") >= 6
    assert 'src="http' not in html
    assert 'href="http' not in html
    rows = list(csv.DictReader(io.StringIO(hours_csv(review))))
    whole = 24 * len(review.days) * len(review.observed.farm.fields) * len(review.crews)
    assert sum(float(r["hours"]) for r in rows) == pytest.approx(whole, rel=1e-4)
    paths = write_review(review, folder)
    assert sorted(p.name for p in paths) == ["fields.csv", "hours.csv", "review.html"]
    assert paths[0].parent.parent == folder / "reviews"
    text = review_terminal(review)
    assert "lost days" in text.lower()
    assert "planned F" in text
    assert max(map(len, text.splitlines())) <= 100


def test_command_without_a_book(tmp_path, capsys):
    from scheduler.command import main

    copy_sample(tmp_path, *FARM_FILES)
    assert main(["review", str(tmp_path)]) == 1
    assert "has no season book yet: write into it with `afterrain log`" in capsys.readouterr().err


def test_the_page_shows_the_last_review(tmp_path):
    from scheduler.web.app import create_app

    copy_sample(tmp_path, *FARM_FILES)
    client = create_app(tmp_path).test_client()
    local = {"base_url": "http://127.0.0.1"}
    assert client.get("/review", **local).status_code == 404
    assert "No review yet" in client.get("/season", **local).text
    for day in ("2026-08-27", "2026-09-03", ".2026-09-04.x.new"):
        (tmp_path / "reviews" / day).mkdir(parents=True)
        (tmp_path / "reviews" / day / "review.html").write_text(day)
    assert client.get("/review", **local).text == "2026-09-03"
    assert "/review" in client.get("/season", **local).text


def test_the_review_ripens_a_headed_field_by_its_warmth(folder, tmp_path):
    shutil.copytree(folder, tmp_path / "farm")
    path = tmp_path / "farm" / "fields.csv"
    rows = path.read_text(encoding="utf-8").splitlines()
    rows = [f"{rows[0]},heading", f"{rows[1].replace('2026-07-24', '')},2026-06-20", *rows[2:]]
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    observed = read_observed_season(tmp_path / "farm", book=folder / "book.sqlite")
    headed = replace(observed.farm.fields[0], ripe=None)
    place = replace(observed.farm, fields=(headed, *observed.farm.fields[1:]))
    ripe = with_ripe_dates(place, observed.all_weather).fields[0].ripe
    assert observed.farm.fields[0].ripe == ripe != date(2026, 6, 20) + timedelta(days=35)
