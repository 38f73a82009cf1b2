"""Field readiness: soil water, trafficability and grain moisture, hour by hour.

Science only: arrays in, new arrays out; no money, no calendar, no import of `scheduler`.
Packages from the lowest up: atmosphere, sources, forecasts, soil, grain, season, validation.

- `compiled_code`: folder in which numba stores compiled code
"""

from readiness.compiled_code import store_compiled_code

store_compiled_code()
