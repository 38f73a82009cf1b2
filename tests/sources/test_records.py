"""Readers and screens of open records, gap filling, and days spread over hours."""

import gzip
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from places import DATA
from station_rows import daily_line

from readiness.atmosphere.solar import extraterrestrial_daily
from readiness.sources.daily_record import DailyRecord, Flag, RecordError
from readiness.sources.daily_to_hourly import daily_to_hourly, estimate_missing
from readiness.sources.quality_screens import fill_short_gaps, screen_record
from readiness.sources.station_file import read_station_file
from readiness.sources.uscrn import DAILY01, read_uscrn_daily

RECORDS = DATA / "soil_moisture"


@pytest.fixture
def days(tmp_path: Path) -> Path:
    rows = [
        daily_line(
            "20240601",
            T_DAILY_MAX=25.0,
            T_DAILY_MIN=11.0,
            P_DAILY_CALC=0.0,
            RH_DAILY_AVG=60.0,
            SOLARAD_DAILY=24.0,
            SOIL_MOISTURE_5_DAILY=0.25,
        ),
        daily_line(
            "20240602",
            T_DAILY_MAX=27.0,
            T_DAILY_MIN=13.0,
            P_DAILY_CALC=12.4,
            RH_DAILY_AVG=75.0,
            SOLARAD_DAILY=12.0,
        ),
        daily_line(
            "20240604",
            T_DAILY_MAX=22.0,
            T_DAILY_MIN=10.0,
            P_DAILY_CALC=0.0,
            RH_DAILY_AVG=55.0,
            SOLARAD_DAILY=26.0,
            SOIL_MOISTURE_5_DAILY=0.31,
        ),
    ]
    path = tmp_path / "CRND0103-2024-XX_Nowhere_1_N.txt"
    path.write_text("\n".join(" ".join(row) for row in rows) + "\n")
    return path


def test_native_text_and_csv_agree(days: Path, tmp_path: Path) -> None:
    native = read_uscrn_daily(days)
    rows = [line.split() for line in days.read_text().splitlines()]
    path = tmp_path / "CRND0103_XX_Nowhere_1_N.csv.gz"
    path.write_bytes(gzip.compress("\n".join(map(",".join, [list(DAILY01), *rows])).encode()))
    csv = read_uscrn_daily(path)
    for name in ("tmax", "rain", "humidity", "solar", "soil_water"):
        assert np.array_equal(getattr(native, name), getattr(csv, name), equal_nan=True)
    assert native.days.tolist() == np.arange("2024-06-01", "2024-06-05", dtype="M8[D]").tolist()
    assert np.isnan(native.rain[2])  # the day without a row is unknown, not dry
    assert native.flags["rain"].tolist() == [0, 0, Flag.MISSING, 0]
    assert native.soil_water[0, [0, 3]].tolist() == [0.25, 0.31]
    assert native.latitude == 47.0
    assert native.utc_offset == -6


def test_missing_column_is_named(tmp_path: Path) -> None:
    path = tmp_path / "CRND0103_XX.csv"
    path.write_text("WBANNO,LST_DATE\n1,20240101\n")
    with pytest.raises(RecordError, match=r"CRND0103_XX.csv: no column CRX_VN"):
        read_uscrn_daily(path)


GHCN_HEADER = (
    '"STATION","DATE","LATITUDE","LONGITUDE","ELEVATION","NAME","PRCP","PRCP_ATTRIBUTES",'
    '"TMAX","TMAX_ATTRIBUTES","TMIN","TMIN_ATTRIBUTES"'
)


def ghcn_line(day: str, rain: object, tmax: object, tmin: object, quality: str = "") -> str:
    """One row of a GHCN-Daily station file; `quality` is the quality flag of its rain."""
    return (
        f'"USW00000001","{day}","47.0","-97.5","300.0","NOWHERE","{rain}",",{quality},W",'
        f'"{tmax}",",,W","{tmin}",",,W"'
    )


# hand: NOAA's readme of GHCN-Daily gives tenths of mm and °C, -9999 for missing, and the second
# attribute as the quality flag
def test_ghcn_station_file(tmp_path: Path) -> None:
    path = tmp_path / "USW00000001.csv"
    lines = [
        GHCN_HEADER,
        ghcn_line("2024-06-01", 124, 251, 110),
        ghcn_line("2024-06-02", 999, 263, 125, quality="X"),
        ghcn_line("2024-06-04", 0, -9999, 98),
    ]
    path.write_text("\n".join(lines) + "\n")
    record = read_station_file(path)
    assert record.name == "USW00000001"
    assert (record.latitude, record.longitude, record.elevation_m) == (47.0, -97.5, 300.0)
    assert record.rain[[0, 3]].tolist() == pytest.approx([12.4, 0.0])
    assert np.isnan(record.rain[1])  # failed NOAA's quality check
    assert np.isnan(record.rain[2])  # no row: unknown, not dry
    assert record.tmax[:2].tolist() == pytest.approx([25.1, 26.3])
    assert np.isnan(record.tmax[3])
    assert record.tmin[[0, 1, 3]].tolist() == pytest.approx([11.0, 12.5, 9.8])
    assert (record.flags["solar"] == Flag.MISSING).all()
    zipped = tmp_path / "USW00000001.csv.gz"
    zipped.write_bytes(gzip.compress(path.read_bytes()))
    assert np.array_equal(read_station_file(zipped).rain, record.rain, equal_nan=True)


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        (["date,rain_mm", "2024-06-01,3"], "neither a daily01 file"),
        ([GHCN_HEADER.replace("TMIN", "TAVG")], "no column TMIN"),
        (
            [
                GHCN_HEADER,
                ghcn_line("2024-06-01", 0, 250, 110),
                ghcn_line("2024-06-02", 0, 250, 110).replace("0001", "0002"),
            ],
            "2 stations; give one file a station",
        ),
        (
            [GHCN_HEADER, ghcn_line("2024-06-01", 12.4, 25.1, 11.0)],
            "column PRCP: a value has a decimal point",
        ),
        ([GHCN_HEADER, ghcn_line("1 June", 0, 250, 110)], "1 June"),
        ([GHCN_HEADER, ghcn_line("", 0, 250, 110)], "a row without DATE"),
        (
            [GHCN_HEADER, ghcn_line("2024-06-01", 0, 250, 110).replace("-97.5", "")],
            "a row without DATE, LATITUDE or LONGITUDE",
        ),
        ([], "neither a daily01 file"),
    ],
)
def test_other_files_are_refused(tmp_path: Path, lines: list[str], message: str) -> None:
    path = tmp_path / "station.csv"
    path.write_text("\n".join(lines) + "\n")
    with pytest.raises(RecordError, match=f"^station.csv.*{message}"):
        read_station_file(path)


def test_file_of_either_network_is_recognised(days: Path) -> None:
    native, recognised = read_uscrn_daily(days), read_station_file(days)
    assert recognised.name == native.name == "XX_Nowhere_1_N"
    assert np.array_equal(recognised.rain, native.rain, equal_nan=True)


def made(n: int = 40, seed: int = 0) -> DailyRecord:
    """A record of made-up days without faults."""
    rng = np.random.default_rng(seed)
    tmin = 10.0 + rng.normal(0, 2, n)
    water = np.tile(0.25 + np.cumsum(rng.normal(0, 0.003, n)), (5, 1))
    base = {
        "tmin": tmin,
        "tmax": tmin + 12.0 + rng.normal(0, 1, n),
        "rain": np.where(rng.random(n) < 0.3, rng.exponential(8, n), 0.0),
        "solar": 20.0 + rng.normal(0, 2, n),
        "humidity": 65.0 + rng.normal(0, 5, n),
        "humidity_max": 88.0 + rng.normal(0, 3, n),
        "humidity_min": 42.0 + rng.normal(0, 3, n),
        "wind": 3.0 + rng.normal(0, 0.3, n),
    }
    return DailyRecord(
        name="made",
        first=np.datetime64("2024-06-01", "D"),
        latitude=47.0,
        longitude=-97.5,
        elevation_m=300.0,
        soil_water=water,
        soil_temp=water * 60.0,
        flags={k: np.zeros(n, dtype=np.uint8) for k in base},
        **base,
    )


def test_screens_flag_impossible_values() -> None:
    day = made()
    rain, humidity, tmax, tmin = (
        getattr(day, n).copy() for n in ("rain", "humidity", "tmax", "tmin")
    )
    rain[3], humidity[5], humidity[6] = -2.0, 130.0, 101.5
    tmax[10:18] = 21.3  # stuck
    tmax[30], tmin[30] = 8.0, 12.0
    clean = screen_record(replace(day, rain=rain, humidity=humidity, tmax=tmax, tmin=tmin))
    assert clean.flags["rain"][3] == Flag.REMOVED
    assert np.isnan(clean.rain[3])
    assert np.isnan(clean.humidity[5])
    assert clean.humidity[6] == 100.0  # an instrument's error, not a fault
    assert np.isnan(clean.tmax[10:18]).all()
    assert np.isnan(clean.tmax[30])
    untouched = np.delete(np.arange(40), [3])
    assert np.array_equal(clean.rain[untouched], day.rain[untouched])


def test_short_gaps_are_filled_and_long_ones_stay_unknown() -> None:
    day = made()
    tmax, rain = day.tmax.copy(), day.rain.copy()
    tmax[5:7], tmax[20:25] = np.nan, np.nan
    rain[:] = 0.0
    rain[8], rain[9], rain[30] = np.nan, 4.0, np.nan
    holes = replace(day, tmax=tmax, rain=rain)
    done = fill_short_gaps(holes)
    assert done.tmax[5] == pytest.approx(tmax[4] + (tmax[7] - tmax[4]) / 3.0)
    assert done.flags["tmax"][5:7].tolist() == [Flag.FILLED] * 2
    assert np.isnan(done.tmax[20:25]).all()
    assert np.isnan(done.rain[8])  # next to a wet day: unknown
    assert done.rain[30] == 0.0
    assert done.flags["rain"][30] == Flag.FILLED


# published: estimates by FAO-56 eqs 48 and 50 and the world's mean wind of 2 m/s, flagged
def test_missing_wind_sun_and_humidity_are_estimated() -> None:
    day = made()
    nothing = np.full(40, np.nan)
    bare = replace(day, wind=nothing, solar=nothing, humidity=nothing)
    done = estimate_missing(bare)
    assert (done.wind == 2.0).all()
    spread = np.sqrt(day.tmax - day.tmin)
    number = (day.days - np.datetime64("2024-01-01")).astype(int) + 1
    expected = 0.16 * spread * extraterrestrial_daily(47.0, number)
    assert done.solar == pytest.approx(expected, rel=1e-6)
    assert (done.flags["wind"] == Flag.ESTIMATED).all()
    assert daily_to_hourly(done).estimated.all()
    assert not daily_to_hourly(day).estimated.any()


# law: hours add up to their days and stay between the extremes of the day
def test_hours_keep_the_days() -> None:
    day = made()
    weather = daily_to_hourly(day)
    assert weather.start == np.datetime64("2024-06-01T06", "h")  # midnight, six hours behind UTC
    rain = weather.rain.reshape(-1, 24)
    assert rain.sum(axis=1) == pytest.approx(day.rain)
    sun = weather.radiation.reshape(-1, 24)
    assert sun.sum(axis=1) * 0.0036 == pytest.approx(day.solar, rel=1e-6)
    temp = weather.temp.reshape(-1, 24)
    assert (temp.max(axis=1) <= day.tmax + 1e-9).all()
    assert (temp[:, 12:18].max(axis=1) > day.tmax - 0.3).all()
    assert temp.min(axis=1)[1:-1] == pytest.approx(day.tmin[1:-1], abs=2.5)
    assert (weather.humidity <= 100.0).all()
    damp = weather.humidity.reshape(-1, 24)
    assert (damp[:, 5] > damp[:, 15]).all()


@pytest.mark.skipif(not RECORDS.is_dir(), reason="open data ../shared/data/soil_moisture not there")
def test_real_station() -> None:
    raw = read_uscrn_daily(RECORDS / "CRND0103_KS_Manhattan_6_SSW.csv.gz")
    assert raw.days[0] == np.datetime64("2003-09-30")
    assert 700 < np.nansum(raw.rain) / (raw.rain.size / 365.25) < 1000  # mm a year
    clean = estimate_missing(fill_short_gaps(screen_record(raw)))
    assert np.isnan(clean.rain).mean() < 0.02
    assert clean.humidity[np.isfinite(clean.humidity)].max() <= 100.0
