"""Rates and money: what machines do in an hour and what each hour of standing costs.

Layer: may import windows and what lies below.

- `machine_rates`: combine, cart and truck rates
- `grain_value`: what a tonne cut at an hour is worth
- `standing_loss`: jobs, and what each hour of standing costs
- `timeliness`: closed-form timeliness cost (ASABE EP496)
"""
