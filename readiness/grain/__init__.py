"""Grain moisture, and every constant that belongs to a crop.

Layer: may import atmosphere.

- `crops`: crop constants, each with its source
- `grade`: U.S. wheat grade by test weight and sprouted kernels
- `ear_microclimate`: reference ET, evaporation, dew and warmth at the ear in one hour (compiled)
- `moisture`: equilibrium moisture and the hourly two-store model (compiled step)
"""
