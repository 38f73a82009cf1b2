"""The season looked back on: hours lost, why, and what they cost.

Layer: may import simulation and what lies below.

- `observed_season`: book and records: the season as it turned out
- `work_record`: who cut what in which hour
- `delay_accounting`: every hour charged once to its first binding cause
- `counterfactuals`: done, planned, hindsight and rules in the observed weather
- `loss_breakdown`: yield, test weight, sprouting, moisture, ruts
- `forecast_and_adherence`: forecasts and orders against what came
- `stages`: stages of the review, for progress
- `review`: all of it together
- `phrases`: the review in words and tables
- `page`: the review as HTML and CSV
"""
