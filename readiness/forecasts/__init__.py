"""Rain at the fields and equally likely weathers ahead, and how good forecasts were.

Layer: may import atmosphere and sources.

- `gauge_kriging`: rain at the fields from gauges and gridded rain
- `ensemble`: members from one forecast; analogue years beyond its end
- `reforecast`: forecasts as they might have been issued in past seasons
- `scores`: Brier score, reliability, CRPS, sampling errors
"""
