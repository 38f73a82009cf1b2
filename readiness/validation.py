"""The model against records nobody here made: what `afterrain validate` computes.

Parameters are fitted on years up to `LAST_TRAINING` only; everything said 'tested' is after. The
stations stand under grass, their wind is unknown (2 m/s) and so is their texture (loam).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields, replace
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from readiness.bearing import water_limits
from readiness.calibrate import Calibration, calibrate, depth_weights, probe_days
from readiness.diurnal import daily_to_hourly, estimated
from readiness.et import weather_et
from readiness.et_checks import EtCheck, et_checks
from readiness.grain_events import grain_checks
from readiness.records import DEPTHS, Daily, filled, read_uscrn_daily, screened
from readiness.soil import Land
from readiness.suitable_days import state_weeks
from readiness.water import run_water
from readiness.weather import Array, Weather

LAST_TRAINING = 2016
#: Months compared, April to October.
MONTHS = (4, 10)
#: Grass: basal coefficient dormant and full (FAO-56 Table 17, grazing pasture 0.30-1.00; dormant as
#: bare), and the 20-day mean temperatures between which it greens (cool- and warm-season grasses
#: begin near 5 °C; full growth near 20 °C; assumed).
GRASS_DORMANT, GRASS_FULL = 0.15, 0.80
GREENING, GREENING_DAYS = (5.0, 20.0), 20
#: Sod and litter shade the ground all year: residue 1, and evaporation a further 0.4 of FAO-56's
#: half; assumed.
SOD: Mapping[str, float] = {"residue": 1.0, "evap_factor": 0.4}
#: Years of the record before the first soil moisture that warm the model up.
WARM_UP_DAYS = 730
#: Water of 0-15 cm: shares of the 5 cm (0-7.5) and 10 cm (7.5-15) probes.
PROBES = (5, 10)
CART_T, COMBINE_T = 30.0, 20.0


@dataclass(frozen=True, kw_only=True)
class Row:
    """One line of the table: a target and what was reached; `met` is None where data lack."""

    what: str
    target: str
    reached: str
    met: bool | None


@dataclass(frozen=True, kw_only=True)
class Station:
    """A station ready to run: days, their hours, ET and cover."""

    daily: Daily
    weather: Weather
    eto: Array
    kcb: Array  # (1, hour)

    @property
    def year(self) -> NDArray[np.int64]:
        """Year of each day."""
        return self.daily.days.astype("datetime64[Y]").astype(np.int64) + 1970

    @property
    def compared(self) -> NDArray[np.bool_]:
        """Days within `MONTHS`."""
        month = self.daily.days.astype("datetime64[M]").astype(np.int64) % 12 + 1
        return np.asarray((month >= MONTHS[0]) & (month <= MONTHS[1]))

    def land(self) -> Land:
        """Loam under sod: what is known without looking."""
        return Land.of(
            1, latitude=self.daily.latitude, longitude=self.daily.longitude,
            elevation_m=400.0 if np.isnan(self.daily.elevation_m) else self.daily.elevation_m,
            **SOD,
        )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Score:
    """Agreement of a model with what was seen: r, unbiased RMSE, bias, days."""

    r: float
    unbiased: float
    bias: float
    days: int


def score(model: Array, seen: Array, days: NDArray[np.bool_] | None = None) -> Score:
    """Pearson r, unbiased root mean square error and bias over days where both are known."""
    both = np.isfinite(model) & np.isfinite(seen)
    both = both if days is None else both & days
    a, b = model[both], seen[both]
    if a.size < 3 or a.std() == 0.0 or b.std() == 0.0:
        return Score(r=np.nan, unbiased=np.nan, bias=np.nan, days=int(a.size))
    return Score(
        r=float(np.corrcoef(a, b)[0, 1]),
        unbiased=float((a - b).std()),
        bias=float((a - b).mean()),
        days=int(a.size),
    )


def grass_kcb(daily: Daily) -> Array:
    """Basal crop coefficient of grass by day, from the mean temperature of the days before."""
    mean = 0.5 * (daily.tmax + daily.tmin)
    known = np.flatnonzero(np.isfinite(mean))
    if not known.size:
        return np.full(mean.size, GRASS_FULL)
    mean = np.interp(np.arange(mean.size), known, mean[known])
    running = np.convolve(mean, np.ones(GREENING_DAYS) / GREENING_DAYS)[: mean.size]
    green = np.clip((running - GREENING[0]) / (GREENING[1] - GREENING[0]), 0.0, 1.0)
    return np.asarray(GRASS_DORMANT + (GRASS_FULL - GRASS_DORMANT) * green)


def station(daily: Daily) -> Station:
    """Screen, fill, estimate, spread over hours and cut to the years that matter."""
    clean = estimated(filled(screened(daily)))
    weather = daily_to_hourly(clean)
    seen = np.flatnonzero(np.isfinite(clean.soil_water).any(axis=0))
    first = max(0, int(seen[0]) - WARM_UP_DAYS) if seen.size else 0
    last = min(clean.tmax.size, int(seen[-1]) + 365) if seen.size else clean.tmax.size
    clean = _cut(clean, first, last)
    hour = np.timedelta64(24, "h")
    weather = weather.between(weather.start + first * hour, weather.start + last * hour)
    land = Land.of(1, latitude=daily.latitude, longitude=daily.longitude)
    eto = weather_et(weather, land.latitude, land.longitude, land.elevation_m)
    return Station(daily=clean, weather=weather, eto=eto, kcb=np.repeat(grass_kcb(clean), 24)[None])


def _cut(daily: Daily, first: int, last: int) -> Daily:
    cut = {
        f.name: getattr(daily, f.name)[..., first:last]
        for f in fields(daily)
        if isinstance(getattr(daily, f.name), np.ndarray)
    }
    flags = {name: values[first:last] for name, values in daily.flags.items()}
    return replace(daily, first=daily.first + first, flags=flags, **cut)


def readings(folder: Path) -> list[Daily]:
    """Stations of a folder of daily01 files; a station's files of single years join."""
    groups: dict[str, list[Path]] = {}
    for path in sorted(folder.glob("CRN*")):
        name = path.name.removesuffix(".gz").rsplit(".", 1)[0]
        groups.setdefault(re.sub(r"^CRND0103[-_](\d{4}-)?", "", name), []).append(path)
    return [read_uscrn_daily(paths) for paths in groups.values()]


def daily_water(one: Station, land: Land, *, vigour: float = 1.0) -> Array:
    """Daily mean water (layer, day) of a run over the whole record."""
    theta = run_water(one.weather, land, kcb=one.kcb * vigour, eto=one.eto)[0][0, 0]
    return np.asarray(theta.reshape(theta.shape[0], -1, 24).mean(axis=2))


def learnt(one: Station) -> Calibration | None:
    """Calibration from the probes up to `LAST_TRAINING`; None where there is nothing to learn."""
    days = one.compared & (one.year <= LAST_TRAINING)
    parts = []
    for number, depth in enumerate(PROBES):
        reading = np.where(days, one.daily.soil_water[DEPTHS.index(depth)], np.nan)
        parts.append(probe_days(reading, 0, depth_m=depth / 100.0, probe=number))
    seen = parts[0]
    for more in parts[1:]:
        seen = seen.then(more)
    if seen.hour.size < 60 or not all(p.hour.size for p in parts):
        return None
    learn = ("sand", "clay", "drain_factor", "evap_factor", "vigour")
    return calibrate(one.weather, one.land(), seen, kcb=one.kcb, eto=one.eto, learn=learn)


@dataclass(frozen=True, kw_only=True)
class Soil:
    """One station's results: readings and runs by depth in cm, scores by name, wet and dry days."""

    name: str
    days: NDArray[np.datetime64]
    seen: Mapping[int, Array]
    guessed: Mapping[int, Array]
    fitted: Mapping[int, Array]
    scores: Mapping[str, Score]
    by_year: Mapping[int, Score]
    wet_seen: Array  # 1 wet, 0 dry, NaN not known or not tested
    wet_model: Array
    calibration: Calibration | None
    fitted_top: Array


def soil_results(one: Station) -> Soil:
    """Run a station without and with calibration and score it."""
    daily, plain = one.daily, daily_water(one, one.land())
    tested = one.compared & (one.year > LAST_TRAINING)
    seen = {d: daily.soil_water[DEPTHS.index(d)] for d in PROBES}
    guessed = {d: depth_weights(d / 100.0) @ plain for d in PROBES}
    scores = {f"{d} cm, no calibration": score(guessed[d], seen[d], one.compared) for d in PROBES}
    fit, fitted = learnt(one), {}
    nothing = np.full(daily.tmax.size, np.nan)
    top = nothing.copy()
    wet_seen, wet_model = nothing, nothing.copy()
    by_year: dict[int, Score] = {}
    if fit is not None:
        theta = daily_water(one, fit.land, vigour=fit.vigour)
        for number, d in enumerate(PROBES):
            fitted[d] = fit.probe(number, depth_weights(d / 100.0) @ theta)
            scores[f"{d} cm, calibrated, trained"] = score(
                fitted[d], seen[d], one.compared & ~tested
            )
            scores[f"{d} cm, calibrated, tested"] = score(fitted[d], seen[d], tested)
        top = (theta[0] + 2.0 * theta[1]) / 3.0
        wet_seen, wet_model = wet_days(fit, top, seen, days=(one.compared & ~tested, tested))
        for year in np.unique(one.year[tested]):
            by_year[int(year)] = score(fitted[5], seen[5], tested & (one.year == year))
    return Soil(
        name=daily.name, days=daily.days, seen=seen, guessed=guessed, fitted=fitted,
        scores=scores, by_year=by_year, wet_seen=wet_seen, wet_model=wet_model,
        calibration=fit, fitted_top=top,
    )  # fmt: skip


def wet_days(
    fit: Calibration,
    top: Array,
    seen: Mapping[int, Array],
    *,
    days: tuple[NDArray[np.bool_], NDArray[np.bool_]],
) -> tuple[Array, Array]:
    """Whether 0-15 cm is above the bearing limit for a loaded cart, as seen and as modelled.

    The limit is that of the learnt soil. The model's own limit is shifted, as ground checks would
    shift it, to where in the training days it misses as large a share of wet days as it wrongly
    warns of dry ones.

    Parameters
    ----------
    top : model's water of 0-15 cm. days : those of training and those tested.
    """
    land = fit.land
    limit = water_limits(
        land.field_capacity, land.saturation, sand=land.sand, clay=land.clay,
        combine_t=COMBINE_T, cart_t=CART_T, offset=np.zeros(1),
    ).firm_top[0]  # fmt: skip
    told = sum((seen[d] - fit.offset[k]) / fit.gain[k] for k, d in enumerate(PROBES)) / len(PROBES)
    known = np.isfinite(told) & np.isfinite(top)
    train, tested = (known & d for d in days)
    own = _even_limit(told[train] > limit, top[train], limit)
    return np.where(tested, told > limit, np.nan), np.where(tested, top > own, np.nan)


def _even_limit(wet: NDArray[np.bool_], top: Array, limit: float) -> float:
    """Model's water at which missed and false shares are equal; `limit` where nothing tells."""
    if wet.all() or not wet.any():
        return float(limit)
    tries = np.quantile(top, np.linspace(0.01, 0.99, 197))
    alarm = top[None] > tries[:, None]
    missed, false = 1.0 - alarm[:, wet].mean(axis=1), alarm[:, ~wet].mean(axis=1)
    return float(tries[np.argmin(np.abs(missed - false))])


def hits(results: Iterable[Soil]) -> dict[str, int]:
    """Days of the tested years, pooled: hit, missed, false alarm, rightly dry."""
    out = {"hit": 0, "missed": 0, "false alarm": 0, "rightly dry": 0}
    for one in results:
        seen, model = one.wet_seen, one.wet_model
        for name, a, b in (
            ("hit", 1, 1), ("missed", 1, 0), ("false alarm", 0, 1), ("rightly dry", 0, 0)
        ):  # fmt: skip
            out[name] += int(((seen == a) & (model == b)).sum())
    return out


def _median(results: Sequence[Soil], name: str) -> tuple[float, float, int]:
    found = [r.scores[name] for r in results if name in r.scores]
    found = [s for s in found if np.isfinite(s.r)]
    if not found:
        return np.nan, np.nan, 0
    return (
        float(np.median([s.r for s in found])),
        float(np.median([s.unbiased for s in found])),
        len(found),
    )


#: Lines of soil moisture: score, least r and most unbiased RMSE.
SOIL_TARGETS = (
    ("5 cm, no calibration", "soil moisture 5 cm, Apr-Oct, no calibration, loam", 0.76, 0.048),
    ("5 cm, calibrated, tested", "5 cm, calibrated up to 2016, tested after", 0.85, 0.040),
    ("10 cm, calibrated, tested", "10 cm, calibrated up to 2016, tested after", 0.85, 0.037),
)
HIT_LEAST, FALSE_MOST = 0.85, 0.15


def soil_rows(results: Sequence[Soil]) -> list[Row]:
    """Lines of soil moisture and of wet and dry days."""
    rows = []
    for name, what, least, most in SOIL_TARGETS:
        r, unbiased, n = _median(results, name)
        rows.append(
            Row(
                what=what,
                target=f"median r >= {least:.2f}, unbiased RMSE <= {most:.3f} m³/m³",
                reached=f"r {r:.3f}, {unbiased:.4f} m³/m³ ({n} stations)" if n else "no data",
                met=(r >= least and unbiased <= most) if n else None,
            )
        )
    return [*rows, _hit_row(hits(results))]


def _hit_row(count: Mapping[str, int]) -> Row:
    wet, dry = count["hit"] + count["missed"], count["false alarm"] + count["rightly dry"]
    target = f"hit rate >= {HIT_LEAST:.2f}, false alarms <= {FALSE_MOST:.2f} of dry days"
    what = "wet or dry, top 15 cm at the bearing limit, tested years"
    if not wet or not dry:
        return Row(what=what, target=target, reached="no data", met=None)
    hit, false = count["hit"] / wet, count["false alarm"] / dry
    alarms = count["false alarm"] / max(count["hit"] + count["false alarm"], 1)
    return Row(
        what=what, target=target, met=hit >= HIT_LEAST and false <= FALSE_MOST,
        reached=f"{hit:.2f}, {false:.2f} ({wet} wet, {dry} dry days; "
                f"{alarms:.2f} of the alarms are false)",
    )  # fmt: skip


#: Days suitable: least r and largest RMSE; reference ET: largest RMSE by the unit of its step.
WEEKS_R, WEEKS_RMSE = 0.80, 0.9
ET_MOST = {"mm/d": 0.05, "mm/h": 0.01}


def week_row(weeks: pd.DataFrame) -> Row:
    """Line of days suitable for fieldwork."""
    what = "days suitable per state-week, Apr-20 Oct, nothing fitted on them"
    target = f"r >= {WEEKS_R:.2f}, RMSE <= {WEEKS_RMSE:.1f} d"
    if len(weeks) < 3:
        return Row(what=what, target=target, reached="no data", met=None)
    model, seen = weeks["modelled"].to_numpy(), weeks["reported"].to_numpy()
    r = float(np.corrcoef(model, seen)[0, 1])
    error = model - seen
    rmse = float(np.sqrt(np.mean(error**2)))
    return Row(
        what=what, target=target, met=r >= WEEKS_R and rmse <= WEEKS_RMSE,
        reached=f"r {r:.3f}, {rmse:.2f} d, bias {error.mean():+.2f} d ({len(weeks)} weeks)",
    )  # fmt: skip


def et_rows(checks: Iterable[EtCheck]) -> list[Row]:
    """Lines of reference ET."""
    return [
        Row(
            what=f"reference ET, {c.name}", target=f"RMSE <= {ET_MOST[c.unit]:g} {c.unit}",
            reached=f"{c.rmse:.4f} {c.unit} (largest {c.largest:.3f}, {c.steps} steps)",
            met=c.rmse <= ET_MOST[c.unit],
        )
        for c in checks
    ]  # fmt: skip


def grain_rows() -> list[Row]:
    """Lines of grain: published rates and events."""
    return [
        Row(
            what=f"grain: {c.name}", target=f"{c.low:g} to {c.high:g} {c.unit} ({c.source})",
            reached=f"{c.value:.2f} {c.unit}", met=c.holds,
        )
        for c in grain_checks()
    ]  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Validation:
    """Everything computed from a data folder."""

    rows: list[Row]
    soils: list[Soil]
    weeks: pd.DataFrame
    et: list[EtCheck]


def validate(folder: Path, *, workers: int = 2) -> Validation:
    """Compute every line for which the folder holds records.

    Parameters
    ----------
    folder : with any of `soil_moisture` (daily01 files), `days_suitable` (CSV) and
        `reference_et`.
    """
    with ThreadPoolExecutor(workers) as pool:
        sites = list(pool.map(station, readings(folder / "soil_moisture")))
        soils = list(pool.map(soil_results, sites))
    weeks = state_weeks(sites, soils, reports(folder / "days_suitable"))
    checks = et_checks(folder / "reference_et")
    rows = [*soil_rows(soils), week_row(weeks), *et_rows(checks), *grain_rows()]
    return Validation(rows=rows, soils=soils, weeks=weeks, et=checks)


def reports(folder: Path) -> pd.DataFrame:
    """Every weekly report of the folder's CSV files."""
    tables = [pd.read_csv(path) for path in sorted(folder.glob("*.csv"))]
    columns = ["state", "week_ending", "days_suitable"]
    return pd.concat(tables)[columns] if tables else pd.DataFrame(columns=columns)
