"""Simulation of past seasons, morning by morning, with the farm as it is and altered.

Layer: may import report and what lies below.

- `station_farm`: the farm moved to a weather station
- `past_season`: observed weather and states of a past season
- `season_work`: its field work, day by day, also when machines change crews
- `season_results`: losses of a season and headline figures of many
- `rehearsal`: past seasons by the planner and by dispatching rules
- `alterations`: one more machine, longer hours, a dryer, tile
- `closed_form`: the closed-form timeliness cost of a past season
- `parallel`: a map over tasks, in processes or on a cluster
- `whatif`: seasons with and without an alteration
- `workable_days`: chances of workable days and their persistence
- `columns`: tables of printed results in aligned columns
- `phrases`: words and tables of rehearsals and what-ifs
"""
