"""Past weather and forecasts from files of one's own: an offline season, reviewed and verified."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from readiness.sources.payload import PayloadError
from readiness.sources.responses import frame_payload, parse_response
from scheduler.command import main
from scheduler.errors import WeatherError
from scheduler.farm_files.folder import read_farm
from scheduler.review.observed_season import read_observed_season
from scheduler.weather.field_weather import weather_for
from scheduler.weather.given_file import read_forecast
from scheduler.weather.own_weather import import_weather
from scheduler.weather.store import read_answer, stored_answers
from tests.stored_season import BEGIN, FIRST_ISSUE, small_farm, truth

HEADING = "time,rain_mm,temp_c,humidity_pct,wind_kmh,gust_kmh,radiation_w_m2"
START, END = 60, FIRST_ISSUE + 8  # days from BEGIN that the records cover
NOW = BEGIN + timedelta(days=END, hours=12)


def table(path, rows, first, hours):
    """An hourly table in UTC from `first`, an hour counted from BEGIN."""
    series = [rows[n][first : first + hours] for n in rows]
    lines = [
        f"{BEGIN + timedelta(hours=first + h):%Y-%m-%dT%H:%M}Z,"
        + ",".join(f"{s[h]:g}" for s in series)
        for h in range(hours)
    ]
    path.write_text("\n".join([HEADING, *lines]) + "\n", encoding="utf-8")
    return path


@pytest.fixture
def offline(tmp_path):
    """A farm without any stored weather, the truth, and a table of its past weather."""
    folder, rows = small_farm(tmp_path / "farm"), truth()
    path = table(tmp_path / "past.csv", rows, 24 * START, 24 * (END - START))
    return folder, rows, path


def test_past_weather_from_a_file_serves_plans_as_if_fetched(offline, capsys):
    folder, rows, path = offline
    assert main(["import", str(folder), str(path), "--records"]) == 0
    assert capsys.readouterr().out == (
        "past weather, 2026-05-30 19:00 to 2026-07-02 19:00: stored\n"
    )
    forecast = table(folder.parent / "next.csv", rows, 24 * END, 24 * 5)
    now = BEGIN + timedelta(days=END)
    weather = weather_for(folder, read_farm(folder), now, days=4, forecast=forecast)
    assert weather.past.shape[2] == 24 * (END - START)
    assert weather.past.rain[0, 0] == pytest.approx(
        rows["precipitation"][24 * START : 24 * END], abs=1e-3
    )
    assert not any("There are no weather records" in n for n in weather.notes)
    # the same file a second time changes nothing
    before = stored_answers(folder)
    assert main(["import", str(folder), str(path), "--records"]) == 0
    assert capsys.readouterr().out.endswith(": was there already\n")
    assert stored_answers(folder) == before


def test_fields_far_from_a_table_are_named(offline, capsys):
    """A table holds for 40 km round the base, a degree of latitude is 111 km."""
    folder, _, path = offline
    rows = (folder / "fields.csv").read_text(encoding="utf-8").splitlines()
    at = rows[0].split(",").index("lat")
    cells = rows[1].split(",")
    far = [*cells[:at], str(float(cells[at]) + 1.0), *cells[at + 1 :]]
    far[0] = "far"
    (folder / "fields.csv").write_text("\n".join([*rows, ",".join(far)]) + "\n", encoding="utf-8")
    assert main(["import", str(folder), str(path), "--records"]) == 0
    assert capsys.readouterr().out.splitlines()[1] == (
        "1 field, far, lies farther than 24.9 mi from it and has no weather of it: run `afterrain "
        f"fetch {folder}`, or plan with --forecast FILE --elsewhere"
    )


def test_two_files_in_one_minute_are_both_kept(offline):
    folder, rows, path = offline
    farm = read_farm(folder)
    late = table(folder.parent / "late.csv", rows, 24 * (END - 3), 24 * 3)
    for name in (path, late):
        import_weather(folder, farm, name, now=NOW)
    assert len({s.issued for s in stored_answers(folder, "archive")}) == 2


@pytest.mark.slow
def test_an_offline_season_is_verified_from_files_of_its_own(offline, tmp_path, capsys):
    folder, rows, path = offline
    for day in range(FIRST_ISSUE, END - 1):
        own = table(tmp_path / "f.csv", rows, 24 * day, 24 * 6)
        issued = f"{BEGIN + timedelta(days=day):%Y-%m-%dT%H:%M}+00:00"
        assert main(["import", str(folder), str(own), "--issued", issued]) == 0
    assert main(["import", str(folder), str(path), "--records"]) == 0
    capsys.readouterr()
    assert main(["verify", str(folder), "--out", str(tmp_path / "v"), "--on", NOW.isoformat()]) == 0
    out = capsys.readouterr().out
    assert out.startswith("7 issues of forecast against weather records (no gauge reading of those")
    first = next(line for line in out.splitlines() if line.strip().startswith("1 "))
    assert first.split()[1] == "0.00"  # law: the forecast is the truth, so no rain day is missed


def test_an_offline_season_is_reviewed_from_records_of_its_own(offline):
    folder, rows, path = offline
    at = BEGIN + timedelta(days=FIRST_ISSUE + 3, hours=20)
    assert main(["log", str(folder), "cut", "F01", "80", "--at", at.isoformat()]) == 0
    with pytest.raises(WeatherError, match="there are no weather records"):
        read_observed_season(folder)
    assert main(["import", str(folder), str(path), "--records"]) == 0
    observed = read_observed_season(folder)
    assert observed.stop > at
    first = int(
        (observed.weather.start - np.datetime64(BEGIN.replace(tzinfo=None), "h")).astype(int)
    )
    assert observed.weather.rain[0, 0, :24] == pytest.approx(
        rows["precipitation"][first : first + 24], abs=1e-3
    )


@pytest.mark.slow
def test_the_review_of_an_offline_season_is_written(offline, capsys):
    folder, _, path = offline
    at = BEGIN + timedelta(days=FIRST_ISSUE + 3, hours=20)
    assert main(["log", str(folder), "cut", "F01", "80", "--at", at.isoformat()]) == 0
    assert main(["import", str(folder), str(path), "--records"]) == 0
    assert main(["review", str(folder)]) == 0
    assert "written to" in capsys.readouterr().out


def test_own_weather_that_is_refused_stores_nothing(offline, tmp_path):
    folder, rows, path = offline
    farm = read_farm(folder)
    issued = BEGIN + timedelta(days=END)
    ahead = table(tmp_path / "ahead.csv", rows, 24 * END, 24 * 3)
    blank = tmp_path / "blank.csv"
    blank.write_text(f"{HEADING}\n2026-06-01 06:00,,,60,10,,\n", encoding="utf-8")
    members = tmp_path / "members.csv"
    members.write_text(
        "time,member,rain_mm,temp_c\n2026-06-01 06:00,a,0,20\n2026-06-01 06:00,b,0,21\n",
        encoding="utf-8",
    )
    for file, when, words in (
        (ahead, None, "which is still to come; give --issued TIME if it is a forecast"),
        (ahead, NOW + timedelta(days=1), "is still to come; give the time at which"),
        (path, issued + timedelta(hours=1), "before it was issued"),
        (blank, None, "holds no hour with rain and temperature"),
        (members, None, "has 2 members, and weather that has been has none"),
    ):
        with pytest.raises(WeatherError, match=words):
            import_weather(folder, farm, file, now=NOW, issued=when)
    assert stored_answers(folder) == []


def test_a_frame_there_and_back(offline):
    folder, _, path = offline
    payload = read_forecast(path, read_farm(folder)).payload
    kept = frame_payload(payload)
    again = parse_response(kept)
    assert again.weather.start == payload.weather.start
    for name in ("rain", "temp", "humidity", "wind", "gust", "radiation"):
        np.testing.assert_allclose(
            getattr(again.weather, name), getattr(payload.weather, name), atol=5e-4
        )
    for change in ({"rain": [[0.0]]}, {"temp": "x"}, {"temp": []}, {"start": "soon"}):
        with pytest.raises(PayloadError):
            parse_response({"frame": kept["frame"] | change})


def test_what_is_stored_names_its_origin(offline):
    folder, _, path = offline
    import_weather(folder, read_farm(folder), path, now=NOW)
    answer = read_answer(stored_answers(folder, "archive")[0].path)
    assert (answer.source, answer.version, answer.url) == ("own", "past.csv", "")
    assert answer.issued == datetime(2026, 7, 3, 12, tzinfo=UTC)


DAYS = [
    "date,rain_in,high_f,low_f",
    *(f"2026-06-{d:02d},{0.2 * (d % 3 == 0):g},{80 - d % 5},{55 + d % 4}" for d in range(1, 31)),
]


def test_days_of_ones_own_become_hours(offline, tmp_path, capsys):
    """By hand: 10 days of 0.2 in are 50.8 mm; 80 and 55 °F are 26.67 and 12.78 °C."""
    folder, _, _ = offline
    path = tmp_path / "days.csv"
    path.write_text("\n".join(DAYS) + "\n", encoding="utf-8")
    assert main(["import", str(folder), str(path), "--records"]) == 0
    # days of the sun's zone (UTC-7 at 99° W), two hours behind the clock of summer time
    assert capsys.readouterr().out == (
        "past weather, 2026-06-01 02:00 to 2026-07-01 02:00: stored\n"
    )
    answer = read_answer(stored_answers(folder, "archive")[0].path)
    weather = parse_response(answer.payload).weather
    assert weather.rain.sum() == pytest.approx(50.8, abs=0.1)
    assert weather.temp.max() == pytest.approx(26.67, abs=0.3)
    assert weather.temp.min() == pytest.approx(12.78, abs=0.3)
    assert weather.estimated.all()  # humidity, wind and radiation are


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("79,56", "56,79", "row 2, high_f: tmax is below tmin; swap them"),
        ("2026-06-02", "2026-06-01", "row 3, date: the day is there twice; keep one row a day"),
        ("79,56", "800,56", "row 2, high_f: tmax is impossible; check its unit"),
        ("2026-06-01", "", "row 2, date: time is missing; give the day"),
        ("low_f", "lo", "there is no column tmin"),
        ("0.2", "-1", "row 4, rain_in: rain is -1 in, must be at least 0 in"),
    ],
)
def test_days_that_are_refused(offline, tmp_path, old, new, words):
    folder, _, _ = offline
    path = tmp_path / "days.csv"
    path.write_text("\n".join(DAYS).replace(old, new, 1) + "\n", encoding="utf-8")
    with pytest.raises(WeatherError, match=words):
        import_weather(folder, read_farm(folder), path, now=NOW)
    assert stored_answers(folder) == []


def test_a_station_file_is_past_weather(offline, tmp_path):
    folder, _, _ = offline
    farm = read_farm(folder)
    rows = ['"STATION","DATE","LATITUDE","LONGITUDE","ELEVATION","PRCP","TMAX","TMIN"']
    first = datetime(2026, 5, 1)
    for d in range(60):
        day, high, low = first + timedelta(days=d), 250 + 9 * (d % 4), 120 + 7 * (d % 3)
        place = f'"{farm.base_lat}","{farm.base_lon}","500"'
        rows.append(f'"X1","{day:%Y-%m-%d}",{place},"20","{high}","{low}"')
    path = tmp_path / "X1.csv"
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    found = import_weather(folder, farm, path, now=NOW)
    assert (found.product, found.far) == ("archive", ())
    weather = parse_response(read_answer(stored_answers(folder)[0].path).payload).weather
    assert weather.rain.sum() == pytest.approx(60 * 2.0, rel=0.01)  # PRCP is in tenths of mm
