"""Simulation of past seasons, morning by morning, with the farm as it is and altered.

Layer: may import report and what lies below.

- `station_farm`: the farm moved to a weather station
- `past_season`: observed weather, states and cut tables of a past season
- `field_work`: crews cutting slot by slot in observed weather
- `following`: loss of orders that crews follow, half-cut fields resumed
- `season_results`: losses of a season and headline figures of many
- `rehearsal`: past seasons by the planner, the rules and the best fixed order
- `alterations`: one more machine, longer hours, a dryer, tile
- `closed_form`: the closed-form timeliness cost of a past season
- `parallel`: a map over tasks, in processes or on a cluster
- `whatif`: seasons with and without an alteration
- `workable_days`: chances of workable days and their persistence
- `columns`: tables of printed results in aligned columns
- `phrases`: words and tables of rehearsals and what-ifs
"""
