"""Review of a season: hours lost by cause, and what they cost.

Layer: may import simulation and what lies below.

- `observed_season`: weather records and season book, and the models run on them
- `work_record`: area and time of each crew in each field, hour by hour
- `delay_accounting`: every hour attributed once, to its first binding cause
- `observed_work`: work tables of the observed season; what cuts lose in draws of the moisture error
- `counterfactuals`: loss as done, as planned, by rules and by the best policy in hindsight
- `loss_split`: the loss by source: weather, forecast, order, start moisture, hours, pace
- `loss_breakdown`: the loss by part: yield, test weight, sprouting, moisture, ruts
- `forecast_skill`: skill of issued forecasts, errors of the models
- `adherence`: orders of each day against the fields cut
- `review`: the whole review of a season
- `csv_tables`: hours and fields as CSV
- `phrases`: words and tables of the review
- `page`: the review as HTML and CSV
"""
