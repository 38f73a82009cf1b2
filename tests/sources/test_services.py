"""The network client against a local server: no fault loses a stored forecast."""

import json
import os
import shutil
import sqlite3
import tempfile
import time
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime
from pathlib import Path
from unittest.mock import patch

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from places import DATA, SAMPLE

from readiness.sources.payload import PayloadError
from readiness.sources.responses import parse_response
from readiness.sources.service_errors import ServiceError
from readiness.sources.services import Services
from readiness.sources.soil_survey import read_survey, survey_query, texture_class
from scheduler.command import main
from scheduler.farm_files.csv_table import read_csv
from scheduler.farm_files.folder import read_farm
from scheduler.farm_files.soil_csv import survey_rows, with_survey
from scheduler.weather.fetch import PRODUCTS, fetch, grid_cells
from scheduler.weather.fetch_soil import boundary_ring
from scheduler.weather.store import read_answer, stored_answers
from tests.replay import broken, replay_server
from tests.stored_season import small_farm

RECORDS = DATA / "forecast_payloads"
need_data = pytest.mark.skipif(
    not RECORDS.is_dir(), reason="open data of real payloads (../shared/data) are not here"
)
NOW = datetime(2026, 8, 12, 11, 0, tzinfo=UTC)
ENSEMBLE, FORECAST, ARCHIVE = "/open-meteo-ensemble/v1", "/open-meteo/v1", "/open-meteo-archive/v1"


def hours(start, n, **more):
    """A sound response in the form of Open-Meteo."""
    times = [f"{start + timedelta(hours=h):%Y-%m-%dT%H:%M}" for h in range(n)]
    units = {
        "precipitation": "mm",
        "temperature_2m": "°C",
        "relative_humidity_2m": "%",
        "wind_speed_10m": "km/h",
        "wind_gusts_10m": "km/h",
        "shortwave_radiation": "W/m²",
    }
    rows = {name: [10.0] * n for name in units} | {"precipitation": [0.0] * n} | more
    return {
        "latitude": 47.25,
        "longitude": -99.0,
        "utc_offset_seconds": 0,
        "hourly_units": units,
        "hourly": {"time": times, **rows},
    }


def grid(issued, n=48):
    """A sound gridpoint of the National Weather Service."""
    start = f"{issued:%Y-%m-%dT%H:00:00}+00:00"

    def layer(unit, value):
        return {"uom": unit, "values": [{"validTime": f"{start}/PT{n}H", "value": value}]}

    return {
        "geometry": {"type": "Point", "coordinates": [-99.0, 47.25]},
        "properties": {
            "updateTime": f"{issued:%Y-%m-%dT%H:%M:%S}+00:00",
            "validTimes": f"{start}/PT{n}H",
            "temperature": layer("wmoUnit:degC", 15.0),
            "relativeHumidity": layer("wmoUnit:percent", 60),
            "windSpeed": layer("wmoUnit:km_h-1", 10.0),
            "skyCover": layer("wmoUnit:percent", 20),
            "quantitativePrecipitation": layer("wmoUnit:mm", 0.0),
        },
    }


#: Answer of the soil survey; empty cells are null.
SURVEY = """\
field,part,muname,cokey,comppct_r,drainagecl,hydgrp,hzdept_r,hzdepb_r,sandtotal_r,claytotal_r,om_r
0,2.0,Big loam,1,80,Well drained,B,0,20,40,20,3
0,2.0,Big loam,1,80,Well drained,B,20,60,30,30,1
0,1.0,Slough,2,90,Poorly drained,C/D,0,30,10,40,5
1,1.0,Pit,3,100,,,,,,,"""


def sound(replay, now=NOW, run=None, long=False):
    """Let the server give sound answers of a time."""
    day = now.replace(hour=0)
    link = "https://api.weather.gov/gridpoints/ZZZ/90,48"
    replay.answers = {
        ENSEMBLE: hours(day, 48),
        FORECAST: hours(day - timedelta(days=1), 72),
        ARCHIVE: hours(day - timedelta(days=180), 181 * 24 if long else 24),
        "meta.json": {"last_run_initialisation_time": int((run or day).timestamp())},
        "/points/": {
            "properties": {"forecastGridData": link, "observationStations": f"{link}/stations"}
        },
        "/stations/": {
            "features": [
                {
                    "geometry": {"coordinates": [-99, 47.3]},
                    "properties": {
                        "timestamp": f"{now:%Y-%m-%dT%H:%M:%S}+00:00",
                        "temperature": {"unitCode": "wmoUnit:degC", "value": 14.0},
                    },
                }
            ]
        },
        "/stations": {"features": [{"properties": {"stationIdentifier": "KZZZ"}}]},
        "/gridpoints/": grid(now - timedelta(hours=2)),
        "/alerts/": {"features": []},
        "post.rest": {
            "Table": [[cell or None for cell in row.split(",")] for row in SURVEY.splitlines()]
        },
    }
    replay.date = format_datetime(now, usegmt=True)


@pytest.fixture
def server():
    with replay_server() as (url, replay):
        sound(replay)
        yield url, replay


@pytest.fixture
def folder(tmp_path):
    return small_farm(tmp_path / "farm")


def session(folder, url):
    return Services(folder / "cache", base=url, back_off_s=0.0, timeout=(1.0, 0.5))


def states(outcomes):
    return {p: {o.state for o in outcomes if o.product == p} for p in PRODUCTS}


def test_one_request_for_each_cell(folder, server):
    url, replay = server
    farm = read_farm(folder)
    cells = len(grid_cells(farm))
    assert cells < len(farm.fields)
    with session(folder, url) as services:
        first = fetch(folder, farm, services, now=NOW)
        asked = dict(replay.asked)
        second = fetch(folder, farm, services, now=NOW)
    assert set().union(*states(first).values()) == {"stored"}
    assert max(asked.values()) <= cells
    assert asked["meta.json"] == 1
    assert {p: len(stored_answers(folder, p)) for p in PRODUCTS} == dict.fromkeys(PRODUCTS, cells)
    # at once again: answers come from the cache, except records not requested before
    assert replay.asked[ENSEMBLE] == asked[ENSEMBLE]
    assert states(second)["ensemble"] == {"same"}
    assert all(a.startswith("afterrain/") for a in replay.agents)


def test_records_are_requested_once(folder, server):
    url, replay = server
    sound(replay, long=True)
    farm = read_farm(folder)
    with session(folder, url) as services:
        fetch(folder, farm, services, now=NOW)
        replay.paths.clear()
        fetch(folder, farm, services, now=NOW + timedelta(days=1))
    again = [p for p in replay.paths if "archive" in p]
    assert again
    assert all("start_date=2026-08-0" in p for p in again)  # a week back, not the season


def test_the_payload_is_stored_unchanged(folder, server):
    url, replay = server
    with session(folder, url) as services:
        fetch(folder, read_farm(folder), services, now=NOW)
    one = read_answer(stored_answers(folder, "ensemble")[0].path)
    assert one.payload == replay.answers[ENSEMBLE]
    assert one.issued == NOW.replace(hour=0)
    assert one.fetched == NOW
    assert one.source == "open-meteo"
    assert f"/{one.url.split('/', 3)[3]}" in replay.paths


#: Part of the line that each fault of the server leads to.
FAILURE_TEXTS = {
    "refused": "cannot be reached",
    "timeout": "did not answer within",
    "403": "refuses the request (403",
    "404": "has no such place or data (404)",
    "429": "asks to wait (429",
    "500": "failed on its own side (500)",
    "truncated": "truncated data",
    "short": "open-meteo-ensemble",
    "html": "a web page instead of data",
    "missing": "precipitation is missing",
    "unit": 'unknown unit "furlong"',
    "nulls": "precipitation is missing",
    "empty": "neither",
    "list": "not a weather record",
}


#: Further events between two fetches.
DISTURBANCES = ["none", "older", "corrupt cache", "no cache", "disk full", "killed"]


@pytest.mark.parametrize("fault", FAILURE_TEXTS)
def test_each_fault_is_reported_and_the_last_good_forecast_kept(folder, server, fault):
    url, replay = server
    farm = read_farm(folder)
    with session(folder, url) as services:
        fetch(folder, farm, services, now=NOW)
    before = {s.path.name: s.path.read_bytes() for s in stored_answers(folder)}
    shutil.rmtree(folder / "cache")
    replay.faults = {ENSEMBLE: fault}
    replay.wait = "0"
    later = NOW + timedelta(hours=6)
    sound(replay, later, run=later.replace(hour=6))
    with session(folder, url) as services:
        outcomes = fetch(folder, farm, services, now=later)
    mine = [o for o in outcomes if o.product == "ensemble"]
    assert {o.state for o in mine} == {"failed"}
    assert all(FAILURE_TEXTS[fault] in o.text for o in mine)
    assert states(outcomes)["forecast"] == {"stored"}  # other products arrive
    after = {s.path.name: s.path.read_bytes() for s in stored_answers(folder)}
    assert before.items() <= after.items()
    assert stored_answers(folder, "ensemble")[0].issued == NOW.replace(hour=0)


def test_retry_after_is_respected(folder, server):
    """The client waits for a short Retry-After and gives up on a long one."""
    url, replay = server
    farm = read_farm(folder)
    replay.faults, replay.wait = {ENSEMBLE: "429"}, "3600"
    with session(folder, url) as services:
        outcomes = fetch(folder, farm, services, now=NOW)
    assert replay.asked[ENSEMBLE] == 1  # one request, no wait, no further cell
    assert "retry after 3600 s" in next(o.text for o in outcomes if o.product == "ensemble")
    replay.wait = "1"
    replay.asked.clear()
    begun = datetime.now(UTC)
    with session(folder, url) as services, pytest.raises(ServiceError, match="asks to wait"):
        services.ask("open-meteo-ensemble", "/v1/x", product="ensemble", check=parse_response)
    assert replay.asked[ENSEMBLE] == 3  # the first and two retries
    assert datetime.now(UTC) - begun >= timedelta(seconds=2)


def test_a_successful_retry_is_silent(folder, server):
    url, replay = server
    calls = iter(range(100))

    def flaky(path, query):
        replay.faults = {ENSEMBLE: "500"} if next(calls) == 0 else {}  # two answers of 500
        return hours(NOW.replace(hour=0), 48)

    replay.answers[ENSEMBLE] = flaky
    replay.faults = {ENSEMBLE: "500"}
    with session(folder, url) as services:
        reply = services.ask(
            "open-meteo-ensemble", "/v1/x", product="ensemble", check=parse_response
        )
    assert reply.fresh
    assert replay.asked[ENSEMBLE] == 3


def test_an_expired_copy_is_used_and_marked(folder, server, monkeypatch):
    url, replay = server
    monkeypatch.setattr("readiness.sources.services.EXPIRY", {"ensemble": timedelta(seconds=1)})
    with session(folder, url) as services:
        ask = {"product": "ensemble", "check": parse_response}
        first = services.ask("open-meteo-ensemble", "/v1/x", **ask)
        assert first.fresh
        time.sleep(1.1)
        replay.faults = {ENSEMBLE: "html"}
        old = services.ask("open-meteo-ensemble", "/v1/x", **ask)
    assert not old.fresh
    assert old.cached
    assert "web page" in old.failure
    assert old.payload == first.payload


def test_a_broken_answer_never_enters_the_cache(folder, server):
    url, replay = server
    replay.faults = {ENSEMBLE: "unit"}
    with session(folder, url) as services:
        with pytest.raises(ServiceError, match="furlong"):
            services.ask("open-meteo-ensemble", "/v1/x", product="ensemble", check=parse_response)
        replay.faults = {}
        reply = services.ask(
            "open-meteo-ensemble", "/v1/x", product="ensemble", check=parse_response
        )
    assert not reply.cached


def test_an_older_forecast_does_not_replace_a_newer(folder, server):
    url, replay = server
    farm = read_farm(folder)
    with session(folder, url) as services:
        fetch(folder, farm, services, now=NOW)
    replay.answers["/gridpoints/"] = grid(NOW - timedelta(hours=20))
    replay.answers["meta.json"] = {
        "last_run_initialisation_time": int((NOW - timedelta(hours=30)).timestamp())
    }
    shutil.rmtree(folder / "cache")
    replay.date = format_datetime(NOW + timedelta(minutes=5), usegmt=True)
    with session(folder, url) as services:
        found = states(fetch(folder, farm, services, now=NOW + timedelta(minutes=5)))
    assert found["gridpoint"] == {"older"}
    assert found["ensemble"] == {"older"}
    assert stored_answers(folder, "gridpoint")[-1].issued == NOW - timedelta(hours=2)


def test_a_forecast_from_the_future_is_not_stored(folder, server):
    url, replay = server
    replay.answers["/gridpoints/"] = grid(NOW + timedelta(days=2))
    with session(folder, url) as services:
        outcomes = fetch(folder, read_farm(folder), services, now=NOW)
    mine = [o for o in outcomes if o.product == "gridpoint"]
    assert all(o.state == "failed" and "future" in o.text for o in mine)
    assert stored_answers(folder, "gridpoint") == []


def test_a_wrong_clock_is_noted_and_the_time_of_the_service_kept(folder, server):
    url, _ = server  # its date is NOW, far from this computer's
    with session(folder, url) as services:
        fetch(folder, read_farm(folder), services, now=datetime.now(UTC))
        notes = " ".join(services.notes)
    assert "clock is" in notes
    assert read_answer(stored_answers(folder, "forecast")[0].path).fetched == NOW


def test_a_corrupt_cache_is_set_aside(folder, server):
    url, _ = server
    (folder / "cache").mkdir()
    (folder / "cache" / "services.sqlite").write_bytes(b"no database at all " * 400)
    with session(folder, url) as services:
        outcomes = fetch(folder, read_farm(folder), services, now=NOW)
        assert "The cache was broken; it was set aside and begun anew." in services.notes
    assert states(outcomes)["ensemble"] == {"stored"}
    assert (folder / "cache" / "services.broken").exists()


def test_a_locked_cache_is_not_used(folder, server):
    url, _ = server
    (folder / "cache").mkdir()
    holder = sqlite3.connect(folder / "cache" / "services.sqlite", isolation_level=None)
    holder.execute("BEGIN EXCLUSIVE")
    try:
        with session(folder, url) as services:
            outcomes = fetch(folder, read_farm(folder), services, now=NOW)
            assert any("locked" in n and "without it" in n for n in services.notes)
    finally:
        holder.close()
    assert states(outcomes)["ensemble"] == {"stored"}


def test_a_cache_that_is_locked_later_is_not_used(folder, server):
    url, _ = server
    with session(folder, url) as services:
        holder = sqlite3.connect(folder / "cache" / "services.sqlite", isolation_level=None)
        holder.execute("BEGIN EXCLUSIVE")
        try:
            reply = services.ask(
                "open-meteo-ensemble", "/v1/x", product="ensemble", check=parse_response
            )
        finally:
            holder.close()
    assert reply.payload["latitude"] == 47.25


@pytest.mark.slow
def test_a_dead_line_costs_one_wait(folder, server):
    url, replay = server
    replay.faults = {"/": "timeout"}
    begun = datetime.now(UTC)
    with session(folder, url) as services:
        outcomes = fetch(folder, read_farm(folder), services, now=NOW)
    assert {o.state for o in outcomes} == {"failed"}
    # four services, three attempts of half a second each
    assert datetime.now(UTC) - begun < timedelta(seconds=12)
    replay.hang.set()


@pytest.mark.slow
@given(
    st.lists(
        st.tuples(
            st.sampled_from([ENSEMBLE, FORECAST, "/gridpoints/", "/points/", "/", "meta.json"]),
            st.sampled_from(
                [fault for fault in FAILURE_TEXTS if fault != "timeout"] + DISTURBANCES
            ),
        ),
        min_size=1,
        max_size=5,
    )
)
@settings(max_examples=10, deadline=None, suppress_health_check=list(HealthCheck))
def test_no_sequence_of_faults_loses_a_stored_forecast(faults):
    with tempfile.TemporaryDirectory() as parent, replay_server() as (url, replay):
        folder = small_farm(Path(parent))
        farm = read_farm(folder)
        sound(replay)
        replay.wait = "0"
        with session(folder, url) as services:
            fetch(folder, farm, services, now=NOW)
        before = {s.path.name: parsed(s) for s in stored_answers(folder)}
        for n, (address, fault) in enumerate(faults, start=1):
            now = NOW + timedelta(hours=7 * n)
            sound(replay, now)
            replay.faults = {address: fault}
            disturb(folder, replay, fault, now)
            full = OSError(28, "No space left on device")
            with (
                session(folder, url) as services,
                patch(
                    "scheduler.atomic.os.replace",
                    side_effect=full if fault == "disk full" else os.replace,
                ),
            ):
                fetch(folder, farm, services, now=now)
            after = {s.path.name: parsed(s) for s in stored_answers(folder)}
            assert before.keys() <= after.keys()
            assert all(after[name] == before[name] for name in before)
            assert all(p.name == ".killed.part" for p in (folder / "forecasts").glob(".*"))
            before = after


def parsed(stored):
    """Payload of a stored answer; reading it must never fail."""
    answer = read_answer(stored.path)
    if stored.product in ("ensemble", "forecast", "archive", "gridpoint"):
        parse_response(answer.payload)
    return json.dumps(answer.payload)


def disturb(folder, replay, event, now):
    """Let an event of `DISTURBANCES` happen."""
    cache = folder / "cache" / "services.sqlite"
    if event == "older":
        replay.answers["/gridpoints/"] = grid(now - timedelta(days=3))
    elif event == "corrupt cache":
        cache.write_bytes(b"x" * 5000)
    elif event == "no cache":
        shutil.rmtree(folder / "cache", ignore_errors=True)
    elif event == "killed":  # a fetch was killed in the middle of writing
        (folder / "forecasts" / ".killed.part").write_text('{"source": "nws", "pay')


# ---- the command ---------------------------------------------------------------------------------


def run(capsys, *words):
    """Exit code and output of a command."""
    code = main([str(w) for w in words])
    return code, capsys.readouterr()


def test_fetch_prints_what_arrived_and_from_where(folder, server, capsys, monkeypatch):
    url, replay = server
    now = datetime.now(UTC).replace(minute=0, second=0, microsecond=0)
    sound(replay, now, run=now)  # a run of midnight would be older than the forecast by noon
    monkeypatch.setenv("AFTERRAIN_SERVICES_URL", url)
    code, out = run(capsys, "fetch", folder)
    assert code == 0
    assert "ensemble     2 of 2 cells  new, issued" in out.out
    assert "A plan would use open-meteo ensemble, issued" in out.out
    replay.faults = {"/": "html"}
    shutil.rmtree(folder / "cache")
    code, out = run(capsys, "fetch", folder)
    assert code == 0  # the stored forecast is still recent enough
    assert "nothing: open-meteo-ensemble answered with a web page instead of data" in out.out
    assert "A plan would use open-meteo ensemble, issued" in out.out


def test_fetch_with_nothing_usable_is_an_error(folder, server, capsys):
    url, replay = server
    replay.faults = {"/": "404"}
    code, out = run(capsys, "fetch", folder, "--services", url)
    assert code == 1
    assert "There is nothing to plan on: " in out.out
    assert "run `afterrain fetch" in out.out


def test_no_live_network_in_tests(folder, monkeypatch):
    """Without a server every request fails with one clear line."""
    with Services(folder / "cache", base="http://127.0.0.1:9", back_off_s=0.0) as services:
        with pytest.raises(ServiceError, match=r"^nws cannot be reached"):
            services.ask("nws", "/points/47,-99", product="points", check=lambda p: p)
        with pytest.raises(ServiceError, match=r"^nws cannot be reached"):
            services.ask("nws", "/points/48,-99", product="points", check=lambda p: p)


# ---- soil survey ---------------------------------------------------------------------------------


def test_soil_is_written_to_its_own_file(folder, server, capsys):
    url, replay = server
    before = (folder / "fields.csv").read_bytes()
    code, out = run(capsys, "fetch", folder, "--soil", "--services", url)
    assert code == 0
    lines = (folder / "soil.csv").read_text().splitlines()
    assert lines[0].startswith("id,texture,sand_pct,clay_pct,organic_matter_pct,drainage")
    # hand: loam with area 2 × 80 (20 cm of 40/20 and 10 cm of 30/30), slough with 1 × 90 (30 cm of
    # 10/40):
    # sand (160×20×40 + 160×10×30 + 90×30×10) / (160×30 + 90×30) = 203000/7500 = 27.07
    assert lines[1] == "F01,clay loam,27,29,3.3,good,B,Big loam,100"
    assert (folder / "fields.csv").read_bytes() == before
    assert "not in the survey" in out.out
    run(capsys, "fetch", folder, "--soil", "--services", url)
    assert replay.asked["post.rest"] == 1  # from the cache the second time
    replay.faults = {"post.rest": "html"}
    shutil.rmtree(folder / "cache")
    code, out = run(capsys, "fetch", folder, "--soil", "--services", url)
    assert code == 1
    assert "no soil was written" in out.err
    assert (folder / "soil.csv").read_text().splitlines() == lines


def test_fields_csv_overrides_the_survey(folder, server, capsys):
    """soil.csv fills the blanks of fields.csv and nothing else."""
    url, _ = server
    path = folder / "fields.csv"
    rows = [r.split(",") for r in path.read_text(encoding="utf-8").splitlines()]
    texture, drainage = rows[0].index("texture"), rows[0].index("drainage")
    own = [r[texture] for r in rows]
    rows[1][texture] = rows[1][drainage] = ""
    path.write_text("\n".join(",".join(r) for r in rows), encoding="utf-8")
    assert run(capsys, "check", folder)[0] == 1  # no soil yet
    assert run(capsys, "fetch", folder, "--soil", "--services", url)[0] == 0
    fields = read_farm(folder).fields
    assert fields[0].texture.replace("_", " ") == "clay loam"
    assert (fields[0].sand, fields[0].clay) == (pytest.approx(0.27), pytest.approx(0.29))
    assert fields[0].drainage == "good"
    assert [f.texture.replace("_", " ") for f in fields[1:]] == own[2:]
    rows[1][texture] = "sand"
    path.write_text("\n".join(",".join(r) for r in rows), encoding="utf-8")
    again = read_farm(folder).fields[0]
    assert (again.texture, again.sand) == ("sand", pytest.approx(0.88))
    assert again.drainage == "good"


def test_survey_fills_a_table_without_soil_columns():
    table = read_csv("id,crop,yield\nF 1,wheat,50\nF2,wheat,40\n")
    survey = survey_rows(
        read_csv(
            "id,texture,sand_pct,clay_pct,organic_matter_pct,drainage\nf1,loam,40,20,3.3,good\n"
        ),
        problems := [],
    )
    assert problems == []
    full = with_survey(table, {"f_1": survey["f1"]}, guess="clay")
    assert full.columns[3:] == ("texture", "sand_pct", "clay_pct", "organic_matter_pct", "drainage")
    assert full.rows[0][1][3:] == ("loam", "40", "20", "3.3", "good")
    assert full.rows[1][1][3:] == ("clay", "", "", "", "")


def test_soil_query_holds_the_boundary_and_no_text_of_the_user():
    ring = [(-99.1, 47.3), (-99.0, 47.3), (-99.0, 47.4)]
    query = survey_query([ring, ring])
    assert query.count("POLYGON((-99.100000 47.300000, -99.000000 47.300000, ") == 4
    assert "SELECT 0 AS field" in query
    assert "SELECT 1 AS field" in query
    assert "hzdept_r < 30" in query


def test_ring_of_a_field_without_boundary():
    field = read_farm(SAMPLE).fields[0]
    from dataclasses import replace

    ring = boundary_ring(replace(field, boundary=()))
    wide = (ring[1][0] - ring[0][0]) * 111.195 * 0.6776  # cos 47.35°
    assert wide**2 * 100 == pytest.approx(field.area_ha, rel=0.01)


@pytest.mark.parametrize("payload", [[], {"Table": 3}, {"Table": [["field"], ["0"]]}])
def test_malformed_soil_answers_are_refused(payload):
    with pytest.raises(PayloadError):
        read_survey(payload)
    assert read_survey({}) == {}


# published: centres of the texture triangle's classes (Soil Survey Manual, ch. 3)
@pytest.mark.parametrize(
    ("sand", "clay", "name"),
    [
        (0.92, 0.05, "sand"),
        (0.82, 0.06, "loamy sand"),
        (0.65, 0.10, "sandy loam"),
        (0.40, 0.20, "loam"),
        (0.20, 0.15, "silt loam"),
        (0.06, 0.06, "silt"),
        (0.60, 0.27, "sandy clay loam"),
        (0.33, 0.34, "clay loam"),
        (0.10, 0.34, "silty clay loam"),
        (0.52, 0.42, "sandy clay"),
        (0.07, 0.47, "silty clay"),
        (0.20, 0.60, "clay"),
    ],
)
def test_texture_classes(sand, clay, name):
    assert texture_class(sand, clay) == name


@need_data
def test_real_gridpoint_with_a_changed_unit_or_nulls_is_refused():
    payload = json.loads((RECORDS / "NWS_gridpoints_TAE_58_65_20220204_raw.json").read_text())
    for fault, words in (("unit", "furlong"), ("nulls", "missing"), ("missing", "missing")):
        with pytest.raises(PayloadError, match=words):
            parse_response(broken(payload, fault))
