"""One pass over the hours for every member and field, and the windows it leaves open.

Layer: may import atmosphere, soil and grain.

- `codes`: `Tier` of the ground and `Reason` of a closed hour
- `inputs`: the standing crop, stop rules and observations of a run
- `kernel`: the compiled pass over (member, field)
- `kernel_arrays`: farm, sky and state as the arrays the kernel reads
- `simulate`: the public run: weather, land and crop in, a season out
- `windows`: workable hours by day: how many, how likely, from when
- `other_work`: hours for tillage, planting and spraying
"""
