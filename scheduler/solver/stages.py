"""Stages of a long computation, by which callers follow its progress."""

from __future__ import annotations

from collections.abc import Callable
from enum import Enum


class Stage(Enum):
    """A stage of some computation; each computation lists its own in a subclass."""


#: Called with the stage that begins or goes on and the share of all work done, 0 to 1; an
#: exception that it raises stops the computation.
Progress = Callable[[Stage, float], None]


def ignore_progress(stage: Stage, share: float) -> None:
    """Progress that nobody follows."""
