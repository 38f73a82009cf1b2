"""Copies of the sample farm, edits of a farm folder, and its problems as lines."""

import shutil

from places import ROOT, SAMPLE

from scheduler.farm_files.folder import farm_problems

#: Files that make up a farm, without its weather.
FARM_FILES = ("farm.toml", "fields.csv", "rain.csv", "fields.geojson")
HEAD = "id,lat,lon,area_ac,crop,texture,yield_bu_ac"
ROW = "1,47.1,-99.5,155,spring wheat,loam,55"


def copy_sample(folder, *names):
    """Copy the sample farm, or only some of its files, without what runs wrote beside them."""
    ignored = (ROOT / ".gitignore").read_text(encoding="utf-8").splitlines()
    traces = [line.removeprefix(f"{SAMPLE.name}/").rstrip("/") for line in ignored]
    if not names:
        ignore = shutil.ignore_patterns(*traces)
        return shutil.copytree(SAMPLE, folder, ignore=ignore, dirs_exist_ok=True)
    folder.mkdir(parents=True, exist_ok=True)
    for name in names:
        shutil.copy(SAMPLE / name, folder / name)
    return folder


def keep_fields(folder, count):
    """Leave only the first fields of a farm, without boundaries."""
    rows = (folder / "fields.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    write(folder, "fields.csv", "".join(rows[: count + 1]))
    (folder / "fields.geojson").unlink(missing_ok=True)


def write(folder, name, text, encoding="utf-8"):
    (folder / name).write_bytes(text.encode(encoding))


def edit(folder, name, old, new):
    text = (folder / name).read_text(encoding="utf-8")
    assert old in text
    write(folder, name, text.replace(old, new))


def problem_lines(folder):
    return [str(p) for p in farm_problems(folder)]
