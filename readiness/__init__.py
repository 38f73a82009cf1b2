"""Field readiness: soil water, bearing and grain moisture from rain and forecast, hour by hour."""
