"""The orders of the day as data, and the document that keeps them.

Layer: may import windows and what lies below.

- `model`: `Morning`, `CrewOrders`, `Order`
- `reasons`: reason codes, which `report` words
- `document`: the serialiser of orders; an issued plan read back
- `changes`: what changed since the orders before
- `safety`: cautions of the day, then the standing ones
"""
