"""What-if. Published: Markov and binomial chances of workable days, closed-form timeliness cost."""

import math
from dataclasses import replace
from datetime import datetime, time, timedelta
from itertools import pairwise
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from past_weather import made_up
from places import SAMPLE

from readiness.season.codes import Reason, Tier
from readiness.season.simulate import Season
from scheduler.command import main
from scheduler.costs.grain_value import best_revenue_ha
from scheduler.costs.standing_loss import standing_loss_of
from scheduler.costs.timeliness import timeliness_cost
from scheduler.errors import FarmError
from scheduler.farm.model import (
    Cart,
    Combine,
    Crew,
    DeliveryPoint,
    Farm,
    Field,
    Market,
    Moves,
    Truck,
)
from scheduler.farm.slots import SLOT_MIN, slot_times
from scheduler.farm_files.folder import read_farm
from scheduler.field_work.play import play
from scheduler.field_work.policy import ranked_lists
from scheduler.planning.policy_choice import Effort
from scheduler.simulation.alterations import Alteration, apply_alteration
from scheduler.simulation.closed_form import capacity_ha_h
from scheduler.simulation.parallel import parallel_map
from scheduler.simulation.phrases import whatif_lines, workability_lines
from scheduler.simulation.rehearsal import RehearsalSettings
from scheduler.simulation.whatif import completion, season_tasks, what_if
from scheduler.simulation.workable_days import (
    WorkableDays,
    chance_of_days,
    half_months,
    persistence,
)
from scheduler.work_tables.compile import compile_work
from scheduler.work_tables.crew_makeup import own_makeup

STATION = SAMPLE.parents[1] / "shared/data/soil_moisture/CRND0103_ND_Jamestown_38_WSW.csv.gz"
CHEAP = RehearsalSettings(members=2, days=12, effort=Effort(iterations=10, makeup_iterations=2))


# -- persistence of workable days ---------------------------------------------------------------


@pytest.mark.parametrize(("days", "chance"), [(14, 0.2793), (17, 0.6405), (21, 0.9151)])
def test_published_independent_days_are_binomial(days, chance):
    # binomial tail, P(>= 10 of n) at p = 0.6
    assert chance_of_days(10, days, share=0.6) == pytest.approx(chance, abs=5e-5)


def test_published_persistence_lowers_the_chance_of_completion():
    # stationary two-state chain, p_ww = p + r (1 - p), r = 0.4: 0.8181 against 0.9151
    assert chance_of_days(10, 21, share=0.6, persistence=0.4) == pytest.approx(0.8181, abs=5e-5)


def test_property_chances_fall_with_need_and_persistence_is_recovered():
    chances = [chance_of_days(n, 12, share=0.5, persistence=0.3) for n in range(14)]
    assert chances[0] == pytest.approx(1.0)
    assert chances[13] == 0.0
    assert all(a >= b for a, b in pairwise(chances))
    rng, days = np.random.default_rng(5), np.zeros(60_000, dtype=np.int64)
    u = rng.random(len(days))
    for d in range(1, len(days)):
        days[d] = u[d] < (0.6 + 0.4 * 0.4 if days[d - 1] else 0.6 * 0.6)
    assert persistence(days[:-1], days[1:]) == pytest.approx(0.4, abs=0.015)
    with pytest.raises(ValueError, match="no chain has share"):
        chance_of_days(1, 2, share=0.1, persistence=-0.9)


def test_printed_chance_of_half_a_fortnight():
    rng = np.random.default_rng(1)
    hours = np.where(rng.random((1, 15 * 40)) < 0.6, 8, 0).astype(np.uint8).reshape(40, 1, 15)
    seasons = [
        SimpleNamespace(
            fields=("A",), workable=WorkableDays(first=np.datetime64("2004-08-01"), hours=h)
        )
        for h in hours
    ]
    head, row = workability_lines(seasons)[-2:]
    assert "7 of 14" in head
    # hand: the binomial tail at 0.6, P(>= 7 of 14), is 0.850; persistence lowers it
    assert 70 <= int(row.split()[-3]) <= 90


def test_hand_half_months():
    # 14-17 August: two days in each half; 8 h, 3 h | 4 h, 0 h
    days = WorkableDays(first=np.datetime64("2004-08-14"), hours=np.array([[8, 3, 4, 0]], np.uint8))
    first, second = half_months([days], {"A": 0})
    assert (first.month, first.half, first.share, first.days) == (8, 1, 0.5, 2)
    assert (second.half, second.share) == (2, 0.5)
    assert math.isnan(first.persistence)


# -- one field class: the closed form -----------------------------------------------------------

DAYS, HOURS, SHARE, LOSS = 40, 10.0, 0.6, 0.005


def one_class_farm():
    """400 ha of one wheat, one crew at 4 ha/h, no moves, no haul, and no loss but shatter."""
    market = Market(price_t=200.0, moisture_base_pct=13.5, moisture_limit_pct=20.0)
    week = ((time(8), time(18)),) * 7
    return Farm(
        name="one class",
        tz=ZoneInfo("UTC"),
        units="metric",
        base_lat=47.0,
        base_lon=-99.0,
        crews=(Crew(id="k", combines=("c",), carts=("g",), trucks=("t",), week=week, people=3),),
        combines=(
            Combine(
                id="c",
                header_m=10.0,
                speed_kmh=4.0 / 0.7,
                efficiency=0.7,
                tank_m3=12.0,
                unload_m3_s=0.2,
            ),
        ),
        carts=(Cart(id="g", capacity_m3=500.0, unload_m3_s=10.0),),
        trucks=(Truck(id="t", capacity_m3=5000.0, payload_t=5000.0),),
        points=(
            DeliveryPoint(
                id="p",
                lat=47.0,
                lon=-99.0,
                week=((time(0), time(0)),) * 7,
                markets={"wheat_hard": market},
                queue_min=0.1,
                unload_min=0.1,
            ),
        ),
        fields=(
            Field(
                id="f",
                name="f",
                lat=47.0,
                lon=-99.0,
                area_ha=400.0,
                crop="wheat_hard",
                sand=0.4,
                clay=0.2,
                yield_t_ha=4.0,
            ),
        ),
        moves=Moves(header_on_min=0.0, header_off_min=0.0),
        losses={"wheat_hard": {"shatter_day": LOSS, "rut_ha": 0.0}},
    )


def season_of_working_days(working):
    """Fields open on the working days (member, day) only, grain at base moisture."""
    open_hours = np.repeat(working, 24, axis=1)[:, None]
    shape = open_hours.shape
    flat = np.zeros(shape)
    return Season(
        start=np.datetime64("2004-08-01T08", "h"),
        water_top=flat,
        water_below=flat,
        moisture=np.full(shape, 13.5),
        film=flat,
        tier=np.full(shape, Tier.FIRM, np.uint8),
        approach=np.full(shape, Tier.FIRM, np.uint8),
        reason=np.where(open_hours, Reason.OPEN, Reason.GROUND).astype(np.uint8),
        wettings=flat,
        sprout=flat,
        straw=flat,
        end=None,
    )


@pytest.mark.slow
def test_published_closed_form_of_one_field_class_within_one_percent():
    # ASABE EP496 (as restated in Srivastava et al. 2006, ch. 15), Z = 2, check case A = 400 ha,
    # K = 0.005, G = 10 h, C = 4 ha/h, pwd = 0.6. Each day works with probability 0.6, independent
    # of the others. Years are antithetic pairs of draws, so fewer years estimate the mean.
    farm = one_class_farm()
    rng = np.random.default_rng(2)
    now = datetime(2004, 8, 1, 8, tzinfo=farm.tz)
    lost = []
    for _ in range(8):
        u = rng.random((125, DAYS))
        working = np.concatenate([u < SHARE, 1.0 - u < SHARE])
        standing_loss = standing_loss_of(
            farm, season_of_working_days(working), slot_times(now, DAYS, SLOT_MIN)
        )
        makeup = own_makeup(farm, now, now + timedelta(days=DAYS))
        work = compile_work(standing_loss, makeup, places=["base"])
        assert capacity_ha_h(work) == pytest.approx(4.0, rel=1e-9)
        lost.append(play(work.tables, ranked_lists(((0,),), 1, start=20.0)).loss)
    closed = timeliness_cost(
        400.0,
        4.0,
        loss_day=LOSS,
        yield_=1.0,
        value=best_revenue_ha(farm, farm.fields[0], {"p": 0.0}),
        hours_day=HOURS,
        working_share=SHARE,
    )
    assert np.mean(lost) == pytest.approx(closed, rel=0.01)


# -- altered farms ------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def farm():
    whole = read_farm(SAMPLE)
    return replace(whole, fields=whole.fields[:5])


def test_one_more_machine_joins_its_crew(farm):
    new = apply_alteration(
        farm, Alteration(combines=("C1", "C1"), carts=("cart 2",), trucks=("T1",))
    )
    assert [c.id for c in new.combines] == ["C1", "C2", "C3", "C1 (2)", "C1 (3)"]
    assert new.crews[0].combines == ("C1", "C2", "C1 (2)", "C1 (3)")
    assert new.crews[0].trucks[-1] == "T1 (2)"
    assert new.crews[1].carts == ("cart 2", "cart 2 (2)")
    assert new.crews[0].people == farm.crews[0].people + 3
    now = datetime(2026, 8, 12, 6, tzinfo=farm.tz)
    assert len(own_makeup(new, now, now + timedelta(days=12))[0].combines) == 4


def test_hand_hours_moisture_and_tile(farm):
    new = apply_alteration(farm, Alteration(hours=2.0, moisture=1.5, tile=("F03",)))
    assert new.crews[0].week[0] == (time(7), time(0, 30))  # 22:30 and two hours
    assert new.crews[0].hours_max_day == 16
    assert new.rules.thresh_limit_pct["wheat_hard"] == pytest.approx(21.5)
    own = {p.id: p for p in new.points}["home bins"].markets["wheat_hard"]
    assert own.moisture_limit_pct == pytest.approx(21.5)
    assert [f.id for f in new.fields if f.tile] == ["F03"]


def test_a_dryer_takes_wetter_grain(farm):
    bins = replace(
        farm.points[2],
        markets={
            c: replace(m, drying_t_point=None, moisture_limit_pct=13.5)
            for c, m in farm.points[2].markets.items()
        },
    )
    new = apply_alteration(replace(farm, points=(*farm.points[:2], bins)), Alteration(dryer=True))
    market = new.points[2].markets["wheat_hard"]
    assert (market.moisture_limit_pct, market.drying_t_point) == (20.0, 1.84)
    assert new.points[:2] == farm.points[:2]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (Alteration(combines=("C9",)), 'there is no combine "C9"; ids are C1, C2, C3'),
        (Alteration(tile=("F99",)), 'there is no field "F99" to tile'),
        (Alteration(hours=9.0), 'crew "north crew": 9 h longer days last until the next morning'),
        (Alteration(dryer=True), "a dryer changes nothing"),
    ],
)
def test_errors_name_the_cause(farm, change, message):
    with pytest.raises(FarmError) as error:
        apply_alteration(farm, change)
    assert str(error.value).startswith(message)


# -- simulated seasons --------------------------------------------------------------------------


@pytest.fixture(scope="module")
def found(farm):
    with parallel_map() as run:
        return what_if(
            farm,
            Alteration(combines=("C3",)),
            [made_up()],
            years=range(2003, 2005),
            settings=CHEAP,
            run=run,
        )


@pytest.mark.slow
def test_every_season_is_simulated_with_and_without_the_change(found):
    assert [o.year for o in found.base] == [o.year for o in found.changed] == [2003, 2004]
    assert all(o.done is not None for o in found.base + found.changed)
    assert len(found.values) == 2
    for b, c in zip(found.base, found.changed, strict=True):
        assert c.timeliness.capacity > b.timeliness.capacity
        assert c.closed_form < b.closed_form


@pytest.mark.slow
def test_hand_completion(found):
    done = [
        replace(found.base[0], done=d and datetime(*d).date())
        for d in ((2003, 8, 9), (2004, 8, 20), (2005, 8, 1), None)
    ]
    assert completion(done, 0.5) == (8, 9)
    assert completion(done, 0.75) == (8, 20)
    assert completion(done, 0.8) is None


def test_no_season_in_the_records(farm):
    with pytest.raises(FarmError, match="no whole season in the records of made up"):
        season_tasks(farm, [made_up(2)], years=range(1990, 1991))


def test_command_reports_bad_records(tmp_path, capsys):
    path = tmp_path / "station.csv"
    assert main(["whatif", str(SAMPLE), "--records", str(path), "--tile", "F03"]) == 1
    assert capsys.readouterr().err == (
        f"afterrain: {path}: there is no such file; check its name and its folder\n"
    )
    path.write_text("a,b\n1,2\n")
    assert main(["rehearse", str(SAMPLE), "--records", str(path)]) == 1
    assert "station.csv: neither a daily01 file of the U.S. Climate" in capsys.readouterr().err


@pytest.mark.slow
def test_printed_lines_of_a_change(farm, found):
    lines = whatif_lines(found, farm, yearly_cost=1000.0, capacity_price=40_000.0)
    text = " ".join("\n".join(lines).split())
    assert lines[0] == "WHAT IF: one more combine like C3"
    for b, c in zip(found.base, found.changed, strict=True):
        assert f"made up {b.year} ${b.loss:,.0f} " in text
        assert f"${c.loss:,.0f}" in text
    assert "Harvest over in 80 % of years: now by " in text
    assert "After its $1,000 a year: " in text
    assert "Least-cost capacity by the closed form: " in text
    assert "F03 wet hollow" in text


@pytest.mark.slow
def test_rehearse_command_reads_a_ghcn_station_file(tmp_path, capsys):
    """A season of GHCN-Daily's rain and temperature is played; a missing column is named."""
    record = made_up(4)
    path = tmp_path / "USC00000001.csv"
    columns = ["STATION,DATE,LATITUDE,LONGITUDE,ELEVATION,PRCP,TMAX,TMIN"]
    tenths = (np.round(10 * getattr(record, n)).astype(int) for n in ("rain", "tmax", "tmin"))
    for day, *values in zip(record.days, *tenths, strict=True):
        columns.append(f"USC00000001,{day},47.32,-99.12,500,{','.join(map(str, values))}")
    path.write_text("\n".join(columns) + "\n")
    words = ["rehearse", str(SAMPLE), "--records", str(path), "--years", "2002", "--workers", "1"]
    assert main([*words, "--members", "2", "--days", "12", "--fast"]) == 0
    assert "USC00000001  2002  $" in capsys.readouterr().out
    path.write_text(path.read_text().replace("TMIN", "TOBS"))
    assert main(words) == 1
    assert capsys.readouterr().err == "afterrain: USC00000001.csv: no column TMIN\n"


@pytest.mark.slow
@pytest.mark.skipif(not STATION.exists(), reason=f"open data {STATION.name} is not there")
def test_rehearse_command_prints_every_season(capsys):
    words = [
        "rehearse",
        str(SAMPLE),
        "--records",
        str(STATION),
        "--years",
        "2016",
        "--workers",
        "1",
    ]
    assert main([*words, "--members", "2", "--days", "12", "--fast"]) == 0
    out = capsys.readouterr().out
    assert out.startswith("MONEY LOST IN THE OBSERVED WEATHER\n")
    assert "ND_Jamestown_38_WSW  2016  $" in out
    assert " less on average" in out
    assert main([*words[:5], "1990"]) == 1
    assert "no whole season in the records" in capsys.readouterr().err


@pytest.mark.slow
def test_two_dask_workers_give_identical_outcomes(farm, found):
    distributed = pytest.importorskip("distributed")
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, dashboard_address=":0"
        ) as cluster,
        parallel_map(cluster=cluster.scheduler_address) as run,
    ):
        on_cluster = what_if(
            farm, found.change, [made_up()], years=range(2003, 2005), settings=CHEAP, run=run
        )
    for a, b in zip(found.base + found.changed, on_cluster.base + on_cluster.changed, strict=True):
        assert (a.loss, a.done, a.timeliness) == (b.loss, b.done, b.timeliness)
