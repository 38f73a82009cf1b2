"""Files of a plan: their names, and writing them whole or not at all."""

import json
import os
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from scheduler import atomic
from scheduler.report.files import file_name_parts, plan_files, write_plan


def test_file_name_parts_are_safe_and_distinct():
    names = ["North", "north", "../../etc/passwd", "Über-Crew", "日本", "", "con.txt", "a" * 300]
    made = file_name_parts(names)
    assert made[:4] == ["north", "north-2", "etc-passwd", "uber-crew"]
    assert len(set(made)) == len(names)
    assert all(
        s and len(s) <= 45 and set(s) <= set("abcdefghijklmnopqrstuvwxyz0123456789-") for s in made
    )


def test_write_plan_writes_all_and_nothing_else(morning, drawn, tmp_path):
    made = write_plan(morning, tmp_path)
    home = tmp_path / "plans" / "2025-08-16"
    names = {"sheet.html", "plan.json", "plan.csv"}
    names |= {f"crew-{k}.{e}" for k in ("north", "south") for e in ("txt", "ics")}
    assert {p.name for p in made} == names
    assert {p.name for p in home.iterdir()} == names
    assert [p.name for p in (tmp_path / "plans").iterdir()] == ["2025-08-16"]
    assert json.loads((home / "plan.json").read_text(encoding="utf-8"))["seed"] == morning.seed
    assert (home / "plan.csv").read_bytes().startswith(b"\xef\xbb\xbf")


def test_a_second_plan_of_the_day_replaces_the_first(morning, drawn, tmp_path):
    write_plan(morning, tmp_path)
    write_plan(replace(morning, seed=99, crews=morning.crews[:1]), tmp_path)
    home = tmp_path / "plans" / "2025-08-16"
    assert json.loads((home / "plan.json").read_text(encoding="utf-8"))["seed"] == 99
    text = (home / "crew-south.txt").read_text(encoding="utf-8")
    assert text == "Crew South, Sat 16 Aug: no orders, because no combine works with it.\n"


@pytest.mark.parametrize("stop_at", range(1, 12))
def test_an_interrupted_run_leaves_the_previous_plan_whole(
    morning, drawn, tmp_path, monkeypatch, stop_at
):
    """Interrupt at each file and each rename in turn."""
    write_plan(morning, tmp_path)
    before = {p.name: p.read_bytes() for p in (tmp_path / "plans" / "2025-08-16").iterdir()}
    steps = 0

    def counted(call):
        def stopping(*args, **more):
            nonlocal steps
            steps += 1
            if steps == stop_at:
                raise KeyboardInterrupt
            return call(*args, **more)

        return stopping

    monkeypatch.setattr(atomic, "_write_through", counted(atomic._write_through))
    monkeypatch.setattr(Path, "rename", counted(Path.rename))
    new = replace(morning, seed=99)
    try:
        write_plan(new, tmp_path)
    except KeyboardInterrupt:
        assert steps >= stop_at
    monkeypatch.undo()
    home = tmp_path / "plans" / "2025-08-16"
    after = {p.name: p.read_bytes() for p in home.iterdir()}
    assert set(after) == set(before)
    seed = json.loads(after["plan.json"])["seed"]
    assert after == before if seed == morning.seed else stop_at > 9
    assert [p.name for p in home.parent.iterdir()] == ["2025-08-16"]


def test_a_killed_run_is_mended_by_the_next(morning, drawn, tmp_path):
    home = write_plan(morning, tmp_path)[0].parent
    home.rename(home.with_name(".2025-08-16.previous"))  # killed between the two renames
    half = home.with_name(".2025-08-16.x.new")
    half.mkdir()
    long_ago = datetime(2025, 1, 1, tzinfo=UTC).timestamp()
    os.utime(half, (long_ago, long_ago))
    write_plan(replace(morning, seed=5), tmp_path)
    assert [p.name for p in home.parent.iterdir()] == ["2025-08-16"]
    assert json.loads((home / "plan.json").read_text(encoding="utf-8"))["seed"] == 5


def test_the_same_morning_gives_the_same_files(morning):
    assert plan_files(morning, {}) == plan_files(morning, {})
