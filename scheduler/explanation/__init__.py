"""Why a plan is as it is: times, chances, reasons, the price of doing otherwise.

Layer: may import orders, work_tables and what lies below.

- `timing`: times of each job in every member, and the member whose clock is printed
- `crew_clock`: the clock of one crew in one member, to five minutes
- `day_work`: what a crew does today and tomorrow
- `deliveries`: where the grain of a field goes
- `swap_costs`: the price of a swap: one place earlier or later, another crew, left out
- `fallback`: where a crew goes if its first field is too tough or too soft
- `own_order`: the price of a user's own orders
- `money`: lost already, still at stake, lost by the plan and by other ways
- `deciding`: assumptions and observations that would change a crew's first field
- `closed_hours`: what keeps all fields closed, and when the first one may open
- `idle_day`: what else keeps a crew from cutting, today or tomorrow
- `reasons`: codes of what opens a field, decides its place or leaves it out
- `briefing`: orders from a decision
"""
