"""Soil water and trafficability.

Layer: may import atmosphere.

- `properties`: texture to hydraulic properties; the layers; the soil facts of a field
- `water_balance`: the hourly layered water balance (compiled step)
- `trafficability`: soil strength, vehicle load, water limits of each tier
- `calibrate`: a field's few parameters from observations, with priors
"""
