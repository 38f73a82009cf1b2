"""The weather frame, and what follows from weather alone: evapotranspiration, hazards, gaps.

Layer: imports nothing of ours.

- `weather`: the hourly frame (member, site, hour)
- `evapotranspiration`: reference evapotranspiration, FAO-56 and ASCE, daily and hourly
- `hazards`: fire index, heat index, lightning, daylight
- `gaps`: what fills in unknown hours, always flagged as estimated
"""
