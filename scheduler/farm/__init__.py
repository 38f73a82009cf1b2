"""The farm in memory: its parts, units, working time, distances and base wording.

Layer: imports nothing of the scheduler but errors.

- `model`: `Farm`: fields, machines, people, delivery points; SI inside
- `units`: SI to US and metric units, at the edges
- `working_time`: half-hour slots: worked, open, forbidden, in farm time
- `distances`: road distances between places
- `wording`: how times, shares, crops and reasons are written everywhere
"""
