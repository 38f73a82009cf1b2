"""Command `validate`: the model against open records."""

from __future__ import annotations

import argparse
import os
import textwrap
from pathlib import Path
from typing import Any

from scheduler.errors import AfterrainError

WIDTHS = (46, 36, 40, 8)
FOLDERS = ("soil_moisture", "days_suitable", "reference_et")


class ValidateError(AfterrainError):
    """The data folder cannot be used."""


def register(commands: Any) -> None:
    """Add this group's subcommand."""
    validate = commands.add_parser("validate", help="compare the model with open records")
    validate.add_argument(
        "folder", type=Path, metavar="DATA_FOLDER",
        help="holds any of soil_moisture, days_suitable, reference_et",
    )  # fmt: skip
    validate.add_argument(
        "--out", type=Path, metavar="FILE", default=Path("validation.html"),
        help="page to write (validation.html)",
    )  # fmt: skip
    validate.set_defaults(run=run_validate)


def run_validate(args: argparse.Namespace) -> int:
    """Compute, print the table, write the page."""
    if not args.folder.is_dir():
        raise ValidateError(f"{args.folder} is no folder")
    if not any((args.folder / name).is_dir() for name in FOLDERS):
        raise ValidateError(f"{args.folder} holds none of the folders {', '.join(FOLDERS)}")
    from readiness.sources.records import RecordError
    from readiness.validation.validate import validate
    from scheduler.verification.models_page import (
        CANDOUR,
        row_cells,
        station_lines,
        validation_page,
        year_lines,
    )

    try:
        found = validate(args.folder)
    except RecordError as error:
        raise ValidateError(str(error)) from error
    print(lined([("what", "target", "reached", ""), *map(row_cells, found.rows)]))
    if found.soils:
        print(
            "\nby station: r and unbiased RMSE (m³/m³); 5 cm guessed, trained, tested; 10 cm tested"
        )
        for name, *cells in station_lines(found.soils):
            print(f"  {name:26s}" + "".join(f"{c:12s}" for c in cells))
        print("\nby tested year, 5 cm calibrated, medians: r, unbiased RMSE, stations")
        for line in year_lines(found.soils):
            print("  " + "  ".join(line))
    print("\n" + textwrap.fill(CANDOUR, 100))
    write(args.out, validation_page(found))
    print(f"\nwritten: {args.out}")
    return 0


def lined(rows: list[tuple[str, ...]]) -> str:
    """Rows in columns, long texts wrapped."""
    out = []
    for row in rows:
        cells = [textwrap.wrap(c, w) or [""] for c, w in zip(row, WIDTHS, strict=True)]
        for k in range(max(map(len, cells))):
            texts = [c[k] if k < len(c) else "" for c in cells]
            out.append("  ".join(t.ljust(w) for t, w in zip(texts, WIDTHS, strict=True)).rstrip())
    return "\n".join(out)


def write(path: Path, text: str) -> None:
    """Write whole or not at all.

    Raises
    ------
    ValidateError
        Where the file cannot be written.
    """
    part = path.with_name(path.name + ".part")
    try:
        part.write_text(text, encoding="utf-8")
        os.replace(part, path)
    except OSError as error:
        raise ValidateError(f"cannot write {path}: {error.strerror}") from error
