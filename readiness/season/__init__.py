"""A run over the hours for every member and field, and the windows that it leaves open.

Layer: may import atmosphere, soil and grain.

- `codes`: `Tier` of the ground, `Reason` of a closed hour, `OtherWorkReason`
- `inputs`: the standing crop, operating limits and observations of a run
- `uncertainty`: errors of a state, gaps in the weather, correction by an observation
- `random_streams`: random draws by key
- `kernel_layout`: columns of the kernel's arrays and the tuples that bundle them
- `kernel_arrays`: weather, fields and observations as those arrays
- `run_state`: the state between two runs
- `ground_kernel`: compiled hours of the ground
- `grain_kernel`: compiled hours of the grain
- `kernel`: the compiled loop over members and fields
- `simulate`: the public run: weather, land and crop in, a season out
- `windows`: workable hours by farm date
- `other_work`: hours for tillage, planting and spraying
"""
