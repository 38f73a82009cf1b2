"""The farm in memory: its parts, units, working time, distances and base wording.

Layer: imports errors and language.

- `model`: `Farm`: fields, machines, people, delivery points; SI inside
- `units`: SI to US and metric units, at the edges
- `remarks`: settings that deserve a second look
- `slots`: half-hour slots, and farm time
- `opening_hours`: opening and closing hours of delivery points, crews and roads, in slots
- `working_time`: slots that a crew works or a machine is up
- `distances`: road distances between places
- `wording`: how times, shares, crops and reasons are written everywhere
"""
