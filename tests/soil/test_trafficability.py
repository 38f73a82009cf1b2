"""Water limits of the tiers against published criteria, loads, and the strengths at the limits."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from readiness.soil.land import Land
from readiness.soil.properties import bulk_density
from readiness.soil.running_gear import (
    GEARS,
    USUAL_CART,
    USUAL_COMBINE,
    USUAL_TRUCK,
    GroundLoad,
    ground_load,
    hardest,
)
from readiness.soil.trafficability import (
    LOAD_SPAN,
    WaterLimits,
    land_limits,
    strengths_at_limits,
)


def limits(land: Land, combine: GroundLoad = USUAL_COMBINE, cart: GroundLoad | None = USUAL_CART):
    return land_limits(land, combine=combine, cart=cart)


def every(found: WaterLimits) -> np.ndarray:
    return np.concatenate(
        [found.firm_top, found.firm_below, found.headland_top, found.headland_below, found.approach]
    )


def test_a_loaded_cart_waits_for_the_published_criterion():
    # published: no work where an upper zone is above 95 % of field capacity (Rutledge & McHardy in
    # Baier 1973); combines on stubble stand at the upper end of published criteria, 90-100 %
    land = Land.of()
    assert limits(land).firm_top == pytest.approx(0.95 * land.drained_water)
    assert limits(land).firm_below == pytest.approx(0.95 * land.drained_water)
    assert limits(land).headland_top == pytest.approx(land.drained_water)


def test_field_capacity_in_the_field_follows_the_law_of_drainage():
    # hand: loam, 2.5 % organic matter: FC 0.280, SAT 0.460, Ksat 15.5 mm/h; k = 15.5 / (0.180 x
    # 300) = 0.287 per hour; 1 / sqrt(1 + 2 x 48 x 0.287) = 0.187; 0.280 + 0.187 x 0.180 = 0.3134
    assert Land.of().drained_water[0] == pytest.approx(0.3134, abs=0.001)
    # published: field capacity within the ranges of Saxton & Rawls 2006 at 10 and 33 kPa
    for sand, clay in ((0.65, 0.10), (0.40, 0.20), (0.10, 0.35), (0.25, 0.50)):
        land = Land.of(1, sand=sand, clay=clay)
        assert land.field_capacity[0] < land.drained_water[0] < land.saturation[0] - 0.02


@given(
    combine=st.floats(10, 35),
    cart=st.floats(8, 45),
    sand=st.floats(0.05, 0.8),
    gear=st.sampled_from(["single", "dual", "tandem", "tracks"]),
)
def test_limits_are_ordered_and_fall_with_the_load(combine, cart, sand, gear):
    land = Land.of(1, sand=sand, clay=(1 - sand) / 3)

    def with_loads(more):
        return limits(
            land,
            ground_load("combine", gear, combine + more),
            ground_load("cart", gear, cart + more),
        )

    loads, heavier = with_loads(0.0), with_loads(5.0)
    assert loads.firm_top <= loads.headland_top
    assert loads.firm_below <= loads.headland_below
    assert (every(heavier) <= every(loads)).all()


def test_loads_never_leave_the_span_of_published_criteria():
    # the relation only ranks beyond the machines that it was measured on, so it is clamped
    land = Land.of(3, sand=[0.4, 0.1, 0.65], clay=[0.2, 0.35, 0.1])
    huge, tiny = GroundLoad(2000.0, 200.0), GroundLoad(2.0, 0.2)
    drained = land.drained_water
    assert limits(land, huge, huge).firm_top == pytest.approx((0.95 - LOAD_SPAN) * drained)
    assert limits(land, tiny, tiny).headland_top == pytest.approx((1.0 + LOAD_SPAN) * drained)


def test_more_rubber_on_the_ground_presses_less():
    # hand: 20.5 t x 9.81 / (0.5 x 2 x 1.956 m x 0.899 m) = 114.4 kPa
    assert USUAL_COMBINE.pressure_kpa == pytest.approx(114.4, abs=0.1)
    # published order: contact pressure factor of the mobility index, four 20.8 in. tyres against
    # two of 35.4 in. (17.1 and 19.1 psi at 52,000 lb); tracks least (Taylor, Oklahoma State)
    one, two, belt = (ground_load("combine", g, 20.5) for g in ("single", "dual", "tracks"))
    assert belt.pressure_kpa < two.pressure_kpa < one.pressure_kpa
    assert two.pressure_kpa / one.pressure_kpa == pytest.approx(17.1 / 19.1, abs=0.06)
    # tandems halve the axle load, duals leave it
    assert ground_load("cart", "tandem", 30.0).axle_t == 15.0
    assert ground_load("cart", "dual", 30.0).axle_t == 30.0
    assert hardest([one, belt]) == GroundLoad(one.pressure_kpa, 20.5)
    assert hardest([]) is None
    land = Land.of()
    tracks, tyres = (limits(land, cart=ground_load("cart", g, 32.0)) for g in ("tracks", "single"))
    assert tracks.firm_top > tyres.firm_top
    assert tracks.firm_below > tyres.firm_below


def test_diameters_fit_the_size_of_the_tyre():
    # hand: nominal diameter of a metric size is the rim and twice the side wall, a share of the
    # width: 800/65R32 is 32 x 0.0254 + 2 x 0.65 x 0.800 = 1.853 m
    sizes = {
        ("combine", "single"): (900, 60, 32),
        ("combine", "tandem"): (800, 65, 32),
        ("cart", "single"): (1250, 50, 32),
        ("cart", "dual"): (710, 70, 42),
        ("cart", "tandem"): (900, 60, 32),
    }
    for (machine, kind), (width_mm, aspect_pct, rim_in) in sizes.items():
        gear = GEARS[machine][kind]
        nominal = rim_in * 0.0254 + 2.0 * aspect_pct / 100.0 * width_mm / 1000.0
        assert gear.length_m == pytest.approx(nominal, rel=0.06)
        assert gear.width_m == pytest.approx(width_mm / 1000.0, rel=0.01)


def test_a_lighter_truck_is_let_in_earlier_on_a_dirt_approach():
    land = Land.of()
    usual = land_limits(land, combine=USUAL_COMBINE, cart=USUAL_CART)
    light = land_limits(
        land, combine=USUAL_COMBINE, cart=USUAL_CART, truck=ground_load("truck", "tandem", 8.0)
    )
    same = land_limits(land, combine=USUAL_COMBINE, cart=USUAL_CART, truck=USUAL_TRUCK)
    assert light.approach > usual.approach == same.approach


def test_the_lower_zone_hardly_counts_on_sand():
    sand, loam = Land.of(1, sand=0.88, clay=0.05), Land.of()
    assert limits(sand).firm_below > limits(sand).firm_top + 0.1
    assert limits(loam).firm_below == pytest.approx(limits(loam).firm_top)


def test_sandy_ground_is_loamy_sand_and_sand():
    # published: NRCS texture groups put sandy loam with the medium soils; SSSA texture classes:
    # loamy sand from 70 % of sand, sand from 85 %
    sandy_loam, loamy_sand, sand = Land.of(
        3, sand=[0.65, 0.78, 0.88], clay=[0.10, 0.06, 0.05]
    ).sandiness
    assert sandy_loam == 0.0 < loamy_sand < sand == 1.0


def test_offset_moves_every_limit_and_saturation_caps_it():
    plain, soft = Land.of(), Land.of(1, bearing_offset=-0.02)
    assert every(limits(soft)) == pytest.approx(every(limits(plain)) - 0.02)
    hard = Land.of(1, bearing_offset=0.3)
    assert every(limits(hard)) == pytest.approx(0.99 * hard.saturation[0])


def test_without_a_cart_the_combine_decides_on_firm_too():
    without = limits(Land.of(), cart=None)
    assert without.firm_top == without.headland_top


def test_strengths_at_limits_show_both_relations():
    # published conflict: on clayey ground the relations differ by two or more at field capacity
    land = Land.of(2, sand=[0.4, 0.1], clay=[0.2, 0.35])
    density = bulk_density(land.sand, land.clay, land.organic_pct)
    rows = strengths_at_limits(
        ["loam", "silty clay loam"],
        limits(land),
        sand=land.sand,
        clay=land.clay,
        density=density,
        combine_t=25.0,
        cart_t=30.0,
    )
    assert [(r.texture, r.limit) for r in rows][:2] == [("loam", "firm"), ("loam", "headland-only")]
    for row in rows:
        assert max(row.strength.values()) > row.needed["combine, 1 pass"]
        assert row.needed["combine, 1 pass"] < row.needed["combine, 50 passes"]
    low, high = sorted(rows[2].strength.values())
    assert high / low > 1.5
