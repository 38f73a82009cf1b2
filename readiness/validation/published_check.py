"""A published statement beside the value that the model gives for it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class PublishedCheck:
    """A published statement: the model's `value` should lie between `low` and `high`."""

    name: str
    unit: str
    low: float
    high: float
    value: float
    source: str

    @property
    def holds(self) -> bool:
        """Whether the value lies within the published range."""
        return self.low <= self.value <= self.high
