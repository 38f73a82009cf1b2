"""Reference ET against the output of the program Ref-ET, for the inputs that come with it.

The program takes clear-sky radiation of ASCE 2005 Appendix D, and judges cloudiness by the height
of the sun at the start of the hour; so do these comparisons. Days and hours whose inputs the
station itself marks as not recorded are left out (the program puts other values there).
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from readiness.atmosphere.air import saturation_pressure
from readiness.atmosphere.evapotranspiration import Surface, reference_et_daily, reference_et_hourly
from readiness.atmosphere.solar import (
    clear_sky_by_transmissivity,
    extraterrestrial_daily,
    extraterrestrial_hourly,
    mean_sine_of_elevation,
)
from readiness.atmosphere.weather import Array

#: Fallon, Nevada (its definition file) and Maricopa, Arizona: latitude, longitude, elevation m;
#: wind is measured at 3 m at both; hours are of UTC - 8.
FALLON = (39.4575, -118.77388, 1208.5)
MARICOPA = (33.069, 361.0)
WIND_HEIGHT = 3.0
MJ_PER_LANGLEY, M_S_PER_MPH, HOURS_BEHIND = 0.041868, 0.44704, 8


@dataclass(frozen=True, kw_only=True)
class EtComparison:
    """Root mean square and largest difference, in `unit`, over `steps` days or hours."""

    name: str
    unit: str
    rmse: float
    largest: float
    steps: int
    ours: Array
    theirs: Array


def program_output(path: Path) -> Array:
    """Rows of numbers of a Ref-ET output: those that begin with month, day and a year."""
    rows = []
    for line in path.read_text(encoding="latin-1").splitlines():
        parts = line.split()
        if len(parts) > 8 and parts[0].isdigit() and parts[1].isdigit() and len(parts[2]) == 4:
            rows.append([float(p) for p in parts])
    return np.array(rows)


def _check(name: str, unit: str, ours: Array, theirs: Array) -> EtComparison:
    error = (ours - theirs)[np.isfinite(ours)]
    return EtComparison(
        name=name,
        unit=unit,
        rmse=float(np.sqrt((error**2).mean())),
        ours=ours,
        theirs=theirs,
        largest=float(np.abs(error).max()),
        steps=int(error.size),
    )


def _table(path: Path) -> dict[str, Array]:
    table = pd.read_csv(path).apply(pd.to_numeric, errors="coerce")
    return {str(c): table[c].to_numpy(dtype=np.float64) for c in table}


def _celsius(fahrenheit: Array) -> Array:
    return np.asarray((fahrenheit - 32.0) / 1.8)


def _days(
    tmax: Array,
    tmin: Array,
    ea: Array,
    *,
    rs: Array,
    wind: Array,
    day: Array,
    place: tuple[float, float],
    surface: Surface,
) -> Array:
    latitude, elevation = place
    ra = extraterrestrial_daily(latitude, day)
    rso = clear_sky_by_transmissivity(ra, ea, elevation, mean_sine_of_elevation(latitude, day))
    return reference_et_daily(
        tmax,
        tmin,
        ea,
        rs=rs,
        wind=wind,
        day=day,
        latitude=latitude,
        elevation=elevation,
        wind_height=WIND_HEIGHT,
        surface=surface,
        rso=rso,
    )


def fallon_days(folder: Path) -> list[EtComparison]:
    """Fallon 2015, daily, tall and short reference."""
    t = _table(folder / "FALN_Agrimet_daily_raw_2015.csv")
    out = program_output(folder / "FALN_Agrimet_daily_raw_2015.out")
    facts = {
        "rs": t["SR"] * MJ_PER_LANGLEY,
        "wind": t["UA"] * M_S_PER_MPH,
        "day": np.arange(1.0, out.shape[0] + 1.0),
        "place": (FALLON[0], FALLON[2]),
    }
    ea = saturation_pressure(_celsius(t["YM"]))
    return [
        _check(
            f"daily, {surface}, Fallon NV",
            "mm/d",
            _days(_celsius(t["MX"]), _celsius(t["MN"]), ea, surface=surface, **facts),  # type: ignore[arg-type]
            out[:, column],
        )
        for surface, column in (("tall", 8), ("short", 9))
    ]


def maricopa_days(folder: Path) -> list[EtComparison]:
    """Maricopa 2003-2020, daily, tall and short reference."""
    t = _table(folder / "pyfao56_AZMET_Maricopa_RefET_2003_2020.csv")
    out = program_output(folder / "pyfao56_AZMET_Maricopa_RefET.out")
    facts = {"rs": t["Srad"], "wind": t["Wndsp"], "day": t["DOY"], "place": MARICOPA}
    ea = saturation_pressure(t["Tdew"])
    return [
        _check(
            f"daily, {surface}, Maricopa AZ",
            "mm/d",
            _days(t["Tmax"], t["Tmin"], ea, surface=surface, **facts),  # type: ignore[arg-type]
            out[:, column],
        )
        for surface, column in (("tall", 8), ("short", 9))
    ]


def fallon_hours(folder: Path) -> list[EtComparison]:
    """Fallon 2015, hourly, tall and short reference; hours are labelled by their end."""
    t = _table(folder / "FALN_Agrimet_hourly_raw_2015.csv")
    out = program_output(folder / "FALN_Agrimet_hourly_raw_2015.out")
    latitude, longitude, elevation = FALLON
    day, start = out[:, 3], t["HOUR"] - 1.0 + HOURS_BEHIND
    ra, middle = extraterrestrial_hourly(latitude, longitude, day, start)
    begin = extraterrestrial_hourly(latitude, longitude, day, start - 0.5)[1]
    ea = saturation_pressure(_celsius(t["TP"]))
    rso = clear_sky_by_transmissivity(ra, ea, elevation, np.sin(middle))
    surfaces: tuple[tuple[Surface, int], ...] = (("tall", 10), ("short", 11))
    return [
        _check(
            f"hourly, {surface}, Fallon NV",
            "mm/h",
            reference_et_hourly(
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
            ),
            out[:, column],
        )
        for surface, column in surfaces
    ]


def compare_reference_et(folder: Path) -> list[EtComparison]:
    """Every comparison whose files are in the folder."""
    found = []
    for name, check in (
        ("FALN_Agrimet_daily_raw_2015.csv", fallon_days),
        ("pyfao56_AZMET_Maricopa_RefET_2003_2020.csv", maricopa_days),
        ("FALN_Agrimet_hourly_raw_2015.csv", fallon_hours),
    ):
        if (folder / name).is_file():
            found += check(folder)
    return found
