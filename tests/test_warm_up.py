"""The second process that compiles ahead: waited for, done without, never left behind."""

import shutil
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from scheduler.command import main
from scheduler.command import plan as command
from scheduler.errors import FarmError
from scheduler.solver import warm_up as ahead
from scheduler.solver.annealing import search
from scheduler.solver.warm_up import NEEDS, WarmUp

SAMPLE = Path(__file__).parent.parent / "sample_forecasts"
SEARCH = "searching for orders"


def child(*lines, then="import time; time.sleep(600)"):
    """A command that prints lines and then, if not told otherwise, stays."""
    return (sys.executable, "-c", f"print(*{lines!r}, sep='\\n', flush=True); {then}")


@pytest.fixture
def cold(monkeypatch):
    monkeypatch.setattr(ahead, "wanted", lambda: True)


def test_a_stage_waits_until_the_child_is_done_with_it(cold):
    with WarmUp(child(SEARCH, "proving how good they are")) as running:
        running.wait("pricing make-ups")
        assert running.done == {SEARCH}
        running.wait("proving how good they are")
        assert running.done == {SEARCH, "proving how good they are"}


def test_what_needs_nothing_compiled_does_not_wait(cold):
    with WarmUp(child(SEARCH)) as running:
        running.wait("running soil and grain")
        assert not running.done


@pytest.mark.parametrize("then", ["", "raise SystemExit(1)"])
def test_a_child_that_ends_or_fails_is_waited_for_no_longer(cold, then):
    with WarmUp(child("looking for better orders", then=then)) as running:
        running.wait("proving how good they are")
        assert running.child is None
        running.wait("proving how good one order can be")


def test_a_child_that_hangs_is_waited_for_no_longer_than_patience(cold, monkeypatch):
    monkeypatch.setattr(ahead, "PATIENCE", 0.2)
    with WarmUp(child()) as running:
        running.wait("pricing make-ups")
        assert running.child is None


def test_a_child_that_cannot_start_is_done_without(cold, tmp_path):
    with WarmUp((str(tmp_path / "nothing"),)) as running:
        assert running.child is None
        running.wait("pricing make-ups")


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


def test_wanted_on_the_first_run_only_and_with_a_second_processor(monkeypatch, tmp_path):
    stored = SimpleNamespace(stats=SimpleNamespace(cache_path=str(tmp_path)))
    monkeypatch.setattr(ahead, "anneal", stored)
    monkeypatch.setattr(ahead.os, "cpu_count", lambda: 2)
    assert ahead.wanted()
    monkeypatch.setattr(ahead.os, "cpu_count", lambda: 1)
    assert not ahead.wanted()
    monkeypatch.setattr(ahead.os, "cpu_count", lambda: 2)
    (tmp_path / "annealing.anneal-1.py311.nbi").touch()
    assert not ahead.wanted()


def test_not_wanted_once_a_search_is_stored():
    tables = ahead.small()
    search(tables, tables.prefixes, moves=1)
    assert not ahead.wanted()


def test_the_child_goes_through_every_stage_needed(capsys):
    ahead.main()
    assert set(NEEDS.values()) <= set(capsys.readouterr().out.splitlines())


def test_the_planner_waits_before_the_make_ups(monkeypatch, tmp_path):
    folder, begun = tmp_path / "farm", []
    shutil.copytree(SAMPLE, folder, ignore=shutil.ignore_patterns("plans", "reviews", "*.sqlite*"))

    def wait(self, text):
        begun.append(text)
        if text == "pricing make-ups":
            raise FarmError("seen enough")

    monkeypatch.setattr(command.WarmUp, "wait", wait)
    assert main(["plan", str(folder), "--on", "2026-08-12"]) == 1
    assert begun[-1] in NEEDS
