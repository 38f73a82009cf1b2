"""Field work: the one simulator that moves crews and cuts grain; it knows no farm.

Layer: may import nothing of ours.

- `tables`: `WorkTables`, the border between farm and simulator
- `policy`: `Policy`, the orders that crews follow
- `state`: state of crews and fields between two slots
- `kernel`: the compiled simulator, slot by slot
- `play`: a policy played on tables; its outcome
"""
