"""`afterrain new`: a farm folder to start from."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from scheduler.atomic import write_new_folder
from scheduler.errors import FarmError

STARTER_FILES = ("farm.toml", "fields.csv", "rain.csv", "README.md")


def new_farm(folder: str | Path) -> tuple[str, ...]:
    """Write the starter into a folder that is missing or empty, whole or not at all.

    Returns
    -------
    Names of the files.

    Raises
    ------
    FarmError
        Where the folder holds files already, or cannot be written.
    """
    folder = Path(folder)
    if folder.exists() and not (folder.is_dir() and not any(folder.iterdir())):
        state = "holds files already" if folder.is_dir() else "is a file"
        raise FarmError(f'"{folder}" {state} and is left as it is; name a new folder')
    if not folder.absolute().parent.is_dir():
        raise FarmError(f'the folder "{folder.parent}" does not exist; make it first')
    starter = resources.files("scheduler.farm_files").joinpath("new_folder_files")
    try:
        write_new_folder(folder, {n: starter.joinpath(n).read_bytes() for n in STARTER_FILES})
    except OSError as error:
        raise FarmError(f'"{folder}" cannot be written: {error.strerror}') from error
    return STARTER_FILES
