"""Stored forecasts and records, and the weather of every field on a morning.

Layer: may import farm_files and what lies below.

- `store`: stored answers of services, one file each
- `given_file`: a forecast file that somebody gives
- `daily_file`: daily records of one's own as hourly past weather
- `own_weather`: past weather and forecasts from files of the farmer's own
- `selection`: which stored forecast to plan on, and when to refuse
- `history`: weather so far: records, gauges, gaps
- `bias_correction`: forecast rain corrected by past forecasts and gauges
- `field_weather`: records up to now and members from now on, per field
- `doubts`: where the weather of a plan is not a forecast for this farm
- `fetch`: `afterrain fetch`: weather of the farm from the services
- `fetch_soil`: soil of the fields from the soil survey
"""
