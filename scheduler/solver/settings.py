"""Settings of the solver: every number that was tuned, with its unit and its measured effect.

`python tests/bench_solver.py --settings` doubles and halves each number on generated tables that no
test uses. Its figures stand beside the numbers: the mean changes of cost (%) and gap (percentage
points) over the tables, and the change of CPU time.

Another seed alone changes the cost by -0.1 to +0.2 % and the gap by up to 0.1 points; runs that do
the same take up to 7 % more or less time. Figures below that are noise. The tables have up to 60
fields or 10 members and are solved at efforts from 0.03 to 1; settings for large farms (`growth`)
and many members (`test`) are measured on a further table too.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Settings:
    """Numbers that steer search and bound; none of them makes a plan or a bound wrong."""

    # -- simulated annealing --

    # Longest block of jobs that a move takes along, jobs.
    # x2: cost +0.1 %, gap 0, time -2 %; /2: cost +0.2 %, gap +0.2, time -2 %.
    block_jobs: int = 6
    # Start temperature, as a share of the mean worsening by a move.
    # x2: cost +0.3 %, gap +0.3, time -3 %; /2: cost +0.2 %, gap +0.2, time 0 %.
    start_temperature: float = 0.05
    # End temperature, in the same unit.
    # x2: cost +0.1 %, gap +0.1, time -3 %; /2: cost +0.2 %, gap +0.2, time -2 %.
    end_temperature: float = 0.0006
    # Members after which a move is tested and given up where it looks bad; then again each time.
    # x2: cost +0.1 %, gap +0.1, time +2 %; /2: cost 0 %, gap +0.1, time -1 %.
    test_members: int = 4
    # Standard errors by which a move must look too bad to be given up.
    # x2: cost 0 %, gap 0, time +5 %; /2: cost 0 %, gap 0, time -2 %.
    test_errors: float = 2.0
    # Moves of a short search, and least moves of a first search.
    # x2: cost +0.3 %, gap +0.3, time +6 %; /2: cost +0.5 %, gap +0.5, time -2 %.
    short_search_moves: int = 20_000

    # -- searches of `solve`, at effort 1 and for one member --

    # Moves of each of the two first searches.
    # x2: cost +0.1 %, gap +0.1, time +22 %; /2: cost +0.4 %, gap +0.4, time -10 %.
    first_moves: int = 1_000_000
    # First searches with several members, which share the moves of two.
    # x2: cost 0 %, gap 0, time +2 %; /2: cost +0.1 %, gap +0.1, time -1 %.
    first_searches: int = 8
    # Moves of a search from the orders of one iteration's paths; half with several members.
    # x2: cost +0.1 %, gap +0.1, time +19 %; /2: cost +0.2 %, gap +0.1, time -5 %.
    repair_moves: int = 150_000
    # Last iterations whose paths become orders.
    # x2: cost -0.2 %, gap -0.2, time +6 %; /2: same plans, time -7 %.
    repair_paths: int = 120
    # The same with several members, divided by their number.
    # x2: same plans; /2: cost +0.1 %, gap +0.1, time -1 %.
    repair_paths_members: int = 30
    # Searches from paths between two looks at whether they still pay.
    # x2: cost 0 %, gap 0, time -2 %; /2: cost 0 %, gap 0, time -1 %.
    repair_batch: int = 8
    # Gap below which searches from paths stop after `close_patience` in vain, share of the cost.
    # No measured table comes so near without a proof; kept, because such farms would take longer.
    close_gap: float = 0.005
    # Searches in vain; as above.
    close_patience: int = 40
    # Moves of each of the four last searches, which polish the best plans.
    # x2: cost 0 %, gap 0, time +18 %; /2: cost -0.1 %, gap -0.1, time -13 %.
    polish_moves: int = 1_000_000
    # Start temperature of searches from good plans, in the unit above; a twentieth at their end.
    # x2: cost 0 %, gap 0, time -4 %; /2: cost +0.1 %, gap +0.1, time -3 %.
    polish_temperature: float = 0.005
    # Moves fall with this power of the number of members.
    # x2: cost +0.1 %, gap 0, time -12 %; /2: cost +0.1 %, gap 0, time +5 %.
    member_exponent: float = 0.4
    # Jobs above which moves grow with the cube of the jobs.
    # x2: cost +1.8 % (+12.6 % on 160 fields in three days), time -4 %; /2: cost -0.1 %, time
    # +19 %.
    growth_jobs: int = 60
    # Most times that moves grow.
    # x2: cost -2.5 % (-17.7 % on 160 fields in three days), time +9 %; /2: cost +1.1 %, time
    # +1 %.
    growth_limit: float = 10.0

    # -- enumeration --

    # Most unlocked jobs for which all orders are enumerated.
    # x2: same plans, time +10 %; /2: cost 0 %, gap 0, time +33 %.
    enumeration_jobs: int = 8

    # -- Lagrangian bound --

    # Most iterations with one member.
    # x2: same plans; /2: cost +0.1 %, gap +0.1, time +2 %.
    iterations: int = 400
    # Most iterations for each of several members, whose bound `common_order` raises further.
    # x2: cost +0.1 %, gap -0.1, time +7 %; /2: cost +0.1 %, gap 0, time -3 %.
    iterations_members: int = 25
    # Least share of the iterations at a low effort.
    # x2: cost +0.1 %, gap -0.2, time +18 %; /2: cost +0.2 %, gap +0.5, time -12 %.
    least_bound_effort: float = 0.4
    # Iterations within which the gap must close by `stall_gap`, or the ascent stops.
    # x2: cost +0.1 %, gap +0.1, time +7 %; /2: cost -0.1 %, gap -0.1, time -1 %.
    stall_iterations: int = 50
    # Share of the gap.
    # x2: same plans; /2: cost +0.1 %, gap +0.1, time -3 %.
    stall_gap: float = 0.01
    # Greatest step size of a job relative to the others; below, it is the root of the job's first
    # multiplier over the mean.
    # x2: same plans; /2: cost 0 %, gap 0, time -3 %.
    greatest_step_size: float = 3.0

    # -- bundle model --

    # Paths added beside the cheapest at each iteration, each of which deviates from it once.
    # x2: cost +0.1 %, gap +0.1, time -6 %; /2: cost +0.3 %, gap +0.3, time -4 %.
    deviations: int = 12
    # Least number of paths kept for each member and crew.
    # x2: cost +0.3 %, gap +0.3, time -1 %; /2: cost +0.1 %, gap +0.1, time -2 %.
    bundle_paths: int = 60
    # Paths kept for each job of a crew, where that is more.
    # x2: cost +0.3 %, gap +0.3, time +1 %; /2: same plans.
    bundle_paths_per_job: int = 4
    # Most sweeps over all convex weights in an iteration.
    # x2 and /2: cost 0 %, gap 0, time -5 %.
    weight_sweeps: int = 20
    # Most updates of one member's and crew's weights, where that allows more sweeps.
    # x2: cost +0.2 %, gap +0.2, time 0 %; /2: cost 0 %, gap 0, time -5 %.
    weight_updates: int = 300
    # Share of all crews' visits, beside the crew's own, that moves its place multipliers.
    # x2: cost 0 %, gap 0, time -2 %; /2: cost 0 %, gap 0, time 0 %.
    crew_coupling: float = 0.5
    # First step for each visit too few, as a share of the mean multiplier.
    # x2: cost +0.1 %, gap 0, time +2 %; /2: cost +0.4 %, gap +0.4, time -2 %.
    first_step: float = 0.05
    # Factor of the step where more than `good_step` of the promised gain came true.
    # x2: cost +0.8 %, gap +1.4, time -15 %; /2: cost +0.7 %, gap +15.2, time -26 %.
    step_growth: float = 1.3
    # Factor of the step where less than `poor_step` of the promised gain came true.
    # x2: cost +0.7 %, gap +4.7, time -11 %; /2: cost +0.1 %, gap +0.2, time +5 %.
    step_shrink: float = 0.8
    # Shares of the promised gain.
    # x2: cost +0.2 %, gap +0.3, time +5 %; /2: cost +0.2 %, gap +0.2, time +4 %.
    good_step: float = 0.2
    # x2: cost +0.2 %, gap +0.2, time -1 %; /2: cost 0 %, gap 0, time +1 %.
    poor_step: float = 0.05

    # -- arc fixing --

    # Open arcs for which a second of CP-SAT is spent.
    # x2: same plans, time -24 %; /2: same plans.
    arcs_per_second: int = 3_000
    # Seconds of CP-SAT's deterministic clock before the searches from paths, which a proof saves.
    # x2: same plans, time -23 %; /2: same plans.
    arc_seconds_first: float = 1.5
    # Seconds after them.
    # x2 and /2: same plans.
    arc_seconds_last: float = 8.0


#: The settings that every caller uses; other ones are for measuring.
DEFAULTS = Settings()
