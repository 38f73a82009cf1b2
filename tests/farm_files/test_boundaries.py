"""Boundaries of fields: areas, positions and exact messages."""

import json
import math

import pytest
import shapely
from farm_folder import edit, problem_lines, write

from scheduler.farm_files import boundaries
from scheduler.farm_files.folder import read_farm


def test_position_and_area_from_the_boundary(folder):
    write(folder, "fields.csv", "id,crop,texture,yield\n7,spring wheat,loam,55\n")
    ring = [[-99.51, 47.10], [-99.50, 47.10], [-99.50, 47.107], [-99.51, 47.107], [-99.51, 47.10]]
    write_shapes(folder, [("7", [ring])])
    field = read_farm(folder).fields[0]
    assert field.boundary == tuple(map(tuple, ring))
    assert field.area_ha == pytest.approx(rectangle_ha(-99.51, 47.10, -99.50, 47.107), rel=1e-4)
    assert 47.10 < field.lat < 47.107
    assert -99.51 < field.lon < -99.50


def write_shapes(folder, shapes):
    features = [
        {
            "type": "Feature",
            "properties": {"id": own},
            "geometry": {"type": "Polygon", "coordinates": rings},
        }
        for own, rings in shapes
    ]
    write(folder, "fields.geojson", json.dumps({"type": "FeatureCollection", "features": features}))


def rectangle_ha(west, south, east, north):
    """hand: R² Δλ (sin φ2 - sin φ1), the area of a rectangle of the sphere."""
    wide = math.radians(east - west)
    return (
        6371.0072**2 * wide * (math.sin(math.radians(north)) - math.sin(math.radians(south))) * 100
    )


def test_boundary_with_altitudes(folder):
    corners = [
        (-99.51, 47.10),
        (-99.50, 47.10),
        (-99.50, 47.107),
        (-99.51, 47.107),
        (-99.51, 47.10),
    ]
    write_shapes(folder, [("1", [[[x, y, 450.0] for x, y in corners]])])
    assert read_farm(folder).fields[0].boundary == tuple(corners)


def test_area_without_a_hole():
    outer = shapely.box(-99.51, 47.10, -99.50, 47.107)
    hole = shapely.box(-99.508, 47.102, -99.506, 47.104)
    expected = rectangle_ha(*outer.bounds) - rectangle_ha(*hole.bounds)
    assert boundaries.area_ha(outer.difference(hole)) == pytest.approx(expected, rel=1e-4)


# published: the U.S. public land survey's section, 640 acres in a mile square
def test_area_of_a_section():
    lat, wide = 1.609344 / 111.195, 1.609344 / (111.195 * math.cos(math.radians(47.0)))
    box = shapely.box(-99.0, 47.0 - lat / 2, -99.0 + wide, 47.0 + lat / 2)
    assert boundaries.area_ha(box) / 0.40468564 == pytest.approx(640, rel=1e-3)


def test_boundary_as_well_known_text(folder):
    write(
        folder,
        "fields.csv",
        "id;crop;texture;yield;boundary\n7;spring wheat;loam;55;"
        "POLYGON((-99.51 47.10, -99.50 47.10, -99.50 47.107, -99.51 47.107, -99.51 47.10))\n",
    )
    assert read_farm(folder).fields[0].area_ha == pytest.approx(59.0, abs=0.5)


def test_area_against_boundary(folder):
    ring = [[-99.51, 47.10], [-99.50, 47.10], [-99.50, 47.107], [-99.51, 47.107], [-99.51, 47.10]]
    write_shapes(folder, [("1", [ring]), ("9", [ring])])
    shown = 'fields.geojson "9": is not a field of fields.csv; correct its id, or remove it'
    assert problem_lines(folder) == [shown]
    edit(folder, "fields.csv", "155,spring", "255,spring")
    assert (
        "fields.csv row 2, area_ac: area is 255 ac, its boundary holds 146 ac; "
        "correct the one or the other"
    ) in problem_lines(folder)


@pytest.mark.parametrize(
    ("geometry", "message"),
    [
        (
            {"type": "Point", "coordinates": [0, 0]},
            'fields.geojson feature 1 "1": is not a polygon with closed rings; '
            "draw its boundary as a polygon",
        ),
        (
            None,
            'fields.geojson feature 1 "1": is not a polygon with closed rings; '
            "draw its boundary as a polygon",
        ),
        (
            {
                "type": "Polygon",
                "coordinates": [
                    [[500000, 5200000], [500800, 5200000], [500800, 5200800], [500000, 5200000]]
                ],
            },
            'fields.geojson feature 1 "1": is not in degrees of longitude and latitude; '
            "export it in WGS 84, EPSG:4326",
        ),
        (
            {"type": "Polygon", "coordinates": [[[0, 0], [1, 1], [1, 0], [0, 1], [0, 0]]]},
            'fields.geojson feature 1 "1": crosses or touches itself (self-intersection); '
            "draw the boundary again",
        ),
        (
            {"type": "Polygon", "coordinates": "x"},
            'fields.geojson feature 1 "1": is not a polygon with closed rings; '
            "draw its boundary as a polygon",
        ),
    ],
)
def test_messages_of_geojson(folder, geometry, message):
    feature = {"type": "Feature", "properties": {"id": "1"}, "geometry": geometry}
    write(
        folder, "fields.geojson", json.dumps({"type": "FeatureCollection", "features": [feature]})
    )
    assert message in problem_lines(folder)


@pytest.mark.parametrize(
    "text", ["", "[]", "{", '{"features": 3}', "[" * 5000, '{"features": [1, null]}']
)
def test_broken_geojson(folder, text):
    write(folder, "fields.geojson", text)
    assert any(line.startswith("fields.geojson") for line in problem_lines(folder))
