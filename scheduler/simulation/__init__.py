"""Past seasons played morning by morning, as they were and with an alteration.

Layer: may import report and what lies below.

- `past_season`: the farm moved to a station and a year
- `field_work`: who cuts what in each slot of observed weather
- `following`: orders followed as crews follow them
- `rehearsal`: planner, rules and hindsight over past seasons
- `alterations`: another combine, longer hours, a dryer, tile
- `whatif`: seasons with and without an alteration
- `workable_days`: chances of workable days and their persistence
- `phrases`: how rehearsals and what-ifs are worded
"""
