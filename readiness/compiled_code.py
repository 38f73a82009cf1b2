"""Folder of compiled code: one for every state of the sources that it is compiled from.

numba notices a change of the file that holds a function, but not of functions and constants that
the function takes from other files. A folder named by a hash of all these sources rules out stale
code.
"""

from __future__ import annotations

import hashlib
import os
import re
import sys
from collections.abc import Iterator
from pathlib import Path

PACKAGES = ("readiness", "scheduler")
#: Text that marks a source as compiled.
MARK = b"from numba import"
#: Import from our own packages: the module and the names, which may be modules too.
IMPORT = re.compile(
    rb"^from ((?:readiness|scheduler)[\w.]*) import (\([^)]*\)|[^\n]*)", re.MULTILINE
)


def imported_sources(path: Path, root: Path) -> Iterator[Path]:
    """Files that the source may import from our own packages; not all of them exist."""
    for module, names in IMPORT.findall(path.read_bytes()):
        base = root / module.decode().replace(".", "/")
        yield base.with_suffix(".py")
        for name in names.decode().strip("()").split(","):
            yield base / f"{name.split(' as ')[0].strip()}.py"


def compiled_sources(root: Path) -> list[Path]:
    """Sources below `root` that hold compiled functions, and all sources that these import."""
    sources = (path for name in PACKAGES for path in (root / name).rglob("*.py"))
    waiting = [path for path in sources if MARK in path.read_bytes()]
    found: set[Path] = set()
    while waiting:
        path = waiting.pop()
        if path not in found and path.is_file():
            found.add(path)
            waiting += imported_sources(path, root)
    return sorted(found)


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
