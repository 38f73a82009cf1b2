"""The farm side: machines, people, prices, plans, the season book, and what people read.

Packages from the lowest up: language, farm, farm_files, weather, season_book, windows, solver,
costs, work_tables, orders, explanation, planning, report, simulation, review, verification, web,
command.

- `errors`: the errors that a user can meet
- `atomic`: files and folders written whole or not at all
"""

import readiness  # noqa: F401 (names the folder of compiled code before numba is imported)
