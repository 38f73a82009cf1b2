"""Lower bound over one order that all members share.

Layer: may import solver.

- `common_order`: the bound itself
- `common_walk`: the members' priced paths together
- `common_route`: a crew's partial orders, timed in every member
- `priced_walk`: one pricing problem (compiled)
- `prize_master`: the restricted master problem (OR-Tools)
"""
