"""Running gear in farm.toml and tile in fields.csv, and what the usual values follow from."""

import pytest
from farm_folder import HEAD, ROW, edit, problem_lines, write

from readiness.soil.running_gear import ground_load
from scheduler.farm_files.folder import read_farm
from scheduler.windows.model_inputs import land_of, limits_of


def test_usual_axle_loads_follow_from_the_weights(folder):
    farm = read_farm(folder)
    # hand: 62,000 lb are 28.12 t, 82 % of them on the front axle; 80,000 lb on the cart's axle
    usual = ground_load("combine", "single", 0.82 * 28.1227)
    assert farm.combines[0].ground_load == pytest.approx(usual, abs=0.001)
    assert farm.carts[0].ground_load.axle_t == pytest.approx(36.287, abs=0.001)
    # a truck carries its payload on its tandem, at most the usual legal 34,000 lb
    assert farm.trucks[0].ground_load.axle_t == pytest.approx(15.4 / 2)


def test_running_gear_and_axle_load_as_written(folder):
    edit(folder, "farm.toml", "# axle_load_lb = 51000", "axle_load_lb = 44092")
    edit(
        folder,
        "farm.toml",
        'loaded_weight_lb = 80000\nrunning_gear = "single"',
        'loaded_weight_lb = 80000\nrunning_gear = "Tracks"',
    )
    farm = read_farm(folder)
    assert farm.combines[0].ground_load.axle_t == pytest.approx(20.0, abs=0.001)
    assert farm.carts[0].running_gear == "tracks"
    limits = limits_of(farm, None, [0])
    assert limits.cart == farm.carts[0].ground_load
    assert limits.truck == farm.trucks[0].ground_load


def test_unknown_running_gear_is_a_problem(folder):
    edit(folder, "farm.toml", 'running_gear = "single"         # on', 'running_gear = "duels" # on')
    (line,) = problem_lines(folder)
    assert 'running_gear "duels" is not known; did you mean "duals"?' in line


def test_tile_spacing_and_depth(folder):
    write(
        folder,
        "fields.csv",
        f"{HEAD},tile,tile_spacing_ft,tile_depth_ft\n{ROW},,50,4\n2{ROW[1:]},yes,,\n3{ROW[1:]},,,\n",
    )
    first, second, third = read_farm(folder).fields
    assert first.tile
    assert first.tile_spacing_m == pytest.approx(15.24)
    assert first.tile_depth_m == pytest.approx(1.2192)
    assert second.tile
    assert second.tile_spacing_m is None
    assert not third.tile
    table = land_of(read_farm(folder)).soil_table()
    assert table[0, 6] == pytest.approx(1.2192)  # depth of tile
    assert table[1, 6] == pytest.approx(1.07)  # the usual 3.5 ft
    assert table[2, 6] == 0.0
