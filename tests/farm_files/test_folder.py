"""The farm folder: crops and units, missing files, and broken files that never give a traceback."""

import json
import math
import shutil
import tempfile
from datetime import UTC, date, datetime, time
from pathlib import Path

import pandas as pd
import pytest
from farm_folder import FARM_FILES, HEAD, ROW, copy_sample, edit, problem_lines, write
from hypothesis import given, settings
from hypothesis import strategies as st
from places import SAMPLE

from readiness.grain.crops import CROPS
from scheduler.costs.grain_value import LOSSES
from scheduler.errors import FarmError
from scheduler.farm.model import Rules
from scheduler.farm.units import normalized_name
from scheduler.farm_files import vocabulary
from scheduler.farm_files.folder import farm_language, farm_problems, read_farm, read_rain
from scheduler.farm_files.new_folder import new_farm


def test_starter_is_read_in_si(folder):
    farm = read_farm(folder)
    field = farm.fields[0]
    assert field.area_ha == pytest.approx(155 * 0.40468564)
    assert field.yield_t_ha == pytest.approx(55 * 0.067251, rel=1e-4)
    assert (field.crop, field.texture) == ("wheat_hard", "loam")
    assert (field.sand, field.clay) == (0.40, 0.20)
    assert field.sample_at == datetime(2026, 8, 11, 23, tzinfo=UTC)
    assert field.ripe == date(2026, 7, 25)
    assert field.residue == 0.5
    combine = farm.combines[0]
    assert combine.header_m == pytest.approx(40 * 0.3048)
    assert combine.speed_kmh == pytest.approx(3.8 * 1.609344)
    assert combine.tank_m3 == pytest.approx(400 * 0.03523907)
    assert combine.flow_t_h == pytest.approx(1500 * 60 * 0.45359237 / 1000)
    assert combine.loaded_t == pytest.approx(62000 * 0.45359237 / 1000)
    market = farm.points[0].markets["wheat_hard"]
    assert market.price_t == pytest.approx(7.00 / (60 * 0.45359237 / 1000))
    assert market.moisture_discount.steps[0] == pytest.approx((13.5, 0.05 / 0.0272155422))
    assert market.test_weight_discount.steps[0][0] == pytest.approx(1.292 * 56 + 1.419)
    assert market.sprout_discount.steps[0][0] == 0.01
    assert farm.points[0].week == ((time(8), time(19)),) * 5 + ((time(8), time(17)), None)
    assert farm.points[1].week == ((time(0), time(0)),) * 7
    assert farm.tz.key == "America/Chicago"
    assert farm.elevation_m == pytest.approx(457.2)


def test_metric_farm_without_units_in_its_names(folder):
    edit(folder, "farm.toml", 'units = "us"', 'units = "metric"')
    edit(folder, "farm.toml", "header_ft = 40", "header = 12")
    edit(folder, "farm.toml", "tank_bu = 400", "tank = 14")
    write(
        folder,
        "fields.csv",
        "id,lat,lon,area,crop,sand,clay,yield\na,47.1,-99.5,64,barley,40,20,4.1\n",
    )
    farm = read_farm(folder)
    assert (farm.combines[0].header_m, farm.combines[0].tank_m3) == (12, 14)
    assert (farm.fields[0].area_ha, farm.fields[0].yield_t_ha) == (64, 4.1)
    assert (farm.fields[0].sand, farm.fields[0].clay) == (0.40, 0.20)


def test_unit_in_a_heading_wins(folder):
    write(
        folder,
        "fields.csv",
        "Field ID,Lat,Lon,Area (ha),Crop,Soil type,Expected yield (t/ha)\n"
        "a,47.1,-99.5,64,Durum,Clay Loam,4.1\n",
    )
    edit(
        folder, "farm.toml", '[[point.market]]\ncrop = "barley"', '[[point.market]]\ncrop = "durum"'
    )
    field = read_farm(folder).fields[0]
    assert (field.area_ha, field.yield_t_ha, field.crop) == (64, 4.1, "wheat_durum")
    assert (field.sand, field.clay) == (0.30, 0.35)


@pytest.mark.parametrize(
    "word", ["Spring Wheat", "HRS", "hard red winter", "durum", "Milo", "maize"]
)
def test_crop_names(word):
    assert vocabulary.CROP_NAMES[normalized_name(word)] in CROPS


# published: hard red spring alone has lower test weights than the other wheats (7 CFR 810.2204)
@pytest.mark.parametrize(
    ("word", "spring"),
    [
        ("Spring Wheat", True),
        ("HRS", True),
        ("wheat", False),
        ("hard red winter", False),
        ("spring barley", False),
    ],
)
def test_hard_red_spring_is_distinct_from_other_wheat(folder, word, spring):
    write(folder, "fields.csv", f"{HEAD}\n{ROW.replace('spring wheat', word)}\n")
    assert read_farm(folder).fields[0].spring is spring


def test_loss_settings_have_the_names_of_loss_terms(folder):
    edit(
        folder,
        "farm.toml",
        "[moves]",
        """[losses.durum]
test_weight_per_wetting_lb_bu = 1
test_weight_loss_max_kg_hl = 6
rut_per_ac = 8
leave_days = 10
leave_share_pct = 12
leave_wettings_day = 0.2
shatter_day_pct = 0.4
lodged_loss_pct = 15
header_dry_pct = 9
header_loss_point_pct = 3
header_loss_max_pct = 12

[moves]""",
    )
    losses = read_farm(folder).losses["wheat_durum"]
    assert set(losses) == set(LOSSES) | {
        "shatter_day",
        "test_weight_per_wetting",
        "header_dry_pct",
    }
    assert losses["test_weight_per_wetting"] == pytest.approx(1.2872, abs=5e-5)
    assert losses["rut_ha"] == pytest.approx(8 / 0.40468564)
    assert losses["leave_share"] == pytest.approx(0.12)
    assert losses["lodged_loss"] == pytest.approx(0.15)
    assert losses["shatter_day"] == pytest.approx(0.004)


def test_no_folder(tmp_path):
    with pytest.raises(FarmError, match=r"nowhere: does not exist; give your farm's folder"):
        read_farm(tmp_path / "nowhere")
    (tmp_path / "file").write_text("x")
    assert "is not a folder" in problem_lines(tmp_path / "file")[0]


def test_empty_folder(tmp_path):
    assert problem_lines(tmp_path) == [
        f"{name}: is missing; write it, or start from `afterrain new {tmp_path}-start`"
        for name in ("farm.toml", "fields.csv")
    ]


@pytest.mark.parametrize("name", ["farm.toml", "fields.csv", "rain.csv", "fields.geojson"])
@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"PK\x03\x04rest", "is a spreadsheet workbook or zip file, not text"),
        (bytes(range(256)) * 40, "is not text (binary data)"),
        (b"\x00" * 5000, "is not text (binary data)"),
    ],
)
def test_binary_junk(folder, name, content, message):
    (folder / name).write_bytes(content)
    assert f'{name}: {message}; save it as "CSV UTF-8" and try again' in problem_lines(folder) or (
        f"{name}: {message}; save it as plain text and try again" in problem_lines(folder)
    )


@pytest.mark.parametrize("name", ["farm.toml", "fields.csv", "rain.csv", "fields.geojson"])
def test_a_200_megabyte_file_is_not_opened(folder, name):
    with (folder / name).open("wb") as file:
        file.truncate(200_000_000)
    assert (
        f"{name}: is 200 MB; files above 50 MB are not read; keep this season's rows only"
    ) in problem_lines(folder)


def test_file_without_permission(folder, monkeypatch):
    def refuse(path):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_bytes", refuse)
    assert (
        "fields.csv: cannot be read: permission denied; give yourself permission to read it"
        in problem_lines(folder)
    )


def test_a_folder_in_the_place_of_a_file(folder):
    (folder / "rain.csv").unlink()
    (folder / "rain.csv").mkdir()
    assert problem_lines(folder) == [
        "rain.csv: is a folder, not a file; move it away and put the file there"
    ]


@pytest.mark.parametrize("name", ["farm.toml", "fields.csv", "rain.csv"])
def test_empty_file(folder, name):
    write(folder, name, "")
    assert any(line.startswith(name) for line in problem_lines(folder))


FILES = ("farm.toml", "fields.csv", "rain.csv")


BITS = st.one_of(
    st.text(max_size=12),
    st.sampled_from(
        [
            "",
            "-1",
            "0",
            "1e999",
            "nan",
            "inf",
            "9" * 400,
            "[]",
            "{}",
            '"',
            "'",
            ",",
            ";",
            "\n",
            "\r",
            "=",
            "[[combine]]",
            "true",
            "1979-05-27",
            "07:32:00",
            "2026-03-08 02:30",
            "€",
            "\ufeff",
            "1,5",
            "1.234,5",
            "13/13/2026",
            "[" * 50,
            "POLYGON((0 0))",
            "id",
            "#",
        ]
    ),
)


@pytest.mark.slow
@settings(max_examples=250, deadline=None)
@given(st.data())
def test_mutated_folder_gives_a_farm_or_a_message(data):
    with tempfile.TemporaryDirectory() as parent:
        folder = Path(parent) / "farm"
        new_farm(folder)
        for _ in range(data.draw(st.integers(1, 4))):
            path = folder / data.draw(st.sampled_from(FILES))
            text = path.read_bytes().decode("utf-8", errors="surrogateescape")
            a = data.draw(st.integers(0, len(text)))
            long = data.draw(st.sampled_from([0, 1, 2, 8, 60, 4000]))
            text = text[:a] + data.draw(BITS) + text[a + long :]
            path.write_bytes(text.encode("utf-8", errors="surrogateescape"))
        problems = farm_problems(folder)
        assert all(p.file and p.message and p.remedy for p in problems)
        if problems:
            with pytest.raises(FarmError):
                read_farm(folder)
        else:
            farm = read_farm(folder)
            assert all(f.area_ha > 0 and f.yield_t_ha > 0 for f in farm.fields)
            assert (read_rain(folder, farm)["mm"] >= 0).all()


@settings(max_examples=60, deadline=None)
@given(st.sampled_from([*FILES, "fields.geojson"]), st.binary(max_size=300))
def test_random_bytes_give_a_message(name, content):
    with tempfile.TemporaryDirectory() as parent:
        folder = Path(parent) / "farm"
        new_farm(folder)
        (folder / name).write_bytes(content)
        problems = farm_problems(folder)
        assert problems or name == "rain.csv"


def test_copy_keeps_the_original(folder, tmp_path):
    """Reading writes nothing."""
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    shutil.copytree(folder, tmp_path / "again")
    read_farm(folder)
    farm_problems(folder)
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before


def test_the_order_of_rows_changes_nothing(tmp_path):
    copy_sample(tmp_path / "farm", *FARM_FILES)
    path = tmp_path / "farm" / "fields.csv"
    head, *rows = path.read_text(encoding="utf-8").splitlines(keepends=True)
    given = read_farm(SAMPLE)
    for order in (reversed(rows), [*rows[9:], *rows[:9]]):
        path.write_text(head + "".join(order), encoding="utf-8")
        assert read_farm(tmp_path / "farm") == given


def test_the_order_of_readings_and_boundaries_changes_nothing(tmp_path):
    copy_sample(tmp_path / "farm", *FARM_FILES)
    sample = read_farm(SAMPLE)
    readings = read_rain(SAMPLE, sample)
    shapes = json.loads((SAMPLE / "fields.geojson").read_text(encoding="utf-8"))
    shapes["features"].reverse()
    write(tmp_path / "farm", "fields.geojson", json.dumps(shapes))
    head, *rows = (SAMPLE / "rain.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    write(tmp_path / "farm", "rain.csv", head + "".join(reversed(rows)))
    assert read_farm(tmp_path / "farm") == sample
    pd.testing.assert_frame_equal(read_rain(tmp_path / "farm", sample), readings)


def test_fields_stand_in_the_natural_order_of_their_ids(folder):
    ids = ("F10", "F2", "west 3", "F02", "F2b", "7", "East")
    text = HEAD + "".join(f"\n{i}{ROW[1:]}" for i in ids)
    write(folder, "fields.csv", text)
    assert [f.id for f in read_farm(folder).fields] == [
        "7",
        "East",
        "F02",
        "F2",
        "F2b",
        "F10",
        "west 3",
    ]


@pytest.mark.parametrize(
    ("setting", "hectares"),
    [
        ("", Rules.share_from_ha),
        ("share_from_ac = 320", 320 * 0.40468564),
        ("share_from_ha = 100", 100.0),
        ("share_from = 320", 320 * 0.40468564),
        ("share_from_ac = 0", 0.0),
        ("share_from_ac = false", None),
        ('share_from_ac = "never"', None),
    ],
)
def test_area_from_which_two_crews_share_a_field(folder, setting, hectares):
    edit(folder, "farm.toml", "# share_from_ac = 320", f"{setting}  #")
    assert read_farm(folder).rules.share_from_ha == pytest.approx(hectares)


@pytest.mark.parametrize(
    ("setting", "joins", "leaves"),
    [
        ('from = "2026-08-20"', "2026-08-20 00:00", None),
        ("from = 2026-08-20", "2026-08-20 00:00", None),
        ("until = 2026-08-20", None, "2026-08-21 00:00"),
        ('until = "2026-08-20 18:00"', None, "2026-08-20 18:00"),
        ("from = 2026-08-20T09:30:00", "2026-08-20 09:30", None),
        ('from = "2026-08-20"\nuntil = "2026-08-20"', "2026-08-20 00:00", "2026-08-21 00:00"),
        # the clocks of this farm go back on 1 November 2026: that day has 25 hours
        ("until = 2026-11-01", None, "2026-11-02 00:00"),
    ],
)
@pytest.mark.parametrize("machine", ['"big combine"', '"cart"', '"semi"'])
def test_machines_that_join_later_or_leave(folder, machine, setting, joins, leaves):
    edit(folder, "farm.toml", f"id = {machine}", f"id = {machine}\n{setting}")
    farm = read_farm(folder)
    machines = (*farm.combines, *farm.carts, *farm.trucks)
    (found,) = (m for m in machines if f'"{m.id}"' == machine)
    at = [t and f"{t.astimezone(farm.tz):%Y-%m-%d %H:%M}" for t in (found.joins, found.leaves)]
    assert at == [joins, leaves]
    assert len(found.elsewhere) == (joins is not None) + (leaves is not None)


def test_absences_of_days_and_of_part_of_a_day(folder):
    texts = (
        '"2026-08-13"',
        "2026-08-14",
        '"2026-08-17 - 2026-08-19"',
        '"2026-08-20 12:00 - 2026-08-20 18:00"',
        '"2026-08-20 19:00 - 20:30"',
        '"2026-08-21 - 2026-08-22 12:00"',
        '"2026-08-23 12:00 - 2026-08-24"',
    )
    edit(folder, "farm.toml", '# absent = ["2026-08-15"]', f"absent = [{', '.join(texts)}] #")
    farm = read_farm(folder)
    (crew,) = farm.crews
    assert [d.day for d in crew.absent] == [13, 14, 17, 18, 19, 21, 24]
    away = [tuple(f"{t.astimezone(farm.tz):%d %H:%M}" for t in pair) for pair in crew.away]
    assert away == [
        ("20 12:00", "20 18:00"),
        ("20 19:00", "20 20:30"),
        ("21 00:00", "22 12:00"),
        ("23 12:00", "25 00:00"),
    ]
    assert all(t.tzinfo is UTC for pair in crew.away for t in pair)


def test_dates_between_which_a_field_may_be_cut(folder):
    edit(folder, "fields.csv", ",cut_pct,", ",Not before,harvest by,cut_pct,")
    path = folder / "fields.csv"
    head, first, *rest = path.read_text(encoding="utf-8").splitlines()
    dated = first.replace(",grain,", ",grain,2026-08-14 15:00,2026-08-20,")
    others = [line.replace(",grain,", ",grain,,,") for line in rest]
    write(folder, "fields.csv", "\n".join([head, dated, *others]))
    field = read_farm(folder).fields[0]
    # farm time is UTC - 5 h; a day alone ends with the day
    assert field.not_before == datetime(2026, 8, 14, 20, tzinfo=UTC)
    assert field.not_after == datetime(2026, 8, 21, 5, tzinfo=UTC)
    edit(folder, "fields.csv", "2026-08-20,", "2026-08-13,")
    assert "ends before cutting may begin" in problem_lines(folder)[0]


def test_header_speed_and_efficiency_by_crop(folder):
    extra = (
        '[[combine.crop]]\ncrop = "corn"\nheader_ft = 30\nspeed_mph = 4.5\n\n'
        '[[combine.crop]]\ncrop = "soybeans"\nefficiency_pct = 65\n\n[[cart]]'
    )
    edit(folder, "farm.toml", "[[cart]]", extra)
    combine = read_farm(folder).combines[0]
    corn, beans = combine.in_crop("corn"), combine.in_crop("soybean")
    assert (corn.header_m, corn.efficiency) == pytest.approx((30 * 0.3048, 0.70))
    assert corn.speed_kmh == pytest.approx(4.5 * 1.609344)
    assert (beans.header_m, beans.efficiency) == (combine.header_m, 0.65)
    assert combine.in_crop("barley") == combine
    edit(folder, "farm.toml", 'crop = "soybeans"', 'crop = "maize"')
    assert 'crop "corn" is there twice' in problem_lines(folder)[0]


@pytest.mark.parametrize(
    ("written", "language"), [("", "en"), ('language = "de"', "de"), ('language = "es"', "es")]
)
def test_the_language_of_a_farm(folder, written, language):
    file = folder / "farm.toml"
    file.write_text(f"{written}\n{file.read_text()}")
    assert read_farm(folder).language == farm_language(folder) == language


def test_an_unknown_language_is_refused_with_those_known(folder):
    file = folder / "farm.toml"
    file.write_text(f'language = "klingon"\n{file.read_text()}')
    with pytest.raises(FarmError, match='language "klingon" is not known; use one of en, de, es'):
        read_farm(folder)
    assert farm_language(folder) == "en"


@pytest.mark.parametrize(
    ("word", "days"), [("low", 4.0), ("usual", None), ("High", 15.0), ("12", 12.0), ("7.5", 7.5)]
)
def test_dormancy_lodging_and_swaths_of_a_field(folder, word, days):
    # published: lags of 4 to more than 15 days by cultivar (Bauer & Black 1983)
    head, row = f"{HEAD},dormancy,lodged_pct,swathed", f"{ROW},{word},30,2026-08-01"
    write(folder, "fields.csv", f"{head}\n{row}\n")
    only = read_farm(folder).fields[0]
    assert (only.dormancy_days, only.lodged, only.swathed) == (days, 0.3, date(2026, 8, 1))


@pytest.mark.parametrize("word", ["never", "-5", "1e400"])
def test_a_wrong_dormancy_is_a_message(folder, word):
    write(folder, "fields.csv", f"{HEAD},dormancy\n{ROW},{word}\n")
    with pytest.raises(FarmError, match=rf"dormancy: dormancy \"{word}\" is not known; write low"):
        read_farm(folder)


def test_the_limit_of_straw_is_a_rule_by_crop(folder):
    limits = "straw_limit_pct = { spring_wheat = 62, durum = 100 }"
    edit(folder, "farm.toml", "lightning_stop = true", f"lightning_stop = true\n{limits}")
    assert read_farm(folder).rules.straw_limit_pct == {"wheat_hard": 62.0, "wheat_durum": math.inf}


def test_a_dryer_has_points_and_natural_air_takes_weeks(folder):
    edit(folder, "farm.toml", "# dryer_bu_h = 800 ", "dryer_bu_h = 800 ")
    edit(folder, "farm.toml", "# wet_room_bu = 4000 ", "wet_room_bu = 4000 ")
    bins = read_farm(folder).points[-1]
    assert bins.dryer_points == 5.0  # common practice: makers rate dryers at 5 and at 10 points
    edit(folder, "farm.toml", "# dryer_points = 5 ", "dryer_points = 10 ")
    assert read_farm(folder).points[-1].dryer_points == 10.0
    edit(folder, "farm.toml", "# Fans alone", "natural_air_days = 35 # Fans alone")
    assert "natural_air_days: dryer is there too; keep one" in problem_lines(folder)[0]
    edit(folder, "farm.toml", "dryer_bu_h = 800 ", "# dryer_bu_h = 800 ")
    # hand: 4000 bu of 60 lb are 108.86 t; in 35 days of 24 h 0.1296 t an hour
    assert read_farm(folder).points[-1].dryer_t_h == pytest.approx(108.86 / (35 * 24), rel=1e-4)
    edit(folder, "farm.toml", "natural_air_days = 35 ", "natural_air_days = 1 ")
    assert "natural_air_days" in problem_lines(folder)[0]
