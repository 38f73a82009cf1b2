"""The planner: the information state of a morning in, the orders of the day out.

Layer: may import explanation and what lies below.

- `information`: information state: farm, book and weather of a morning
- `previous_plan`: the previous plan by names, as a new morning needs it
- `dispatch_rules`: dispatching rules as policies, to measure a plan against and to start from
- `policy_choice`: make-up and policy, searched on some members and checked on others
- `stages`: stages of planning, for progress
- `plan`: the planner itself
"""
