"""Warm-up in a second process: waited for, done without, never left behind."""

import shutil
import sys
from types import SimpleNamespace

import pytest
from places import SAMPLE

from scheduler.command import main
from scheduler.command import plan as command
from scheduler.errors import FarmError
from scheduler.solver import warm_up
from scheduler.solver.annealing import search
from scheduler.solver.stages import SolveStage
from scheduler.solver.warm_up import WarmUp


def child(*stages, then="import time; time.sleep(600)"):
    """A command that prints stages and then runs `then`."""
    lines = tuple(stage.value for stage in stages)
    return (sys.executable, "-c", f"print(*{lines!r}, sep='\\n', flush=True); {then}")


@pytest.fixture
def cold(monkeypatch):
    monkeypatch.setattr(warm_up, "worth_starting", lambda: True)


def test_a_stage_waits_until_the_child_is_done_with_it(cold):
    with WarmUp(child(SolveStage.SEARCH, SolveStage.BOUND)) as running:
        running.wait(SolveStage.SEARCH)
        assert running.done == {"search"}
        running.wait(SolveStage.BOUND)
        assert running.done == {"search", "bound"}


def test_a_stage_that_is_finished_is_not_waited_for_again(cold):
    with WarmUp(child(SolveStage.SEARCH, then="pass")) as running:
        running.wait(SolveStage.SEARCH)
        running.wait(SolveStage.SEARCH)
        assert running.child is not None


@pytest.mark.parametrize("then", ["", "raise SystemExit(1)"])
def test_a_child_that_ends_or_fails_is_waited_for_no_longer(cold, then):
    with WarmUp(child(SolveStage.IMPROVE, then=then)) as running:
        running.wait(SolveStage.BOUND)
        assert running.child is None
        running.wait(SolveStage.COMMON_BOUND)


def test_a_child_that_hangs_is_waited_for_no_longer_than_patience(cold, monkeypatch):
    monkeypatch.setattr(warm_up, "TIMEOUT_S", 0.2)
    with WarmUp(child()) as running:
        running.wait(SolveStage.SEARCH)
        assert running.child is None


def test_a_child_that_cannot_start_is_done_without(cold, tmp_path):
    with WarmUp((str(tmp_path / "nothing"),)) as running:
        assert running.child is None
        running.wait(SolveStage.SEARCH)


def test_no_child_is_left_where_planning_stops(cold):
    running = WarmUp(child())

    def planning():
        with running:
            running.left = running.child
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        planning()
    assert running.left.returncode is not None
    assert running.left.stdout.closed


def test_worth_starting_on_the_first_run_only_and_with_a_second_processor(monkeypatch, tmp_path):
    stored = SimpleNamespace(stats=SimpleNamespace(cache_path=str(tmp_path)))
    monkeypatch.setattr(warm_up, "anneal", stored)
    monkeypatch.setattr(warm_up.os, "cpu_count", lambda: 2)
    assert warm_up.worth_starting()
    monkeypatch.setattr(warm_up.os, "cpu_count", lambda: 1)
    assert not warm_up.worth_starting()
    monkeypatch.setattr(warm_up.os, "cpu_count", lambda: 2)
    (tmp_path / "annealing.anneal-1.py311.nbi").touch()
    assert not warm_up.worth_starting()


def test_not_worth_starting_once_a_search_is_stored():
    tables = warm_up.small_problem()
    search(tables, tables.prefixes, moves=1)
    assert not warm_up.worth_starting()


def test_the_child_goes_through_every_stage_needed(capsys):
    warm_up.main()
    finished = set(capsys.readouterr().out.splitlines())
    assert {stage.value for stage in command.COMPILED_BY.values()} <= finished


def test_the_planner_waits_before_the_make_ups(monkeypatch, tmp_path, capsys):
    folder = tmp_path / "farm"
    shutil.copytree(SAMPLE, folder, ignore=shutil.ignore_patterns("plans", "reviews", "*.sqlite*"))

    def wait(self, stage):
        raise FarmError(f"waits for {stage.value}")

    monkeypatch.setattr(command.WarmUp, "wait", wait)
    assert main(["plan", str(folder), "--on", "2026-08-12"]) == 1
    assert "waits for search" in capsys.readouterr().err
