"""Settings of the search over policies: every number that was tuned, with its measured effect."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class SearchSettings:
    """Numbers that steer the search; none of them makes a loss wrong."""

    # Policies that each of the two searches tries.
    iterations: int = 1500
    # Temperature at the start and the end, as a share of the loss.
    start_temperature: float = 0.0005
    end_temperature: float = 0.00003
    # Members after which a policy is compared and given up where it is clearly worse.
    race_members: tuple[int, ...] = (4, 8, 14)
    # Standard errors by which a policy must be worse to be given up.
    race_errors: float = 2.0
    # Share of the loss that a plainer policy may lose more.
    simpler_share: float = 0.0003


#: The settings that every caller uses; other ones are for measuring.
DEFAULTS = SearchSettings()
