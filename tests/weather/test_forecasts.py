"""Weather of the farm from stored answers, and the verification of it."""

import json
import shutil
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pandas as pd
import pytest
from farm_folder import copy_sample
from places import SAMPLE

from readiness.atmosphere.weather import VARIABLES
from scheduler.command import main
from scheduler.errors import WeatherError
from scheduler.farm_files.folder import read_farm, read_rain
from scheduler.verification.forecast_page import truth_text
from scheduler.verification.forecasts import LEADS, verify
from scheduler.weather.bias_correction import RainPairs, bias_corrected, rain_pairs
from scheduler.weather.doubts import WeatherDoubts
from scheduler.weather.field_weather import weather_for
from scheduler.weather.given_file import read_forecast
from scheduler.weather.history import gauge_readings
from scheduler.weather.store import read_answer, store_answer, stored_answers
from tests.stored_season import (
    BEGIN,
    CELL,
    FIRST_ISSUE,
    MEMBERS,
    answer,
    part,
    payload,
    season,
    small_farm,
    store_archive,
    store_ensemble,
    truth,
    write_gauges,
)

MORNING = datetime(2026, 8, 12, 11, tzinfo=UTC)


@pytest.fixture(scope="module")
def sample():
    farm = read_farm(SAMPLE)
    return farm, read_rain(SAMPLE, farm)


@pytest.fixture
def small(tmp_path):
    """A small farm with records and one ensemble, and the time of planning."""
    folder = small_farm(tmp_path / "farm")
    rows, day = truth(), FIRST_ISSUE
    store_ensemble(folder, rows, day, np.random.default_rng(0))
    store_archive(folder, rows, day, hours=24 * day + 7)
    return folder, read_farm(folder), BEGIN + timedelta(days=day, hours=6), rows


# ---- the sample farm -----------------------------------------------------------------------------


@pytest.mark.parametrize("forecast", [None, "gridpoint"])
def test_sample(sample, forecast):
    farm, gauges = sample
    path = None if forecast is None else next((SAMPLE / "forecasts").glob(f"{forecast}_*.json"))
    weather = weather_for(SAMPLE, farm, MORNING, days=12, gauges=gauges, forecast=path, seed=3)
    fields = len(farm.fields)
    assert weather.past.shape[:2] == (1, fields)
    assert weather.forecast.shape == (31, fields, 12 * 24)
    assert weather.past.stop == weather.forecast.start == np.datetime64("2026-08-12T11")
    assert str(weather.past.start) == "2026-04-01T00"
    for name in VARIABLES:
        assert np.isfinite(getattr(weather.past, name)).all(), name
        assert np.isfinite(getattr(weather.forecast, name)).all(), name
    assert weather.age_h == 5.0
    assert weather.lightning is None or weather.lightning.shape[1:] == weather.forecast.shape[1:]
    # the ensemble reaches past the days planned; the gridpoint answer ends after six days
    six_days = MORNING + timedelta(days=6)
    assert weather.forecast_until == (None if forecast is None else six_days)
    again = weather_for(SAMPLE, farm, MORNING, days=12, gauges=gauges, forecast=path, seed=3)
    np.testing.assert_array_equal(weather.forecast.rain, again.forecast.rain)


def test_gauges_hold_at_their_places(sample):
    """A field beside the yard's gauge gets the yard's readings."""
    farm, gauges = sample
    lat, lon = farm.gauges["yard"]
    farm = replace(farm, fields=tuple(replace(f, lat=lat, lon=lon) for f in farm.fields[:1]))
    weather = weather_for(SAMPLE, farm, MORNING, days=2, gauges=gauges)
    yard = gauges[gauges["gauge"] == "yard"]
    for time, hours, mm in zip(yard["time"], yard["hours"], yard["mm"], strict=True):
        first = int((np.datetime64(time.tz_convert(None), "h") - weather.past.start).astype(int))
        amount = weather.past.rain[0, 0, first : first + round(hours)].sum()
        assert amount == pytest.approx(mm, abs=1e-3)


# ---- age, clocks and gaps ------------------------------------------------------------------------


def test_an_old_forecast_is_refused(small):
    folder, farm, now, _ = small
    with pytest.raises(WeatherError) as error:
        weather_for(folder, farm, now + timedelta(hours=60), days=3)
    text = str(error.value)
    assert "the last good forecast is 66 h old" in text
    assert "limit is 48 h" in text
    assert "afterrain fetch" in text
    assert "forecast_age_max_h" in text
    limit = replace(farm, rules=replace(farm.rules, forecast_age_max_h=72.0))
    weather = weather_for(folder, limit, now + timedelta(hours=60), days=3)
    assert weather.age_h == 66.0
    assert any("66 h old" in n for n in weather.notes)


def test_before_every_forecast_is_an_error(small):
    folder, farm, now, _ = small
    with pytest.raises(WeatherError, match="before every stored forecast"):
        weather_for(folder, farm, now - timedelta(days=3), days=3)


def test_only_forecasts_issued_by_then_are_used(small):
    folder, farm, now, rows = small
    store_ensemble(folder, rows, FIRST_ISSUE + 1, np.random.default_rng(5))
    assert weather_for(folder, farm, now, days=2).issued == now - timedelta(hours=6)
    assert weather_for(folder, farm, now + timedelta(days=1), days=2).age_h == 6.0


def test_without_stored_answers_the_message_names_the_command(tmp_path):
    folder = small_farm(tmp_path / "farm")
    with pytest.raises(WeatherError, match="there is no stored forecast; run `afterrain fetch"):
        weather_for(folder, read_farm(folder), MORNING, days=3)


def test_a_forecast_that_starts_tomorrow_is_an_error(small):
    folder, farm, now, rows = small
    for stored in stored_answers(folder, "ensemble"):
        stored.path.unlink()
    content = payload(BEGIN + timedelta(days=FIRST_ISSUE + 1), part(rows, FIRST_ISSUE + 1, 100))
    store_answer(folder, answer("ensemble", now - timedelta(hours=1), content))
    with pytest.raises(WeatherError, match="18 h after the planning time"):
        weather_for(folder, farm, now, days=3)


def test_a_forecast_that_has_ended_is_an_error(small):
    folder, farm, now, _ = small
    farm = replace(farm, rules=replace(farm.rules, forecast_age_max_h=1e4))
    with pytest.raises(WeatherError, match="before the planning time"):
        weather_for(folder, farm, now + timedelta(days=12), days=3)


def test_a_broken_file_is_passed_over(small):
    folder, farm, now, rows = small
    store_ensemble(folder, rows, FIRST_ISSUE + 1, np.random.default_rng(5))
    last = stored_answers(folder, "ensemble")[0]
    text = last.path.read_text(encoding="utf-8")
    last.path.write_text(text[: len(text) // 2], encoding="utf-8")
    weather = weather_for(folder, farm, now + timedelta(days=1), days=2)
    assert weather.issued == now - timedelta(hours=6)
    assert any("cut off" in n and "Passed over" in n for n in weather.notes)


def test_a_gap_of_two_days_is_unknown_and_noted(small):
    folder, farm, now, rows = small
    for stored in stored_answers(folder, "archive"):
        stored.path.unlink()
    gap = {k: v.copy() for k, v in rows.items()}
    for row in gap.values():
        row[24 * 70 : 24 * 72] = np.nan
    store_archive(folder, gap, FIRST_ISSUE, hours=24 * FIRST_ISSUE + 7)
    weather = weather_for(folder, farm, now, days=2)
    unknown = np.isnan(weather.past.rain[0, 0])
    assert 46 <= unknown.sum() <= 50
    assert any("missing for" in n and "2026-06-0" in n and "by hand" in n for n in weather.notes)
    with_gauge = pd.DataFrame(
        {
            "gauge": ["yard"],
            "time": [pd.Timestamp("2026-06-09T12", tz="UTC")],
            "hours": [72.0],
            "mm": [9.0],
        }
    )
    better = weather_for(folder, farm, now, days=2, gauges=with_gauge)
    assert np.isfinite(better.past.rain[0, 0]).all()


def test_hours_the_archive_lacks_come_from_forecasts(small):
    """The archive ends days ago; older ensembles hold those hours and are flagged."""
    folder, farm, now, rows = small
    for stored in stored_answers(folder, "archive"):
        stored.path.unlink()
    store_archive(folder, rows, FIRST_ISSUE - 2)
    store_ensemble(folder, rows, FIRST_ISSUE - 3, np.random.default_rng(5), keep=1.5)
    weather = weather_for(folder, farm, now, days=2)
    assert np.isfinite(weather.past.rain).all()
    assert weather.past.estimated[0, 0, -50:].all()
    amount = weather.past.rain[0, 0, -48:].sum()
    assert amount == pytest.approx(
        rows["precipitation"][24 * FIRST_ISSUE - 41 :][:48].sum(), abs=0.1
    )
    assert any("stand in for them" in n for n in weather.notes)


def test_unknown_humidity_is_estimated_and_flagged(small):
    folder, farm, now, rows = small
    content = payload(
        BEGIN,
        {
            k: v
            for k, v in part(rows, 0, 24 * FIRST_ISSUE + 7).items()
            if k != "relative_humidity_2m"
        },
    )
    for stored in stored_answers(folder, "archive"):
        stored.path.unlink()
    store_answer(folder, answer("archive", now, content))
    weather = weather_for(folder, farm, now, days=2)
    assert np.isfinite(weather.past.humidity).all()
    assert weather.past.estimated.mean() > 0.9


def test_no_records_at_all_is_a_documented_stand_in(small):
    folder, farm, now, _ = small
    for stored in stored_answers(folder, "archive"):
        stored.path.unlink()
    weather = weather_for(folder, farm, now, days=14)
    assert weather.past.shape == (1, len(farm.fields), 5 * 24)
    assert weather.past.estimated.all()
    assert weather.past.rain.sum() == 0.0
    assert weather.forecast.shape == (MEMBERS, len(farm.fields), 14 * 24)
    assert weather.doubts == WeatherDoubts(past_stored=False, outlook_stored=False)
    assert any("no weather records" in n for n in weather.notes)
    assert any("rough guess" in n for n in weather.notes)


def test_days_past_of_a_forecast_stand_for_records(small):
    """Seven days that came with the forecast are records, too few to cut windows from."""
    folder, farm, now, rows = small
    for stored in stored_answers(folder):
        stored.path.unlink()
    start = BEGIN + timedelta(days=FIRST_ISSUE - 7)
    store_answer(
        folder, answer("forecast", now, payload(start, part(rows, FIRST_ISSUE - 7, 24 * 12)))
    )
    weather = weather_for(folder, farm, now, days=8)
    assert weather.past.start == np.datetime64(start.replace(tzinfo=None), "h")
    want = rows["precipitation"][24 * (FIRST_ISSUE - 7) + 1 : 24 * FIRST_ISSUE + 7].sum()
    assert weather.past.rain[0, 0].sum() == pytest.approx(want)
    assert weather.doubts == WeatherDoubts(past_stored=True, outlook_stored=False)
    assert any("rough guess" in n for n in weather.notes)
    assert np.isfinite(weather.forecast.rain).all()


def test_the_newer_product_is_taken_before_the_better_one(small):
    folder, farm, _, rows = small
    one = part(rows, FIRST_ISSUE + 1, 120)
    start = BEGIN + timedelta(days=FIRST_ISSUE + 1)
    store_answer(folder, answer("forecast", start, payload(start, one)))
    later = start + timedelta(hours=6)
    weather = weather_for(folder, farm, later, days=2)
    assert weather.source == "open-meteo forecast"
    assert weather.forecast.shape[0] == 31
    assert any("dressed" in n for n in weather.notes)


def test_fields_take_their_own_cell(small):
    folder, farm, now, rows = small
    none = {**rows, "precipitation": 0 * rows["precipitation"]}
    dry = {
        f"{k}_member{m:02d}" if m else k: v
        for m in range(MEMBERS)
        for k, v in part(none, FIRST_ISSUE, 200).items()
    }
    start = now - timedelta(hours=6)
    store_answer(folder, answer("ensemble", start, payload(start, dry), cell=(47.5, -99.25)))
    fields = (farm.fields[0], replace(farm.fields[1], lat=47.45, lon=-99.2))
    weather = weather_for(folder, replace(farm, fields=fields), now, days=5)
    assert weather.forecast.rain[:, 1].sum() == 0.0
    assert weather.forecast.rain[:, 0].sum() > 0.0


# ---- lightning and warnings ----------------------------------------------------------------------


def test_warnings_are_noted_and_close_their_hours(small):
    folder, farm, now, _ = small

    def warning(event, hours):
        stop = now + timedelta(hours=hours)
        facts = {
            "event": event,
            "status": "Actual",
            "onset": now.isoformat(),
            "ends": stop.isoformat(),
            "headline": f"{event} for the county",
        }
        return {"properties": facts}

    content = {
        "features": [warning("Severe Thunderstorm Watch", 4), warning("Red Flag Warning", 9)]
    }
    store_answer(folder, answer("alerts", now, content, source="nws"))
    weather = weather_for(folder, farm, now, days=2)
    assert weather.lightning is not None
    assert weather.lightning[:, :, :5].all()
    assert not weather.lightning[:, :, 5:].any()
    assert any(n.startswith("Severe Thunderstorm Watch until") for n in weather.notes)
    assert any(n.startswith("Red Flag Warning until") for n in weather.notes)
    assert [w.event for w in weather.warnings if w.fire] == ["Red Flag Warning"]
    later = weather_for(folder, farm, now + timedelta(hours=26), days=2)
    assert later.lightning is None
    assert not any("Warning" in n for n in later.notes)
    assert later.warnings == ()


def test_thunder_closes_the_rain_of_members_only(sample):
    farm, _ = sample
    weather = weather_for(SAMPLE, farm, MORNING, days=6)
    assert weather.lightning is not None
    assert weather.lightning.any()
    assert (weather.forecast.rain[weather.lightning] > 0).all()


# ---- files that are given ------------------------------------------------------------------------


def table(path, heading, rows):
    path.write_text("\n".join([heading, *rows]) + "\n", encoding="utf-8")
    return path


# hand: 0.1 in = 2.54 mm; 59 °F = 15 °C; 10 mph = 4.4704 m/s; 06:00 in Chicago is 11:00 UTC
def test_a_plain_table_by_hand(sample, tmp_path):
    farm, _ = sample
    rows = [f"2026-08-12 {h:02d}:00,{0.1 if h == 7 else 0},59,60,10,20" for h in range(6, 24)]
    path = table(tmp_path / "f.csv", "time,rain_in,temp_f,humidity_pct,wind_mph,gust_mph", rows)
    weather = read_forecast(path, farm).payload.weather
    assert str(weather.start) == "2026-08-12T11"
    assert weather.shape == (1, 1, 18)
    assert weather.rain[0, 0, :3] == pytest.approx([0, 2.54, 0])
    assert weather.temp[0, 0, 0] == pytest.approx(15.0)
    assert weather.wind[0, 0, 0] == pytest.approx(4.4704)
    assert weather.gust[0, 0, 0] == pytest.approx(8.9408)
    assert np.isnan(weather.radiation).all()


def test_a_table_of_members_as_people_write_it(sample, tmp_path):
    farm, _ = sample
    rows = [f"{m};12.08.2026 {h:02d}:00;0,5;15,5;70;12" for m in "ab" for h in range(6, 30 - 6)]
    path = table(
        tmp_path / "f.csv", "member;Datetime;Precipitation mm;temperature c;RH;wind km/h", rows
    )
    weather = read_forecast(path, farm).payload.weather
    assert weather.shape == (2, 1, 18)
    assert weather.rain[1, 0, 0] == 0.5
    assert weather.wind[0, 0, 0] == pytest.approx(12 / 3.6)


@pytest.mark.parametrize(
    ("heading", "row", "words"),
    [
        ("time,temp_c", "2026-08-12 06:00,15", "there is no column rain"),
        ("time_utc,rain_mm,temp_c", "2026-08-12 06:00,0,15", "there is no column time"),
        ("time,rain_mm,temp_c", "2026-08-12 06:00,x,15", "row 2, rain_mm"),
        ("time,rain_mm,temp_c", "2026-08-12 06:00,0,300", "impossible; check its unit"),
        ("time,rain_mm,temp_c", "soon,0,15", "is not a date"),
        ("time,rain_mm,temp_c", ",0,15", "time is missing"),
    ],
)
def test_tables_that_are_refused(sample, tmp_path, heading, row, words):
    path = table(tmp_path / "f.csv", heading, [row])
    with pytest.raises(WeatherError, match=words):
        read_forecast(path, sample[0])


def test_the_same_hour_twice_is_refused(sample, tmp_path):
    path = table(tmp_path / "f.csv", "time,rain_mm,temp_c", ["2026-08-12 06:00,0,15"] * 2)
    with pytest.raises(WeatherError, match="is there twice"):
        read_forecast(path, sample[0])


def test_raw_payload_and_envelope_are_the_same(sample, tmp_path):
    farm, _ = sample
    path = next((SAMPLE / "forecasts").glob("gridpoint_*.json"))
    raw = tmp_path / "raw.json"
    raw.write_text(json.dumps(read_answer(path).payload), encoding="utf-8")
    a, b = read_forecast(path, farm), read_forecast(raw, farm)
    np.testing.assert_array_equal(a.payload.weather.rain, b.payload.weather.rain)
    assert b.issued == datetime(2026, 8, 12, 9, tzinfo=UTC)
    weather = weather_for(SAMPLE, farm, MORNING, days=3, forecast=raw)
    assert weather.source == "raw.json"


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("{", "cut off or not JSON"),
        ("{}", "neither"),
        ("[1]", "not a weather record"),
        ('{"payload": 1}', "not a stored forecast"),
        ("<html>", "no column time"),
        ("", "no column"),
    ],
)
def test_files_that_are_no_forecast(sample, tmp_path, content, words):
    path = tmp_path / "f.json"
    path.write_text(content, encoding="utf-8")
    with pytest.raises(WeatherError, match=words):
        weather_for(SAMPLE, sample[0], MORNING, days=2, forecast=path)


def test_a_given_forecast_from_the_future_or_the_past(sample):
    farm, _ = sample
    path = next((SAMPLE / "forecasts").glob("gridpoint_*.json"))
    with pytest.raises(WeatherError, match="after the planning time"):
        weather_for(SAMPLE, farm, MORNING - timedelta(days=1), days=2, forecast=path)
    with pytest.raises(WeatherError, match="limit is 48 h"):
        weather_for(SAMPLE, farm, MORNING + timedelta(days=3), days=2, forecast=path)


def test_a_forecast_for_another_place_is_refused_unless_it_is_wanted(small, sample, tmp_path):
    """By hand: one degree of latitude is 6371 km × π/180 = 111.2 km (69.1 mi)."""
    folder, farm, now, _ = small
    content = json.loads(stored_answers(folder, "ensemble")[0].path.read_text(encoding="utf-8"))
    content["payload"]["latitude"] += 1.0
    path = tmp_path / "far.json"
    path.write_text(json.dumps(content), encoding="utf-8")
    with pytest.raises(
        WeatherError, match=r"for a place 6\d\.\d mi from field .*than 24\.9 mi; .*--e"
    ):
        weather_for(folder, farm, now, days=2, forecast=path)
    metric = replace(farm, units="metric")
    with pytest.raises(WeatherError, match=r"for a place (10|11)\d km .* farther than 40\.0 km; "):
        weather_for(folder, metric, now, days=2, forecast=path)
    forced = weather_for(folder, farm, now, days=2, forecast=path, elsewhere=True)
    assert any("mi from the farthest field, as you chose" in n for n in forced.notes)
    assert forced.doubts.elsewhere_km == pytest.approx(111.2, abs=15.0)  # of the farthest field
    assert main(["ready", str(folder), "--on", now.isoformat(), "--forecast", str(path)]) == 1
    words = ["ready", str(folder), "--on", now.isoformat(), "--forecast", str(path), "--elsewhere"]
    assert main(words) == 0


def hourly_table(path, hours, *, skip=(), humidity=60.0):
    """A dry forecast table from the sample's planning time on."""
    first = datetime(2026, 8, 12, 6)
    rows = [
        f"{first + timedelta(hours=h):%Y-%m-%d %H:%M},0,20,{humidity},10"
        for h in range(hours)
        if h not in skip
    ]
    return table(path, "time,rain_mm,temp_c,humidity_pct,wind_kmh", rows)


def test_a_forecast_of_twelve_hours_is_refused(sample, tmp_path):
    path = hourly_table(tmp_path / "f.csv", 12)
    message = r"reaches 12 h ahead, to 2026-08-12 18:00; a plan needs 24 h: run `afterrain fetch`"
    with pytest.raises(WeatherError, match=message):
        weather_for(SAMPLE, sample[0], MORNING, days=12, forecast=path)


def test_what_lies_beyond_a_forecast_of_a_day_is_told_apart(sample, tmp_path):
    path = hourly_table(tmp_path / "f.csv", 25)
    weather = weather_for(SAMPLE, sample[0], MORNING, days=12, forecast=path)
    assert weather.forecast_until == MORNING + timedelta(days=1)  # whole days are dressed
    assert any(
        n.startswith("The forecast ends Thu 13 Aug 6 am. Days after that follow weather of your")
        for n in weather.notes
    )
    assert weather.forecast.shape[0] > 1  # dressed, so that times have a spread
    assert weather.doubts == WeatherDoubts()


def test_a_hole_in_a_forecast_ends_it_and_is_named(sample, tmp_path):
    path = hourly_table(tmp_path / "f.csv", 120, skip=range(48, 88))
    weather = weather_for(SAMPLE, sample[0], MORNING, days=12, forecast=path)
    assert weather.forecast_until == datetime(2026, 8, 14, 11, tzinfo=UTC)
    hole = (
        "The forecast has a hole from Fri 14 Aug 6 am to Sat 15 Aug 10 pm: only the hours before "
        "it are used."
    )
    assert hole in weather.notes
    begin, end = weather.doubts.hole
    assert (begin, end) == (MORNING + timedelta(days=2), MORNING + timedelta(days=3, hours=16))
    assert weather.doubts.past_stored
    assert weather.doubts.outlook_stored
    early = hourly_table(tmp_path / "g.csv", 120, skip=range(5, 45))
    with pytest.raises(WeatherError, match="reaches 5 h ahead"):
        weather_for(SAMPLE, sample[0], MORNING, days=12, forecast=early)


def test_humidity_as_a_fraction_is_refused(sample, tmp_path):
    path = hourly_table(tmp_path / "f.csv", 48, humidity=0.6)
    with pytest.raises(
        WeatherError, match=r"humidity_pct: no value is above 1, .* percent, 0 to 100"
    ):
        weather_for(SAMPLE, sample[0], MORNING, days=12, forecast=path)


def test_without_records_all_days_of_the_gauges_count(small):
    folder, farm, now, rows = small
    for stored in stored_answers(folder, "archive"):
        stored.path.unlink()
    write_gauges(folder, rows, FIRST_ISSUE)  # from the 60th day to the 84th
    gauges = read_rain(folder, farm)
    weather = weather_for(folder, farm, now, days=4, gauges=gauges)
    assert weather.past.shape[2] == 24 * 26  # 84 - 60 days and the day that the first one covers
    assert weather.past.rain.sum(axis=2).mean() == pytest.approx(gauges["mm"].sum(), rel=0.02)
    note = next(n for n in weather.notes if n.startswith("There are no weather records"))
    assert "field capacity 26 days ago, with the rain of your 25 gauge readings since" in note
    assert "dry days" not in note


# ---- storing -------------------------------------------------------------------------------------


def test_a_late_copy_does_not_replace(tmp_path):
    new = answer("forecast", MORNING, {"a": 2})
    old = replace(new, payload={"a": 1}, fetched=MORNING - timedelta(hours=1))
    assert store_answer(tmp_path, new)
    assert not store_answer(tmp_path, old)
    assert not store_answer(tmp_path, new)
    assert read_answer(stored_answers(tmp_path)[0].path).payload == {"a": 2}
    assert store_answer(
        tmp_path, replace(new, payload={"a": 3}, fetched=MORNING + timedelta(hours=1))
    )
    assert read_answer(stored_answers(tmp_path)[0].path).payload == {"a": 3}
    path = stored_answers(tmp_path)[0].path
    path.write_text("{")
    assert store_answer(tmp_path, old)  # a broken file may be replaced by any sound answer


def test_a_folder_that_cannot_be_written(tmp_path):
    (tmp_path / "forecasts").write_text("in the way")
    with pytest.raises(WeatherError, match="what was stored is untouched"):
        store_answer(tmp_path, answer("forecast", MORNING, {}))


# ---- past forecasts and verification -------------------------------------------------------------


@pytest.fixture(scope="module")
def wet_season(tmp_path_factory):
    """Forty days of ensembles that rain 1.8 times too much."""
    folder = tmp_path_factory.mktemp("season") / "farm"
    rows, now = season(folder, bias=1.8)
    return folder, rows, now


def test_pairs_by_hand(small):
    folder, farm, now, rows = small
    write_gauges(folder, rows, FIRST_ISSUE + 4)
    readings = gauge_readings(farm, read_rain(folder, farm))
    pairs = rain_pairs(folder, readings, "ensemble", until=now + timedelta(days=4))
    # issued at 00 UTC; readings that begin at 12 UTC of days 0, 1 and 2 have ended by then
    assert pairs.lead.tolist() == [1, 2, 3]
    first = rows["precipitation"][24 * FIRST_ISSUE + 13 :][:24].sum()
    assert pairs.measured[0] == pytest.approx(first, abs=0.01)
    assert pairs.forecast.shape == (3, MEMBERS)
    content = read_answer(stored_answers(folder, "ensemble")[0].path).payload["hourly"]
    assert pairs.forecast[0, 3] == pytest.approx(
        sum(content["precipitation_member03"][13:37]), abs=0.01
    )
    cached = rain_pairs(folder, readings, "ensemble", until=now + timedelta(days=4))
    np.testing.assert_allclose(cached.forecast, pairs.forecast, rtol=1e-6)


def test_past_forecasts_correct_the_next(wet_season):
    folder, _, now = wet_season
    farm = read_farm(folder)
    gauges = read_rain(folder, farm)
    weather = weather_for(folder, farm, now, days=3, gauges=gauges)
    assert any("corrected by" in n for n in weather.notes)
    raw = weather_for(folder, farm, now, days=3)
    assert not any("corrected by" in n for n in raw.notes)
    assert (weather.forecast.rain > 0).sum() <= (raw.forecast.rain > 0).sum()
    assert weather.forecast.rain.sum() < raw.forecast.rain.sum()
    few = weather_for(folder, farm, now - timedelta(days=20), days=3, gauges=gauges)
    assert not any("corrected by" in n for n in few.notes)


def test_matching_removes_the_bias_on_later_days():
    """Built on a hundred days, held against five hundred others."""
    rng = np.random.default_rng(6)
    measured = np.where(rng.random(600) < 0.3, rng.gamma(0.8, 9.0, 600), 0.0)
    forecast = np.array(
        [np.where(rng.random(600) < 0.8, measured, rng.permutation(measured)) for _ in range(11)]
    )
    forecast = 1.8 * forecast.T
    built = RainPairs(
        lead=np.ones(100, dtype=int),
        forecast=forecast[:100],
        measured=measured[:100],
        day=np.arange(100),
    )
    hourly = np.repeat(forecast[100:].T[:, :, None] / 24, 24, axis=2)  # each day a site of its own
    out, groups = bias_corrected(hourly, built, lead=0.0)
    assert groups == (0,)
    assert forecast[100:].mean() / measured[100:].mean() == pytest.approx(1.8, abs=0.1)
    error = 2 * measured[:100].std() / np.sqrt(100) / measured[:100].mean()  # of the mean built on
    assert out.sum(axis=2).mean() / measured[100:].mean() == pytest.approx(1.0, abs=error)
    same, none = bias_corrected(hourly, built.of(4, 7), lead=0.0)
    assert none == ()
    np.testing.assert_array_equal(same, hourly)


@pytest.fixture(autouse=True, scope="module")
def _fewer_runs():
    """Six issues are enough here."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("scheduler.verification.forecasts.MOST_ISSUES_RUN", 6)
        yield


@pytest.fixture(scope="module")
def verified(wet_season):
    folder, _, now = wet_season
    farm = read_farm(folder)
    return verify(folder, farm, read_rain(folder, farm), now=now)


@pytest.mark.slow
def test_verification(verified):
    assert verified.product == "ensemble"
    assert truth_text(verified) == "1 gauge"
    first, last = verified.rain[0], verified.rain[LEADS - 2]
    assert first.days >= 35
    assert first.brier < last.brier
    assert first.skill > 0.4 > last.skill
    assert 0 < first.brier_error < 0.1
    assert first.bias > 0.5  # rains too much
    assert first.crps_error > 0
    assert verified.workable[0].cases > 0
    assert set(np.unique(verified.workable_days.lead)) <= set(range(1, LEADS + 1))
    assert ((verified.workable_days.chance >= 0) & (verified.workable_days.chance <= 1)).all()


def test_verify_command(wet_season, verified, capsys, tmp_path):
    folder, _, now = wet_season
    code = main(["verify", str(folder), "--out", str(tmp_path / "v"), "--on", now.isoformat()])
    out = capsys.readouterr().out
    assert code == 0
    assert "issues of ensemble against" in out
    line = next(x for x in out.splitlines() if x.strip().startswith("1 "))
    assert f"{verified.rain[0].brier:.2f}" in line
    page = (tmp_path / "v" / "verification.html").read_text(encoding="utf-8")
    assert page.startswith("<!DOCTYPE html>")
    assert line in page
    assert "http" not in page.replace("http://www.w3.org", "")  # self-contained
    assert (tmp_path / "v" / "verification.png").read_bytes().startswith(b"\x89PNG")


def test_verify_without_gauges_uses_the_records(wet_season, tmp_path):
    folder, _, now = wet_season
    shutil.copytree(folder, tmp_path / "farm")
    (tmp_path / "farm" / "rain.csv").unlink()
    farm = read_farm(tmp_path / "farm")
    found = verify(tmp_path / "farm", farm, read_rain(tmp_path / "farm", farm), now=now)
    assert "records" in truth_text(found)
    assert found.rain[0].cases >= 30


@pytest.mark.slow
def test_the_sample_is_verified_though_its_gauges_end_before_the_forecast(tmp_path, capsys):
    folder = copy_sample(tmp_path / "farm")
    words = ["verify", str(folder), "--on", "2026-09-01", "--out", str(tmp_path)]
    assert main(words) == 0
    assert capsys.readouterr().out.startswith("1 issue of ensemble against weather records (no ")


def test_nothing_to_verify_is_reported(small, tmp_path, capsys):
    folder, _, now, _ = small
    assert main(["verify", str(folder), "--on", now.isoformat()]) == 1
    assert (
        "there are no records or gauge readings yet for any day of a stored"
        in capsys.readouterr().err
    )
    assert main(["verify", str(small_farm(tmp_path / "none"))]) == 1
    assert "no forecast is stored; run `afterrain fetch" in capsys.readouterr().err
    assert CELL == (47.25, -99.0)
