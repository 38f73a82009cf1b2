"""Optimisation over cut tables: search, bounds, checker. It knows nothing of farming.

Layer: imports nothing of ours.

- `tables`: `CutTables` and `Plan`: the border between farm and optimiser
- `search`: compiled local search over orders
- `bound`: lower bound for one member by Lagrangian relaxation
- `walk_model`: bundle model that moves the multipliers
- `residual`: CP-SAT on the arcs that reduced costs leave open
- `exact`: every order of a small farm
- `quick`: a short search without a proof
- `check`: solver-free checker: lists every violation
- `solve`: the public function: tables in, plan out
- `warm_up`: compiles the solver ahead in a second process
"""
