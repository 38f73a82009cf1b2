"""From the farm to its workable hours: model inputs, learnt offsets, hours by day.

Layer: may import season_book and what lies below.

- `model_inputs`: farm facts as readiness takes them; the simulated season
- `ripe_dates`: maturity by degree-days since heading
- `learnt_offsets`: lasting offsets of grain and ground, learnt from readings
- `lessons`: what readings taught, as data
- `day_figures`: figures of a day's workable hours, as stored orders carry them too
- `daily_hours`: workable hours of each field and day
"""
