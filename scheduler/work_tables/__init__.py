"""Farm and season into work tables; the farm's facts become arrays here only.

Layer: may import costs, field_work and what lies below.

- `crew_makeup`: which machines form which crew
- `manning`: who drives which machine
- `accepting_points`: delivery points that take a job's grain, with the crew's rates
- `point_hours`: slots until a delivery point opens
- `moves`: duration and distance of moves
- `farm_check`: a played policy against people, machines, dates and delivery limits of the farm
- `compile`: standing loss and make-up into `FarmWork`, the work tables with their sources
"""
