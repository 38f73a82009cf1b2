"""`afterrain new` and `afterrain check`: exit codes and exact lines."""

import os
from pathlib import Path

import pytest

from readiness.grain.crops import CROPS
from scheduler.command import main
from scheduler.errors import FarmError
from scheduler.farm_files.folder import farm_problems, read_farm
from scheduler.farm_files.new_folder import STARTER_FILES, new_farm


def test_starter_passes_check(tmp_path, capsys):
    folder = tmp_path / "farm"
    assert main(["new", str(folder)]) == 0
    assert capsys.readouterr().out == (
        f"wrote farm.toml, fields.csv, rain.csv, README.md into {folder}\n"
        f"put your own farm in, then run: afterrain check {folder}\n"
    )
    assert sorted(p.name for p in folder.iterdir()) == sorted(STARTER_FILES)
    assert main(["check", str(folder)]) == 0
    assert capsys.readouterr().out == (
        f"{folder}: no problems\n"
        "3 fields (385 ac), 1 crew, 1 combine, 1 cart, 2 trucks, 2 delivery points, "
        "5 gauge readings\n"
    )


def test_every_setting_of_the_starter_is_known(tmp_path):
    """Settings that are only shown behind '#' are right too."""
    new_farm(tmp_path / "farm")
    path = tmp_path / "farm" / "farm.toml"
    lines = []
    for line in path.read_text(encoding="utf-8").splitlines():
        bare = line.removeprefix("# ")
        shown = " = " in bare or bare.startswith("[[")
        lines.append(bare if bare != line and shown else line)
    text = "\n".join(lines)
    assert text.count("\n# ") < path.read_text(encoding="utf-8").count("\n# ")
    path.write_text(text, encoding="utf-8")
    assert farm_problems(tmp_path / "farm") == []
    rules = read_farm(tmp_path / "farm").rules
    assert rules.heat_index_stop_c == pytest.approx(39.4, abs=0.05)
    assert rules.wind_stop_ms == pytest.approx(20.1, abs=0.05)


def test_readme_names_every_column(tmp_path):
    new_farm(tmp_path / "farm")
    heading = (tmp_path / "farm" / "fields.csv").read_text().splitlines()[0]
    readme = (tmp_path / "farm" / "README.md").read_text()
    assert [c for c in heading.split(",") if f"{c} " not in readme and f"{c}," not in readme] == []


def test_readme_names_the_stage_of_heading_by_crop(tmp_path):
    new_farm(tmp_path / "farm")
    readme = (tmp_path / "farm" / "README.md").read_text()
    heading_row = next(line for line in readme.splitlines() if line.startswith("| heading "))
    for crop in CROPS.values():
        assert crop.heading_stage in heading_row
        assert (
            crop.heading_stage == "heading" or f"{crop.name}: {crop.heading_stage}" in heading_row
        )


def test_existing_files_are_left_alone(tmp_path, capsys):
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "fields.csv").write_text("precious")
    assert main(["new", str(tmp_path / "mine")]) == 1
    assert capsys.readouterr().err == (
        f'afterrain: "{tmp_path / "mine"}" holds files already and is left as it is; '
        "name a new folder\n"
    )
    assert (tmp_path / "mine" / "fields.csv").read_text() == "precious"
    (tmp_path / "file").write_text("precious")
    with pytest.raises(FarmError, match="is a file and is left as it is"):
        new_farm(tmp_path / "file")
    assert (tmp_path / "file").read_text() == "precious"


def test_empty_folder_is_filled(tmp_path):
    (tmp_path / "farm").mkdir()
    new_farm(tmp_path / "farm")
    assert farm_problems(tmp_path / "farm") == []


def test_relative_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    new_farm("farm")
    assert farm_problems("farm") == []


def test_parent_that_is_not_there(tmp_path):
    with pytest.raises(FarmError, match=r"no/such\" does not exist; make it first"):
        new_farm(tmp_path / "no" / "such" / "farm")


def test_a_failed_write_leaves_nothing(tmp_path, monkeypatch):
    real = Path.open

    def full(path, *args, **more):
        if path.name == "rain.csv":
            raise OSError(28, os.strerror(28))
        return real(path, *args, **more)

    monkeypatch.setattr(Path, "open", full)
    with pytest.raises(FarmError, match="cannot be written: No space left on device"):
        new_farm(tmp_path / "farm")
    assert list(tmp_path.iterdir()) == []


def test_check_lists_every_problem_as_a_table(tmp_path, capsys):
    new_farm(tmp_path / "farm")
    path = tmp_path / "farm" / "fields.csv"
    path.write_text(path.read_text().replace(",155,", ",-155,").replace(",barley,", ",barly,"))
    assert main(["check", str(tmp_path / "farm")]) == 1
    lines = capsys.readouterr().out.splitlines()
    assert lines == [
        "file        row  column   what is wrong                        what to do",
        "----------  ---  -------  -----------------------------------  ----------------------",
        "fields.csv  2    area_ac  area is -155 ac, must be above 0 ac  correct it",
        'fields.csv  3    crop     crop "barly" is not known            did you mean "barley"?',
        "",
        f"2 problems in {tmp_path / 'farm'}",
    ]


def test_check_of_a_folder_that_is_not_there(tmp_path, capsys):
    assert main(["check", str(tmp_path / "nowhere")]) == 1
    assert "does not exist" in capsys.readouterr().out


def test_usage(capsys):
    with pytest.raises(SystemExit) as error:
        main(["check"])
    assert error.value.code == 2
