"""Files and folders written whole or not at all: under a temporary name, then renamed."""

from __future__ import annotations

import contextlib
import glob
import os
import shutil
import tempfile
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

#: Age from which a half-written folder belongs to no running program, s; assumed.
ABANDONED_S = 3600.0


@contextmanager
def replacement(path: Path, *, private: bool = False) -> Iterator[Path]:
    """Give a temporary file that takes the place of `path` when the block ends without an error.

    Parameters
    ----------
    private : whether only the owner may read the file.
    """
    path = path.absolute()
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".part", dir=path.parent)
    os.close(handle)
    part = Path(name)
    try:
        yield part
        if not private:
            part.chmod(0o644)  # mkstemp lets the owner alone read
        os.replace(part, path)
    finally:
        part.unlink(missing_ok=True)


def write_file(path: Path, content: str | bytes, *, private: bool = False) -> None:
    """Write a file whole or not at all; text in UTF-8. See `replacement`."""
    with replacement(path, private=private) as part:
        _write_through(part, content.encode("utf-8") if isinstance(content, str) else content)


def touch_private(path: Path) -> None:
    """Make an empty file that only the owner may read, where there is none."""
    with contextlib.suppress(FileExistsError):
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))


def write_new_folder(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write a folder whole or not at all, where none or an empty one stands.

    Raises
    ------
    OSError
        Where it cannot be written, or `folder` is not empty.
    """
    folder = folder.absolute()
    with _filled_folder(folder, files) as fresh:
        fresh.chmod(0o755)  # mkdtemp lets the owner alone read
        if folder.exists():
            folder.rmdir()
        fresh.rename(folder)


def replace_folder(folder: Path, files: Mapping[str, bytes]) -> list[Path]:
    """Write a folder and its parents whole or not at all; the paths of its files.

    Only the owner may read the folder, which holds money.

    An older folder stays until the new one is complete. `recover_folder` brings it back if the
    program stops between the two renames.
    """
    folder.parent.mkdir(parents=True, exist_ok=True)
    aside = recover_folder(folder)
    try:
        with _filled_folder(folder, files) as fresh:
            for path in fresh.iterdir():
                path.chmod(0o600)
            if folder.exists():
                folder.rename(aside)
            fresh.rename(folder)
    finally:
        recover_folder(folder)
    return [folder / name for name in files]


def recover_folder(folder: Path) -> Path:
    """Clear up after an interrupted `replace_folder`; the path for the older folder.

    An older folder comes back where the new one is missing, and goes where it stands.
    """
    aside = folder.with_name(f".{folder.name}.previous")
    if aside.exists() and not folder.exists():
        aside.rename(folder)
    shutil.rmtree(aside, ignore_errors=True)
    for stale in folder.parent.glob(f".{glob.escape(folder.name)}.*.new"):
        if time.time() - stale.stat().st_mtime > ABANDONED_S:
            shutil.rmtree(stale, ignore_errors=True)
    return aside


@contextmanager
def _filled_folder(folder: Path, files: Mapping[str, bytes]) -> Iterator[Path]:
    """Give a temporary folder beside `folder` that holds the files; drop what is left of it."""
    name = tempfile.mkdtemp(prefix=f".{folder.name}.", suffix=".new", dir=folder.parent)
    fresh = Path(name)
    try:
        for name, content in files.items():
            _write_through(fresh / name, content)
        yield fresh
    finally:
        shutil.rmtree(fresh, ignore_errors=True)


def _write_through(path: Path, content: bytes) -> None:
    """Write a file and wait until the disk has it."""
    with path.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
