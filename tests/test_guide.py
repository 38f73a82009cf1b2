"""The guide's worked example holds: every figure of 'One rain through the house', computed again.

Hand: the guide follows one field of the sample farm from rain to an order. Each test takes the
figures of a step from the functions that the guide names, and looks for them in its text.
"""

import re
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from farm_folder import copy_sample
from places import ROOT

from readiness.atmosphere.weather import HOUR
from readiness.season.codes import Reason, Tier
from readiness.season.simulate import Season
from readiness.soil.trafficability import land_limits
from scheduler.costs.standing_loss import standing_loss_of
from scheduler.farm.model import Farm
from scheduler.farm.slots import SLOT_MIN, farm_time, slot_times, utc_hour
from scheduler.planning.information import gather
from scheduler.windows.model_inputs import land_of, limits_of, simulate_farm
from scheduler.work_tables.compile import FarmWork, compile_work
from scheduler.work_tables.crew_makeup import own_makeup

FIELD, DAYS = "F08", 12
NOW = datetime(2026, 8, 12, 6, tzinfo=ZoneInfo("America/Chicago"))

pytestmark = pytest.mark.slow


@dataclass(frozen=True)
class Example:
    """The sample's morning and the row of the field that the guide follows."""

    farm: Farm
    season: Season
    rain: np.ndarray
    work: FarmWork
    row: int

    def hour(self, day: int, clock: int) -> int:
        """Hour of the season at a farm-time clock of an August day."""
        when = utc_hour(datetime(2026, 8, day, clock, tzinfo=NOW.tzinfo))
        return int((when - self.season.start).astype(int))

    def median(self, name: str, day: int, clock: int) -> float:
        return float(np.median(getattr(self.season, name)[:, self.row, self.hour(day, clock)]))

    def share(self, name: str, day: int, clock: int, holds) -> float:
        return float(holds(getattr(self.season, name)[:, self.row, self.hour(day, clock)]).mean())


@pytest.fixture(scope="module")
def example(tmp_path_factory):
    folder = copy_sample(tmp_path_factory.mktemp("sample"))
    known = gather(folder, NOW, forecast=None, days=DAYS, seed=0)
    farm, weather = known.farm, known.weather
    season, sky = simulate_farm(
        farm,
        weather.past,
        weather.forecast,
        lightning=weather.lightning,
        observations=known.observations,
        seed=0,
    )
    slots = slot_times(NOW, DAYS, SLOT_MIN)
    slots = slots[slots < season.start + season.moisture.shape[2] * HOUR]
    makeup = own_makeup(farm, NOW, NOW + timedelta(days=DAYS))
    standing_loss = standing_loss_of(farm, season, slots)
    work = compile_work(standing_loss, makeup, places=["base"] * len(makeup))
    row = [f.id for f in farm.fields].index(FIELD)
    return Example(farm=farm, season=season, rain=sky.rain[0, row], work=work, row=row)


@pytest.fixture(scope="module")
def step():
    """Text of each step of the worked example by its number."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    part = text.split("## One rain through the house")[1].split("\n## ")[0]
    return {int(n): words for n, words in re.findall(r"^(\d)\. (.*)$", part, flags=re.MULTILINE)}


def test_rain(example, step):
    fallen = example.rain[example.hour(9, 15) : example.hour(10, 9) + 1].sum()
    assert f"{fallen:.1f} mm of rain ({fallen / 25.4:.2f} in)" in step[1]


def test_soil_water(example, step):
    before, peak = example.median("water_top", 9, 14), example.median("water_top", 10, 7)
    assert f"from {before:.3f} to {peak:.3f} m³/m³ by Monday 07:00" in step[2]
    assert f"Field capacity is {land_of(example.farm).field_capacity[example.row]:.3f}" in step[2]
    early, late = example.median("water_top", 12, 6), example.median("water_top", 12, 16)
    assert f"Wednesday 06:00 finds {early:.3f}, 16:00 finds {late:.3f}" in step[2]


def test_tier(example, step):
    land = land_of(example.farm)
    load = limits_of(example.farm, None, np.arange(land.sand.size))
    limit = land_limits(land, combine=load.combine, cart=load.cart)
    firm, edge = limit.firm_top[example.row], limit.headland_top[example.row]
    assert load.cart is not None
    cart, combine = load.cart.pressure_kpa, load.combine.pressure_kpa
    assert f"{firm:.3f} for the loaded cart with {cart:.0f} kPa" in step[3]
    assert f"{edge:.3f} for the combine with {combine:.0f} kPa" in step[3]

    def bears(clock):
        return example.share("tier", 12, clock, lambda t: t >= Tier.HEADLAND_ONLY)

    assert f"At 06:00 the ground bears the combine in {100 * bears(6):.0f} %" in step[3]
    assert f"at 14:00 in {100 * bears(14):.0f} %, at 19:00 in {100 * bears(19):.0f} %" in step[3]


def test_grain(example, step):
    damp, dry = example.median("moisture", 12, 8), example.median("moisture", 12, 14)
    assert f"{damp:.1f} % at 08:00, {dry:.1f} % at 14:00" in step[4]


def test_window(example, step):
    nine, four, six = (
        example.share("reason", 12, clock, lambda r: r == Reason.OPEN) for clock in (9, 16, 18)
    )
    assert nine == 0.0
    assert "none of the members at 09:00" in step[5]
    assert f"in {100 * four:.0f} % at 16:00, in {100 * six:.0f} % at 18:00" in step[5]


def test_loss(example, step):
    standing, job = example.work.standing_loss, job_of(example)
    assert farm_time(standing.slots[20], NOW.tzinfo).hour == 16
    loss = standing.loss[:, job, :, 20]
    own = [p.own for p in example.farm.points]
    assert np.isnan(loss[:, ~np.array(own)]).all()
    assert f"a hectare loses ${np.nanmedian(loss[:, own]):.0f} in the farm's own bins" in step[6]


def test_work_table(example, step):
    wet = example.work.tables.wet[:, 20, job_of(example)]
    is_open = np.isfinite(wet)
    assert f"is {np.median(wet[is_open]):.1f} % in the middle of the members" in step[7]
    assert f"infinite in the other {100 * (1 - is_open.mean()):.0f} %" in step[7]


def job_of(example):
    return next(n for n, job in enumerate(example.work.jobs) if job.row == example.row)
