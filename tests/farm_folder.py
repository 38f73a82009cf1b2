"""Edits of a farm folder, and its problems as lines."""

from scheduler.farm_files.folder import farm_problems

HEAD = "id,lat,lon,area_ac,crop,texture,yield_bu_ac"
ROW = "1,47.1,-99.5,155,spring wheat,loam,55"


def write(folder, name, text, encoding="utf-8"):
    (folder / name).write_bytes(text.encode(encoding))


def edit(folder, name, old, new):
    text = (folder / name).read_text(encoding="utf-8")
    assert old in text
    write(folder, name, text.replace(old, new))


def problem_lines(folder):
    return [str(p) for p in farm_problems(folder)]
