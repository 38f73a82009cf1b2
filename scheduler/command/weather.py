"""Commands of the weather group."""

from __future__ import annotations

import argparse
from typing import Any


def register(commands: Any) -> None:
    """Add this group's subcommands."""
