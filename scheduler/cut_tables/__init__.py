"""Farm and season into cut tables; floats become integers here only.

Layer: may import costs, solver and what lies below.

- `makeup`: which machines form which crew
- `delivery`: where each half-hour's grain is hauled
- `capacity`: which jobs get storage that is short
- `moves`: minutes and distances of moves
- `compile`: standing loss and make-up into `CutTables`
"""
