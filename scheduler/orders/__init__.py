"""The orders of the day as data, and the document that keeps them.

Layer: may import work_tables and what lies below.

- `model`: `Morning`, `CrewOrders`, `Order`
- `reasons`: codes of reasons, fallbacks and idle notes, which `report` words
- `decision`: work tables, policy and what it was weighed against
- `document`: the serialiser of orders; an issued plan read back
- `changes`: changes against the previous orders
- `cautions`: codes of the day's cautions, which `report` words
- `safety`: the cautions of the day
"""
