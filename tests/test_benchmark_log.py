"""Each run of a benchmark adds one line that names commit and machine."""

import json

from benchmark_log import record


def test_a_run_appends_one_line(tmp_path):
    log = tmp_path / "made" / "benchmarks.jsonl"
    record("solver farms", {"wall_s": 1.5}, log)
    record("solver farms", {"wall_s": 1.25}, log)
    lines = [json.loads(text) for text in log.read_text(encoding="utf-8").splitlines()]
    assert [line["figures"]["wall_s"] for line in lines] == [1.5, 1.25]
    assert lines[0]["benchmark"] == "solver farms"
    assert {"time", "commit", "version", "python", "cores", "load"} <= lines[0].keys()
