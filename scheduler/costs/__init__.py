"""Rates and money: what machines do in an hour, and what each hour of standing costs.

Layer: may import windows and what lies below.

- `machine_rates`: rates of combines, carts, trucks and crews
- `grain_price`: price of grain by its quality; feed price, limits, seed
- `grain_value`: value of grain by the hour it is cut; cost of leaving it
- `loss_parts`: loss of cut grain by part: yield, test weight, sprouting, moisture, ruts
- `standing_loss`: jobs, and the money that each loses by the hour it stands
- `timeliness`: closed-form timeliness cost (ASABE EP496)
"""
