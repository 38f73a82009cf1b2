"""Commands of the farm folder: `new` writes one to start from, `check` lists what is wrong."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from datetime import datetime

from scheduler.command.columns import column_lines, fitted_widths
from scheduler.errors import Problem
from scheduler.farm.remarks import farm_remarks
from scheduler.farm.units import show_area
from scheduler.farm_files.folder import farm_problems, read_farm, read_rain
from scheduler.farm_files.new_folder import new_farm
from scheduler.season_book.book import book_problems

HEADING = ("file", "row", "column", "what is wrong", "what to do")
WIDEST = (24, 24, 24, 40, 40)  # widths of the columns at most, characters


def run_new(args: argparse.Namespace) -> int:
    """Write the farm folder to start from."""
    files = new_farm(args.folder)
    print(f"wrote {', '.join(files)} into {args.folder}")
    print(f"put your own farm in, then run: afterrain check {args.folder}")
    return 0


def run_check(args: argparse.Namespace) -> int:
    """Print the problems as a table; where there are none, counts and remarks, and 0."""
    problems = [*farm_problems(args.folder), *book_problems(args.folder)]
    if problems:
        print(problem_table(problems))
        print(f"\n{counted(len(problems), 'problem')} in {args.folder}")
        return 1
    farm = read_farm(args.folder)
    rain = read_rain(args.folder, farm)
    area = show_area(sum(f.area_ha for f in farm.fields), farm.units)
    print(f"{args.folder}: no problems")
    counts = (
        (len(farm.crews), "crew"),
        (len(farm.combines), "combine"),
        (len(farm.carts), "cart"),
        (len(farm.trucks), "truck"),
        (len(farm.points), "delivery point"),
        (len(rain), "gauge reading"),
    )
    fields = f"{counted(len(farm.fields), 'field')} ({area})"
    print(", ".join([fields, *(counted(n, noun) for n, noun in counts)]))
    if remarks := farm_remarks(farm, datetime.now(farm.tz).date()):
        print("\nlook at these again; a plan uses them as they stand:")
        print(problem_table(remarks))
    return 0


def counted(n: int, noun: str) -> str:
    """Return a count with its noun, '1 cart' or '2 carts'."""
    return f"{n} {noun}" if n == 1 else f"{n} {noun}s"


def problem_table(problems: Sequence[Problem]) -> str:
    """Lay the problems out in columns: file, row, column, what is wrong, what to do."""
    rows = [(p.file, p.row, p.column, p.message, p.remedy) for p in problems]
    widths = fitted_widths([HEADING, *rows], WIDEST)
    rule = "  ".join("-" * w for w in widths)
    return "\n".join([*column_lines([HEADING], widths), rule, *column_lines(rows, widths)])
