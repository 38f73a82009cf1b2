"""Settings of the search over policies: every number that was tuned, with its measured effect."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class SearchSettings:
    """Numbers that steer the search; none of them makes a loss wrong.

    Effects are measured on two mornings of the sample farm with three seeds each: mean loss of the
    plan on the members searched on, and CPU time, beside those of 600 policies ($243,422).
    """

    # Policies that each of the two searches tries. 300: $625 more in half the time; 1500: $796
    # less in 2.3 times; 3000: $1,640 less in 4.7 times, of which $218 hold on unseen members.
    iterations: int = 1500
    # Temperature at the start and the end, as a share of the loss. Three times or a third of both:
    # within $75.
    start_temperature: float = 0.0005
    end_temperature: float = 0.00003
    # Members after which a policy is compared and given up where it is clearly worse. No race:
    # within $82, 4 % more time.
    race_members: tuple[int, ...] = (4, 8, 14)
    # Standard errors by which a policy must be worse to be given up. 1: $358 less, 18 % less time;
    # 3: within $36, 22 % more time.
    race_errors: float = 1.0
    # Share of the loss that a plainer policy may lose more. 0: $49 less; 0.001: $198 more.
    simpler_share: float = 0.0003


#: The settings that every caller uses; other ones are for measuring.
DEFAULTS = SearchSettings()
