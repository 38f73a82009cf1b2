"""Farm and season into cut tables; floats become integers here only.

Layer: may import costs, solver and what lies below.

- `makeup`: which machines form which crew
- `delivery`: where each half-hour's grain is delivered
- `storage`: which jobs get storage that is short
- `moves`: minutes and distances of moves
- `cutting`: one job cut by one crew, from any slot
- `point_choice`: delivery points of each job
- `compile`: standing loss and make-up into `CutTables`
- `compiled`: `Compiled`, the tables with what reads a plan back
"""
