"""The review: hours charged once, loss in parts, mirrors, and the sample's whole season."""

import csv
import io
import shutil
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readiness.season.codes import Reason
from scheduler.review.delay_accounting import (
    WEATHER_CAUSES,
    Cause,
    HourStates,
    by_day,
    cause_codes,
    crew_account,
    field_account,
)

SAMPLE = Path(__file__).resolve().parents[1] / "sample_forecasts"


def hours(**told):
    """One field, one crew with one combine, one hour, all open and nobody cutting; then `told`."""
    usual = {
        "closed": np.full((1, 1), Cause.SPARE),
        "done": np.zeros((1, 1), dtype=bool),
        "cut": np.zeros((1, 1, 1)),
        "wait": np.zeros((1, 1)),
        "down": np.zeros((1, 1)),
        "shut": np.zeros((1, 1), dtype=bool),
        "off": np.zeros((1, 1)),
        "move": np.zeros((1, 1)),
    }
    return HourStates(**(usual | told))


@st.composite
def any_hours(draw):
    """Any season of a few fields, crews and hours that keeps to the limits `HourStates` states."""
    fields, crews, n = draw(st.integers(1, 4)), draw(st.integers(1, 3)), draw(st.integers(1, 12))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    some = rng.random((fields + 2, crews, n)) * (rng.random((fields + 2, crews, n)) < 0.6)
    total = np.maximum(some.sum(axis=0), 1.0)
    shares = some / total
    codes = [*WEATHER_CAUSES, Cause.SPARE, Cause.CREW]
    return HourStates(
        closed=rng.choice(codes, (fields, n)),
        done=rng.random((fields, n)) < 0.3,
        cut=shares[:fields],
        wait=rng.random((fields, crews)),
        down=rng.choice([0.0, 0.5, 1.0], (crews, n)),
        shut=rng.random((fields, n)) < 0.3,
        off=rng.choice([0.0, 1.0], (crews, n)),
        move=shares[fields],
    )


# Property: every hour of every field and crew is charged once, whatever happened in it.
@settings(max_examples=150, deadline=None)
@given(any_hours())
def test_hours_sum_to_the_season_and_nothing_is_charged_twice(h):
    for shares in (field_account(h), crew_account(h)):
        assert shares.min() > -1e-9
        assert shares.sum(axis=0) == pytest.approx(np.ones(shares.shape[1:]), abs=1e-9)
    days = np.arange(h.cut.shape[2]) // 5
    assert by_day(field_account(h), days).sum() == pytest.approx(h.cut.size)


@settings(max_examples=100, deadline=None)
@given(any_hours())
def test_work_is_the_same_in_both_accounts(h):
    mine, alone = field_account(h), crew_account(h)
    assert alone[Cause.CUT] == pytest.approx(mine[Cause.CUT].sum(axis=0), abs=1e-9)


# The order of causes as stated: an hour closed for several is charged to the first.
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
    ({}, Cause.SPARE),
)


@pytest.mark.parametrize("at", range(len(ORDERED)))
def test_first_binding_cause_takes_the_hour(at):
    everything = {}
    for told, _ in reversed(ORDERED[at:]):
        everything |= told
    for shares in (field_account(hours(**everything)), crew_account(hours(**everything))):
        assert shares[ORDERED[at][1]].sum() == 1.0
        assert shares.sum() == 1.0


def test_hand_a_morning_of_one_crew_and_two_fields():
    """Hour 0 dew in both; 1 moving; 2 cuts A for 3/4, a quarter waits of which carts hold 20 %.

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
    shares = field_account(hours(cut=np.ones((1, 1, 1)), down=np.full((1, 1), 0.5)))
    assert shares[Cause.DOWN].sum() == shares[Cause.CUT].sum() == 0.5


def test_a_crew_is_held_by_the_field_it_could_go_to_soonest():
    """hand: soft ground in one field and dew in the other: dew holds the crew, not ground."""
    two = hours(
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


def test_parts_of_a_loss_are_the_whole_loss():
    """Sound grain at base moisture less what `money.revenue_ha` pays is the sum of the parts.

    hand: 100 days x 0.5 % of yield are half of it; at base and sound nothing else is lost.
    """
    from scheduler.costs.grain_value import LOSSES, CropState, dry_t_ha, revenue_ha
    from scheduler.farm_files.folder import read_farm
    from scheduler.review.loss_breakdown import parts_ha

    farm = read_farm(SAMPLE)
    field = next(f for f in farm.fields if f.crop == "barley")
    terms = LOSSES | {"shatter_day": 0.005, "test_weight_per_wetting": 1.0}
    hours = np.arange(24.0 * 120)
    rng = np.random.default_rng(4)
    shape = (3, len(hours))
    wet, sprout = rng.integers(0, 9, shape).astype(float), rng.random(shape) * 0.03
    for point in farm.points:
        if (market := point.markets.get("barley")) is None:
            continue
        moisture = rng.uniform(9.0, market.moisture_limit_pct, shape)
        paid = revenue_ha(field, market, CropState(moisture=moisture, wettings=wet, sprout=sprout),
                          haul_t=0.0, terms=terms)  # fmt: skip
        parts = parts_ha(field, market, (moisture, wet, sprout), hours, terms, before=0.01)
        sound = dry_t_ha(field) / (1 - market.moisture_base_pct / 100) * market.price_t
        assert sum(parts.values()) == pytest.approx(sound - paid, rel=1e-9)
        assert all(part.min() >= -1e-9 for part in parts.values())
        base = np.full((1, len(hours)), market.moisture_base_pct)
        plain = parts_ha(field, market, (base, 0 * base, 0 * base), hours, terms)
        assert plain["yield"][0, 2400] == pytest.approx(0.5 * sound)
        assert sum(p[0, 2400] for p in plain.values()) == pytest.approx(0.5 * sound)


# The sample's own season: invented, so what is held here is that the account closes.
@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    home = tmp_path_factory.mktemp("season")
    for path in SAMPLE.iterdir():
        if path.is_file() and path.suffix in (".toml", ".csv", ".geojson"):
            shutil.copy(path, home / path.name)
    shutil.copy(SAMPLE / "season.sqlite", home / "book.sqlite")
    shutil.copytree(SAMPLE / "forecasts", home / "forecasts",
                    ignore=shutil.ignore_patterns("ensemble*", "gridpoint*"))  # fmt: skip
    return home


@pytest.fixture(scope="module")
def review(folder):
    from scheduler.review.review import review_season

    return review_season(folder)


def test_season_is_whole(review):
    farm, days = review.observed.farm, len(review.days)
    shape = (len(farm.fields), len(review.crews), days)
    assert review.field_hours.sum(axis=0) == pytest.approx(np.full(shape, 24.0), abs=1e-6)
    assert review.crew_hours.sum(axis=0) == pytest.approx(np.full(shape[1:], 24.0), abs=1e-6)
    area = sum(f.area_ha * (1 - f.cut_fraction) for f in farm.fields)
    assert review.cut.area.sum() == pytest.approx(area, rel=0.005)
    assert days > 10
    assert len(review.observed.plans) >= days - 1


def test_duty_hours_are_the_working_week(review):
    """hand: both crews work 7:00 to 22:30 and at most 14 h, whole hours: 14 a day."""
    assert review.duty_hours.sum(axis=0) == pytest.approx(
        np.full((len(review.crews), len(review.days)), 14.0)
    )
    assert review.machine_hours.sum() == pytest.approx(14.0 * len(review.days) * 3)


def test_what_was_logged_is_charged(review):
    south, days = review.crews.index("south crew"), [d.date().isoformat() for d in review.days]
    away = days.index("2026-08-26")
    assert review.crew_hours[Cause.CUT, south, away] == 0.0
    assert review.crew_hours[Cause.CREW, south, away] > 5.0
    assert review.crew_hours[Cause.DOWN, :, days.index("2026-08-19")].sum() > 1.0
    causes = review.field_hours.sum(axis=(1, 2, 3))
    assert all(causes[c] > 0 for c in (Cause.GROUND, Cause.GRAIN, Cause.MOVE, Cause.ELSEWHERE))


def test_loss_splits_without_rest(review):
    assert sum(v for _, v, _, _ in review.split) == pytest.approx(review.loss.sum(axis=1).mean())
    assert review.parts.sum() == pytest.approx(review.loss.sum(axis=1).mean())
    for f in range(len(review.observed.farm.fields)):
        assert review.parts[f].sum() == pytest.approx(review.loss[:, f].mean(), abs=0.01)


def test_hindsight_is_best_of_the_orders_and_above_its_bound(review):
    by_name = {m.name: m.mid for m in review.counterfactuals}
    best = by_name["best order in hindsight"]
    others = set(by_name) - {"best order in hindsight", "as it was done"}
    assert len(others) == 5
    assert all(best <= by_name[name] + 0.01 for name in others)
    assert review.bound <= best + 0.01


def test_area_days_are_those_of_standing_grain(review):
    """The sum over causes is the area that stood, hour by hour, over 24."""
    cut = review.cut.area.sum(axis=1)
    whole = np.array([f.area_ha * (1 - f.cut_fraction) for f in review.observed.farm.fields])
    left = whole[:, None] - np.cumsum(cut, axis=1)
    left[left <= 0.005 * whole[:, None]] = 0.0
    assert review.area_days.sum() == pytest.approx(left.sum() / 24.0, rel=1e-6)  # all was ripe


def test_review_of_a_part_of_the_season(folder, review):
    from scheduler.review.observed_season import read_observed_season

    until = datetime(2026, 8, 19, tzinfo=ZoneInfo("America/Chicago"))
    part = read_observed_season(folder, until=until)
    assert part.stop <= until
    assert len(part.plans) < len(review.observed.plans)


def test_command_reads_a_book_elsewhere_and_leaves_it_alone(folder, capsys):
    from scheduler.command import main

    before = (SAMPLE / "season.sqlite").read_bytes()
    assert main(["review", str(folder), "--book", str(SAMPLE / "none.sqlite")]) == 1
    assert "none.sqlite is no file: name a season book or a backup" in capsys.readouterr().err
    words = ["review", str(folder), "--book", str(SAMPLE / "season.sqlite"), "--no-files"]
    assert main([*words, "--until", "2026-08-14"]) == 0
    told = capsys.readouterr().out
    assert told.startswith("Sample farm: Wed 12 Aug to Fri 14 Aug 2026")
    assert not (folder / "reviews").exists()
    assert (SAMPLE / "season.sqlite").read_bytes() == before
    assert sorted(p.name for p in SAMPLE.glob("season.*")) == ["season.sqlite"]


def test_book_does_not_change_the_first_morning(folder):
    """What the book tells is of later: the farm of 12 August is that of the files."""
    from scheduler.farm_files.folder import read_farm
    from scheduler.season_book.book import Book
    from scheduler.season_book.current_farm import apply_book

    farm = read_farm(folder)
    morning = datetime(2026, 8, 12, 6, tzinfo=farm.tz)
    with Book(folder) as book:
        told = apply_book(farm, book, morning)
        assert book.last_plan(morning) is None
        assert book.observations(farm, morning) == []
        assert len(book.gauges(morning)) == 0
    assert told.fields == farm.fields
    assert told.crews == farm.crews
    assert told.combines == farm.combines
    assert told.points == farm.points


def test_files_of_the_review(folder, review, capsys):
    from scheduler.review.page import review_html, write_review
    from scheduler.review.phrases import hours_csv, review_terminal

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
    assert max(map(len, text.splitlines())) <= 100


def test_command_without_a_book(tmp_path, capsys):
    from scheduler.command import main

    for name in ("farm.toml", "fields.csv", "rain.csv", "fields.geojson"):
        shutil.copy(SAMPLE / name, tmp_path / name)
    assert main(["review", str(tmp_path)]) == 1
    assert "has no season book yet: write into it with `afterrain log`" in capsys.readouterr().err


def test_the_page_shows_the_last_review(tmp_path):
    from scheduler.web.app import create_app

    for name in ("farm.toml", "fields.csv", "rain.csv", "fields.geojson"):
        shutil.copy(SAMPLE / name, tmp_path / name)
    client = create_app(tmp_path).test_client()
    local = {"base_url": "http://127.0.0.1"}
    assert client.get("/review", **local).status_code == 404
    assert "No review yet" in client.get("/season", **local).text
    for day in ("2026-08-27", "2026-09-03", ".2026-09-04.x.new"):
        (tmp_path / "reviews" / day).mkdir(parents=True)
        (tmp_path / "reviews" / day / "review.html").write_text(day)
    assert client.get("/review", **local).text == "2026-09-03"
    assert "/review" in client.get("/season", **local).text
