"""Models against open records and published values.

Layer: may import all of readiness.

- `stations`: station records ready to run
- `soil_moisture`: modelled soil water against probes
- `days_suitable`: days suitable for fieldwork of a state
- `published_check`: a statement of a publication beside the model's value
- `hours_after_rain`: hours to each tier by texture and drainage
- `tile_gain`: days by which tile brings spring work forward at stations
- `reference_et`: evapotranspiration against program output
- `grain_events`: published drying and wetting events
- `wet_grain`: a storm, first hours of cutting, sprouting and test weight, as published
- `validate`: the table of `afterrain validate`
"""
