"""The weather frame, and quantities that follow from weather or the sun alone.

Layer: imports nothing of ours.

- `weather`: the hourly frame (member, site, hour) and its hour labels
- `air`: vapour pressure, humidity, air pressure, wind height
- `solar`: position of the sun, extraterrestrial and clear-sky radiation
- `evapotranspiration`: reference evapotranspiration, FAO-56 and ASCE, daily and hourly
- `hazards`: fire index, heat index, lightning
- `dew_point_estimate`: dew point from daily temperature, rain and radiation
- `gaps`: estimates for unknown hours, always flagged
"""
