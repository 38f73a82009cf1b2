"""Commands of the farm folder: `new` writes one to start from, `check` lists what is wrong."""

from __future__ import annotations

import argparse
import textwrap
from typing import Any

from scheduler.farm.units import show_area
from scheduler.farm_files.folder import farm_problems, read_farm, read_rain
from scheduler.farm_files.new_folder import new_farm
from scheduler.farm_files.record import Problem

HEADING = ("file", "row", "column", "what is wrong", "what to do")
#: Widest column of the table, characters; longer texts run on below.
WIDEST = (24, 24, 24, 40, 40)


def register(commands: Any) -> None:
    """Add this group's subcommands."""
    new = commands.add_parser("new", help="write a commented farm folder to start from")
    new.add_argument("folder", metavar="FOLDER", help="a folder that does not exist yet")
    new.set_defaults(run=run_new)
    check = commands.add_parser("check", help="list everything that is wrong in a farm folder")
    check.add_argument("folder", metavar="FOLDER", help="the farm folder")
    check.set_defaults(run=run_check)


def run_new(args: argparse.Namespace) -> int:
    """Write the starter."""
    files = new_farm(args.folder)
    print(f"wrote {', '.join(files)} into {args.folder}")
    print(f"put your own farm in, then run: afterrain check {args.folder}")
    return 0


def run_check(args: argparse.Namespace) -> int:
    """Print the problems as a table; 0 where there are none."""
    problems = farm_problems(args.folder)
    if problems:
        print(table(problems))
        print(f"\n{counted(len(problems), 'problem')} in {args.folder}")
        return 1
    farm = read_farm(args.folder)
    rain = read_rain(args.folder, farm)
    area = show_area(sum(f.area_ha for f in farm.fields), farm.units)
    print(f"{args.folder}: no problems")
    counts = (
        ("crew", farm.crews), ("combine", farm.combines), ("cart", farm.carts),
        ("truck", farm.trucks), ("delivery point", farm.points), ("gauge reading", rain),
    )  # fmt: skip
    told = [counted(len(farm.fields), "field") + f" ({area})"]
    print(", ".join([*told, *(counted(len(things), noun) for noun, things in counts)]))
    return 0


def counted(n: int, noun: str) -> str:
    """A count with its noun, '1 cart' or '2 carts'."""
    return f"{n} {noun}" if n == 1 else f"{n} {noun}s"


def table(problems: list[Problem]) -> str:
    """The problems in columns: file, row, column, what is wrong, what to do."""
    rows = [HEADING, *((p.file, p.row, p.column, p.message, p.remedy) for p in problems)]
    cells = [[textwrap.wrap(c, w) or [""] for c, w in zip(r, WIDEST, strict=True)] for r in rows]
    widths = [max(len(line) for row in cells for line in row[i]) for i in range(len(HEADING))]
    lines = []
    for n, row in enumerate(cells):
        for k in range(max(len(c) for c in row)):
            texts = [c[k] if k < len(c) else "" for c in row]
            line = "  ".join(t.ljust(w) for t, w in zip(texts, widths, strict=True))
            lines.append(line.rstrip())
        if n == 0:
            lines.append("  ".join("-" * w for w in widths))
    return "\n".join(lines)
