"""Past seasons on GHCN-Daily records: rain and two temperatures stand for the whole weather.

Stations of the U.S. Climate Reference Network (NOAA) measure humidity and radiation too. Their
rain and temperatures, written as a GHCN-Daily station file, give the season that a farm sees which
has no better record near; the full record gives the season to compare with.
"""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from places import DATA, SAMPLE

from readiness.atmosphere.weather import HOUR
from readiness.season.codes import Reason
from readiness.sources.daily_record import Flag
from readiness.sources.daily_to_hourly import hourly_records
from readiness.sources.quality_screens import fill_short_gaps, screen_record
from readiness.sources.station_file import read_station_file
from readiness.sources.uscrn import read_uscrn_daily
from scheduler.farm.slots import utc_hour
from scheduler.farm_files.folder import read_farm
from scheduler.simulation.past_season import (
    START_AFTER,
    complete_years,
    past_season,
    simulate_fields,
)
from scheduler.simulation.station_farm import farm_at_station, hollows_as_fields

RECORDS = DATA / "soil_moisture"
pytestmark = pytest.mark.skipif(
    not RECORDS.is_dir(), reason="open data ../shared/data/soil_moisture not there"
)
#: Moisture, percent, beyond which nobody cuts, by however much.
SOAKED = 25.0
HEADER = "STATION,DATE,LATITUDE,LONGITUDE,ELEVATION,PRCP,PRCP_ATTRIBUTES,TMAX,TMIN"


@cache
def farm():
    whole = read_farm(SAMPLE)
    return replace(whole, fields=whole.fields[:6])


def as_ghcn(daily, path):
    """Read back the rain and temperatures of a record, written as a GHCN-Daily station file."""

    def tenths(value):
        return "" if np.isnan(value) else str(round(10.0 * value))

    place = f"{daily.latitude},{daily.longitude},-999.9"
    columns = zip(daily.days, daily.rain, daily.tmax, daily.tmin, strict=True)
    rows = [
        f'X,{day},{place},{tenths(rain)},",,W",{tenths(tmax)},{tenths(tmin)}'
        for day, rain, tmax, tmin in columns
    ]
    path.write_text("\n".join([HEADER, *rows]) + "\n")
    return read_station_file(path)


def measured_years(daily, years):
    """Years since 2010 whose summer has measured humidity and radiation on 95 % of days."""
    clean = fill_short_gaps(screen_record(daily))
    out = []
    for year in (y for y in years if y >= 2010):
        summer = (daily.days >= np.datetime64(f"{year}-05-01")) & (
            daily.days < np.datetime64(f"{year}-10-01")
        )
        missing = [np.isnan(getattr(clean, n))[summer].mean() for n in ("humidity", "solar")]
        if max(missing) <= 0.05:
            out.append(year)
    return out


def season(records, daily, year):
    """Hours a day and field that are open or shut by straw alone, mean grain moisture in percent,
    and open hours, of 40 days of harvest.
    """
    there = hollows_as_fields(farm_at_station(farm(), daily, year))
    ripe = min(f.ripe for f in there.fields)
    first = np.datetime64(ripe, "h") + (24 * START_AFTER + 12) * HOUR
    spin = records.between(first - 90 * 24 * HOUR, first)
    out = simulate_fields(
        there,
        records.between(first, first + 40 * 24 * HOUR),
        simulate_fields(there, spin, None).end,
    )
    opened = out.reason == Reason.OPEN
    fit = opened | (out.reason == Reason.STRAW)
    return fit.mean() * 24.0, np.nanmean(np.minimum(out.moisture, SOAKED)), opened.mean() * 24.0


def test_a_ghcn_file_becomes_a_past_season(tmp_path):
    full = read_uscrn_daily(RECORDS / "CRND0103_ND_Jamestown_38_WSW.csv.gz")
    bare = as_ghcn(full, tmp_path / "station.csv")
    records = hourly_records(bare)
    years = complete_years(farm(), bare, records)
    assert years == complete_years(farm(), full, hourly_records(full))
    assert len(years) >= 10
    assert (bare.flags["humidity"] == Flag.MISSING).all()
    assert records.estimated[np.isfinite(records.temp)].all()
    past = past_season(farm(), bare, records, years[-1])
    assert past.weather.times[0] == utc_hour(past.morning(0))
    assert np.isfinite(past.season.moisture).all()
    assert 0.1 < (past.season.reason == Reason.OPEN).mean() < 0.9


@pytest.mark.slow
def test_seasons_of_three_elements_are_like_those_of_the_full_record(tmp_path):
    """Open hours a day and grain moisture of both records, by station and over its years.

    Measured: hours open but for straw differ by 0.1 h a day on average over stations, by 1.4 h at a
    station (at most 3.1 h); moisture up to 25 % by -0.3 points on average and 0.7 at a station.
    Hours of the years of a station correlate by 0.92, moisture by 0.95. Straw follows the humidity,
    an estimate here: open hours differ by 1.6 h at a station (at most 4.8 h) and correlate by 0.90,
    at least by 0.68.
    """
    offsets, likeness = [], []
    for path in sorted(RECORDS.glob("CRND0103_*.csv.gz")):
        full = read_uscrn_daily(path)
        bare = as_ghcn(full, tmp_path / "station.csv")
        whole, three = hourly_records(full), hourly_records(bare)
        years = measured_years(full, complete_years(farm(), full, whole))
        found, expected = (np.array([season(r, full, y) for y in years]) for r in (three, whole))
        offsets.append((found - expected).mean(axis=0))
        likeness.append([np.corrcoef(found[:, i], expected[:, i])[0, 1] for i in range(3)])
    hours, moisture, with_straw = np.array(offsets).T
    print(
        np.round(hours, 2),
        np.round(with_straw, 2),
        np.abs(hours).mean(),
        np.abs(with_straw).mean(),
        np.mean(likeness, axis=0),
        np.min(likeness, axis=0),
        moisture,
    )
    assert len(hours) == 16
    assert hours.mean() == pytest.approx(0.0, abs=0.5)
    assert np.abs(hours).mean() < 1.5
    assert np.abs(hours).max() < 3.2
    assert moisture.mean() == pytest.approx(0.0, abs=0.3)
    assert np.abs(moisture).mean() < 1.0
    assert np.abs(moisture).max() < 2.5
    assert np.abs(with_straw).mean() < 1.8
    assert np.abs(with_straw).max() < 4.9
    alike = np.mean(likeness, axis=0)
    assert alike[:2].min() > 0.9
    assert alike[2] > 0.85
    assert np.min([pair[:2] for pair in likeness]) > 0.75
    assert np.min(likeness) > 0.6
