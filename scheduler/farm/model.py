"""The farm as the planner sees it: SI inside, the user's own ids, nothing read from disk here."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import Literal
from zoneinfo import ZoneInfo

from scheduler.errors import FarmError

DailySpan = tuple[time, time]
Week = tuple[DailySpan | None, ...]  # seven entries, Monday first; None is shut all day


def require_positive(kind: str, name: str, **values: float | None) -> None:
    """Raise FarmError naming the first value that is not > 0."""
    for key, value in values.items():
        if value is not None and not value > 0:
            raise FarmError(f'{kind} "{name}": {key} must be > 0, got {value:g}')


@dataclass(frozen=True, kw_only=True)
class Combine:
    """A combine. Flow limit is the most grain it threshes (t/h); loaded_t with a full tank."""

    id: str
    header_m: float
    speed_kmh: float
    efficiency: float
    tank_m3: float
    unload_m3_s: float
    flow_t_h: float | None = None
    loaded_t: float = 25.0
    down: tuple[tuple[datetime, datetime], ...] = ()  # broken down from-until, UTC

    def __post_init__(self) -> None:
        require_positive("combine", self.id, header_m=self.header_m, speed_kmh=self.speed_kmh,
                 efficiency=self.efficiency, tank_m3=self.tank_m3, unload_m3_s=self.unload_m3_s,
                 flow_t_h=self.flow_t_h, loaded_t=self.loaded_t)  # fmt: skip
        if self.efficiency > 1:
            raise FarmError(
                f'combine "{self.id}": efficiency must be <= 1, got {self.efficiency:g}'
            )


@dataclass(frozen=True, kw_only=True)
class Cart:
    """A grain cart."""

    id: str
    capacity_m3: float
    unload_m3_s: float
    loaded_t: float = 30.0
    down: tuple[tuple[datetime, datetime], ...] = ()


@dataclass(frozen=True, kw_only=True)
class Truck:
    """A road truck. The payload limit (t) and the box volume both bind."""

    id: str
    capacity_m3: float
    payload_t: float
    loaded_kmh: float = 70.0
    empty_kmh: float = 80.0
    down: tuple[tuple[datetime, datetime], ...] = ()


@dataclass(frozen=True, kw_only=True)
class Crew:
    """People with a base make-up. `week` is working hours by weekday in farm time.

    Fixed crews keep exactly their machines; otherwise the plan may share machines out anew.
    """

    id: str
    combines: tuple[str, ...]
    carts: tuple[str, ...] = ()
    trucks: tuple[str, ...] = ()
    week: Week
    people: int
    fixed: bool = False
    hours_max_day: float = 14.0
    absent: tuple[date, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Schedule:
    """A step schedule: `steps` are (threshold, money per tonne) pairs with rising thresholds.

    For moisture the last step whose threshold is below the value binds; for test weight
    (kg/hL) the lowest threshold above the value binds. See `scheduler.costs.grain_value`.
    """

    steps: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, kw_only=True)
class Market:
    """What a delivery point pays for one crop, money per tonne."""

    price_t: float
    moisture_base_pct: float
    moisture_limit_pct: float  # loads above are turned away
    moisture_discount: Schedule = Schedule()  # money/t off at and above each moisture
    drying_t_point: float | None = None  # money per tonne and point of drying, where dried
    test_weight_discount: Schedule = Schedule()  # money/t off below each test weight (kg/hL)
    sprout_discount: Schedule = Schedule()  # money/t off above each sprouted fraction (0-1)
    shrink_pct_point: float | None = None  # None: water shrink by formula


@dataclass(frozen=True, kw_only=True)
class DeliveryPoint:
    """An elevator, a buyer or the farm's own bins (`own`)."""

    id: str
    lat: float | None
    lon: float | None
    week: Week
    markets: dict[str, Market]  # by crop
    queue_min: float = 15.0
    unload_min: float = 8.0
    distance_km: float | None = None  # from base, when there is no position
    capacity_t: float | None = None  # room, t of wheat; None is no limit
    closed: tuple[tuple[datetime, datetime], ...] = ()  # full or shut from-until, UTC
    own: bool = False


@dataclass(frozen=True, kw_only=True)
class Field:
    """A field. Moisture is percent wet basis, yield t/ha at market base moisture."""

    id: str
    name: str
    lat: float
    lon: float
    area_ha: float
    crop: str  # a key of readiness.grain.crops.CROPS
    spring: bool = False  # hard red spring wheat, as its name was entered
    variety: str = ""
    sand: float  # weight fraction 0-1
    clay: float
    organic_pct: float = 2.5
    texture: str = ""  # as entered, for the sheet
    drainage: str = "moderate"  # poor | moderate | good
    tile: bool = False
    slope_pct: float = 1.0
    residue: float = 0.5  # fraction of ground covered
    approach: Literal["paved", "gravel", "dirt"] = "gravel"
    yield_t_ha: float
    ripe: date | None = None
    heading: date | None = None
    sample_pct: float | None = None
    sample_at: datetime | None = None  # UTC
    test_weight_kg_hl: float | None = None
    purpose: Literal["grain", "seed"] = "grain"
    cut_fraction: float = 0.0
    boundary: tuple[tuple[float, float], ...] = ()  # (lon, lat) ring
    wet_fraction: float = 0.0  # share of area lying in a wet hollow, cut as a parcel of its own
    calibration: dict[str, float] = field(default_factory=dict)  # learnt offsets, by name

    def __post_init__(self) -> None:
        require_positive("field", self.id, area_ha=self.area_ha, yield_t_ha=self.yield_t_ha)


@dataclass(frozen=True, kw_only=True)
class Rules:
    """Limits and stop rules the user sets; None switches a rule off."""

    thresh_limit_pct: dict[str, float] = field(default_factory=dict)  # by crop; default per crop
    tough_allowed: bool = True  # may cut above the delivery limit where it can be dried
    fire_index_stop: float | None = None
    wind_stop_ms: float | None = None
    heat_index_stop_c: float | None = None
    lightning_stop: bool = True
    daylight_only: bool = False
    road_forbidden: tuple[DailySpan, ...] = ()  # no road moves, farm time
    objective: Literal["mean", "cautious"] = "mean"
    forecast_age_max_h: float = 48.0
    change_price: float = 50.0  # money for changing an order already given


@dataclass(frozen=True, kw_only=True)
class Moves:
    """Road and set-up times."""

    road_kmh: float = 28.0
    header_off_min: float = 10.0
    header_on_min: float = 10.0
    clean_variety_min: float = 15.0
    clean_crop_min: float = 30.0
    clean_seed_min: float = 90.0
    distances_km: dict[tuple[str, str], float] = field(default_factory=dict)  # given, by ids


@dataclass(frozen=True, kw_only=True)
class Farm:
    """The whole farm. `units` governs the edges only. Money is in `currency`."""

    name: str
    tz: ZoneInfo
    units: Literal["us", "metric"]
    currency: str = "$"
    base_lat: float
    base_lon: float
    crews: tuple[Crew, ...]
    combines: tuple[Combine, ...]
    carts: tuple[Cart, ...]
    trucks: tuple[Truck, ...]
    points: tuple[DeliveryPoint, ...]
    fields: tuple[Field, ...]
    rules: Rules = Rules()
    moves: Moves = Moves()
    losses: dict[str, dict[str, float]] = field(default_factory=dict)  # per crop, see money.LOSSES
    gauges: dict[str, tuple[float, float]] = field(default_factory=dict)  # id: (lat, lon)
    elevation_m: float = 300.0
