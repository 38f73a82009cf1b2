"""Benchmarks keep their figures: one JSON line a run, so that runs can be compared later."""

import json
import os
import platform
import subprocess
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path

from places import ROOT

LOG = ROOT / ".artefacts" / "benchmarks.jsonl"


def commit() -> str:
    """Return the short name of the commit, with '+' where the work tree differs from it."""
    command = ("git", "describe", "--always", "--dirty=+", "--exclude", "*")
    run = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    return run.stdout.strip() or "unknown"


def record(benchmark: str, figures: dict[str, object], log: Path = LOG) -> None:
    """Append the figures of one run with the machine and the commit that they belong to.

    Parameters
    ----------
    benchmark : name of the benchmark, and of its part where it has several.
    figures : by name with unit, for example 'wall_s'.
    log : JSON Lines file (one object a line); made where it is missing.
    """
    line = {
        "time": datetime.now(UTC).isoformat(timespec="seconds"),
        "commit": commit(),
        "version": version("afterrain"),
        "python": platform.python_version(),
        "cores": os.cpu_count(),
        "load": round(os.getloadavg()[0], 1),
        "benchmark": benchmark,
        "figures": figures,
    }
    log.parent.mkdir(exist_ok=True)
    with log.open("a", encoding="utf-8") as file:
        file.write(json.dumps(line) + "\n")
