"""Folders that tests read."""

from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
SAMPLE = ROOT / "sample_forecasts"
#: Open data beside the repository; a test that needs it skips where it is missing.
DATA = ROOT.parent / "shared" / "data"
