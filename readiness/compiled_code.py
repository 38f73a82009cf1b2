"""Where compiled code is stored: one folder for every wording of the compiled sources.

numba notices a change of the file that holds a function, but not of the functions that it calls in
other files. A folder named by a hash of all compiled sources makes a stale call impossible.
"""

from __future__ import annotations

import hashlib
import os
import sys
from pathlib import Path

PACKAGES = ("readiness", "scheduler")
#: What marks a source as compiled.
MARK = b"from numba import"


def compiled_sources(root: Path) -> list[Path]:
    """Sources below `root` that hold compiled functions, in a fixed order."""
    found = (path for name in PACKAGES for path in sorted((root / name).rglob("*.py")))
    return [path for path in found if MARK in path.read_bytes()]


def cache_folder(root: Path) -> Path:
    """Folder of the compiled code that belongs to the sources below `root`."""
    digest = hashlib.sha256()
    for path in compiled_sources(root):
        digest.update(path.relative_to(root).as_posix().encode() + b"\0" + path.read_bytes())
    return root / "readiness" / "__pycache__" / f"compiled-{digest.hexdigest()[:12]}"


def store_compiled_code() -> None:
    """Name that folder to numba, unless the user has named one in `NUMBA_CACHE_DIR`."""
    if "NUMBA_CACHE_DIR" in os.environ:
        return
    os.environ["NUMBA_CACHE_DIR"] = str(cache_folder(Path(__file__).resolve().parent.parent))
    if "numba" in sys.modules:  # it has read its settings already
        sys.modules["numba"].config.CACHE_DIR = os.environ["NUMBA_CACHE_DIR"]
