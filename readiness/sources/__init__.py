"""Weather records and services: files and responses in, hourly frames out.

Layer: may import atmosphere.

- `daily_record`: the daily record of one station
- `uscrn`: daily files of the U.S. Climate Reference Network
- `ghcn`: station files of GHCN-Daily
- `station_file`: a file of either network
- `quality_screens`: impossible values removed, short gaps filled
- `daily_to_hourly`: daily records into hours
- `payload`: one service response as a frame: units, nulls, range
- `open_meteo`: responses of the forecast, ensemble and archive services
- `nws`: responses of the U.S. National Weather Service
- `responses`: a response of any of these services
- `soil_survey`: the question to the USDA soil survey and its answer
- `service_errors`: failed requests in plain words, retries
- `services`: network client: cache, time limits
"""
