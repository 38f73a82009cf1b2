"""Why a plan is as it is: times, chances, reasons, the price of doing otherwise.

Layer: may import orders, cut_tables and what lies below.

- `timing`: when each job is done in every member
- `sensitivity`: the price of a swap; where to go if the first field fails
- `own_order`: what a farmer's own order would cost
- `stochastic_value`: value of perfect information and of the stochastic solution
- `reasons`: one line: what opens a field or decides its place
- `briefing`: a solved plan as orders with spread and reason
"""
