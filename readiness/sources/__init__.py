"""Weather records and services: files and responses in, hourly frames out.

Layer: may import atmosphere.

- `records`: USCRN, GHCN-Daily and gauge files; screens
- `daily_to_hourly`: daily records into hours
- `payload`: one service response as a frame: units, nulls, range
- `open_meteo`: responses of the forecast, ensemble and archive services
- `nws`: responses of the U.S. National Weather Service
- `soil_survey`: the question to the USDA soil survey and its answer
- `services`: network clients: cache, time limits, retries
"""
