"""Time from an entry on the page to new orders, and of the page's answers meanwhile.

Run `python tests/bench_replan.py` on an idle machine. The benchmark copies the sample farm, prints
wall-clock seconds of warm replans and milliseconds of answers over HTTP while they run, and
appends the figures to the benchmark log.
"""

from __future__ import annotations

import re
import statistics
import tempfile
import threading
import time
import urllib.parse
import urllib.request
from datetime import datetime
from http.cookiejar import CookieJar
from pathlib import Path

import waitress
from benchmark_log import record
from farm_folder import copy_sample

from scheduler.farm_files.folder import read_farm
from scheduler.web.app import create_app
from scheduler.web.planner import Planner
from scheduler.web.server import shifted_clock

ENTRIES = (
    ("sample", {"subject": "F07", "moisture": "17.5"}),
    ("ground", {"subject": "F01", "ground": "soft"}),
    ("down", {"subject": "C2"}),
    ("repaired", {"subject": "C2"}),
    ("ground", {"subject": "F11", "ground": "firm"}),
)


class Visitor:
    """A browser without a screen, which keeps its cookies."""

    def __init__(self, address: str) -> None:
        self.address = address
        self.open = urllib.request.build_opener(
            urllib.request.HTTPCookieProcessor(CookieJar())
        ).open

    def get(self, path: str) -> str:
        """Return the text of a page."""
        with self.open(self.address + path) as answer:
            return str(answer.read().decode())

    def post(self, path: str, form: str, values: dict[str, str]) -> None:
        """Load the page `form` and send its hidden values with `values` to `path`."""
        hidden = re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', self.get(form))
        data = urllib.parse.urlencode({**dict(hidden), **values}).encode()
        self.open(self.address + path, data).close()


def replan(visitor: Visitor, planner: Planner, answers: list[float]) -> float:
    """Return the seconds of one replan; load pages all the while and keep their seconds."""
    began = time.perf_counter()
    visitor.post("/replan", "/replan", {})
    while planner.state.running:
        for path in ("/", "/fields", "/enter/sample", "/season"):
            asked = time.perf_counter()
            visitor.get(path)
            answers.append(time.perf_counter() - asked)
        time.sleep(0.05)
    if planner.state.error:
        raise SystemExit(planner.state.error)
    return time.perf_counter() - began


def main() -> None:
    """Measure, print and record."""
    with tempfile.TemporaryDirectory() as folder:
        farm = copy_sample(Path(folder) / "farm")
        planner = Planner(farm)
        zone = read_farm(farm).tz
        start = datetime(2026, 8, 12, 6, 0, tzinfo=zone)
        app = create_app(farm, planner=planner, now=shifted_clock(start))
        server = waitress.create_server(app, host="127.0.0.1", port=0, threads=8)
        threading.Thread(target=server.run, daemon=True).start()
        visitor = Visitor(f"http://127.0.0.1:{server.effective_port}")
        answers: list[float] = []
        cold = replan(visitor, planner, [])
        print(f"first, from a cold start: {cold:.1f} s")
        runs = []
        for kind, values in ENTRIES:
            visitor.post(f"/enter/{kind}", f"/enter/{kind}", values)
            runs.append(replan(visitor, planner, answers))
        print("entry to new orders, warm:", ", ".join(f"{r:.1f}" for r in runs), "s")
        median_ms = 1000 * statistics.median(answers)
        p95_ms = 1000 * sorted(answers)[int(0.95 * len(answers))]
        print(
            f"answers while replanning: median {median_ms:.0f} ms, "
            f"95th percentile {p95_ms:.0f} ms, {len(answers)} pages"
        )
        figures = {"cold_s": cold, "warm_s": runs, "median_ms": median_ms, "p95_ms": p95_ms}
        record("replan", figures)
        planner.close()
        server.close()


if __name__ == "__main__":
    main()
