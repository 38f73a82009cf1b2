"""Folder of compiled code: one for every state of the compiled sources.

numba notices a change of the file that holds a function, but not of functions in other files that
it calls. A folder named by a hash of all compiled sources rules out stale code.
"""

from __future__ import annotations

import hashlib
import os
import sys
from pathlib import Path

PACKAGES = ("readiness", "scheduler")
#: Text that marks a source as compiled.
MARK = b"from numba import"


def compiled_sources(root: Path) -> list[Path]:
    """Sources below `root` that hold compiled functions, in a fixed order."""
    sources = (path for name in PACKAGES for path in sorted((root / name).rglob("*.py")))
    return [path for path in sources if MARK in path.read_bytes()]


def cache_folder(root: Path) -> Path:
    """Folder for the compiled code of the sources below `root`."""
    digest = hashlib.sha256()
    for path in compiled_sources(root):
        digest.update(path.relative_to(root).as_posix().encode() + b"\0" + path.read_bytes())
    return root / "readiness" / "__pycache__" / f"compiled-{digest.hexdigest()[:12]}"


def store_compiled_code() -> None:
    """Tell numba to use that folder, unless the user sets `NUMBA_CACHE_DIR`."""
    if "NUMBA_CACHE_DIR" in os.environ:
        return
    os.environ["NUMBA_CACHE_DIR"] = str(cache_folder(Path(__file__).resolve().parent.parent))
    if "numba" in sys.modules:  # numba reads its settings on import
        sys.modules["numba"].config.CACHE_DIR = os.environ["NUMBA_CACHE_DIR"]
