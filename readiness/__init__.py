"""Field readiness: soil water, bearing and grain moisture from rain and forecast, hour by hour."""

import hashlib
import os
import sys
from pathlib import Path

#: Files whose code is compiled into one another. A stored walk notices only its own file changing;
#: with another's old code in it, it would read a state whose columns have moved.
_COMPILED = ("soil", "water", "air", "grain", "lanes", "calibrate")


def _compiled_folder() -> Path:
    """Where compiled code is stored: another folder for every wording of the compiled files."""
    here, seen = Path(__file__).parent, hashlib.sha256()
    for name in _COMPILED:
        seen.update((here / f"{name}.py").read_bytes())
    return here / "__pycache__" / f"compiled-{seen.hexdigest()[:12]}"


if "NUMBA_CACHE_DIR" not in os.environ:
    os.environ["NUMBA_CACHE_DIR"] = str(_compiled_folder())
    if "numba" in sys.modules:  # it has read its settings already
        sys.modules["numba"].config.CACHE_DIR = os.environ["NUMBA_CACHE_DIR"]
