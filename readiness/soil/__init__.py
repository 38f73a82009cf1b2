"""Soil water and trafficability.

Layer: may import atmosphere.

- `layers`: the layers of the profile and the zones that bear machines
- `properties`: texture to hydraulic properties and plastic limit, curve number formulas
- `drainage`: flow to tile, and usual spacings
- `land`: soil facts of the fields, as the water balance reads them
- `water_balance`: the hourly layered water balance (compiled step)
- `running_gear`: contact pressure and axle load of machines
- `cone_index`: strength of soils and the strength that vehicles need
- `trafficability`: water limits of each tier by texture and load
- `water_observations`: samples, ground checks and probes as observations of water
- `calibrate`: a field's few parameters from observations, with priors
"""
