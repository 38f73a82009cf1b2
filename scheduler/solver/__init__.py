"""Optimisation over work tables: search over policies, floor, checker. No module knows farming.

Layer: may import field_work.

- `objective`: mean, or mean of the worst fifth, of the members
- `settings`: tuned numbers, each with its measured effect
- `stages`: stages of a computation, and the type of progress callbacks
- `policy_search`: simulated annealing over policies, every policy played on the same members
- `check`: checker of a played policy: every violation of the tables, in words
- `floor`: lower bound on the loss of every way of working, by column generation
- `crew_path_pricing`: pricing problem of the floor: the path of a crew that gains most
"""
