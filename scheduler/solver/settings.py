"""Settings of the solver: every number that was tuned, with its unit and its measured effect."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Settings:
    """Numbers that steer search and bound; none of them makes a plan or a bound wrong."""

    # -- simulated annealing --
    block_jobs: int = 6
    start_temperature: float = 0.05
    end_temperature: float = 0.0006
    test_members: int = 4
    test_errors: float = 2.0
    short_search_moves: int = 20_000

    # -- searches of `solve` --
    first_moves: int = 1_000_000
    first_searches: int = 8
    repair_moves: int = 150_000
    repair_paths: int = 120
    repair_paths_members: int = 30
    repair_batch: int = 8
    close_gap: float = 0.005
    close_patience: int = 40
    polish_moves: int = 1_000_000
    polish_temperature: float = 0.005
    member_exponent: float = 0.4
    growth_jobs: int = 60
    growth_limit: float = 10.0
    fast_effort: float = 0.25

    # -- enumeration --
    enumeration_jobs: int = 8
    enumeration_nodes: int = 3_000_000

    # -- Lagrangian bound --
    iterations: int = 400
    iterations_members: int = 25
    iteration_growth_jobs: int = 150
    least_bound_effort: float = 0.4
    stall_iterations: int = 50
    stall_gap: float = 0.01
    least_step_size: float = 0.1
    greatest_step_size: float = 3.0
    recalled_paths: int = 20

    # -- bundle model --
    deviations: int = 12
    bundle_paths: int = 60
    bundle_paths_per_job: int = 4
    weight_sweeps: int = 20
    weight_updates: int = 300
    crew_coupling: float = 0.5
    first_step: float = 0.05
    step_growth: float = 1.3
    step_shrink: float = 0.8
    good_step: float = 0.2
    poor_step: float = 0.05

    # -- arc fixing --
    arcs_per_second: int = 3_000
    arc_seconds_first: float = 1.5
    arc_seconds_last: float = 8.0


#: The settings that every caller uses; other ones are for measuring.
DEFAULTS = Settings()
