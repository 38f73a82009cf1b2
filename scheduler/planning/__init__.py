"""The planner: the information state of a morning in, the orders of the day out.

Layer: may import explanation and what lies below.

- `information`: information state: farm, book and weather of a morning
- `crew_makeup_choice`: make-ups compiled and priced, cheapest first
- `plan_stability`: the previous orders stay unless a change pays
- `dispatch_rules`: dispatching rules to measure a plan against
- `stages`: stages of planning, for progress
- `plan`: the planner itself
"""
