"""Readers, screens and gap policies of open records; days to hours."""

import gzip
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from readiness.atmosphere.solar import extraterrestrial_daily
from readiness.sources.daily_to_hourly import daily_to_hourly, estimate_missing
from readiness.sources.records import (
    DAILY01,
    HOURLY02,
    DailyRecord,
    Flag,
    RecordError,
    fill_short_gaps,
    read_gauge,
    read_ghcn_daily,
    read_uscrn_daily,
    read_uscrn_hourly,
    screen_record,
)

DATA = Path(__file__).parents[2] / "shared" / "data" / "soil_moisture"


def daily_line(day: str, **values: float) -> list[str]:
    """One row of daily01 in its own order; what is not named is missing."""
    row = dict.fromkeys(DAILY01, "-9999.0") | {
        name: "-99.000" for name in DAILY01 if "MOISTURE" in name
    }
    row |= {
        "WBANNO": "12345",
        "LST_DATE": day,
        "CRX_VN": "2.422",
        "LONGITUDE": "-97.50",
        "LATITUDE": "47.00",
        "SUR_TEMP_DAILY_TYPE": "C",
    }
    row |= {name: str(value) for name, value in values.items()}
    return [row[name] for name in DAILY01]


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


def test_wrong_file_is_told(tmp_path: Path) -> None:
    path = tmp_path / "CRND0103_XX.csv"
    path.write_text("WBANNO,LST_DATE\n1,20240101\n")
    with pytest.raises(RecordError, match=r"CRND0103_XX.csv: no column CRX_VN"):
        read_uscrn_daily(path)


def test_hourly_is_labelled_by_start(tmp_path: Path) -> None:
    row = dict.fromkeys(HOURLY02, "0") | {"UTC_DATE": "20240601", "UTC_TIME": "100"}
    row |= {
        "T_HR_AVG": "17.5",
        "P_CALC": "1.2",
        "SOLARAD": "310",
        "RH_HR_AVG": "64",
        "SOIL_MOISTURE_5": "0.287",
    }
    later = row | {"UTC_TIME": "300", "P_CALC": "-9999.0", "SOLARAD_FLAG": "3"}
    path = tmp_path / "CRNH0203-2024-XX.txt"
    path.write_text("\n".join(" ".join(r[c] for c in HOURLY02) for r in (row, later)) + "\n")
    weather, water = read_uscrn_hourly(path)
    assert weather.start == np.datetime64("2024-06-01T00", "h")
    assert weather.rain[0, 0].tolist()[0] == 1.2
    assert np.isnan(weather.rain[0, 0, 1:]).all()
    assert np.isnan(weather.radiation[0, 0, 2])  # flagged by the network
    assert water[0, 0] == 0.287


def test_ghcn_both_layouts(tmp_path: Path) -> None:
    access = tmp_path / "USW00000001.csv"
    access.write_text(
        '"STATION","DATE","LATITUDE","LONGITUDE","ELEVATION","NAME","PRCP","PRCP_ATTRIBUTES",'
        '"TMAX","TMAX_ATTRIBUTES"\n'
        '"USW00000001","2024-06-01","47.0","-97.5","300.0","NOWHERE","124",",,W","251",",,W"\n'
        '"USW00000001","2024-06-02","47.0","-97.5","300.0","NOWHERE","999",",X,W","263",",,W"\n'
    )
    one = read_ghcn_daily(access)
    assert one.rain[0] == pytest.approx(12.4)  # tenths of mm
    assert np.isnan(one.rain[1])  # failed NOAA's own check
    assert one.tmax.tolist() == pytest.approx([25.1, 26.3])
    assert one.elevation_m == 300.0
    long = tmp_path / "long.csv"
    long.write_text(
        "USW00000001,20240601,PRCP,124,,,W,\nUSW00000001,20240602,PRCP,999,,X,W,\n"
        "USW00000001,20240601,TMAX,251,,,W,\nUSW00000001,20240602,TMAX,263,,,W,\n"
    )
    same = read_ghcn_daily(long)
    assert np.array_equal(same.rain, one.rain, equal_nan=True)
    assert same.tmax.tolist() == pytest.approx(one.tmax.tolist())


def test_gauge(tmp_path: Path) -> None:
    path = tmp_path / "gauge.csv"
    path.write_text("date,rain_in\n2024-06-01,0.50\n2024-06-01,0.10\n2024-06-03,0\n")
    one = read_gauge(path)
    assert one.rain[0] == pytest.approx(15.24)
    assert np.isnan(one.rain[1])
    assert one.rain[2] == 0.0


def made(n: int = 40, seed: int = 0) -> DailyRecord:
    """A clean month and more of made-up days."""
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


def test_screens_flag_what_cannot_be() -> None:
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


def test_short_gaps_filled_long_ones_unknown() -> None:
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
    assert np.isnan(done.rain[8])  # next to a wet day nobody knows
    assert done.rain[30] == 0.0
    assert done.flags["rain"][30] == Flag.FILLED
    assert np.array_equal(fill_short_gaps(holes, policy="none").tmax, tmax, equal_nan=True)
    with pytest.raises(ValueError, match="policy must be 'short' or 'none'"):
        fill_short_gaps(holes, policy="all")


# published: FAO-56 eqs 48 and 50 and the world's mean wind of 2 m/s stand in, flagged
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


# law: hours add up to the days they came from, and stay between the day's extremes
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


@pytest.mark.skipif(not DATA.is_dir(), reason="open data ../shared/data/soil_moisture not there")
def test_real_station() -> None:
    raw = read_uscrn_daily(DATA / "CRND0103_KS_Manhattan_6_SSW.csv.gz")
    assert raw.days[0] == np.datetime64("2003-09-30")
    assert 700 < np.nansum(raw.rain) / (raw.rain.size / 365.25) < 1000  # mm a year
    clean = estimate_missing(fill_short_gaps(screen_record(raw)))
    assert np.isnan(clean.rain).mean() < 0.02
    assert clean.humidity[np.isfinite(clean.humidity)].max() <= 100.0
