"""Rain at the fields, equally likely weathers ahead, and scores of forecasts.

Layer: may import atmosphere and sources.

- `gauge_kriging`: rain at the fields from gauges and gridded rain
- `analogues`: windows of recorded days, and members continued by them
- `normal_scores`: normal scores and quantiles of a sample
- `dressing`: an ensemble from a single forecast
- `rain_calibration`: correlation and bias of past rain forecasts
- `synthetic_records`: made-up records for a place without any
- `reforecast`: a forecast as it might have been issued on a morning of a past season
- `forecast_evolution`: forecasts of successive mornings whose errors persist
- `scores`: Brier score, reliability, CRPS, sampling errors
"""
