"""Hours after rain: the published rule by hand, laws over textures and drainage, and the table."""

import pytest

from readiness.validation.hours_after_rain import (
    RAINS,
    TEXTURES,
    ground_checks,
    hours_after_rain,
    hours_to_lower_table,
    rule_hours,
)
from scheduler.verification.model_tables import after_rain_lines

ROWS = hours_after_rain()


def by(rows, **facts):
    return [r for r in rows if all(getattr(r, k) == v for k, v in facts.items())]


def test_published_rule_by_hand():
    # hand: 50 mm fill the store of 40 mm; the rain day is none; after 5 mm of ET 35 mm are under
    # 36: the next day at 08:00 is 26 h after 06:00
    assert rule_hours(50.0, 1, wet=False) == 26
    # hand: 2 mm on half of 40 mm leave 22 mm, and less than 3 mm of rain stop nothing
    assert rule_hours(2.0, 1, wet=False) == 2


def test_statements_of_publications_and_practice_hold():
    for check in ground_checks(ROWS):
        assert check.low <= check.value <= check.high, check


def test_more_rain_and_wetter_ground_never_open_earlier():
    for texture in TEXTURES:
        for drainage in ("poor", "good", "tiled"):
            for wet in (False, True):
                own = [
                    by(ROWS, texture=texture, drainage=drainage, wet=wet, rain_mm=mm)[0]
                    for mm, nights in RAINS
                    if nights == 1
                ]
                assert own[0].headland <= own[1].headland
                assert own[0].firm <= own[1].firm
            dry, moist = (
                by(ROWS, texture=texture, drainage=drainage, wet=w, rain_mm=50.0)[0]
                for w in (False, True)
            )
            assert dry.firm <= moist.firm


def test_heavy_rain_on_sandy_loam_costs_more_than_the_day():
    # published: covered sandy loam drains for about 50 h (Jabro et al. 2009); evaporation helps
    for wet in (False, True):
        row = by(ROWS, texture="sandy loam", drainage="good", wet=wet, rain_mm=95.0)[0]
        assert 24 <= row.headland < 50 <= row.firm <= 96


def test_poor_tiled_and_good_drainage_differ_on_wet_ground():
    for texture in ("loam", "silt loam", "silty clay loam", "clay"):
        poor, tiled, good = (
            by(ROWS, texture=texture, drainage=d, wet=True, rain_mm=95.0)[0]
            for d in ("poor", "tiled", "good")
        )
        assert good.headland < tiled.headland < poor.headland
        assert good.firm < tiled.firm < poor.firm
        assert all(r.headland <= r.firm for r in (poor, tiled, good))


def test_tile_lowers_the_table_of_saturated_ground_in_a_day_or_two():
    # published: drains lower the table below the roots in 24 to 48 hours after saturation
    assert all(12.0 <= hours <= 48.0 for hours in hours_to_lower_table().values())


def test_table_names_rain_drainage_and_rule():
    head, first, *rest = after_rain_lines(ROWS)
    assert head[:3] == ("texture", "before", "20 mm poor")
    assert head[-1] == "published rule"
    assert first[0] == "sandy loam"
    assert len(rest) == 2 * len(TEXTURES) - 1
    assert first[2] == f"{ROWS[0].headland}/{ROWS[0].firm}"


def test_no_workday_is_an_error():
    with pytest.raises(ValueError, match="leave no workday within 30 days"):
        rule_hours(9000.0, 60, wet=False)
