"""Reference ET against the output of the program Ref-ET, for the inputs that come with it.

The program takes clear-sky radiation of ASCE 2005 Appendix D, and judges cloudiness by the
elevation of the sun at the start of the hour; so do these comparisons. They leave out days and
hours whose inputs the station marks as not recorded (the program puts other values there).
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from readiness.atmosphere.air import saturation_pressure
from readiness.atmosphere.evapotranspiration import (
    Surface,
    reference_et_daily,
    reference_et_hourly,
)
from readiness.atmosphere.solar import (
    clear_sky_by_transmissivity,
    extraterrestrial_daily,
    extraterrestrial_hourly,
    mean_sine_of_elevation,
)
from readiness.atmosphere.weather import Array

#: Fallon, Nevada (its definition file): latitude, longitude, elevation, m.
FALLON = (39.4575, -118.77388, 1208.5)
#: Maricopa, Arizona: latitude, elevation, m.
MARICOPA = (33.069, 361.0)
#: Height of the wind sensors of both stations, m.
WIND_HEIGHT = 3.0
#: Hours by which the local time of Fallon's files lags UTC.
HOURS_BEHIND_UTC = 8
MJ_PER_LANGLEY, M_S_PER_MPH = 0.041868, 0.44704
#: Column of each surface in the program's daily and hourly output.
DAILY_COLUMNS: tuple[tuple[Surface, int], ...] = (("tall", 8), ("short", 9))
HOURLY_COLUMNS: tuple[tuple[Surface, int], ...] = (("tall", 10), ("short", 11))


@dataclass(frozen=True, kw_only=True)
class EtComparison:
    """Root mean square and largest difference, in `unit`, over `steps` days or hours."""

    name: str
    unit: str
    rmse: float
    largest: float
    steps: int
    modelled: Array
    published: Array


@dataclass(frozen=True, kw_only=True)
class DailyInputs:
    """Inputs of daily reference ET, (day,): °C, kPa, MJ/m², m/s; day of the year; degrees, m."""

    tmax: Array
    tmin: Array
    ea: Array
    rs: Array
    wind: Array
    day: Array
    latitude: float
    elevation: float


def program_output(path: Path) -> Array:
    """Rows of numbers of a Ref-ET output: the lines that begin with month, day and a year."""
    rows = []
    for line in path.read_text(encoding="latin-1").splitlines():
        parts = line.split()
        if len(parts) > 8 and parts[0].isdigit() and parts[1].isdigit() and len(parts[2]) == 4:
            rows.append([float(p) for p in parts])
    return np.array(rows)


def _compared(name: str, unit: str, modelled: Array, published: Array) -> EtComparison:
    """Comparison over the steps whose modelled value is known."""
    error = (modelled - published)[np.isfinite(modelled)]
    return EtComparison(
        name=name,
        unit=unit,
        rmse=float(np.sqrt((error**2).mean())),
        largest=float(np.abs(error).max()),
        steps=int(error.size),
        modelled=modelled,
        published=published,
    )


def _columns(path: Path) -> dict[str, Array]:
    """Columns of a CSV file as numbers; NaN where a cell is no number."""
    table = pd.read_csv(path).apply(pd.to_numeric, errors="coerce")
    return {str(c): table[c].to_numpy(dtype=np.float64) for c in table}


def _celsius(fahrenheit: Array) -> Array:
    return np.asarray((fahrenheit - 32.0) / 1.8)


def _daily_et(inputs: DailyInputs, surface: Surface) -> Array:
    """Reference ET, mm/d, with the clear sky of ASCE 2005 Appendix D."""
    latitude, elevation = inputs.latitude, inputs.elevation
    ra = extraterrestrial_daily(latitude, inputs.day)
    sine = mean_sine_of_elevation(latitude, inputs.day)
    return reference_et_daily(
        inputs.tmax,
        inputs.tmin,
        inputs.ea,
        rs=inputs.rs,
        wind=inputs.wind,
        day=inputs.day,
        latitude=latitude,
        elevation=elevation,
        wind_height=WIND_HEIGHT,
        surface=surface,
        rso=clear_sky_by_transmissivity(ra, inputs.ea, elevation, sine),
    )


def _daily_comparisons(place: str, inputs: DailyInputs, output: Array) -> list[EtComparison]:
    """Comparisons of both surfaces."""
    return [
        _compared(
            f"daily, {surface}, {place}", "mm/d", _daily_et(inputs, surface), output[:, column]
        )
        for surface, column in DAILY_COLUMNS
    ]


def fallon_days(folder: Path) -> list[EtComparison]:
    """Fallon 2015, daily."""
    t = _columns(folder / "FALN_Agrimet_daily_raw_2015.csv")
    output = program_output(folder / "FALN_Agrimet_daily_raw_2015.out")
    inputs = DailyInputs(
        tmax=_celsius(t["MX"]),
        tmin=_celsius(t["MN"]),
        ea=saturation_pressure(_celsius(t["YM"])),
        rs=t["SR"] * MJ_PER_LANGLEY,
        wind=t["UA"] * M_S_PER_MPH,
        day=np.arange(1.0, output.shape[0] + 1.0),
        latitude=FALLON[0],
        elevation=FALLON[2],
    )
    return _daily_comparisons("Fallon NV", inputs, output)


def maricopa_days(folder: Path) -> list[EtComparison]:
    """Maricopa 2003-2020, daily."""
    t = _columns(folder / "pyfao56_AZMET_Maricopa_RefET_2003_2020.csv")
    output = program_output(folder / "pyfao56_AZMET_Maricopa_RefET.out")
    inputs = DailyInputs(
        tmax=t["Tmax"],
        tmin=t["Tmin"],
        ea=saturation_pressure(t["Tdew"]),
        rs=t["Srad"],
        wind=t["Wndsp"],
        day=t["DOY"],
        latitude=MARICOPA[0],
        elevation=MARICOPA[1],
    )
    return _daily_comparisons("Maricopa AZ", inputs, output)


def fallon_hours(folder: Path) -> list[EtComparison]:
    """Fallon 2015, hourly; its files label an hour by its end."""
    t = _columns(folder / "FALN_Agrimet_hourly_raw_2015.csv")
    output = program_output(folder / "FALN_Agrimet_hourly_raw_2015.out")
    latitude, longitude, elevation = FALLON
    day, start = output[:, 3], t["HOUR"] - 1.0 + HOURS_BEHIND_UTC
    ra, middle = extraterrestrial_hourly(latitude, longitude, day, start)
    _, begin = extraterrestrial_hourly(latitude, longitude, day, start - 0.5)
    ea = saturation_pressure(_celsius(t["TP"]))
    rso = clear_sky_by_transmissivity(ra, ea, elevation, np.sin(middle))

    def hourly_et(surface: Surface) -> Array:
        return reference_et_hourly(
            _celsius(t["OB"]),
            ea,
            t["SI"] * MJ_PER_LANGLEY,
            wind=t["WS"] * M_S_PER_MPH,
            ra=ra,
            height=begin,
            elevation=elevation,
            wind_height=WIND_HEIGHT,
            surface=surface,
            rso=rso,
        )

    return [
        _compared(f"hourly, {surface}, Fallon NV", "mm/h", hourly_et(surface), output[:, column])
        for surface, column in HOURLY_COLUMNS
    ]


def compare_reference_et(folder: Path) -> list[EtComparison]:
    """Every comparison whose files are in the folder."""
    comparisons = []
    for name, compare in (
        ("FALN_Agrimet_daily_raw_2015.csv", fallon_days),
        ("pyfao56_AZMET_Maricopa_RefET_2003_2020.csv", maricopa_days),
        ("FALN_Agrimet_hourly_raw_2015.csv", fallon_hours),
    ):
        if (folder / name).is_file():
            comparisons += compare(folder)
    return comparisons
