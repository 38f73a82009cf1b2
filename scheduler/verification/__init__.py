"""Verification of forecasts and validation of models: scores, charts and pages.

Layer: may import report and what lies below.

- `forecasts`: stored forecasts against gauges and records
- `lead_scores`: scores of chances and rain amounts by lead
- `forecast_charts`: charts of a forecast verification
- `forecast_page`: the forecast verification as page and table
- `model_charts`: charts of the model validation
- `model_tables`: tables of the model validation
- `model_page`: the model validation as one page
"""
