"""Farm and season into cut tables; floats become integers here only.

Layer: may import costs, solver and what lies below.

- `crew_makeup`: which machines form which crew
- `delivery`: delivery point of a job's grain, slot by slot
- `storage`: assignment of storage that is short
- `moves`: duration and distance of moves
- `cutting`: one job cut by one crew, from any slot
- `point_choice`: delivery points of each crew and job
- `compile`: standing loss and make-up into `CutTables`
- `compiled`: `Compiled`, the tables with the facts that read a plan back
"""
