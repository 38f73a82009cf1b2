"""Optimisation over cut tables: search, bounds, checker. No module here knows farming.

Layer: imports nothing of ours.

- `tables`: `CutTables` and `Plan`: the border between farm and optimiser
- `settings`: tuned numbers, each with its measured effect
- `stages`: stages of `solve`, and the type of progress callbacks
- `evaluation`: times and costs of given orders
- `annealing`: compiled simulated annealing over orders
- `pricing`: cheapest paths of one crew by dynamic programming
- `lagrangian_bound`: lower bound for one member by Lagrangian relaxation
- `bundle_model`: cutting-plane model that moves the multipliers
- `arc_fixing`: CP-SAT on the arcs that reduced costs leave open
- `enumeration`: every order of a small farm
- `check`: solver-free checker: lists every violation
- `solve`: the public function: tables in, plan out
- `warm_up`: compiles the solver ahead in a second process
"""
