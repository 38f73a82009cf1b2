"""The models against open records and published values.

Layer: may import all of readiness.

- `stations`: station records ready to run
- `soil_moisture`: modelled soil water against probes
- `days_suitable`: a state's days suitable for fieldwork
- `reference_et`: evapotranspiration against program output
- `grain_events`: published drying and wetting events
- `validate`: every line of `afterrain validate`
"""
