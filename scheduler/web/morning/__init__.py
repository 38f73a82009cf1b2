"""The morning on the page: acts and gauges in one tap, what changed, today's way and hours.

- `acts`: one tap on an order writes its entry and replans
- `held_orders`: orders of the farmer's own that hold, their price, and why one cannot be followed
- `gauges`: all rain gauges on one form
- `farm_map`: fields and delivery points, and today's route of each crew
- `timeline`: today's work of all crews along one line of hours
- `freshness`: how old orders and forecast are, and what differs from the orders a phone has seen
"""
