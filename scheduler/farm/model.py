"""The farm as the planner sees it: SI inside, the user's own ids, nothing read from disk here.

Fractions lie in 0-1, percentages in 0-100. Latitude and longitude are decimal degrees, WGS 84,
north and east positive. Times without a date are farm time; datetimes are aware, UTC.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time
from functools import cached_property
from typing import Literal
from zoneinfo import ZoneInfo

from readiness.soil.running_gear import (
    FRONT_SHARE,
    USUAL_TRUCK_T,
    Gear,
    GroundLoad,
    ground_load,
)
from scheduler.errors import FarmError
from scheduler.language.translation import SOURCE

#: Hours of a day, from-until in farm time; until before from runs past midnight.
DailySpan = tuple[time, time]
#: Seven entries, Monday first; None is shut all day.
Week = tuple[DailySpan | None, ...]
#: From-until, UTC.
Interval = tuple[datetime, datetime]
#: Begin of an interval that nothing begins, and end of an interval that nothing ends.
LONG_AGO, OPEN_ENDED = datetime(1900, 1, 1, tzinfo=UTC), datetime(2200, 1, 1, tzinfo=UTC)
#: Latitude and longitude, decimal degrees.
Position = tuple[float, float]
#: Surface of the way into a field.
Approach = Literal["paved", "gravel", "dirt"]
#: Grain for sale, or seed, which asks for a clean combine.
Purpose = Literal["grain", "seed"]


def require_positive(kind: str, name: str, **values: float | None) -> None:
    """Raise FarmError at the first value that is not > 0; None passes."""
    for key, value in values.items():
        if value is not None and not value > 0:
            raise FarmError(f'{kind} "{name}": {key} must be > 0, got {value:g}')


@dataclass(frozen=True, kw_only=True)
class Machine:
    """A machine of the farm.

    Attributes
    ----------
    id : the user's own id.
    down : intervals in which it is broken down.
    joins, leaves : when it comes to the farm and when it goes; None where it is there before, or
        stays.
    """

    id: str
    down: tuple[Interval, ...] = ()
    joins: datetime | None = None
    leaves: datetime | None = None

    @property
    def elsewhere(self) -> tuple[Interval, ...]:
        """Intervals in which it is not on the farm."""
        before = () if self.joins is None else ((LONG_AGO, self.joins),)
        return before if self.leaves is None else (*before, (self.leaves, OPEN_ENDED))

    @property
    def unavailable(self) -> tuple[Interval, ...]:
        """Intervals in which it is broken down or not on the farm."""
        return (*self.down, *self.elsewhere)


@dataclass(frozen=True, kw_only=True)
class CropHeader:
    """What a combine does in one crop; None where it is as in the others.

    Attributes as in `Combine`.
    """

    crop: str
    header_m: float | None = None
    speed_kmh: float | None = None
    efficiency: float | None = None


@dataclass(frozen=True, kw_only=True)
class Combine(Machine):
    """A combine.

    Attributes
    ----------
    header_m : working width of the header, m, > 0.
    speed_kmh : ground speed while cutting, km/h, > 0.
    efficiency : field efficiency, 0-1, > 0.
    tank_m3 : grain tank, m³, > 0.
    unload_m3_s : unloading rate, m³/s, > 0.
    by_crop : headers, speeds and efficiencies of crops in which they differ.
    pickup_m : width that its pickup header takes up at once, as the swather cut it, m, > 0; None
        where it has no pickup header, and cuts no swathed crop.
    flow_t_h : most grain that it threshes, t/h, > 0; None where the speed alone limits it.
    loaded_t : mass with a full tank, t, > 0.
    running_gear : tyres or tracks of the main axle; see `readiness.soil.running_gear`.
    axle_load_t : load on the main axle with a full tank, t, > 0; None for the usual share.
    """

    header_m: float
    speed_kmh: float
    efficiency: float
    tank_m3: float
    unload_m3_s: float
    by_crop: tuple[CropHeader, ...] = ()
    pickup_m: float | None = None
    flow_t_h: float | None = None
    loaded_t: float = 25.0
    running_gear: Gear = "single"
    axle_load_t: float | None = None

    @property
    def ground_load(self) -> GroundLoad:
        """What it asks of the ground with a full tank."""
        load = FRONT_SHARE * self.loaded_t if self.axle_load_t is None else self.axle_load_t
        return ground_load("combine", self.running_gear, load)

    def __post_init__(self) -> None:
        require_positive(
            "combine",
            self.id,
            header_m=self.header_m,
            speed_kmh=self.speed_kmh,
            efficiency=self.efficiency,
            tank_m3=self.tank_m3,
            unload_m3_s=self.unload_m3_s,
            pickup_m=self.pickup_m,
            flow_t_h=self.flow_t_h,
            loaded_t=self.loaded_t,
        )
        if self.efficiency > 1:
            raise FarmError(
                f'combine "{self.id}": efficiency must be <= 1, got {self.efficiency:g}'
            )

    def in_crop(self, crop: str) -> Combine:
        """The combine with its header, speed and efficiency in a crop."""
        for own in self.by_crop:
            if own.crop == crop:
                return replace(
                    self,
                    header_m=own.header_m or self.header_m,
                    speed_kmh=own.speed_kmh or self.speed_kmh,
                    efficiency=own.efficiency or self.efficiency,
                )
        return self

    def in_field(self, field: Field) -> Combine | None:
        """The combine as it works in a field; None for a swath where it has no pickup header."""
        own = self.in_crop(field.crop)
        if field.swathed is None:
            return own
        return None if self.pickup_m is None else replace(own, header_m=self.pickup_m)


@dataclass(frozen=True, kw_only=True)
class Cart(Machine):
    """A grain cart.

    Attributes
    ----------
    capacity_m3 : volume of a full load, m³, > 0.
    unload_m3_s : unloading rate, m³/s, > 0.
    loaded_t : mass of the full cart, t, > 0.
    running_gear : tyres or tracks; see `readiness.soil.running_gear`.
    axle_load_t : load on the axle, or on both of a tandem, t, > 0; None for the mass.
    """

    capacity_m3: float
    unload_m3_s: float
    loaded_t: float = 30.0
    running_gear: Gear = "single"
    axle_load_t: float | None = None

    @property
    def ground_load(self) -> GroundLoad:
        """What the full cart asks of the ground."""
        load = self.loaded_t if self.axle_load_t is None else self.axle_load_t
        return ground_load("cart", self.running_gear, load)


@dataclass(frozen=True, kw_only=True)
class Truck(Machine):
    """A road truck. Box volume and payload both limit a load.

    Attributes
    ----------
    capacity_m3 : volume of the box, m³, > 0.
    payload_t : most grain by weight, t, > 0.
    loaded_kmh, empty_kmh : road speeds, km/h, > 0.
    running_gear : tyres of its heaviest axle or tandem; see `readiness.soil.running_gear`.
    axle_load_t : load on them, t, > 0; None for the usual load.
    """

    capacity_m3: float
    payload_t: float
    loaded_kmh: float = 70.0
    empty_kmh: float = 80.0
    running_gear: Gear = "tandem"
    axle_load_t: float | None = None

    @property
    def ground_load(self) -> GroundLoad:
        """What the full truck asks of a dirt approach."""
        usual = min(self.payload_t, USUAL_TRUCK_T)
        load = usual if self.axle_load_t is None else self.axle_load_t
        return ground_load("truck", self.running_gear, load)


@dataclass(frozen=True, kw_only=True)
class Person:
    """Somebody who drives machines.

    Attributes
    ----------
    id : the user's own name; '' for one whom the farm file only counts.
    drives : kinds of machines ('combine', 'cart', 'truck') and ids of machines that the person
        may drive; empty for all.
    hours_max_day : most working hours of a day, h, 0-24; None for those of the crew.
    days_off : weekdays without work, 0 for Monday.
    absent, away : as in `Crew`.
    """

    id: str = ""
    drives: tuple[str, ...] = ()
    hours_max_day: float | None = None
    days_off: tuple[int, ...] = ()
    absent: tuple[date, ...] = ()
    away: tuple[Interval, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Crew:
    """People with the machines that they start from.

    Attributes
    ----------
    id : the user's own id.
    combines, carts, trucks : ids of the machines of the base make-up.
    week : working hours by weekday.
    people : how many, >= 1; a combine, a cart and a truck take one each.
    named : those of them with a name; the others may drive every machine.
    fixed : whether the crew keeps exactly its machines; otherwise the plan may share machines
        out anew.
    hours_max_day : most working hours of a day, h, 0-24. The default is assumed: the window of a
        driver's day in 49 CFR 395.3 (from memory), from which harvest hauls near the field are
        exempt. It moves when a crew starts; local law comes first.
    absent : dates on which the crew is away all day.
    away : further intervals in which the crew is away, for absences that hold parts of days.
    service_min : greasing and refuelling before the day's first move, min, >= 0. Field efficiency
        holds no time lost outside the field (Iowa State AgDM A3-24).
    meal_min : meals and refuelling while the crew could cut, min a day, >= 0.
    """

    id: str
    combines: tuple[str, ...]
    carts: tuple[str, ...] = ()
    trucks: tuple[str, ...] = ()
    week: Week
    people: int
    named: tuple[Person, ...] = ()
    fixed: bool = False
    hours_max_day: float = 14.0
    absent: tuple[date, ...] = ()
    away: tuple[Interval, ...] = ()
    service_min: float = 0.0
    meal_min: float = 0.0

    def __post_init__(self) -> None:
        if len(self.named) > self.people:
            raise FarmError(
                f'crew "{self.id}": {len(self.named)} persons have a name, people says '
                f"{self.people}: correct one of them"
            )

    @property
    def staff(self) -> tuple[Person, ...]:
        """All people of the crew, those without a name last."""
        return (*self.named, *(Person() for _ in range(self.people - len(self.named))))


@dataclass(frozen=True, kw_only=True)
class Schedule:
    """A step schedule of discounts; see `scheduler.costs.grain_value`.

    Attributes
    ----------
    steps : pairs (threshold, money per tonne), thresholds rising, money >= 0. For moisture (%)
        and sprouted kernels (0-1) the last step whose threshold is below the value binds; for
        test weight (kg/hL) the step with the lowest threshold above the value.
    """

    steps: tuple[tuple[float, float], ...] = ()


#: Quality factors that grain must not fall below; it must not exceed the others.
BELOW = ("test_weight", "falling_number", "protein", "vitreous")


@dataclass(frozen=True, kw_only=True)
class Market:
    """What a delivery point pays for one crop.

    Attributes
    ----------
    price_t : money per tonne at base moisture, > 0.
    moisture_base_pct : moisture that the price holds for, % wet basis.
    moisture_limit_pct : moisture above which loads are turned away, % wet basis, >= base.
    moisture_discount : money per tonne off above each moisture (%).
    drying_t_point : money per tonne and point of moisture above base, >= 0; None where nothing
        is dried.
    test_weight_discount : money per tonne off below each test weight (kg/hL).
    sprout_discount : money per tonne off above each fraction of sprouted kernels (0-1).
    falling_number_discount, protein_discount, vitreous_discount : money per tonne off below each
        falling number (s), protein (%) and share of hard vitreous kernels (%).
    vomitoxin_discount : money per tonne off above each content of vomitoxin (mg/kg).
    protein_premium : money per tonne on above each protein (%).
    seed_premium_t : money per tonne on for grain of fields for seed that germinates, >= 0.
    limits : by factor (`discounts`), the value from which on grain is no longer sold at `price_t`.
    feed_price_t : money per tonne of grain beyond a limit, > 0; None where it is turned away.
    later : prices and limits from later times on, in order of time.
    shrink_pct_point : weight not paid, % per point of moisture above base, >= 0; None for the
        water that drying to base takes out.
    """

    price_t: float
    moisture_base_pct: float
    moisture_limit_pct: float
    moisture_discount: Schedule = Schedule()
    drying_t_point: float | None = None
    test_weight_discount: Schedule = Schedule()
    sprout_discount: Schedule = Schedule()
    falling_number_discount: Schedule = Schedule()
    protein_discount: Schedule = Schedule()
    vitreous_discount: Schedule = Schedule()
    vomitoxin_discount: Schedule = Schedule()
    protein_premium: Schedule = Schedule()
    seed_premium_t: float = 0.0
    limits: dict[str, float] = field(default_factory=dict)
    feed_price_t: float | None = None
    shrink_pct_point: float | None = None
    later: tuple[tuple[datetime, Market], ...] = ()

    @property
    def discounts(self) -> dict[str, Schedule]:
        """Schedules by quality factor."""
        return {
            "test_weight": self.test_weight_discount,
            "sprout": self.sprout_discount,
            "falling_number": self.falling_number_discount,
            "vomitoxin": self.vomitoxin_discount,
            "protein": self.protein_discount,
            "vitreous": self.vitreous_discount,
        }

    def at(self, when: datetime) -> Market:
        """The market from a time on: what holds then, and what comes later."""
        past = [m for begin, m in self.later if begin <= when]
        coming = tuple((begin, m) for begin, m in self.later if begin > when)
        return replace(past[-1] if past else self, later=coming)


@dataclass(frozen=True, kw_only=True)
class DeliveryPoint:
    """An elevator, a buyer or the farm's own bins.

    Attributes
    ----------
    id : the user's own id.
    lat, lon : position; both None where `distance_km` stands for them.
    week : opening hours by weekday.
    markets : prices by crop, a key of `readiness.grain.crops.CROPS`.
    queue_min : wait before unloading, min, >= 0.
    unload_min : unloading a truck, min, >= 0.
    distance_km : road distance from the base, km, >= 0, of a point without a position.
    capacity_t : free storage, tonnes of wheat, >= 0; None without limit.
    dryer_t_h : wet grain that the dryer takes where it takes out `dryer_points`, tonnes of wheat an
        hour, > 0; None without limit. It takes less of wetter grain.
    dryer_points : points of moisture for which `dryer_t_h` holds, > 0. Common practice, no source:
        makers rate dryers at 5 and at 10 points.
    wet_room_t : grain above base moisture that can wait for the dryer, tonnes of wheat, > 0.
    dryer_week : hours of the dryer by weekday; None for all hours.
    closed : intervals in which it takes nothing.
    own : whether it is the farm's own storage.
    seed_only : whether it takes grain of fields for seed alone.
    """

    id: str
    lat: float | None
    lon: float | None
    week: Week
    markets: dict[str, Market]
    queue_min: float = 15.0
    unload_min: float = 8.0
    distance_km: float | None = None
    capacity_t: float | None = None
    dryer_t_h: float | None = None
    dryer_points: float = 5.0
    wet_room_t: float = math.inf
    dryer_week: Week | None = None
    closed: tuple[Interval, ...] = ()
    own: bool = False
    seed_only: bool = False


@dataclass(frozen=True, kw_only=True)
class Field:
    """A field and its crop.

    Attributes
    ----------
    id, name : the user's own id and name.
    lat, lon : position of a point inside.
    area_ha : area, ha, > 0.
    crop : a key of `readiness.grain.crops.CROPS`.
    entered : the crop in the user's own words, '' where unknown.
    spring : whether it is hard red spring wheat, which has grade limits of its own.
    variety : as entered; '' where none is.
    sand, clay : mass fractions of the soil, 0-1, together <= 1.
    organic_pct : organic matter of the soil, % by mass.
    texture : class as entered, for the sheet; '' where none is.
    drainage : natural drainage: poor, moderate or good.
    tile : whether drain tiles lie below.
    tile_spacing_m, tile_depth_m : of the drain tiles, m, > 0; None for the usual ones.
    slope_pct : slope of the ground, %.
    residue : fraction of the ground under residue, 0-1.
    approach : surface of the way in, which rain may shut.
    yield_t_ha : expected yield at the crop's base moisture, t/ha, > 0.
    ripe, heading : dates of maturity and of heading; None where unknown.
    sample_pct, sample_at : moisture (% wet basis) and time of the last sample; None without one.
    test_weight_kg_hl : test weight, kg/hL, before any loss or as weighed at `weighed_at`; None for
        the crop's own.
    weighed_at : time at which the test weight was weighed; None where it is that of sound grain.
    falling_number_s, vomitoxin_ppm, protein_pct, vitreous_pct : last measured falling number (s),
        vomitoxin (mg/kg), protein (%) and hard vitreous kernels (%); None where unknown.
    germination : share of sound kernels that germinate, 0-1; None where unknown.
    dormancy_days : dry days after maturity before half the kernels can sprout; None for the crop's
        own.
    lodged : fraction of the crop that lies, 0-1.
    swathed : date on which the crop was cut into swaths; None where it stands.
    purpose : grain or seed.
    not_before, not_after : when cutting may begin (the interval before harvest of a desiccant,
        by its label) and must be over (the owner of the land); None where nothing is set.
    cut_fraction : fraction of the area cut already, 0-1.
    boundary : outer ring of (lon, lat); empty where unknown.
    wet_fraction : fraction of the area in a wet hollow, 0-1, cut as a parcel of its own.
    calibration : learnt offsets by name; see `scheduler.windows.learnt_offsets`.
    """

    id: str
    name: str
    lat: float
    lon: float
    area_ha: float
    crop: str
    entered: str = ""
    spring: bool = False
    variety: str = ""
    sand: float
    clay: float
    organic_pct: float = 2.5
    texture: str = ""
    drainage: str = "moderate"
    tile: bool = False
    tile_spacing_m: float | None = None
    tile_depth_m: float | None = None
    slope_pct: float = 1.0
    residue: float = 0.5
    approach: Approach = "gravel"
    yield_t_ha: float
    ripe: date | None = None
    heading: date | None = None
    sample_pct: float | None = None
    sample_at: datetime | None = None
    test_weight_kg_hl: float | None = None
    weighed_at: datetime | None = None
    falling_number_s: float | None = None
    vomitoxin_ppm: float | None = None
    protein_pct: float | None = None
    vitreous_pct: float | None = None
    germination: float | None = None
    dormancy_days: float | None = None
    lodged: float = 0.0
    swathed: date | None = None
    purpose: Purpose = "grain"
    not_before: datetime | None = None
    not_after: datetime | None = None
    cut_fraction: float = 0.0
    boundary: tuple[tuple[float, float], ...] = ()
    wet_fraction: float = 0.0
    calibration: dict[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        require_positive("field", self.id, area_ha=self.area_ha, yield_t_ha=self.yield_t_ha)

    @property
    def barred(self) -> tuple[Interval, ...]:
        """Intervals in which it may not be cut, by `not_before` and `not_after`."""
        early = () if self.not_before is None else ((LONG_AGO, self.not_before),)
        return early if self.not_after is None else (*early, (self.not_after, OPEN_ENDED))


@dataclass(frozen=True, kw_only=True)
class Rules:
    """Limits and stop rules that the user sets; None switches a rule off.

    Attributes
    ----------
    thresh_limit_pct : most moisture to thresh at by crop, % wet basis; the crop's own where a
        crop is missing.
    straw_limit_pct : humidity, in percent, with which straw may be in equilibrium at most, by crop;
        infinite for no limit; the crop's own where a crop is missing.
    tough_allowed : whether to cut above the delivery limit where grain can be dried.
    fire_index_stop : grassland fire index (0-200) above which cutting stops.
    wind_stop_ms : gust from which cutting stops, m/s.
    heat_index_stop_c : heat index from which work stops, °C.
    lightning_stop : whether work stops while a thunderstorm is expected.
    daylight_only : whether to cut between sunrise and sunset only.
    road_forbidden : daily hours without moves on the road.
    objective : minimise the mean loss over members, or (cautious) that of the worst of them.
    forecast_age_max_h : age from which a forecast is refused, h, > 0.
    share_from_ha : area from which two crews may cut a field at once, ha, >= 0; None where they
        never may. The default is half a section, assumed, because combines of two crews get in
        each other's way in a quarter section.
    change_price : money that a change of an order already given must save, >= 0.
    """

    thresh_limit_pct: dict[str, float] = field(default_factory=dict)
    straw_limit_pct: dict[str, float] = field(default_factory=dict)
    tough_allowed: bool = True
    fire_index_stop: float | None = None
    wind_stop_ms: float | None = None
    heat_index_stop_c: float | None = None
    lightning_stop: bool = True
    daylight_only: bool = False
    road_forbidden: tuple[DailySpan, ...] = ()
    objective: Literal["mean", "cautious"] = "mean"
    forecast_age_max_h: float = 48.0
    share_from_ha: float | None = 130.0
    change_price: float = 50.0


@dataclass(frozen=True, kw_only=True)
class Moves:
    """Times of moving a crew from field to field.

    Attributes
    ----------
    road_kmh : road speed of combines, km/h, > 0.
    header_off_min, header_on_min : taking the header off and putting it on, min, >= 0.
    header_change_min : more time for another header, where the crop asks for one, min, >= 0.
        Assumed, because hoses, shaft and settings take about half an hour (common practice, no
        source); it decides how often a crew changes crops.
    clean_variety_min, clean_crop_min, clean_seed_min : cleaning the combine between varieties,
        between crops and before seed, min, >= 0.
    distances_km : road distances that the user gives, km, >= 0, by pairs of ids, which hold in
        both directions.
    """

    road_kmh: float = 28.0
    header_off_min: float = 10.0
    header_on_min: float = 10.0
    header_change_min: float = 30.0
    clean_variety_min: float = 15.0
    clean_crop_min: float = 30.0
    clean_seed_min: float = 90.0
    distances_km: dict[tuple[str, str], float] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Farm:
    """The whole farm.

    Attributes
    ----------
    name : as people call it.
    tz : farm time.
    units : units at the edges; the model itself is in SI.
    currency : sign or code of money.
    language : of the texts, by its code in `scheduler.language.translation.LANGUAGES`.
    base_lat, base_lon : position of the yard.
    crews, combines, carts, trucks, points, fields : parts of the farm, ids unique by type.
    rules, moves : limits, and times of moving.
    losses : the user's own loss terms by crop; see `scheduler.costs.grain_value.LOSSES`.
    gauges : positions of the rain gauges by id.
    elevation_m : height above sea level, m.
    """

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
    losses: dict[str, dict[str, float]] = field(default_factory=dict)
    gauges: dict[str, Position] = field(default_factory=dict)
    elevation_m: float = 300.0
    language: str = SOURCE

    @cached_property
    def positions(self) -> dict[str, Position]:
        """Positions by id of 'base', fields and delivery points; the base's where unknown."""
        base = (self.base_lat, self.base_lon)
        places = {"base": base} | {f.id: (f.lat, f.lon) for f in self.fields}
        for p in self.points:
            places[p.id] = base if p.lat is None or p.lon is None else (p.lat, p.lon)
        return places

    @cached_property
    def detours_km(self) -> dict[str, float]:
        """Road distances from the base of the delivery points without a position, km, by id."""
        return {p.id: p.distance_km or 0.0 for p in self.points if p.lat is None or p.lon is None}

    def wettest_taken(self, crop: str) -> float:
        """Moisture up to which some delivery point takes a crop, percent; infinite for no buyer."""
        markets = [p.markets[crop] for p in self.points if crop in p.markets]
        tough = self.rules.tough_allowed
        limits = [m.moisture_limit_pct if tough else m.moisture_base_pct for m in markets]
        return max(limits, default=math.inf)
